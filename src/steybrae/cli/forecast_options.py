"""Options for a forecast bulletin, shared by the commands, and reading it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    import datetime as dt

    from steybrae.screening.forecast_at import BulletinSource, ForecastAsk

__all__ = [
    "AtTime",
    "BulletinPath",
    "ForecastSlope",
    "ForecastTyped",
    "Language",
    "ReductionAngles",
    "RegionId",
    "Treeline",
    "read_forecast",
]

BulletinPath = Annotated[
    Path | None,
    typer.Option("--bulletin", help="Today's avalanche bulletin, CAAML v6 JSON; nothing is fetched."),
]
RegionId = Annotated[
    str | None, typer.Option("--region", help="ID (or name) of your region in the bulletin.", metavar="ID")
]
AtTime = Annotated[
    str | None,
    typer.Option(
        "--at-time",
        help="When you are there, with its zone: 2027-01-15T09:30+00:00, or two with / between them.",
        metavar="TIME",
    ),
]
Treeline = Annotated[
    str | None,
    typer.Option("--treeline", help="Height of the treeline, like 600m, where the bulletin names it."),
]
ForecastSlope = Annotated[
    str | None,
    typer.Option("--forecast-slope", help="Match ground from here on; 30deg if not given.", metavar="DEG"),
]
Language = Annotated[
    str | None,
    typer.Option("--language", help="Language where the bulletin has several, like en."),
]
ReductionAngles = Annotated[
    bool,
    typer.Option(
        "--reduction-angles",
        help="For people trained in it: a published method's angle for the level, as a reference row.",
    ),
]


@dataclass(frozen=True)
class ForecastTyped:
    """The options as typed."""

    file: Path | None
    region: str | None = None
    at_time: str | None = None
    treeline: str | None = None
    slope: str | None = None
    lang: str | None = None
    reduction: bool = False


def read_forecast(typed: ForecastTyped) -> tuple[BulletinSource, ForecastAsk] | None:
    """Read the bulletin and what is asked of it; None without one.

    Raises
    ------
    BulletinError
        An option of the forecast without its file, or a file that breaks the standard.
    FileReadError, DateError, QuantityError
        A file or a value that cannot be read.
    """
    if typed.file is None:
        _refuse_alone(typed)
        return None
    import datetime as dt

    from steybrae.cli.inputs import length_m
    from steybrae.files.bulletins import read_bulletins
    from steybrae.quantities import parse_slope_deg
    from steybrae.screening.forecast_at import LEAST_SLOPE_DEG, BulletinSource, ForecastAsk

    start, end = _span(typed.at_time)
    slope = LEAST_SLOPE_DEG if typed.slope is None else parse_slope_deg(typed.slope, "The forecast slope")
    ask = ForecastAsk(
        region=typed.region,
        lang=typed.lang,
        start=start,
        end=end,
        now=dt.datetime.now(dt.UTC),
        treeline_m=length_m(typed.treeline, "The treeline"),
        least_slope_deg=slope,
        reduction=typed.reduction,
    )
    read = read_bulletins(typed.file)
    return BulletinSource(read.name, read.bulletins, read.notes), ask


def _refuse_alone(typed: ForecastTyped) -> None:
    from steybrae.errors import BulletinError

    values = (
        ("--region", typed.region),
        ("--at-time", typed.at_time),
        ("--treeline", typed.treeline),
        ("--forecast-slope", typed.slope),
        ("--language", typed.lang),
        ("--reduction-angles", typed.reduction or None),
    )
    given = [name for name, value in values if value is not None]
    if given:
        verb = "belong" if len(given) > 1 else "belongs"
        message = f"{', '.join(given)} {verb} to a forecast, which is missing. Add --bulletin FILE."
        raise BulletinError(message)


def _span(text: str | None) -> tuple[dt.datetime | None, dt.datetime | None]:
    from steybrae.errors import DateError
    from steybrae.forecast.choose import parse_moment

    if text is None:
        return None, None
    start, _, end = text.partition("/")
    first = parse_moment(start, "The time")
    last = parse_moment(end, "The end of the time") if end else first
    if last < first:
        message = f"The time should end no earlier than it begins; got {text!r:.60}. Exchange the two."
        raise DateError(message)
    return first, last
