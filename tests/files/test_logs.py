"""The log on disk: nothing is lost, nothing is merged, whatever else happens to the file."""

import csv
import os
import re
import subprocess
import sys
import time
from collections import Counter
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from steybrae.errors import FileReadError, FileWriteError, LogError
from steybrae.field.log import COLUMNS, LogRow, csv_line, row_to_cells
from steybrae.files import logs
from steybrae.files.logs import LogRead, append_row, read_log
from steybrae.files.whole import locked

NOON = datetime(2026, 2, 14, 12, 0, tzinfo=timezone(timedelta(hours=1)))


def row(note: str = "", observer: str = "Ana", check: str = "3a") -> LogRow:
    return LogRow(
        time=NOON,
        observer=observer,
        instrument="clino",
        readings_deg=(34.0, 35.1),
        mean_deg=34.55,
        uncertainty_95_deg=10**0.5,
        lat_deg=57.1,
        lon_deg=-3.6,
        reference_source="map, 5 gaps",
        reference_slope_deg=31.2,
        aspect_true_deg=45.0,
        note=note,
        plan="plan.zip",
        check=check,
    )


ROUGH = 'wind, "gusty"\nsecond line; é, 雪'


def header() -> bytes:
    return csv_line(list(COLUMNS)).encode()


def line(one: LogRow) -> bytes:
    return csv_line(list(row_to_cells(one).values())).encode()


def test_a_new_log_has_its_header_once_and_reads_back_exactly(tmp_path: Path) -> None:
    path = tmp_path / "readings.csv"
    rows = (row("first"), row(ROUGH, check=""), row("third"))
    for one in rows:
        append_row(path, one)
    assert read_log(path) == LogRead(rows, ())
    assert path.read_bytes() == header() + b"".join(line(one) for one in rows)


def test_other_programs_read_it_as_plain_csv(tmp_path: Path) -> None:
    path = tmp_path / "readings.csv"
    append_row(path, row(ROUGH))
    with path.open(newline="", encoding="utf-8") as stream:
        (cells,) = csv.DictReader(stream)
    assert cells["note"] == ROUGH.replace("\n", " ")
    assert cells["reference_source"] == "map, 5 gaps"


text = st.text(st.characters(exclude_categories=("Cs",), exclude_characters="\0"), max_size=40)


@given(st.lists(st.tuples(text, text), min_size=1, max_size=4))
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_text_comes_back(tmp_path: Path, notes: list[tuple[str, str]]) -> None:
    path = tmp_path / "any.csv"
    path.unlink(missing_ok=True)
    rows = tuple(row(note, observer) for note, observer in notes)
    for one in rows:
        append_row(path, one)
    assert read_log(path) == LogRead(rows, ())


def test_a_row_cut_anywhere_is_kept_reported_and_never_merged(tmp_path: Path) -> None:
    """A writer killed after every possible byte of a row with quotes, commas and line breaks."""
    path = tmp_path / "cut.csv"
    before, cut, after = row("before"), line(row(ROUGH)), row("after")
    for length in range(1, len(cut) - 1):
        path.write_bytes(header() + line(before) + cut[:length])
        torn = read_log(path)
        assert torn.rows == (before,)
        assert torn.damaged
        assert torn.damaged[0].line == 3
        append_row(path, after)
        mended = read_log(path)
        assert mended.rows == (before, after)
        assert mended.damaged == torn.damaged
        torn_bytes = cut[:length] if cut[:length].endswith(b"\n") else cut[:length] + b"\n"
        assert path.read_bytes() == header() + line(before) + torn_bytes + line(after)


def test_a_whole_row_without_its_line_end_is_a_row(tmp_path: Path) -> None:
    path = tmp_path / "edited.csv"
    path.write_bytes(header() + line(row("one")).removesuffix(b"\n"))
    append_row(path, row("two"))
    assert [one.note for one in read_log(path).rows] == ["one", "two"]


def test_a_header_cut_anywhere_is_made_good(tmp_path: Path) -> None:
    path = tmp_path / "cut.csv"
    for length in range(1, len(header()) + 1):
        path.write_bytes(header()[:length])
        append_row(path, row("after"))
        read = read_log(path)
        assert read.rows == (row("after"),)
        assert len(read.damaged) == (1 if length < len(header()) - 1 else 0)


def test_damaged_rows_are_reported_with_line_and_reason(tmp_path: Path) -> None:
    path = tmp_path / "damaged.csv"
    good = line(row("good"))
    bad_mean = good.replace(b'"34.55"', b'"steep"')
    data = [
        header(), good, b"scribble\n", b"\n", bad_mean, b'"\xff\xfe","x"\n', b'"open quote\n', good,
        good.replace(b'"\n', b'","more"\n'),
    ]  # fmt: skip
    path.write_bytes(b"".join(data))
    read = read_log(path)
    assert read.rows == (row("good"), row("good"))
    assert [(one.line, one.reason) for one in read.damaged] == [
        (3, "The row should have 14 cells; it has 1."),
        (5, "mean_deg in the log should be a number; got 'steep'. Correct it."),
        (6, "The line is not CSV in UTF-8."),
        (7, "A quote is opened and not closed: the row was cut off or edited."),
        (9, "The row should have 14 cells; it has 15."),
    ]
    assert read.damaged[0].text == "scribble"
    assert read.damaged[2].text == r'"\xff\xfe","x"'


def test_a_log_saved_by_a_spreadsheet_still_works(tmp_path: Path) -> None:
    """Byte order mark, CRLF, columns in another order and one more, quotes only where needed."""
    path = tmp_path / "sheet.csv"
    names = ["snow", *reversed(COLUMNS)]
    cells = row_to_cells(row(ROUGH)) | {"snow": "wind slab"}
    with path.open("w", newline="", encoding="utf-8-sig") as stream:
        writer = csv.writer(stream)
        writer.writerow(names)
        writer.writerow([cells[name] for name in names])
    append_row(path, row("appended"))
    assert read_log(path) == LogRead((row(ROUGH), row("appended")), ())


def test_a_foreign_file_is_refused_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "shopping.csv"
    path.write_bytes(b"item,price\nrope,99\n")
    message = (
        f"{path} should begin with the header of a log of readings (time,observer,...); "
        "got 'item,price'. Give another file name."
    )
    for use in (lambda: append_row(path, row()), lambda: read_log(path)):
        with pytest.raises(LogError, match=f"^{re.escape(message)}$"):
            use()
    assert path.read_bytes() == b"item,price\nrope,99\n"


def test_empty_and_missing_files(tmp_path: Path) -> None:
    path = tmp_path / "empty.csv"
    path.write_bytes(b"\n")
    assert read_log(path) == LogRead((), ())
    append_row(path, row("first"))
    assert read_log(path) == LogRead((row("first"),), ())
    missing = tmp_path / "none.csv"
    message = f"{missing} could not be read: No such file or directory. Give the log of readings."
    with pytest.raises(FileReadError, match=f"^{re.escape(message)}$"):
        read_log(missing)
    nowhere = tmp_path / "none" / "log.csv"
    message = f"{nowhere} could not be added to: No such file or directory. The row was not written."
    with pytest.raises(FileWriteError, match=f"^{re.escape(message)}$"):
        append_row(nowhere, row())


def test_a_full_disk_leaves_the_log_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "readings.csv"
    append_row(path, row("kept"))
    before = path.read_bytes()
    write = os.write
    monkeypatch.setattr(logs.os, "write", lambda handle, data: write(handle, data[:20]))
    message = f"{path} could not be added to: the disk took only part of it. The row was not written."
    with pytest.raises(FileWriteError, match=f"^{re.escape(message)}$"):
        append_row(path, row("lost"))
    assert path.read_bytes() == before


def test_a_held_log_is_an_error_not_a_hang(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "readings.csv"
    monkeypatch.setattr(logs, "LOCK_WAIT_S", 0.05)
    with locked(path, 0.0, "", instead=None):
        message = (
            f"{path} should be free to add to within 0.05 seconds; another program holds it. "
            "Close that and add the row again."
        )
        with pytest.raises(FileWriteError, match=f"^{re.escape(message)}$"):
            append_row(path, row())


MANY = """
import sys
from dataclasses import replace
from pathlib import Path
from steybrae.files import logs, whole
path, writer, count, lock_file = Path(sys.argv[1]), *map(int, sys.argv[2:])
(one,) = logs.read_log(path.with_name("pattern.csv")).rows
if lock_file:
    whole.fcntl = None
for number in range(count):
    logs.append_row(path, replace(one, observer=str(writer), note=f'{number},"\\n'))
"""


def written_by_all(path: Path, writers: int, count: int, *, lock_file: bool) -> LogRead:
    append_row(path.with_name("pattern.csv"), row())
    processes = [
        subprocess.Popen(
            [sys.executable, "-c", MANY, str(path), str(writer), str(count), str(int(lock_file))]
        )
        for writer in range(writers)
    ]
    assert [process.wait() for process in processes] == [0] * writers
    path.with_name("pattern.csv").unlink()
    return read_log(path)


@pytest.mark.parametrize(("count", "lock_file"), [(300, False), (100, True)])
def test_eight_processes_lose_nothing(tmp_path: Path, count: int, *, lock_file: bool) -> None:
    path = tmp_path / "shared.csv"
    read = written_by_all(path, 8, count, lock_file=lock_file)
    assert read.damaged == ()
    found = Counter((one.observer, one.note) for one in read.rows)
    expected = {(str(w), f'{n},"') for w in range(8) for n in range(count)}
    assert set(found) == expected
    assert set(found.values()) == {1}
    assert path.read_bytes().count(header()) == 1
    assert os.listdir(tmp_path) == ["shared.csv"]  # noqa: PTH208
    for writer in range(8):
        order = [one.note for one in read.rows if one.observer == str(writer)]
        assert order == [f'{n},"' for n in range(count)]


WRITER = """
import sys
from pathlib import Path
from steybrae.files.logs import append_row, read_log
path = Path(sys.argv[1])
(one,) = read_log(path).rows[:1]
print("started", flush=True)
while True:
    append_row(path, one)
"""


def test_killed_writers_leave_a_readable_log(tmp_path: Path) -> None:
    path = tmp_path / "killed.csv"
    append_row(path, row(ROUGH))
    for round_ in range(4):
        before = len(read_log(path).rows)
        with subprocess.Popen(
            [sys.executable, "-c", WRITER, str(path)], stdout=subprocess.PIPE, text=True
        ) as writer:
            assert writer.stdout is not None
            assert writer.stdout.readline() == "started\n"
            time.sleep(0.05 + 0.017 * round_)
            writer.kill()
        killed = read_log(path)
        assert len(killed.rows) > before
        assert set(killed.rows) <= {row(ROUGH), row("after")}
        append_row(path, row("after"))
        after = read_log(path)
        assert len(after.rows) == len(killed.rows) + 1
        assert after.rows[-1] == row("after")
        assert after.damaged == killed.damaged


def test_a_log_replaced_by_an_editor_is_followed(tmp_path: Path) -> None:
    """An editor saves by renaming: a row must not go into the file that lost its name."""
    path = tmp_path / "readings.csv"
    append_row(path, row("old"))
    with locked(path, 0.0, "", instead=None):
        edited = tmp_path / "edited.csv"
        edited.write_bytes(path.read_bytes())
        edited.replace(path)
        append_row(path, row("new"))
    assert [one.note for one in read_log(path).rows] == ["old", "new"]


def test_time_zones_come_back(tmp_path: Path) -> None:
    path = tmp_path / "readings.csv"
    append_row(path, row("first"))
    (one,) = read_log(path).rows
    assert one.time.utcoffset() == timedelta(hours=1)
    assert one.time == datetime(2026, 2, 14, 11, 0, tzinfo=UTC)
