"""What an answer rests on, in words: corridor, start zones, a comparison of engines."""

from __future__ import annotations

from steybrae.route.corridor import LEAST_HALF_WIDTH_M
from steybrae.route.overhead.result import OverheadAnswer
from steybrae.screening.cross_check import CrossCheck
from steybrae.screening.result import ModelFacts, SettingsUsed
from steybrae.terrain.cell_share import OPEN_CELLS_M
from steybrae.terrain.start_zones import StartRules
from steybrae.value import between, lower, no_less, slope


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


def zones_text(looks: OverheadAnswer, rules: StartRules, cell_m: float) -> str:
    """Say all that was taken for a start zone, and for a possible one.

    ``ground of 30.0° to 55.0° over 20 m or two cells, by its slope or the middle of its 95 % interval,
    from 400 m² on, within 3 km; possible start zones: ground that may reach 30° within its 95 %
    interval, from about 24° on``; for cells so large that no upper end is known, what was taken instead
    """
    if cell_m > OPEN_CELLS_M:
        least = lower(looks.possible_from_deg, step=1.0).text
        return (
            f"{zone_text(looks)}, from {rules.least_area_m2:.10g} m² on, within "
            f"{looks.reach_m / 1000.0:g} km; possible start zones: ground of {least} and more, as if the "
            f"ends of smaller cells held for cells of {cell_m:.0f} m, for which none is known"
        )
    return (
        f"{zone_text(looks)}, by its slope or the middle of its 95 % interval, from "
        f"{rules.least_area_m2:.10g} m² on, within {looks.reach_m / 1000.0:g} km; possible start zones: "
        f"ground that may reach {rules.low_deg:g}° within its 95 % interval, from about "
        f"{lower(looks.possible_from_deg, step=1.0).text} on"
    )


def corridor_text(model: ModelFacts, used: SettingsUsed) -> str:
    """Say what was taken for the corridor, and over what its slopes are measured."""
    return (
        f"position error {used.place_error_m:g} m, or that of a reference's square where larger, and "
        f"{used.drift_deg:g}° of drift, {no_less(LEAST_HALF_WIDTH_M).text} each side; its slopes over "
        f"{model.corridor_baseline_m[0]:.0f} m, and the line's own cells"
    )
