"""The map of the report: pictures of the ground and vector lines over them.

Positions are whole units of `UNITS_PER_MM` from the top left corner of the map. Lines are
thinned to what a screen can show; the figures that the page prints never are.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from typing import Final

import numpy as np
from matplotlib.colors import to_rgb
from matplotlib.path import Path
from matplotlib.transforms import Affine2D
from numpy.typing import NDArray

from steybrae.bands import BandScheme
from steybrae.figures import style
from steybrae.frozen import dataclass
from steybrae.pages.page import png_address
from steybrae.screening.pictures.drawn import LineKind, bar_m, drawn_map
from steybrae.screening.pictures.picture import LegOnMap, Relief
from steybrae.screening.pictures.relief import lines_on_map
from steybrae.screening.places.result import PlaceThatMatters
from steybrae.screening.places.words import leading_spot
from steybrae.screening.result import RouteScreening
from steybrae.terrain.dem import Array

UNITS_PER_MM: Final = 50
"""Units of the drawing in a millimetre of the map on paper."""

_DOTS_PER_MM: Final = 10.0
"""Of the hatches: a line is two dots, so that it reads on a phone as on paper."""

_LINE_DOTS: Final = 2

_THIN_UNITS: Final = 2.5
"""Lines may leave their course by this much when they are thinned: a fifth of a pixel at full size."""

_LABEL_MM: Final = 4.5
"""Room of a number on the map, millimetres."""

_WAYS: Final = 12
"""Directions in which room for a letter is looked for (our choice)."""

_RELIEF_GREY: Final = (0.93, 0.10)
"""Level ground and the share of the light, in the relief without bands: faint."""


@dataclass(frozen=True)
class LegLine:
    """A leg on the map: its number, its line as SVG path data, and positions.

    `steepest` is None on a leg wholly unknown. `crowded` is whether its number would cover another
    at the size of the page.
    """

    number: int
    path: str
    start: tuple[int, int]
    end: tuple[int, int]
    middle: tuple[int, int]
    steepest: tuple[int, int] | None
    crowded: bool


@dataclass(frozen=True)
class LineBeside:
    """A line beside the main one: its name, path data, where its name stands, whether it is a way off."""

    name: str
    path: str
    middle: tuple[int, int]
    way_off: bool


@dataclass(frozen=True)
class Letter:
    """A place that matters: its letter, where it is, and where its letter finds room."""

    name: str
    at: tuple[int, int]
    label: tuple[int, int]


@dataclass(frozen=True)
class MapDrawing:
    """What the template needs for the map.

    Attributes
    ----------
    width, height
        In units.
    relief_png, bands_png
        Data addresses of pictures with a dot for each cell; both let unknown ground through.
    cols, rows, cells
        Their size, and the matrix that puts them on the map, as SVG takes it.
    hatches_png
        Data address of the bands' hatches, as large as the map.
    contours, index_contours, corridor, edge_of_known, zones
        SVG path data; zones, the outline of start zones, is empty where it would tell nothing.
    legs
        Lines.
    beside
        Other lines and ways off.
    norths
        Corner of the arrows to the norths, which the line leaves free.
    bar_right
        Whether the scale bar stands at the right, for the line runs through the lower left corner.
    bar
        Length of the scale bar in units, and what it stands for, metres.
    """

    width: int
    height: int
    relief_png: str
    bands_png: str
    cols: int
    rows: int
    cells: str
    hatches_png: str
    contours: str
    index_contours: str
    corridor: str
    edge_of_known: str
    zones: str
    legs: tuple[LegLine, ...]
    beside: tuple[LineBeside, ...]
    norths: str
    bar_right: bool
    bar: tuple[int, float]


def draw_report_map(screening: RouteScreening, relief: Relief) -> MapDrawing:
    """Draw the ground round a line and the line on it."""
    width, height = (round(side * UNITS_PER_MM) for side in relief.map_mm)
    drawn, bar = drawn_map(screening, relief), bar_m(relief, relief.map_mm[0] / 4.0)
    scheme = BandScheme(screening.settings.edges_deg)
    _, band, colours = style.tinted(relief, scheme)

    norths, bar_right = _free_corners(relief, (width, height))

    def outline(kind: LineKind) -> str:
        return "".join(_path_data(part, relief) for line in drawn.of(kind) for part in line.parts)

    return MapDrawing(
        width,
        height,
        relief_png=png_address(_light(relief)),
        bands_png=png_address(style.colour_png(np.round(255.0 * colours).astype(np.uint8), band >= 0)),
        cols=band.shape[1],
        rows=band.shape[0],
        cells=_matrix(relief),
        hatches_png=png_address(_hatches(relief, band, len(scheme.bands))),
        contours=outline("contour"),
        index_contours=outline("index contour"),
        corridor=outline("corridor"),
        edge_of_known=outline("edge of known ground"),
        zones=outline("start zones"),
        legs=_leg_lines(screening, relief),
        beside=_beside(screening, relief),
        norths=norths,
        bar_right=bar_right,
        bar=(round(bar * 1000.0 / relief.scale_denominator * UNITS_PER_MM), bar),
    )


def _free_corners(relief: Relief, sides: tuple[int, int]) -> tuple[str, bool]:
    """Choose the corner of the arrows to the norths, ``top-left`` if it is free, and the side of the bar."""
    width, height = sides
    # On a phone the arrows take a fifth of the width; below, they stand above the bar.
    x, y, far = 0.12 * width, 0.09 * width, 0.2 * width
    corners = {
        "top-left": (x, y),
        "bottom-right": (width - x, height - 2.0 * y),
        "bottom-left": (x, height - 2.0 * y),
    }
    line = np.vstack([map_units(relief, leg.x, leg.y) for leg in relief.legs])

    def clear(spot: tuple[float, float]) -> float:
        return min(far, float(np.hypot(*(line - spot).T).min()))

    low = height - 0.5 * y
    return max(corners, key=lambda name: clear(corners[name])), clear((width - x, low)) > clear((x, low))


def place_on_map(relief: Relief, lat_deg: float, lon_deg: float) -> tuple[int, int]:
    """Position of a place in units of the map; it may lie outside."""
    x, y = relief.grid.xy(*relief.grid.from_wgs84([lon_deg], [lat_deg]))
    return _unit(relief, (float(x[0]), float(y[0])))


def map_units(relief: Relief, x: Array, y: Array) -> Array:
    """Positions in the CRS as units of the map, shape ``(n, 2)``, rounded."""
    moved: Array = _to_units(relief).transform(np.column_stack((x, y)))
    return np.round(moved)


def _to_units(relief: Relief) -> Affine2D:
    x0, x1, y0, y1 = relief.extent
    width, height = (side * UNITS_PER_MM for side in relief.map_mm)
    return Affine2D().translate(-x0, -y1).scale(width / (x1 - x0), -height / (y1 - y0))


def _unit(relief: Relief, position: tuple[float, float]) -> tuple[int, int]:
    x, y = map_units(relief, np.array([position[0]]), np.array([position[1]]))[0]
    return int(x), int(y)


def _matrix(relief: Relief) -> str:
    """From columns and rows of cells to units of the map."""
    a, b, c, d, e, f = relief.grid.transform
    whole = Affine2D(np.array([[a, b, c], [d, e, f], [0, 0, 1]])) + _to_units(relief)
    (a, b, c), (d, e, f) = whole.get_matrix()[:2]
    return " ".join(f"{value:.6g}" for value in (a, d, b, e, c, f))


def _light(relief: Relief) -> bytes:
    """Relief alone, in faint greys."""
    known = np.isfinite(relief.slope_deg)
    level, share = _RELIEF_GREY
    grey = np.clip(level + share * style.lit(relief), 0.0, 1.0)
    return style.grey_png(np.round(255.0 * grey).astype(np.uint8), np.where(known, 255, 0).astype(np.uint8))


def _hatches(relief: Relief, band: NDArray[np.intp], count: int) -> bytes:
    """Hatches of the bands, in dots of the map."""
    width, height = (round(side * _DOTS_PER_MM) for side in relief.map_mm)
    rows, cols = np.arange(height)[:, None], np.arange(width)[None, :]
    x0, x1, y0, y1 = relief.extent
    at = relief.grid.colrow(x0 + (cols + 0.5) / width * (x1 - x0), y1 - (rows + 0.5) / height * (y1 - y0))
    # Beyond the cells there is as little to hatch as on unknown ground: a ring of that.
    ringed = np.pad(band, 1, constant_values=-1)
    col, row = (
        np.clip(np.floor(value) + 1, 0, size - 1).astype(np.intp)
        for value, size in zip(at, ringed.shape[::-1], strict=True)
    )
    there = ringed[row, col]
    numbers = np.zeros((height, width), np.uint8)
    inks = [(0, 0, 0, 0)]
    for k in range(count):
        numbers[(there == k) & style.pattern(style.band_hatch(k), rows, cols, _LINE_DOTS)] = len(inks)
        inks.append(style.colour(to_rgb(style.hatch_ink(k, count))))
    return style.palette_png(numbers, inks)


def _path_data(points: Array, relief: Relief) -> str:
    """SVG path data of a line thinned to `_THIN_UNITS`."""
    path = Path(points)
    path.should_simplify = True
    path.simplify_threshold = _THIN_UNITS
    cleaned = path.cleaned(transform=_to_units(relief), simplify=True, curves=False)
    codes = np.asarray(cleaned.codes)
    return polyline(np.asarray(cleaned.vertices)[(codes == Path.MOVETO) | (codes == Path.LINETO)])


def polyline(points: Array) -> str:
    """SVG path data of a line through points, in whole units."""
    whole = np.round(points).astype(int)
    steps = np.diff(whole, axis=0)
    steps = steps[steps.any(axis=1)]
    if len(steps) == 0:
        return ""
    moves = " ".join(f"{dx} {dy}" for dx, dy in steps)
    return f"M{whole[0, 0]} {whole[0, 1]}l{moves}".replace(" -", "-")


def _leg_lines(screening: RouteScreening, relief: Relief) -> tuple[LegLine, ...]:
    slopes = {leg.number: leg.slope_max_deg for leg in screening.legs}
    steepest_first = sorted(relief.legs, key=lambda leg: -(slopes[leg.number] or 91.0))
    waiting = crowded([(leg.number, _unit(relief, leg.middle)) for leg in steepest_first])
    return tuple(_leg_line(relief, leg, waiting) for leg in relief.legs)


def _leg_line(relief: Relief, leg: LegOnMap, waiting: set[int | str]) -> LegLine:
    ends = map_units(relief, leg.x, leg.y).astype(int)
    return LegLine(
        leg.number,
        _path_data(np.column_stack((leg.x, leg.y)), relief),
        (int(ends[0, 0]), int(ends[0, 1])),
        (int(ends[-1, 0]), int(ends[-1, 1])),
        _unit(relief, leg.middle),
        None if leg.steepest is None else _unit(relief, leg.steepest),
        leg.number in waiting,
    )


def _beside(screening: RouteScreening, relief: Relief) -> tuple[LineBeside, ...]:
    """Other lines, each with its name where it is farthest from numbers of legs and from other names."""
    taken = [_unit(relief, leg.middle) for leg in relief.legs]
    found = []
    for line in lines_on_map(screening, relief.grid):
        data = _path_data(np.column_stack((line.x, line.y)), relief)
        at_m = np.concatenate(([0.0], np.cumsum(np.hypot(np.diff(line.x), np.diff(line.y)))))
        shares = np.linspace(0.1, 0.9, 9) * at_m[-1]
        spots = map_units(relief, *(np.interp(shares, at_m, axis) for axis in (line.x, line.y)))
        middle = max(spots.astype(int).tolist(), key=lambda spot: _room(spot, taken, relief))
        taken.append((middle[0], middle[1]))
        found.append(LineBeside(line.name, data, (middle[0], middle[1]), line.way_off))
    return tuple(found)


def _room(spot: Sequence[int], taken: Iterable[tuple[int, int]], relief: Relief) -> float:
    """Distance to the nearest of others and of the sides; a name is some six times as wide as it is high."""
    width = relief.map_mm[0] * UNITS_PER_MM
    sides = (spot[0], width - spot[0])
    return min(*sides, *(math.hypot(spot[0] - x, 6.0 * (spot[1] - y)) for x, y in taken))


def crowded(
    places: Iterable[tuple[int | str, tuple[int, int]]], taken: Iterable[tuple[int, int]] = ()
) -> set[int | str]:
    """Numbers or names that would cover one that stands before them, at the size of the page."""
    room = _LABEL_MM * UNITS_PER_MM
    kept = list(taken)
    waiting: set[int | str] = set()
    for name, (x, y) in places:
        if all((x - left) ** 2 + (y - top) ** 2 > room**2 for left, top in kept):
            kept.append((x, y))
        else:
            waiting.add(name)
    return waiting


def place_spots(places: Iterable[PlaceThatMatters], relief: Relief) -> list[tuple[str, tuple[int, int]]]:
    """Letters of places, and where on the map each is told by its first figure."""
    told = ((place.name, leading_spot(place)[0]) for place in places)
    return [(name, place_on_map(relief, spot.lat_deg, spot.lon_deg)) for name, spot in told]


def letters_beside(
    spots: Sequence[tuple[str, tuple[int, int]]],
    size: float,
    room: float,
    sides: tuple[int, int],
    signs: Iterable[tuple[int, int]] = (),
) -> list[Letter]:
    """Put a letter of half the side `size` beside each spot, `room` off others and `signs`, on the map."""
    taken: list[tuple[float, float]] = [*signs, *(spot for _, spot in spots)]
    out = []
    for name, at in spots:
        label = max(_around(at, size, sides), key=lambda spot: min(room, _clear(spot, taken)))
        taken.append(label)
        out.append(Letter(name, at, (round(label[0]), round(label[1]))))
    return out


def _around(at: tuple[int, int], size: float, sides: tuple[int, int]) -> Iterator[tuple[float, float]]:
    """Yield places for a letter, near ones first, inside the map."""
    for far in (2.0, 3.2, 4.6):
        for k in range(_WAYS):
            angle = 2.0 * math.pi * k / _WAYS
            x, y = at[0] + far * size * math.cos(angle), at[1] - far * size * math.sin(angle)
            if size <= x <= sides[0] - size and size <= y <= sides[1] - size:
                yield x, y
    yield float(at[0]), float(at[1])


def _clear(spot: tuple[float, float], others: Iterable[tuple[float, float]]) -> float:
    return min((math.hypot(spot[0] - x, spot[1] - y) for x, y in others), default=math.inf)
