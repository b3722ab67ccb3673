"""The desk as a process: what it listens on, what raw bytes get from it, and how it ends."""

from __future__ import annotations

import datetime as dt
import http.client
import json
import re
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
import uvicorn

from steybrae.card.settings import CardSettings
from steybrae.desk import server as desk_server
from steybrae.desk.guard import MOST_BYTES
from steybrae.desk.opened import Desk, DeskAsk
from steybrae.desk.server import serve
from steybrae.errors import FileReadError, QuantityError
from steybrae.files.results import sample_model
from steybrae.screening import Settings

ADDRESS = re.compile(r"http://127\.0\.0\.1:(\d+)/([\w-]{32})/")


@pytest.fixture(scope="module")
def process() -> Iterator[tuple[subprocess.Popen[str], int, str]]:
    command = [sys.executable, "-m", "steybrae", "desk", "--dem", str(sample_model()), "--no-browser"]
    running = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert running.stdout is not None
    found = ADDRESS.search(running.stdout.readline())
    assert found is not None
    yield running, int(found[1]), found[2]
    if running.poll() is None:
        running.kill()
    running.communicate()


@pytest.fixture(scope="module")
def port(process: tuple[subprocess.Popen[str], int, str]) -> int:
    return process[1]


@pytest.fixture(scope="module")
def key(process: tuple[subprocess.Popen[str], int, str]) -> str:
    return process[2]


def sent(port: int, *pieces: bytes) -> bytes:
    """What comes back for raw bytes until the other side closes, or 5 s are over."""
    with socket.create_connection(("127.0.0.1", port), timeout=5) as line:
        for piece in pieces:
            try:
                line.sendall(piece)
            except (BrokenPipeError, ConnectionResetError):
                break  # it was refused before it was sent whole
        found = b""
        try:
            while more := line.recv(65536):
                found += more
        except (TimeoutError, ConnectionResetError):
            pass
    return found


def head(method: str, path: str, port: int, *more: str) -> bytes:
    lines = (f"{method} {path} HTTP/1.1", f"Host: 127.0.0.1:{port}", "Connection: close", *more, "", "")
    return "\r\n".join(lines).encode()


def status(answer: bytes) -> int:
    first, _, rest = answer.partition(b"\r\n")
    assert b"Traceback" not in rest
    assert b"site-packages" not in rest
    return int(first.split()[1])


def test_it_listens_on_the_loopback_address_alone(port: int) -> None:
    others = {"127.0.0.2", *(str(one[4][0]) for one in socket.getaddrinfo(socket.gethostname(), port))}
    for address in others - {"127.0.0.1"}:
        with pytest.raises(OSError, match=r"."):
            socket.create_connection((address, port), timeout=2)


def test_a_key_is_new_with_each_start(key: str) -> None:
    assert len(set(key)) > 12


def test_the_page_and_a_tile_are_served(port: int, key: str) -> None:
    assert b"text/html" in sent(port, head("GET", f"/{key}/", port))
    assert b"\x89PNG" in sent(port, head("GET", f"/{key}/tiles/bands/0/0/0.png", port))
    assert status(sent(port, head("GET", f"/{key}", port))) == 403


@pytest.mark.parametrize(
    "raw",
    [
        b"GET / HTTP/9.9\r\n\r\n", b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03", b"GET\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n", b"GET / HTTP/1.1\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: x\r\nX: " + b"a" * 200_000 + b"\r\n\r\n",
        b"POST / HTTP/1.1\r\nHost: x\r\nContent-Length: 5\r\nContent-Length: 6\r\n\r\n",
    ],
    ids=range(7),
)  # fmt: skip
def test_bytes_that_are_no_request(port: int, raw: bytes) -> None:
    answer = sent(port, raw)
    assert status(answer) in (400, 403)


def test_an_address_written_whole_names_no_other_host(port: int, key: str) -> None:
    raw = f"GET http://evil.example/{key}/model HTTP/1.1\r\nHost: evil.example\r\nConnection: close\r\n\r\n"
    assert status(sent(port, raw.encode())) == 403


def test_a_message_in_pieces_that_never_says_its_length(port: int, key: str) -> None:
    more = ("Transfer-Encoding: chunked", "Content-Type: application/json")
    piece = b"10000\r\n" + b" " * 65536 + b"\r\n"
    begun = head("POST", f"/{key}/place", port, *more)
    assert status(sent(port, begun, *([piece] * (MOST_BYTES // 65536 + 2)))) == 413
    body = json.dumps({"row": 300, "col": 400}).encode()
    whole = f"{len(body):x}\r\n".encode() + body + b"\r\n0\r\n\r\n"
    assert status(sent(port, begun, whole)) == 200


def test_slow_clients_hold_up_nobody(port: int, key: str) -> None:
    slow = [socket.create_connection(("127.0.0.1", port), timeout=5) for _ in range(30)]
    for k, line in enumerate(slow):
        line.sendall(b"GET / HT" if k % 2 else head("PUT", f"/{key}/draft", port, "Content-Length: 9")[:-2])
    assert status(sent(port, head("GET", f"/{key}/looked", port))) == 200
    for line in slow:
        line.close()


def test_many_at_once_are_all_answered(port: int, key: str) -> None:
    def ask(k: int) -> tuple[int, bytes]:
        line = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        line.request("GET", f"/{key}/tiles/{('bands', 'contours', 'zones')[k % 3]}/1/{k % 7}/{k % 5}.png")
        answer = line.getresponse()
        found = answer.status, answer.read()
        line.close()
        return found

    with ThreadPoolExecutor(24) as pool:
        answers = list(pool.map(ask, range(72)))
    assert {code for code, _ in answers} == {200}
    assert len({body for _, body in answers}) > 40


def test_ctrl_c_ends_it_without_a_word(process: tuple[subprocess.Popen[str], int, str]) -> None:
    running, port, key = process
    with socket.create_connection(
        ("127.0.0.1", port), timeout=5
    ) as line:  # somebody still waits for an answer
        line.sendall(head("GET", f"/{key}/tiles/zones/0/2/1.png", port))
        running.send_signal(signal.SIGINT)
        _, err = running.communicate(timeout=30)
    assert (running.returncode, err) == (130, "")


def ask_for(path: Path) -> DeskAsk:
    return DeskAsk((path,), Settings(), CardSettings(dt.date(2027, 1, 15)))


def test_a_port_that_is_taken() -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        taken = other.getsockname()[1]
        with pytest.raises(
            QuantityError, match=rf"^Port {taken} should be free; .* Leave --port out for a free"
        ):
            serve(ask_for(sample_model()), taken, tell=print, browser=False)


def test_a_model_that_cannot_be_opened_ends_every_thread(tmp_path: Path) -> None:
    before = threading.active_count()
    with pytest.raises(FileReadError, match="should be a file; there is none"):
        Desk(ask_for(tmp_path / "none.tif"))
    assert threading.active_count() == before


def test_what_is_sent_waits_for_no_receipt(monkeypatch: pytest.MonkeyPatch) -> None:
    """Else the second part of an answer waits 40 ms for the browser to acknowledge the first."""
    set_to: list[int] = []
    made = desk_server._Impatient.connection_made

    def watched(self: Any, transport: Any) -> None:
        made(self, transport)
        line = transport.get_extra_info("socket")
        set_to.append(line.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY))

    async def app(_scope: object, _receive: object, _send: object) -> None:
        """Never asked."""

    monkeypatch.setattr(desk_server._Impatient, "connection_made", watched)
    server = uvicorn.Server(desk_server.server_config(app))
    with desk_server.listen(0) as listening:
        thread = threading.Thread(target=server.run, args=([listening],))
        thread.start()
        socket.create_connection(listening.getsockname(), timeout=5).close()
        while not set_to:
            thread.join(0.01)
        server.should_exit = True
        thread.join()
    assert set_to[0] == 1


def test_a_line_on_which_nobody_asks_is_closed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(desk_server, "HEAD_SECONDS", 0.05)

    async def app(_scope: object, _receive: object, _send: object) -> None:
        """Never asked."""

    server = uvicorn.Server(desk_server.server_config(app))
    with socket.create_server(("127.0.0.1", 0)) as listening:
        thread = threading.Thread(target=server.run, args=([listening],))
        thread.start()
        assert sent(listening.getsockname()[1], b"GET / HTTP/1.1\r\nHos") == b""
        server.should_exit = True
        thread.join()
