"""Questions of a practice sheet: what each kind asks for, and the stretches that suit it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Final

import numpy as np

from steybrae.bands import BandScheme
from steybrae.paper.measurement import RULER_ERROR_MM
from steybrae.quantities import gradient_to_angle
from steybrae.teach.answers import (
    MOST_BANDS,
    AspectAnswer,
    Blank,
    Kind,
    Measured,
    Question,
    blanks,
    fair_range_deg,
    measured,
)
from steybrae.teach.map_ground import MapGround, MapLook
from steybrae.teach.slope_scale import LEAST_GAP_MM
from steybrae.teach.stretches import Profile, Stretch, mean_along, stretch_from
from steybrae.terrain.attributes import aspect_sector
from steybrae.value import bearing_figure, between, lower, slope

SHARE_OF_TOLERANCE: Final = 0.7
"""The model's slope may use so much of what is accepted to either side (our choice)."""

CHOICE: Final = 12
"""Stretches that suit, among which one is taken whose band was asked for least (our choice)."""

HIDDEN_COUNTS: Final = 2
"""A range that does not tell lines from gaps weighs as much as a band that came so often before (our choice:
on 1:25 000 every 10 m a sixth of the answers, and still a quarter of them from 35 degrees on)."""

STEEP_DEG: Final = 30.0
"""From this slope on a ruler errs more: more gaps are measured, degrees (our choice)."""

_THICK_LINES: Final = "From one thick line to the next: what is the slope?"

BENT_GAPS: Final = 8
"""Gaps of a stretch that bends (our choice): four below and four above."""

BEND: Final = 1.6
"""A slope bends where the mean gap of one half is so many times that of the other (our choice)."""

ASPECT_TOLERANCE_DEG: Final = 5.0
"""Error of an aspect measured with a compass on paper, degrees, besides the turn of the ground
along the stretch (our choice). It is asked for only where all of that lies in one sector."""


def find_question(
    kind: Kind,
    ground: MapGround,
    look: MapLook,
    lines: Sequence[Profile],
    *,
    steepest_deg: float,
    told: bool,
    free: Callable[[Stretch], bool],
    asked: Mapping[str, int],
) -> Question | None:
    """Question of any kind but ``leg`` and ``reading`` on a stretch among the lines, in order, that suits it.

    It is no steeper than `steepest_deg`, and `free`: clear of what is already on the map. `told` is
    whether the question says what to look out for. `asked` is how often each band was the answer so
    far, by its label: of some stretches that suit, the one is taken whose band comes least often,
    so that a sheet is not one band throughout, and whose range tells lines from gaps. None where no
    line suits.
    """
    suits, make = _KINDS[kind]
    found: list[tuple[tuple[int, bool], Question]] = []
    for stretch in _candidates(kind, ground, look, lines):
        if not suits(stretch, look) or not free(stretch):
            continue
        question = make(stretch, ground, look, told=told)
        if all(_fair(part, steepest_deg, any_band=kind == "single") for part in question.parts):
            hidden = any(part.hides_slip for part in question.parts)
            rank = asked.get(band_asked(question), 0) + HIDDEN_COUNTS * hidden, hidden
            found.append((rank, question))
            if rank == (0, False) or len(found) == CHOICE:
                break
    return min(found, key=lambda one: one[0])[1] if found else None


def band_asked(question: Question) -> str:
    """Label of the band that is a question's answer: of its steepest part."""
    parts = [part.slope_gap_deg for part in question.parts]
    if question.leg is not None and question.leg.steepest is not None:
        parts.append(question.leg.steepest.slope_gap_deg)
    return BandScheme().band(max(parts)).label if parts else ""


def _candidates(kind: Kind, ground: MapGround, look: MapLook, lines: Sequence[Profile]) -> Iterator[Stretch]:
    """Stretches of the length that a kind needs, one for each line, nearest its middle."""
    asked = {"single": 1, "convex": BENT_GAPS, "concave": BENT_GAPS}.get(kind)
    for line in lines:
        gaps = asked or _gaps(kind, line, look)
        for first in _starts(kind, line, gaps, look):
            stretch = stretch_from(ground, line, first, gaps)
            if stretch is not None:
                yield stretch
                break


def _gaps(kind: Kind, line: Profile, look: MapLook) -> int:
    """Gaps to measure over: more where it is steep, where the ruler's error counts for more."""
    steep = gradient_to_angle(float(line.size[len(line.size) // 2])) >= STEEP_DEG
    if kind == "even":
        return 10 if steep else 4
    return look.index_every * (2 if steep else 1)


def _starts(kind: Kind, line: Profile, gaps: int, look: MapLook) -> list[int]:
    """Crossings where a stretch of a kind may begin, by what can be told without the ground."""
    foot_mm, top_mm = line.crossings_mm[:-gaps], line.crossings_mm[gaps:]
    may = np.ones(len(foot_mm), dtype=bool)
    if kind in ("index", "thinned", "lines"):
        may = line.numbers[:-gaps] % look.index_every == 0
    elif kind in ("convex", "concave"):
        middle_mm = line.crossings_mm[gaps // 2 :][: len(foot_mm)]
        lower, upper = middle_mm - foot_mm, top_mm - middle_mm
        may = upper >= BEND * lower if kind == "convex" else lower >= BEND * upper
    starts = np.flatnonzero(may)
    off_mm = np.abs(foot_mm + top_mm)[starts]
    return [int(first) for first in starts[off_mm.argsort(kind="stable")]]


def _fair(part: Measured, steepest_deg: float, *, any_band: bool) -> bool:
    """Whether the ground's own slope lies well inside what is accepted, and that is three bands at most."""
    if len(part.bands) > MOST_BANDS and not any_band:
        return False
    down = part.slope_gap_deg - SHARE_OF_TOLERANCE * (part.slope_gap_deg - part.low_deg)
    up = part.slope_gap_deg + SHARE_OF_TOLERANCE * (part.high_deg - part.slope_gap_deg)
    known = part.slope_model_deg is not None and down <= part.slope_model_deg <= up
    return known and part.slope_gap_deg <= steepest_deg


def _readable(stretch: Stretch) -> bool:
    return float(stretch.gaps_mm.min()) >= LEAST_GAP_MM


def _is_even(stretch: Stretch, look: MapLook) -> bool:
    return _readable(stretch) and stretch.unevenness() < 0.15 and stretch.length_mm >= 1.5


def _is_single(stretch: Stretch, look: MapLook) -> bool:
    return 0.5 <= stretch.length_mm <= 1.5


def _tells_lines(stretch: Stretch, look: MapLook) -> bool:
    """Whether it is even, and a ruler tells what is right from what is wrong in a question on lines."""
    return _is_even(stretch, look) and not _whole(stretch, look).hides_slip


def _halves_mm(stretch: Stretch) -> tuple[float, float]:
    """Lengths of the lower and of the upper half of the gaps, mm."""
    middle = stretch.crossings_mm[stretch.gaps // 2]
    return middle, stretch.length_mm - middle


def _is_convex(stretch: Stretch, look: MapLook) -> bool:
    lower, upper = _halves_mm(stretch)
    return _readable(stretch) and upper >= BEND * lower and lower >= 1.2


def _is_concave(stretch: Stretch, look: MapLook) -> bool:
    lower, upper = _halves_mm(stretch)
    return _readable(stretch) and lower >= BEND * upper and upper >= 1.2


def _is_thinned(stretch: Stretch, look: MapLook) -> bool:
    steep = gradient_to_angle(stretch.gaps * look.interval_m / look.metres(stretch.length_mm)) >= 28.0
    return steep and stretch.unevenness() < 0.25 and stretch.length_mm >= 1.0 and stretch.gaps >= 4


def _has_aspect(stretch: Stretch, look: MapLook) -> bool:
    from_edge = 22.5 - abs((stretch.aspect_true_deg + 22.5) % 45.0 - 22.5)
    return _readable(stretch) and from_edge >= _aspect_tolerance_deg(stretch)


def _aspect_tolerance_deg(stretch: Stretch) -> float:
    return ASPECT_TOLERANCE_DEG + stretch.aspect_spread_deg


def _whole(stretch: Stretch, look: MapLook) -> Measured:
    return measured("whole", stretch.length_mm, stretch.gaps, stretch.slope_model_deg, look)


def _even(stretch: Stretch, ground: MapGround, look: MapLook, *, told: bool) -> Question:
    hint, part = " Count gaps, not lines." if told else "", _whole(stretch, look)
    return Question(
        "even",
        f"An even slope. Measure from the first to the last contour of the stretch and find its slope.{hint}",
        blanks(part, "length mm", "gaps", "slope °", "band"),
        (part,),
        stretch,
    )


def _index(stretch: Stretch, ground: MapGround, look: MapLook, *, told: bool) -> Question:
    hint, part = f" One index gap is {look.index_every} gaps." if told else "", _whole(stretch, look)
    return Question(
        "index",
        _THICK_LINES + hint,
        blanks(part, "length mm", "height", "slope °", "band"),
        (part,),
        stretch,
    )


def _single(stretch: Stretch, ground: MapGround, look: MapLook, *, told: bool) -> Question:
    part = _whole(stretch, look)
    return Question(
        "single",
        "One gap only. Find the slope, then say between which slopes it lies if your ruler is "
        f"{RULER_ERROR_MM} mm out.",
        (
            *blanks(part, "length mm", "slope °"),
            Blank("from °", f"{lower(part.low_deg).text} by the drawn length"),
            Blank("to °", f"{slope(part.high_deg).text} by the drawn length"),
        ),
        (part,),
        stretch,
        remarks=(f"One gap leaves {between(part.low_deg, part.high_deg)} open: measure over more.",),
    )


def _bent(stretch: Stretch, ground: MapGround, look: MapLook, *, told: bool) -> Question:
    middle_mm, half = stretch.crossings_mm[stretch.gaps // 2], stretch.gaps // 2
    model = [
        _model_slope_deg(stretch, ground, *ends)
        for ends in ((0.0, middle_mm), (middle_mm, stretch.length_mm))
    ]
    below = measured("lower half", middle_mm, half, model[0], look)
    above = measured("upper half", stretch.length_mm - middle_mm, stretch.gaps - half, model[1], look)
    length_mm = below.across_mm + above.across_mm
    whole = measured("whole", length_mm, stretch.gaps, stretch.slope_model_deg, look)
    convex = below.slope_gap_deg > above.slope_gap_deg
    kind: Kind = "convex" if convex else "concave"
    hint = " Where do the lines crowd?" if told else ""
    steeper = max(below.slope_gap_deg, above.slope_gap_deg)
    remark = (
        f"{kind.capitalize()}: "
        f"{'steeper below, its foot is hidden from above' if convex else 'steeper above'}. "
        f"The average of the whole, {slope(whole.slope_gap_deg).text}, hides that half of it is "
        f"{slope(steeper).text}."
    )
    return Question(
        kind,
        f"{stretch.gaps} gaps. Is the slope convex or concave? Find the slope of the lower {half} "
        f"gaps, of the upper {stretch.gaps - half}, and of the whole; the tick stands between.{hint}",
        (
            Blank("shape", kind),
            *(
                Blank(f"{part.what.split()[0]} °", between(part.low_deg, part.high_deg))
                for part in (below, above, whole)
            ),
        ),
        (below, above, whole),
        stretch,
        remarks=(remark,),
    )


def _model_slope_deg(stretch: Stretch, ground: MapGround, start_mm: float, end_mm: float) -> float:
    along = np.linspace(start_mm, end_mm, 25)
    at = ground.at(stretch.x_mm + stretch.east * along, stretch.y_mm + stretch.north * along)
    return gradient_to_angle(mean_along(np.hypot(at.p, at.q)))


def _thinned(stretch: Stretch, ground: MapGround, look: MapLook, *, told: bool) -> Question:
    part = _whole(stretch, look)
    left_out = [stretch.first_number + k for k in range(2, stretch.gaps, 2) if k % look.index_every]
    counted = stretch.gaps - len(left_out)
    fooled = gradient_to_angle(counted * look.interval_m / look.metres(stretch.length_mm))
    hint = " Some thin lines were left out here, as on many maps where it is steep." if told else ""
    return Question(
        "thinned",
        _THICK_LINES + hint,
        blanks(part, "length mm", "height", "slope °", "band"),
        (part,),
        stretch,
        remarks=(
            f"Only {counted} of {stretch.gaps} gaps are drawn: thin lines were left out. Counting them "
            f"gives {slope(fooled).text}. Thick lines always stay: count those.",
        ),
        dropped=tuple(left_out),
    )


def _lines(stretch: Stretch, ground: MapGround, look: MapLook, *, told: bool) -> Question:
    part, count = _whole(stretch, look), stretch.gaps + 1
    theirs = fair_range_deg(part.across_mm, count * look.interval_m, look.scale)
    gaps, right, band = blanks(part, "gaps", "slope °", "band")
    hint = " How many gaps are there?" if told else ""
    return Question(
        "lines",
        f"Somebody counted {count} lines here and reckoned with {count} gaps. Which slope did they "
        f"get, and which is right?{hint}",
        (Blank("theirs °", between(*theirs)), gaps, Blank("right °", right.accept), band),
        (part,),
        stretch,
        remarks=(f"{count} lines make {part.gaps} gaps.",),
    )


def _aspect(stretch: Stretch, ground: MapGround, look: MapLook, *, told: bool) -> Question:
    hint = " Look downhill, at right angles to the contours." if told else ""
    sector = aspect_sector(stretch.aspect_true_deg) or ""
    answer = AspectAnswer(stretch.aspect_true_deg, _aspect_tolerance_deg(stretch), sector)
    off, part = slope(answer.tolerance_deg, step=1.0).text, _whole(stretch, look)
    return Question(
        "aspect",
        f"Which way does the slope face: sector and true bearing? How steep is it?{hint}",
        (
            Blank("sector", sector),
            Blank("bearing ° true", f"{bearing_figure(answer.aspect_true_deg)} ± {off}"),
            *blanks(part, "gaps", "slope °", "band"),
        ),
        (part,),
        stretch,
        aspect=answer,
        remarks=("Facing is downhill. The map's upright grid lines run to true north.",),
    )


_KINDS: Final = {
    "even": (_is_even, _even),
    "index": (_is_even, _index),
    "single": (_is_single, _single),
    "convex": (_is_convex, _bent),
    "concave": (_is_concave, _bent),
    "thinned": (_is_thinned, _thinned),
    "lines": (_tells_lines, _lines),
    "aspect": (_has_aspect, _aspect),
}
