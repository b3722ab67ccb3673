"""A reader of practice sheets who knows nothing but paper: the map's paths, its letters, and the printed key.

It measures every lettered stretch on the drawn contours, as a pupil would with an exact ruler, and
marks the answer with the key's own line. ``python -m tests.sheets.reader 200`` reads 200 sheets.
"""

from __future__ import annotations

import math
import re
import sys
import tempfile
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from tests.sheets.pdf_lines import Stroke, page_strokes, text_boxes, words

from steybrae.bands import BandScheme
from steybrae.files.model.rasters import open_model
from steybrae.quantities import shown_slope_deg
from steybrae.sheets.practice import CONTOUR_INK, MARK_INK, THICK_MM, key_pdf, practice_pdf
from steybrae.teach.map_ground import MapLook
from steybrae.teach.practice import LEVELS, practice_sheet

LOOKS = (MapLook(25_000.0, 10.0), MapLook(25_000.0, 5.0), MapLook(50_000.0, 20.0))
LETTER_MM = 7.0
"""A letter's middle is this near to the end of its stretch, mm."""

MEETS_MM = 0.03
"""A contour that ends of a stretch stand on may lie so far beyond them, mm."""


@dataclass(frozen=True)
class Read:
    """One slope as measured, and what the key says of it."""

    letter: str
    what: str
    gaps: int
    length_mm: float
    slope_deg: float
    low_deg: float
    high_deg: float
    bands: tuple[str, ...]
    lengths_mm: tuple[float, float]
    slopes_deg: tuple[float, float]
    """Lengths that the key takes and what their ends give; the measured one where none is asked for."""

    @property
    def accepted(self) -> bool:
        """Whether the key takes the measured slope, its band where asked for, no length of another."""
        band = BandScheme().band(shown_slope_deg(self.slope_deg)).label
        inside = all(self.low_deg <= deg <= self.high_deg for deg in (self.slope_deg, *self.slopes_deg))
        inside &= self.lengths_mm[0] <= self.length_mm <= self.lengths_mm[1]
        return inside and (not self.bands or band in self.bands)


def _crossings(
    line: tuple[tuple[float, float], tuple[float, float]], strokes: Sequence[Stroke]
) -> np.ndarray:
    """Where strokes cross a straight line, mm along it, a little beyond its ends included."""
    start, end = np.array(line)
    length = float(np.hypot(*(end - start)))
    along = (end - start) / length
    aside = np.array([-along[1], along[0]])
    found = []
    for stroke in strokes:
        points = np.array(stroke.points) - start
        u, v = points @ along, points @ aside
        cut = np.flatnonzero(np.sign(v[:-1]) != np.sign(v[1:]))
        at = u[cut] - v[cut] * (u[cut + 1] - u[cut]) / (v[cut + 1] - v[cut])
        found += [float(one) for one in at if -MEETS_MM <= one <= length + MEETS_MM]
    return np.array(sorted(found))


def _lettered(
    strokes: Sequence[Stroke], boxes: Sequence[tuple[str, tuple[float, float, float, float]]]
) -> dict[str, Stroke]:
    """Dashed lines of the page by the letter that stands nearest to an end."""
    dashed = [s for s in strokes if s.dashed and s.ink == MARK_INK and len(s.points) == 2]
    letters = [
        (text, ((x0 + x1) / 2, (y0 + y1) / 2))
        for text, (x0, y0, x1, y1) in boxes
        if re.fullmatch("[A-P]", text)
    ]
    out: dict[str, Stroke] = {}
    for line in dashed:
        near = min(letters, key=lambda one: min(math.dist(one[1], end) for end in line.points))
        assert min(math.dist(near[1], end) for end in line.points) < LETTER_MM
        assert near[0] not in out
        out[near[0]] = line
    return out


def _marks(key: str, letters: Sequence[str]) -> dict[str, str]:
    """Marking line of each letter in the text of a key."""
    text = key.split("ways follow. Seed ", 1)[1].split("Answers, seed", 1)[0]
    found = {}
    for letter in letters:
        line = re.search(rf"(?:^| ){letter} ([a-z].*?)(?= [A-P] [a-z]|$)", text)
        if line is not None:
            found[letter] = line[1]
    return found


_BAND = r"(?:<\d\d|\d\d-\d\d|\d\d\+)"
_PART = re.compile(
    r"(?:(lower|upper|whole)|slope|right) °: (?:at least )?(\d+\.\d)°(?: to (\d+\.\d)°)?"
    rf"(?:; band: ({_BAND}(?: or {_BAND})*))?"
)
_HALF = {"lower": "lower half", "upper": "upper half", "whole": "whole", None: "whole"}


def read_back(pdf: bytes, key: bytes, look: MapLook, folder: Path) -> list[Read]:
    """Measure every stretch of a sheet of one map, and take the key's line for it."""
    strokes = page_strokes(pdf)[0]
    lettered = _lettered(strokes, text_boxes(pdf, folder)[0])
    contours = [s for s in strokes if s.ink == CONTOUR_INK]
    thick = [s for s in contours if s.width_mm > 0.9 * THICK_MM]
    marks = _marks(words(key, folder), sorted(lettered))
    out: list[Read] = []
    for letter, line in sorted(lettered.items()):
        ends = line.points[0], line.points[1]
        at = _crossings(ends, contours)
        by_thick = _crossings(ends, thick)
        for found in _PART.finditer(marks[letter]):
            what = _HALF[found[1]]
            first, last = _part(what, ends, strokes)
            inside = at[(at >= first - MEETS_MM) & (at <= last + MEETS_MM)]
            gaps, length = len(inside) - 1, float(inside[-1] - inside[0])
            if what == "whole" and len(by_thick) > 1 and by_thick[-1] - by_thick[0] > length - MEETS_MM:
                # From thick line to thick line: thin ones may be left out.
                gaps = max(gaps, (len(by_thick) - 1) * look.index_every)
            taken = re.search(r"length mm: (\d+\.\d) to (\d+\.\d)", marks[letter])
            lengths = (float(taken[1]), float(taken[2])) if taken else (length, length)
            slope, *slopes = (
                math.degrees(math.atan(gaps * look.interval_m * 1000.0 / (one * look.scale)))
                for one in (length, *lengths)
            )
            high = float(found[3] or 90.0)
            bands = tuple(found[4].split(" or ")) if found[4] else ()
            out.append(
                Read(
                    letter,
                    what,
                    gaps,
                    length,
                    slope,
                    float(found[2]),
                    high,
                    bands,
                    lengths,
                    (slopes[0], slopes[1]),
                )
            )
    return out


def _part(
    what: str, ends: tuple[tuple[float, float], tuple[float, float]], strokes: Sequence[Stroke]
) -> tuple[float, float]:
    """Where a part of a stretch begins and ends: at its ticks, the lower end first."""
    start, end = np.array(ends)
    length = float(np.hypot(*(end - start)))
    if what == "whole":
        return 0.0, length
    along = (end - start) / length
    ticks = []
    for stroke in strokes:
        if stroke.ink == MARK_INK and len(stroke.points) == 2 and not stroke.dashed:
            points = np.array(stroke.points) - start
            u, v = points @ along, points @ np.array([-along[1], along[0]])
            if abs(u[0] - u[1]) < 1e-3 and abs(v[0] + v[1]) < 1e-3 and 0.1 < u[0] < length - 0.1:
                ticks.append(float(u[0]))
    (tick,) = ticks
    return (0.0, tick) if what == "lower half" else (tick, length)


def read_seed(model: object, seed: int, folder: Path) -> list[Read]:
    """Make a sheet and its key on a model, and read them back."""
    look = LOOKS[seed % len(LOOKS)]
    made = practice_sheet(model, look, seed=seed, level=list(LEVELS)[seed // 3 % len(LEVELS)])  # type: ignore[arg-type]
    return read_back(practice_pdf([made]), key_pdf([made]), look, folder)


def main(count: int) -> None:
    """Read sheets of the sample massif and say what came out."""
    refused: list[tuple[int, Read]] = []
    bands: Counter[int] = Counter()
    slopes = 0
    with (
        open_model([Path(__file__).parents[2] / "sample_dem" / "stey_massif.tif"]) as model,
        tempfile.TemporaryDirectory() as folder,
    ):
        for seed in range(count):
            for one in read_seed(model, seed, Path(folder)):
                slopes += 1
                bands[len(one.bands)] += 1
                if not one.accepted:
                    refused.append((seed, one))
    print(f"{count} sheets, {slopes} slopes measured on the drawn paths; refused by the key: {len(refused)}")
    print(f"neighbouring bands accepted (0: none asked): {dict(sorted(bands.items()))}")
    for seed, one in refused:
        print(seed, one)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
