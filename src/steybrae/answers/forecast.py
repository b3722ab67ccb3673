"""A forecast beside a line or a place, as blocks of a document.

The forecasters' own text stays letter by letter; only control characters, which a terminal
would obey, are replaced, and the standard's two tags left out. Metres round up, as everywhere.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from steybrae.cautions import Caution
from steybrae.document import Block, Column, Heading, Listing, Paragraph, Table, plain
from steybrae.errors import DateError
from steybrae.forecast.beside import (
    NO_FORECAST_WORDS,
    ForecastBeside,
    LegForecast,
    NamedAtPlace,
    NamedOnLeg,
    ReductionRow,
)
from steybrae.forecast.bulletin import (
    AvalancheProblem,
    Bulletin,
    DangerRating,
    moment_text,
    out_of_time_text,
    parse_moment,
    standard_words,
    where_words,
)
from steybrae.forecast.choose import of_another_time
from steybrae.forecast.named import Crossed
from steybrae.value import AT_LEAST, distance_off, steep_length

_NO_PART: Final = "No danger rating and no problem in this bulletin."

MOST_OVERHEAD: Final = 4
"""Legs below named ground that are told, the nearest first (our choice); all of them with --all."""

_BREAK: Final = re.compile(r"\s*<br\s*/?>\s*", re.IGNORECASE)
_TAG: Final = re.compile("</?b>", re.IGNORECASE)

REDUCTION_WORDS: Final = (
    "Measured here are only the line and its corridor, less ground than the method looks at. A figure of 0 "
    "says nothing about the rest of the slope, and none of this is a judgement of the line."
)
"""What goes with the method's angles."""


def finding_lines(forecast: ForecastBeside | None, cautions: Iterable[Caution] = ()) -> tuple[str, ...]:
    """Give what has to be seen first, of legs too; says where there is none, or one was left out."""
    if forecast is None:
        left_out = (one.text for one in cautions if one.key == "bulletin_left_out")
        return (next(left_out, NO_FORECAST_WORDS),)
    of_legs = () if of_another_time(forecast.findings) else leg_finding_lines(forecast)
    return (*(plain(finding.text) for finding in forecast.findings), *of_legs)


def head_line(bulletin: Bulletin, asked: str | None = None, *, valid: bool = True) -> str:
    """Who issued it, when, how long it holds, where that is not said beside it, and for which regions."""
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
    holds = f"; valid {span_text(bulletin)}" if valid else ""
    return plain(
        f"{source}; published {_time(bulletin.publication_time)}{unscheduled}{holds}; "
        f"next {_time(bulletin.next_update)}; {shown or 'no region stated'}{others}{language}"
    )


def span_text(bulletin: Bulletin) -> str:
    """Say from when to when a bulletin holds, with dates: no level stands without it."""
    ends = (bulletin.valid_from, bulletin.valid_to)
    if ends == (None, None):
        return "at times not stated"
    return " to ".join("a time not stated" if end is None else _time(end) for end in ends)


def _time(text: str | None) -> str:
    """Say a time of a bulletin; as written where it is none, as a plan that was changed may have it."""
    if text is None:
        return "not stated"
    try:
        return moment_text(parse_moment(text, "A time"))
    except DateError:
        return text


def written(text: str) -> str:
    """Text of the forecasters without the tags ``<b>`` and ``<br/>``, all that CAAML v6 has for it."""
    return plain(_TAG.sub("", _BREAK.sub(" ", text)))


def part_line(part: DangerRating | AvalancheProblem) -> str:
    """Say a rating or a problem in the standard's words and numbers."""
    if isinstance(part, DangerRating):
        return f"{standard_words(part.main_value)}: {where_words(part)}"
    facts = [
        f"size {part.avalanche_size:g}" if part.avalanche_size is not None else "",
        f"stability {standard_words(part.snowpack_stability)}" if part.snowpack_stability else "",
        f"frequency {part.frequency}" if part.frequency else "",
        f"danger {standard_words(part.danger_rating_value)}" if part.danger_rating_value else "",
    ]
    more = ", ".join(fact for fact in facts if fact)
    return f"{standard_words(part.problem_type)}: {where_words(part)}{f' ({more})' if more else ''}"


def ratings_told(bulletin: Bulletin) -> list[DangerRating]:
    """Ratings in the bulletin's order, but where none is given that comes before the ratings of others."""
    return sorted(bulletin.danger_ratings, key=lambda rating: rating.main_value != "no_rating")


def rating_lines(forecast: ForecastBeside) -> Iterator[str]:
    """Say the levels for a first screen, after when they hold; none of another day, read as today's."""
    for bulletin in () if of_another_time(forecast.findings) else forecast.bulletins:
        if bulletin.danger_ratings:
            yield f"Valid {span_text(bulletin)}."
        yield from (f"Danger rating {part_line(rating)}." for rating in ratings_told(bulletin))


def part_lines(bulletin: Bulletin) -> tuple[str, ...]:
    """Say all ratings, then all problems with their comments."""
    lines = [f"Danger rating {part_line(rating)}" for rating in ratings_told(bulletin)]
    for problem in bulletin.avalanche_problems:
        lines.append(f"Problem {part_line(problem)}")
        if problem.comment:
            lines.append(f"    {written(problem.comment)}")
    return tuple(lines) or (_NO_PART,)


def part_texts(bulletin: Bulletin) -> Iterator[str]:
    """Say the same in a paragraph for ratings and one for problems, whose comments `named_blocks` has."""
    ratings = "; ".join(map(part_line, ratings_told(bulletin)))
    problems = "; ".join(map(part_line, bulletin.avalanche_problems))
    if not (ratings or problems):
        yield _NO_PART
        return
    yield f"Danger rating {ratings}." if ratings else "No danger rating in this bulletin."
    if problems:
        yield f"Problem {problems}."


def text_lines(bulletin: Bulletin) -> Iterator[str]:
    """Yield the forecasters' other texts, as written."""
    if bulletin.highlights:
        yield written(bulletin.highlights)
    for key, texts in bulletin.texts.items():
        name = key.replace("_", " ")
        for text in (texts.highlights, texts.comment):
            if text:
                yield f"{name}: {written(text)}"
    for tendency in bulletin.tendency:
        told = (_time(text) if key.startswith("valid_") else written(text) for key, text in tendency.items())
        yield f"tendency: {'; '.join(told)}"


def forecast_lines(forecast: ForecastBeside) -> list[str]:
    """Say everything about a forecast beside a line, one paragraph a line, for paper."""
    lines = list(finding_lines(forecast))
    for bulletin in forecast.bulletins:
        lines += [head_line(bulletin, forecast.region_asked), *part_lines(bulletin), *text_lines(bulletin)]
    several = forecast.bulletins if len(forecast.bulletins) > 1 else ()
    named = [leg for leg in forecast.legs if leg.named]
    lines += [f"Leg {leg.number}: {'; '.join(leg_lines(leg, several))}." for leg in named]
    reductions = [(leg.number, leg.reduction) for leg in forecast.legs if leg.reduction is not None]
    if reductions:
        lines += [reductions[0][1].source, REDUCTION_WORDS]
        lines += [f"Leg {number}: {_reduction_line(row)}" for number, row in reductions]
    return [
        piece
        for line in (*lines, *forecast.words, *map(plain, forecast.notes))
        for piece in line.splitlines()
    ]


def _reduction_line(row: ReductionRow) -> str:
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


def leg_lines(leg: LegForecast, bulletins: Sequence[Bulletin] = ()) -> tuple[str, ...]:
    """Say for one leg what has to be seen first and which ratings and problems name its ground.

    Those of each of the bulletins that are given stand after when it holds.
    """
    lines = [plain(finding.text) for finding in leg.findings]
    rows = [row for row in leg.named if row.may_touch or _rated(row)]
    for number in dict.fromkeys(row.bulletin for row in rows):
        lines += [f"Valid {span_text(bulletin)}" for bulletin in bulletins[number : number + 1]]
        lines += [_row_line(row) for row in rows if row.bulletin == number]
    return tuple(lines) or ("no rating or problem names ground of this leg",)


def _rated(row: NamedOnLeg) -> bool:
    return row.kind == "danger_rating" and row.meets_heights


def _row_line(row: NamedOnLeg) -> str:
    value = standard_words(row.value)
    if not row.may_touch:
        return f"{value}, {row.where}: no ground that steep found in it"
    grounds = (("on the line", row.line), ("in the corridor", row.corridor), ("overhead", row.overhead))
    metres = [
        f"{_metres(ground)} {name}{_nearest(ground)}"
        for name, ground in grounds
        if ground.length_m or ground.at_least
    ]
    return f"{value}, {row.where}: {', '.join(metres)}"


def _metres(ground: Crossed) -> str:
    if not ground.length_m:
        return "perhaps unknown ground"
    return steep_length(ground.length_m, at_least=ground.at_least).text


def _nearest(ground: Crossed) -> str:
    return f" (nearest {distance_off(ground.nearest_m).text} off)" if ground.nearest_m else ""


def named_text(forecast: ForecastBeside, number: int, k: int) -> str:
    """Say which legs a part of a bulletin names: on the line, else beside it, else overhead, nearest first.

    Last come those where unknown ground overhead may be among it.
    `k` is its number among the bulletin's ratings and then its problems; without its stop.
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
    told_of = {*on, *beside, *(leg for _, leg in above)}
    unknown = [leg for leg, row in rows if row.overhead.at_least and leg not in told_of]
    told = (
        ("on the line", on, _ranges(on)),
        ("in the corridor", beside, _ranges(beside)),
        ("overhead alone, nearest first,", above, ", ".join([*shown, *more])),
        ("perhaps unknown ground overhead", unknown, _ranges(unknown)),
    )
    words = (f"{at} of leg{'s' if len(legs) > 1 else ''} {text}" for at, legs, text in told if legs)
    return "; ".join(words) or "no ground that was found"


def named_blocks(forecast: ForecastBeside | None) -> Iterator[Block]:
    """Yield which ground of the legs each rating and problem names, and what forecasters say of a problem.

    Parts that name the same are told together. Nothing of an expired forecast, as `finding_blocks`.
    """
    if forecast is None or of_another_time(forecast.findings):
        return
    for number, bulletin in enumerate(forecast.bulletins):
        by_words: dict[str, list[str]] = {}
        rows = forecast.legs[0].named if forecast.legs else ()
        for k, row in enumerate(row for row in rows if row.bulletin == number):
            words = named_text(forecast, number, k)
            by_words.setdefault(words, []).append(f"{standard_words(row.value)}, {row.where}")
        if by_words:
            yield Paragraph(f"Ground that the forecast valid {span_text(bulletin)} names")
            yield Listing(tuple(f"{' / '.join(parts)}: {words}." for words, parts in by_words.items()))
        yield Listing(
            tuple(
                f"{standard_words(problem.problem_type)}: {written(problem.comment)}"
                for problem in bulletin.avalanche_problems
                if problem.comment
            )
        )
    if any(leg.reduction for leg in forecast.legs):
        words = "Angles of the elementary reduction method, a reference: in the report, and with --all."
        yield Paragraph(words)


def _gives_rating(bulletin: Bulletin) -> bool:
    return any(rating.main_value != "no_rating" for rating in bulletin.danger_ratings)


def leg_finding_lines(forecast: ForecastBeside) -> tuple[str, ...]:
    """Say what has to be seen first on legs: each once, so that it leaves room for the levels."""
    found: dict[str, list[tuple[LegForecast, str]]] = {}
    for leg in forecast.legs:
        for finding in leg.findings:
            found.setdefault(finding.key, []).append((leg, finding.text))
    return tuple(plain(line) for told in found.values() for line in _told_once(told))


def _told_once(told: Sequence[tuple[LegForecast, str]]) -> Iterator[str]:
    """Yield a finding of legs once; where the words differ, by their hours, once for legs in a row."""
    if len({text for _, text in told}) == 1:
        yield _of_legs([leg.number for leg, _ in told], told[0][1])
        return
    run: list[LegForecast] = []
    for k, (leg, text) in enumerate(told, start=1):
        run.append(leg)
        if k < len(told) and told[k][0].number == leg.number + 1:
            continue
        first, last = run[0].start, run[-1].end
        if len(run) > 1 and first is not None and last is not None:
            hours = parse_moment(first, "A time"), parse_moment(last, "A time")
            yield _of_legs([one.number for one in run], out_of_time_text("these legs are", *hours))
        else:
            yield _of_legs([one.number for one in run], text)
        run = []


def _of_legs(numbers: Sequence[int], text: str) -> str:
    if len(numbers) == 1:
        return f"Leg {numbers[0]}: {text}"
    return f"Legs {_ranges(numbers)}: {text.replace('this leg', 'these legs')}"


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
    return (standard_words(row.level), angle, row.look_at, *metres)


AT_ONCE: Final = 6
"""Columns of named ground that an ordinary terminal has room for (our choice)."""

_REDUCTION_HEADS: Final = (
    "Highest level\nthat names it",
    "The method's\nangle",
    "looks at",
    "m reaching it\non the line",
    "in the\ncorridor",
)


def finding_blocks(
    forecast: ForecastBeside | None, cautions: Iterable[Caution] = (), *, alone: bool = False
) -> Iterator[Block]:
    """Yield what has to be seen before anything else, levels and problems among it; of another day's a line.

    Where it stands alone it has its source too, and what ground it names comes after the places
    (`named_blocks`), which a reader looks for. Else all of it follows (`forecast_blocks`).
    """
    for line in finding_lines(forecast, cautions):
        yield Paragraph(line, strong=True)
    if forecast is not None:
        hidden = of_another_time(forecast.findings)
        told = () if hidden else sorted(forecast.bulletins, key=_gives_rating)
        for bulletin in told:
            first, *more = part_texts(bulletin)
            below = "" if alone else "; in full below"
            yield Paragraph(f"Avalanche forecast, valid {span_text(bulletin)}{below}. {first}")
            yield from map(Paragraph, more)
            if alone:
                yield Paragraph(f"From {head_line(bulletin, forecast.region_asked, valid=False)}.")


def forecast_blocks(forecast: ForecastBeside | None) -> Iterator[Block]:
    """Yield what the forecasters wrote, and which ground of each leg it names.

    Nothing without a forecast, which `finding_blocks` has said.
    """
    if forecast is None:
        return
    yield Heading(f"Avalanche forecast ({forecast.file})")
    for bulletin in forecast.bulletins:
        lines = (
            f"{head_line(bulletin, forecast.region_asked)}.",
            *part_lines(bulletin),
            *text_lines(bulletin),
        )
        yield from map(Paragraph, lines)
    yield from (Paragraph(f"Note: {note}") for note in forecast.notes)
    if forecast.bulletins:
        yield from _legs(forecast)
        yield from map(Paragraph, _place(forecast))
        yield from _reduction(forecast.legs)
        yield from map(Paragraph, ("", *forecast.words))


def _legs(forecast: ForecastBeside) -> Iterator[Block]:
    legs = forecast.legs
    if not legs or not legs[0].named:
        return
    named = range(len(legs[0].named))
    for start in named[::AT_ONCE]:
        columns = (_named(forecast, k) for k in named[start : start + AT_ONCE])
        yield Table(
            (Column("number", "Leg", lambda leg: str(leg.number)), *columns),
            legs,
            "Metres of each leg with named ground: on the line | in the corridor | overhead, how many off "
            f"(+: {AT_LEAST})",
        )


def _named(forecast: ForecastBeside, k: int) -> Column:
    return Column(
        f"named_{k}", part_head(forecast, forecast.legs[0].named[k]), lambda leg: _cell(leg.named[k])
    )


def part_head(forecast: ForecastBeside, row: NamedOnLeg | NamedAtPlace) -> str:
    """Say a rating or a problem as the head of a column."""
    return f"{standard_words(row.value)}\n{row.where}{_of_several(forecast, row)}".replace(", ", "\n")


def _of_several(forecast: ForecastBeside, row: NamedOnLeg | NamedAtPlace) -> str:
    """Say when the bulletin of a rating or a problem holds, where there are others."""
    several = len(forecast.bulletins) > 1
    return f", valid {span_text(forecast.bulletins[row.bulletin])}" if several else ""


def _cell(row: NamedOnLeg) -> str:
    if not row.may_touch:
        return "its heights" if _rated(row) else "-"
    off = f", {distance_off(row.overhead.nearest_m).figure} off" if row.overhead.nearest_m else ""
    return " | ".join(crossed_text(ground) for ground in (row.line, row.corridor, row.overhead)) + off


def _place(forecast: ForecastBeside) -> Iterator[str]:
    rows = forecast.place
    if rows:
        yield "Which of it names ground at this place:"
    for row in rows:
        within = "names ground within the circle" if row.within else "names no ground within the circle"
        if row.within_unknown:
            within += " (some of it unknown)"
        overhead = "names ground of start zones overhead" if row.overhead else "names none overhead"
        if row.overhead_unknown:
            overhead += " (some unknown)"
        facing = f", facing {' '.join(row.sectors)}" if row.within and row.sectors else ""
        part = f"{standard_words(row.value)}, {row.where}{_of_several(forecast, row)}"
        yield f"{part}: {within}{facing}, {overhead}"


def _reduction(legs: Sequence[LegForecast]) -> Iterator[Block]:
    rows = [leg for leg in legs if leg.reduction is not None]
    if not rows or rows[0].reduction is None:
        return
    yield Heading("For reference, a published method's angles")
    yield Paragraph(rows[0].reduction.source)
    yield Paragraph(REDUCTION_WORDS)
    yield Table(
        (
            Column("number", "Leg", lambda leg: str(leg.number)),
            *(_reduced(heading, k) for k, heading in enumerate(_REDUCTION_HEADS)),
        ),
        rows,
    )


def _reduced(heading: str, k: int) -> Column:
    return Column(f"reduction_{k}", heading, lambda leg: reduction_cells(leg.reduction)[k], align="left")
