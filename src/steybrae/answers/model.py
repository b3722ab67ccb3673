"""An elevation model examined: what it is, what was found, and what that means for this work."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from steybrae.bands import STEEP_DEG
from steybrae.document import (
    Block,
    Cautions,
    Cell,
    Column,
    Document,
    Heading,
    Listing,
    Paragraph,
    Table,
)
from steybrae.quantities import FOOT_M, US_SURVEY_FOOT_M
from steybrae.screening.model.result import IntervalExample, ModelExamined
from steybrae.terrain.examine.finer import LEAST_SIDE
from steybrae.value import AT_LEAST, UNKNOWN, height, kilometres, lower, percent, slope

TELLS_BANDS_DEG: Final = 10.0
"""Width of the interval up to which a model tells bands of five degrees but for their neighbours (our
choice)."""

TELLS_STEEP_DEG: Final = 20.0
"""Width up to which it tells steep ground from gentle (our choice)."""

NOTHING: Final = (
    "Nothing was found in how its heights were made. That proves nothing: what a survey missed is not there."
)


TOO_SMALL: Final = (
    f"A side of it has fewer than {LEAST_SIDE} cells: that the cells along it were made finer than they were "
    "surveyed, or smoothed, may stay unseen. The intervals below would take them as they are; examine a "
    "larger piece."
)


def model_document(found: ModelExamined) -> Document:
    """Tell what a model is, what was found in it, and what can be expected of its slopes."""
    title = f"Elevation model {', '.join(found.files)}"
    blocks: list[Block] = [Heading(title, 1), *map(Paragraph, model_lines(found))]
    blocks += [Heading("How its heights were made")]
    if found.findings:
        blocks.append(Table(_FINDINGS, found.findings))
    else:
        blocks.append(Paragraph(NOTHING))
    if min(found.extent.rows, found.extent.cols) < LEAST_SIDE:
        blocks.append(Paragraph(TOO_SMALL))
    if found.kinds_doubted:
        blocks += [
            Paragraph(""),
            Paragraph("Rather not believed:"),
            Listing(tuple(_doubted(found))),
        ]
    where = f"{slope(found.example_slope_deg).text} over {found.baseline_m:.0f} m"
    examples = Table(_EXAMPLES, found.interval_examples, f"Where it shows {where}, the ground is")
    blocks += [Heading("How well its slopes are known"), examples, Paragraph(found.uncertainty)]
    blocks += [Heading("The model"), Table(_FACTS, tuple(_facts(found))), Cautions(found.cautions)]
    return Document(title, tuple(blocks))


def model_lines(found: ModelExamined) -> Iterator[str]:
    """Yield what it means for this work, the sentences that lead."""
    yield from (one.words for one in found.findings if one.kind == "unit doubtful")
    yield _meaning(found)
    possible = lower(found.possible_from_deg).text
    yield f"Middling ground that it shows as {possible} may be {STEEP_DEG:g}°: a possible start zone."
    if found.steep_share is None:
        yield "How much of it is steep is unknown."
    else:
        share, open_above = steep_share_text(found), _middling(found).up_deg is None
        part = open_above or found.unknown_share > 0.0 or found.looked_share < 1.0
        most = slope(found.slope_max_deg, at_least=part).text
        share = f"{share[0].upper()}{share[1:]}"
        yield f"{share} of the ground that it knows is {STEEP_DEG:g}° and steeper; steepest {most}."
    stated = next((one for one in found.kinds_doubted if one.kind == found.model_kind), None)
    if stated is not None:
        yield (
            f"It was stated to be {stated.kind}, and {stated.words}: unless --vertical-error is stated, the "
            "wider interval holds."
        )


def _meaning(found: ModelExamined) -> str:
    """Say what a leader can and cannot ask of it, by the interval on middling ground."""
    middling = _middling(found)
    at = f"{slope(found.example_slope_deg).text} over {found.baseline_m:.0f} m"
    if middling.down_deg is None:
        return "How well its slopes are known could not be told: too little of its ground was met."
    shown = f"Where it shows {at}, middling ground is {interval_text(found, middling)}"
    if middling.up_deg is None:
        return f"{shown}. It shows where it is steep, never where not: read every slope as {AT_LEAST} that."
    width = middling.down_deg + middling.up_deg
    if width <= TELLS_BANDS_DEG:
        return (
            f"{shown}: it tells 25 to 30° from 35 to 40°, not from the band between. Short rolls and gullies "
            "are not in it."
        )
    if width <= TELLS_STEEP_DEG:
        return (
            f"{shown}: it tells steep ground from gentle, not one band from the next. Plan by the upper end."
        )
    return (
        f"{shown}: it shows where to look, not how steep it is. Nearly any slope may be a start zone; get a "
        "finer model, and measure on the hill."
    )


def steep_share_text(found: ModelExamined) -> str:
    """Share of the ground that is 30 degrees and steeper, at least that where no upper end is known."""
    share = None if found.steep_share is None else 100.0 * found.steep_share
    return percent(share, step=0.1, at_least=_middling(found).up_deg is None).text


def _middling(found: ModelExamined) -> IntervalExample:
    return next(one for one in found.interval_examples if one.ground == "middling")


def interval_text(found: ModelExamined, example: IntervalExample) -> str:
    """Write the ends of an example: ``24.1° to 38.2°``."""
    if example.down_deg is None:
        return UNKNOWN
    low = lower(found.example_slope_deg - example.down_deg).text
    if example.up_deg is None:
        return f"{low} or steeper by an amount not known"
    return f"{low} to {slope(found.example_slope_deg + example.up_deg).text}"


def _doubted(found: ModelExamined) -> Iterator[str]:
    """Kinds by why they are doubted."""
    for why in dict.fromkeys(one.words for one in found.kinds_doubted):
        kinds = ", ".join(one.kind for one in found.kinds_doubted if one.words == why)
        yield f"--model-kind {kinds}: {why}"


def _ends(example: IntervalExample) -> tuple[Cell, Cell]:
    down = None if example.down_deg is None else STEEP_DEG - example.down_deg
    up = None if example.up_deg is None else STEEP_DEG + example.up_deg
    return lower(down), slope(up)


_GROUND: Final = {
    "smooth": "smooth (its smoothest tenth)",
    "middling": "middling",
    "rough": "rough (its roughest tenth)",
}

_EXAMPLES: Final = (
    Column("ground", "on ground that is", lambda one: _GROUND[one.ground], align="left"),
    Column("down_deg", "from", lambda one: _ends(one)[0]),
    Column("up_deg", "to (95 %)", lambda one: _ends(one)[1]),
)


_FINDINGS: Final = (
    Column("kind", "found", lambda one: one.kind, align="left"),
    Column("share", "share", lambda one: percent(100.0 * one.share, step=0.1)),
    Column("words", "what it is, and does", lambda one: one.words, align="left", width=84),
)


_FACTS: Final = (
    Column("what", "what", lambda fact: fact[0], align="left"),
    Column("figure", "as it is read", lambda fact: fact[1], align="left", width=90),
)


def _facts(found: ModelExamined) -> Iterator[tuple[str, Cell]]:
    size, extent = found.cell_size_m, found.extent
    yield "CRS", found.crs
    yield "Cells", f"{size[0]:.2f} x {size[1]:.2f} m on the ground; {extent.cols} x {extent.rows} of them"
    across, up = kilometres(extent.width_m).text, kilometres(extent.height_m).text
    yield (
        "Extent",
        f"{across} x {up}; latitude {extent.lat_min_deg:.4f} to {extent.lat_max_deg:.4f}, longitude "
        f"{extent.lon_min_deg:.4f} to {extent.lon_max_deg:.4f} (WGS 84)",
    )
    yield "Heights", f"{height(found.elevation_min_m).text} to {height(found.elevation_max_m).text}"
    yield "Height unit", f"{_unit(found.height_unit_m)} ({_UNIT_FROM[found.height_unit_from]})"
    yield "Without a height", percent(100.0 * found.unknown_share, step=0.1)
    yield "Looked at", _looked(found)


def _looked(found: ModelExamined) -> str:
    if found.looked_share >= 1.0:
        return "all of it"
    # Rounded down, for what was not looked at is not known.
    return f"{lower(100.0 * found.looked_share).figure} % of it, in blocks spread over the whole"


_UNIT_FROM: Final = {
    "--z-unit": "as stated",
    "CRS": "its CRS says so",
    "band": "the file says so",
    "assumed": "assumed: the file does not say",
    "stated": "as stated",
}


def _unit(metres: float) -> str:
    return {1.0: "metres", FOOT_M: "feet", US_SURVEY_FOOT_M: "US survey feet"}.get(metres, f"{metres:g} m")
