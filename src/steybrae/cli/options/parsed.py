"""How what was typed is read, for options of several groups."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path
from typing import Any

from steybrae.cli.options.groups import option


def ground_length(what: str, *, zero: bool = False) -> Callable[[str], float]:
    """Read a length on the ground, metres; `what` begins the error text."""

    def read(text: str) -> float:
        from steybrae.quantities import parse_ground_length_m

        return parse_ground_length_m(text, what, zero=zero)

    return read


def paper_length(what: str, *, zero: bool = False) -> Callable[[str], float]:
    """Read a length on paper, millimetres."""

    def read(text: str) -> float:
        from steybrae.quantities import parse_paper_length_mm

        return parse_paper_length_mm(text, what, zero=zero)

    return read


def slope(what: str) -> Callable[[str], float]:
    """Read a slope, degrees."""

    def read(text: str) -> float:
        from steybrae.quantities import parse_slope_deg

        return parse_slope_deg(text, what)

    return read


def day(text: str) -> dt.date:
    """Read a day: ``2027-01-15``."""
    from steybrae.route.times.daylight import parse_day

    return parse_day(text)


def scale(text: str) -> float:
    """Read a map scale, its denominator."""
    from steybrae.quantities import parse_scale

    return parse_scale(text)


def picture(name: str, help_: str) -> Any:
    """Say that a field names a picture to write, PNG or PDF."""

    def read(path: Path) -> Path:
        from steybrae.cli.origin import figure_format

        figure_format(path)
        return path

    return option(name, help_, read=read, typed=Path)


def page(
    name: str, help_: str, metavar: str | None = None, *, default: Any = None, what: str = "A report"
) -> Any:
    """Say that a field names a page to write, HTML; `what` begins the error text."""

    def read(path: Path) -> Path:
        from steybrae.cli.report import check_page

        check_page(path, what)
        return path

    return option(name, help_, metavar, default=default, read=read, typed=Path)
