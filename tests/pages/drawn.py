"""Pages of invented ground, and a reader of pages; shared by the tests of the report."""

from __future__ import annotations

import json
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
from tests.on_grid import model, route_on
from tests.pictured import pictured
from tests.synthetic import GaussianHill

from steybrae.screening.result import RouteScreening
from steybrae.terrain.dem import Dem

EVIL = "<script>alert(1)</script>"
HOSTILE = (
    EVIL,
    "\N{RIGHT-TO-LEFT OVERRIDE}turned \"quotes' &amp; </title></style>",
    "\N{HEBREW LETTER HE}\N{HEBREW LETTER RESH} \N{HEBREW LETTER GIMEL}\N{HEBREW LETTER BET}",
    "x" * 400,
    "{{ 7 * 7 }} {% raw %} --><!-- $x_2$",
)
BENT = [(-1000.0, -200.0), (-500.0, 150.0), (0.0, 320.0), (400.0, 100.0), (1000.0, -150.0)]
HILL = GaussianHill(400.0, 300.0)


def hostile() -> RouteScreening:
    dem = model(HILL, (121, 241))
    return replace(pictured(dem, route_on(dem, BENT, HOSTILE)), name=f"{EVIL} {'long ' * 60}")


def unknown() -> RouteScreening:
    dem = model(HILL, (121, 241))
    void = Dem(dem.grid, np.full_like(dem.heights_m, np.nan))
    return pictured(void, route_on(void, BENT))


def partly() -> RouteScreening:
    """Three legs of which something is known; the last is wholly unknown."""
    dem = model(HILL, (121, 241))
    heights = dem.heights_m.copy()
    heights[:, 150:] = np.nan
    void = Dem(dem.grid, heights)
    return pictured(void, route_on(void, BENT))


def large(legs: int = 40, points: int = 500) -> RouteScreening:
    """Many legs, each with many points: those of a coarse line repeated, so that it is quick to make."""
    turns = np.linspace(0.0, 6.0 * np.pi, legs + 1)
    dem = model(GaussianHill(500.0, 500.0), (401, 401))
    reach = np.linspace(200.0, 1800.0, legs + 1)
    found = pictured(dem, route_on(dem, list(zip(reach * np.cos(turns), reach * np.sin(turns), strict=True))))
    assert found.relief is not None
    fine, on_map = [], []
    for leg, drawn in zip(found.legs, found.relief.legs, strict=True):
        n = np.arange(len(leg.points.chainage_m))
        at = np.linspace(0.0, n[-1], points)
        columns = {name: column[np.round(at).astype(int)] for name, column in vars(leg.points).items()}
        columns["chainage_m"] = np.interp(at, n, leg.points.chainage_m)
        fine.append(replace(leg, points=type(leg.points)(**columns)))
        on_map.append(replace(drawn, x=np.interp(at, n, drawn.x), y=np.interp(at, n, drawn.y)))
    return replace(found, legs=tuple(fine), relief=replace(found.relief, legs=tuple(on_map)))


def as_worded(text: str | None) -> str:
    """Return a text of a page without what keeps its numbers and their units on one line."""
    return (text or "").replace("\N{NO-BREAK SPACE}", " ").replace("\N{WORD JOINER}", "")


class Reader(HTMLParser):
    """What stands in a page: tags with their attributes, text by tag, and rows of every table."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.tables: list[list[list[str]]] = []
        self.text: list[str] = []
        self.raw: dict[str, list[str]] = {"script": [], "style": []}
        self.open: list[str] = []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        self.open.append(tag)
        if tag == "table":
            self.tables.append([])
        elif tag == "tr":
            self.tables[-1].append([])
        elif tag in ("td", "th"):
            self.tables[-1][-1].append("")
        elif tag in self.raw:
            self.raw[tag].append("")

    def handle_endtag(self, tag: str) -> None:
        while self.open and self.open.pop() != tag:
            pass

    def handle_data(self, data: str) -> None:
        inside = self.open[-1] if self.open else ""
        if inside in self.raw:
            self.raw[inside][-1] += data
            return
        data = as_worded(data)
        self.text.append(data)
        if {"td", "th"} & set(self.open):
            self.tables[-1][-1][-1] += data

    @property
    def words(self) -> str:
        return " ".join(" ".join(self.text).split())

    @property
    def points(self) -> dict:
        return json.loads(self.raw["script"][0])
