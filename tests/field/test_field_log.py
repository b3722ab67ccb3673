"""A row of the log and its text form."""

import dataclasses
import re
from datetime import UTC, datetime

import pytest

from steybrae.errors import LogError
from steybrae.field.agreement import Origin, Reference, compare_readings
from steybrae.field.log import (
    COLUMNS,
    LogRow,
    csv_line,
    row_from_cells,
    row_from_result,
    row_to_cells,
)
from steybrae.field.readings import ReadingSet

NOON = datetime(2026, 2, 14, 12, 0, tzinfo=UTC)
PLAIN = LogRow(NOON, "Ana", "clino", (34.0, 36.5), 35.25, 3.1)


def test_cells_are_plain_and_empty_where_unknown() -> None:
    assert row_to_cells(PLAIN) == {
        "time": "2026-02-14T12:00:00+00:00",
        "observer": "Ana",
        "instrument": "clino",
        "readings_deg": "34.0;36.5",
        "mean_deg": "35.25",
        "uncertainty_95_deg": "3.1",
        "lat_deg": "",
        "lon_deg": "",
        "reference_source": "",
        "reference_slope_deg": "",
        "aspect_true_deg": "",
        "plan": "",
        "check": "",
        "note": "",
    }
    assert tuple(row_to_cells(PLAIN)) == COLUMNS
    assert set(COLUMNS) == {field.name for field in dataclasses.fields(LogRow)}


def test_difference_needs_a_reference() -> None:
    assert PLAIN.difference_deg is None
    assert LogRow(NOON, "", "", (34.0,), 34.0, 4.0, reference_slope_deg=31.0).difference_deg == 3.0


def test_every_cell_is_quoted() -> None:
    assert csv_line(["a", 'say "b"', "c,\nd"]) == '"a","say ""b""","c,\nd"\n'


def build(**changes: object) -> LogRow:
    values: dict[str, object] = {
        "time": NOON, "observer": "Ana", "instrument": "clino", "readings_deg": (34.0,),
        "mean_deg": 34.0, "uncertainty_95_deg": 4.0,
    }  # fmt: skip
    return LogRow(**(values | changes))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        (
            {"time": datetime(2026, 2, 14, 12, 0)},
            "A time in the log should have a zone; got 2026-02-14T12:00:00. Add it.",
        ),
        (
            {"readings_deg": ()},
            "A row of the log should have at least one reading; got none. Add it.",
        ),
        (
            {"readings_deg": (34.0, 95.0)},
            "readings_deg in the log should lie between 0 and 90; got 95. Correct it.",
        ),
        (
            {"lat_deg": 91.0},
            "lat_deg in the log should lie between -90 and 90; got 91. Correct it.",
        ),
        (
            {"note": "x" * 10_001},
            "note in the log should have at most 10000 characters; got 10001. Shorten it.",
        ),
    ],
)
def test_what_could_not_be_read_back_is_refused(changes: dict[str, object], message: str) -> None:
    with pytest.raises(LogError, match=f"^{re.escape(message)}$"):
        build(**changes)


@pytest.mark.parametrize(
    ("name", "text", "message"),
    [
        (
            "time",
            "yesterday",
            "time in the log should look like 2026-02-14T10:30:00+00:00; got 'yesterday'. Correct it.",
        ),
        ("mean_deg", "nan", "mean_deg in the log should be a number; got 'nan'. Correct it."),
        ("lat_deg", "N57", "lat_deg in the log should be a number; got 'N57'. Correct it."),
        ("readings_deg", "", "readings_deg in the log should be a number; got ''. Correct it."),
    ],
)
def test_cells_that_do_not_hold_what_they_say(name: str, text: str, message: str) -> None:
    with pytest.raises(LogError, match=f"^{re.escape(message)}$"):
        row_from_cells(row_to_cells(PLAIN) | {name: text})


def test_a_row_takes_the_first_known_reference() -> None:
    references = [
        Reference("void", None),
        Reference("model", 31.0, 28.0, 34.0, Origin("model", aspect_true_deg=45.0)),
        Reference("map", 29.0),
    ]
    result = compare_readings(ReadingSet((34.0, 36.0)), references)
    made = row_from_result(result, time=NOON, observer="Ana", instrument="clino", check="2a")
    assert (made.reference_source, made.reference_slope_deg) == ("model", 31.0)
    assert (made.aspect_true_deg, made.check, made.mean_deg) == (45.0, "2a", 35.0)
    assert row_from_cells(row_to_cells(made)) == made
    alone = compare_readings(ReadingSet((34.0,)))
    made = row_from_result(alone, time=NOON, observer="", instrument="")
    assert (made.reference_source, made.reference_slope_deg) == ("", None)
