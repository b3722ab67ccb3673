"""Survey errors of models: stated, by kind, or the usual worst."""

from __future__ import annotations

import pytest

from steybrae.errors import ModelError
from steybrae.terrain.model_kinds import MODEL_KINDS, check_kind, survey_error


def test_nothing_stated_takes_the_usual_worst_for_the_cells() -> None:
    fine, coarse = survey_error(12.0), survey_error(12.1)
    assert (fine.sd_m, fine.correlation_m, fine.basis) == (1.5, 50.0, "usual")
    assert (coarse.sd_m, coarse.correlation_m, coarse.basis) == (8.0, 60.0, "usual")
    assert fine.words == (
        "the usual worst survey error for 12.0 m cells (1.5 m, 1 SD, correlation 50 m); "
        "--model-kind or --vertical-error would say more"
    )


def test_a_kind_says_its_own_error_whatever_the_cells() -> None:
    for cell_m in (1.0, 30.0):
        found = survey_error(cell_m, "lidar")
        assert (found.sd_m, found.correlation_m, found.basis) == (0.3, 20.0, "kind")
    assert found.words == "the survey error of a model of the kind lidar (0.3 m, 1 SD, correlation 20 m)"
    assert survey_error(30.0, "radar-30m").sd_m == survey_error(30.0, "srtm-30").sd_m == 8.0


def test_a_stated_error_leads_and_a_stated_length_takes_the_kinds_place() -> None:
    stated = survey_error(10.0, "lidar", 2.0)
    assert (stated.sd_m, stated.correlation_m, stated.basis) == (2.0, None, "stated")
    assert stated.words == "the stated vertical error of 2 m (1 SD, worst correlation length)"
    assert survey_error(10.0, "lidar", 2.0, 30.0).words.endswith("(1 SD, correlation 30 m)")
    assert survey_error(10.0, "lidar", None, 80.0).correlation_m == 80.0


@pytest.mark.parametrize("kind", MODEL_KINDS)
def test_every_kind_has_an_error(kind: str) -> None:
    found = survey_error(10.0, check_kind(kind))
    assert found.sd_m > 0.0
    assert found.correlation_m is not None


def test_an_unknown_kind_is_refused() -> None:
    with pytest.raises(ModelError) as refused:
        check_kind("laser")
    assert str(refused.value) == (
        "The kind of a model should be one of lidar, photogrammetry, contours, glo-30, aw3d-30, srtm-30, "
        "radar-30m; got 'laser'. Choose one."
    )
