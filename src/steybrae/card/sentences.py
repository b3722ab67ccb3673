"""What a card says of its norths, its places and its basis, in whole sentences."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from steybrae.card.times import LegPieces
from steybrae.route.compass.bearings import LegBearings
from steybrae.route.compass.words import grid_magnetic_words, turning_rule
from steybrae.route.positions.grids import bng_shift_accuracy_m
from steybrae.route.positions.places import Place
from steybrae.screening.basis import corridor_text, looks_of, zones_text
from steybrae.screening.result import RouteScreening
from steybrae.value import AT_LEAST, slope, steep_length


def _degrees_side(value_deg: float) -> str:
    side = "east" if value_deg > 0.0 else "west"
    size = math.floor(abs(value_deg) * 10.0 + 0.5) / 10.0
    return f"{size:.1f} degrees {side}" if size else "0.0 degrees off"


def norths_words(bearings: Sequence[LegBearings]) -> tuple[str, ...]:
    """Say where the norths lie; what to set, each leg's `compass` says."""
    first = bearings[0]
    angles = [leg.grid_magnetic_deg for leg in bearings]
    of_true = (
        f"Magnetic north is {_degrees_side(first.declination_deg)} of true north, give or take "
        f"{slope(first.declination_uncertainty_deg).figure} degrees in 95 of 100 cases "
        f"({first.field.model})."
    )
    gridless = first.grid == "latlon"  # then the map's north is the true one, and told once
    words = [
        of_true if gridless else grid_magnetic_words(first.grid_magnetic_deg, first.grid),
        turning_rule(first.grid_magnetic_deg, first.grid),
    ]
    if _degrees_side(min(angles)) != _degrees_side(max(angles)):
        words.append(
            f"That is at the start; over the legs it runs from {_degrees_side(min(angles))} to "
            f"{_degrees_side(max(angles))}, and each leg has its own."
        )
    if not gridless:
        words.append(of_true)
    if gridless:
        words.append("No grid was chosen: on a map whose grid lines are not true north, give --grid.")
    return tuple(words)


def position_words(grid: str, places: Sequence[Place] = ()) -> tuple[str, ...]:
    """Say what positions are good to: the shift of the datum, the squares of references."""
    words = []
    if grid == "bng":
        shift = steep_length(bng_shift_accuracy_m()).text
        words.append(f"National Grid and GPS positions are joined to about {shift}.")
    words += [
        f"{place.written} names a square: its centre is taken, up to {steep_length(place.error_m).text} off."
        for place in places
        if place.error_m >= 1.0 and place.written
    ]
    return tuple(words)


def unknown_words(number: int, pieces: LegPieces) -> str:
    """Say how unknown ground was timed."""
    words = []
    if pieces.bridged_m:
        words.append(f"{steep_length(pieces.bridged_m).text} as an even slope between known heights")
    if pieces.level_m:
        words.append(f"{steep_length(pieces.level_m).text} as level")
    return f"Leg {number}: unknown ground timed {' and '.join(words)}: {AT_LEAST} this long."


def one_leg_words() -> tuple[str, ...]:
    """Say what a leg without a model does not tell."""
    return (
        "Without an elevation model (--dem): no heights, no time, and nothing of how steep the ground is.",
    )


def program_words(version: str) -> str:
    """Name the program and its version."""
    return f"steybrae {version}."


def basis_words(screening: RouteScreening) -> tuple[str, ...]:
    """Say what the figures rest on: model, uncertainty, corridor, start zones, program."""
    model, used = screening.model, screening.settings
    stamps = ", ".join(
        f"{name} ({stamp[:12]})" for name, stamp in zip(model.files, model.fingerprints, strict=False)
    )
    cells = f"{model.cell_size_m[0]:.1f} x {model.cell_size_m[1]:.1f} m"
    return (
        f"Model: {stamps or 'in memory'}; {model.crs}; cells of {cells}; method {model.method}.",
        model.uncertainty,
        f"Corridor: {corridor_text(model, used)}.",
        *_start_zones(screening),
        program_words(screening.version),
    )


def _start_zones(screening: RouteScreening) -> Iterator[str]:
    """Say what was taken for a start zone, where it was looked for."""
    looks = looks_of(screening)
    if looks is None:
        return
    zones = zones_text(looks, screening.settings.start_zones, max(screening.model.cell_size_m))
    yield f"Start zones: {zones}. Steeper ground counts too."
