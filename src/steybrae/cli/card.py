"""``steybrae card``: the route card to carry."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from steybrae.cli.options.common import BandOptions, OutputOptions
from steybrae.cli.options.day import CardMap, DayOptions, LegForecastOptions
from steybrae.cli.options.groups import (
    GEOJSON,
    GPX,
    PHONE,
    REPORT,
    SHEET,
    TABLE,
    Group,
    flag,
    option,
    written,
)
from steybrae.cli.options.model import (
    CorridorOptions,
    LineOptions,
    ModelOptions,
    ReachOptions,
    screening_settings,
)
from steybrae.cli.options.settings_file import with_taken
from steybrae.errors import BulletinError, RouteError
from steybrae.frozen import dataclass
from steybrae.papers import PAPERS_MM
from steybrae.route.positions.places import Place, parse_place

if TYPE_CHECKING:
    from steybrae.card import RouteCard
    from steybrae.card.forecast import Forecast
    from steybrae.route.legs import Route
    from steybrae.screening import RouteScreening, Settings

PLAN_SUFFIX = ".zip"
"""A file so called is a saved plan."""


@dataclass(frozen=True)
class EndOptions(Group, panel="One leg"):
    """One leg instead of a planned line."""

    from_place: Place | None = option(
        "--from", "Instead of ROUTE: where one leg begins.", "PLACE", read=parse_place
    )
    to_place: Place | None = option("--to", "Where it ends; no model is needed.", "PLACE", read=parse_place)

    def ends(self, line: Path | None) -> tuple[Place, Place] | None:
        """Both places; None where the card is of a route.

        `RouteError` for one of them alone, or a route besides.
        """
        start, end = self.from_place, self.to_place
        if (start is None) != (end is None) or (start is not None and line is not None):
            message = (
                "One leg needs --from and --to, and no ROUTE; got another choice of these. "
                "Give both places, or a route."
            )
            raise RouteError(message)
        return None if start is None or end is None else (start, end)


def _paper(text: str) -> str:
    from steybrae.papers import card_size_mm

    card_size_mm(text)
    return text


@dataclass(frozen=True)
class CardOutputs(OutputOptions):
    """Where the answer goes, and how much of it is printed."""

    show_all: bool = flag("--all", "Print all of it, the cautions in full, and what it rests on.")
    pdf: Path | None = written("--pdf", "Write the card as PDF, true to size.", SHEET)
    paper: str = option(
        "--paper",
        f"Paper of --pdf: {', '.join(PAPERS_MM)}; the larger ones fold in two.",
        "PAPER",
        default="a4",
        shown="a4",
        read=_paper,
        kept="paper",
        beside=("--pdf",),
        old="--page",
    )
    appendix: bool = flag("--appendix", "Add every leg and check in full to --pdf, and all words.")
    report: Path | None = written("--report", "Write one page to read, share and print (.html).", REPORT)
    phone: Path | None = written("--phone", "Write the page to carry on a phone, offline (.html).", PHONE)
    gpx: Path | None = written("--gpx", "Write route and check places as GPX.", GPX)
    csv: Path | None = written("--csv", "Write the legs as CSV.", TABLE)
    geojson: Path | None = written("--geojson", "Write legs and checks as GeoJSON.", GEOJSON)


def card(
    ctx: typer.Context,
    line: Annotated[
        Path | None,
        typer.Argument(metavar="ROUTE", help="The planned line (GPX, GeoJSON, CSV), or a saved plan (.zip)."),
    ] = None,
    *,
    day: DayOptions,
    sheet: CardMap,
    leg: EndOptions,
    model: ModelOptions,
    cut: LineOptions,
    corridor: CorridorOptions,
    bands: BandOptions,
    zones: ReachOptions,
    forecast: LegForecastOptions,
    outputs: CardOutputs,
) -> None:
    """Write the route card: bearings to set, distances, times, what the ground does, what to check.

    From a planned line and a model, from a saved plan alone, or of one leg from place to place
    without a model. Magnetic bearings need the date. It decides nothing.
    """
    from steybrae.answers.card import card_document
    from steybrae.card import card_between
    from steybrae.card.forecast import of_day
    from steybrae.cli.options.common import run_origin
    from steybrae.cli.report import report_to

    outputs.check(line, forecast.bulletin, *(model.dem or ()))
    chosen = day.settings(sheet)
    asked = forecast.read()
    ends = leg.ends(line)
    if line is not None and line.suffix.lower() == PLAN_SUFFIX:
        screening = _plan(line, model, cut, corridor, bands, zones)
    elif ends is None or model.dem or model.sample:
        planned = cut.planned(line, sample=model.sample) if ends is None else _one_leg(ends)
        settings = screening_settings(bands, model, zones, corridor)
        needs = (outputs.report is not None or outputs.phone is not None, asked is not None)
        screening = _screened(planned, model, settings, needs)
    else:
        _refuse_without_ground(asked, outputs.report)
        screening, found = None, card_between(*ends, chosen)
    if screening is not None:
        screening, found = of_day(screening, chosen, asked)
    found = with_taken(found)
    _write(found, outputs)
    if outputs.phone is not None:
        from steybrae.files.whole import write_text
        from steybrae.pages.phone import phone_page

        plan = line.name if line is not None and line.suffix.lower() == PLAN_SUFFIX else ""
        write_text(outputs.phone, phone_page(found, screening, plan), force=outputs.force)
    if outputs.report is not None and screening is not None:
        origin = screening.origin or run_origin(
            ctx, (line,) if line else (), forecast.bulletin, sample=model.sample
        )
        whole = with_taken(replace(screening, origin=origin))
        report_to(outputs.report, whole, found, force=outputs.force)
    outputs.show("card", found, partial(card_document, whole=outputs.show_all))


def _plan(path: Path, *groups: Group) -> RouteScreening:
    """Read a saved plan; it brings its own model, legs and settings."""
    from steybrae.files.plans import read_plan

    if any(group.given() for group in groups):
        message = (
            "A saved plan brings its own model, legs and settings; others were given besides. "
            "Leave them out, or make a new plan."
        )
        raise RouteError(message)
    return read_plan(path)


def _refuse_without_ground(forecast: Forecast | None, report: Path | None) -> None:
    if forecast is not None:
        message = (
            "A forecast is matched against ground; a card between two places has none. "
            "Add --dem FILE, or leave --bulletin out and write the forecast on the card by hand."
        )
        raise BulletinError(message)
    if report is not None:
        message = (
            "A report shows ground; a card between two places has none. Add --dem FILE, or leave "
            "--report out."
        )
        raise RouteError(message)


def _one_leg(ends: tuple[Place, Place]) -> Route:
    from steybrae.route.turns import route_from_places

    return route_from_places(ends, f"{ends[0].written} to {ends[-1].written}")


def _screened(
    planned: Route, model: ModelOptions, settings: Settings, needs: tuple[bool, bool]
) -> RouteScreening:
    """Screen the line, with the relief for a report and the ground for a forecast where they are needed."""
    from steybrae.screening import screen_route
    from steybrae.screening.pictures.relief import with_relief

    with model.opened(settings, planned.points) as (dem, known):
        relief, grounds = needs
        found = screen_route(planned, dem, known, for_forecast=grounds)
        return with_relief(found, dem) if relief else found


def _write(found: RouteCard, to: CardOutputs) -> None:
    from steybrae.answers.points import cautions_path
    from steybrae.files.cards import card_cautions_text, card_csv, card_geojson, card_gpx
    from steybrae.files.whole import write_bytes, write_text

    if to.pdf is not None:
        from steybrae.sheets.card_page import card_pdf

        write_bytes(to.pdf, card_pdf(found, to.paper, appendix=to.appendix), force=to.force)
    if to.gpx is not None:
        write_text(to.gpx, card_gpx(found), force=to.force)
    if to.csv is not None:
        write_text(to.csv, card_csv(found), force=to.force)
        write_text(cautions_path(to.csv), card_cautions_text(found), force=to.force)
    if to.geojson is not None:
        write_text(to.geojson, card_geojson(found), force=to.force)
