"""WebKit's engine, driven by WebDriver (W3C) over HTTP."""

from __future__ import annotations

import http.client
import json
import os
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from tests.needs import lacking, program

SCREEN = (447, 844)
ELEMENT = "element-6066-11e4-a52e-4f735466cecf"
"""Key of an element in an answer, from the standard."""

PATIENCE_S = 60.0


class WebKit:
    """One window of the engine."""

    def __init__(self, port: int, binary: Path) -> None:
        self._port, self._session = port, ""
        options = {"binary": str(binary), "args": ["--automation"]}
        wanted = {"capabilities": {"alwaysMatch": {"webkitgtk:browserOptions": options}}}
        self._session = f"/session/{self._asked('POST', '/session', wanted)['sessionId']}"
        # Its tools need 447 pixels.
        self._asked("POST", "/window/rect", {"width": SCREEN[0], "height": SCREEN[1]})

    def _asked(self, method: str, path: str, body: dict[str, Any] | None = None) -> Any:
        until = time.monotonic() + PATIENCE_S
        while True:
            line = http.client.HTTPConnection("127.0.0.1", self._port, timeout=PATIENCE_S)
            try:
                line.request(method, self._session + path, None if body is None else json.dumps(body))
                answer = line.getresponse()
                found = json.load(answer)["value"]
            except ConnectionRefusedError:  # it has not begun to listen
                if time.monotonic() > until:
                    raise
                time.sleep(0.1)
                continue
            finally:
                line.close()
            assert answer.status == http.client.OK, found
            return found

    def open(self, file: Path) -> None:
        self._asked("POST", "/url", {"url": file.as_uri()})

    def run(self, script: str, *given: Any) -> Any:
        return self._asked("POST", "/execute/sync", {"script": script, "args": list(given)})

    def comes(self, wanted: Any, script: str) -> bool:
        """Whether a script gives what is wanted, soon."""
        until = time.monotonic() + PATIENCE_S / 4.0
        while (found := self.run(script)) != wanted and time.monotonic() < until:
            time.sleep(0.05)
        return bool(found == wanted)

    def click(self, selector: str) -> None:
        self._asked("POST", f"/element/{self._element(selector)[ELEMENT]}/click", {})

    def into(self, selector: str) -> None:
        """Go into a frame."""
        self._asked("POST", "/frame", {"id": self._element(selector)})

    def _element(self, selector: str) -> dict[str, str]:
        found = self._asked("POST", "/element", {"using": "css selector", "value": selector})
        assert isinstance(found, dict)
        return found

    def end(self) -> None:
        self._asked("DELETE", "")


@contextmanager
def webkit() -> Iterator[WebKit]:
    """The engine on a screen of a large phone's size that nobody sees."""
    driver = program("WebKitWebDriver", package="webkit2gtk-driver")
    xvfb = program("Xvfb", package="xvfb")
    found = sorted(Path("/usr/lib").glob("*/webkit2gtk-4.*/MiniBrowser"))
    if not found:
        lacking("MiniBrowser is not there: install Debian's libwebkit2gtk-4.1-0")
    read, write = os.pipe()
    size = "{}x{}x24".format(*SCREEN)
    screen = subprocess.Popen(
        [xvfb, "-displayfd", str(write), "-screen", "0", size, "-nolisten", "tcp"],
        pass_fds=(write,), stderr=subprocess.DEVNULL,
    )  # fmt: skip
    os.close(write)
    with os.fdopen(read) as told:
        display = told.readline().strip()
    port = 20_000 + os.getpid() % 20_000
    world = os.environ | {"DISPLAY": f":{display}", "LIBGL_ALWAYS_SOFTWARE": "1", "NO_AT_BRIDGE": "1"}
    serving = subprocess.Popen([driver, f"--port={port}"], env=world, stderr=subprocess.DEVNULL)
    try:
        window = WebKit(port, found[-1])
        yield window
        window.end()
    finally:
        for one in (serving, screen):
            one.terminate()
            one.wait(PATIENCE_S)
