"""A forecast bulletin as its forecasters wrote it. Field names are the keys of the JSON contract.

Values are those of the open standard CAAML v6 for avalanche bulletins (its JSON schema of
2023-08-28 was read): its own words, its own numbers. Free text is kept letter by letter; whoever
shows it escapes it, and nobody reads a meaning out of it.

The danger scale: EAWS danger scale (text of 2018/19), five degrees. The reduction method: the elementary
one of W. Munter (1995-97), read in a mountain-rescue article and on a regional
service's page, not in his own text.
"""

from __future__ import annotations

from dataclasses import field
from typing import Annotated, Final, Literal

from steybrae.frozen import dataclass
from steybrae.ranges import NOT_JSON, Range, Words
from steybrae.terrain.attributes import SECTORS, Sector

DANGER_VALUES: Final = ("low", "moderate", "considerable", "high", "very_high", "no_snow", "no_rating")
"""Values of a danger rating in the standard."""

DangerValue = Annotated[str, Words(DANGER_VALUES)]

PROBLEM_TYPES: Final = (
    "new_snow",
    "wind_slab",
    "persistent_weak_layers",
    "wet_snow",
    "gliding_snow",
    "cornices",
    "no_distinct_avalanche_problem",
    "favourable_situation",
)
"""Types of an avalanche problem in the standard."""

STABILITIES: Final = ("good", "fair", "poor", "very_poor")
FREQUENCIES: Final = ("none", "few", "some", "many")
PERIODS: Final = ("all_day", "earlier", "later")
TREELINE: Final = "treeline"

Period = Literal["all_day", "earlier", "later"]


@dataclass(frozen=True)
class Texts:
    """A headline and a longer text, as written; None where there is none.

    Attributes
    ----------
    highlights
        Headline; None where there is none.
    comment
        Longer text; None where there is none.
    """

    highlights: str | None
    comment: str | None


@dataclass(frozen=True)
class Elevation:
    """Heights that a rating or a problem is limited to.

    Attributes
    ----------
    lower_bound
        Above it: metres in hundreds, as text, or ``treeline``; None where open.
    upper_bound
        Below it; as lower_bound. Both: the band between.
    """

    lower_bound: str | None
    upper_bound: str | None


@dataclass(frozen=True)
class DangerRating:
    """A danger rating, in the standard's words.

    Attributes
    ----------
    main_value
        The level.
    elevation
        Heights that it is limited to; None for all heights.
    aspects
        Aspects that it is limited to; empty for all aspects.
    valid_time_period
        ``all_day``, ``earlier`` or ``later``; the standard gives no clock time for the change.
    """

    main_value: DangerValue
    elevation: Elevation | None
    aspects: tuple[Sector, ...]
    valid_time_period: Period


@dataclass(frozen=True)
class AvalancheProblem:
    """An avalanche problem, in the standard's words; where it prevails especially, not the only places.

    Attributes
    ----------
    problem_type
        The type.
    elevation
        Heights where it prevails especially (its core zone); None for all heights.
    aspects
        Aspects where it does so; empty for all aspects.
    valid_time_period
        Part of the day; the standard gives no clock time for the change.
    comment
        As written; None where there is none.
    avalanche_size
        1 (small) to 5 (extremely large); None where not given.
    snowpack_stability, frequency
        As written; None where not given.
    danger_rating_value
        The level that belongs to it; None where not given.
    """

    problem_type: Annotated[str, Words(PROBLEM_TYPES)]
    elevation: Elevation | None
    aspects: tuple[Sector, ...]
    valid_time_period: Period
    comment: str | None
    avalanche_size: Annotated[float, Range(1, 5)] | None
    snowpack_stability: Annotated[str, Words(STABILITIES)] | None
    frequency: Annotated[str, Words(FREQUENCIES)] | None
    danger_rating_value: DangerValue | None


Part = DangerRating | AvalancheProblem


@dataclass(frozen=True)
class Region:
    """A region that a bulletin is for; the name is None where not given.

    Attributes
    ----------
    region_id
        Its ID.
    name
        Its name; None where not given.
    """

    region_id: str
    name: str | None


@dataclass(frozen=True)
class Bulletin:
    """A bulletin as its forecasters wrote it (CAAML v6).

    Attributes
    ----------
    bulletin_id
        As written.
    lang
        Language, as written.
    publication_time, valid_from, valid_to, next_update
        ISO 8601 with zone, as written; None where not given.
    unscheduled
        Whether it was issued out of turn; None where not said.
    source
        Names and addresses of who issued it.
    regions
        Where it is for.
    danger_ratings, avalanche_problems
        What it says, in its own order.
    highlights
        The forecasters' short text on an exceptional situation, as written.
    texts
        Other texts by their key in the file.
    tendency
        What comes after: type, validity and texts, as lines of ``key: value``.
    extras
        What the standard does not know, by its place in the file, as JSON text.
    """

    bulletin_id: str | None
    lang: str | None
    publication_time: str | None
    valid_from: str | None
    valid_to: str | None
    next_update: str | None
    unscheduled: bool | None
    source: tuple[str, ...]
    regions: tuple[Region, ...]
    danger_ratings: tuple[DangerRating, ...]
    avalanche_problems: tuple[AvalancheProblem, ...]
    highlights: str | None
    texts: dict[str, Texts]
    tendency: tuple[dict[str, str], ...]
    extras: dict[str, str] = field(default_factory=dict, metadata=NOT_JSON)


def elevation_words(elevation: Elevation | None) -> str:
    """Heights in words: ``above 600 m``, ``below treeline``, ``600 m to treeline``, ``all heights``."""
    if elevation is None or (elevation.lower_bound is None and elevation.upper_bound is None):
        return "all heights"
    low, high = (
        None if bound is None else bound if bound == TREELINE else f"{bound} m"
        for bound in (elevation.lower_bound, elevation.upper_bound)
    )
    if high is None:
        return f"above {low}"
    return f"below {high}" if low is None else f"{low} to {high}"


def where_words(part: Part) -> str:
    """Heights, aspects and part of the day in words: ``above 600 m, N NE E, earlier``."""
    named = [sector for sector in SECTORS if sector in part.aspects]
    aspects = " ".join(named) if named and len(named) < len(SECTORS) else "all aspects"
    when = "" if part.valid_time_period == "all_day" else f", {part.valid_time_period} in the day"
    return f"{elevation_words(part.elevation)}, {aspects}{when}"


LEVELS: Final = {"low": 1, "moderate": 2, "considerable": 3, "high": 4, "very_high": 5}
"""Number of each degree of the European danger scale; ``no_snow`` and ``no_rating`` have none."""

METHOD_SOURCE: Final = (
    "Elementary reduction method, W. Munter 1995-97, made for the Alps and their forecasts; a method for "
    "people trained in it, of which the angle is only one part."
)

_METHOD: Final = {
    "moderate": (40.0, "within about 20 m of the track"),
    "considerable": (35.0, "the whole slope"),
    "high": (30.0, "the whole basin"),
}


@dataclass(frozen=True)
class ReductionAngle:
    """What the method has for a degree of the scale, in the standard's word; None where it has no angle.

    `look_at` is which ground it looks at.
    """

    level: str
    method_deg: float | None
    look_at: str


def reduction_angle(level: str) -> ReductionAngle:
    """Give the method's angle for a degree of the scale.

    40 for moderate, 35 for considerable, 30 for high; none for the others.
    """
    method_deg, look_at = _METHOD.get(level, (None, "no angle in this method"))
    return ReductionAngle(level, method_deg, look_at)


def standard_words(value: str) -> str:
    """Say one of the standard's values, a level with its number: ``very high (5)``, ``wind slab``."""
    words = value.replace("_", " ")
    return f"{words} ({LEVELS[value]})" if value in LEVELS else words
