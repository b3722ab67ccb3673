"""What a card says of its bearings, its norths, its places and its basis, in words."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Final

from steybrae.card.times import LegPieces
from steybrae.quantities import MIL_PER_DEG
from steybrae.route.bearings import LegBearings
from steybrae.route.positions.grids import bng_shift_accuracy_m
from steybrae.route.positions.places import Place
from steybrae.screening.basis import corridor_text, looks_of, zones_sentences
from steybrae.screening.result import RouteScreening
from steybrae.value import AT_LEAST, bearing_figure, slope, steep_length


def _degrees_side(value_deg: float) -> str:
    side = "east" if value_deg > 0.0 else "west"
    size = _tenths(abs(value_deg))
    return f"{size:.1f} degrees {side}" if size else "0.0 degrees off"


_UNITS: Final = {"deg": (1.0, "degrees"), "mil": (MIL_PER_DEG, "mil")}
"""What of a bearing's unit makes a degree, and its word."""


def norths_words(bearings: Sequence[LegBearings], unit: str = "deg") -> tuple[str, ...]:
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
        turning_rule(first.grid_magnetic_deg, first.grid, unit),
    ]
    if _degrees_side(min(angles)) != _degrees_side(max(angles)):
        words.append(
            f"That is at the start; over the legs it runs from {_degrees_side(min(angles))} to "
            f"{_degrees_side(max(angles))}, and each leg has its own."
        )
    choose = "No grid was chosen: on a map whose grid lines are not true north, give --grid."
    words.append(choose if gridless else of_true)
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


WITHOUT_MODEL: Final = (
    "Without an elevation model (--dem): no heights, no time, and nothing of how steep the ground is."
)
"""What a leg without a model does not tell."""


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
    if looks is not None:
        yield zones_sentences(looks, screening.settings.start_zones, max(screening.model.cell_size_m))


def _tenths(value_deg: float) -> float:
    return math.floor(value_deg * 10.0 + 0.5) / 10.0 + 0.0


def _map_north(grid: str) -> str:
    return "true north" if grid == "latlon" else "grid north"


def grid_magnetic_words(grid_magnetic_deg: float, grid: str = "utm") -> str:
    """Where magnetic north lies against the lines of the map; ``latlon`` has none: against true north.

    ``Magnetic north is 0.8 degrees east of grid north on this sheet.``
    """
    size_deg = abs(_tenths(grid_magnetic_deg))
    north = _map_north(grid)
    if size_deg == 0.0:
        return f"Magnetic north and {north} are one on this sheet, to a tenth of a degree."
    side = "east" if grid_magnetic_deg > 0.0 else "west"
    return f"Magnetic north is {size_deg:.1f} degrees {side} of {north} on this sheet."


def turning_rule(grid_magnetic_deg: float, grid: str = "utm", unit: str = "deg") -> str:
    """How to turn a map bearing, true for ``latlon``, into a magnetic one and back.

    ``From grid to magnetic subtract 0.8 degrees, from magnetic to grid add 0.8 degrees.``
    """
    per_deg, word = _UNITS[unit]
    size = abs(_tenths(grid_magnetic_deg * per_deg))
    north = _map_north(grid).removesuffix(" north")
    if size == 0.0:
        return f"Between {north} and magnetic bearings nothing is added or subtracted."
    there, back = ("subtract", "add") if grid_magnetic_deg > 0.0 else ("add", "subtract")
    return (
        f"From {north} to magnetic {there} {size:.1f} {word}, "
        f"from magnetic to {north} {back} {size:.1f} {word}."
    )


def compass_words(leg: LegBearings, unit: str = "deg") -> tuple[str, str]:
    """Say what to set on a compass with a declination scale, and the sum to do without.

    ``With a declination scale: set it to 0.8 degrees east and set 100° from the
    grid.`` and ``Without: 100.0 - 0.8 = 99.2, set 099° magnetic.`` The sum is in tenths as printed;
    what to set comes from the unrounded bearing.
    """
    per_deg, word = _UNITS[unit]
    full = 360.0 * per_deg
    offset = _tenths(leg.grid_magnetic_deg * per_deg)
    size, side = abs(offset), "east" if offset > 0.0 else "west"
    scale = f"{size:.1f} {word} {side}" if size else "0"
    source = "from true north" if leg.grid == "latlon" else "from the grid"
    on_map = bearing_figure(leg.bearing_grid_deg, unit)
    with_scale = f"With a declination scale: set it to {scale} and set {on_map} {source}."
    on_grid = _tenths(leg.bearing_grid_deg * per_deg)
    result = on_grid - offset
    turn = f" + {full:.0f}" if result < 0.0 else f" - {full:.0f}" if result >= full else ""
    without = (
        f"Without: {on_grid:.1f} {'-' if offset >= 0.0 else '+'} {size:.1f}{turn} = "
        f"{_tenths(result % full):.1f}, set {bearing_figure(leg.bearing_magnetic_deg, unit)} magnetic."
    )
    return with_scale, without
