"""``steybrae card`` from the command line to files and what is printed."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from steybrae.files.routes import read_route

pytestmark = pytest.mark.usefixtures("screened_once")

VERDICT = re.compile(r"\b(safe|safely|go|no-go|nogo)\b", re.IGNORECASE)
SAMPLE = ("card", "--sample", "--date", "2027-01-15", "--grid", "bng")
LEG = ("card", "--from", "HX 166 712", "--to", "HX 1750 7100", "--date", "2027-01-15", "--grid", "bng")

Run = Callable[..., tuple[int, str, str]]


def flat(text: str) -> str:
    return " ".join(text.split())


def test_one_leg_needs_no_model(run: Run) -> None:
    status, out, err = run(*LEG, "--scale", "1:25000")
    assert (status, err) == (0, "")
    text = flat(out)
    for part in (
        "HX 166 712 to HX 1750 7100, 2027-01-15",
        "1 leg, 0.89 km; steepness not known.",
        "35.5 mm",
        "Magnetic north is 1.2 degrees east of grid north on this sheet.",
        "Without an elevation model (--dem): no heights, no time, and nothing of how steep the ground is.",
        "HX 166 712 names a square: its centre is taken, up to 71 m off.",
        "National Grid and GPS positions are joined to about 5 m.",
        "local avalanche forecast, local rules, qualified guidance come first.",
    ):
        assert part in text
    assert not VERDICT.search(text)


def test_a_place_that_is_its_reference_stands_once(run: Run) -> None:
    _, out, _ = run("card", "--from", "HV 545 535", "--to", "HV 5500 5300", *LEG[5:])
    (row,) = [line for line in out.splitlines() if line.startswith("  1  ")]
    assert row.split()[:4] == ["1", "HV", "5500", "5300"]
    assert out.count("HV 5500 5300") == 3  # headline, row, note


def test_one_leg_as_json_has_one_row(run: Run) -> None:
    _, out, _ = run(*LEG, "--json")
    answer = json.loads(out)
    assert (answer["schema"], answer["command"]) == ("steybrae/1", "card")
    (leg,) = answer["legs"]
    assert (leg["map_mm"], leg["paces"], leg["time_min"], leg["ground"]) == (None, None, None, None)
    # Grid metres 216650, 1071250 to 217505, 1071005: atan2(855, -245) = 105.99 degrees from grid north.
    assert leg["bearing_grid_deg"] == pytest.approx(105.99, abs=0.01)
    north = answer["norths"]
    assert north["grid_magnetic_low_deg"] == leg["grid_magnetic_deg"]


def test_the_sample_day_and_its_files(run: Run, tmp_path: Path) -> None:
    names = {kind: tmp_path / f"card.{kind}" for kind in ("pdf", "gpx", "csv", "geojson")}
    options = [part for kind, path in names.items() for part in (f"--{kind}", str(path))]
    status, out, err = run(
        *SAMPLE, "--start", "08:30", "--zone", "Europe/London", "--scale", "1:25000", *options
    )
    assert (status, err) == (0, "")
    text = flat(out)
    assert "start 08:30 GMT" in text
    files = ", ".join(map(str, (*names.values(), f"{names['csv']}.cautions.txt")))
    assert text.endswith(f" Written: {files}.")
    assert "Written" not in run(*SAMPLE, "--gpx", str(tmp_path / "other.gpx"), "--json")[1]
    assert "Invented sample massif: no such ground, never for a real day." in text
    assert not VERDICT.search(text)
    assert names["pdf"].read_bytes().startswith(b"%PDF-")
    assert len(read_route(names["gpx"]).turn_points) == 20
    assert len(names["csv"].read_text().splitlines()) == 20
    assert (tmp_path / "card.csv.cautions.txt").read_text().startswith("forecast\t")
    assert json.loads(names["geojson"].read_text())["type"] == "FeatureCollection"
    status, _, err = run(*SAMPLE, "--pdf", str(names["pdf"]))
    assert status == 2
    assert err == (
        f"steybrae: {names['pdf']} exists and is not overwritten. "
        "Give another name, or --force to replace it.\n"
    )
    sizes = []
    for name in ("--paper", "--page"):  # the sheets' name, and the card's own of before
        assert run(*SAMPLE, "--pdf", str(names["pdf"]), name, "a5", "--force")[0] == 0
        sizes.append(len(names["pdf"].read_bytes()))
    assert sizes[0] == sizes[1]


def test_breaks_and_pace_take_their_unit(run: Run) -> None:
    """ "10min" and "4km/h" were no valid floats."""
    leg = (
        "card",
        "--from",
        "59.2038, -8.0450",
        "--to",
        "59.2100, -8.0500",
        "--sample",
        "--date",
        "2027-01-15",
    )
    bare = run(*leg, "--breaks", "10", "--flat-kmh", "4", "--snow", "1.3", "--paces", "65", "--json")
    assert bare[0] == 0
    units = ("--breaks", "10min", "--flat-kmh", "4km/h", "--snow", "1.3x", "--paces", "65paces")
    assert run(*leg, *units, "--json") == bare
    assert run(*leg, "--breaks", "1h")[2] == (
        "steybrae: A break takes min; got the unit 'h' in '1h'. Write it like 10min.\n"
    )


def test_letters_that_no_sheet_can_write_are_told(run: Run, tmp_path: Path) -> None:
    """A name in Japanese, or in Arabic, stood as boxes or out of order in the PDF, in silence."""
    line = tmp_path / "line.csv"
    line.write_text("lat,lon,name\n59.2038,-8.0450,Är Ж\n59.2100,-8.0500,雪山 جبل\n", encoding="utf-8")
    card = ("card", str(line), "--sample", "--date", "2027-01-15")
    told = "Letters that PDF and PNG show as boxes or out of order: ب ج ل 山 雪. Pages (HTML) show them."
    assert told in flat(run(*card, "--pdf", str(tmp_path / "card.pdf"))[1])
    assert "Letters that" not in run(*card, "--gpx", str(tmp_path / "card.gpx"))[1]


def test_a_saved_plan_gives_the_card_of_route_and_model(run: Run, tmp_path: Path) -> None:
    plan = tmp_path / "plan.zip"
    source = ("--sample", "--reach", "600m")
    assert run("route", *source, "--save", str(plan))[0] == 0
    choice = ("--date", "2027-01-15", "--grid", "utm", "--scale", "1:50000", "--paces", "65", "--json")
    of_plan, of_route = (run("card", *one, *choice)[1] for one in ((str(plan),), source))
    assert json.loads(of_plan) == json.loads(of_route)


def test_bearings_in_mils(run: Run) -> None:
    _, out, _ = run(*LEG, "--unit", "mil")
    # 105.99 degrees are 1884.3 mils from grid north.
    assert "1884 mil" in out


def test_a_leg_on_a_model_has_ground(run: Run) -> None:
    ends = ("--from", "59.2244399, -8.0864368", "--to", "59.2356075, -8.0856221")
    status, out, err = run("card", *ends, "--sample", "--date", "2027-01-15", "--json")
    assert (status, err) == (0, "")
    (leg,) = json.loads(out)["legs"]
    assert leg["ground"]["slope_max_deg"] > 30.0
    assert leg["time_min"] > 20.0


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (
            ("card", "--sample"),
            "A card needs the day of the walk, for magnetic north wanders; got none. Add --date 2027-01-15.",
        ),
        (
            ("card", "--sample", "--date", "15.1.2027"),
            "A date should look like 2027-01-15; got '15.1.2027'. Give year, month and day.",
        ),
        (
            ("card", "--sample", "--date", "2031-01-15"),
            "The World Magnetic Model 2025 covers 1 January 2025 to 1 January 2030; got 2031-01-15. "
            "Give a date within, or install a release with the next model.",
        ),
        (
            (*SAMPLE, "--start", "08:30"),
            "Clock times need a time zone; got none. Add one like --zone Europe/London.",
        ),
        (
            ("card", "--from", "HX 166 712", "--date", "2027-01-15"),
            "One leg needs --from and --to, and no ROUTE; got another choice of these. "
            "Give both places, or a route.",
        ),
        (
            ("card", "--from", "HX 166 71", "--to", "HX 1750 7100", "--date", "2027-01-15"),
            "A grid reference has as many figures east as north; got 5 in 'HX 166 71'. "
            "Check for one left out or doubled.",
        ),
        (
            ("card", "plan.zip", "--sample", "--date", "2027-01-15"),
            "A saved plan brings its own model, legs and settings; others were given besides. "
            "Leave them out, or make a new plan.",
        ),
        (
            ("card", "plan.zip", "--edges", "30,40", "--date", "2027-01-15"),
            "A saved plan brings its own model, legs and settings; others were given besides. "
            "Leave them out, or make a new plan.",
        ),
        (
            (*SAMPLE, "--paper", "a3"),
            "The paper should be one of a4, letter, a5; got 'a3'. Choose one.",
        ),
        (
            (*SAMPLE, "--time-rule", "mine"),
            "A rule for walking time should be one of langmuir, naismith, tobler, swiss; got 'mine'. "
            "Choose one.",
        ),
        (
            (*SAMPLE, "--snow", "0.5"),
            "The snow factor should lie between 1 and 10; got 0.5. "
            "Give how many times longer the walk takes.",
        ),
        (
            ("card", "--sample", "--date", "2027-01-15", "--grid", "osgb"),
            "A grid should be one of bng, utm, mgrs, latlon; got 'osgb'. Choose one.",
        ),
    ],
)
def test_what_is_refused(run: Run, arguments: tuple[str, ...], message: str) -> None:
    assert run(*arguments) == (2, "", f"steybrae: {message}\n")


def test_the_sight_from_outside_a_start_zone_is_in_every_form_of_the_card(run: Run, tmp_path: Path) -> None:
    gpx = tmp_path / "card.gpx"
    _, out, _ = run(*SAMPLE, "--json")
    legs = {leg["number"]: leg["ground"]["overhead"] for leg in json.loads(out)["legs"]}
    outside = legs[16]["outside"]
    assert outside["sight_deg"] == pytest.approx(25.97, abs=0.05)
    assert outside["sight_deg"] < legs[16]["sight_deg"]
    assert outside["distance_m"] == pytest.approx(78.0, abs=0.1)
    assert legs[3]["outside"] is None  # below the headwall, in no start zone
    look = f"{round(outside['look_bearing_magnetic_deg']):03d}"
    words = f"from outside the zone, 290 m along: 26.0°, look {look}° magnetic, 78 m off, 38 m up"
    _, out, _ = run(*SAMPLE, "--gpx", str(gpx), "--all")
    assert "and nothing here may be used for a real day." in flat(out)
    assert words in gpx.read_text(encoding="utf-8")
    column = " ".join(line[83:].strip() for line in out.splitlines())
    assert words in " ".join(column.split())


@pytest.mark.parametrize(
    ("more", "first", "heads"),
    [
        ((), "Leg  To", "Leg To Magnetic on the map height there arrive in the corridor Places"),
        (("--all",), "Leg  to", "Leg to back true on the map height there arrive in the corridor"),
    ],
)
def test_no_column_of_the_table_is_cut(run: Run, more: tuple[str, ...], first: str, heads: str) -> None:
    _, out, _ = run(*SAMPLE, "--start", "08:30", "--zone", "Europe/London", "--scale", "1:25000", *more)
    assert "…" not in out
    assert max(map(len, out.splitlines())) <= 120
    head = next(line for line in out.splitlines() if line.startswith(first))
    assert head.split() == heads.split()


def test_what_is_printed_is_a_third_of_all_of_it(run: Run) -> None:
    """A card printed 330 lines of a day of 19 legs: bearings and checks drowned."""
    day = (*SAMPLE, "--start", "08:30", "--zone", "Europe/London", "--scale", "1:25000")
    short, whole = (run(*day, *more)[1].splitlines() for more in ((), ("--all",)))
    assert len(short) <= 120
    assert len(whole) > 300
    assert short[-1] == (
        "More: --all (each leg in full, what lies to its sides, all checks). To carry: --pdf, --phone, --gpx."
    )


def test_the_papers_are_told_in_words_that_can_be_read(run: Run) -> None:
    """It was "a4, letter, a5, which folds into two halves or, small, lies; for --pdf."."""
    _, told, _ = run("card", "--help-all")
    assert "Paper of --pdf: a4, letter, a5; the larger ones fold in two." in " ".join(told.split())
