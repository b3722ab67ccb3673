"""A desk as a person starts it: the command in a process of its own, and its page in Chromium."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from contextlib import closing
from http.client import HTTPConnection
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from playwright.sync_api import Browser, Page
from tests.conftest import ROOT
from tests.pages.drawn import as_worded
from tests.visits import heard

COMMAND = [sys.executable, "-m", "steybrae", "desk"]
PATIENCE_MS = 60_000
"""A busy machine is no failure."""

QUIET = "body:not(.old):not(.unkept)"
"""The answer shown is that of the line, and the line is kept; the page's policy forbids to wait by script."""


class Served:
    """The command ``steybrae desk``, started; its drafts in a folder of the test's."""

    def __init__(self, home: Path, *arguments: str) -> None:
        here = {
            name: str(home) for name in ("HOME", "XDG_STATE_HOME", "XDG_DATA_HOME", "APPDATA", "LOCALAPPDATA")
        }
        self.process = subprocess.Popen(
            [*COMMAND, "--no-browser", *arguments],
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            cwd=home,
            env=os.environ | here | {"PYTHONPATH": str(ROOT / "src"), "PYTHONUNBUFFERED": "1"},
        )
        assert self.process.stdout is not None
        self.said = ""
        while not (found := re.search(r"http://\S+/", self.said)):
            line = self.process.stdout.readline()
            assert line, self.said
            self.said += line
        self.address = found[0]

    def keep(self, *lines: dict[str, Any], **day: str) -> None:
        """Keep lines in place of those that are kept, as a page does."""
        conflict = 409
        while conflict == 409:  # What a page that was closed had still to write may come between.
            revision = self._ask("GET", "model")[1]["draft"]["revision"]
            told = {"revision": revision, "lines": lines, "day": day}
            conflict, _ = self._ask("PUT", "draft", json.dumps(told))

    def _ask(self, method: str, name: str, body: str | None = None) -> tuple[int, Any]:
        parts = urlsplit(self.address)
        asked = HTTPConnection(parts.netloc)
        asked.request(
            method, f"{parts.path}{name}", body, {"Content-Type": "application/json"} if body else {}
        )
        with closing(asked), asked.getresponse() as found:
            assert found.status in (200, 409)
            return found.status, json.load(found)

    def end(self) -> None:
        """Kill it, as a crash or a flat battery does."""
        self.process.kill()
        self.process.wait()
        if self.process.stdout is not None:
            self.process.stdout.close()


class Sheet:
    """The page open in a window of its own, and everything that it said or asked for."""

    def __init__(self, browser: Browser, address: str, **options: Any) -> None:
        self.context = browser.new_context(accept_downloads=True, **options)
        self.page: Page = self.context.new_page()
        self.page.set_default_timeout(PATIENCE_MS)
        self.said, self.asked = heard(self.page)
        self.address = address
        self.page.goto(address)
        self.page.wait_for_selector("#layers label", state="attached")
        self.settle()

    def settle(self) -> None:
        """Wait until the line is kept and the answer is its own."""
        self.page.wait_for_selector(QUIET)

    def click(self, across: float, down: float) -> None:
        """Click on the map, at a share of its width and height."""
        x, y = self.spot(across, down)
        self.page.mouse.click(x, y)

    def spot(self, across: float, down: float) -> tuple[float, float]:
        """Where on the page a share of the map is."""
        box = self.page.locator("#map").bounding_box()
        assert box is not None
        return box["x"] + across * box["width"], box["y"] + down * box["height"]

    def drag(self, number: int, x: float, y: float, rest_ms: float = 0.0) -> None:
        """Drag a turn point by pixels, with the pointer's own steps, and a rest half way."""
        box = self.page.locator(f'.point[aria-label^="Point {number} of"]').bounding_box()
        assert box is not None
        at = (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
        self.page.mouse.move(*at)
        self.page.mouse.down()
        self.page.mouse.move(at[0] + x / 2, at[1] + y / 2)
        self.page.wait_for_timeout(rest_ms)
        self.page.mouse.move(at[0] + x, at[1] + y)
        self.page.mouse.up()

    def written(self) -> list[str]:
        """Positions of the turn points as the list says them."""
        return [text or "" for text in self.page.locator("#points .point-row span").all_text_contents()]

    def texts(self, query: str) -> list[str]:
        """What elements say, in one line each."""
        return [" ".join(as_worded(text).split()) for text in self.page.locator(query).all_text_contents()]

    def end(self) -> None:
        """Nothing was said, and nothing was asked for but from the desk."""
        assert self.said == [], self.said
        assert [url for url in self.asked if not url.startswith((self.address, "data:", "blob:"))] == []
        self.context.close()
