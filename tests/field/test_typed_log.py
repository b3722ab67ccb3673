"""What people write on paper, typed in: times with a zone, grid references, readings with blanks."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest

from steybrae.errors import DateError, LogError
from steybrae.field.log import COLUMNS, parse_moment, row_from_typed
from steybrae.files.logs import add_rows, append_row, read_log

HALF_PAST = datetime(2027, 2, 14, 10, 30, tzinfo=UTC)


@pytest.mark.parametrize(
    ("text", "moment"),
    [
        ("14 Feb 2027 10:30 UTC", HALF_PAST),
        ("14 February 2027, 10:30 GMT", HALF_PAST),
        ("14.2.2027 11.30 CET", HALF_PAST),
        ("14.02.2027 11h30 +1", HALF_PAST),
        ("2027-02-14 10:30 Z", HALF_PAST),
        ("2027-02-14T10:30Z", HALF_PAST),
        ("2027-02-14T10:30:00+00:00", HALF_PAST),
        ("14 feb 2027 04:30 UTC-6", HALF_PAST),
        ("14 Feb 2027 16:00 +0530", HALF_PAST),
        ("14 Feb 2027 10:30 Europe/London", HALF_PAST),
        ("14 Jul 2027 11:30 Europe/London", datetime(2027, 7, 14, 10, 30, tzinfo=UTC)),
        ("14 Jul 2027 11:30 BST", datetime(2027, 7, 14, 10, 30, tzinfo=UTC)),
        ("  14   Feb 2027   10:30:15 UTC ", HALF_PAST + timedelta(seconds=15)),
    ],
)
def test_times_as_people_write_them(text: str, moment: datetime) -> None:
    found = parse_moment(text)
    assert found == moment
    assert found.utcoffset() is not None


@pytest.mark.parametrize(
    "text",
    [
        "", "10:30", "14 Feb 2027 10:30", "2027-02-14T10:30", "14/2/2027 10:30 UTC", "31 Feb 2027 10:30 UTC",
        "14 Feb 2027 25:30 UTC", "14 Feb 27 10:30 UTC", "14 Foo 2027 10:30 UTC", "14 Feb 2027 10:30 IST",
        "14 Feb 2027 10:30 Mars/Base", "14 Feb 2027 10:30 ../x",
    ],
)  # fmt: skip
def test_times_that_leave_something_open_are_refused(text: str) -> None:
    message = f"A time should look like 14 Feb 2027 10:30 UTC, with its zone; got {text!r}. Write it so."
    with pytest.raises(DateError, match=f"^{re.escape(message)}$"):
        parse_moment(text)


def typed(**cells: str) -> dict[str, str]:
    return {"time": "14 Feb 2027 10:30 UTC", "place": "HV 5572 5188", "readings_deg": "34; 36", **cells}


def test_readings_and_places_as_they_stand_on_paper() -> None:
    for text in ("34; 36", "34 36", "34°;36°", "34deg 36deg"):
        assert row_from_typed(typed(readings_deg=text)).readings_deg == (34.0, 36.0)
    assert row_from_typed(typed(place="59.2131, -8.0366")).lat_deg == 59.2131
    nowhere = row_from_typed(typed(place=""))
    assert (nowhere.lat_deg, nowhere.lon_deg) == (None, None)
    assert row_from_typed(typed(aspect_true_deg="045°")).aspect_true_deg == 45.0


@pytest.mark.parametrize(
    ("cells", "message"),
    [
        ({"readings_deg": ""}, "At least one reading should be given; got none. Write it like 34deg."),
        (
            {"aspect_true_deg": "NE"},
            "aspect_true_deg should be degrees from true north, like 045; got 'NE'. Correct it.",
        ),
        (
            {"time": "yesterday"},
            "A time should look like 14 Feb 2027 10:30 UTC, with its zone; got 'yesterday'. Write it so.",
        ),
    ],
)
def test_a_cell_that_cannot_be_read_says_so(cells: dict[str, str], message: str) -> None:
    with pytest.raises(LogError, match=f"^{re.escape(message)}$"):
        row_from_typed(typed(**cells))


def test_a_typed_table_is_read_and_added_to_a_log_once(tmp_path: Path) -> None:
    table, log = tmp_path / "table.csv", tmp_path / "log.csv"
    table.write_text(
        "time,observer,place,note,readings_deg\n"
        '14 Feb 2027 10:30 UTC,R. Fennar,HV 5572 5188,"wind-packed, up",34; 36; 33; 35\n'
        "14.2.2027 11:45 CET,A. Nyberg,,,31 32\n"
        "14 Feb 2027 12:00,A. Nyberg,,no zone,31\n",
        encoding="utf-8",
    )
    read = read_log(table)
    assert [row.observer for row in read.rows] == ["R. Fennar", "A. Nyberg"]
    assert read.rows[1].time == datetime(2027, 2, 14, 11, 45, tzinfo=timezone(timedelta(hours=1)))
    assert [line.line for line in read.damaged] == [4]
    assert add_rows(log, read.rows) == 2
    assert add_rows(log, read.rows) == 0
    assert read_log(log).rows == read.rows
    assert set(COLUMNS) <= set(log.read_text("utf-8").splitlines()[0].replace('"', "").split(","))
    # A typed table has no columns for what a log keeps: nothing is added to it.
    before = table.read_bytes()
    with pytest.raises(LogError, match="should begin with the header of a log of readings"):
        append_row(table, read.rows[0])
    assert table.read_bytes() == before
