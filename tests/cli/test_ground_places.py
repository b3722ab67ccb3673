"""``ground --places``: many places at once, each as if it had been asked for alone."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
from tests.cli.conftest import Run

from steybrae.errors import FileReadError, PlaceError
from steybrae.files import tables
from steybrae.files.tables import read_places
from steybrae.forecast.beside import NO_FORECAST_WORDS
from steybrae.route.overhead import kept_ground
from steybrae.route.positions.places import parse_place

ROWS = (
    ("59.23121", "-8.06788", "Corrie floor"),
    ("59.2244", "-8.0237", '=HYPERLINK("x")'),
    ("59.23130", "-8.06760", "Corrie floor, upper"),
    ("59.224", "-8.0574", ""),
)


def table(folder: Path, rows=ROWS, header: str = "lat,lon,name") -> Path:
    path = folder / "places.csv"
    with path.open("w", encoding="utf-8", newline="") as file:
        file.write(f"{header}\n")
        csv.writer(file).writerows(rows)
    return path


def test_each_place_is_as_ground_alone_in_the_files_order(run: Run, tmp_path: Path) -> None:
    status, out, _ = run("ground", "--places", str(table(tmp_path)), "--sample", "--json")
    found = json.loads(out)
    assert (status, found["command"]) == (0, "ground places")
    assert [place["place"]["name"] for place in found["places"]] == [row[2] for row in ROWS]
    for row, place in zip(ROWS, found["places"], strict=True):
        alone = json.loads(run("ground", f"{row[0]} {row[1]}", "--sample", "--json")[1])
        for key in ("schema", "command", "settings_file"):
            del alone[key]
        place["place"]["name"] = ""
        assert place == alone


def test_the_csv_says_what_the_json_says_and_runs_no_formula(run: Run, tmp_path: Path) -> None:
    to = tmp_path / "out.csv"
    arguments = ("ground", "--places", str(table(tmp_path)), "--sample", "--csv", str(to))
    status, out, _ = run(*arguments, "--json")
    assert status == 0
    with to.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["name"] for row in rows] == [
        "Corrie floor",
        '\'=HYPERLINK("x")',
        "Corrie floor, upper",
        "59.224 -8.0574",
    ]
    for row, place in zip(rows, json.loads(out)["places"], strict=True):
        assert 0.0 <= float(row["slope_deg"]) - place["slope_deg"] < 0.1
        assert 0.0 <= float(row["slope_high_deg"]) - place["slope_high_deg"] < 0.1
        assert 0.0 <= place["slope_low_deg"] - float(row["slope_low_deg"]) < 0.1
        assert row["open_above"] == ("yes" if place["open_above"] else "no")
        assert row["cautions"].split() == [caution["key"] for caution in place["cautions"]]
    cautions = (tmp_path / "out.csv.cautions.txt").read_text("utf-8")
    assert "sample\t" in cautions
    assert f"no_forecast\t{NO_FORECAST_WORDS}\n" in cautions
    assert run(*arguments)[0] == 2  # not overwritten
    assert run(*arguments, "--force")[0] == 0


def test_the_terminal_has_a_row_for_each_and_every_caution(run: Run, tmp_path: Path) -> None:
    status, out, _ = run("ground", "--places", str(table(tmp_path)), "--sample")
    assert status == 0
    assert " ".join(out.split()).startswith(NO_FORECAST_WORDS)
    assert out.count("Corrie floor") == 2
    assert "at least" in out
    assert "An overhead angle says how steeply" in out


def test_places_near_each_other_share_what_was_read(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    windows = []
    ready = kept_ground.read_ground

    def counted(source, window, look):
        windows.append(window)
        return ready(source, window, look)

    monkeypatch.setattr(kept_ground, "read_ground", counted)
    assert run("ground", "--places", str(table(tmp_path)), "--sample", "--json")[0] == 0
    # The two on the corrie floor, though another place stands between them in the file.
    assert len(windows) == 3


@pytest.mark.parametrize(
    ("header", "rows", "message"),
    [
        ("lat,lon,name", [("59.2", "-8.0", "A"), ("95", "-8.0", "B")], "Line 3 of places.csv should be"),
        ("lat,lon,name", [("59.2", "nan", "A")], "got 59.2,nan,A. Correct it."),
        ("lat,lon,name", [("59.2",)], "a longitude of -180 to 180 degrees, then a name; got 59.2."),
        ("lat,lon", [("59.2", "-8.0", "A")], "degrees; got 59.2,-8.0,A. Correct it."),
        ("lat,lon", [("59_2", "-8.0")], "Line 2 of places.csv"),
        (
            "place,name",
            [("HV 5572 518", "A")],
            "Line 2 of places.csv should be a place, then a name; got HV 5572 518,A. ",
        ),
        (
            "place",
            [("HV 5572 5188", "A")],
            "Line 2 of places.csv should be a place; got HV 5572 5188,A. Correct it.",
        ),
    ],
)
def test_a_row_that_is_no_place_is_refused_by_its_line(tmp_path: Path, header, rows, message) -> None:
    with pytest.raises(PlaceError) as error:
        read_places(table(tmp_path, rows, header))
    assert message in str(error.value)


def test_grid_references_stand_in_a_column_place(tmp_path: Path) -> None:
    """A list of references could be a planned line, and no list of places."""
    rows = [("HV 5572 5188", "Foot"), ("59.2234 -8.0712", "")]
    foot, top = (place for _, place in read_places(table(tmp_path, rows, "place,name")))
    assert (foot, top) == (parse_place("HV 5572 5188", "Foot"), parse_place("59.2234 -8.0712"))


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "",
            "places.csv should begin with lat,lon or place, then ,name or not; got nothing. Add it.",
        ),
        (
            "lon,lat\n-8,59\n",
            "places.csv should begin with lat,lon or place, then ,name or not; got lon,lat. Add it.",
        ),
        ("lat,lon\n\n", "places.csv should hold 1 to 10000 places; it has 0. Change the file."),
        (
            'lat,lon,name\n59.2,-8.0,"open\n',
            "Line 2 of places.csv could not be read (unexpected end of data).",
        ),
    ],
)
def test_what_is_no_table_of_places_is_refused(tmp_path: Path, text: str, message: str) -> None:
    path = tmp_path / "places.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(FileReadError) as error:
        read_places(path)
    assert str(error.value).startswith(message)


def test_more_places_than_the_ceiling_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tables, "MOST_PLACES", 3)
    with pytest.raises(FileReadError, match="should hold 1 to 3 places; it has 4"):
        read_places(table(tmp_path))


def test_a_file_too_large_is_refused_for_its_size(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its own refusal was caught as an error of reading: "it is not text in UTF-8"."""
    monkeypatch.setattr(tables, "MOST_BYTES", 20)
    with pytest.raises(
        FileReadError, match=r"^A file of places should be at most 5 MB; places\.csv is larger\."
    ):
        read_places(table(tmp_path))


def test_a_place_off_the_model_is_refused_by_its_line(run: Run, tmp_path: Path) -> None:
    path = table(tmp_path, [*ROWS, ("57.00000", "-4.00000", "Far")])
    status, out, told = run("ground", "--places", str(path), "--sample", "--csv", str(tmp_path / "out.csv"))
    assert (status, out) == (2, "")
    assert "Line 6 of places.csv: The place should lie on the elevation model" in told
    assert not (tmp_path / "out.csv").exists()


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((), "A place or --places FILE is needed, one of the two; got none. Give one."),
        (("59.2 -8.0", "--places", "p.csv"), "one of the two; got both. Give one."),
        (
            ("59.2 -8.0", "--csv", "o.csv"),
            "--csv belongs to --places, which is missing. Add it, or leave --csv out.",
        ),
        (
            ("--places", "p.csv", "--figure", "f.png"),
            "--figure draws one place; with --places there are several.",
        ),
    ],
)
def test_options_that_do_not_go_together(run: Run, arguments, message: str) -> None:
    status, _, told = run("ground", *arguments, "--sample")
    assert status == 2
    assert message in told
