"""A practice sheet: a map of real or invented ground, questions on it, and their answers.

The same model, settings and seed give the same sheet. Every answer comes from the ground as it
is drawn; a stretch whose slope by its gaps and by the model do not agree well within what is
accepted is never asked.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import cached_property, partial
from string import ascii_uppercase
from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.cautions import Caution, Situation, cautions_for
from steybrae.errors import ModelError, QuantityError, one_of
from steybrae.frozen import dataclass
from steybrae.papers import map_frame_mm
from steybrae.teach.answers import THINNED_ASIDE_MM, Kind, LegLine, Question
from steybrae.teach.leg_questions import find_leg
from steybrae.teach.map_furniture import Furniture, cut_lines, furniture
from steybrae.teach.map_ground import Contour, MapGround, MapLook, contours, map_ground
from steybrae.teach.questions import band_asked, find_question
from steybrae.teach.stretches import EDGE_MM, Profile, Stretch, profiles
from steybrae.terrain.dem import Array, DemSource

CLEAR_MM: Final = 7.0
"""Stretches, legs and their letters keep so far apart, mm (our choice)."""

LEADER_MM: Final = 3.0
"""A stretch's line runs on so far beyond its ends, mm (our choice)."""

LETTER_MM: Final = 5.2
"""A letter stands so far below the lower end of its stretch, or before its leg, mm (our choice)."""


class Placed:
    """What is already on a map: points along each stretch, leg and letter."""

    def __init__(self) -> None:
        self._points: list[Array] = []

    def take(self, question: Question) -> bool:
        """Put a question on the map; false where something is in its way."""
        thing = question.stretch or question.leg_line
        if thing is None or not self.free(footprint_mm(thing)):
            return False
        self._points.append(footprint_mm(thing))
        return True

    def free(self, points: Array, apart_mm: float = CLEAR_MM) -> bool:
        """Say whether points ``(n, 2)`` keep so far from everything on the map."""
        for other in self._points:
            away = np.hypot(*(points[:, None, :] - other[None, :, :]).transpose(2, 0, 1))
            if away.min() < apart_mm:
                return False
        return True


def footprint_mm(thing: Stretch | LegLine) -> Array:
    """Points, about 1 mm apart, along what a stretch or a leg takes up on the map, its letter included."""
    if isinstance(thing, Stretch):
        ends = [thing.at(-LETTER_MM), thing.at(thing.length_mm + LEADER_MM)]
    else:
        (x0, y0), (x1, y1) = thing.start_mm, thing.end_mm
        size = math.hypot(x1 - x0, y1 - y0)
        back = LETTER_MM / size
        ends = [(x0 - (x1 - x0) * back, y0 - (y1 - y0) * back), (x1, y1)]
    count = math.ceil(math.dist(*ends)) + 1
    return np.linspace(ends[0], ends[1], max(2, count))


MOST_QUESTIONS: Final = 16
"""Most questions on one map (our choice)."""


PLACES: Final = 320
"""Places tried on one window of the model (our choice)."""

WINDOWS: Final = 6
"""Windows of the model tried for one that has every kind of question (our choice)."""

LEAST_KNOWN_SHARE: Final = 0.9
"""A window is taken where so much of it is known (our choice)."""


@dataclass(frozen=True)
class Level:
    """What a class is asked: kinds of questions in order, repeated as often as needed, and no slope steeper.

    `told` is whether questions say what to look out for; `words` stand on the sheet.
    """

    words: str
    kinds: tuple[Kind, ...]
    steepest_deg: float
    told: bool


LEVELS: Final = {
    "first": Level(
        "first lesson", ("even", "even", "index", "aspect", "even", "index", "leg", "aspect"), 32.0, True
    ),
    "practice": Level(
        "practice",
        ("index", "even", "convex", "lines", "aspect", "thinned", "leg", "concave", "single"),
        50.0,
        True,
    ),
    "assessment": Level(
        "assessment",
        ("index", "thinned", "convex", "leg", "aspect", "concave", "even", "single", "index"),
        60.0,
        False,
    ),
}
"""Levels from first lesson to assessment (our choice)."""

_INSTEAD: Final[tuple[Kind, ...]] = ("even", "index", "aspect")


@dataclass(frozen=True, eq=False)
class PracticeSheet:
    """A map with questions and answers.

    Attributes
    ----------
    look, ground
        How the map is drawn, and what.
    questions
        Lettered.
    level, seed
        As asked for; `level` in words.
    source
        Where the ground comes from, in words.
    notes
        What could not be asked, and why.
    cautions
        Never empty.
    """

    look: MapLook
    ground: MapGround
    questions: tuple[Question, ...]
    level: str
    seed: int
    source: str
    notes: tuple[str, ...]
    cautions: tuple[Caution, ...]

    @cached_property
    def lines(self) -> tuple[Contour, ...]:
        """Contours, without the parts that were left out as a trap."""
        return tuple(
            _thinned(contour, self.look, self.questions) for contour in contours(self.ground, self.look)
        )

    @cached_property
    def furniture(self) -> Furniture:
        """Numbers, tops, grid and scale bar, clear of the questions."""
        placed = Placed()
        for question in self.questions:
            placed.take(question)

        def clear(x_mm: float, y_mm: float) -> bool:
            return placed.free(np.array([[x_mm, y_mm]]), apart_mm=CLEAR_MM - 1.0)

        return furniture(self.ground, self.look, self.lines, clear)


def practice_sheet(
    source: DemSource,
    look: MapLook,
    *,
    seed: int,
    questions: int = 8,
    level: str = "practice",
    source_words: str = "",
    sample: bool = False,
    frame_mm: tuple[float, float] = map_frame_mm("a4"),
    middle: tuple[float, float] | None = None,
    own: Callable[[MapGround], Sequence[Question]] | None = None,
) -> PracticeSheet:
    """Make a sheet of 1 to 16 questions on ground of its own choice; the same seed makes the same sheet.

    The middle of the map is ``col, row`` in the model, chosen by the seed if not given; `frame_mm`
    is the largest width and height. Questions that `own` makes on the ground come first. Fewer, and
    a note, where the ground does not give more. `QuantityError` for no such level, or a number out
    of range; `ModelError` where the model is too small, too coarse, unknown, or too level there to
    ask anything.
    """
    one_of(level, LEVELS, "The level")
    asked = LEVELS[level]
    if not 1 <= questions <= MOST_QUESTIONS:
        message = f"A sheet should have 1 to {MOST_QUESTIONS} questions; got {questions}. Make two sheets."
        raise QuantityError(message)
    rng = np.random.default_rng(seed)
    kinds = [asked.kinds[k % len(asked.kinds)] for k in range(questions)]
    tried: list[tuple[int, int, MapGround, list[Question]]] = []
    for ground in _windows(source, look, rng, frame_mm, middle):
        found, replaced = _ask(ground, look, kinds, asked, rng, own(ground) if own else ())
        tried.append((len(found), -replaced, ground, found))
        if tried[-1][:2] == (questions, 0):
            break
    count, replaced_less, ground, found = max(tried, key=lambda one: one[:2])
    if not found:
        message = (
            "A sheet needs known ground, steep and even enough to measure on paper; none was found here "
            f"with a contour every {look.interval_m:.4g} m at 1:{look.scale:.0f}. "
            "Choose another place, scale or interval."
        )
        raise ModelError(message)
    return PracticeSheet(
        look=look,
        ground=ground,
        questions=tuple(
            replace(question, letter=letter) for question, letter in zip(found, ascii_uppercase, strict=False)
        ),
        level=asked.words,
        seed=seed,
        source=source_words,
        notes=_notes(questions, count, -replaced_less),
        cautions=_cautions(look, ground, sample=sample),
    )


def _notes(asked: int, found: int, replaced: int) -> tuple[str, ...]:
    notes = []
    if found < asked:
        notes.append(f"This ground gave {found} of {asked} questions. Choose another place, scale or seed.")
    if replaced:
        notes.append(f"This ground had no place for {replaced} of the level's questions: others stand in.")
    return tuple(notes)


def _windows(
    source: DemSource,
    look: MapLook,
    rng: np.random.Generator,
    frame_mm: tuple[float, float],
    middle: tuple[float, float] | None,
) -> Iterator[MapGround]:
    """Yield the window asked for, or some at random, those that are mostly known."""
    if middle is not None:
        yield map_ground(source, look.scale, frame_mm, middle)
        return
    rows, cols = source.grid.shape
    for tried in range(WINDOWS):
        place = (float(rng.uniform(0.0, cols)), float(rng.uniform(0.0, rows)))
        ground = map_ground(source, look.scale, frame_mm, place)
        if ground.known_share >= LEAST_KNOWN_SHARE or tried == WINDOWS - 1:
            yield ground


def _ask(
    ground: MapGround,
    look: MapLook,
    kinds: Sequence[Kind],
    level: Level,
    rng: np.random.Generator,
    own: Sequence[Question],
) -> tuple[list[Question], int]:
    """Find a question of each kind, another kind where there is none; say how many were replaced."""
    placed = Placed()
    found = [question for question in own if placed.take(question)]
    lines = _places(ground, look, rng)
    replaced = 0
    for kind in kinds[len(found) :]:
        for number, instead in enumerate((kind, *_INSTEAD)):
            bands = Counter(map(band_asked, found))
            question = _find(instead, ground, look, lines, level, rng, placed, bands)
            if question is not None:
                placed.take(question)
                found.append(question)
                replaced += number > 0
                break
    return found, replaced


def _places(ground: MapGround, look: MapLook, rng: np.random.Generator) -> list[Profile]:
    x = rng.uniform(EDGE_MM, ground.width_mm - EDGE_MM, PLACES)
    y = rng.uniform(EDGE_MM, ground.height_mm - EDGE_MM, PLACES)
    return profiles(ground, look, (x, y))


def _find(
    kind: Kind,
    ground: MapGround,
    look: MapLook,
    lines: Sequence[Profile],
    level: Level,
    rng: np.random.Generator,
    placed: Placed,
    asked: Counter[str],
) -> Question | None:
    def free(thing: Stretch | LegLine) -> bool:
        return placed.free(footprint_mm(thing))

    if kind == "leg":
        return find_leg(ground, look, rng, steepest_deg=level.steepest_deg, told=level.told, free=free)
    order = [lines[k] for k in rng.permutation(len(lines))]
    return find_question(
        kind, ground, look, order, steepest_deg=level.steepest_deg, told=level.told, free=free, asked=asked
    )


def _thinned(contour: Contour, look: MapLook, questions: Sequence[Question]) -> Contour:
    number = round(contour.level_m / look.interval_m)
    for question in questions:
        if question.stretch is not None and number in question.dropped:
            hidden = partial(_beside, question.stretch)
            contour = replace(contour, lines=cut_lines(contour.lines, hidden))
    return contour


def _beside(stretch: Stretch, points: Array) -> NDArray[np.bool_]:
    """Whether points lie in the circle round a stretch where thin lines were left out."""
    x, y = stretch.at(stretch.length_mm / 2.0)
    return np.asarray(np.hypot(points[:, 0] - x, points[:, 1] - y) < THINNED_ASIDE_MM, dtype=np.bool_)


def _cautions(look: MapLook, ground: MapGround, *, sample: bool) -> tuple[Caution, ...]:
    return cautions_for(
        Situation(
            from_paper=True,
            from_model=True,
            lesson=True,
            cell_size_m=ground.cell_m,
            interval_m=look.interval_m,
            thinned_lines=True,
            sample=sample,
        )
    )
