"""What a reading is compared with on an elevation model, at a place and near by."""

from __future__ import annotations

from typing import Final

from steybrae.errors import QuantityError
from steybrae.field.agreement import Origin, Reference
from steybrae.field.references import Source
from steybrae.field.relocation import ASPECT_ERROR_95_DEG, AspectFit, aspect_fit, check_aspect_error
from steybrae.route.positions.places import Place
from steybrae.screening.ground.at import MOST_RADIUS_M, look_around
from steybrae.screening.ground.result import GroundAt
from steybrae.screening.known import Settings
from steybrae.terrain.dem import DemSource

SEARCH_M: Final = 500.0
"""How far ground of a measured aspect is searched for, metres (our choice)."""


def model_reference(ground: GroundAt) -> Reference:
    """Take the ground within a position error as something to compare with, named ``the model``.

    Where in the circle you stand is not known, so its spread is part of the uncertainty: the figure
    is the slope of the cell of the place, its ends are the lowest low and the highest high end of
    any of them. A check of a plan expects the same (`steybrae.screening.standing.may_stand`). No
    high end, and so open above, where part of the circle is unknown or the model's uncertainty is.
    """
    within = ground.within
    cell_m = max(ground.cell_size_m)
    known = within.slope_max_deg, within.slope_high_max_deg
    return Reference(
        "the model",
        ground.slope_deg,
        within.slope_low_min_deg,
        within.slope_high_max_deg if within.unknown_share == 0.0 else None,
        Origin(
            kind="model",
            baseline_m=ground.baseline_m,
            cell_size_m=cell_m,
            aspect_true_deg=ground.aspect_true_deg,
        ),
        known_high_deg=max((end for end in known if end is not None), default=None),
    )


def ground_source(
    ground: GroundAt, place: Place, position_note: str = "", aspect: AspectFit | None = None
) -> Source:
    """Take the ground at a place as something to compare with, with all that is to be said of it.

    `position_note` says how the position error was made of what a receiver shows, `aspect` whether
    a measured aspect fits there.
    """
    circle = (
        f"The model: {', '.join(ground.model_files)}; the cell of the place, from the lowest low "
        f"to the highest high end of any cell within {ground.within.radius_m:g} m, for where you stand among "
        "them is not known."
    )
    basis = (circle, ground.basis, *([position_note] if position_note else []))
    return Source(model_reference(ground), basis, ground.cautions, place, aspect)


def aspect_at(
    measured_true_deg: float,
    place: Place,
    source: DemSource,
    radius_m: float,
    settings: Settings,
    *,
    error_95_deg: float = ASPECT_ERROR_95_DEG,
    search_m: float = SEARCH_M,
) -> AspectFit:
    """Ask whether an aspect measured here fits where you think you are, and where else it would.

    It is the direction that the slope faces, with its 95 % error above 0 to 90 degrees. `radius_m`
    is the 95 % radius of the position error; `search_m` is that at least. `QuantityError` for an
    error or a distance that cannot be meant.
    """
    check_aspect_error(error_95_deg)
    if not radius_m <= search_m <= MOST_RADIUS_M:
        message = (
            f"The search should reach from the position error, {radius_m:g} m, to {MOST_RADIUS_M:g} m; "
            f"got {search_m:g} m. Give --search between the two."
        )
        raise QuantityError(message)
    around = look_around(place, source, search_m, settings)
    return aspect_fit(
        measured_true_deg,
        error_95_deg,
        around.field,
        around.known,
        around.within(radius_m),
        around.offsets_m(),
        (radius_m, search_m),
    )
