"""A planned line screened on an elevation model: one frozen result that every output shows.

``result`` holds what a screening says, ``leg`` makes it for one leg, ``screen`` for the route.

Names are loaded when first asked for (PEP 562): a whole raster wants one small result of this room,
``cross_check``, and not the 0.06 s that the rest takes to load.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from steybrae.screening.known import ModelOrigin, Settings
    from steybrae.screening.result import RouteScreening
    from steybrae.screening.screen import cross_check_route, screen_route

__all__ = ["ModelOrigin", "RouteScreening", "Settings", "cross_check_route", "screen_route"]

_HOMES: Final = {"RouteScreening": "result", "ModelOrigin": "known", "Settings": "known"}
"""Where each name lives; ``screen`` unless told otherwise."""


def __getattr__(name: str) -> Any:
    if name not in __all__:
        message = f"module {__name__!r} has no attribute {name!r}"
        raise AttributeError(message)
    return getattr(import_module(f"steybrae.screening.{_HOMES.get(name, 'screen')}"), name)
