"""What a key accepts, against what is measured on the drawn map's own paths."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from tests.sheets.reader import LOOKS, read_back, read_seed

from steybrae.files.model.rasters import RasterModel, open_model
from steybrae.sheets.practice import key_pdf, practice_pdf
from steybrae.teach.practice import practice_sheet


@pytest.fixture(scope="module")
def massif() -> Iterator[RasterModel]:
    with open_model([Path(__file__).parents[2] / "sample_dem" / "stey_massif.tif"]) as model:
        yield model


@pytest.mark.parametrize("seed", [0, 4])
def test_what_is_measured_on_the_drawn_paths_is_accepted(
    massif: RasterModel, tmp_path: Path, seed: int
) -> None:
    found = read_seed(massif, seed, tmp_path)
    assert len(found) >= 5
    for one in found:
        assert one.accepted, one
        assert len(one.bands) <= 3


def test_the_parts_of_a_bent_stretch_are_told_by_their_tick(massif: RasterModel, tmp_path: Path) -> None:
    sheet = practice_sheet(massif, LOOKS[0], seed=7)
    bent = [q for q in sheet.questions if q.kind in ("convex", "concave")]
    assert bent
    found = read_back(practice_pdf([sheet]), key_pdf([sheet]), LOOKS[0], tmp_path)
    for question in bent:
        read = {one.what: one for one in found if one.letter == question.letter}
        assert read.keys() == {"lower half", "upper half", "whole"}
        for part in question.parts:
            assert read[part.what].gaps == part.gaps
            assert read[part.what].length_mm == pytest.approx(part.across_mm, abs=0.02)


def test_a_map_read_with_another_interval_is_refused(massif: RasterModel, tmp_path: Path) -> None:
    sheet = practice_sheet(massif, LOOKS[0], seed=7)
    wrong = replace(LOOKS[0], interval_m=2.0 * LOOKS[0].interval_m)
    found = read_back(practice_pdf([sheet]), key_pdf([sheet]), wrong, tmp_path)
    assert found
    assert not any(one.accepted for one in found if one.bands)
