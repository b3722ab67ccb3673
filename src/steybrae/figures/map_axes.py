"""The map of a screened route, as axes of a page."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.text import Text
from matplotlib.ticker import FuncFormatter, MaxNLocator
from matplotlib.transforms import Affine2D

from steybrae.bands import BandScheme
from steybrae.figures.labels import Labels, draw_places, draw_zones, sight_samples
from steybrae.figures.style import (
    HALO,
    INK,
    band_hatch,
    band_tint,
    hatch_ink,
    light_strength,
    shade,
    unknown_style,
)
from steybrae.quantities import shown_slope_deg
from steybrae.screening.pictures.picture import LineOnMap, Relief
from steybrae.screening.pictures.relief import lines_on_map
from steybrae.screening.result import RouteScreening
from steybrae.terrain.dem import Array, Grid

LINE_PT: Final = 1.5
CORRIDOR_DASHES: Final = (0, (3.5, 1.8))
BESIDE_DASHES: Final = (0, (5.0, 1.2))
WAY_OFF_DASHES: Final = (0, (4.0, 1.2, 1.0, 1.2))
_NAME_LETTERS: Final = 24
_TICK_MM: Final = 26.0
_CORNER_MM: Final = 7.0
_LINE_SAMPLES: Final = 60


def draw_map(axes: Axes, screening: RouteScreening, relief: Relief) -> None:
    """Draw the ground, the line on it, and the figures of each leg.

    Parameters
    ----------
    axes
        Of the size `relief.map_mm` on paper.
    screening, relief
        What to draw.
    """
    x0, x1, y0, y1 = relief.extent
    axes.set(xlim=(x0, x1), ylim=(y0, y1))
    axes.set_autoscale_on(False)
    scheme = BandScheme(screening.settings.edges_deg)
    draw_ground(axes, relief, scheme)
    _edge_of_known(axes, relief)
    heights = _contours(axes, relief)
    draw_zones(axes, relief)
    beside = lines_on_map(screening, relief.grid)
    for line in beside:
        _beside(axes, line)
    _line(axes, relief)
    _figures(axes, relief, heights, beside)
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
    tints = np.array([band_tint(k, count) for k in range(count)])
    known = np.isfinite(relief.slope_deg)
    shown = shown_slope_deg(np.where(known, relief.slope_deg, 0.0))
    index = np.searchsorted(np.array(scheme.edges_deg), shown, side="right")
    light = np.where(known, relief.light, 0.0)
    # The light of cells beside a void is unknown; they lie level in it.
    colours = shade(tints[index], np.nan_to_num(light), light_strength(count))
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
    slope = np.where(known, shown, np.nan)
    for k, band in enumerate(scheme.bands):
        if not band_hatch(k) or not (index[known] == k).any() or min(slope.shape) < 2:
            continue
        top_deg = 90.1 if band.high_deg is None else band.high_deg
        strip = axes.contourf(
            x, y, slope, levels=[band.low_deg, top_deg], colors="none", hatches=[band_hatch(k)], zorder=1.5
        )
        strip.set(edgecolor=hatch_ink(k, count), linewidth=0.0, gid=f"band {band.label}")


def _edge_of_known(axes: Axes, relief: Relief) -> None:
    """Outline unknown ground, so that a small void is seen too."""
    known = np.isfinite(relief.slope_deg)
    if known.all() or not known.any() or min(known.shape) < 2:
        return
    x, y = _centres(relief.grid)
    edge = axes.contour(x, y, known.astype(float), [0.5], colors=INK, linewidths=0.7, zorder=2.5)
    edge.set_gid("edge of known ground")


def _contours(axes: Axes, relief: Relief) -> list[Text]:
    """Contours; returns the labels of the index contours."""
    contours = relief.contours
    if not contours.levels_m or min(relief.grid.shape) < 2:
        return []
    x, y = _centres(relief.grid)
    thin = [level for level in contours.levels_m if level not in contours.index_levels_m]
    if thin:
        lines = axes.contour(
            x, y, relief.heights_m, thin, colors="0.2", linewidths=0.25, linestyles="solid", zorder=2
        )
        lines.set_gid("contours")
    heavy = contours.index_levels_m or contours.levels_m
    lines = axes.contour(
        x, y, relief.heights_m, heavy, colors="0.1", linewidths=0.6, linestyles="solid", zorder=2
    )
    lines.set_gid("index contours")
    labels = axes.clabel(lines, fmt="%g", fontsize=5.5, inline=False, zorder=3)
    for label in labels:
        label.set(path_effects=HALO, color=INK)
    return list(labels)


def _line(axes: Axes, relief: Relief) -> None:
    x, y = _centres(relief.corridor_grid)
    if relief.beyond_corridor_m.min() < 0.0 < relief.beyond_corridor_m.max():
        axes.contour(x, y, relief.beyond_corridor_m, [0.0], colors="white", linewidths=1.9, zorder=3.9)
        outline = axes.contour(
            x,
            y,
            relief.beyond_corridor_m,
            [0.0],
            colors=INK,
            linewidths=0.9,
            linestyles=[CORRIDOR_DASHES],
            zorder=4,
        )
        outline.set_gid("corridor")
    for leg in relief.legs:
        axes.plot(leg.x, leg.y, color="white", linewidth=LINE_PT + 2.0, zorder=5, solid_capstyle="round")
        axes.plot(leg.x, leg.y, color=INK, linewidth=LINE_PT, zorder=6, gid=f"leg {leg.number}")
    ends = [(leg.x[-1], leg.y[-1]) for leg in relief.legs]
    sign(axes, ends, "o", 4.0, "turn points")
    sign(axes, [(relief.legs[0].x[0], relief.legs[0].y[0])], "s", 5.5, "start")


def _beside(axes: Axes, line: LineOnMap) -> None:
    dashes = WAY_OFF_DASHES if line.way_off else BESIDE_DASHES
    axes.plot(line.x, line.y, color="white", linewidth=LINE_PT + 1.2, zorder=4.5, solid_capstyle="round")
    axes.plot(
        line.x, line.y, color=INK, linewidth=LINE_PT, linestyle=dashes, zorder=4.6, gid=f"beside {line.name}"
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
        zorder=7.5 if marker == "v" else 7.0,
        gid=gid or None,
    )


def _figures(axes: Axes, relief: Relief, heights: list[Text], beside: Sequence[LineOnMap]) -> None:
    """Mark the places that matter with their letters, number the legs, and name the lines beside it."""
    lines = [(line.x, line.y) for part in (relief.legs, beside) for line in part]
    samples = np.concatenate([_samples(np.column_stack(line)) for line in lines])
    clear = np.concatenate((samples, sight_samples(relief), _unknown_points(relief)))
    labels = Labels(axes, axes.transData.transform(clear))
    for leg in relief.legs:
        labels.take((float(leg.x[0]), float(leg.y[0])), 2.0)
    for place in relief.places:
        sign(axes, [place.at], "v", 5.5, f"spot {place.text.split()[0]}")
        labels.take(place.at, 3.0)
    for leg in relief.legs:
        labels.place(str(leg.number), leg.middle, f"leg number {leg.number}", fontsize=6.5, fontweight="bold")
    draw_places(axes, relief, labels)
    for line in beside:
        middle = (float(line.x[len(line.x) // 2]), float(line.y[len(line.y) // 2]))
        name = textwrap.shorten(line.name, _NAME_LETTERS, placeholder="…")
        labels.place(name, middle, f"name {line.name}", must=True, fontsize=6.5, fontstyle="italic")
    for height in heights:
        labels.keep_or_remove(height)


def _unknown_points(relief: Relief) -> Array:
    """Return some of the unknown cells: labels should not hide them either."""
    x, y = (part.ravel() for part in np.broadcast_arrays(*_centres(relief.grid)))
    at = np.flatnonzero(np.isnan(relief.slope_deg))
    at = at[:: 1 + len(at) // 4000]
    return np.column_stack((x[at], y[at]))


def _samples(points: Array) -> Array:
    """Points along a leg close enough to tell what a label would cover."""
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
