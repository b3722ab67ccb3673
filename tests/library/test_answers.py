"""What every answer can do: a line, a page, a dict, a frame, GeoJSON, a figure; and what it leaves alone."""

from __future__ import annotations

import datetime as dt
import html as pages
import json
import logging
import os
import subprocess
import sys
import warnings
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np
import pytest
import rasterio
from affine import Affine
from matplotlib.figure import Figure
from tests.pages.drawn import as_worded

import steybrae
from steybrae.errors import MissingExtraError, ModelError
from steybrae.library.route import Plan

LINE = [(59.2240, -8.0574), (59.2270, -8.0590)]


@pytest.fixture(scope="module")
def answers(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """One of each kind."""
    sample, folder = steybrae.sample(), tmp_path_factory.mktemp("answers")
    plan = steybrae.screen(LINE, sample.model, reach_m=500)
    gap = steybrae.gap(across_mm=3.5, gaps=5, scale=25_000, interval_m=10)
    ground = steybrae.ground(LINE[0], sample.model, reach_m=500)
    return {
        "Plan": plan,
        "Card": steybrae.card(plan, "2027-01-15"),
        "Ground": ground,
        "Slopes": steybrae.slopes(sample.model),
        "Gap": gap,
        "Spacing": steybrae.spacing(scale=25_000, interval_m=10),
        "Comparison": steybrae.compare([34, 36], [gap, ground, {"by eye": (30, None, None)}]),
        "Review": steybrae.review(sample.log),
        "Area": steybrae.area(sample.model, folder / "area"),
    }


KINDS = ("Plan", "Card", "Ground", "Slopes", "Gap", "Spacing", "Comparison", "Review", "Area")


def test_area_makes_what_the_command_makes(answers: dict[str, Any]) -> None:
    """Without a word it left out the bands that the ground may reach."""
    made = {path.name for path in answers["Area"].folder.glob("*.tif")}
    assert made == {"slope.tif", "bands.tif", "bands_possible.tif"}


@pytest.mark.parametrize("kind", KINDS)
def test_an_answer_in_every_form(answers: dict[str, Any], kind: str) -> None:
    found = answers[kind]
    assert type(found) is getattr(steybrae, kind)
    assert isinstance(found, steybrae.Answer)
    line = repr(found)
    assert line.startswith(f"<{kind}: ")
    assert len(line.splitlines()) == 1
    assert len(line) < 400
    html, words, plain = as_worded(pages.unescape(found._repr_html_())), str(found), found.to_dict()
    for caution in found.cautions:
        assert caution.line in html or caution.text in html, caution.key
        assert caution.line in words or " ".join(caution.text.split()) in " ".join(
            words.replace("\n    ", " ").split()
        )
    assert "<html" not in html
    assert "--legs" not in words
    assert json.loads(json.dumps(plain, allow_nan=False))["schema"] == "steybrae/1"
    frame = found.to_frame()
    assert len(frame) > 0
    assert frame.attrs["cautions"] == [caution.text for caution in found.cautions]


@pytest.mark.parametrize("kind", ["Plan", "Ground", "Comparison", "Review", "Area"])
def test_a_figure_belongs_to_no_pyplot_and_can_be_changed(answers: dict[str, Any], kind: str) -> None:
    figure = answers[kind].figure()
    assert isinstance(figure, Figure)
    before = figure._repr_png_()
    assert before.startswith(b"\x89PNG")
    figure.text(0.5, 0.5, "changed", fontsize=40)
    assert figure._repr_png_() != before


def test_shapes_of_a_plan_a_card_and_a_place(answers: dict[str, Any]) -> None:
    plan, card, ground = (answers[kind].__geo_interface__ for kind in ("Plan", "Card", "Ground"))
    assert {one["geometry"]["type"] for one in plan["features"]} == {"Point"}
    assert plan["features"][0]["geometry"]["coordinates"] == [LINE[0][1], LINE[0][0]]
    assert card["features"][0]["geometry"]["type"] == "LineString"
    assert ground["geometry"]["coordinates"] == (LINE[0][1], LINE[0][0])
    # What one call gives, another takes.
    again = steybrae.screen(card["features"][0]["geometry"], steybrae.sample().model, reach_m=500)
    assert again.totals.length_m == pytest.approx(answers["Plan"].totals.length_m, abs=0.1)
    assert steybrae.ground(answers["Ground"], steybrae.sample().model, reach_m=500).slope_deg == (
        answers["Ground"].slope_deg
    )


def test_attributes_are_those_of_the_result(answers: dict[str, Any]) -> None:
    plan = answers["Plan"]
    assert plan.legs is plan.result.legs
    assert {"legs", "figure", "save"} <= set(dir(plan))
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        _ = plan.nothing
    assert not hasattr(plan, "_hidden")


def test_a_frame_without_pandas_is_refused(answers: dict[str, Any], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pandas", None)
    with pytest.raises(MissingExtraError, match="needs pandas; it is not installed"):
        answers["Spacing"].to_frame()


def test_slopes_are_those_that_ground_gives_of_a_place(answers: dict[str, Any]) -> None:
    slopes = answers["Slopes"]
    for place in ((59.2240, -8.0574), (59.2131, -8.0366), (59.2300, -8.0700)):
        there = steybrae.ground(place, steybrae.sample().model, reach_m=100)
        col, row = slopes.result.grid.from_wgs84(place[1], place[0])
        at = int(row), int(col)
        assert slopes.slope_deg[at] == pytest.approx(there.slope_deg, abs=1e-6)
        assert slopes.labels[slopes.band[at]] == there.band.label
        # Of the survey's share by the middle of the model.
        assert slopes.slope_high_deg[at] == pytest.approx(there.slope_high_deg, abs=0.01)


def test_bands_count_every_cell_once(answers: dict[str, Any]) -> None:
    slopes = answers["Slopes"]
    assert sum(slopes.cells) + slopes.unknown_cells == slopes.slope_deg.size
    assert slopes.unknown_cells == np.isnan(slopes.slope_deg).sum() == (slopes.band == -1).sum()
    shown = steybrae.shown_slope_deg(slopes.slope_deg)
    assert (slopes.band >= 2).sum() == (shown >= 30.0).sum()
    assert not slopes.slope_deg.flags.writeable


def test_a_plan_is_saved_whole_and_read_back(answers: dict[str, Any], tmp_path: Path) -> None:
    answers["Plan"].save(str(tmp_path / "plan.zip"))
    again = Plan.read(tmp_path / "plan.zip")
    assert again.to_dict() == answers["Plan"].to_dict()
    assert again.result.relief is not None
    assert again.result.forecast_grounds is not None
    assert steybrae.card(tmp_path / "plan.zip", "2027-01-15").to_dict() == answers["Card"].to_dict()
    with pytest.raises(steybrae.SteybraeError, match="exists"):
        again.save(tmp_path / "plan.zip")
    again.save(tmp_path / "plan.zip", force=True)
    for ending in ("pdf", "gpx", "csv", "geojson"):
        answers["Card"].save(tmp_path / f"card.{ending}")
    with pytest.raises(steybrae.SteybraeError, match=r"should be named \.pdf, \.gpx, \.csv, \.geojson"):
        answers["Card"].save(tmp_path / "card.txt")


def test_a_model_that_was_changed_draws_no_picture(tmp_path: Path) -> None:
    path = tmp_path / "model.tif"
    path.write_bytes(steybrae.sample().model.read_bytes())
    plan = steybrae.screen(LINE, path, reach_m=500)
    with rasterio.open(path, "r+") as data:
        data.update_tags(note="changed")
    with pytest.raises(ModelError, match="it was changed since"):
        plan.figure()


def test_an_array_keeps_a_plan_s_picture(answers: dict[str, Any]) -> None:
    with rasterio.open(steybrae.sample().model) as data:
        array = (data.read(1), data.transform, data.crs)
    plan = steybrae.screen(LINE, array, reach_m=500, z_unit="m")
    assert plan.totals.slope_max_deg == answers["Plan"].totals.slope_max_deg
    assert plan.model.files == ("array",)
    assert isinstance(plan.figure(), Figure)


def state() -> tuple[Any, ...]:
    """What a caller has set, and nobody else may."""
    loggers = {name: logging.getLogger(name).level for name in ("", "matplotlib", "rasterio", "fontTools")}
    return (
        dict(mpl.rcParams),
        mpl.get_backend(auto_select=False),
        list(warnings.filters),
        (list(logging.getLogger().handlers), loggers),
        dict(os.environ),
        (sys.excepthook, sys.unraisablehook),
        np.geterr(),
    )


def test_nothing_of_the_callers_is_changed(answers: dict[str, Any]) -> None:
    with mpl.rc_context({"font.size": 17.0, "font.family": "serif", "axes.grid": True}):
        before = state()
        steybrae.ground(LINE[0], steybrae.sample().model, reach_m=100)
        for kind in ("Plan", "Comparison", "Review", "Area"):
            answers[kind].figure()._repr_png_()
        assert state() == before


def test_threads_get_what_one_gets_alone(answers: dict[str, Any]) -> None:
    model = steybrae.sample().model
    places = [(59.2240, -8.0574), (59.2131, -8.0366)] * 2

    def ask(place: tuple[float, float]) -> tuple[dict[str, Any], bytes]:
        found = steybrae.ground(place, model, reach_m=100)
        return found.to_dict(), found.figure()._repr_png_()

    alone = [ask(place) for place in places[:2]] * 2
    before = state()
    with ThreadPoolExecutor(3) as pool:
        assert list(pool.map(ask, places)) == alone
    assert state() == before


LAZY = """
import sys
before = set(sys.modules)
import steybrae
new = {name.partition(".")[0] for name in set(sys.modules) - before}
assert new <= {"steybrae", "importlib", "__future__", "warnings"}, new
steybrae.gap(2.5, scale=25_000, interval_m=10)
assert not {"numpy", "rasterio", "matplotlib"} & set(sys.modules)
assert "typer" not in sys.modules
import steybrae.card
assert callable(steybrae.card), "the room took the function's place"
assert "matplotlib" not in sys.modules
"""


def test_importing_costs_nothing_and_pictures_come_when_asked_for() -> None:
    subprocess.run([sys.executable, "-c", LAZY], check=True)


def test_it_says_its_types() -> None:
    assert (Path(steybrae.__file__).parent / "py.typed").is_file()


def test_a_card_takes_its_times_as_texts(answers: dict[str, Any]) -> None:
    """A day as a number, and when to call as a text, ended in errors of Python's own."""
    plan = answers["Plan"]
    with pytest.raises(steybrae.SteybraeError, match="A date should look like 2027-01-15; got '15'"):
        steybrae.card(plan, 15)
    with pytest.raises(steybrae.SteybraeError, match="snow should be a number; got 'deep'"):
        steybrae.card(plan, "2027-01-15", snow="deep")
    day = dt.datetime(2027, 1, 15, 7, tzinfo=dt.UTC)
    card = steybrae.card(plan, day, start="08:30", zone="Europe/London", overdue="18:00", down_by="15:00")
    assert (card.date, card.overdue_text, card.down_by_text) == ("2027-01-15", "18:00 GMT", "15:00 GMT")


def test_a_whole_raster_needs_files(tmp_path: Path) -> None:
    array = (np.zeros((9, 9)), Affine(10, 0, 375000, 0, -10, 6567000), "EPSG:32629")
    with pytest.raises(ModelError, match=r"read from disk, block by block; got a model in memory"):
        steybrae.area(array, tmp_path)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: steybrae.gap(scale=25_000, interval_m=10), "got another choice of these"),
        (lambda: steybrae.gap(2.5, gaps=3, scale=25_000, interval_m=10), "got another choice of these"),
        (lambda: steybrae.gap(across_mm=9, gaps=2.5, scale=25_000, interval_m=10), "a whole number from 1"),
        (
            lambda: steybrae.gap(across_mm=9, index_gaps=2, index_every=1, scale=25_000, interval_m=10),
            "a whole number from 2",
        ),
        (lambda: steybrae.compare(34, 5), "A reference should be a Gap, a Ground, a check of a plan"),
        (lambda: steybrae.compare(34, {"x": 5}), "x should be (slope, low, high) in degrees; got 5."),
        (lambda: steybrae.compare(34, {"x": (30, 35, 40)}), "low end, slope and high end rising"),
        (
            lambda: steybrae.ground(LINE[0], "model.tif", region="XX-STEY-01"),
            "region belongs to a forecast, which is missing. Give its file as bulletin.",
        ),
        (
            lambda: steybrae.screen(LINE, "model.tif", bulletin=steybrae.sample().bulletin, at_time="noon"),
            "The time should be a date and time with its zone",
        ),
        (
            lambda: steybrae.ground(LINE[0], "model.tif", bulletin=3),
            "A bulletin should be a path; got 3. Give the file's.",
        ),
        (
            lambda: steybrae.gap(2.5, scale="1:25000", interval_m=10),
            "The scale's denominator should be a number; got '1:25000'. Give it without its unit.",
        ),
        (
            lambda: steybrae.gap(2.5, scale=25_000, interval_m=10, edges_deg="steep"),
            "Band edges should be a list; got 'steep'.",
        ),
        (lambda: steybrae.ground(LINE[0], "model.tif", within_m="10m"), "The position error should be a"),
        (lambda: steybrae.screen(LINE, "model.tif", turn_tolerance_m=None), "The turn tolerance should be a"),
        (lambda: steybrae.compare([]), "At least one reading should be given"),
        (lambda: steybrae.compare({34: None}, {}), ""),
        (lambda: steybrae.review([]), "Logs should be a path or several; got []."),
        (lambda: steybrae.spacing([None], scale=25_000, interval_m=10), "Slopes should be degrees, or texts"),
    ],
)
def test_what_cannot_be_used_is_refused_in_a_sentence(call: Any, words: str) -> None:
    if not words:  # a mapping's keys are its readings, as of any iterable
        assert call().mean_deg == 34.0
        return
    with pytest.raises(steybrae.SteybraeError) as refused:
        call()
    assert words in str(refused.value)
