"""Labels on a map that keep out of each other's way, and marks that several figures draw."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from matplotlib import patheffects
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.patches import Rectangle
from matplotlib.text import Annotation, Text
from matplotlib.transforms import Bbox

from steybrae.bands import in_degrees
from steybrae.figures.style import INK, SMALL_PT, band_hatch, band_tint, hatch_ink, unknown_style
from steybrae.terrain.dem import Array

_PAD_PT: Final = 1.0
_DISTANCES_PT: Final = (8.0, 13.0, 20.0, 30.0, 42.0)
_FAR_PT: Final = (54.0, 68.0, 84.0, 102.0, 124.0, 150.0, 180.0)
_APART_PT: Final = 3.0
_DIRECTIONS: Final = 16


class Labels:
    """Places labels on axes one after the other; those that find no room are left out.

    The limits of the axes must be set; `keep_clear` are display positions, ``(n, 2)``, that labels
    should not cover: the line, the marks.
    """

    def __init__(self, axes: Axes, keep_clear: Array) -> None:
        figure = axes.get_figure(root=True)
        assert figure is not None  # noqa: S101  axes of a page always have one
        self._axes = axes
        self._renderer = FigureCanvasAgg(figure).get_renderer()  # type: ignore[no-untyped-call]
        self._points = keep_clear
        self._pixels = figure.dpi / 72.0
        self._frame = axes.get_window_extent()
        self.taken: list[tuple[float, float, float, float]] = []
        """What is not free any more: left, low, right and high ends, in pixels."""

    def take(self, position: tuple[float, float], radius_pt: float) -> None:
        """Keep a place, in data coordinates, free of labels."""
        x, y = self._axes.transData.transform(position)
        reach = radius_pt * self._pixels
        self.taken.append((x - reach, y - reach, x + reach, y + reach))

    def place(
        self,
        text: str,
        position: tuple[float, float],
        gid: str,
        *,
        start_pt: float = 0.0,
        must: bool = False,
        **style: Any,
    ) -> bool:
        """Put a label beside a position, tied to it by a thin line.

        Parameters
        ----------
        text, position, gid
            What, where in data coordinates, and the name of the artist.
        start_pt
            0 tries the position itself first.
        must
            Whether it is looked for further away where there is no room near.

        Returns
        -------
        bool
            Whether there was room.
        """
        label = self._axes.annotate(
            text,
            position,
            xytext=(0.0, 0.0),
            textcoords="offset points",
            ha="center",
            va="center",
            bbox={"facecolor": "white", "edgecolor": INK, "linewidth": 0.4, "boxstyle": "round,pad=0.15"},
            arrowprops={"arrowstyle": "-", "linewidth": 0.5, "shrinkA": 0, "shrinkB": 2.6, "color": INK},
            zorder=9,
            gid=gid,
            **style,
        )
        found = self._best(label, position, start_pt)
        if found is None and must:
            found = self._best(label, position, _FAR_PT[0], _FAR_PT)
        if found is None:
            label.remove()
            return False
        offset, box = found
        label.set_position(offset)
        edge = label.get_bbox_patch()
        if label.arrow_patch is not None and edge is not None:
            # A leader runs to the edge of the box, not under its letters.
            label.arrow_patch.set_patchA(edge)
        self.taken.append((box.x0, box.y0, box.x1, box.y1))
        return True

    def keep_or_remove(self, text: Text) -> None:
        """Keep a text that is drawn already where there is room for it, else take it away."""
        box = text.get_window_extent(self._renderer).padded(_APART_PT * self._pixels)
        if self._free(box):
            self.taken.append((box.x0, box.y0, box.x1, box.y1))
        else:
            text.remove()

    def _best(
        self,
        label: Annotation,
        position: tuple[float, float],
        start_pt: float,
        distances_pt: tuple[float, ...] = _DISTANCES_PT,
    ) -> tuple[tuple[float, float], Bbox] | None:
        bbox = label.get_bbox_patch()
        assert bbox is not None  # noqa: S101  place() asks for one
        label.update_bbox_position_size(self._renderer)
        own = bbox.get_window_extent(self._renderer).padded(_PAD_PT * self._pixels)
        x, y = self._axes.transData.transform(position)
        best: tuple[float, tuple[float, float], Bbox] | None = None
        for offset in _offsets(start_pt, distances_pt):
            if best is not None and math.hypot(*offset) >= best[0]:
                break  # no place further away can be better
            dx, dy = offset[0] * self._pixels, offset[1] * self._pixels
            box = Bbox.from_bounds(x + dx - own.width / 2, y + dy - own.height / 2, own.width, own.height)
            if not self._free(box):
                continue
            cost = self._covered(box) * 4.0 + math.hypot(*offset)
            if best is None or cost < best[0]:
                best = (cost, offset, box)
        return None if best is None else best[1:]

    def _free(self, box: Bbox) -> bool:
        inside = bool(
            box.x0 >= self._frame.x0
            and box.x1 <= self._frame.x1
            and box.y0 >= self._frame.y0
            and box.y1 <= self._frame.y1
        )
        return inside and not any(
            left < box.x1 and right > box.x0 and low < box.y1 and high > box.y0
            for left, low, right, high in self.taken
        )

    def _covered(self, box: Bbox) -> int:
        x, y = self._points.T
        return int(((x > box.x0) & (x < box.x1) & (y > box.y0) & (y < box.y1)).sum())


def _offsets(start_pt: float, distances_pt: tuple[float, ...]) -> Sequence[tuple[float, float]]:
    turns = np.arange(_DIRECTIONS) * 2.0 * np.pi / _DIRECTIONS
    around = [
        # Boxes are wider than high: an ellipse of places keeps them equally near.
        (1.7 * distance * float(np.sin(turn)), distance * float(np.cos(turn)))
        for distance in distances_pt
        if distance >= start_pt
        for turn in turns
    ]
    return sorted(around if start_pt > 0.0 else [(0.0, 0.0), *around], key=lambda at: math.hypot(*at))


HALO: Final = (patheffects.withStroke(linewidth=1.6, foreground="white"),)


def swatch(axes: Axes, corner: tuple[float, float], size: tuple[float, float], **style: Any) -> Rectangle:
    """Add a framed rectangle to a legend."""
    patch = Rectangle(corner, *size, **style)
    axes.add_patch(patch)
    axes.add_patch(Rectangle(corner, *size, fill=False, edgecolor=INK, linewidth=0.5))
    return patch


def band_legend(axes: Axes, labels: Sequence[str], *, hatched: bool) -> None:
    """Draw a swatch for each band, then one for unknown ground, all across the axes."""
    count = len(labels)
    axes.set_axis_off()
    axes.set_xlim(0, count + 1)
    axes.set_ylim(0, 1)
    for k, label in enumerate(labels):
        hatch = {"edgecolor": hatch_ink(k, count), "hatch": band_hatch(k)} if hatched else {}
        swatch(axes, (k + 0.05, 0.4), (0.9, 0.6), linewidth=0.0, facecolor=band_tint(k, count), **hatch)
        axes.text(k + 0.5, 0.3, in_degrees(label), ha="center", va="top", fontsize=SMALL_PT)
    swatch(axes, (count + 0.05, 0.4), (0.9, 0.6), **unknown_style())
    axes.text(count + 0.5, 0.3, "unknown", ha="center", va="top", fontsize=SMALL_PT)
