"""A forecast bulletin, and what is asked of it, by keyword."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from steybrae.errors import BulletinError
from steybrae.library.given import How, as_path, length_m
from steybrae.quantities import number

if TYPE_CHECKING:
    from steybrae.forecast.bulletin import BulletinFile
    from steybrae.screening.forecast.at import ForecastAsk

__all__ = ["BulletinHow", "bulletin_and_how", "read_asked"]

Moment = dt.datetime


class BulletinHow(How, total=False):
    """How ground is looked at, and what is asked of the bulletin beside it.

    Attributes
    ----------
    region, language
        ID or name of your region in the bulletin; a language, where it has several.
    at_time
        When you are there, with its zone: a datetime or a text, or two of them (a text has / between).
    treeline_m
        Height of the treeline, where the bulletin names it.
    forecast_slope_deg
        Ground from here on is matched; 30 degrees where left out.
    """

    region: str
    language: str
    at_time: str | Moment | tuple[Moment, Moment]
    treeline_m: float
    forecast_slope_deg: float


_ASKED = tuple(key for key in BulletinHow.__annotations__ if key not in How.__annotations__)


def bulletin_and_how(
    bulletin: Any, how: Mapping[str, Any], *, reduction: bool = False
) -> tuple[tuple[BulletinFile, ForecastAsk] | None, dict[str, Any]]:
    """Part keywords into a bulletin with what is asked of it (None without one), and the rest.

    Raises
    ------
    SteybraeError
        Something asked of a bulletin that is missing, or a value or file that cannot be used.
    """
    from steybrae.forecast.bulletin import parse_span  # noqa: PLC0415

    rest = {key: value for key, value in how.items() if key not in _ASKED}
    asked = {key: how[key] for key in _ASKED if how.get(key) is not None}
    if bulletin is None:
        given = [*asked, *(["reduction_angles"] if reduction else [])]
        if given:
            verb = "belong" if len(given) > 1 else "belongs"
            message = f"{', '.join(given)} {verb} to a forecast, which is missing. Give its file as bulletin."
            raise BulletinError(message)
        return None, rest
    path = as_path(bulletin)
    if path is None:
        message = f"A bulletin should be a path; got {bulletin!r:.60}. Give the file's."
        raise BulletinError(message)
    slope_deg, treeline_m = asked.get("forecast_slope_deg"), asked.get("treeline_m")
    region, language = (str(asked[key]) if key in asked else None for key in ("region", "language"))
    found = read_asked(
        path,
        region=region,
        lang=language,
        span=parse_span(_text(asked["at_time"])) if "at_time" in asked else None,
        treeline_m=None if treeline_m is None else length_m(treeline_m, "The treeline", zero=False),
        slope_deg=None if slope_deg is None else number(slope_deg, "The slope for matching a forecast"),
        reduction=reduction,
    )
    return found, rest


def _text(at_time: Any) -> str:
    if isinstance(at_time, tuple | list):
        return "/".join(map(_text, at_time))
    return at_time.isoformat() if isinstance(at_time, dt.datetime) else str(at_time)


def read_asked(
    path: Path,
    *,
    region: str | None,
    lang: str | None,
    span: tuple[Moment, Moment] | None,
    treeline_m: float | None,
    slope_deg: float | None,
    reduction: bool,
) -> tuple[BulletinFile, ForecastAsk]:
    """Read a bulletin, for what is asked of it now.

    Raises
    ------
    BulletinError
        A file that breaks the standard.
    FileReadError
        A file that cannot be read.
    QuantityError
        A slope for which no ground is kept.
    """
    from steybrae.files.bulletins import read_bulletins  # noqa: PLC0415
    from steybrae.screening.forecast.at import LEAST_SLOPE_DEG, ForecastAsk  # noqa: PLC0415

    start, end = span or (None, None)
    ask = ForecastAsk(
        region=region,
        lang=lang,
        start=start,
        end=end,
        now=dt.datetime.now(dt.UTC),
        treeline_m=treeline_m,
        least_slope_deg=LEAST_SLOPE_DEG if slope_deg is None else slope_deg,
        reduction=reduction,
    )
    return read_bulletins(path), ask
