"""``steybrae model`` from the command line to what is printed and drawn."""

from __future__ import annotations

import datetime as dt
import json
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from rasterio.enums import Resampling
from tests.made_models import Made, finer, read_made

import steybrae
from steybrae.answers.card import card_document
from steybrae.answers.route import route_document
from steybrae.card import CardSettings, make_card
from steybrae.cautions import UNIT_STEEP, Caution
from steybrae.files.model.rasters import open_model
from steybrae.files.routes import read_route
from steybrae.render.terminal import terminal_text
from steybrae.screening import Settings, screen_route

Run = Callable[..., tuple[int, str, str]]
VERDICT = re.compile(r"\b(safe|safely|up to|go|no-go|nogo)\b", re.IGNORECASE)
KINDS = {
    "interpolated",
    "terraced",
    "whole units",
    "striped",
    "seam",
    "flat fill",
    "spikes",
    "unit doubtful",
    "voids",
}


@pytest.fixture(scope="module")
def made_finer(sample_dem: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    model = read_made(sample_dem / "stey_massif.tif")
    part = Made(model.heights[200:420, 300:560], model.transform, model.crs)
    return finer(part, 3, Resampling.bilinear).write(tmp_path_factory.mktemp("model") / "finer.tif")


def test_a_unit_in_doubt_stands_before_every_figure(run: Run, sample_dem: Path, tmp_path: Path) -> None:
    """It stood last among the cautions: "steepest 82.6 degrees" came first, and every figure was wrong."""
    whole = read_made(sample_dem / "stey_massif.tif")
    part = Made(whole.heights[300:500, 300:500] / 0.3048, whole.transform, whole.crs)
    model = part.write(tmp_path / "feet.tif")
    out = " ".join(run("model", str(model))[1].split())
    lead = "It is steeper over 60 m than almost any land is: its heights may be in feet"
    assert out.index(lead) < out.index("state --z-unit") < out.index("Where it shows")


def test_a_route_and_its_card_say_so_first(sample_dem: Path) -> None:
    with open_model([sample_dem / "stey_massif.tif"]) as opened:
        found = screen_route(read_route(sample_dem / "day.gpx"), opened, Settings(reach_m=20.0))
    doubt = Caution("unit_doubtful", UNIT_STEEP)
    card = make_card(found, CardSettings(dt.date(2027, 1, 15)))
    for text in (
        terminal_text(route_document(replace(found, cautions=(*found.cautions, doubt))), 100),
        terminal_text(card_document(replace(card, cautions=(*card.cautions, doubt))), 100),
    ):
        assert text.index("The heights look like another unit") < text.index("58.2°")


def test_the_answer_leads_with_what_it_means(run: Run, sample_dem: Path) -> None:
    status, out, err = run("model", str(sample_dem / "stey_massif.tif"))
    text = " ".join(out.split())
    assert (status, err) == (0, "")
    lines = out.splitlines()
    assert lines[0] == "Elevation model stey_massif.tif"
    assert lines[1].startswith("Where it shows 30.0° over 20 m, middling ground is 2")
    for part in (
        "it tells 25 to 30° from 35 to 40°, not from the band between.",
        "12.3 % of the ground that it knows is 30° and steeper; steepest at least 65.3°.",
        "--model-kind glo-30, aw3d-30, srtm-30, radar-30m: it shows detail of 9.99 m",
        "smooth (its smoothest tenth)",
        "OSGB36 / British National Grid",
        "9.99 x 9.99 m on the ground; 900 x 700 of them",
        "94 m to 1172 m",
        "metres (the file says so)",
        "Looked at all of it",
        "Read the local avalanche forecast",
    ):
        assert part in text, part
    assert not VERDICT.search(text)


def test_where_nothing_is_found_that_is_said_once(run: Run) -> None:
    """The heading "What was found in how its heights were made" stood over "Nothing was found in how ..."."""
    _, out, _ = run("model", "--sample")
    assert out.count("How its heights were made\n") == 1
    assert "What was found" not in out


def test_what_is_found_is_told_with_what_it_does(run: Run, made_finer: Path) -> None:
    status, out, err = run("model", str(made_finer), "--model-kind", "lidar")
    text = " ".join(out.split())
    assert (status, err) == (0, "")
    assert re.search(
        r"interpolated 100\.0 % Cells of 3\.33 m were made finer by interpolation, drawn between points far "
        r"apart, or smoothed: it looks smoother",
        text,
    )
    assert "than cells of about 9.9" in text
    assert "The model was made finer by interpolation, drawn between points far apart, or smoothed" in text


def test_a_model_too_small_to_be_examined_says_so(run: Run, sample_dem: Path, tmp_path: Path) -> None:
    model = read_made(sample_dem / "stey_massif.tif")
    for side in (131, 132):
        part = Made(model.heights[200:400, 300 : 300 + side], model.transform, model.crs)
        path = part.write(tmp_path / f"{side}.tif")
        status, out, err = run("model", str(path))
        assert (status, err) == (0, "")
        said = "A side of it has fewer than 132 cells" in " ".join(out.split())
        assert said == (side < 132)


def test_json_has_the_keys_that_stand(run: Run, made_finer: Path) -> None:
    status, out, err = run("model", str(made_finer), "--json")
    assert (status, err) == (0, "")
    found = json.loads(out)
    assert found["cell_m"] == pytest.approx(10.0 / 3.0, abs=0.01)
    assert all(set(one) == {"kind", "share", "words"} for one in found["findings"])
    assert {one["kind"] for one in found["findings"]} <= KINDS
    assert "interpolated" in {one["kind"] for one in found["findings"]}
    assert [set(one) for one in found["interval_examples"]] == [{"ground", "down_deg", "up_deg"}] * 3
    assert [one["ground"] for one in found["interval_examples"]] == ["smooth", "middling", "rough"]


def test_coarse_cells_have_no_upper_end_and_say_so(run: Run, sample_dem: Path, tmp_path: Path) -> None:
    model = read_made(sample_dem / "stey_massif.tif")
    means = model.heights[:700].reshape(140, 5, 180, 5).mean((1, 3))
    path = Made(means, model.transform @ type(model.transform).scale(5.0), model.crs).write(
        tmp_path / "coarse.tif"
    )
    _, out, _ = run("model", str(path), "--json")
    assert [one["up_deg"] for one in json.loads(out)["interval_examples"]] == [None] * 3
    _, out, _ = run("model", str(path))
    text = " ".join(out.split())
    assert "never where not: read every slope as at least that" in text
    assert re.search(
        r"At least \d+\.\d % of the ground that it knows is 30° and steeper; steepest at least \d", text
    )


def test_the_doubted_kind_is_told_first_and_the_wider_holds(run: Run, sample_dem: Path) -> None:
    sample = str(sample_dem / "stey_massif.tif")
    _, out, _ = run("model", sample, "--model-kind", "radar-30m")
    assert "It was stated to be radar-30m, and it shows detail of 9.99 m" in " ".join(out.split())
    assert "speaks against the kind that was stated" in " ".join(out.split())

    def widest(*more: str) -> float:
        _, text, _ = run("model", sample, "--json", *more)
        return float(json.loads(text)["interval_examples"][2]["up_deg"])

    assert widest("--model-kind", "radar-30m") > widest() > widest("--model-kind", "lidar")


@pytest.mark.parametrize("ending", ["png", "pdf"])
def test_the_figure_is_written_with_its_cautions(
    run: Run, made_finer: Path, tmp_path: Path, ending: str
) -> None:
    picture = tmp_path / f"model.{ending}"
    status, _, err = run("model", str(made_finer), "--figure", str(picture))
    assert (status, err) == (0, "")
    data = picture.read_bytes()
    assert data[:4] in (b"\x89PNG", b"%PDF")
    status, _, err = run("model", str(made_finer), "--figure", str(picture))
    assert status == 2
    assert "exists" in err
    assert picture.read_bytes() == data


def test_a_model_is_needed(run: Run) -> None:
    status, out, err = run("model")
    assert (status, out) == (2, "")
    assert err == (
        "steybrae: An elevation model is needed; none was given. Give --dem FILE, or --sample to try it.\n"
    )


def test_other_commands_widen_by_what_is_found_and_say_it(run: Run, made_finer: Path) -> None:
    place = "59.2450 -8.1200"
    _, out, err = run("ground", place, "--dem", str(made_finer), "--reach", "100m", "--json")
    assert err == ""
    found = json.loads(out)
    assert "cells_interpolated" in {one["key"] for one in found["cautions"]}
    assert "where its detail ends" in found["basis"]


def test_the_slopes_of_all_cells_have_the_caution_that_a_place_has(made_finer: Path) -> None:
    found = steybrae.slopes(str(made_finer))
    assert "cells_interpolated" in {caution.key for caution in found.cautions}
