"""Forms of ground to know by their contours: convex, concave, roll, gully, spur, corrie.

Each is a height over a square of paper, so that the same form can be drawn as contours, as a
profile along a line, and as a block. Heights and distances are in millimetres of paper at the
map's scale, which keeps slopes as they are.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, Final

import numpy as np

from steybrae.frozen import dataclass
from steybrae.terrain.dem import Array

SIDE_MM: Final = 48.0
"""Side of a patch, mm: 1.2 km at 1:25 000 (our choice)."""

STEP_MM: Final = 0.25
"""Step of the grid that contours are drawn from, mm (our choice)."""

LABEL_ROOM_MM: Final = 6.0
"""A number on a contour keeps so far from the line, the frame and other numbers, mm (our choice)."""

MOST_LABELS: Final = 4
"""Most numbers on a patch (our choice): they are to tell which way is up, not to hide the lines."""

SPOTS_MM: Final = ((8.0, -10.0), (8.0, 10.0))
"""Places beside the line whose heights tell which way is up, mm from the middle (our choice)."""

PROFILE_POINTS: Final = 81
GRID_POINTS: Final = 41

EVERY: Final = 5
"""Every how many contours one is thick (our choice)."""

Height = Callable[[Array, Array], Array]


@dataclass(frozen=True)
class Form:
    """A form of ground: its name in the words of the trade, and how to know it by its contours.

    `height`, mm, is at x to the right and y up, mm from the middle of the patch; `line` has x and y
    of both ends of its profile, mm.
    """

    name: str
    words: str
    height: Height
    line: tuple[tuple[float, float], tuple[float, float]]


@dataclass(frozen=True, eq=False)
class PatchLine:
    """A contour: height, metres, whether thick, points ``(n, 2)``, mm from the patch's lower left corner."""

    level_m: float
    thick: bool
    points: Array


@dataclass(frozen=True, eq=False)
class FormPatch:
    """A form drawn as contours.

    Attributes
    ----------
    form
        Which one.
    side_mm
        Of the square.
    lines
        Its contours.
    labels
        Numbers on thick contours: x, y, mm, and text.
    line
        Line of the profile, mm from the lower left corner.
    profile
        Along that line, and height above its lowest point, ``(n, 2)`` mm, true to scale.
    """

    form: Form
    side_mm: float
    lines: tuple[PatchLine, ...]
    labels: tuple[tuple[float, float, str], ...]
    line: tuple[tuple[float, float], tuple[float, float]]
    profile: Array


@dataclass(frozen=True, eq=False)
class FormGrid:
    """A form as heights to draw from.

    Attributes
    ----------
    form
        Which one.
    side_mm
        Of the square.
    heights_mm
        ``(n, n)`` at even steps from edge to edge, mm at the map's scale; row 0 the
        lower edge.
    line
        Line of the profile, shares of the side from the lower left corner.
    profile
        As in `FormPatch`.
    spots
        x and y as in `line`, and height, mm: two places that tell which way is up.
    """

    form: Form
    side_mm: float
    heights_mm: Array
    line: tuple[tuple[float, float], ...]
    profile: Array
    spots: tuple[tuple[float, float, float], ...]


def form_grid(form: Form) -> FormGrid:
    """Sample one of `FORMS` at `GRID_POINTS` heights along a side."""
    at = np.linspace(-SIDE_MM / 2.0, SIDE_MM / 2.0, GRID_POINTS)
    x, y = np.meshgrid(at, at)
    spots = [(sx, sy, float(form.height(np.array(sx), np.array(sy)))) for sx, sy in SPOTS_MM]
    return FormGrid(
        form,
        SIDE_MM,
        form.height(x, y),
        tuple((0.5 + px / SIDE_MM, 0.5 + py / SIDE_MM) for px, py in form.line),
        _profile(form),
        tuple((0.5 + sx / SIDE_MM, 0.5 + sy / SIDE_MM, z) for sx, sy, z in spots),
    )


def _tan(slope_deg: float) -> float:
    return math.tan(math.radians(slope_deg))


def _bow(x: Array) -> Array:
    """Bend straight contours a little: a hillside is never ruled."""
    return np.asarray(0.012 * np.square(x))


def _convex(x: Array, y: Array) -> Array:
    up = y - _bow(x)
    return np.asarray(_tan(22.0) * up - 0.0095 * np.square(up))


def _concave(x: Array, y: Array) -> Array:
    up = y + _bow(x)
    return np.asarray(_tan(22.0) * up + 0.0095 * np.square(up))


def _roll(x: Array, y: Array) -> Array:
    up = y - _bow(x)
    return np.asarray(_tan(9.0) * up + 3.6 * np.tanh(up / 5.0))


def _gully(x: Array, y: Array) -> Array:
    return np.asarray(_tan(16.0) * y + 0.55 * np.sqrt(np.square(x) + 4.0))


def _spur(x: Array, y: Array) -> Array:
    return np.asarray(_tan(16.0) * y - 0.55 * np.sqrt(np.square(x) + 4.0))


def _corrie(x: Array, y: Array) -> Array:
    """Floor closed above by a headwall, open below, where it ends at a lip."""
    from_floor = np.where(y > 0.0, np.hypot(x, y), np.abs(x))
    headwall = 6.5 * (1.0 + np.tanh((from_floor - 11.0) / 5.0))
    lip = 3.0 * (1.0 + np.tanh((y + 13.0) / 3.0))
    return np.asarray(headwall + lip + 0.03 * y)


_UP: Final = ((0.0, -17.0), (0.0, 17.0))
_ACROSS: Final = ((-16.0, 0.0), (16.0, 0.0))

FORMS: Final = (
    Form("convex slope", "The gaps widen uphill: steep below, gentle above.", _convex, _UP),
    Form("concave slope", "The gaps close uphill: gentle below, steep above.", _concave, _UP),
    Form("roll", "Wide, close, wide: gentle ground breaks over into a steep step.", _roll, _UP),
    Form("gully", "The contours bend uphill: lower in the middle than on both sides.", _gully, _ACROSS),
    Form("spur", "The contours bend downhill: higher in the middle than on both sides.", _spur, _ACROSS),
    Form("corrie", "A horseshoe of close contours round a wide floor that ends at a lip.", _corrie, _UP),
)
"""Forms to match (our choice), each along the line that shows it best."""


def form_patch(
    form: Form, scale: float, interval_m: float, *, turn_deg: float = 0.0, base_m: float = 600.0
) -> FormPatch:
    """Draw a form as contours, turned anticlockwise, its middle at `base_m`, with its profile.

    Slopes are the same on every map, so a larger scale shows a smaller hill.
    """
    return _patch(form, scale, interval_m, SIDE_MM, turn_deg, base_m)


def even_patch(
    slope_deg: float, scale: float, interval_m: float, *, side_mm: float, turn_deg: float, base_m: float
) -> FormPatch:
    """Draw an even slope, its line up the fall line; see `form_patch`."""

    def height(x: Array, y: Array) -> Array:
        return np.asarray(_tan(slope_deg) * y)

    reach = 0.4 * side_mm
    form = Form("even slope", "", height, ((0.0, -reach), (0.0, reach)))
    return _patch(form, scale, interval_m, side_mm, turn_deg, base_m)


def _patch(
    form: Form, scale: float, interval_m: float, side_mm: float, turn_deg: float, base_m: float
) -> FormPatch:
    from contourpy import contour_generator  # noqa: PLC0415  small commands do not pay for it

    count = round(side_mm / STEP_MM) + 1
    at = np.linspace(0.0, side_mm, count)
    turn = math.radians(turn_deg)
    half = side_mm / 2.0
    east, north = np.meshgrid(at - half, at - half)
    # The patch turns anticlockwise where its own axes are turned back.
    x = east * math.cos(turn) + north * math.sin(turn)
    y = -east * math.sin(turn) + north * math.cos(turn)
    heights = base_m + form.height(x, y) * scale / 1000.0
    make: Any = contour_generator(at, at, heights, name="serial")
    first, last = math.ceil(heights.min() / interval_m), math.floor(heights.max() / interval_m)
    lines = tuple(
        PatchLine(number * interval_m, number % EVERY == 0, points)
        for number in range(first, last + 1)
        for points in make.lines(number * interval_m)
    )
    ends = tuple(
        (half + px * math.cos(turn) - py * math.sin(turn), half + px * math.sin(turn) + py * math.cos(turn))
        for px, py in form.line
    )
    return FormPatch(form, side_mm, lines, _labels(lines, side_mm, ends), ends, _profile(form))  # type: ignore[arg-type]


def _profile(form: Form) -> Array:
    (x0, y0), (x1, y1) = form.line
    share = np.linspace(0.0, 1.0, PROFILE_POINTS)
    heights = form.height(x0 + (x1 - x0) * share, y0 + (y1 - y0) * share)
    return np.column_stack((share * math.hypot(x1 - x0, y1 - y0), heights - heights.min()))


def _labels(
    lines: tuple[PatchLine, ...], side_mm: float, ends: tuple[tuple[float, float], ...]
) -> tuple[tuple[float, float, str], ...]:
    """Place numbers on thick contours spread from low to high, clear of the line and of each other."""
    (x0, y0), (x1, y1) = ends
    length = math.hypot(x1 - x0, y1 - y0)
    thick = [line for line in lines if line.thick]
    levels = sorted({line.level_m for line in thick})
    asked = {levels[round(k)] for k in np.linspace(0, len(levels) - 1, min(MOST_LABELS, len(levels)))}
    found: list[tuple[float, float, str]] = []
    for line in thick:
        if line.level_m not in asked:
            continue
        x, y = line.points[:, 0], line.points[:, 1]
        aside = np.abs((x - x0) * (y1 - y0) - (y - y0) * (x1 - x0)) / length
        room = np.minimum.reduce([x, y, side_mm - x, side_mm - y, aside])
        for px, py, _ in found:
            room = np.minimum(room, np.hypot(x - px, y - py))
        best = int(np.argmax(room))
        if room[best] >= LABEL_ROOM_MM:
            found.append((float(x[best]), float(y[best]), f"{line.level_m:.0f}"))
            asked.remove(line.level_m)
    return tuple(found)
