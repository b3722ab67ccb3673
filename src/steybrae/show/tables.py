"""A screening as tables on a terminal."""

from __future__ import annotations

from collections.abc import Sequence

from rich import box
from rich.console import Console, Group, RenderableType
from rich.table import Table
from rich.text import Text

from steybrae.bands import STEEP_DEG, Band
from steybrae.card.wording import legs_without_check
from steybrae.quantities import round_down, round_up, slope_text
from steybrae.route.corridor import SIDE_SLOPES_DEG
from steybrae.screening.cross_check import CrossCheck
from steybrae.screening.result import LegScreening, RouteScreening, SideGround
from steybrae.show.overhead_words import baseline_cells_text, baselines_note, overhead_table, zones_text

__all__ = ["bands_text", "cross_check_text", "route_tables"]


def route_tables(screening: RouteScreening) -> RenderableType:
    """Headline, a table of the legs, a table of metres by band, and what it rests on.

    Parameters
    ----------
    screening
        The result; every figure shown is in it.

    Returns
    -------
    rich renderable
    """
    return Group(
        _headline(screening),
        *(Text(f"Note: {note}") for note in screening.notes),
        Text(),
        _legs_table(screening.legs),
        Text(),
        _bands_table(screening),
        *(Text(note) for note in baselines_note(screening.legs[0].baselines)),
        Text(),
        overhead_table(screening.legs),
        Text(),
        *_without_check(screening.legs),
        Text(_overhead_basis(screening)),
        Text(),
        Text(_basis(screening)),
        *([Text(f"\n{cross_check_text(screening.cross_check)}")] if screening.cross_check else []),
    )


def _without_check(legs: Sequence[LegScreening]) -> list[Text]:
    lines = legs_without_check(legs)
    return [Text("\n".join(lines)), Text()] if lines else []


def cross_check_text(check: CrossCheck) -> str:
    """How far two engines differ, and where, in lines."""
    shares = check.difference_percentiles_deg.items()
    sizes = ", ".join(f"{share} %: {round_up(deg, 1e-6):.6f}°" for share, deg in shares)
    lines = [
        f"Cross-check of {check.engine} with {check.other}: {check.cells} cells where both answer; size of "
        f"the difference by percentile {sizes}.",
        f"{check.only_other_cells} cells beside voids or edges where only {check.other} answers, with the "
        "centre's height for a missing one (it reads low there); they stay unknown.",
    ]
    lines += [
        f"  {place.lat_deg:.5f}, {place.lon_deg:.5f}: {check.engine} {slope_text(place.own_deg)}, "
        f"{check.other} {slope_text(place.other_deg)} ({place.why})"
        for place in check.worst
    ]
    return "\n".join(lines)


def _headline(screening: RouteScreening) -> Text:
    totals = screening.totals
    at_least = "at least " if totals.open_above or totals.slope_max_deg is None else ""
    words = Text()
    words.append(f"{screening.name or 'Route'}", style="bold")
    legs = "1 leg" if totals.legs == 1 else f"{totals.legs} legs"
    words.append(f" ({screening.read_as}, {legs}, {_km(totals.length_m)} km)\n")
    words.append(f"Steepest on the line {at_least}{slope_text(totals.slope_max_deg)}")
    if totals.slope_max_leg is not None:
        words.append(f" (leg {totals.slope_max_leg})")
    words.append(f", in the corridor beside it {at_least}{slope_text(totals.slope_corridor_max_deg)}")
    if totals.slope_corridor_max_leg is not None:
        words.append(f" (leg {totals.slope_corridor_max_leg})")
    words.append(f"; possible bands {bands_text(totals.bands_possible, open_above=totals.open_above)}.\n")
    climb = "at least " if totals.ascent_at_least else ""
    words.append(f"Up {climb}{_metres_up(totals.ascent_m)} m, down {climb}{_metres_up(totals.descent_m)} m")
    if totals.ascent_on_map_m is not None:
        words.append(f" (up as counted on the map: {totals.ascent_on_map_m:.0f} m)")
    if totals.unknown_m:
        words.append(f". Unknown ground: {_metres_up(totals.unknown_m)} m", style="bold")
    words.append(f".\n{_overhead_words(screening)}")
    return words


def _overhead_words(screening: RouteScreening) -> str:
    totals = screening.totals
    more = " or more" if totals.unknown_above else ""
    words = "Looking down on the line: "
    if totals.overhead_max_deg is None:
        words += "unknown" if totals.unknown_above else "no start zone in sight"
    else:
        steepest = f"{slope_text(totals.overhead_max_deg)}{more}"
        words += f"a start zone seen at {steepest} (leg {totals.overhead_max_leg})"
    if totals.in_start_zone_m:
        words += f"; {_metres_up(totals.in_start_zone_m)} m of the line lie in a start zone"
    return f"{words}."


def _overhead_basis(screening: RouteScreening) -> str:
    looks = next((leg.overhead for leg in screening.legs if leg.overhead is not None), None)
    if looks is None:
        return "What looks down is unknown: the model knows no height of the line."
    return (
        f"Start zones: {zones_text(looks, screening.settings.start_zones)}. Steeper ground counts too. "
        f"Sights of {looks.least_deg:g}° and more; the open ones lead (in sight, or the zone's own way down "
        "passes near; JSON has the others too). Within a zone its next cell is often the steepest: the line "
        "below is the sight from outside. Path: the steepest line from a zone along ground that snow could "
        "follow. Neither says how far it would run."
    )


def bands_text(bands: Sequence[Band], *, open_above: bool) -> str:
    """Bands in words: ``25-30``, ``25-30 to 35-40``, ``35-40 or steeper``, ``unknown``."""
    if not bands:
        return "unknown"
    words = bands[0].label if len(bands) == 1 else f"{bands[0].label} to {bands[-1].label}"
    return f"{words} or steeper" if open_above and bands[-1].high_deg is not None else words


def _legs_table(legs: Sequence[LegScreening]) -> Table:
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0), show_edge=False, show_lines=False)
    table.add_column("Leg", justify="right")
    table.add_column("From\nto", min_width=16, max_width=26)
    table.add_column("km\nup down m", justify="right", no_wrap=True)
    table.add_column("Steepest on line\n(95 % interval)", justify="right", no_wrap=True)
    table.add_column("Beside\n(corridor)", justify="right", no_wrap=True)
    table.add_column("Possible\nbands", no_wrap=True)
    table.add_column(f"m of {STEEP_DEG:g}°+\n(longest)", justify="right", no_wrap=True)
    table.add_column(f"m off to {' | '.join(f'{s:g}°' for s in SIDE_SLOPES_DEG)}\nleft, right", no_wrap=True)
    table.add_column("Unknown\nm", justify="right", no_wrap=True)
    for leg in legs:
        # As text: names of places may hold what rich would take for markup.
        table.add_row(*map(Text, _leg_cells(leg)))
    return table


def _leg_cells(leg: LegScreening) -> tuple[str, ...]:
    least = "at least\n" if leg.open_above else ""
    unsure = "at least\n" if leg.unknown_m else ""
    climb = "\nat least" if leg.ascent_at_least else ""
    steepest = slope_text(leg.slope_max_deg)
    if leg.slope_max_at is not None:
        steepest = f"{least}{steepest} at {leg.slope_max_at.chainage_m:.0f} m\n{_interval(leg)}"
    bands = bands_text(leg.bands_possible, open_above=leg.open_above)
    return (
        str(leg.number),
        f"{leg.from_}\nto {leg.to}",
        f"{_km(leg.length_m)}\n+{_metres_up(leg.ascent_m)} -{_metres_up(leg.descent_m)}{climb}",
        steepest,
        f"{least}{slope_text(leg.slope_corridor_max_deg)}",
        bands.replace(" or ", "\nor ").replace(" to ", "\nto "),
        f"{unsure}{_metres_up(leg.steep_m)}\n({_metres_up(leg.steep_stretch_m)})",
        f"L {_side(leg.sides.left, unknown=leg.sides.unknown_left)}\n"
        f"R {_side(leg.sides.right, unknown=leg.sides.unknown_right)}",
        str(_metres_up(leg.unknown_m)) if leg.unknown_m else "-",
    )


def _interval(leg: LegScreening) -> str:
    if leg.slope_low_deg is None or leg.slope_high_deg is None:
        return "(not known\nhow well)"
    return f"({round_down(leg.slope_low_deg, 0.1):.1f} to {slope_text(leg.slope_high_deg)})"


def _side(side: Sequence[SideGround], *, unknown: bool) -> str:
    near = {ground.least_slope_deg: str(_metres_down(ground.distance_m)) for ground in side}
    words = " | ".join(near.get(slope, "-") for slope in SIDE_SLOPES_DEG)
    return f"{words} unknown" if unknown else words


def _bands_table(screening: RouteScreening) -> Table:
    table = Table(
        box=box.SIMPLE_HEAD,
        padding=(0, 1),
        show_edge=False,
        title="Metres of each leg in each band (degrees)",
        title_justify="left",
        title_style="",
    )
    table.add_column("Leg", justify="right")
    for label in screening.totals.band_lengths_m:
        table.add_column(label, justify="right")
    table.add_column("unknown", justify="right")
    table.add_column("steep ground\nfaces")
    baselines = " | ".join(f"{one.baseline_m:g}" for one in screening.legs[0].baselines)
    table.add_column(f"steepest (°) over\n{baselines} m", no_wrap=True)
    for leg in screening.legs:
        lengths = [_length_cell(metres) for metres in leg.band_lengths_m.values()]
        sectors = " ".join(leg.aspect_sectors)
        table.add_row(
            str(leg.number), *lengths, _length_cell(leg.unknown_m), sectors or "-", baseline_cells_text(leg)
        )
    table.add_section()
    totals = screening.totals
    sums = [_length_cell(metres) for metres in totals.band_lengths_m.values()]
    table.add_row("all", *sums, _length_cell(totals.unknown_m), "", "")
    return table


def _length_cell(metres: float) -> str:
    return str(_metres_up(metres)) if metres else "-"


def _basis(screening: RouteScreening) -> str:
    model, used = screening.model, screening.settings
    datum = "unknown" if model.datum_accuracy_m is None else f"{round_up(model.datum_accuracy_m, 1.0):.0f} m"
    return (
        f"Model: {', '.join(model.files)}; {model.crs}; cells {model.cell_size_m[0]:.1f} x "
        f"{model.cell_size_m[1]:.1f} m; datum shift good to {datum}; method {model.method}.\n"
        f"{model.uncertainty}\n"
        f"Corridor: place error {used.place_error_m:g} m and {used.drift_deg:g}° of drift, at least 30 m "
        f"each side; its slopes over {model.corridor_baseline_m[0]:.0f} m, and the line's own "
        "cells. On the line: the steepest of the cells around each place. Ups and downs under "
        f"{used.reversal_m:g} m are not counted."
    )


def _km(metres: float) -> str:
    return f"{metres / 1000.0:.2f}"


def _metres_up(metres: float) -> int:
    return int(round_up(metres, 1.0))


def _metres_down(metres: float) -> int:
    return int(round_down(metres, 1.0))


def print_route(screening: RouteScreening, to: Console) -> None:
    """Print `route_tables`."""
    to.print(route_tables(screening))
