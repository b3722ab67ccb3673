"""What every output says of a forecast, in the same words.

The forecasters' own text stays letter by letter; only control characters, which a terminal
would obey, are replaced. Metres round up, as everywhere.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Final

from steybrae.document import plain
from steybrae.forecast.beside import NO_FORECAST_WORDS, ForecastBeside, LegForecast, NamedOnLeg, ReductionRow
from steybrae.forecast.bulletin import AvalancheProblem, Bulletin, DangerRating, where_words
from steybrae.forecast.levels import level_words
from steybrae.forecast.named import Crossed
from steybrae.value import distance_off, steep_length

MOST_OVERHEAD: Final = 4
"""Legs below named ground that are told, the nearest first (our choice); all of them with --all."""

REDUCTION_WORDS: Final = (
    "Measured here are only the line and its corridor, less ground than the method looks at. A figure of 0 "
    "says nothing about the rest of the slope, and none of this is a judgement of the line."
)
"""What goes with the method's angles."""


def finding_lines(forecast: ForecastBeside | None) -> tuple[str, ...]:
    """Give what has to be seen first; says so where there is no forecast."""
    if forecast is None:
        return (NO_FORECAST_WORDS,)
    return tuple(plain(finding.text) for finding in forecast.findings)


def head_line(bulletin: Bulletin, asked: str | None = None) -> str:
    """Who issued it, when, how long it holds and for which regions."""
    source = ", ".join(bulletin.source) or "source not stated"
    wanted = (asked or "").strip().casefold()
    regions = bulletin.regions
    named = [r for r in regions if wanted in (r.region_id.casefold(), (r.name or "").casefold())] or list(
        regions
    )
    shown = ", ".join(f"{region.region_id} {region.name or ''}".strip() for region in named[:3])
    more = len(regions) - min(len(named), 3)
    others = f" and {more} more region{'s' if more > 1 else ''}" if more else ""
    unscheduled = ", unscheduled" if bulletin.unscheduled else ""
    language = f"; language {bulletin.lang}" if bulletin.lang else ""
    return plain(
        f"{source}; published {bulletin.publication_time or 'not stated'}{unscheduled}; valid "
        f"{bulletin.valid_from or 'not stated'} to {bulletin.valid_to or 'not stated'}; next "
        f"{bulletin.next_update or 'not stated'}; {shown or 'no region stated'}{others}{language}"
    )


def part_line(part: DangerRating | AvalancheProblem) -> str:
    """Say a rating or a problem in the standard's words and numbers."""
    if isinstance(part, DangerRating):
        return f"{level_words(part.main_value)}: {where_words(part)}"
    facts = [
        f"size {part.avalanche_size:g}" if part.avalanche_size is not None else "",
        f"stability {part.snowpack_stability}" if part.snowpack_stability else "",
        f"frequency {part.frequency}" if part.frequency else "",
        f"danger {level_words(part.danger_rating_value)}" if part.danger_rating_value else "",
    ]
    more = ", ".join(fact for fact in facts if fact)
    return f"{part.problem_type}: {where_words(part)}{f' ({more})' if more else ''}"


def part_lines(bulletin: Bulletin, named: Callable[[int], Iterable[str]] | None = None) -> tuple[str, ...]:
    """Say all ratings, then all problems with their comments; under each what a function has for it."""
    beside = named or (lambda _: ())
    lines = []
    for k, rating in enumerate(bulletin.danger_ratings):
        lines += [f"Danger rating {part_line(rating)}", *beside(k)]
    for k, problem in enumerate(bulletin.avalanche_problems, len(bulletin.danger_ratings)):
        lines.append(f"Problem {part_line(problem)}")
        if problem.comment:
            lines.append(f"    {plain(problem.comment)}")
        lines += beside(k)
    return tuple(lines) or ("No danger rating and no problem in this bulletin.",)


def text_lines(bulletin: Bulletin) -> Iterator[str]:
    """Yield the forecasters' other texts, as written."""
    if bulletin.highlights:
        yield plain(bulletin.highlights)
    for key, texts in bulletin.texts.items():
        name = key.replace("_", " ")
        for text in (texts.highlights, texts.comment):
            if text:
                yield f"{name}: {plain(text)}"
    for tendency in bulletin.tendency:
        yield "tendency: " + "; ".join(plain(text) for text in tendency.values())


def forecast_lines(forecast: ForecastBeside) -> list[str]:
    """Say everything about a forecast beside a line, one paragraph a line, for paper."""
    lines = list(finding_lines(forecast))
    for bulletin in forecast.bulletins:
        lines += [head_line(bulletin, forecast.region_asked), *part_lines(bulletin), *text_lines(bulletin)]
    lines += [f"Leg {leg.number}: {'; '.join(leg_lines(leg))}." for leg in forecast.legs if leg.named]
    reductions = [(leg.number, leg.reduction) for leg in forecast.legs if leg.reduction is not None]
    if reductions:
        lines += [reductions[0][1].source, REDUCTION_WORDS]
        lines += [f"Leg {number}: {_reduction(row)}" for number, row in reductions]
    return [
        piece
        for line in (*lines, *forecast.words, *map(plain, forecast.notes))
        for piece in line.splitlines()
    ]


def _reduction(row: ReductionRow) -> str:
    level, angle, look_at, line, beside = reduction_cells(row)
    if row.method_deg is None:
        return f"{level}: {look_at}."
    return (
        f"{level}: the method has {angle}, {look_at}; {line} m reach it on the line, {beside} m in the "
        "corridor."
    )


def crossed_text(ground: Crossed) -> str:
    """Metres rounded up, ``+`` where unknown ground may add to them: ``71``, ``498+``, ``-``."""
    more = "+" if ground.at_least else ""
    if not ground.length_m:
        return "0+" if more else "-"
    return f"{steep_length(ground.length_m).figure}{more}"


def leg_lines(leg: LegForecast) -> tuple[str, ...]:
    """Say for one leg what has to be seen first and which ratings and problems name its ground."""
    lines = [plain(finding.text) for finding in leg.findings]
    lines += [_row_line(row) for row in leg.named if row.touches or _rated(row)]
    return tuple(lines) or ("no rating or problem names ground of this leg",)


def _rated(row: NamedOnLeg) -> bool:
    return row.kind == "danger_rating" and row.meets_heights


def _row_line(row: NamedOnLeg) -> str:
    value = level_words(row.value) if row.kind == "danger_rating" else row.value
    if not row.touches:
        return f"{value}, {row.where}: no ground that steep found in it"
    grounds = (("on the line", row.line), ("in the corridor", row.corridor), ("overhead", row.overhead))
    metres = [
        f"{steep_length(ground.length_m, at_least=ground.at_least).text} {name}{_nearest(ground)}"
        for name, ground in grounds
        if ground.length_m or ground.at_least
    ]
    return f"{value}, {row.where}: {', '.join(metres)}"


def _nearest(ground: Crossed) -> str:
    return f" from {distance_off(ground.nearest_m).text} off" if ground.nearest_m else ""


def named_lines(forecast: ForecastBeside, number: int, k: int) -> tuple[str, ...]:
    """Say which legs a part of a bulletin names: on the line, else beside it, else overhead, nearest first.

    Parameters
    ----------
    forecast
        Beside a line.
    number, k
        Of the bulletin, and of the part among its ratings and then its problems.

    Returns
    -------
    tuple of str
        None where it is matched with no leg.
    """
    rows = [(leg.number, [row for row in leg.named if row.bulletin == number][k]) for leg in forecast.legs]
    on = [leg for leg, row in rows if row.line.length_m or row.line.at_least]
    beside = [leg for leg, row in rows if leg not in on and (row.corridor.length_m or row.corridor.at_least)]
    above = sorted(
        (row.overhead.nearest_m, leg)
        for leg, row in rows
        if leg not in (*on, *beside) and row.overhead.nearest_m is not None
    )
    shown = [f"{leg} ({distance_off(off).text} off)" for off, leg in above[:MOST_OVERHEAD]]
    more = [f"{len(above) - MOST_OVERHEAD} more"] if len(above) > MOST_OVERHEAD else []
    told = (
        ("on the line", _ranges(on)),
        ("in the corridor", _ranges(beside)),
        ("overhead alone, nearest first,", ", ".join([*shown, *more])),
    )
    words = "; ".join(f"{where} of legs {legs}" for where, legs in told if legs)
    return (
        (f"    Names ground {words}.",) if words else ("    Names no ground that was found.",) if rows else ()
    )


def _ranges(numbers: Sequence[int]) -> str:
    """``2-5 7``."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return " ".join(f"{run[0]}-{run[-1]}" if len(run) > 1 else f"{run[0]}" for run in runs)


def reduction_cells(row: ReductionRow) -> tuple[str, ...]:
    """Say level, the method's angle, what it looks at, and metres that reach the angle."""
    angle = "none" if row.method_deg is None else f"{row.method_deg:g}°"
    more = "+" if row.at_least else ""
    metres = (
        "-" if length_m is None else f"{steep_length(length_m).figure}{more}"
        for length_m in (row.line_m, row.corridor_m)
    )
    return (level_words(row.level), angle, row.look_at, *metres)
