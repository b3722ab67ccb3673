"""Groups of options about the day: when and with what it is walked, and its forecast bulletin."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from steybrae.cli.options.groups import Group, counted, day_typed, flag, ground_length, option, slope_typed
from steybrae.errors import DateError
from steybrae.frozen import dataclass
from steybrae.quantities import parse_scale

if TYPE_CHECKING:
    from steybrae.card import CardSettings
    from steybrae.forecast.bulletin import BulletinFile
    from steybrae.screening.forecast.at import ForecastAsk


def _choice(name: str) -> Callable[[Any], Any]:
    """Take a choice of the card that there is."""

    def read(value: Any) -> Any:
        from steybrae.card import CardSettings

        return getattr(CardSettings(dt.date.min, **{name: value}), name)

    return read


def _paces(text: str) -> Any:
    return _choice("paces_per_100m")(counted("Paces to 100 m", "65", "paces")(text))


def _zone(text: str) -> str:
    from steybrae.route.daylight import parse_zone

    parse_zone(text)
    return text


def _time_rule(text: str) -> str:
    from steybrae.route.walking import leg_min

    leg_min((), text)
    return text


@dataclass(frozen=True)
class CardMap(Group, panel="Your map, compass and paces"):
    """The printed map and who carries it."""

    grid: str = option(
        "--grid",
        "Grid of your map: bng, utm, mgrs, or latlon for none.",
        "GRID",
        default="latlon",
        read=_choice("grid"),
        shown="latlon",
        kept="map",
    )
    scale: float | None = option(
        "--scale", "Scale of your map, for the millimetres.", "1:N", read=parse_scale, kept="map"
    )
    paces: float | None = option(
        "--paces",
        "Your paces to 100 m, for the pace counts.",
        "PACES",
        read=_paces,
        kept="person",
    )
    unit: str = option(
        "--unit",
        "Bearings in deg or mil.",
        "UNIT",
        default="deg",
        read=_choice("bearing_unit"),
        shown="deg",
        kept="person",
    )


def _factor(what: str, example: str) -> Any:
    """Make the option of a factor of the walking time."""
    return option(
        f"--{what}",
        f"Times the walking time for {what}, 1 to 10.",
        "TIMES",
        default=1.0,
        shown="1",
        read=counted(f"The {what} factor", example, "x", "times"),
    )


_DAY: Final = ("--date",)
"""What pace and contact need to be taken from a file of settings: without a day they say nothing."""


@dataclass(frozen=True)
class DayOptions(Group, panel="The day"):
    """The day, and how fast one walks."""

    date: str | None = option("--date", "Day of the walk, like 2027-01-15.", "DATE")
    start: str | None = option("--start", "Start, like 08:30, for the arrivals.", "HH:MM")
    zone: str | None = option(
        "--zone",
        "Time zone of the clock, like Europe/London.",
        "ZONE",
        read=_zone,
        kept="person",
        beside=("--start",),
    )
    time_rule: str = option(
        "--time-rule",
        "langmuir, naismith, tobler or swiss.",
        "RULE",
        default="langmuir",
        read=_time_rule,
        shown="langmuir",
        kept="person",
        beside=_DAY,
    )
    flat_kmh: float = option(
        "--flat-kmh",
        "Pace on the flat for Naismith and Langmuir, km/h.",
        "KM/H",
        default=5.0,
        shown="5km/h",
        read=counted("The pace on the flat", "4km/h", "km/h", "kmh", "kph"),
        kept="person",
        beside=_DAY,
    )
    off_path: bool = flag("--off-path", "For Tobler: no path.")
    snow: float = _factor("snow", "1.3")
    load: float = _factor("load", "1.1")
    breaks: float = option(
        "--breaks",
        "Rest for each hour walked, like 10min.",
        "MINUTES",
        default=0.0,
        shown="0min",
        read=counted("A break", "10min", "min", "minutes", "minute"),
    )
    down_by: str | None = option(
        "--down-by", "When to be down, for the latest times at turning points; sunset if not given.", "HH:MM"
    )
    party: str = option("--party", "Names of the party, for card and report.", "NAMES", default="", shown="")
    call: str = option(
        "--call",
        "Whom to call if nobody came back, and how.",
        "WHOM",
        default="",
        shown="",
        kept="person",
        beside=_DAY,
    )
    overdue: str | None = option("--overdue", "When to call, like 18:00, or 2027-01-16T00:30.", "HH:MM")

    def settings(self, sheet: CardMap) -> CardSettings:
        """Make the settings of the card on that map; refused where a choice is not there, or the date."""
        from steybrae.card import CardSettings
        from steybrae.route.daylight import parse_clock
        from steybrae.route.walking import Allowances, leg_min

        day = _day(self.date)
        allowances = Allowances(self.snow, self.load, self.breaks)
        leg_min((), self.time_rule, allowances, flat_kmh=self.flat_kmh)  # refuses an unknown rule
        return CardSettings(
            date=day,
            grid=sheet.grid,
            scale=sheet.scale,
            paces_per_100m=sheet.paces,
            bearing_unit=sheet.unit,
            start=None if self.start is None else parse_clock(self.start, day, self.zone),
            zone=self.zone,
            method=self.time_rule,
            allowances=allowances,
            flat_kmh=self.flat_kmh,
            off_path=self.off_path,
            party=self.party,
            call=self.call,
            overdue=None if self.overdue is None else parse_clock(self.overdue, day, self.zone, dated=True),
            down_by=None if self.down_by is None else parse_clock(self.down_by, day, self.zone, dated=True),
        )

    def of_page(self) -> CardSettings | None:
        """Make the settings of a page's day; None where nothing of it was given."""
        return self.settings(CardMap()) if self.given() else None


def _day(text: str | None) -> dt.date:
    if text is None:
        message = (
            "A card needs the day of the walk, for magnetic north wanders; got none. Add --date 2027-01-15."
        )
        raise DateError(message)
    return day_typed(text)


Moment = dt.datetime
_BULLETIN: Final = ("--bulletin",)


def _span(text: str) -> tuple[Moment, Moment]:
    from steybrae.forecast.bulletin import parse_span

    return parse_span(text)


@dataclass(frozen=True)
class ForecastOptions(Group, panel="The forecast"):
    """The avalanche forecast."""

    bulletin: Path | None = option(
        "--bulletin", "Today's avalanche bulletin, CAAML v6 JSON; nothing is fetched.", "FILE"
    )
    region: str | None = option(
        "--region", "ID (or name) of your region in the bulletin.", "ID", kept="forecast", beside=_BULLETIN
    )
    at_time: tuple[Moment, Moment] | None = option(
        "--at-time",
        "When you are there, with its zone: 2027-01-15T09:30+00:00, or two with / between them.",
        "TIME",
        read=_span,
    )
    treeline_m: float | None = option(
        "--treeline",
        "Height of the treeline, like 600m, where the bulletin names it.",
        "LENGTH",
        read=ground_length("The treeline"),
        kept="forecast",
        beside=_BULLETIN,
    )
    forecast_slope_deg: float | None = option(
        "--forecast-slope",
        "Match ground from here on; 30deg if not given.",
        "DEG",
        read=slope_typed("The forecast slope"),
        kept="forecast",
        beside=_BULLETIN,
    )
    language: str | None = option(
        "--language",
        "Language where the bulletin has several, like en.",
        "LANGUAGE",
        kept="forecast",
        beside=_BULLETIN,
    )

    def __post_init__(self) -> None:
        """Refuse an option of the forecast without its file."""
        given = self.given()
        if given and self.bulletin is None:
            from steybrae.errors import BulletinError

            verb = "belong" if len(given) > 1 else "belongs"
            message = f"{', '.join(given)} {verb} to a forecast, which is missing. Add --bulletin FILE."
            raise BulletinError(message)

    def read(self) -> tuple[BulletinFile, ForecastAsk] | None:
        """Read the bulletin and what is asked of it; None without one."""
        if self.bulletin is None:
            return None
        from steybrae.library.forecast import read_asked

        return read_asked(
            self.bulletin,
            region=self.region,
            lang=self.language,
            span=self.at_time,
            treeline_m=self.treeline_m,
            slope_deg=self.forecast_slope_deg,
            reduction=getattr(self, "reduction_angles", False),
        )


@dataclass(frozen=True)
class LegForecastOptions(ForecastOptions):
    """The avalanche forecast beside a line."""

    reduction_angles: bool = flag(
        "--reduction-angles",
        "For people trained in it: a published method's angle for the level, a reference; printed by --all.",
        kept="forecast",
        beside=_BULLETIN,
    )
