"""Screenings of commands, made once: many tests ask for the same one and look at another output of it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from hashlib import sha256
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

import steybrae.library.route  # has the real one for good: before it is exchanged
import steybrae.screening
from steybrae.files.model.rasters import RasterModel
from steybrae.route.kept import NOTHING_KEPT, Kept
from steybrae.route.legs import Route
from steybrae.screening.known import Settings
from steybrae.screening.result import RouteScreening
from steybrae.screening.screen import screen_route

assert steybrae.library.route.screen_route is screen_route

MOST = 24
"""Most screenings kept, some megabytes each."""

_made: dict[Any, tuple[RouteScreening, tuple[int, int, int]]] = {}


def _once(
    route: Route,
    model: RasterModel,
    settings: Settings | None = None,
    *,
    for_forecast: bool = False,
    kept: Kept = NOTHING_KEPT,
) -> RouteScreening:
    if not isinstance(model, RasterModel):  # but an array of the library's
        return screen_route(route, model, settings, for_forecast=for_forecast, kept=kept)
    before = model.met
    files = [Path(tile.data.name) for tile in model.tiles]
    beside = [Path(f"{path}.aux.xml") for path in files]  # where GDAL keeps what a file does not say
    # Every byte: a fingerprint covers the ends alone.
    held = tuple(sha256(path.read_bytes()).hexdigest() for path in (*files, *beside) if path.is_file())
    key = route, settings, for_forecast, model.grid, before, held
    if key not in _made:
        found = screen_route(route, model, settings, for_forecast=for_forecast, kept=kept)
        now = model.met
        _made[key] = found, (now[0] - before[0], now[1] - before[1], now[2] - before[2])
        if len(_made) > MOST:
            del _made[next(iter(_made))]
    else:
        model.meet(_made[key][1])
    return _made[key][0]


@contextmanager
def screened_once(by: ModuleType = steybrae.screening) -> Iterator[None]:
    """Let commands, or what else `by` has, take a screening from those made before of all the same."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(by, "screen_route", _once, raising=False)
        yield
