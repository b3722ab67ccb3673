"""The desk's server, from its opening to Ctrl-C: one app behind its guard, on the loopback address alone."""

from __future__ import annotations

import asyncio
import logging
import os
import re
import secrets
import socket
import threading
import webbrowser
from collections.abc import Callable
from contextlib import closing
from typing import Any, Final

import uvicorn
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.routing import Route as Path
from uvicorn.protocols.http.h11_impl import H11Protocol

from steybrae.desk.about import gridlines, looked_at, model_facts, place_under
from steybrae.desk.answer import answer, shift
from steybrae.desk.draft import Conflict, draft, keep
from steybrae.desk.guard import App, Guard, RefusedError, read_message
from steybrae.desk.lines import opened, typed
from steybrae.desk.make import MAKERS, Made
from steybrae.desk.opened import Desk, DeskAsk
from steybrae.desk.tiles.cells import TileView
from steybrae.errors import FileReadError, FileWriteError, QuantityError, SteybraeError
from steybrae.pages.desk import desk_page, static_files

LOG: Final = logging.getLogger("steybrae.desk")

_WHOLE: Final = re.compile(r"-?[0-9]{1,8}")

_PATH: Final = re.compile(r"(?<!\S)['\"]?(?:[/\\]|[A-Za-z]:[/\\])")
"""Where a sentence names a place on this machine."""

ACTIONS: Final[dict[tuple[str, str], Callable[[Desk, Any], Any]]] = {
    ("POST", "place"): place_under,
    ("POST", "typed"): typed,
    ("POST", "open"): opened,
    ("PUT", "draft"): keep,
    **{("POST", f"make/{name}"): maker for name, maker in MAKERS.items()},
    ("POST", "shift"): shift,
}
"""What the page may ask to be done, by method and path.

A message to ``open`` is the bytes of a file, those to others are JSON objects. An action returns what is sent
as JSON, or a `Made` file; what it refuses it raises as one of our errors, whose sentence is sent.
"""


def desk_app(desk: Desk, key: str, port: int) -> App:
    """Make the app of an open desk, below the key of its address, on the port where it listens."""
    served = static_files()

    async def page(_: Request) -> Response:
        return HTMLResponse(desk_page(", ".join(desk.info.files), desk.settings.bands))

    async def static(request: Request) -> Response:
        found = served.get(request.path_params["name"])
        if found is None:
            raise RefusedError(404, "The desk has no such file.")
        return Response(found[0], media_type=found[1])

    async def model(_: Request) -> Response:
        told = await run_in_threadpool(model_facts, desk)
        return JSONResponse(told | {"draft": await run_in_threadpool(draft, desk, {})})

    async def act(request: Request) -> Response:
        name, body = request.url.path.lstrip("/"), await request.body()
        given = body if name == "open" else read_message(body)
        found = await run_in_threadpool(ACTIONS[request.method, name], desk, given)
        if isinstance(found, Made):
            named = {"Content-Disposition": f'attachment; filename="{found.name}"'}
            return Response(found.body, media_type=found.kind, headers=named)
        return JSONResponse(found)

    async def answered(request: Request) -> Response:
        message, left = read_message(await request.body()), threading.Event()
        leaving = asyncio.create_task(_leaves(request, left))
        try:
            return JSONResponse(await run_in_threadpool(answer, desk, message, left.is_set))
        finally:
            leaving.cancel()

    async def tile(request: Request) -> Response:
        layer, *place = (request.path_params[name] for name in ("layer", "z", "x", "y"))
        view = TileView(*map(int, place)) if all(map(_WHOLE.fullmatch, place)) else None
        if view is None or not desk.map.has(layer, view):
            raise RefusedError(404, "The map has no such tile.")
        drawn = desk.drawing.submit(desk.tile, layer, view)
        return Response(await asyncio.wrap_future(drawn), media_type="image/png")

    async def lines(request: Request) -> Response:
        return JSONResponse(await run_in_threadpool(gridlines, desk, request.query_params))

    async def looked(_: Request) -> Response:
        return JSONResponse(looked_at(desk))

    return Guard(
        Starlette(
            routes=[
                Path("/", page),
                Path("/static/{name}", static),
                Path("/model", model),
                Path("/tiles/{layer}/{z}/{x}/{y}.png", tile),
                Path("/gridlines", lines),
                Path("/looked", looked),
                Path("/answer", answered, methods=["POST"]),
                *(Path(f"/{name}", act, methods=[method]) for method, name in ACTIONS),
            ],
            exception_handlers=dict.fromkeys(
                (RefusedError, Conflict, SteybraeError, HTTPException, Exception), _not_done
            ),
        ),
        key,
        port,
    )


async def _leaves(request: Request, left: threading.Event) -> None:
    """Set `left` as soon as who asked waits no longer."""
    while (await request.receive())["type"] != "http.disconnect":
        pass
    left.set()


def _says(status: int, sentence: str) -> Response:
    return JSONResponse({"refused": sentence}, status)


def _not_done(_: Request, error: Exception) -> Response:
    """Say why something was not done; where a file is, the page need not know."""
    match error:
        case RefusedError():
            return _says(error.status, error.sentence)
        case Conflict():
            return JSONResponse(error.told, 409)
        case HTTPException():
            return _says(error.status_code, "The desk has no such address, or not for this method.")
        case FileReadError() | FileWriteError() if _PATH.search(str(error)):
            LOG.error("%s", error)
            return _says(422, "A file could not be read or written; the terminal of the desk says which.")
        case SteybraeError():
            return _says(422, str(error))
    LOG.error("The desk failed.", exc_info=error)
    return _says(500, "The desk met an error of its own; the terminal of the desk says more.")


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
