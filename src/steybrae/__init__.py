"""Slope and avalanche-terrain angles from contour spacing and elevation models.

The public library: what the commands do, for those who write Python. The README has a page on it.
It measures and says how well it knows; it decides nothing.

Names are loaded when they are first asked for (PEP 562), so that importing the package costs nothing;
numpy, rasterio and pyproj come with the names that need them.

Examples
--------
>>> import steybrae
>>> steybrae.gap(across_mm=12.5, gaps=5, scale=25_000, interval_m=10)
<Gap: Slope 9.1° = 16 % = 1 in 6.25>
"""

from __future__ import annotations

import sys
from importlib import import_module

__version__ = "0.2.0"
"""Version of the package; the build reads it here."""

TYPE_CHECKING = False  # importing typing would take longer than all else here
if TYPE_CHECKING:
    from typing import Any

    from steybrae.bands import BandScheme as BandScheme
    from steybrae.errors import SteybraeError as SteybraeError
    from steybrae.files.results import sample as sample
    from steybrae.library.answer import Answer as Answer
    from steybrae.library.area import Area as Area
    from steybrae.library.area import area as area
    from steybrae.library.card import Card as Card
    from steybrae.library.card import card as card
    from steybrae.library.paper import Gap as Gap
    from steybrae.library.paper import Spacing as Spacing
    from steybrae.library.paper import gap as gap
    from steybrae.library.paper import spacing as spacing
    from steybrae.library.place import Ground as Ground
    from steybrae.library.place import Slopes as Slopes
    from steybrae.library.place import ground as ground
    from steybrae.library.place import slopes as slopes
    from steybrae.library.readings import Comparison as Comparison
    from steybrae.library.readings import Review as Review
    from steybrae.library.readings import compare as compare
    from steybrae.library.readings import review as review
    from steybrae.library.route import Plan as Plan
    from steybrae.library.route import screen as screen
    from steybrae.quantities import shown_slope_deg as shown_slope_deg
    from steybrae.route.positions.places import Place as Place

_HOMES = {
    "Answer": "library.answer",
    "Area": "library.area",
    "BandScheme": "bands",
    "Card": "library.card",
    "Comparison": "library.readings",
    "Gap": "library.paper",
    "Ground": "library.place",
    "Place": "route.positions.places",
    "Plan": "library.route",
    "Review": "library.readings",
    "Slopes": "library.place",
    "Spacing": "library.paper",
    "SteybraeError": "errors",
    "area": "library.area",
    "card": "library.card",
    "compare": "library.readings",
    "gap": "library.paper",
    "ground": "library.place",
    "review": "library.readings",
    "sample": "files.results",
    "screen": "library.route",
    "shown_slope_deg": "quantities",
    "slopes": "library.place",
    "spacing": "library.paper",
}

__all__ = sorted(_HOMES)  # noqa: PLE0605  a list of str all the same


class _Package(type(sys)):  # type: ignore[misc]
    """The package itself, whose room ``card`` does not take the place of the function ``card``."""

    def __setattr__(self, name: str, value: object) -> None:
        # Python binds a sub-package to its name when it is first imported.
        if name not in _HOMES or not isinstance(value, type(sys)):
            super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Package


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        message = f"module {__name__!r} has no attribute {name!r}"
        raise AttributeError(message)
    return getattr(import_module(f"steybrae.{_HOMES[name]}"), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *_HOMES])
