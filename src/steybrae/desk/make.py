"""Files of a line as it is drawn: the same bytes that ``route``, ``card`` and ``report`` write for it."""

from __future__ import annotations

import datetime as dt
import hashlib
import re
import shlex
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import reduce
from typing import Any, Final

from steybrae.card import CardSettings, RouteCard
from steybrae.card.forecast import Forecast, beside_line, of_day
from steybrae.cautions import Caution, with_caution
from steybrae.desk.answer import on_engine
from steybrae.desk.engine import Engine
from steybrae.desk.guard import RefusedError
from steybrae.desk.lines import TOO_SHORT, asked_line, drawn_lines, lines_gpx
from steybrae.desk.opened import Desk
from steybrae.errors import QuantityError
from steybrae.files.plans import plan_bytes
from steybrae.frozen import dataclass
from steybrae.quantities import parse_scale
from steybrae.route.daylight import parse_clock, parse_day, parse_zone
from steybrae.route.legs import Route
from steybrae.screening.forecast.at import forecast_beside, of_now
from steybrae.screening.origin import FileRead
from steybrae.screening.result import RouteScreening


@dataclass(frozen=True)
class Made:
    """A file that was made: its name for saving it, its media type, what it holds."""

    name: str
    kind: str
    body: bytes


@dataclass(frozen=True)
class _Asked:
    """The line that files are asked for, and those beside it, as read from their file.

    `stem` begins the names of what is made; `day` holds the fields of the day as typed that are not
    empty.
    """

    routes: tuple[Route, ...]
    file: bytes
    stem: str
    day: Mapping[str, str]


def gpx(desk: Desk, message: dict[str, Any]) -> Made:
    """Write all lines as one file."""
    lines = drawn_lines(message, desk.grid)
    if not any(line.points for line in lines):
        raise RefusedError(422, TOO_SHORT)
    name = next((line for line in lines if line.role == "main"), lines[0]).route_name
    return Made(f"{_stem(name)}.gpx", "application/gpx+xml", lines_gpx(lines).encode())


def plan(desk: Desk, message: dict[str, Any]) -> Made:
    """Keep the whole result, as ``route --save`` does."""
    asked = _asked(desk, message)
    return Made(f"{asked.stem}.zip", "application/zip", plan_bytes(_plan(desk, asked)))


def report(desk: Desk, message: dict[str, Any]) -> Made:
    """Write the page of the plan, as ``report`` does with the day and the bulletin."""
    from steybrae.pages.report.page import report_page  # noqa: PLC0415  drawing takes long to load

    asked, chosen = _asked(desk, message), None
    if set(asked.day) - {"scale", "paces"}:
        # The page has no use for the map and the paces; the command does not take them.
        own, bare = _card_settings(desk, asked.day), CardSettings(desk.ask.card.date)
        chosen = replace(
            own,
            grid=bare.grid,
            scale=bare.scale,
            paces_per_100m=bare.paces_per_100m,
            bearing_unit=bare.bearing_unit,
        )
    found, made = beside_line(_plan(desk, asked), chosen, _forecast(desk))
    found = replace(found, cautions=_with_taken(desk, found.cautions))
    return Made(f"{asked.stem}.html", "text/html", report_page(found, made).encode())


def card(desk: Desk, message: dict[str, Any]) -> Made:
    """Write the card to print, as ``card --pdf`` does."""
    from steybrae.sheets.card_page import card_pdf  # noqa: PLC0415  drawing takes long to load

    asked = _asked(desk, message)
    _, made = _card(desk, on_engine(desk, Engine.screened, asked.routes[0]), asked.day)
    return Made(f"{asked.stem}-card.pdf", "application/pdf", card_pdf(made))


def phone(desk: Desk, message: dict[str, Any]) -> Made:
    """Write the page to carry on a phone, as ``card --phone`` does."""
    from steybrae.pages.phone import phone_page  # noqa: PLC0415  drawing takes long to load

    asked = _asked(desk, message)
    found, made = _card(desk, on_engine(desk, Engine.pictured, asked.routes[:1]), asked.day)
    return Made(f"{asked.stem}-phone.html", "text/html", phone_page(made, found).encode())


MAKERS: Final[dict[str, Callable[[Desk, dict[str, Any]], Made]]] = {
    "gpx": gpx, "plan": plan, "card": card, "report": report, "phone": phone,
}  # fmt: skip
"""By name, what makes it."""


def _asked(desk: Desk, message: dict[str, Any]) -> _Asked:
    asked = asked_line(message, desk.grid)
    # Of the main line the file of all lines, which the command reads it from; of another its own.
    file = lines_gpx(asked.lines if asked.main else [asked.drawn])
    return _Asked(
        (asked.route, *asked.beside), file.encode(), _stem(asked.route.name), _day(message.get("day"))
    )


def _stem(name: str) -> str:
    """Name of a file that every system takes."""
    return re.sub(r"[^A-Za-z0-9]+", "-", name).strip("-").lower()[:60] or "line"


def _day(given: Any) -> dict[str, str]:
    fields = given.items() if isinstance(given, dict) else ()
    return {name: text.strip() for name, text in fields if isinstance(text, str) and text.strip()}


def _plan(desk: Desk, asked: _Asked) -> RouteScreening:
    """Screen the line as ``route --save`` keeps it: with its ground, its relief and where it came from."""
    found: RouteScreening = on_engine(desk, Engine.pictured, asked.routes, for_forecast=True)
    origin, name = desk.ask.origin, f"{asked.stem}.gpx"
    read = FileRead(name, "route", hashlib.sha256(asked.file).hexdigest())
    command = " ".join(filter(None, (shlex.join(["steybrae", "route", name]), origin.command)))
    found = replace(found, origin=replace(origin, command=command, files=(read, *origin.files)))
    if (forecast := _forecast(desk)) is not None:
        found = forecast_beside(found, *forecast)
    return replace(found, cautions=_with_taken(desk, found.cautions))


def _card(desk: Desk, found: RouteScreening, day: Mapping[str, str]) -> tuple[RouteScreening, RouteCard]:
    found, made = of_day(found, _card_settings(desk, day), _forecast(desk))
    return found, replace(made, cautions=_with_taken(desk, made.cautions))


def _forecast(desk: Desk) -> Forecast | None:
    """Give the bulletin as it is now: a desk stays open longer than one holds."""
    return None if desk.ask.forecast is None else of_now(*desk.ask.forecast)


def _with_taken(desk: Desk, cautions: tuple[Caution, ...]) -> tuple[Caution, ...]:
    """Add what was taken from the file of settings, after what a plan has of it already."""
    return reduce(with_caution, desk.ask.cautions, cautions)


def _card_settings(desk: Desk, day: Mapping[str, str]) -> CardSettings:
    """Take what the page's fields say of the day; the rest is as the desk was opened."""
    own = desk.ask.card
    date = parse_day(day["date"]) if "date" in day else own.date
    zone = day.get("zone", own.zone)
    if zone is not None:
        parse_zone(zone)
    return replace(
        own,
        date=date,
        zone=zone,
        scale=parse_scale(day["scale"]) if "scale" in day else own.scale,
        paces_per_100m=_paces(day["paces"]) if "paces" in day else own.paces_per_100m,
        party=day.get("party", own.party),
        call=day.get("call", own.call),
        start=_clock(day.get("start"), own.start, (own.date, date), zone),
        overdue=_clock(day.get("overdue"), own.overdue, (own.date, date), zone, dated=True),
        down_by=_clock(day.get("down_by"), own.down_by, (own.date, date), zone, dated=True),
    )


def _clock(
    text: str | None,
    own: dt.datetime | None,
    days: tuple[dt.date, dt.date],
    zone: str | None,
    *,
    dated: bool = False,
) -> dt.datetime | None:
    """Read a time typed, or move one of the command's day to the page's."""
    before, date = days
    if text:
        return parse_clock(text, date, zone, dated=dated)
    return None if own is None else parse_clock(f"{own:%H:%M}", date + (own.date() - before), zone)


def _paces(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        message = f"Paces to 100 m should be a number like 62; got {text!r}. Count your double steps."
        raise QuantityError(message) from None
