"""The picture of a screened route on a page of A4, and its map alone for a page that is carried.

Everything drawn is in the result already; this module only finds places for it. Positions are
millimetres from the top left corner of the page.
"""

from __future__ import annotations

import io
import math
import textwrap
from collections.abc import Mapping, Sequence
from typing import Any, Final

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from steybrae.answers.leg import lines_cautions
from steybrae.answers.route import steepest_words
from steybrae.errors import QuantityError, one_of
from steybrae.figures.map_axes import draw_map
from steybrae.figures.map_panels import (
    ROW_MM,
    TABLE_MM,
    draw_heights,
    draw_legend,
    draw_scale,
    draw_slopes,
    draw_table,
)
from steybrae.figures.style import PNG_DPI, picture_style
from steybrae.forecast.beside import NO_FORECAST_WORDS
from steybrae.names import cut
from steybrae.papers import PAPERS_MM
from steybrae.quantities import INCH_MM
from steybrae.screening.basis import overhead_text
from steybrae.screening.pictures.drawn import drawn_profile, map_notes, map_slope_words, relief_of
from steybrae.screening.pictures.picture import Relief
from steybrae.screening.result import ModelFacts, RouteScreening
from steybrae.value import legs_and_length, steep_length, up_and_down

FORMATS: Final = ("png", "pdf")
A4_MM: Final = PAPERS_MM["a4"]

_LEFT_MM: Final = 13.0
_EDGE_MM: Final = 6.0
_MAP_TOP_MM: Final = 19.0
_TICKS_MM: Final = 5.5
_LEGEND_MM: Final = 22.0
_MOST_ROWS: Final = 14
_HEAD_ROWS: Final = 1.6
"""Height of the head of a table, rows."""

_PRINT_PT: Final = 5.8
_PRINT_LINE_MM: Final = 2.55
_LETTER_MM: Final = 0.53 * _PRINT_PT * INCH_MM / 72.0
"""Mean width of a letter of small print."""

_FACTS_PT: Final = 7.0
_FACTS_LETTER_MM: Final = 0.54 * _FACTS_PT * INCH_MM / 72.0
"""The same of the day's line, which has more figures in it."""


class _Page:
    """A page with places in millimetres."""

    def __init__(self, width_mm: float, height_mm: float) -> None:
        self.size = (width_mm, height_mm)
        self.figure = Figure(figsize=(width_mm / INCH_MM, height_mm / INCH_MM), dpi=150)

    def axes(self, left: float, top: float, width: float, height: float, gid: str) -> Axes:
        """Axes at a place."""
        page_w, page_h = self.size
        box = (left / page_w, 1.0 - (top + height) / page_h, width / page_w, height / page_h)
        found = self.figure.add_axes(box)
        found.set_gid(gid)
        return found

    def panel(self, left: float, top: float, width: float, height: float, gid: str) -> Axes:
        """Axes without a frame whose units are millimetres from their top left."""
        axes = self.axes(left, top, width, height, gid)
        axes.set(xlim=(0.0, width), ylim=(height, 0.0))
        axes.set_axis_off()
        return axes

    def text(
        self, left: float, top: float, words: str, size_pt: float, gid: str, weight: str = "normal"
    ) -> None:
        """Text whose top left corner is at a place."""
        x, y = left / self.size[0], 1.0 - top / self.size[1]
        self.figure.text(
            x, y, words, fontsize=size_pt, fontweight=weight, va="top", linespacing=1.25, gid=gid
        )


def route_figure(screening: RouteScreening) -> Figure:
    """Draw a screened route, with its relief, on one page of A4, for `figure_bytes`.

    The page stands or lies, as the shape of the map asks (`Relief.map_mm`). `QuantityError` for a
    screening without relief.
    """
    relief = relief_of(screening, "A picture")
    with picture_style():
        return _draw(screening, relief)


def _draw(screening: RouteScreening, relief: Relief) -> Figure:
    width, height = relief.map_mm
    lying, beside = width > A4_MM[0], width < A4_MM[0] - TABLE_MM - _LEFT_MM
    page = _Page(*(A4_MM[::-1] if lying else A4_MM))
    inner = page.size[0] - _LEFT_MM - _EDGE_MM
    table_left = page.size[0] - _EDGE_MM - TABLE_MM
    cautions = _cautions(screening, TABLE_MM if beside else page.size[0] - 2.0 * _EDGE_MM)
    cautions_mm = len(cautions) * _PRINT_LINE_MM
    origin = textwrap.wrap(_provenance(screening, relief), int((page.size[0] - 2.0 * _EDGE_MM) / _LETTER_MM))
    if not beside:
        origin = [*cautions, "", *origin]
    print_top = page.size[1] - _EDGE_MM - len(origin) * _PRINT_LINE_MM
    page.text(_EDGE_MM, print_top, "\n".join(origin), _PRINT_PT, "small print")
    page.text(_EDGE_MM, 5.0, _title(screening, page), 11.0, "title", weight="bold")
    facts = _facts(screening, page.size[0] - 2.0 * _EDGE_MM)
    page.text(_EDGE_MM, 10.6 if facts.count("\n") < 2 else 9.2, facts, _FACTS_PT, "facts")
    draw_map(page.axes(_LEFT_MM, _MAP_TOP_MM, width, height, "map"), screening, relief)
    top = _MAP_TOP_MM + height + _TICKS_MM
    draw_legend(page.panel(_LEFT_MM, top, 128.0, _LEGEND_MM, "legend"), screening, relief)
    draw_scale(page.panel(page.size[0] - _EDGE_MM - 60.0, top, 60.0, _LEGEND_MM, "scale"), relief)
    top += _LEGEND_MM + 2.0
    bottom = print_top - 2.0
    if beside:
        page.text(table_left, _MAP_TOP_MM + height - cautions_mm, "\n".join(cautions), _PRINT_PT, "cautions")
        _tables(page, screening, (table_left, _MAP_TOP_MM, height - cautions_mm - 4.0), 1)
    elif lying:
        _tables(page, screening, (table_left, top, bottom - top), 1)
        inner -= TABLE_MM + 6.0
    else:
        rows = min((len(screening.legs) + 1) // 2, _MOST_ROWS)
        table = (rows + _HEAD_ROWS) * ROW_MM
        bottom -= table + 2.0
        _tables(page, screening, (_LEFT_MM, bottom + 2.0, table), 2)
    _profile(page, screening, relief, (top, bottom, inner))
    return page.figure


def _title(screening: RouteScreening, page: _Page) -> str:
    """Name of the route, cut to the width of the page."""
    letters = int(page.size[0] / 2.6)
    return cut(f"How steep: {screening.name}", lambda words: len(words) <= letters)


def _facts(screening: RouteScreening, width_mm: float) -> str:
    totals = screening.totals
    climbs = up_and_down(totals.ascent_m, totals.descent_m, at_least=totals.ascent_at_least)
    first = f"{legs_and_length(totals.legs, totals.length_m)}; {climbs}"
    if totals.unknown_m > 0.0:
        first += f"; {steep_length(totals.unknown_m).text} of the line over unknown ground"
    second = f"Steepest {'; '.join(steepest_words(screening))}; overhead {overhead_text(screening)}"
    return "\n".join(textwrap.wrap(f"{first}. {second}", int(width_mm / _FACTS_LETTER_MM)))


def _profile(
    page: _Page, screening: RouteScreening, relief: Relief, place: tuple[float, float, float]
) -> None:
    """Heights over slopes, between two heights of the page and of a width."""
    top, bottom, width = place
    room = bottom - top - 7.5
    heights, slopes = (width, 0.5 * room), (width, 0.5 * room - 1.2)
    drawn = drawn_profile(screening, relief.profile)
    axes = page.axes(_LEFT_MM, top, *heights, "heights")
    draw_heights(axes, screening, drawn, heights)
    axes = page.axes(_LEFT_MM, top + heights[1] + 1.2, *slopes, "slopes")
    draw_slopes(axes, drawn, slopes)


def _tables(page: _Page, screening: RouteScreening, place: tuple[float, float, float], columns: int) -> None:
    """Tables of the legs side by side; the steepest and the unknown ones where not all find room."""
    left, top, height = place
    rows = max(1, math.floor(height / ROW_MM - _HEAD_ROWS + 1e-6))
    legs = screening.legs
    if len(legs) > rows * columns:
        # Those with unknown ground first, then the steepest.
        kept = sorted(legs, key=lambda leg: (leg.unknown_m == 0.0, -(leg.slope_max_deg or 0.0)))
        kept = kept[: rows * columns - 1]
        legs = tuple(leg for leg in screening.legs if leg in kept)
    per = -(-len(legs) // columns)
    for k in range(columns):
        part = legs[k * per : (k + 1) * per]
        left_out = len(screening.legs) - len(legs) if (k + 1) * per >= len(legs) else 0
        if part:
            start = left + k * (A4_MM[0] - _EDGE_MM - _LEFT_MM - TABLE_MM)
            draw_table(page.panel(start, top, TABLE_MM, height, f"table {k + 1}"), screening, part, left_out)


def _cautions(screening: RouteScreening, width_mm: float) -> list[str]:
    """Cautions wrapped to a width, first of all that there is no forecast where none was given."""
    letters = int(width_mm / _LETTER_MM)
    none = () if screening.forecast is not None else (NO_FORECAST_WORDS,)
    return [
        line
        for text in (*none, *(caution.text for caution in lines_cautions(screening)))
        for line in textwrap.wrap(f"• {text}", letters, subsequent_indent="   ")
    ]


def _provenance(screening: RouteScreening, relief: Relief) -> str:
    model = screening.model
    base = " × ".join(f"{side:.1f}" for side in model.corridor_baseline_m)
    words = [
        f"Model: {_files(model)}, {model.crs}, cells of "
        f"{model.cell_size_m[0]:.1f} × {model.cell_size_m[1]:.1f} m",
        f"map: {map_slope_words(model)}",
        f"slope method: {model.method} ({model.engine} engine), in the corridor over {base} m and "
        "the line's own cells",
        model.uncertainty.rstrip("."),
        *map_notes(relief),
    ]
    return f"{'; '.join(words)}. Made with steybrae {screening.version}."


def _files(model: ModelFacts) -> str:
    """File names with the first figures of their fingerprints."""
    pairs = zip(model.files, model.fingerprints, strict=False)
    return ", ".join(f"{file} (fingerprint {print_[:8]})" for file, print_ in pairs) or "in memory"


def picture_metadata(screening: RouteScreening) -> dict[str, str]:
    """Title, cautions and provenance of a picture, for `figure_bytes`."""
    assert screening.relief is not None  # noqa: S101  route_figure refused others
    cautions = " ".join(caution.text for caution in lines_cautions(screening))
    return {
        "title": f"How steep: {screening.name}",
        "cautions": cautions,
        "provenance": _provenance(screening, screening.relief),
        "software": f"steybrae {screening.version}",
    }


def figure_bytes(figure: Figure, fmt: str, metadata: Mapping[str, str]) -> bytes:
    """Render a picture in one of `FORMATS`, the same bytes every time.

    The metadata is from `picture_metadata`. PNG: Title, Description (the cautions), Source,
    Software; PDF: Title, Subject (the cautions), Keywords, Creator.
    """
    one_of(fmt, FORMATS, "A picture")
    names: Sequence[str] = (
        ("Title", "Description", "Source", "Software")
        if fmt == "png"
        else ("Title", "Subject", "Keywords", "Creator")
    )
    keys = ("title", "cautions", "provenance", "software")
    info: dict[str, str | None] = {at: metadata[key] for at, key in zip(names, keys, strict=True)}
    if fmt == "pdf":
        info["CreationDate"] = None  # the same picture is the same file
    out = io.BytesIO()
    with picture_style():
        # As small as by the usual packing, in a quarter less time.
        packed: dict[str, Any] = {"pil_kwargs": {"compress_level": 2}} if fmt == "png" else {}
        figure.savefig(out, format=fmt, dpi=PNG_DPI, metadata=info, **packed)
    return out.getvalue()


_SMALL_EDGE_MM: Final = 5.0
_TRIES: Final = ((140, 45), (110, 35), (90, 30), (75, 25))
"""Dots to an inch of the map on paper and quality of the compression, best first (our choice)."""


def small_map(screening: RouteScreening, most_bytes: int) -> bytes:
    """Draw the map as WebP, some 350 to 1000 pixels wide, in the best quality that is small enough.

    `QuantityError` where even the poorest is larger, or the screening has no relief.
    """
    relief = relief_of(screening, "A map")
    width_mm, height_mm = (side + 2.0 * _SMALL_EDGE_MM for side in relief.map_mm)
    with picture_style():
        figure = Figure(figsize=(width_mm / INCH_MM, height_mm / INCH_MM))
        share = (_SMALL_EDGE_MM / width_mm, _SMALL_EDGE_MM / height_mm)
        box = (*share, 1.0 - 2.0 * share[0], 1.0 - 2.0 * share[1])
        draw_map(figure.add_axes(box), screening, relief)
        for dpi, quality in _TRIES:
            out = io.BytesIO()
            figure.savefig(out, format="webp", dpi=dpi, pil_kwargs={"quality": quality, "method": 4})
            if out.tell() <= most_bytes:
                return out.getvalue()
    message = f"A map should fit into {most_bytes} bytes; its poorest picture has {out.tell()}. Ask for more."
    raise QuantityError(message)
