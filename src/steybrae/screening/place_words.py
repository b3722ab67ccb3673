"""Why a place matters, in words."""

from __future__ import annotations

from steybrae.bands import STEEP_DEG
from steybrae.quantities import round_down, round_up, slope_text
from steybrae.route.compass_words import bearing_text
from steybrae.screening.place_result import (
    CorridorAtPlace,
    DropAtPlace,
    OnLine,
    OverheadAtPlace,
    PlaceThatMatters,
    TrapAtPlace,
)

__all__ = ["leading_spot", "place_line", "place_words", "start_words", "stretch_words"]


def place_words(place: PlaceThatMatters, declination_deg: float | None = None) -> str:
    """Say why a place matters.

    Parameters
    ----------
    place
        All but its words.
    declination_deg
        Magnetic north east of true north, degrees: bearings are magnetic then; true where None.

    Returns
    -------
    str
        A sentence for each reason, what is underfoot first.
    """
    out = []
    if place.slope_max_deg is not None and place.kinds != ("unknown",):
        out.append(_underfoot(place))
    if place.corridor is not None:
        out.append(_corridor(place, place.corridor))
    if place.overhead is not None and "overhead" in place.kinds:
        out.append(_overhead(place.overhead, declination_deg))
    if place.unknown_m > 0.0:
        out.append(_unknown(place))
    if place.trap is not None and not (place.trap.kind == "cliff below" and _has_drop(place)):
        out.append(_trap(place.trap, declination_deg))
    if place.trap_below is not None:
        below = place.trap_below
        out.append(f"Below it a {below.kind}, {_down(below.off_m)} m off.")
    return " ".join(out)


def _has_drop(place: PlaceThatMatters) -> bool:
    return place.corridor is not None and place.corridor.drop is not None


def _bearing(true_deg: float, declination_deg: float | None) -> str:
    if declination_deg is None:
        return f"{bearing_text(true_deg)} true"
    return f"{bearing_text((true_deg - declination_deg) % 360.0)} magnetic"


def _trap(trap: TrapAtPlace, declination_deg: float | None) -> str:
    bearing = _bearing(trap.bearing_true_deg, declination_deg)
    if trap.kind == "gully":
        depth = f"{round_down(trap.depth_m or 0.0, 1.0):.0f} m or more deep"
        return f"Trap: gully {depth}, bed along {bearing}; even a small slide piles up in it."
    where = f"{_down(trap.distance_m)} m off towards {bearing}"
    if trap.kind == "flattening":
        return f"Trap: snow off {slope_text(trap.slope_deg)} piles up here."
    return f"Trap: even a small slide carries one over {slope_text(trap.slope_deg)}, {where}."


def stretch_words(place: PlaceThatMatters) -> str:
    """Where a place lies: ``leg 7, 50-270 m``, ``legs 8-10, 170 to 438 m``."""
    start, end = place.from_, place.to
    if start.leg == end.leg:
        return f"leg {start.leg}, {round_down(start.at_m, 1.0):.0f}-{round_up(end.at_m, 1.0):.0f} m"
    return f"legs {start.leg}-{end.leg}, {round_down(start.at_m, 1.0):.0f} to {round_up(end.at_m, 1.0):.0f} m"


def start_words(place: PlaceThatMatters) -> str:
    """Where a place begins, from the turn point before it, and how long it is."""
    start, end = place.from_, place.to
    legs = f"leg {start.leg}" if start.leg == end.leg else f"legs {start.leg}-{end.leg}"
    past = f"{start.at_m:.0f} m past " if start.at_m >= 1.0 else "from "
    return f"{legs}, {past}{place.after}, {round_up(place.length_m, 1.0):.0f} m"


def leading_spot(place: PlaceThatMatters) -> tuple[OnLine, str]:
    """Spot and figure that a place is told by first: those of the first of its kinds."""
    at_least = "at least " if place.open_above else ""
    if place.kinds[0] == "underfoot" and place.slope_max_at is not None:
        return place.slope_max_at, f"{at_least}{slope_text(place.slope_max_deg)}"
    if place.kinds[0] == "corridor" and place.corridor is not None:
        corridor = place.corridor
        return corridor.at, f"{at_least}{slope_text(corridor.slope_max_deg)} {corridor.side}"
    if place.kinds[0] == "overhead" and place.overhead is not None:
        return place.overhead.at, f"\N{NORTH EAST ARROW}{at_least}{slope_text(place.overhead.deg)}"
    return place.from_, "unknown" if place.kinds[0] == "unknown" else "trap"


def place_line(place: PlaceThatMatters) -> str:
    """Figures of a place in one short line."""
    at_least = "at least " if place.open_above else ""
    parts = []
    if "underfoot" in place.kinds:
        parts.append(f"underfoot {at_least}{slope_text(place.slope_max_deg)}")
    if place.corridor is not None and "underfoot" not in place.kinds:
        corridor = place.corridor
        if corridor.slope_max_deg >= STEEP_DEG:
            parts.append(f"{at_least}{slope_text(corridor.slope_max_deg)} {corridor.side}")
    if place.corridor is not None and place.corridor.drop is not None:
        parts.append(_drop(place.corridor.drop))
    if place.overhead is not None and "overhead" in place.kinds:
        hidden = ", hidden" if place.overhead.hidden else ""
        parts.append(f"overhead {at_least}{slope_text(place.overhead.deg)}{hidden}")
    if place.unknown_m > 0.0:
        parts.append(f"unknown ground for {round_up(place.unknown_m, 1.0):.0f} m")
    return ", ".join(parts) or "terrain trap"


def _drop(drop: DropAtPlace) -> str:
    return f"drop of {round_up(drop.fall_m, 1.0):.0f} m, {_down(drop.off_m)} m {drop.side}"


def _interval(low_deg: float | None, high_deg: float | None) -> str:
    """Give a 95 % interval in brackets with a space before; empty where it is not known."""
    if low_deg is None or high_deg is None:
        return ""
    return f" ({round_down(low_deg, 0.1):.1f} to {slope_text(high_deg)})"


def _underfoot(place: PlaceThatMatters) -> str:
    at_least = "at least " if place.open_above else ""
    slope = slope_text(place.slope_max_deg) + _interval(place.slope_low_deg, place.slope_high_deg)
    if place.steep_m == 0.0:
        return f"Underfoot {at_least}{slope}."
    where = "" if place.slope_max_at is None else f", {spot_words(place.slope_max_at)}"
    facing = f", faces {' '.join(place.aspect_sectors[:3])}" if place.aspect_sectors else ""
    metres = f"{round_up(place.steep_m, 1.0):.0f} m of {STEEP_DEG:.0f}°+"
    return f"Underfoot {at_least}{slope}{where}; {at_least}{metres}{facing}."


def _corridor(place: PlaceThatMatters, corridor: CorridorAtPlace) -> str:
    at_least = "at least " if place.open_above else ""
    off = f", {_down(corridor.off_m)} m off" if "underfoot" not in place.kinds else ""
    sides = [
        f"{slope_text(deg)} {side}{off if side == corridor.side else ''}"
        for side, deg in (("left", corridor.left_deg), ("right", corridor.right_deg))
        if deg is not None and deg >= STEEP_DEG
    ]
    words = f"Corridor {at_least}{', '.join(sides)}" if sides else ""
    if corridor.drop is not None:
        found = _drop(corridor.drop)
        words = f"{words}; {found}" if words else f"A {found}"
    return f"{words}." if words else ""


def _overhead(overhead: OverheadAtPlace, declination_deg: float | None) -> str:
    at_least = "at least " if overhead.at_least else ""
    hidden = ", hidden from there" if overhead.hidden else ""
    return (
        f"Overhead {at_least}{slope_text(overhead.deg)}, {spot_words(overhead.at)}, towards "
        f"{_bearing(overhead.bearing_true_deg, declination_deg)}, {_down(overhead.distance_m)} m off, "
        f"{round_up(overhead.rise_m, 1.0):.0f} m up{hidden}."
    )


def _unknown(place: PlaceThatMatters) -> str:
    if place.unknown_on_line_m > 0.0:
        return f"Unknown ground: {round_up(place.unknown_on_line_m, 1.0):.0f} m."
    return f"Unknown ground beside or above, {round_up(place.unknown_m, 1.0):.0f} m."


def spot_words(spot: OnLine) -> str:
    """``leg 7 at 250 m``."""
    return f"leg {spot.leg} at {spot.at_m:.0f} m"


def _down(metres: float) -> str:
    return f"{round_down(metres, 1.0):.0f}"
