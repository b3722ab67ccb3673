"""The map of a screened route, as axes of a page; its labels, which keep out of each other's way.

Marks that several figures draw stand here too.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Final, Literal

import numpy as np
from matplotlib import patheffects
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.contour import ContourSet
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from matplotlib.text import Annotation, Text
from matplotlib.ticker import FuncFormatter, MaxNLocator
from matplotlib.transforms import Affine2D, Bbox

from steybrae.bands import BandScheme, in_degrees
from steybrae.figures.style import (
    DASHES,
    INK,
    SMALL_PT,
    band_hatch,
    band_style,
    hatch_ink,
    tinted,
    unknown_style,
)
from steybrae.frozen import dataclass
from steybrae.names import cut
from steybrae.screening.pictures.drawn import DrawnMap, Line, LineKind, drawn_map
from steybrae.screening.pictures.picture import Relief
from steybrae.screening.result import RouteScreening
from steybrae.terrain.dem import Array, Grid

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
        plain = {} if hatched else {"edgecolor": None, "hatch": None}
        swatch(axes, (k + 0.05, 0.4), (0.9, 0.6), **(band_style(k, count) | plain))
        axes.text(k + 0.5, 0.3, in_degrees(label), ha="center", va="top", fontsize=SMALL_PT)
    swatch(axes, (count + 0.05, 0.4), (0.9, 0.6), **unknown_style())
    axes.text(count + 0.5, 0.3, "unknown", ha="center", va="top", fontsize=SMALL_PT)


LINE_PT: Final = 1.5


@dataclass(frozen=True)
class LineStyle:
    """How a line of a kind is drawn; `casing_pt` is white on both sides together, `order` what it covers."""

    width_pt: float
    order: float
    dashes: Literal["solid"] | tuple[float, Sequence[float]] = "solid"
    casing_pt: float = 0.0
    ink: str = INK


LINE_STYLES: Final[dict[LineKind, LineStyle]] = {
    "contour": LineStyle(0.25, 2.0, ink="0.2"),
    "index contour": LineStyle(0.6, 2.0, ink="0.1"),
    "edge of known ground": LineStyle(0.7, 2.5),
    "start zones": LineStyle(0.8, 3.1, (0, DASHES["start zones"]), 0.5),
    "corridor": LineStyle(0.9, 4.0, (0, (3.5, 1.8)), 1.0),
    "beside": LineStyle(LINE_PT, 4.6, (0, (5.0, 1.2)), 1.2),
    "way off": LineStyle(LINE_PT, 4.6, (0, (4.0, 1.2, 1.0, 1.2)), 1.2),
    "leg": LineStyle(LINE_PT, 6.0, casing_pt=2.0),
    "sight": LineStyle(0.9, 6.7, (0, DASHES["sight"]), 1.3),
}
"""Lines of a map, and in its legend."""

_NAMED: Final[dict[LineKind, str]] = {
    "beside": "beside ", "way off": "beside ", "leg": "leg ", "sight": "sight ",
}  # fmt: skip
_NAME_LETTERS: Final = 24
_TICK_MM: Final = 26.0
_CORNER_MM: Final = 7.0
_LINE_SAMPLES: Final = 60


def draw_map(axes: Axes, screening: RouteScreening, relief: Relief) -> None:
    """Draw the ground, the line on it, and the figures of each leg, on axes of the size `relief.map_mm`."""
    x0, x1, y0, y1 = relief.extent
    axes.set(xlim=(x0, x1), ylim=(y0, y1))
    axes.set_autoscale_on(False)
    scheme = BandScheme(screening.settings.edges_deg)
    draw_ground(axes, relief, scheme)
    drawn = drawn_map(screening, relief)
    heights = _contours(axes, drawn)
    for line in drawn.lines:
        if line.kind not in ("contour", "index contour"):
            _line(axes, line)
    _marks(axes, drawn)
    _labels(axes, drawn, heights, _unknown_points(relief))
    _frame(axes, relief)
    axes.set(xlim=(x0, x1), ylim=(y0, y1))


def _centres(grid: Grid) -> tuple[Array, Array]:
    rows, cols = grid.shape
    return grid.xy(np.arange(cols)[None, :] + 0.5, np.arange(rows)[:, None] + 0.5)


def draw_ground(axes: Axes, relief: Relief, scheme: BandScheme) -> None:
    """Bands over a sheet of unknown, so that what is not known cannot be left blank."""
    axes.patch.set(**unknown_style())
    axes.patch.set_gid("unknown")
    count = len(scheme.bands)
    slope, index, colours = tinted(relief, scheme)
    known = index >= 0
    a, b, c, d, e, f = relief.grid.transform
    rows, cols = relief.grid.shape
    axes.imshow(
        np.dstack((colours, known.astype(float))),
        extent=(0, cols, rows, 0),
        transform=Affine2D(np.array([[a, b, c], [d, e, f], [0, 0, 1]])) + axes.transData,
        interpolation="nearest",
        aspect="auto",
        zorder=1,
        gid="bands",
    )
    x, y = _centres(relief.grid)
    for k, band in enumerate(scheme.bands):
        if not band_hatch(k) or not (index == k).any() or min(slope.shape) < 2:
            continue
        top_deg = 90.1 if band.high_deg is None else band.high_deg
        strip = axes.contourf(
            x, y, slope, levels=[band.low_deg, top_deg], colors="none", hatches=[band_hatch(k)], zorder=1.5
        )
        strip.set(edgecolor=hatch_ink(k, count), linewidth=0.0, gid=f"band {band.label}")


def _contours(axes: Axes, drawn: DrawnMap) -> list[Text]:
    """Contours; returns the labels of the index contours."""
    labels: list[Text] = []
    for kind in ("contour", "index contour"):
        lines, style = drawn.of(kind), LINE_STYLES[kind]
        if not lines:
            continue
        levels, parts = zip(*((float(line.name), list(line.parts)) for line in lines), strict=True)
        found = ContourSet(
            axes, levels, parts, colors=style.ink, linewidths=style.width_pt, linestyles="solid", zorder=2
        )
        found.set_gid(f"{kind}s")
        if kind == "index contour":
            labels = list(axes.clabel(found, fmt="%g", fontsize=5.5, inline=False, zorder=3))
    for label in labels:
        label.set(path_effects=HALO, color=INK)
    return labels


def _line(axes: Axes, line: Line) -> None:
    """Draw a line over its casing; a sight ends in an arrow."""
    style = LINE_STYLES[line.kind]
    gap = np.full((1, 2), np.nan)
    x, y = np.concatenate([piece for part in line.parts for piece in (part, gap)])[:-1].T
    if style.casing_pt:
        casing_pt = style.width_pt + style.casing_pt
        axes.plot(x, y, color="white", linewidth=casing_pt, zorder=style.order - 0.1, solid_capstyle="round")
    name = f"{_NAMED[line.kind]}{line.name}" if line.kind in _NAMED else line.kind
    axes.plot(
        x, y, color=style.ink, linewidth=style.width_pt, linestyle=style.dashes, zorder=style.order, gid=name
    )
    if line.kind == "sight":
        axes.annotate(
            "", (x[1], y[1]), (x[1] - 0.02 * (x[1] - x[0]), y[1] - 0.02 * (y[1] - y[0])), zorder=6.8,
            arrowprops={"arrowstyle": "-|>,head_width=0.14,head_length=0.32", "linewidth": 0.7, "color": INK,
                        "shrinkA": 0, "shrinkB": 0},
        )  # fmt: skip


def line_sign(axes: Axes, kind: LineKind, start: float, end: float, y: float) -> None:
    """Draw a piece of a line in a legend."""
    style = LINE_STYLES[kind]
    axes.add_line(
        Line2D([start, end], [y, y], color=style.ink, linewidth=style.width_pt, linestyle=style.dashes)
    )


def sign(
    axes: Axes, places: Sequence[tuple[float, float]], marker: str, size_pt: float, gid: str = ""
) -> None:
    """Draw a white sign with a black rim at places, the same in map, profile and legend."""
    axes.plot(
        *zip(*places, strict=True),
        linestyle="none",
        marker=marker,
        markersize=size_pt,
        markerfacecolor="white",
        markeredgecolor=INK,
        markeredgewidth=0.9,
        clip_on=False,
        zorder=7.5 if marker in {"v", "^"} else 7.0,
        gid=gid or None,
    )


def _marks(axes: Axes, drawn: DrawnMap) -> None:
    """Signs of turn points, of the start, and of the places that matter."""
    sign(axes, [mark.at for mark in drawn.marks if mark.kind == "turn point"], "o", 4.0, "turn points")
    for mark in drawn.marks:
        if mark.kind == "start":
            sign(axes, [mark.at], "s", 5.5, "start")
        elif mark.kind == "place":
            sign(axes, [mark.at], "v", 5.5, f"spot {mark.name}")


def _labels(axes: Axes, drawn: DrawnMap, heights: list[Text], unknown: Array) -> None:
    """Put numbers at legs, letters at the places that matter, and names at the lines beside it."""
    lines = drawn.of("leg", "beside", "way off", "sight")
    samples = [_samples(part) for line in lines for part in line.parts]
    labels = Labels(axes, axes.transData.transform(np.concatenate((*samples, unknown))))
    for line in drawn.of("leg"):
        labels.take(tuple(line.parts[0][0].tolist()), 2.0)
    for mark in drawn.marks:
        if mark.kind == "place":
            labels.take(mark.at, 3.0)
    for label in drawn.labels:
        if label.kind == "leg":
            labels.place(label.text, label.at, f"leg number {label.name}", fontsize=6.5, fontweight="bold")
        elif label.kind == "place":
            weight = "bold" if label.strong else "normal"
            labels.place(
                label.text, label.at, f"place {label.name}", start_pt=8.0, fontsize=6.5, must=True,
                fontweight=weight,
            )  # fmt: skip
        else:
            text = cut(label.text, lambda name: len(name) <= _NAME_LETTERS)
            labels.place(text, label.at, f"name {label.name}", must=True, fontsize=6.5, fontstyle="italic")
    for height in heights:
        labels.keep_or_remove(height)


def _unknown_points(relief: Relief) -> Array:
    """Return some of the unknown cells: labels should not hide them either."""
    x, y = (part.ravel() for part in np.broadcast_arrays(*_centres(relief.grid)))
    at = np.flatnonzero(np.isnan(relief.slope_deg))
    at = at[:: 1 + len(at) // 4000]
    return np.column_stack((x[at], y[at]))


def _samples(points: Array) -> Array:
    """Points along a line close enough to tell what a label would cover."""
    at = np.linspace(0.0, len(points) - 1.0, _LINE_SAMPLES)
    n = np.arange(len(points))
    return np.column_stack((np.interp(at, n, points[:, 0]), np.interp(at, n, points[:, 1])))


def _frame(axes: Axes, relief: Relief) -> None:
    """Grid coordinates along the frame, in the units of the CRS."""
    formatter = FuncFormatter(_metres if relief.projected else _degrees)
    for axis, low, high, size_mm in (
        (axes.xaxis, *relief.extent[:2], relief.map_mm[0]),
        (axes.yaxis, *relief.extent[2:], relief.map_mm[1]),
    ):
        ticks = MaxNLocator(max(2, round(size_mm / _TICK_MM) + 1), steps=[1, 2, 5, 10]).tick_values(low, high)
        # A figure near a corner would run into what stands round the map.
        spare = (high - low) * _CORNER_MM / size_mm
        axis.set_ticks([tick for tick in ticks if low + spare <= tick <= high - spare])
        axis.set_major_formatter(formatter)
    axes.tick_params(labelsize=5.5, length=2.5, width=0.5, pad=1.5, top=True, right=True)
    for label in axes.get_yticklabels():
        label.set(rotation=90, va="center")


def _metres(value: float, _: object) -> str:
    return f"{value:,.0f}".replace(",", "\N{THIN SPACE}")


def _degrees(value: float, _: object) -> str:
    return f"{value:.10g}°"
