"""The desk's server: one app behind its guard, on the loopback address alone; what the page may ask of it."""

from __future__ import annotations

import asyncio
import logging
import re
import threading
from collections.abc import Callable
from typing import Any, Final

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.routing import Route as Path

from steybrae.desk.about import looked_at, model_facts
from steybrae.desk.answer import answer, shift
from steybrae.desk.gridlines import gridlines
from steybrae.desk.guard import App, Guard
from steybrae.desk.lines.draft import Conflict, draft, keep
from steybrae.desk.lines.gpx import opened
from steybrae.desk.lines.typed import typed
from steybrae.desk.make import MAKERS, Made
from steybrae.desk.messages import RefusedError, read_message
from steybrae.desk.opened import Desk
from steybrae.desk.place import place_under
from steybrae.desk.statics import static_files
from steybrae.desk.tiles.view import TileView
from steybrae.errors import FileReadError, FileWriteError, SteybraeError
from steybrae.pages.desk import desk_page

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
