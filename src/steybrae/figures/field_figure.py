"""Pictures of readings: one comparison over the bands; a log, or a class's logs, who read what where.

Bands and unknown ground look as in every other picture (`steybrae.figures.style`). Every value is
drawn as a result holds it; cautions stand in the picture and in the file's metadata.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Final

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from steybrae.bands import BandScheme
from steybrae.cautions import Caution
from steybrae.errors import LogError
from steybrae.field.agreement import Comparison, ReadingResult
from steybrae.field.review import Agreement, PlaceReadings, Review, in_order
from steybrae.figures.style import INK, band_style, band_tint, picture_style, unknown_style, white_box
from steybrae.files.whole import check_ending, write_whole
from steybrae.names import cut
from steybrae.quantities import round_up
from steybrae.value import Value, lower, slope

WIDTH_IN: Final = 8.0
LINE_IN: Final = 0.165
"""Height of a line of the cautions, inches."""
WRAP: Final = 132
"""Characters in a line of the cautions."""

_LETTER_SHARE: Final = 0.0125
"""Width of a letter beside a bar, as a share of the axis."""

_SUFFIXES: Final = (".png", ".svg", ".pdf")
"""Formats whose metadata can hold the cautions."""

_BOX: Final = white_box(1.5)


@picture_style()
def comparison_figure(result: ReadingResult) -> Figure:
    """Draw the readings and every reference as bars over the bands.

    One row for each source: white bar from low to high end, thick mark at the central value. A bar
    that is open above runs to the edge with an arrow; unknown ground is a cross-hatched bar over
    the whole width. A dashed line stands at the figure that leads.
    """
    lines = caution_lines(result.cautions)
    rows = 1 + len(result.references)
    # inches from the top: title, bars, axis with its label, cautions
    heights = (0.72, 0.62 * rows, 0.5, LINE_IN * len(lines) + 0.15)
    figure, axes = _one_axes(heights)
    low_deg, high_deg = _span(result)
    _tint_bands(axes, result.scheme, low_deg, high_deg)
    # White under the dashes: black alone is lost on the steepest tint.
    axes.axvline(result.steeper_deg, color="white", linewidth=2.8, zorder=2)
    axes.axvline(result.steeper_deg, color=INK, linewidth=1.6, linestyle=(0, (4, 3)), zorder=2)
    axes.set(xlim=(low_deg, high_deg), ylim=(rows - 0.5, -0.5))
    axes.text(result.steeper_deg + 0.4, rows - 0.52, "leads", va="bottom", fontsize=8, bbox=_BOX, zorder=6)
    _draw_bar(
        axes,
        0,
        result.readings.slope_low_deg,
        result.mean_deg,
        result.readings.slope_high_deg,
    )
    for row, reference in enumerate(result.references, start=1):
        if reference.slope_deg is None:
            _draw_unknown(axes, row)
        else:
            _draw_bar(
                axes,
                row,
                reference.slope_low_deg,
                reference.slope_deg,
                reference.slope_high_deg,
            )
    count = len(result.readings_deg)
    mean_of = "1 reading" if count == 1 else f"mean of {count} readings"
    labels = [mean_of, *(_reference_label(reference) for reference in result.references)]
    axes.set_yticks(range(rows), labels, fontsize=9)
    axes.tick_params(axis="y", length=0)
    axes.tick_params(axis="x", labelsize=9)
    axes.set_xlabel("slope (degrees); bars span 95 %", fontsize=9)
    title = textwrap.fill(result.sentence, 92)
    figure.text(0.15 / WIDTH_IN, 1 - 0.12 / figure.get_figheight(), title, va="top", fontsize=10.5)
    write_cautions(figure, lines)
    return figure


def save_figure(figure: Figure, path: Path, cautions: Sequence[Caution], *, force: bool = False) -> None:
    """Save a picture whole or not at all, with the cautions in its metadata.

    PNG and SVG take them as Description, PDF as Subject. `FileWriteError` for another ending, a
    file that exists without `force`, or where the system refused.
    """
    check_ending(path, "A picture", *_SUFFIXES)
    text = "\n".join(caution.text for caution in cautions)
    key = "Subject" if path.suffix.lower() == ".pdf" else "Description"
    with picture_style():
        write_whole(path, lambda temporary: figure.savefig(temporary, metadata={key: text}), force=force)


def _one_axes(heights: Sequence[float]) -> tuple[Figure, Axes]:
    """Figure of stacked heights in inches, with axes in the second."""
    total_in = sum(heights)
    figure = Figure(figsize=(WIDTH_IN, total_in), dpi=150)
    bottom_in = sum(heights[2:])
    width = (WIDTH_IN - 2.45 - 0.2) / WIDTH_IN
    axes = figure.add_axes((2.45 / WIDTH_IN, bottom_in / total_in, width, heights[1] / total_in))
    return figure, axes


def caution_lines(cautions: Sequence[Caution]) -> list[str]:
    """Whole texts of cautions, in lines as wide as the picture."""
    return [line for caution in cautions for line in textwrap.wrap(caution.text, WRAP)]


def write_cautions(figure: Figure, lines: Sequence[str]) -> None:
    """Write lines of cautions at the foot of a picture."""
    figure.text(
        0.15 / WIDTH_IN,
        0.1 / figure.get_figheight(),
        "\n".join(lines),
        va="bottom",
        fontsize=7.5,
        linespacing=1.45,
    )


def _span(result: ReadingResult) -> tuple[float, float]:
    """Range of the axis: every bar with room for its label, whole tens of degrees."""
    ends = [result.readings.slope_low_deg, result.readings.slope_high_deg, result.steeper_deg]
    for reference in result.references:
        values = (reference.slope_low_deg, reference.slope_deg, reference.slope_high_deg)
        ends += [value for value in values if value is not None]
    low_deg = max(0.0, (min(ends) - 4.0) // 10.0 * 10.0)
    return low_deg, min(90.0, round_up(max(*ends, low_deg + 30.0) + 10.0, 10.0))


def _tint_bands(axes: Axes, scheme: BandScheme, low_deg: float, high_deg: float) -> None:
    count = len(scheme.bands)
    for position, band in enumerate(scheme.bands):
        left_deg = max(low_deg, band.low_deg)
        right_deg = high_deg if band.high_deg is None else min(high_deg, band.high_deg)
        if right_deg <= left_deg:
            continue
        axes.axvspan(left_deg, right_deg, zorder=0, **band_style(position, count))
        axes.text(
            (left_deg + right_deg) / 2.0,
            1.0,
            band.label,
            transform=axes.get_xaxis_transform(),
            ha="center",
            va="bottom",
            fontsize=8 if high_deg - low_deg <= 60.0 else 6.5,
        )


def _draw_bar(axes: Axes, row: int, low_deg: float | None, slope_deg: float, high_deg: float | None) -> None:
    edge_deg = axes.get_xlim()[1]
    left_deg = slope_deg if low_deg is None else low_deg
    right_deg = edge_deg if high_deg is None else high_deg
    axes.add_patch(
        Rectangle(
            (left_deg, row - 0.2),
            right_deg - left_deg,
            0.4,
            facecolor="white",
            edgecolor=INK,
            linewidth=1.2,
            linestyle="solid" if high_deg is not None else (0, (2, 2)),
            zorder=3,
        )
    )
    axes.plot([slope_deg, slope_deg], [row - 0.27, row + 0.27], color=INK, linewidth=4, zorder=4)
    if high_deg is None:
        at_deg, text = slope_deg, f"{slope(slope_deg, at_least=True).text}: upper end not known"
        axes.plot(edge_deg, row, marker=">", markersize=11, color=INK, clip_on=False, zorder=5)
    else:
        at_deg = high_deg
        text = f"{slope(slope_deg).text} ({lower(low_deg).figure}-{slope(high_deg).figure})"
    wide_deg = _LETTER_SHARE * (edge_deg - axes.get_xlim()[0]) * len(text)
    if at_deg + wide_deg <= edge_deg:
        side, at_deg = "left", at_deg + 0.7
    elif left_deg - wide_deg >= axes.get_xlim()[0]:
        side, at_deg = "right", left_deg - 0.7
    else:  # the bar leaves no room beside it: write into it
        in_left_half = slope_deg < (axes.get_xlim()[0] + edge_deg) / 2.0
        side, at_deg = ("left", slope_deg + 0.7) if in_left_half else ("right", slope_deg - 0.7)
    axes.text(at_deg, row, text, ha=side, va="center", fontsize=9, zorder=5, bbox=_BOX)


def _draw_unknown(axes: Axes, row: int) -> None:
    low_deg, high_deg = axes.get_xlim()
    axes.add_patch(Rectangle((low_deg, row - 0.2), high_deg - low_deg, 0.4, zorder=3, **unknown_style(1.2)))
    middle_deg = (low_deg + high_deg) / 2.0
    axes.text(middle_deg, row, "unknown", ha="center", va="center", fontsize=9, zorder=5, bbox=_BOX)


def _reference_label(reference: Comparison) -> str:
    name = textwrap.fill(reference.source, 33)
    if reference.en_number is None:
        return f"{name}\n{reference.result}"
    return f"{name}\n{reference.result}, Eₙ {Value(reference.en_number, '', 0.01, 'up').figure}"


ROW_IN: Final = 0.19
"""Height of a reading and of a row of the lower part, inches: a line of 8 point (our choice)."""

LEFT_IN: Final = 2.0
RIGHT_IN: Final = 2.65
"""Room for names on the left and for figures on the right, inches."""

HEAD_IN: Final = 0.75
"""Height of the names over a block of places, and of its degrees below, inches."""

ACROSS: Final = 8
"""Places side by side; further ones stand in a block below (our choice)."""

HALF_DEG: Final = 15.0
"""A column shows so much to either side of its middle, degrees; more where readings need it."""

MOST_LETTERS: Final = 30
"""Longest name beside a row."""

MOST_BOXES: Final = 2400
"""Most places times people that are drawn (our choice: 40 people at 60 places)."""


@picture_style()
def review_figure(review: Review) -> Figure:
    """Draw readings by place, and bias, spread and limits of every observer and instrument.

    Above, a column for each place and a row for each observer with their instrument: the mean with
    its 95 % as a line, and what it was compared with as an upright bar. Below, a row for each
    observer and instrument: bias as a dot with its 95 % as a thick line, limits of agreement as a
    thin one, and the table's figures. A4 wide, as high as it needs. `LogError` for more places and
    people than `MOST_BOXES`.
    """
    lines = caution_lines(review.cautions)
    people = sorted(
        {(one.observer, one.instrument) for place in review.places for one in place.readings},
        key=lambda who: [*map(in_order, who)],
    )
    if len(people) * len(review.places) > MOST_BOXES or len(review.agreements) > MOST_BOXES // 8:
        message = (
            f"A picture of a review should have at most {MOST_BOXES} places times people; this log has "
            f"{len(review.places)} places and {len(people)} people. Take the log of one class."
        )
        raise LogError(message)
    blocks = math.ceil(len(review.places) / ACROSS)
    block_in = ROW_IN * len(people) + HEAD_IN
    above_in = block_in * max(1, blocks)
    below_in = ROW_IN * max(1, len(review.agreements)) + 0.75
    foot_in = LINE_IN * len(lines) + 0.15
    height_in = 0.4 + above_in + below_in + foot_in
    figure = Figure(figsize=(WIDTH_IN, height_in), dpi=150)
    title = f"Readings by place, and against their references: {review.rows} rows of the log"
    figure.text(0.15 / WIDTH_IN, 1 - 0.1 / height_in, title, va="top", fontsize=10.5)

    def axes(left_in: float, bottom_in: float, width_in: float, room_in: float) -> Axes:
        box = (left_in / WIDTH_IN, bottom_in / height_in, width_in / WIDTH_IN, room_in / height_in)
        return figure.add_axes(box)

    if review.rows:
        for block in range(blocks):
            bottom_in = height_in - 0.4 - block_in * (block + 1)
            part = review.places[ACROSS * block : ACROSS * (block + 1)]
            _block(axes, bottom_in, block_in - HEAD_IN, part, people)
        width_in = WIDTH_IN - LEFT_IN - RIGHT_IN
        _agreements(axes(LEFT_IN, foot_in + 0.45, width_in, below_in - 0.75), review.agreements)
    else:
        figure.text(0.5, 0.5, "The log holds no rows yet.", ha="center", va="center")
    write_cautions(figure, lines)
    return figure


def _name(text: str) -> str:
    return cut(text, lambda name: len(name) <= MOST_LETTERS) if text else "not named"


def _block(
    axes: Callable[[float, float, float, float], Axes],
    bottom_in: float,
    room_in: float,
    places: Sequence[PlaceReadings],
    people: Sequence[tuple[str, str]],
) -> None:
    """Draw some places side by side, a row for each observer."""
    step_in = (WIDTH_IN - LEFT_IN - 0.2) / max(4, len(places))
    half_deg = max(HALF_DEG, *(_half_deg(place) for place in places))
    for number, place in enumerate(places):
        one = axes(LEFT_IN + step_in * number, bottom_in + 0.25, step_in * 0.94, room_in)
        _place(one, place, people, half_deg)
        if number == 0:
            one.set_yticks(
                range(len(people)), [_name(", ".join(filter(None, who))) for who in people], fontsize=7.5
            )


def _middle_deg(place: PlaceReadings) -> float:
    if place.reference_low_deg is not None and place.reference_high_deg is not None:
        return (place.reference_low_deg + place.reference_high_deg) / 2.0
    return place.readings[0].mean_deg


def _half_deg(place: PlaceReadings) -> float:
    middle = _middle_deg(place)
    return max(abs(one.mean_deg - middle) + one.uncertainty_95_deg for one in place.readings) + 1.0


def _place(axes: Axes, place: PlaceReadings, people: Sequence[tuple[str, str]], half_deg: float) -> None:
    """Draw what was read at a place; who read nothing there has an empty row."""
    middle = _middle_deg(place)
    for row in range(0, len(people), 2):
        axes.axhspan(row - 0.5, row + 0.5, facecolor="0.93", zorder=0)
    if place.reference_low_deg is not None and place.reference_high_deg is not None:
        low, high = place.reference_low_deg, place.reference_high_deg
        axes.axvspan(low, high, facecolor=band_tint(1, 3), zorder=1)
        for edge in {low, high}:
            axes.axvline(edge, color=INK, linewidth=1.2, zorder=2)
    for reading in place.readings:
        row = people.index((reading.observer, reading.instrument))
        ends = [reading.mean_deg + side * reading.uncertainty_95_deg for side in (-1.0, 1.0)]
        axes.plot(ends, [row, row], color=INK, linewidth=0.8, zorder=3)
        axes.plot(reading.mean_deg, row, "o", color=INK, markersize=3.5, zorder=4)
    axes.set(xlim=(middle - half_deg, middle + half_deg), ylim=(len(people) - 0.5, -0.5))
    axes.set_xticks([middle - 10.0, middle, middle + 10.0], ["-10", "", "+10"], fontsize=6.5)
    axes.set_yticks([])
    axes.tick_params(length=2, pad=1.5)
    name = "\n".join(textwrap.fill(part, 15) for part in place.name.replace(", ", ",\n").splitlines())
    compared = "no reference" if place.reference_high_deg is None else slope(place.reference_high_deg).text
    axes.set_title(f"{name}\n{compared}", fontsize=7, pad=3)


def _agreements(axes: Axes, agreements: Sequence[Agreement]) -> None:
    axes.axvline(0.0, color="0.5", linewidth=0.8, zorder=1)
    reach = [3.0]
    for row, at in enumerate(agreements):
        if row % 2 == 0:
            axes.axhspan(row - 0.5, row + 0.5, facecolor="0.93", zorder=0)
        axes.text(1.02, row, _figures(at), transform=axes.get_yaxis_transform(), va="center", fontsize=7.5)
        if at.bias_deg is None:
            continue
        reach.append(abs(at.bias_deg))
        axes.plot(at.bias_deg, row, "o", color=INK, markersize=4, zorder=4)
        if at.limit_low_deg is not None and at.limit_high_deg is not None:
            axes.plot([at.limit_low_deg, at.limit_high_deg], [row, row], color=INK, linewidth=0.8, zorder=2)
            reach += [-at.limit_low_deg, at.limit_high_deg]
        if at.bias_low_deg is not None and at.bias_high_deg is not None:
            axes.plot([at.bias_low_deg, at.bias_high_deg], [row, row], color=INK, linewidth=3.0, zorder=3)
    most = min(60.0, max(reach) + 1.0)
    axes.set(xlim=(-most, most), ylim=(len(agreements) - 0.5, -0.5))
    axes.set_yticks(
        range(len(agreements)), ["\n".join(map(_name, at.who)) for at in agreements], fontsize=7.5
    )
    axes.tick_params(axis="y", length=0)
    axes.tick_params(axis="x", labelsize=8)
    axes.set_xlabel(
        "reading minus reference (degrees): dot the bias,\nthick its 95 %, thin the limits", fontsize=8
    )


def _figures(at: Agreement) -> str:
    """Say count, bias, spread and limits, rounded as in the table."""
    if at.bias_deg is None:
        return "no reading with a reference"
    bias = f"{at.count}: bias {round(at.bias_deg, 1) + 0.0:+.1f}°"
    if at.spread_deg is None or at.limit_low_deg is None or at.limit_high_deg is None:
        return f"{bias}; too few for a spread"
    return (
        f"{bias}, spread {slope(at.spread_deg).text}, {lower(at.limit_low_deg).signed} to "
        f"{slope(at.limit_high_deg).signed}°"
    )
