"""The picture of a log, or of a class's logs: who read what where, and how well it agrees."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Callable, Sequence
from typing import Final

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from steybrae.errors import LogError
from steybrae.field.review import Agreement, PlaceReadings, Review, in_order
from steybrae.figures.field_figure import LINE_IN, WIDTH_IN, caution_lines, write_cautions
from steybrae.figures.style import INK, band_tint, picture_style
from steybrae.value import lower, slope

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
    return textwrap.shorten(text, MOST_LETTERS, placeholder="…") if text else "not named"


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
