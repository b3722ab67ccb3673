"""``steybrae report``: one page to read, share and print, from a saved plan."""

from __future__ import annotations

from dataclasses import MISSING
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from steybrae.cli.options.day import DayOptions, LegForecastOptions
from steybrae.cli.options.groups import REPORT, Group, flag, written
from steybrae.cli.options.settings_file import with_taken
from steybrae.frozen import dataclass

if TYPE_CHECKING:
    from steybrae.card import RouteCard
    from steybrae.screening import RouteScreening


@dataclass(frozen=True)
class PageOutput(Group, panel="Outputs"):
    """The page as a file."""

    out: Path = written("--out", "The page to be (.html).", REPORT, "FILE", default=MISSING)
    force: bool = flag("--force", "Replace output files that exist.")


def report(
    plan: Annotated[
        Path, typer.Argument(metavar="PLAN", help="A plan saved with --save (.zip).", show_default=False)
    ],
    *,
    day: DayOptions,
    forecast: LegForecastOptions,
    to: PageOutput,
) -> None:
    """Write the page of a saved plan, for the party and for the person at home.

    With --date, --start, --party, --call and --overdue its first screen tells when, where, and whom to
    call; with --bulletin what the forecast names of the ground of each leg. One file without a network:
    send it, keep it, print it on A4. It decides nothing.
    """
    from steybrae.card.forecast import beside_line
    from steybrae.document import Cautions, Document, Paragraph
    from steybrae.files.plans import read_plan
    from steybrae.files.whole import check_outputs
    from steybrae.render.terminal import print_document

    inputs = [plan] if forecast.bulletin is None else [plan, forecast.bulletin]
    check_outputs([to.out], inputs, force=to.force)
    asked, chosen = forecast.read(), day.of_page()
    found, card = beside_line(read_plan(plan), chosen, asked)
    found = with_taken(found)
    report_to(to.out, found, card, force=to.force)
    wrote = f"Written: {to.out}."
    print_document(Document(wrote, (Paragraph(wrote), Cautions(found.cautions))))


def report_to(path: Path, screening: RouteScreening, card: RouteCard | None, *, force: bool) -> None:
    """Make the page of a screening that has its relief, and of its day, and write it whole."""
    from steybrae.files.whole import write_text
    from steybrae.pages.report.page import report_page

    write_text(path, report_page(screening, card), force=force)
