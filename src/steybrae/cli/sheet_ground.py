"""What ``steybrae sheet`` lays on paper: which ground, drawn how, and what is asked of the user's own."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from steybrae.cli.options.model import ModelFiles
    from steybrae.cli.options.paper import MapOptions
    from steybrae.field.log import LogRow
    from steybrae.screening.result import RouteScreening
    from steybrae.teach.asked import Question
    from steybrae.teach.map_ground import MapGround, MapLook
    from steybrae.teach.practice import PracticeSheet
    from steybrae.terrain.dem import DemSource, Grid


@contextmanager
def ground_of(model: ModelFiles, plan: RouteScreening | None) -> Iterator[tuple[DemSource, str]]:
    """Open the model, or take the ground that a plan keeps where no model was given."""
    from steybrae.screening import Settings
    from steybrae.teach.own_questions import plan_ground

    if plan is not None and not model.dem and not model.sample:
        yield plan_ground(plan), f"plan {plan.name}, from {', '.join(plan.model.files)}"
        return
    with model.opened(Settings()) as (dem, _):
        yield dem, "the invented sample massif" if model.sample else ", ".join(dem.info.files)


def own_asked(
    look: MapLook, route: RouteScreening | None, rows: Sequence[LogRow], *, told: bool
) -> Callable[[MapGround], list[Question]]:
    """Ask, on the ground that a sheet takes, about the legs of a plan and the readings of a log."""
    from steybrae.teach.own_questions import log_questions, plan_questions

    def asked(ground: MapGround) -> list[Question]:
        legs = plan_questions(ground, look, route, told=told) if route else []
        return [*legs, *log_questions(ground, look, rows)]

    return asked


def look_of(sheet: MapOptions, index_every: int) -> MapLook:
    """How the map is drawn; heights stand in feet where the interval was typed in feet."""
    from steybrae.quantities import FOOT_M
    from steybrae.teach.map_ground import MapLook

    in_feet = sheet.interval.strip().lower().endswith("ft")
    unit = (FOOT_M, "ft") if in_feet else (1.0, "m")
    return MapLook(sheet.scale, sheet.interval_m, index_every, *unit)


def middle_of(
    grid: Grid, at: str | None, route: RouteScreening | None, rows: Sequence[LogRow]
) -> tuple[float, float] | None:
    """Where the map is to lie: at the place named, else round the plan, else round the readings.

    Raises
    ------
    OffModelError
        The place is not on the model.
    """
    from steybrae.errors import OffModelError
    from steybrae.route.positions.places import parse_place
    from steybrae.teach.own_questions import log_middle, plan_middle

    if at is not None:
        place = parse_place(at)
        col, row = (float(part) for part in grid.from_wgs84(place.lon_deg, place.lat_deg))
        if not (0.0 <= col <= grid.shape[1] and 0.0 <= row <= grid.shape[0]):
            message = f"The middle of the map should lie on the model; {at!r} does not. Choose another place."
            raise OffModelError(message)
        return col, row
    found = plan_middle(grid, route) if route else None
    return found or log_middle(grid, rows)


def own_notes(sheet: PracticeSheet, plan: Path | None, log: Path | None) -> list[str]:
    """Say on the terminal what became of the plan and the log, and what the sheet lacks."""
    notes = list(sheet.notes)
    for given, kind, what in ((plan, "leg", "leg of the plan"), (log, "reading", "reading of the log")):
        own = [q for q in sheet.questions if q.kind == kind and (q.leg is None or q.leg.name)]
        if given and not own:
            notes.append(f"No {what} could be asked about: none lies on this map where it can be measured.")
    return notes
