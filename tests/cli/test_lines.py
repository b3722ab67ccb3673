"""``route`` with several lines, ways off and shifts: what is printed, kept and refused."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from tests.cli.conftest import Run
from tests.pages.drawn import Reader

from steybrae.answers.leg import LINE_COLUMNS, leaves_text, way_off_text
from steybrae.cautions import UNIT_STEEP, Caution
from steybrae.errors import PlanError
from steybrae.files.plans import read_plan, write_plan
from steybrae.files.results import sample_model
from steybrae.quantities import shown_slope_deg
from steybrae.screening.compared import LegMoved, LineMoved, RouteLines
from steybrae.screening.places.words import place_words
from steybrae.screening.totals import doubtful_heights
from steybrae.value import slope

pytestmark = pytest.mark.usefixtures("screened_once")

HIGH = [(59.2240, -8.0574), (59.2270, -8.0590), (59.2300, -8.0620)]
LOW = [(59.2240, -8.0574), (59.2262, -8.0640), (59.2300, -8.0620)]
OUT = [(59.2270, -8.0590), (59.2255, -8.0540)]


def gpx(folder: Path, **routes: list[tuple[float, float]]) -> str:
    path = folder / "lines.gpx"
    texts = (
        f"<rte><name>{name.replace('_', ' ')}</name>"
        + "".join(f'<rtept lat="{lat}" lon="{lon}"/>' for lat, lon in places)
        + "</rte>"
        for name, places in routes.items()
    )
    path.write_text(f'<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1">{"".join(texts)}</gpx>')
    return str(path)


@pytest.fixture
def several(tmp_path: Path) -> str:
    return gpx(tmp_path, Way_off_to_the_lochan=OUT, High=HIGH, Low=LOW)


ON = ("--dem", str(sample_model()))
NEAR = (*ON, "--reach", "20m")


def test_lines_stand_beside_the_main_line_in_json(run: Run, several: str, tmp_path: Path) -> None:
    status, out, _ = run("route", several, *ON, "--json", "--shift", "30m")
    found = json.loads(out)
    assert (status, found["command"]) == (0, "route lines")
    assert [line["name"] for line in found["lines"]] == ["High", "Low"]
    assert [way["name"] for way in found["ways_off"]] == ["Way off to the lochan"]
    assert [(one["shift_m"], one["side"]) for one in found["shifts"]] == [
        (30.0, "left"),
        (30.0, "right"),
    ]
    for key, places in (("High", HIGH), ("Low", LOW), ("Way_off_to_the_lochan", OUT)):
        alone = json.loads(run("route", gpx(tmp_path, **{key: places}), *ON, "--json")[1])
        assert alone["command"] == "route"
        (line,) = (
            one for one in (*found["lines"], *found["ways_off"]) if one["name"] == key.replace("_", " ")
        )
        assert {name: line[name] for name in alone["totals"]} == alone["totals"]
        if key == "High":
            for name in set(alone) - {"command"}:
                assert found[name] == alone[name], name


def test_a_time_is_that_of_the_card(run: Run, tmp_path: Path) -> None:
    low = gpx(tmp_path, Low=LOW)
    line = json.loads(run("route", low, low, *ON, "--json")[1])["lines"][1]
    card = json.loads(run("card", low, *ON, "--date", "2027-01-15", "--json")[1])["totals"]
    assert (line["time_min"], line["time_at_least"]) == (card["time_min"], card["time_at_least"])


def test_lines_and_ways_off_and_shifts_have_headings_of_their_own(run: Run, several: str) -> None:
    _, out, _ = run("route", several, *ON, "--shift", "30m", "--shift", "50m")
    heads = [
        out.index(f"\n{head}\n") for head in ("Lines side by side", "Ways off", "The line moved", "Cautions")
    ]
    assert heads == sorted(heads)
    assert "no order of merit" in out
    assert re.search(r"Way off to the lochan: leaves leg 2 at 0 m, 0\.35 km from the start", out)


def test_lines_tell_what_lies_in_their_corridors(run: Run, several: str) -> None:
    """A line along a rim stood beside others with what is underfoot alone."""
    found = json.loads(run("route", several, "--dem", str(sample_model()), "--json")[1])
    out = run("route", several, "--dem", str(sample_model()))[1]
    table = out.partition("Lines side by side")[2].partition("Metres of each line")[0]
    assert "Corridor" in table
    for line in (*found["lines"], *found["ways_off"]):
        assert shown(line["slope_corridor_max_deg"]) in out
    line = SimpleNamespace(slope_corridor_max_deg=12.0, short_corridor_max_deg=47.93, open_above=True)
    corridor = next(column for column in LINE_COLUMNS if column.key == "slope_corridor_max_deg")
    assert corridor.of(line) == ("at least", "12.0°", "short 48.0°")


def shown(deg: float) -> str:
    return f"{shown_slope_deg(deg):.1f}°"


def test_a_shift_is_told_by_leg_side_and_bands(run: Run) -> None:
    _, out, _ = run("route", "--sample", "--reach", "20m", "--shift", "30m")
    assert re.search(r"^  - leg 7, 30 m left: <25 becomes 55\+", out, re.MULTILINE)


def test_a_plan_keeps_the_lines_and_the_report_shows_them(run: Run, several: str, tmp_path: Path) -> None:
    plan, page, at_once = (tmp_path / name for name in ("several.zip", "of_plan.html", "at_once.html"))
    outputs = ("--save", str(plan), "--report", str(at_once))
    told = json.loads(run("route", several, *NEAR, "--shift", "30m", *outputs, "--json")[1])
    run("route", gpx(tmp_path, High=HIGH), *NEAR, "--save", str(tmp_path / "one.zip"))
    one, kept = read_plan(tmp_path / "one.zip"), read_plan(plan)
    assert kept.totals == one.totals
    assert kept.cautions == one.cautions
    assert isinstance(kept, RouteLines)
    for lines, said in ((kept.lines, told["lines"]), (kept.ways_off, told["ways_off"])):
        assert [(line.name, line.length_m, line.unknown_m) for line in lines] == [
            (line["name"], line["length_m"], line["unknown_m"]) for line in said
        ]
    assert len(kept.shifts) == 2
    assert run("report", str(plan), "--out", str(page))[0] == 0
    assert page.read_bytes() == at_once.read_bytes()
    shown = Reader(page.read_text("utf-8"))
    way = kept.ways_off[0]
    assert f"Ways off {way_off_text(way)} " in shown.words
    # On the first screen a way off was so many minutes, and as steep as nobody said.
    assert f"steepest on it {slope(way.slope_max_deg, at_least=way.open_above).text}" in way_off_text(way)
    assert leaves_text(way) in shown.words
    assert [row[0] for row in shown.tables[0]] == ["Line", "High", "Low"]
    drawn = [attributes.get("class") for tag, attributes in shown.tags if tag == "path"]
    # In the sketch, on the map and in the legend; another line is not in the sketch.
    assert (drawn.count("way-off"), drawn.count("beside")) == (3, 2)
    for caution in kept.ways_off[0].cautions:
        assert caution.text in shown.words


def _first_is_another(found: RouteLines) -> RouteLines:
    return replace(found, lines=found.lines[::-1])


def _gentler(found: RouteLines) -> RouteLines:
    way = found.ways_off[0]
    return replace(found, ways_off=(replace(way, slope_max_deg=1.0, band=found.lines[0].band),))


def _overhanging(found: RouteLines) -> RouteLines:
    low = found.lines[1]
    return replace(found, lines=(found.lines[0], replace(low, slope_max_deg=95.0)))


def _known(found: RouteLines) -> RouteLines:
    low = found.lines[1]
    return replace(found, lines=(found.lines[0], replace(low, length_m=low.length_m + 40.0)))


def _nowhere(found: RouteLines) -> RouteLines:
    way = found.ways_off[0]
    return replace(found, ways_off=(replace(way, leaves=replace(way.leaves, leg=9)),))


def _fewer_places(found: RouteLines) -> RouteLines:
    return replace(found, lines=(replace(found.lines[0], places=0, at_length=()), *found.lines[1:]))


def _elsewhere(found: RouteLines) -> RouteLines:
    way = found.ways_off[0]
    return replace(found, ways_off=(replace(way, leaves=replace(way.leaves, at_m=way.leaves.at_m + 90.0)),))


def _another_leg_moved(found: RouteLines) -> RouteLines:
    moved = LegMoved(1, None, open_above=False, moved_band=None, moved_open_above=False)
    return replace(found, shifts=(LineMoved(30.0, "left", (moved,)),))


def _narrowed(found: RouteLines) -> RouteLines:
    place = found.lines[1].at_length[0]
    place = replace(place, slope_high_deg=place.slope_low_deg)
    low = replace(found.lines[1], at_length=(replace(place, words=place_words(place)),))
    return replace(found, lines=(found.lines[0], low))


def _little_overhead(found: RouteLines) -> RouteLines:
    low = replace(found.lines[1], overhead_max_deg=19.0, overhead_inside_max_deg=None)
    return replace(found, lines=(found.lines[0], low))


@pytest.mark.parametrize(
    ("change", "what"),
    [
        (_first_is_another, "the first of its lines is not its main line"),
        (_gentler, "in the line 'Way off to the lochan' the band is not that of its steepest slope"),
        (_overhanging, "in the line 'Low' a slope lies outside 0 to 90 degrees"),
        (_known, "in the line 'Low' the metres in bands and of unknown ground do not add up to its length"),
        (_nowhere, "a way off leaves where the line does not run"),
        (_elsewhere, "a way off leaves where the line does not run"),
        (_fewer_places, "the first of its lines is not its main line"),
        (_narrowed, "in the line 'Low' the steepest slope of place A lies outside its own interval"),
        (_little_overhead, "in the line 'Low' what stands over place A is not what its figures say"),
        (_another_leg_moved, "leg 1 of the line moved is not as it was, or comes into no band"),
    ],
)
def test_a_plan_whose_lines_contradict_themselves_is_refused(
    run: Run, several: str, tmp_path: Path, change: Callable[[RouteLines], RouteLines], what: str
) -> None:
    plan = tmp_path / "several.zip"
    run("route", several, *ON, "--reach", "20m", "--save", str(plan))
    found = read_plan(plan)
    assert isinstance(found, RouteLines)
    write_plan(plan, change(found), force=True)
    with pytest.raises(PlanError) as refused:
        read_plan(plan)
    assert str(refused.value) == f"The parts of a plan should agree; {what}. Save the plan again."


def test_cautions_of_a_line_come_back(run: Run, several: str, tmp_path: Path) -> None:
    plan = tmp_path / "several.zip"
    run("route", several, *ON, "--reach", "20m", "--save", str(plan))
    found = read_plan(plan)
    assert isinstance(found, RouteLines)
    bare = tuple(replace(way, cautions=()) for way in found.ways_off)
    write_plan(plan, replace(found, ways_off=bare), force=True)
    back = read_plan(plan)
    assert isinstance(back, RouteLines)
    assert {"angle_alone", "start_zones_wide"} <= {one.key for one in back.ways_off[0].cautions}


def _too_steep(totals: SimpleNamespace) -> str:
    legs = [SimpleNamespace(points=SimpleNamespace(slope_deg=np.array([80.3])))]
    return doubtful_heights(legs, totals)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "text",
    [
        UNIT_STEEP,
        _too_steep(SimpleNamespace(elevation_min_m=-900.0, elevation_max_m=12.0)),
        _too_steep(SimpleNamespace(elevation_min_m=9.0, elevation_max_m=12.0)),
    ],
)
def test_a_plan_whose_other_line_alone_looks_like_feet_is_read(
    run: Run, several: str, tmp_path: Path, text: str
) -> None:
    """Each line's model is looked at near it: the plan that `--save` made could not be opened."""
    plan = tmp_path / "several.zip"
    run("route", several, *ON, "--reach", "20m", "--save", str(plan))
    found = read_plan(plan)
    assert isinstance(found, RouteLines)
    doubt = Caution("unit_doubtful", text)
    ways = tuple(replace(way, cautions=(*way.cautions, doubt)) for way in found.ways_off)
    write_plan(plan, replace(found, ways_off=ways), force=True)
    back = read_plan(plan)
    assert isinstance(back, RouteLines)
    assert doubt in back.ways_off[0].cautions


def test_a_shift_of_nothing_is_refused(run: Run) -> None:
    status, out, err = run("route", "--sample", "--shift", "0m")
    assert (status, out) == (2, "")
    assert (
        err == "steybrae: The shift should be above 0 and of a likely size; got '0m'. Check value and unit.\n"
    )
