"""The desk from its opening to Ctrl-C."""

from __future__ import annotations

import asyncio
import os
import secrets
import socket
import threading
import webbrowser
from collections.abc import Callable
from contextlib import closing
from typing import Final

import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

from steybrae.desk.guard import App
from steybrae.desk.opened import Desk, DeskAsk
from steybrae.desk.server import desk_app
from steybrae.errors import QuantityError

LOOPBACK: Final = "127.0.0.1"

KEY_BYTES: Final = 24
"""Bytes of chance in a key, which is 32 letters long (our choice): nobody tries them all."""

MOST_CONNECTIONS: Final = 100
"""Most connections at once (our choice): a browser opens six."""


HEAD_SECONDS: Final = 20.0
"""Longest time from a connection to its first request, seconds (our choice): else some hundred of them,
opened and left, would keep everybody out."""


class _Impatient(H11Protocol):
    """Closes connections over which nobody asks for anything."""

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        self.loop.call_later(HEAD_SECONDS, self._close_if_silent)

    def _close_if_silent(self) -> None:
        if self.cycle is None:
            self.transport.close()


def serve(ask: DeskAsk, port: int, *, tell: Callable[[str], None], browser: bool) -> None:
    """Serve a desk until Ctrl-C, on a free port for 0, opened in the user's browser if wanted.

    `tell` prints a line. Refused where the model cannot be opened, or the port is taken.
    """
    desk = Desk(ask)
    with closing(desk), closing(listen(port)) as listening:
        key = secrets.token_urlsafe(KEY_BYTES)
        own_port = listening.getsockname()[1]
        address = f"http://{LOOPBACK}:{own_port}/{key}/"
        tell(f"The desk is open, for this machine alone: {address}")
        tell("Ctrl-C ends it. Local avalanche forecast, local rules, qualified guidance come first.")
        if browser:
            # The socket listens already, so that an early browser waits and is not refused.
            threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()
        uvicorn.Server(server_config(desk_app(desk, key, own_port))).run([listening])


def server_config(app: App) -> uvicorn.Config:
    """Say how an app is served: by plain HTTP, and to nobody who only holds the line."""
    return uvicorn.Config(
        app,
        log_level="critical",  # what is cut off by Ctrl-C is no error, and our own are told by the app
        access_log=False,
        server_header=False,
        date_header=False,
        proxy_headers=False,
        lifespan="off",
        ws="none",
        http=_Impatient,
        timeout_keep_alive=30,
        timeout_graceful_shutdown=2,
        limit_concurrency=MOST_CONNECTIONS,
    )


def listen(port: int) -> socket.socket:
    """Listen on the loopback address alone; on a free port for 0."""
    # asyncio sends at once only over what it knows to be TCP: else an answer waits 40 ms for a receipt.
    found = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    if os.name == "posix":  # elsewhere it would let two programs share the port
        found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        found.bind((LOOPBACK, port))
    except OSError as error:
        found.close()
        message = (
            f"Port {port} should be free; this machine refuses it ({error.strerror}). Leave --port out for a "
            "free one."
        )
        raise QuantityError(message) from error
    found.listen(100)
    return found
