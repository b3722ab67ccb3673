"""A forecast bulletin as its forecasters wrote it. Field names are the keys of the JSON contract.

Values are those of the open standard CAAML v6 for avalanche bulletins (its JSON schema of
2023-08-28 was read): its own words, its own numbers. Free text is kept letter by letter; whoever
shows it escapes it, and nobody reads a meaning out of it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final, Literal

from steybrae.terrain.attributes import SECTORS

__all__ = [
    "DANGER_VALUES",
    "FREQUENCIES",
    "PERIODS",
    "PROBLEM_TYPES",
    "STABILITIES",
    "TREELINE",
    "AvalancheProblem",
    "Bulletin",
    "DangerRating",
    "Elevation",
    "Part",
    "Period",
    "Region",
    "Texts",
    "elevation_words",
    "where_words",
]

DANGER_VALUES: Final = ("low", "moderate", "considerable", "high", "very_high", "no_snow", "no_rating")
"""Values of a danger rating in the standard."""

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
    """A headline and a longer text, as written; None where there is none."""

    highlights: str | None
    comment: str | None


@dataclass(frozen=True)
class Elevation:
    """Heights that a rating or a problem is limited to.

    Attributes
    ----------
    lower_bound, upper_bound
        As written: metres above sea level in hundreds, or ``treeline``; None where open. Only a
        lower bound means above it, only an upper one below it, both the band between.
    """

    lower_bound: str | None
    upper_bound: str | None


@dataclass(frozen=True)
class DangerRating:
    """A danger rating.

    Attributes
    ----------
    main_value
        One of `DANGER_VALUES`.
    elevation
        None: all heights.
    aspects
        Of the eight sectors; empty: all of them.
    valid_time_period
        ``all_day``, ``earlier`` or ``later``; the standard gives no clock time for the change.
    """

    main_value: str
    elevation: Elevation | None
    aspects: tuple[str, ...]
    valid_time_period: Period


@dataclass(frozen=True)
class AvalancheProblem:
    """An avalanche problem.

    Attributes
    ----------
    problem_type
        One of `PROBLEM_TYPES`.
    elevation, aspects, valid_time_period
        As for a rating: where and when the problem prevails especially (its core zone); it is
        not the only place.
    comment
        As written.
    avalanche_size
        1 (small) to 5 (extremely large).
    snowpack_stability, frequency, danger_rating_value
        As written; None where not given.
    """

    problem_type: str
    elevation: Elevation | None
    aspects: tuple[str, ...]
    valid_time_period: Period
    comment: str | None
    avalanche_size: float | None
    snowpack_stability: str | None
    frequency: str | None
    danger_rating_value: str | None


Part = DangerRating | AvalancheProblem


@dataclass(frozen=True)
class Region:
    """A region that a bulletin is for; the name is None where not given."""

    region_id: str
    name: str | None


@dataclass(frozen=True)
class Bulletin:
    """One bulletin.

    Attributes
    ----------
    bulletin_id, lang
        As written.
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
        The forecasters' own short text on an exceptional situation.
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
    extras: dict[str, str] = field(default_factory=dict, metadata={"json": False})


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
