"""``steybrae reading`` from the command line to what is printed, drawn and kept."""

from __future__ import annotations

import csv
import datetime as dt
import json
import math
import re
import shlex
from collections.abc import Callable
from pathlib import Path

import pytest
from PIL import Image
from tests.conftest import SamplePlan

import steybrae
from steybrae.files.logs import read_log
from steybrae.teach.field_sheet import TYPE_IN, field_sheet

VERDICT = re.compile(r"\b(safe|safely|go|no-go|nogo)\b", re.IGNORECASE)
MAP = ("--scale", "1:25000", "--interval", "10m")
FIVE_GAPS = (*MAP, "--across", "4mm", "--gaps", "5")
HERE = "59.2244 -8.0237"
AT = ("--sample", "--at", HERE)
CONTRACT = [
    "schema",
    "command",
    "settings_file",
    "readings_deg",
    "mean_deg",
    "uncertainty_95_deg",
    "references",
    "steeper_deg",
    "band",
    "bands_possible",
    "open_above",
    "cautions",
    "reasons",
    "aspect",
]
REFERENCE = [
    "source",
    "slope_deg",
    "slope_low_deg",
    "slope_high_deg",
    "difference_deg",
    "en_number",
    "result",
    "would_notice_deg",
]

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def plan(sample_plan: SamplePlan) -> Path:
    return sample_plan.path


def answer(run: Run, *arguments: str) -> dict:
    status, out, err = run("reading", *arguments, "--json")
    assert (status, err) == (0, "")
    return json.loads(out)


def text_of(run: Run, *arguments: str) -> str:
    status, out, err = run("reading", *arguments)
    assert (status, err) == (0, "")
    assert not VERDICT.search(out)
    return " ".join(out.split())


def keys(found: dict) -> list[str]:
    return [reason["key"] for reason in found["reasons"]]


# --- readings alone


def test_up_and_down_are_averaged_and_uncertainty_is_that_of_the_design(run: Run) -> None:
    found = answer(run, "34deg", "36deg", "--down", "33deg")
    # U = 2 sqrt(1 + 3 / n), n = 4 / (1/2 + 1/1) for two up and one down.
    assert found["mean_deg"] == pytest.approx(34.0, abs=1e-12)
    assert found["uncertainty_95_deg"] == pytest.approx(2.0 * math.sqrt(1.0 + 3.0 * 1.5 / 4.0), abs=1e-12)
    assert answer(run, "34deg")["uncertainty_95_deg"] == pytest.approx(4.0, abs=1e-12)
    assert answer(run, *["34deg"] * 4)["uncertainty_95_deg"] == pytest.approx(math.sqrt(7.0), abs=1e-12)
    assert answer(run, "33", "--down", "-31deg")["mean_deg"] == 32.0


def test_the_paper_logs_own_example_is_typed_in_as_it_says(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    alone, whole = (shlex.split(text)[1:] for text in TYPE_IN)
    assert run(*alone)[::2] == (0, "")
    columns = field_sheet().columns
    with (tmp_path / "table.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([[one.name for one in columns], [one.example for one in columns]])
    assert run(*whole)[::2] == (0, "")
    first, second = read_log(tmp_path / "log.csv").rows
    for row in (first, second):
        assert row.time == dt.datetime(2027, 2, 14, 10, 30, tzinfo=dt.UTC)
        assert row.readings_deg == (34.0, 36.0, 33.0, 35.0)
        assert row.lat_deg == pytest.approx(59.2131, abs=1e-4)
    assert (first.mean_deg, first.uncertainty_95_deg) == (second.mean_deg, second.uncertainty_95_deg)
    assert (second.reference_slope_deg, second.check) == (31.0, "7a")
    assert run("reading", "--review", "table.csv")[::2] == (0, "")


def test_without_anything_to_compare_with_it_says_so(run: Run) -> None:
    text = text_of(run, "34deg", "34deg")
    assert text.startswith("Readings 34.0°, 34.0°; mean 34.0°, 95 % interval 30.8 to 37.2°")
    assert "The steeper figure leads: 34.0°, band 30-35, possibly as steep as 35-40." in text
    assert "Nothing to compare with" in text
    assert "Read the local avalanche forecast" in text
    assert "A gentle reading never makes gentler what the map or the model shows." in text


def test_json_is_the_contract_and_reasons_and_aspect_unrounded(run: Run) -> None:
    found = answer(run, "34deg", *FIVE_GAPS)
    assert list(found) == CONTRACT
    assert list(found["references"][0]) == REFERENCE
    assert found["references"][0]["slope_deg"] == math.degrees(math.atan(0.5))
    assert found["aspect"] is None
    assert found["references"][0]["difference_deg"] == pytest.approx(34.0 - math.degrees(math.atan(0.5)))


# --- the map


def test_a_reading_that_agrees_with_the_map(run: Run) -> None:
    found = answer(
        run, "25deg", "26deg", "--down", "25deg", "--down", "24deg", *MAP, "--across", "17.2mm",
        "--index-gaps", "4", "--index-every", "5", "--ruler-error", "0.2mm",
    )  # fmt: skip
    (reference,) = found["references"]
    assert reference["result"] == "consistent"
    assert reference["would_notice_deg"] < 5.0
    assert found["reasons"] == []


def test_a_reading_that_differs_leads_where_it_is_steeper(run: Run) -> None:
    found = answer(run, "34deg", "36deg", "--down", "33deg", *FIVE_GAPS)
    (reference,) = found["references"]
    facing_deg = reference["slope_high_deg"] - reference["slope_deg"]
    assert reference["result"] == "different"
    assert reference["would_notice_deg"] == pytest.approx(
        math.hypot(found["uncertainty_95_deg"], facing_deg), abs=1e-12
    )
    assert reference["en_number"] == pytest.approx(
        reference["difference_deg"] / reference["would_notice_deg"], abs=1e-12
    )
    assert found["steeper_deg"] == found["mean_deg"]
    assert {"interval", "baseline", "convexity", "thinned_contours", "snow"} <= set(keys(found))


def test_a_gentle_reading_never_lowers_what_the_map_said(run: Run) -> None:
    alone = answer(run, "5deg", *FIVE_GAPS)
    assert alone["steeper_deg"] == alone["references"][0]["slope_deg"]
    assert [band["label"] for band in alone["bands_possible"]] == ["25-30", "30-35"]


def test_percent_read_as_degrees_is_noticed(run: Run) -> None:
    # The map's 30 degrees are 57.7 %.
    gap = (*MAP, "--across", "3.464mm", "--gaps", "5")
    found = answer(run, "58deg", *gap)
    (text,) = [reason["text"] for reason in found["reasons"] if reason["key"] == "other_unit"]
    assert text.startswith("Taken as percent the reading would be 30.2° and they would agree:")
    assert text.endswith("The steeper figure stands all the same.")
    assert found["steeper_deg"] == 58.0
    text = text_of(run, "30%", *gap)
    assert "Taken as degrees the reading would be 30.0° and they would agree" in text


def test_a_wrong_interval_is_found_by_its_neighbours(run: Run) -> None:
    # 20 m between lines, given as 10 m: the ground is at 39.5, the map was taken to say 22.4.
    found = answer(run, "39deg", "40deg", *MAP, "--across", "9.7mm", "--gaps", "10", "--ruler-error", "0.2mm")
    (text,) = [reason["text"] for reason in found["reasons"] if reason["key"] == "interval"]
    assert text.startswith("With an interval of 20 m the map says 39.6° and they would agree.")


def test_thick_lines_are_never_said_to_be_left_out_but_may_be_miscounted(run: Run) -> None:
    index = (*MAP, "--across", "20mm", "--index-gaps", "5", "--index-every", "5", "--ruler-error", "0.2mm")
    assert "thinned_contours" not in keys(answer(run, "36deg", *index))
    found = answer(run, "21.8deg", "21.8deg", *index)
    (text,) = [reason["text"] for reason in found["reasons"] if reason["key"] == "lines_for_gaps"]
    assert text.startswith("If you counted 5 lines and not 5 gaps, the map says 21.9° and they would agree.")


def test_an_unreadable_gap_is_open_above(run: Run) -> None:
    found = answer(run, "30deg", *MAP, "--gap", "0.4mm")
    assert (found["open_above"], found["references"][0]["slope_high_deg"]) == (True, 90.0)
    assert found["references"][0]["result"] == "tells little"
    assert "gap_unreadable" in [caution["key"] for caution in found["cautions"]]
    text = text_of(run, "30deg", *MAP, "--gap", "0.4mm")
    assert "at least 45.0°" in text


# --- other instruments, and none


def test_another_instrument_with_its_own_error(run: Run) -> None:
    found = answer(run, "35deg", "--other", "31deg", "--other-error", "3deg")
    (reference,) = found["references"]
    assert (reference["source"], reference["would_notice_deg"]) == ("the other instrument", 5.0)
    assert reference["en_number"] == pytest.approx(0.8, abs=1e-12)


def test_a_compass_has_a_larger_error_and_its_traps_are_told(run: Run) -> None:
    assert answer(run, "33deg", "--compass-clinometer")["uncertainty_95_deg"] == pytest.approx(5.0, abs=1e-12)
    text = text_of(run, "33deg", "--compass-clinometer")
    assert "90 minus the slope looks like a slope" in text
    assert "one reading to 5° (95 %; common practice, no source)" in text
    text = text_of(run, "33deg", "--compass-clinometer", "--error", "3deg")
    assert "A reading: 3° (95 %), as stated" in text
    assert "one reading to 5°" not in text


def test_without_an_instrument_the_first_way_is_the_reading(run: Run) -> None:
    found = answer(run, "--equal-poles", "1.2m", "1.2m", "--paces", "2", "8")
    assert found["mean_deg"] == pytest.approx(30.0, abs=1e-9)  # marks one pole apart
    (reference,) = found["references"]
    assert reference["source"] == "eye height and paces"
    # Two eye heights of 1.75 m on eight paces of 0.75 m along the slope.
    assert reference["slope_deg"] == pytest.approx(math.degrees(math.asin(3.5 / 6.0)), abs=1e-9)
    assert "Two equal poles: lengths to 0.02 m" in text_of(run, "--equal-poles", "1.2m", "1.2m")


def test_poles_beside_a_reading_are_compared_with_it(run: Run) -> None:
    found = answer(
        run, "30deg", "--pole-level", "1.2m", "0.7m", "--pole-on-slope", "1.2m", "0.6m",
        "--paces", "2", "17", "--eye-height", "1.6m", "--pace", "0.7m",
    )  # fmt: skip
    slopes = [reference["slope_deg"] for reference in found["references"]]
    assert slopes == pytest.approx(
        [
            math.degrees(math.atan(0.7 / 1.2)),
            30.0,
            math.degrees(math.asin(3.2 / 11.9)),
        ],
        abs=1e-9,
    )


# --- the model


def test_the_model_at_a_place_is_its_cell_within_its_circle(run: Run) -> None:
    found = answer(run, "40deg", *AT, "--within", "30m")
    status, out, _ = run("ground", HERE, "--sample", "--within", "30m", "--json")
    ground = json.loads(out)
    (reference,) = found["references"]
    assert status == 0
    assert reference["slope_deg"] == ground["slope_deg"]
    assert reference["slope_low_deg"] < ground["within"]["slope_min_deg"]
    assert reference["slope_high_deg"] > ground["within"]["slope_max_deg"]
    assert reference["slope_high_deg"] >= ground["slope_high_deg"]
    assert "sample" in [caution["key"] for caution in found["cautions"]]
    text = text_of(run, "40deg", *AT, "--within", "30m")
    assert "highest high end of any cell within 30 m" in text


def test_a_wider_position_error_never_notices_more(run: Run) -> None:
    noticed = [
        answer(run, "45deg", *AT, "--within", f"{radius}m")["references"][0]
        for radius in (0, 10, 30, 60, 120)
    ]
    highs = [reference["slope_high_deg"] for reference in noticed]
    assert highs == sorted(highs)


def test_unknown_ground_in_the_circle_cannot_tell_and_is_open_above(run: Run, sample_dem: Path) -> None:
    import rasterio
    from pyproj import Transformer

    with rasterio.open(sample_dem / "stey_massif.tif") as source:
        rows, cols = source.read(1, masked=True).mask.nonzero()
        x, y = source.xy(int(rows[len(rows) // 2]), int(cols[len(cols) // 2]))
        to_degrees = Transformer.from_crs(source.crs, "EPSG:4326")
        inside = "{:.6f} {:.6f}".format(*to_degrees.transform(x, y))
        edge = "{:.6f} {:.6f}".format(*to_degrees.transform(*source.xy(int(rows.min()) - 3, int(cols[0]))))
    # Beside the void a low end is known and faces the gentler reading; in it nothing is.
    for place, radius, nothing in ((inside, "10m", True), (edge, "40m", False)):
        found = answer(run, "30deg", "--sample", "--at", place, "--within", radius)
        (reference,) = found["references"]
        assert (reference["slope_high_deg"], found["open_above"]) == (None, True)
        assert (reference["result"] == "cannot tell") is nothing
        assert "unknown_near" in [caution["key"] for caution in found["cautions"]]
    text = text_of(run, "30deg", "--sample", "--at", inside)
    assert "Cannot tell: the model does not know this ground." in text


def test_sighting_off_the_fall_line_is_told(run: Run) -> None:
    aspect = json.loads(run("ground", HERE, "--sample", "--json")[1])["aspect_true_deg"]
    off = f"{(aspect + 60.0) % 360.0:.1f}"
    found = answer(run, "20deg", *AT, "--look", off, "--north", "true")
    assert "off_fall_line" in keys(found)
    along = f"{(aspect + 180.0) % 360.0:.1f}"
    assert "off_fall_line" not in keys(answer(run, "20deg", *AT, "--look", along, "--north", "true"))


def test_a_measured_aspect_serves_where_there_is_no_model(run: Run) -> None:
    found = answer(run, "15deg", *FIVE_GAPS, "--look", "180", "--aspect", "120", "--north", "true")
    (text,) = [reason["text"] for reason in found["reasons"] if reason["key"] == "off_fall_line"]
    # tan 26.565 cos 60 = 0.25, 14.04 degrees.
    assert text.startswith("You sighted 60° off the fall line: 26.6° looks like 14.1° along that line.")


# --- where am I?


def test_an_aspect_that_fits_and_one_that_does_not(run: Run) -> None:
    aspect = json.loads(run("ground", HERE, "--sample", "--json")[1])["aspect_true_deg"]
    fits = answer(run, "40deg", *AT, "--aspect", f"{aspect:.0f}", "--north", "true")["aspect"]
    assert fits["result"] == "fits"
    against = (aspect + 180.0) % 360.0
    other = answer(run, "40deg", *AT, "--aspect", f"{against:.0f}", "--north", "true")["aspect"]
    assert other["result"] == "does not fit"
    assert other["places"]
    text = text_of(run, "40deg", *AT, "--aspect", f"{against:.0f}", "--north", "true")
    assert "Does not fit: the nearest aspect within 10 m of the place is" in text
    assert "The nearest other ground that would fit, in each direction:" in text


def test_an_aspect_that_nothing_near_by_has_is_told_once(run: Run) -> None:
    """It had "0 % would fit: the more, the less it tells", and below that no other ground would."""
    here = ("--sample", "--at", "59.2234 -8.0712", "--within", "10m")
    text = text_of(run, "30deg", *here, "--aspect", "237", "--north", "true")
    assert "No other known ground within 500 m would fit." in text
    assert "0 %" not in text


def test_bearings_are_turned_to_true_north_with_their_error(run: Run) -> None:
    true = answer(run, "40deg", *AT, "--aspect", "260", "--north", "true")["aspect"]
    grid = answer(run, "40deg", *AT, "--aspect", "260", "--north", "grid", "--grid", "bng")["aspect"]
    magnetic = answer(
        run, "40deg", *AT, "--aspect", "260", "--north", "magnetic", "--date", "2027-01-15"
    )["aspect"]  # fmt: skip
    assert (true["measured_true_deg"], true["uncertainty_95_deg"]) == (260.0, 15.0)
    # The National Grid's north: (lon + 2) sin(lat) = -6.0237 x 0.8593 = -5.18.
    assert grid["measured_true_deg"] == pytest.approx(260.0 - 5.18, abs=0.05)
    assert magnetic["measured_true_deg"] != 260.0
    assert 15.0 < magnetic["uncertainty_95_deg"] < 15.1


def test_magnetic_bearings_bring_their_caution(run: Run) -> None:
    found = answer(run, "40deg", *AT, "--look", "260", "--north", "magnetic", "--date", "2027-01-15")
    assert "magnetic" in [caution["key"] for caution in found["cautions"]]


def test_a_check_of_a_plan_and_the_model_at_its_place_agree(run: Run, plan: Path) -> None:
    """Slopes of the same ground, whichever way they are asked for; so does what a place expects."""
    from steybrae.files.plans import read_plan

    legs = read_plan(plan).legs
    slopes = [one for leg in legs for one in leg.expected_readings if one.quantity == "slope"]
    assert len(slopes) >= 3
    for one in slopes:
        found = answer(run, "20deg", "--plan", str(plan), "--check", one.name, "--sample", "--within", "10m")
        ends = ("slope_deg", "slope_low_deg", "slope_high_deg")
        check, model = ([each[key] for key in ends] for each in found["references"])
        assert check == pytest.approx(model, abs=1e-3)
        at = f"{one.place.lat_deg:.7f} {one.place.lon_deg:.7f}"
        ground = json.loads(run("ground", at, "--sample", "--within", "10m", "--json")[1])
        (here,) = (each for each in ground["expected_readings"] if each["quantity"] == "slope")
        assert [here["expected_deg"], here["low_deg"], here["high_deg"]] == pytest.approx(check, abs=1e-3)


# --- a plan and its checks


def test_a_check_of_a_plan_is_a_reference_with_the_models_interval(run: Run, plan: Path) -> None:
    from steybrae.files.plans import read_plan

    legs = read_plan(plan).legs
    check = next(one for leg in legs for one in leg.expected_readings if one.quantity == "slope")
    found = answer(run, "40deg", "--plan", str(plan), "--check", check.name.upper())
    (reference,) = found["references"]
    assert reference["source"] == f"check {check.name} of the plan"
    assert reference["slope_deg"] == check.expected_deg
    assert reference["slope_low_deg"] == pytest.approx(check.low_deg, abs=1e-6)
    assert reference["slope_high_deg"] == pytest.approx(check.high_deg, abs=1e-6)


def test_a_reason_names_what_it_is_about_where_there_are_several(run: Run, plan: Path) -> None:
    """A reading against one check said "(check 4a of the plan)" before each reason."""
    typed = ("reading", "50deg", "--plan", str(plan), "--check", "4a")
    alone, several = (" ".join(run(*typed, *more)[1].split()) for more in ((), ("--other", "20deg")))
    assert "Why they may differ - " in alone
    assert "(check 4a of the plan)" not in alone
    assert "(check 4a of the plan)" in several


def test_the_place_of_a_check_serves_the_model_and_the_log(run: Run, plan: Path, tmp_path: Path) -> None:
    from steybrae.files.plans import read_plan

    at = read_plan(plan).legs[0].expected_readings[0].place
    log = tmp_path / "readings.csv"
    found = answer(
        run, "40deg", "--plan", str(plan), "--check", "1a", "--sample", "--within", "20m", "--log",
        str(log), "--time", "2026-02-14T10:30+01:00", "--observer", "Ana", "--instrument", "clino", "--note",
        "gusty, cold",
    )  # fmt: skip
    assert [reference["source"] for reference in found["references"]] == [
        "check 1a of the plan",
        "the model",
    ]
    with log.open(newline="", encoding="utf-8") as file:
        (row,) = csv.DictReader(file)
    assert (row["plan"], row["check"], row["note"]) == ("plan.zip", "1a", "gusty, cold")
    assert (row["time"], row["observer"], row["instrument"]) == ("2026-02-14T10:30:00+01:00", "Ana", "clino")
    assert (float(row["lat_deg"]), float(row["lon_deg"])) == (at.lat_deg, at.lon_deg)
    assert (row["reference_source"], float(row["mean_deg"])) == ("check 1a of the plan", 40.0)


def checks_of(plan: Path) -> dict[int, list[str]]:
    """Numbers of the checks of every leg."""
    import datetime as dt

    from steybrae.card.checks import leg_checks
    from steybrae.files.plans import read_plan

    day = dt.date(2026, 2, 14)
    return {
        leg.number: [check.number for check in leg_checks(leg, day, "latlon")] for leg in read_plan(plan).legs
    }


def test_a_check_of_a_plan_is_told_in_the_bands_of_the_plan(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Card and page for a phone said 27.5-34 of a reading of 33, this 30-35."""
    monkeypatch.chdir(tmp_path)
    edges = ("--edges", "20,27.5,34,41")
    assert run("route", "--sample", *edges, "--reach", "20m", "--save", "p.zip")[0] == 0
    check = ("33deg", "--plan", "p.zip", "--check", "4a")
    Path("steybrae.toml").write_text('[bands]\nedges = "25,30"\n')
    found = answer(run, *check)
    assert (found["band"]["label"], found["bands_possible"][-1]["label"]) == ("27.5-34", "34-41")
    assert found["settings_file"] is None
    assert answer(run, *check, "--edges", "32,40")["band"]["label"] == "32-40"
    assert steybrae.compare(33, steybrae.Plan.read("p.zip").check("4a")).result.band.label == "27.5-34"


def test_a_number_of_a_leg_serves_where_it_has_one_check(run: Run, plan: Path) -> None:
    leg = next(leg for leg, checks in checks_of(plan).items() if len(checks) == 1)
    one = answer(run, "30deg", "--plan", str(plan), "--check", str(leg))
    assert one["references"][0]["source"] == f"check {leg}a of the plan"
    several = next(leg for leg, checks in checks_of(plan).items() if len(checks) > 1)
    there = ", ".join(checks_of(plan)[several])
    message = f"The plan plan.zip should have a check {several}; leg {several} has {there}. See the card."
    found = run("reading", "34deg", "--plan", str(plan), "--check", str(several))
    assert found == (2, "", f"steybrae: {message}\n")


# --- log and review


def test_log_and_review_end_to_end_with_the_picture(run: Run, tmp_path: Path) -> None:
    log, picture = tmp_path / "readings.csv", tmp_path / "review.png"
    # Against the map's 26.565: differences 2.435, 0.435, 1.435, their mean 1.435 and SD 1.
    for reading in ("29deg", "27deg", "28deg"):
        run(
            "reading",
            reading,
            *FIVE_GAPS,
            "--log",
            str(log),
            "--observer",
            "Bo",
            "--instrument",
            "hand clino",
        )
    one_more = ("reading", "31deg", "--log", str(log), "--observer", "Bo", "--instrument", "phone")
    assert run(*one_more, "--time", "2026-02-14T10:30+01:00")[1].endswith("\n1 row added to readings.csv.\n")
    with log.open("a", encoding="utf-8") as file:
        file.write("torn off\n")
    found = answer(run, "--review", str(log))
    assert found["rows"] == 4
    assert [(row["line"], row["text"]) for row in found["damaged"]] == [(6, "torn off")]
    clino, phone, observer = found["agreements"]
    assert (clino["name"], clino["count"], phone["name"], observer["name"]) == (
        "hand clino",
        3,
        "phone",
        "Bo",
    )
    bias = 28.0 - math.degrees(math.atan(0.5))
    assert clino["bias_deg"] == pytest.approx(bias, abs=1e-12)
    assert clino["spread_deg"] == pytest.approx(1.0, abs=1e-12)
    # One more difference of three lies within t(0.975, 2) s sqrt(1 + 1/3) of the bias.
    assert clino["limit_high_deg"] == pytest.approx(bias + 4.302653 * math.sqrt(4.0 / 3.0), abs=1e-6)
    # t(0.975, 2) = 4.302653.
    assert clino["bias_high_deg"] == pytest.approx(bias + 4.302653 / math.sqrt(3.0), abs=1e-6)
    assert (phone["count"], phone["without_reference"], phone["bias_deg"]) == (0, 1, None)
    status, out, err = run("reading", "--review", str(log), "--figure", str(picture))
    text = " ".join(out.split())
    assert (status, err) == (0, "")
    for part in (
        "4 rows of readings",
        "hand clino",
        "Line 6:",
        "torn off",
        "Bland and Altman 1986",
        "Cautions",
    ):
        assert part in text
    with Image.open(picture) as image:
        assert image.width > 1000
        assert "avalanche forecast" in image.info["Description"]


def test_logs_of_a_class_are_one_review_without_doubling(run: Run, tmp_path: Path) -> None:
    ana, bo = tmp_path / "ana.csv", tmp_path / "bo.csv"
    for log, who, reading in ((ana, "Ana", "29deg"), (bo, "Bo", "27deg")):
        run("reading", reading, *FIVE_GAPS, "--log", str(log), "--observer", who, "--instrument", "clino")
    bo.write_text(bo.read_text("utf-8") + ana.read_text("utf-8").splitlines()[1] + "\n", "utf-8")
    found = answer(run, "--review", str(ana), "--review", str(bo))
    assert (found["rows"], found["doubled"]) == (2, 1)
    (place,) = found["places"]
    assert [one["observer"] for one in place["readings"]] == ["Ana", "Bo"]
    assert place["reference_high_deg"] == pytest.approx(math.degrees(math.atan(0.5)), abs=1e-9)
    hidden = answer(run, "--review", str(ana), "--review", str(bo), "--no-names")
    assert "Ana" not in json.dumps(hidden)
    assert [one["name"] for one in hidden["agreements"] if one["kind"] == "observer"] == [
        "person 1",
        "person 2",
    ]


def test_rows_kept_elsewhere_join_the_log_once(run: Run, tmp_path: Path) -> None:
    log, rows = tmp_path / "readings.csv", tmp_path / "rows.csv"
    for path, reading in ((log, "29deg"), (rows, "30deg"), (rows, "31deg")):
        run("reading", reading, *FIVE_GAPS, "--log", str(path), "--observer", "Ona")
    rows.write_text(rows.read_text("utf-8") + '"cut off', "utf-8")
    said = text_of(run, "--log", str(log), "--add", str(rows))
    assert said.startswith("2 rows added to readings.csv. ")
    assert "Line 4: " in said
    before = log.read_text("utf-8")
    assert [line.split(",")[11] for line in before.splitlines()[1:]] == ['"29.0"', '"30.0"', '"31.0"']
    assert text_of(run, "--log", str(log), "--add", str(rows)).startswith(
        "0 rows added to readings.csv; 2 stood in it already. "
    )
    assert log.read_text("utf-8") == before


@pytest.mark.parametrize(
    ("arguments", "got"), [((), "got none"), (("34deg", "--log", "a.csv"), "got READING too")]
)
def test_rows_are_added_to_a_log_and_alone(run: Run, arguments: tuple[str, ...], got: str) -> None:
    assert run("reading", "--add", "rows.csv", *arguments) == (
        2,
        "",
        f"steybrae: --add goes with the --log to add to, and nothing else; {got}. Write --log readings.csv "
        "--add rows.csv.\n",
    )


def test_a_log_with_markup_in_its_names_is_printed_as_it_is(run: Run, tmp_path: Path) -> None:
    log = tmp_path / "readings.csv"
    run("reading", "31deg", "--log", str(log), "--observer", "[red]Bo[/red]", "--note", 'é, "雪"')
    assert "[red]Bo[/red]" in text_of(run, "--review", str(log))


def test_a_foreign_log_is_left_as_it_is(run: Run, tmp_path: Path) -> None:
    log = tmp_path / "other.csv"
    log.write_text("a,b\n1,2\n", encoding="utf-8")
    status, out, err = run("reading", "31deg", "--log", str(log))
    assert (status, out) == (2, "")
    assert err.startswith("steybrae: ")
    assert log.read_text(encoding="utf-8") == "a,b\n1,2\n"


def test_the_picture_of_a_comparison_carries_the_cautions_and_is_not_overwritten(
    run: Run, tmp_path: Path
) -> None:
    picture = tmp_path / "reading.png"
    text_of(run, "34deg", *FIVE_GAPS, *AT, "--figure", str(picture))
    with Image.open(picture) as image:
        assert "invented sample massif" in image.info["Description"]
    before = picture.read_bytes()
    log = tmp_path / "readings.csv"
    status, _, err = run("reading", "34deg", "--figure", str(picture), "--log", str(log))
    assert (status, err) == (
        2,
        f"steybrae: {picture} exists and is not overwritten. Give another name, or --force to replace it.\n",
    )
    assert picture.read_bytes() == before
    assert not log.exists()
    assert run("reading", "34deg", "--figure", str(picture), "--force")[0] == 0
    assert picture.read_bytes() != before


# --- what cannot be taken


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((), "At least one reading should be given; got none. Write it like 34deg."),
        (
            ("34deg", "--scale", "1:25000", "--gap", "2mm"),
            "A gap on a map needs its --scale and its --interval; --interval is missing. Read both in the "
            "margin of the sheet.",
        ),
        (
            ("34deg", *MAP),
            "A length on paper is needed, as --gap or --across; got neither. Write --gap 2.5mm, or "
            "--across 12.5mm --gaps 5.",
        ),
        (
            ("34deg", "--ruler-only"),
            "--ruler-only says nothing without --gap, --across, --gaps, --index-gaps or --index-every; got "
            "none. Add one, or leave --ruler-only out.",
        ),
        (
            ("34deg", "--figure", "a.xyz", "--log", "/nowhere/a.csv"),
            "A picture should be named .png or .pdf; got 'a.xyz'. Change its ending.",
        ),
        (
            ("--review", "a.csv", "--figure", "a.jpg"),
            "A picture should be named .png or .pdf; got 'a.jpg'. Change its ending.",
        ),
        (
            ("34deg", "--sample"),
            "--sample says nothing without --at or --check; got none. Add one, or leave --sample out.",
        ),
        (
            ("--equal-poles", "1.2m", "1.2m", "--error", "2deg"),
            "--error says nothing without READING or --down; got none. Add one, or leave --error out.",
        ),
        (
            ("34deg", "--at", HERE),
            "--at says nothing without --dem, --sample, --look, --aspect or --log; got none. Add one, or "
            "leave --at out.",
        ),
        (
            ("34deg", "--within", "10m"),
            "--within says nothing without --dem or --sample; got none. Add one, or leave --within out.",
        ),
        (
            ("34deg", "--plan", "plan.zip"),
            "--plan says nothing without --check; got none. Add it, or leave --plan out.",
        ),
        (
            ("34deg", "--check", "7a"),
            "--check says nothing without --plan; got none. Add it, or leave --check out.",
        ),
        (
            ("34deg", "--look", "90", "--north", "true"),
            "--look says nothing without --dem, --sample, --plan or --aspect; got none. Add one, or leave "
            "--look out.",
        ),
        (
            ("34deg", "--aspect", "90", "--north", "true"),
            "--aspect says nothing without --dem, --sample, --look or --log; got none. Add one, or leave "
            "--aspect out.",
        ),
        (
            ("34deg", *AT, "--aspect", "90"),
            "The bearing '90' needs its north, one of true, grid and magnetic; got none. Add --north.",
        ),
        (
            ("34deg", *AT, "--aspect", "90", "--north", "magnetic"),
            "The magnetic bearing '90' needs a date, for magnetic north wanders; got none. Add --date.",
        ),
        (
            ("34deg", *AT, "--aspect", "90", "--north", "grid"),
            "A grid bearing needs the grid of your map, one of bng, utm and mgrs; got none. Add --grid.",
        ),
        (
            ("34deg", "--look", "1", "--aspect", "90", "--north", "magnetic", "--date", "2026-02-14"),
            "A magnetic bearing needs a place to be turned to true north; none was given. Add --at, or "
            "--plan and --check.",
        ),
        (
            ("34deg", *AT, "--aspect", "90", "--north", "magnetic", "--date", "14.2.2026"),
            "A date should look like 2026-02-14; got '14.2.2026'. Write year, month, day.",
        ),
        (
            ("34deg", "--north", "true"),
            "--north says nothing without --look or --aspect; got none. Add one, or leave --north out.",
        ),
        (
            ("34deg", "--observer", "Ana"),
            "--observer says nothing without --log; got none. Add it, or leave --observer out.",
        ),
        (
            ("34deg", "--log", "a.csv", "--time", "10:30"),
            "A time should look like 14 Feb 2027 10:30 UTC, with its zone; got '10:30'. Write it so.",
        ),
        (
            ("34deg", "--review", "a.csv", "--gap", "2mm"),
            "--review looks at a whole log and goes with --no-names, --figure, --force and --json only; "
            "got READING and --gap too. Run the two apart.",
        ),
        (
            ("34deg", "--error", "50deg"),
            "The error of a reading should be above 0 and at most 45 degrees; got 50. Give the 95 % error of "
            "one reading, like 4deg.",
        ),
        (
            ("--review", "/nowhere/a.csv"),
            "/nowhere/a.csv could not be read: No such file or directory. Give the log of readings.",
        ),
    ],
)
def test_what_cannot_be_combined_or_read_is_one_sentence(
    run: Run, arguments: tuple[str, ...], message: str
) -> None:
    assert run("reading", *arguments) == (2, "", f"steybrae: {message}\n")


@pytest.mark.parametrize(
    ("check", "message"),
    [
        ("99a", "A check is numbered by its leg, like 7a; got '99a'. The plan plan.zip has legs 1 to 19."),
        ("west", "A check is numbered by its leg, like 7a; got 'west'. The plan plan.zip has legs 1 to 19."),
        ("1z", "The plan plan.zip should have a check 1z; leg 1 has 1a. See the card."),
    ],
)
def test_a_check_that_the_plan_has_not(run: Run, plan: Path, check: str, message: str) -> None:
    found = run("reading", "34deg", "--plan", str(plan), "--check", check)
    assert found == (2, "", f"steybrae: {message}\n")


def test_a_place_with_a_leading_minus(run: Run) -> None:
    status, _, err = run("reading", "34deg", "--sample", "--at", "-33.45 -70.66")
    assert status == 2
    assert "-33.45000, -70.66000 does not" in err


def test_a_figure_never_replaces_the_log_it_is_of(run: Run, tmp_path: Path) -> None:
    log = tmp_path / "log.png"
    run("reading", "31deg", "--log", str(log))
    before = log.read_bytes()
    for arguments in (("--review", str(log)), ("31deg", "--log", str(log))):
        status, _, err = run("reading", *arguments, "--figure", str(log), "--force")
        why = "is read by this command and is not overwritten. Give the output another name."
        assert (status, err) == (2, f"steybrae: {log} {why}\n")
    assert log.read_bytes() == before
