"""Why a reading and a map or model may differ: reasons that fit the case, in words.

Each reason is an explanation, not a correction. One that would make the answer gentler
says that the steeper figure stands; none of them changes a figure.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Final

from steybrae.field.agreement import Comparison, ReadingResult, Reason, Reference, compare
from steybrae.field.limits import (
    BAND_WIDTH_DEG,
    apparent_slope_deg,
    flattened_slope_deg,
    hidden_slope_deg,
    off_fall_line_deg,
    rest_slope_deg,
)
from steybrae.field.readings import ReadingSet
from steybrae.quantities import FOOT_M, angle_to_gradient, gradient_to_angle
from steybrae.value import slope

PIECE_M: Final = 10.0
"""Length in plan of the short steep piece that an average may hide, metres: half of the
length over which slopes are judged, about 20 m (Swiss leaflet "Achtung Lawinen!")."""

ROLL_CELLS: Final = 4.0
"""Wavelength, in cells, of the roll shown as an example of flattening (our choice)."""

OFF_LINE_DEG: Final = 10.0
"""Sighting further off the fall line than this is worth a word, degrees: at 10 degrees a
slope of 35 reads 0.4 less (our choice)."""

INTERVALS_M: Final = (2.5, 5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 40.0, 50.0)
"""Contour intervals in use, metres: British maps 5, 10 and 15, orienteering maps 2.5 and 5,
an old Swiss sheet 30 and one mismarked 50 (Furse 1924); the others from memory."""

INTERVALS_FT: Final = (10.0, 20.0, 25.0, 40.0, 50.0, 80.0, 100.0)
"""Contour intervals in use, feet (from memory)."""

SCALES: Final = (10_000.0, 15_000.0, 20_000.0, 24_000.0, 25_000.0, 40_000.0, 50_000.0, 63_360.0,
                 100_000.0)  # fmt: skip
"""Denominators of map scales in use (from memory)."""

LIKELY_FACTOR: Final = 2.5
"""A wrong interval or scale further off than this factor would be noticed at a glance (our
choice); metres for feet, 3.28, is tried all the same."""

_STANDS: Final = "The steeper figure stands all the same."
"""End of every reason that would make the answer gentler."""

_OVER: Final = "{Source} averages over {length} m of ground, a reading over a metre or two"

WORDS: Final = {
    "scatter": (
        "The readings scatter by {scatter} (standard deviation), more than an error of {error} explains: "
        "they may lie on different ground. The steepest leads, and the uncertainty was widened to fit."
    ),
    "index_error": (
        "Sights up and down differ by {twice}: the instrument may read {once} off level, which the mean of "
        "both cancels, or they were not taken along the same line."
    ),
    "index_error apart": (
        " No index of an instrument with an error of {error} explains so much. The steepest leads, and the "
        "uncertainty was widened to fit."
    ),
    "mixed_units": (
        "Some readings were given in degrees and some in percent. Check on which scale each was read: 30 % "
        "is only 16.7°, and 30° is 57.7 %."
    ),
    "other_unit": (
        "Taken as {meant} the reading would be {other} and they would agree: it may have been read on the "
        "scale of {meant} and given as {taken}. Look which scale was in view."
    ),
    "baseline gentler": (
        f"{_OVER}. Where you stand may be gentler than the average, and then other ground in those "
        f"{{length}} m is steeper than {{slope}}. {_STANDS}"
    ),
    "baseline alone": (
        f"{_OVER}. Yet {{piece}} would by itself rise more than {{source}} gives the whole of it."
    ),
    "baseline": f"{_OVER}. A piece of {{piece}} hides in it if the rest lies at {{rest}}.",
    "baseline hidden": "With the rest at {gentler} it could hide {piece_m} m at {hidden}.",
    "convexity": (
        "On a convex slope the ground steepens below: wide gaps above and tight ones below give one average "
        "that hides the roll. Look for the steepest piece, not for the middle."
    ),
    "coarse_cells": (
        "Cells of {cell} m flatten: a roll of {roll} m from crest to crest, {reading} at its steepest, shows "
        "as {seen}."
    ),
    "snow steeper": (
        "You read the snow, {source} knows the ground: drifts below edges and in hollows lie steeper than "
        "what they cover."
    ),
    "snow gentler": (
        "You read the snow, {source} knows the ground: drifts fill hollows, and snow just beside you may lie "
        f"as steep as the ground does. {_STANDS}"
    ),
    "stands": _STANDS,
}
"""Reasons that a page which compares by itself says too."""


def rescaled(reference: Reference, factor: float) -> Reference:
    """Multiply all gradients of a reference, as a wrong interval would have done; unknown stays unknown.

    By true over assumed interval, or assumed over true scale denominator.
    """

    def times(slope_deg: float | None) -> float | None:
        if slope_deg is None:
            return None
        return gradient_to_angle(angle_to_gradient(slope_deg) * factor)

    return Reference(
        reference.source,
        times(reference.slope_deg),
        times(reference.slope_low_deg),
        times(reference.slope_high_deg),
    )


def with_reasons(result: ReadingResult, look_bearing_true_deg: float | None = None) -> ReadingResult:
    """Add the reasons that fit to a result; no figure changes.

    Reasons about the readings themselves always stand; those about a reference where it is
    different, or a band of 5 degrees or more away. The slope was sighted, up or down it, along the
    bearing from true north; None where not known.
    """
    found = _about_readings(result.readings)
    for comparison in result.references:
        apart_deg = comparison.difference_deg
        if apart_deg is None:
            continue
        if comparison.result == "different" or abs(apart_deg) >= BAND_WIDTH_DEG:
            found += [
                Reason(key, comparison.source, text)
                for key, rule in _RULES.items()
                if (text := rule(result, comparison, apart_deg))
            ]
            if text := _off_line(comparison, result.mean_deg, look_bearing_true_deg):
                found.append(Reason("off_fall_line", comparison.source, text))
    return replace(result, reasons=tuple(found))


def _about_readings(readings: ReadingSet) -> list[Reason]:
    found = {}
    if readings.scattered and readings.scatter_deg is not None:
        found["scatter"] = {
            "scatter": slope(readings.scatter_deg).text,
            "error": slope(readings.error_95_deg).text,
        }
    index_error_deg = abs(readings.index_error_deg or 0.0)
    if index_error_deg > readings.error_95_deg / 2.0:
        found["index_error"] = {
            "twice": slope(2.0 * index_error_deg).text,
            "once": slope(index_error_deg).text,
        }
    if readings.mixed_units:
        found["mixed_units"] = {}
    said = {key: WORDS[key].format(**parts) for key, parts in found.items()}
    if readings.both_ways_apart:
        said["index_error"] += WORDS["index_error apart"].format(error=slope(readings.error_95_deg).text)
    return [Reason(key, None, text) for key, text in said.items()]


def _baseline(result: ReadingResult, at: Comparison, apart_deg: float) -> str | None:
    length_m, slope_deg = at.origin.baseline_m, at.slope_deg
    if length_m is None or slope_deg is None:
        return None
    said = {
        "Source": at.source[:1].upper() + at.source[1:],
        "source": at.source,
        "length": f"{length_m:.0f}",
        "slope": slope(slope_deg).text,
    }
    if apart_deg < 0.0:
        return WORDS["baseline gentler"].format(**said)
    piece_m = min(PIECE_M, length_m / 2.0)
    said |= {"piece": f"{piece_m:.0f} m at {slope(result.mean_deg).text}", "piece_m": f"{piece_m:.0f}"}
    rest_deg = rest_slope_deg(slope_deg, result.mean_deg, piece_m, length_m)
    if rest_deg is None:
        return WORDS["baseline alone"].format(**said)
    text = WORDS["baseline"].format(**said, rest=slope(rest_deg).text)
    gentler_deg = max(0.0, slope_deg - BAND_WIDTH_DEG)
    hidden_deg = hidden_slope_deg(slope_deg, gentler_deg, piece_m, length_m)
    if hidden_deg <= result.mean_deg:
        return text
    hidden = WORDS["baseline hidden"].format(
        **said, gentler=slope(gentler_deg).text, hidden=slope(hidden_deg).text
    )
    return f"{text} {hidden}"


def _convexity(result: ReadingResult, at: Comparison, apart_deg: float) -> str | None:
    if apart_deg <= 0.0 or at.origin.kind not in ("paper", "model"):
        return None
    return WORDS["convexity"]


def _coarse_cells(result: ReadingResult, at: Comparison, apart_deg: float) -> str | None:
    cell_m = at.origin.cell_size_m
    if apart_deg <= 0.0 or cell_m is None:
        return None
    roll_m = ROLL_CELLS * cell_m
    seen_deg = flattened_slope_deg(result.mean_deg, roll_m, cell_m)
    return WORDS["coarse_cells"].format(
        cell=f"{cell_m:.0f}",
        roll=f"{roll_m:.0f}",
        reading=slope(result.mean_deg).text,
        seen=slope(seen_deg).text,
    )


def _thinned(result: ReadingResult, at: Comparison, apart_deg: float) -> str | None:
    # Thick lines are never left out.
    if apart_deg <= 0.0 or at.origin.kind != "paper" or at.origin.index_every > 1:
        return None
    text = "Where ground is steep some maps leave thin contours out; count index lines, which stay."
    gaps, slope_deg = at.origin.gaps, at.slope_deg
    if gaps is None or slope_deg is None:
        return text
    more_deg = rescaled(at, (gaps + 1) / gaps).slope_deg
    return f"{text} With one line more between your marks the map says {slope(more_deg).text}."


def _lines_for_gaps(result: ReadingResult, at: Comparison, apart_deg: float) -> str | None:
    if apart_deg >= 0.0 or at.origin.gaps is None:
        return None
    gaps = at.origin.gaps // at.origin.index_every
    if gaps < 2:
        return None
    fewer = rescaled(at, (gaps - 1) / gaps)
    if not _agrees(result, fewer):
        return None
    return (
        f"If you counted {gaps} lines and not {gaps} gaps, the map says "
        f"{slope(fewer.slope_deg).text} and they would agree. {_STANDS}"
    )


def _snow(result: ReadingResult, at: Comparison, apart_deg: float) -> str | None:
    if at.origin.kind not in ("paper", "model"):
        return None
    return WORDS["snow steeper" if apart_deg > 0.0 else "snow gentler"].format(source=at.source)


def _other_unit(result: ReadingResult, at: Comparison, apart_deg: float) -> str | None:
    readings = result.readings
    if readings.mixed_units or not _apart(result, at):
        return None
    typed_percent = readings.units[:1] == ("percent",)

    def swapped(reading_deg: float) -> float:
        if typed_percent:
            return min(90.0, 100.0 * angle_to_gradient(reading_deg))
        return gradient_to_angle(reading_deg / 100.0)

    other = ReadingSet(
        tuple(swapped(value) for value in readings.up_deg),
        tuple(swapped(value) for value in readings.down_deg),
        readings.error_95_deg,
    )
    if not _agree(other.mean_deg, other.uncertainty_95_deg, at):
        return None
    taken, meant = ("percent", "degrees") if typed_percent else ("degrees", "percent")
    text = WORDS["other_unit"].format(meant=meant, taken=taken, other=slope(other.mean_deg).text)
    return text if typed_percent else f"{text} {_STANDS}"


def _interval(result: ReadingResult, at: Comparison, apart_deg: float) -> str | None:
    interval_m = at.origin.interval_m
    if interval_m is None:
        return None
    feet = interval_m / FOOT_M
    in_feet = any(math.isclose(feet, value, rel_tol=1e-3) for value in INTERVALS_FT)
    unit, own, unit_m = ("ft", INTERVALS_FT, FOOT_M) if in_feet else ("m", INTERVALS_M, 1.0)
    factors = [(f"{value:g} {unit}", value * unit_m / interval_m) for value in own]
    factors = [(name, factor) for name, factor in factors if _likely(factor)]
    # The right number with the wrong unit: 40 ft taken as 40 m, or the other way about.
    swapped = (f"{feet:g} m", 1.0 / FOOT_M) if in_feet else (f"{interval_m:g} ft", FOOT_M)
    return _would_agree(result, at, [*factors, swapped], "interval", "against two spot heights")


def _scale(result: ReadingResult, at: Comparison, apart_deg: float) -> str | None:
    scale = at.origin.scale
    if scale is None:
        return None
    factors = [(f"1:{value:.0f}", scale / value) for value in SCALES if _likely(scale / value)]
    return _would_agree(result, at, factors, "scale", "against the printed grid")


def _likely(factor: float) -> bool:
    return 1.0 / LIKELY_FACTOR <= factor <= LIKELY_FACTOR and abs(factor - 1.0) > 0.02


def _would_agree(
    result: ReadingResult,
    at: Comparison,
    factors: list[tuple[str, float]],
    what: str,
    check: str,
) -> str | None:
    """Say which common interval or scale fits best, if one turns `different` into agreement."""
    if not _apart(result, at) or at.slope_deg is None:
        return None
    fits = []
    for name, factor in factors:
        candidate = rescaled(at, factor)
        if candidate.slope_deg is None or not _agrees(result, candidate):
            continue
        # A wider error alone may agree as well: only what comes nearer explains anything.
        apart_deg = abs(result.mean_deg - candidate.slope_deg)
        if apart_deg < abs(result.mean_deg - at.slope_deg):
            fits.append((apart_deg, name, candidate.slope_deg))
    if not fits:
        return None
    _, name, slope_deg = min(fits)
    article = "an" if what == "interval" else "a"
    text = (
        f"With {article} {what} of {name} the map says {slope(slope_deg).text} and they would "
        f"agree. Check the {what} on the sheet and {check}."
    )
    return text if slope_deg > at.slope_deg else f"{text} {_STANDS}"


_Rule = Callable[[ReadingResult, Comparison, float], str | None]

_RULES: Final[dict[str, _Rule]] = {
    "other_unit": _other_unit,
    "lines_for_gaps": _lines_for_gaps,
    "interval": _interval,
    "scale": _scale,
    "baseline": _baseline,
    "convexity": _convexity,
    "coarse_cells": _coarse_cells,
    "thinned_contours": _thinned,
    "snow": _snow,
}


def _agree(mean_deg: float, uncertainty_95_deg: float, reference: Reference) -> bool:
    """Whether E_n is at most 1; without a known end, whether the reading alone covers it."""
    compared = compare(mean_deg, uncertainty_95_deg, reference)
    if compared.difference_deg is None:
        return False
    if compared.en_number is None:
        return abs(compared.difference_deg) <= uncertainty_95_deg
    return compared.en_number <= 1.0


def _agrees(result: ReadingResult, reference: Reference) -> bool:
    return _agree(result.mean_deg, result.uncertainty_95_deg, reference)


def _apart(result: ReadingResult, at: Comparison) -> bool:
    return not _agrees(result, at)


def _off_line(at: Comparison, mean_deg: float, look_bearing_true_deg: float | None) -> str | None:
    aspect_deg, slope_deg = at.origin.aspect_true_deg, at.slope_deg
    if look_bearing_true_deg is None or aspect_deg is None or slope_deg is None:
        return None
    off_deg = off_fall_line_deg(look_bearing_true_deg, aspect_deg)
    if off_deg <= OFF_LINE_DEG or mean_deg >= slope_deg:
        return None
    seen_deg = apparent_slope_deg(slope_deg, off_deg)
    return (
        f"You sighted {off_deg:.0f}° off the fall line: {slope(slope_deg).text} looks like "
        f"{slope(seen_deg).text} along that line. Sight straight up or down the slope and read "
        f"again; the slope itself is steeper than what you read."
    )
