"""Options about a forecast bulletin, and reading it."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Final

from steybrae.cli.options import parsed
from steybrae.cli.options.groups import Group, flag, option
from steybrae.frozen import dataclass

if TYPE_CHECKING:
    from steybrae.screening.forecast.at import BulletinSource, ForecastAsk

Moment = dt.datetime
_BULLETIN: Final = ("--bulletin",)


def _span(text: str) -> tuple[Moment, Moment]:
    from steybrae.forecast.choose import parse_span

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
        read=parsed.ground_length("The treeline"),
        kept="forecast",
        beside=_BULLETIN,
    )
    forecast_slope_deg: float | None = option(
        "--forecast-slope",
        "Match ground from here on; 30deg if not given.",
        "DEG",
        read=parsed.slope("The forecast slope"),
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

    def read(self) -> tuple[BulletinSource, ForecastAsk] | None:
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
        "For people trained in it: a published method's angle for the level, as a reference row.",
        kept="forecast",
        beside=_BULLETIN,
    )
