"""Every caution applies where it should, and none gives a verdict."""

from __future__ import annotations

import re
from dataclasses import fields, replace
from typing import Any

import pytest

from steybrae.cautions import HeightsRead, Situation, cautions_for
from steybrae.terrain.examine.found import FINDING_KINDS, KIND_DOUBTED

ALWAYS = ("forecast", "angle_alone")
VERDICT = re.compile(r"\b(safe|safely|unsafe|go|no-go|nogo)\b", re.IGNORECASE)

EVERYTHING = Situation(
    **{field.name: True for field in fields(Situation) if field.type == "bool"},  # type: ignore[arg-type]
    cell_size_m=25.0,
    slope_high_deg=50.0,
    unknown_m=12.0,
    interval_m=10.0,
    unit_doubtful="The heights look like feet.",
    heights=HeightsRead(0.2, 0.1, "The numbers are scaled."),
    datum_accuracy_m=None,
    model_found=(*FINDING_KINDS, KIND_DOUBTED),
)


def keys(at: Situation) -> tuple[str, ...]:
    return tuple(caution.key for caution in cautions_for(at))


def test_two_always_apply() -> None:
    assert keys(Situation()) == ALWAYS


@pytest.mark.parametrize(
    ("changes", "key"),
    [
        ({"sample": True}, "sample"),
        ({"unknown_m": 0.1}, "unknown_on_line"),
        ({"unknown_near": True}, "unknown_near"),
        ({"area_unknown": True}, "unknown_area"),
        ({"area_unreadable": True}, "unreadable"),
        ({"open_above": True}, "open_above"),
        ({"from_model": True}, "model_smooths"),
        ({"cell_size_m": 20.1}, "coarse_cells"),
        ({"cell_size_m": 50.0}, "coarse_cells"),
        ({"cell_size_m": 50.1}, "very_coarse_cells"),
        ({"cell_size_m": 10.0, "drawn_cell_m": 25.0}, "drawn_coarser"),
        ({"unit_assumed": True}, "unit_assumed"),
        ({"datum_accuracy_m": None}, "datum"),
        ({"datum_accuracy_m": 31.0}, "datum"),
        ({"places_swapped": True}, "swapped"),
        ({"gap_unreadable": True}, "gap_unreadable"),
        ({"single_gap": True}, "single_gap"),
        ({"thinned_lines": True}, "thinned_lines"),
        ({"ruler_only": True}, "ruler_only"),
        ({"from_paper": True}, "map_smooths"),
        ({"from_reading": True}, "reading_local"),
        ({"overhead": True}, "overhead_not_runout"),
        ({"start_lowered_to_deg": 24.9}, "start_zones_wide"),
        ({"start_lowered_to_deg": 20.0}, "start_zones_wide"),
        ({"start_lowered_to_deg": 19.9}, "start_zones_blind"),
        ({"overhead_left_out": "Less was looked for."}, "overhead_left_out"),
        ({"runout": True}, "runout_published"),
        ({"magnetic": True}, "magnetic"),
        ({"grid_zones": True}, "grid_zones"),
        ({"lesson": True}, "lesson"),
        ({"unit_doubtful": "The heights look like feet."}, "unit_doubtful"),
        ({"model_found": ("interpolated",)}, "cells_interpolated"),
        ({"model_found": ("terraced",)}, "terraces"),
        ({"model_found": ("whole units",), "cell_size_m": 10.0}, "rounded_heights"),
        ({"model_found": ("striped",)}, "stripes"),
        ({"model_found": ("seam",)}, "seams"),
        ({"model_found": ("spikes",)}, "spikes"),
        ({"model_found": (KIND_DOUBTED,)}, "kind_doubted"),
        ({"model_found": ("unit doubtful",)}, "unit_doubtful"),
        ({"heights": HeightsRead(absurd_share=1e-9)}, "absurd_heights"),
        ({"heights": HeightsRead(same_share=1e-9)}, "same_heights"),
        ({"heights": HeightsRead(scaling="The numbers are scaled.")}, "scaled_heights"),
        ({"heights": HeightsRead(tiles_differ=True)}, "models_differ"),
    ],
)
def test_each_applies_to_its_situation_alone(changes: dict[str, Any], key: str) -> None:
    assert keys(replace(Situation(), **changes)) == (*ALWAYS, key)


@pytest.mark.parametrize(
    "changes",
    [
        {"cell_size_m": 20.0},
        {"start_lowered_to_deg": 25.0},
        {"datum_accuracy_m": 30.0},
        {"unknown_m": 0.0},
        {"slope_high_deg": 60.0},
        {"model_found": ("voids", "flat fill")},  # told by how much of them was met
    ],
)
def test_none_is_added_at_the_edge(changes: dict[str, Any]) -> None:
    assert keys(replace(Situation(), **changes)) == ALWAYS


def test_keys_are_unique_and_texts_whole_sentences() -> None:
    found = cautions_for(EVERYTHING)
    assert len({caution.key for caution in found}) == len(found) > 20
    for caution in found:
        assert caution.text[0].isupper(), caution.key
        assert caution.text.rstrip('"').endswith("."), caution.key
        assert "  " not in caution.text, caution.key


def test_no_caution_gives_a_verdict() -> None:
    for caution in cautions_for(EVERYTHING):
        assert not VERDICT.search(caution.text), caution.key


def test_a_short_line_claims_no_more_than_its_text() -> None:
    """Ground gentler than 25 degrees counts as a possible start zone; the short line left that out."""
    wide = cautions_for(replace(Situation(), start_lowered_to_deg=24.9))[-1]
    assert "a possible start zone" in wide.text
    assert "may be a start zone" in wide.line


def test_the_forecast_is_named_first() -> None:
    assert "local avalanche forecast" in cautions_for(EVERYTHING)[0].text
