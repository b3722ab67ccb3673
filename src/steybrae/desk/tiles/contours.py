"""Contours of a tile, and their heights written on some."""

from __future__ import annotations

import math
from functools import cache, lru_cache
from pathlib import Path
from typing import Final

import matplotlib as mpl
import numpy as np
from contourpy import contour_generator
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from steybrae.desk.tiles.cells import TILE, TileView
from steybrae.figures.style import grey_png
from steybrae.quantities import FOOT_M, US_SURVEY_FOOT_M
from steybrae.screening.pictures.relief import INDEX_EVERY, INTERVALS_M
from steybrae.terrain.dem import Array

LEAST_GAP_PX: Final = 2.0
"""Gap between contours on ground of 45 degrees, pixels: closer ones run together (our choice)."""

FINER: Final = 2
"""Lines are drawn so many times as large and made smaller, so that they are smooth."""

LABEL_PX: Final = 11
"""Size of the figures on contours, pixels (our choice)."""

LABEL_ROOM_PX: Final = 22.0
"""Half of the room that a label needs, pixels: the rim of a tile never cuts one."""

LEAST_LINE_PX: Final = 90.0
"""Shortest piece of a contour that is labelled, pixels (our choice)."""

MOST_LEVELS: Final = 400
"""Most contours of a tile (our choice): a spike in the model must not stop the drawing."""

_MULTIPLES: Final = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000)


def interval_m(cell_m: float, zoom: int, own_m: float | None) -> float:
    """Interval of the contours at a zoom, where a cell is ``2 ** zoom`` pixels wide.

    A round multiple of the user's own, so large that contours stay apart; without one, of a usual
    one for the cell.
    """
    least_m = LEAST_GAP_PX * cell_m * 2.0**-zoom
    own = own_m or next(value for value in INTERVALS_M[2:] if value >= min(0.66 * cell_m, INTERVALS_M[-1]))
    return next((n * own for n in _MULTIPLES if n * own >= least_m), _MULTIPLES[-1] * own)


def contour_unit(own_m: float | None) -> tuple[str, float]:
    """Choose the unit in which contours are told: feet where the user's interval is whole in them alone.

    Its sign, and its metres: of an international foot or of one of the US survey.
    """
    if own_m is not None and not _whole(own_m / 0.5):
        for foot_m in (FOOT_M, US_SURVEY_FOOT_M):
            if _whole(own_m / foot_m):
                return "ft", foot_m
    return "m", 1.0


def _whole(number: float) -> bool:
    return abs(number - round(number)) < 1e-6


def contours_png(heights_m: Array, view: TileView, step_m: float, unit_m: float = 1.0) -> bytes:
    """Draw contours; heights are those of the tile's cells and one ring around them.

    `unit_m` are metres in the unit of the labels.
    """
    size = TILE * FINER
    lines = Image.new("L", (size, size))
    texts, halo = Image.new("L", (TILE, TILE)), Image.new("L", (TILE, TILE))
    ink = ImageDraw.Draw(lines)
    for step, line in _contours(heights_m, view, step_m):
        index = step % INDEX_EVERY == 0
        ink.line(
            [tuple(point) for point in (line * FINER).tolist()], 230 if index else 120, 3 if index else 2
        )
        if index:
            _label(line, f"{step * step_m / unit_m:g}", texts, halo)
    line_ink = np.asarray(lines.resize((TILE, TILE), Image.Resampling.BOX)).astype(np.int16)
    text_ink, white = (np.asarray(one).astype(np.int16) for one in (texts, halo))
    opaque = np.maximum(line_ink, np.maximum(text_ink, white))
    grey = np.where(white > 0, 255 - text_ink, 40)
    return grey_png(grey.astype(np.uint8), opaque.astype(np.uint8))


def _contours(heights_m: Array, view: TileView, step_m: float) -> list[tuple[int, NDArray[np.float64]]]:
    """Contours as their number of steps and their points ``[point, x y]`` in pixels of the tile."""
    known = np.isfinite(heights_m)
    if not known.any():
        return []
    low, high = float(np.nanmin(heights_m)), float(np.nanmax(heights_m))
    steps = range(math.ceil(low / step_m), math.floor(high / step_m) + 1)
    # The ring's first centre lies half a cell before the tile.
    at = (np.arange(len(heights_m)) - 0.5) * view.side
    generator = contour_generator(at, at, np.ma.masked_invalid(heights_m))
    return [
        (step, np.asarray(line))
        for step in steps[:: 1 + len(steps) // MOST_LEVELS]
        for line in generator.lines(step * step_m)
    ]


def _label(line: NDArray[np.float64], text: str, texts: Image.Image, halo: Image.Image) -> None:
    """Write a height on a line, along it, where there is room."""
    pieces = np.hypot(*np.diff(line, axis=0).T)
    length = float(pieces.sum())
    if length < LEAST_LINE_PX:
        return
    chainage = np.concatenate(([0.0], np.cumsum(pieces)))
    for share in (0.5, 0.35, 0.65):
        x0, x, x1 = (np.interp(share * length + off, chainage, line[:, 0]) for off in (-12.0, 0.0, 12.0))
        y0, y, y1 = (np.interp(share * length + off, chainage, line[:, 1]) for off in (-12.0, 0.0, 12.0))
        inside = all(LABEL_ROOM_PX <= at <= TILE - LABEL_ROOM_PX for at in (x, y))
        # Where the line bends figures would not lie on it.
        if not inside or math.hypot(x1 - x0, y1 - y0) < 20.0:
            continue
        turn = math.degrees(math.atan2(-(y1 - y0), x1 - x0))
        turn = turn - 180.0 if turn > 90.0 else turn + 180.0 if turn < -90.0 else turn
        corner = round(float(x) - LABEL_ROOM_PX), round(float(y) - LABEL_ROOM_PX)
        if halo.crop((*corner, corner[0] + 44, corner[1] + 44)).getbbox() is not None:
            continue
        for picture, stroke in ((halo, 2), (texts, 0)):
            picture.paste(255, corner, _written(text, stroke).rotate(turn, Image.Resampling.BILINEAR))
        return


@cache
def _font() -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(str(Path(mpl.get_data_path()) / "fonts" / "ttf" / "DejaVuSans.ttf"), LABEL_PX)


@lru_cache(maxsize=500)
def _written(text: str, stroke: int) -> Image.Image:
    side = round(2.0 * LABEL_ROOM_PX)
    out = Image.new("L", (side, side))
    middle = side / 2.0
    ImageDraw.Draw(out).text((middle, middle), text, 255, _font(), anchor="mm", stroke_width=stroke)
    return out
