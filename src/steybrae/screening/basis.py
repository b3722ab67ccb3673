"""What an answer rests on: corridor, start zones, a comparison of engines; what is overhead on the day."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final, Literal, Protocol

from steybrae.quantities import shown_slope_deg
from steybrae.route.corridor import LEAST_HALF_WIDTH_M
from steybrae.route.overhead.result import OverheadAnswer, within_words
from steybrae.route.overhead.windows import JOINED_CELL_M, joins_of
from steybrae.screening.cross_check import CrossCheck
from steybrae.screening.result import ModelFacts, RouteScreening, SettingsUsed, Totals
from steybrae.terrain.cell_share import OPEN_CELLS_M
from steybrae.terrain.overhead.ground import REACH_M
from steybrae.terrain.start_zones import StartRules
from steybrae.value import UNKNOWN, and_more, between, lower, no_less, overhead, slope


def cross_check_text(check: CrossCheck) -> str:
    """How far two engines differ, and where, in lines."""
    shares = check.difference_percentiles_deg.items()
    sizes = ", ".join(f"{share} %: {slope(deg, step=1e-6).text}" for share, deg in shares)
    lines = [
        f"Cross-check of {check.engine} with {check.other}: {check.cells} cells where both answer; size of "
        f"the difference by percentile {sizes}.",
        f"{check.only_other_cells} cells beside voids or edges where only {check.other} answers, with the "
        "centre's height for a missing one (it reads low there); they stay unknown.",
    ]
    lines += [
        f"  {place.lat_deg:.5f}, {place.lon_deg:.5f}: {check.engine} {slope(place.own_deg).text}, "
        f"{check.other} {slope(place.other_deg).text} ({place.why})"
        for place in check.worst
    ]
    return "\n".join(lines)


def zone_text(looks: OverheadAnswer) -> str:
    """Say what was taken for a start zone: ``ground of 30.0° to 55.0° over 20 m or two cells``."""
    return f"ground of {between(looks.start_from_deg, looks.start_to_deg)} over 20 m or two cells"


ZoneUnderfoot = Literal["yes", "steeper", "possible", "no"]

ZONE_WORDS: Final[dict[ZoneUnderfoot, str]] = {
    "yes": "in a start zone",
    "steeper": "on ground steeper than a start zone, and a source",
    "possible": "in a possible start zone",
    "no": "",
}


def zone_underfoot(looks: OverheadAnswer, steepest_deg: float | None) -> ZoneUnderfoot:
    """Say whether a leg or place lies in a start zone; steeper ground is none, and a source all the same."""
    if looks.in_start_zone:
        return "yes"
    if not looks.in_possible_zone:
        return "no"
    return "steeper" if steeper_than_zones(looks, steepest_deg) else "possible"


def steeper_than_zones(looks: OverheadAnswer, steepest_deg: float | None) -> bool:
    """Whether ground is shown steeper than a start zone may be."""
    return steepest_deg is not None and shown_slope_deg(steepest_deg) > looks.start_to_deg


def size_and_reach(rules: StartRules, reach_m: float) -> str:
    """Say from which size on a start zone counts, and how far it is looked for."""
    return f"from {rules.least_area_m2:.10g} m² on, within {reach_m / 1000.0:g} km"


def zones_text(looks: OverheadAnswer, rules: StartRules, cell_m: float) -> str:
    """Say all that was taken for a start zone, and for a possible one.

    ``ground of 30.0° to 55.0° over 20 m or two cells, by its slope or the middle of its 95 % interval,
    from 400 m² on, within 3 km; possible start zones: ground that may reach 30° within its 95 %
    interval, from about 24° on``; for cells so large that no upper end is known, what was taken instead
    """
    joined = (
        f", told from cells joined to about {JOINED_CELL_M:g} m (area asks single cells too, may find more)"
        if joins_of((cell_m, cell_m)) != (1, 1)
        else ""
    )
    if cell_m > OPEN_CELLS_M:
        least = lower(looks.possible_from_deg, step=1.0).text
        return (
            f"{zone_text(looks)}, {size_and_reach(rules, looks.reach_m)}; possible start zones: ground of "
            f"{least} and more, as if the "
            f"ends of smaller cells held for cells of {cell_m:.0f} m, for which none is known"
        )
    return (
        f"{zone_text(looks)}, by its slope or the middle of its 95 % interval, "
        f"{size_and_reach(rules, looks.reach_m)}{joined}; possible start zones: "
        f"ground that may reach {rules.low_deg:g}° within its 95 % interval, from about "
        f"{lower(looks.possible_from_deg, step=1.0).text} on"
    )


def zones_sentences(looks: OverheadAnswer, rules: StartRules, cell_m: float) -> str:
    """Say `zones_text` in whole sentences."""
    return f"Start zones: {zones_text(looks, rules, cell_m)}. Steeper ground counts too."


def _day_overhead_text(totals: Totals) -> str:
    """Steepest sight of the day and its leg, that from within a start zone told apart.

    ``41.6° (leg 3; from within a start zone 43.5°, leg 17)``; only for a day with either.
    """
    least = totals.unknown_above
    inside = ""
    if totals.overhead_inside_max_deg is not None:
        angle = overhead(totals.overhead_inside_max_deg, at_least=least).text
        inside = f"from within a start zone {angle}, leg {totals.overhead_inside_max_leg}"
    if totals.overhead_max_deg is None:
        return inside
    more = f"; {inside}" if inside else ""
    return f"{overhead(totals.overhead_max_deg, at_least=least).text} (leg {totals.overhead_max_leg}{more})"


def overhead_text(found: RouteScreening) -> str:
    """Say how steeply start zones look down on the line: with the leg, ``unknown``, or none."""
    totals, looks = found.totals, looks_of(found)
    if totals.overhead_max_deg is not None or totals.overhead_inside_max_deg is not None:
        return _day_overhead_text(totals)
    if totals.unknown_above or looks is None:
        return UNKNOWN
    within = within_words(looks.reach_m, least_known_m(leg.overhead for leg in found.legs))
    return f"none in sight at {and_more(looks.least_deg)} {within}"


def none_overhead_text(looks: OverheadAnswer) -> str:
    """Say that nothing was found over a leg or a place, and how far was looked: a sentence without a stop."""
    within = within_words(looks.reach_m, looks.known_to_m)
    return f"Overhead: no start zone at {and_more(looks.least_deg)} {within}"


def looks_of(found: RouteScreening) -> OverheadAnswer | None:
    """Give what looks down on the first leg of which that is known: its rules are those of all."""
    return next((leg.overhead for leg in found.legs if leg.overhead is not None), None)


def corridor_text(model: ModelFacts, used: SettingsUsed) -> str:
    """Say what was taken for the corridor, and over what its slopes are measured."""
    return (
        f"position error {used.place_error_m:g} m, or that of a reference's square where larger, and "
        f"{used.drift_deg:g}° of drift, {no_less(LEAST_HALF_WIDTH_M).text} each side; its slopes over "
        f"{model.corridor_baseline_m[0]:.0f} m, and the line's own cells"
    )


MUCH_LOWERED_DEG: Final = 5.0
"""Degrees taken off the lower end for the model's uncertainty from which that is told: from 30 to 25,
the practical lower bound for dry slabs (from memory)."""


class _Looked(Protocol):
    """Anything that says from which slope on its possible start zones were taken."""

    @property
    def possible_from_deg(self) -> float:
        """Degrees."""


def lowered_to_deg(rules: StartRules, found: Iterable[_Looked | None]) -> float | None:
    """Least slope of possible start zones, where the uncertainty puts it more than 5 degrees lower.

    One lower end holds for all legs that something looks down on. None where it was not lowered by
    so much, or where nothing is known.
    """
    from_deg = next((looks.possible_from_deg for looks in found if looks is not None), rules.low_deg)
    return from_deg if rules.low_deg - from_deg > MUCH_LOWERED_DEG else None


def least_known_m(found: Iterable[OverheadAnswer | None]) -> float | None:
    """How far all ground around a line is known; None where that is so within the reach."""
    known = (looks.known_to_m for looks in found if looks is not None)
    return min((metres for metres in known if metres is not None), default=None)


def left_out_words(rules: StartRules, reach_m: float) -> str:
    """Say in two sentences what rules milder than the usual ones left out; empty where that is nothing."""
    usual = StartRules()
    told = (
        (rules.low_deg > usual.low_deg, f"start zones from {rules.low_deg:g} degrees, not {usual.low_deg:g}"),
        (
            rules.high_deg < usual.high_deg,
            f"none steeper than {rules.high_deg:g} degrees, not {usual.high_deg:g} (steeper ground looks "
            "down all the same)",
        ),
        (
            rules.high_deg > usual.high_deg,
            f"ground of {usual.high_deg:g} to {rules.high_deg:g} degrees only in pieces of the least area",
        ),
        (
            rules.least_area_m2 > usual.least_area_m2,
            f"pieces from {rules.least_area_m2:.10g} square metres on, not {usual.least_area_m2:g}",
        ),
        (
            rules.baseline_m > usual.baseline_m,
            f"slopes over {rules.baseline_m:g} m, not {usual.baseline_m:g}",
        ),
        (reach_m < REACH_M, f"within {reach_m / 1000.0:g} km, not {REACH_M / 1000.0:g}"),
    )
    less = "; ".join(words for milder, words in told if milder)
    if not less:
        return ""
    return (
        f"On request less was looked for overhead than usual: {less}. Ground that was left out may slide "
        "all the same."
    )
