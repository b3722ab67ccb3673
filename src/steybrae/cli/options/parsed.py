"""How what was typed is read, for options of several groups."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import Any, Final

from steybrae.cli.options.groups import option
from steybrae.quantities import parse_ground_length_m, parse_paper_length_mm, parse_slope_deg


def ground_length(what: str, *, zero: bool = False) -> Callable[[str], float]:
    """Read a length on the ground, metres; `what` begins the error text."""
    return partial(parse_ground_length_m, what=what, zero=zero)


def paper_length(what: str, *, zero: bool = False) -> Callable[[str], float]:
    """Read a length on paper, millimetres."""
    return partial(parse_paper_length_mm, what=what, zero=zero)


def slope(what: str) -> Callable[[str], float]:
    """Read a slope, degrees."""
    return partial(parse_slope_deg, what=what)


def day(text: str) -> dt.date:
    """Read a day: ``2027-01-15``."""
    from steybrae.route.daylight import parse_day

    return parse_day(text)


PICTURE: Final = ("A picture", ".png", ".pdf")
PAGE: Final = ("A page", ".html", ".htm")
REPORT: Final = ("A report", ".html", ".htm")
PHONE: Final = ("A page for a phone", ".html", ".htm")
SHEET: Final = ("A sheet", ".pdf")
TABLE: Final = ("A table", ".csv")
GEOJSON: Final = ("A GeoJSON file", ".geojson", ".json")
GPX: Final = ("A GPX file", ".gpx")
PLAN: Final = ("A plan", ".zip")
"""What a file to write is, for the error text, and the endings that it may have."""


def written(name: str, help_: str, kind: Sequence[str], metavar: str = "FILE", *, default: Any = None) -> Any:
    """Say that a field names a file to write, of a kind that its ending has to tell."""

    def read(path: Path) -> Path:
        from steybrae.files.whole import check_ending

        check_ending(path, *kind)
        return path

    return option(name, help_, metavar, default=default, read=read, typed=Path)
