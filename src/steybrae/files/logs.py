"""The log of readings on disk: appended to safely, read without losing a line.

One row is added by one write at the end of the file, under a lock, and flushed to the disk
before the lock is let go. Where the disk takes only part of it, the part is cut off again.
A line that another hand or a killed writer left half done stays as it is: the next row
starts on a line of its own, and reading reports the damaged line with its number.
"""

from __future__ import annotations

import csv
import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from steybrae.errors import FileReadError, FileWriteError, LogError
from steybrae.field.log import (
    COLUMNS,
    NEEDED,
    DamagedRow,
    LogRow,
    csv_line,
    row_from_cells,
    row_from_typed,
    row_to_cells,
)
from steybrae.field.review import Review, merged_rows, review
from steybrae.files.whole import check_writable, locked
from steybrae.frozen import dataclass

HEAD_BYTES: Final = 65_536
"""The header is looked for in so many bytes from the start (our choice)."""

MOST_BYTES: Final = 16_000_000
"""Largest log read, bytes (our choice): some 60 000 readings."""

LOCK_WAIT_S: Final = 30.0
"""Longest wait for another writer, seconds (our choice)."""

MOST_LINES: Final = 400
"""Most lines that one quoted cell may run over (our choice)."""

_BOM: Final = b"\xef\xbb\xbf"


@dataclass(frozen=True)
class LogRead:
    """Rows of a log as read, and every other line but the header and empty ones; none is dropped."""

    rows: tuple[LogRow, ...]
    damaged: tuple[DamagedRow, ...]


def append_row(path: Path, row: LogRow) -> None:
    """Add one row at the end of a log; a new log gets its header.

    Columns follow the header of the file: their order may differ and others may be there, which
    stay empty in the new row. `LogError` for a file that is no log of readings, which is left as it
    is; `FileWriteError` where the system refused, or another writer held the log too long: the row
    is not in it.
    """
    _append(path, [row])


def add_rows(path: Path, rows: Sequence[LogRow]) -> int:
    """Add the rows of another log, such as one kept on a phone, that this one does not hold yet.

    Rows that are equal in every cell to one of the log are not added again. How many were added:
    all of them in one write, or none. Refused as in `append_row`.
    """
    return _append(path, rows, once=True)


def _append(path: Path, rows: Sequence[LogRow], *, once: bool = False) -> int:
    busy = (
        f"{path} should be free to add to within {LOCK_WAIT_S:g} seconds; another program holds it. Close "
        "that and add the row again."
    )
    instead = path.with_name(f".{path.name}.lock")
    with _refusals(path), locked(path, LOCK_WAIT_S, busy, instead=instead, needed=True) as handle:
        size = os.fstat(handle).st_size
        if once and size:
            there = read_log(path).rows
            rows = merged_rows([there, rows])[0][len(there) :]
        if rows:
            text = _addition(path, handle, size, rows)
            _write_whole(handle, text.encode("utf-8"), size)
            if size == 0:
                _flush_folder(path.parent)
        return len(rows)


@contextmanager
def _refusals(path: Path) -> Iterator[None]:
    """Say in one sentence what the system refuses within."""
    try:
        yield
    except FileWriteError:
        raise
    except OSError as error:
        reason = error.strerror or str(error)
        message = f"{path} could not be added to: {reason}. The row was not written."
        raise FileWriteError(message) from error


def check_log(path: Path) -> None:
    """Say now, before the answer is shown, that a row could not be added to a file.

    `LogError` for a file that is no log of readings; `FileWriteError` where it is no file, or the
    system refuses it.
    """
    with _refusals(path):
        if not path.exists():
            check_writable(path)
            return
        with path.open("r+b") as file:
            head = file.read(HEAD_BYTES)
            size = os.fstat(file.fileno()).st_size
    if size and not _is_cut_header(head, size):
        _header(path, _lines(head))


def read_log(path: Path) -> LogRead:
    """Read a log, or the rows of a paper log typed into a table; what is no row is reported, never dropped.

    See `steybrae.field.log`. `FileReadError` where the file cannot be read, or is too large;
    `LogError` without a header of a log of readings. Both lists are empty for an empty file.
    """
    try:
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except OSError as error:
        reason = error.strerror or str(error)
        message = f"{path} could not be read: {reason}. Give the log of readings."
        raise FileReadError(message) from error
    if len(data) > MOST_BYTES:
        message = (
            f"A log of readings should have at most {MOST_BYTES // 10**6} MB; {path} has more. Begin a new "
            "one each season."
        )
        raise FileReadError(message)
    lines = _lines(data)
    if not any(line.strip() for line in lines):
        return LogRead((), ())
    header_at, header = _header(path, lines, typed=True)
    return _rows(lines, header_at, header)


def review_logs(paths: Sequence[Path], *, names: bool) -> Review:
    """Review a log, or the logs of a class; parameters and errors as of `read_log` and `review`."""
    logs = [read_log(path) for path in paths]
    rows, doubled = merged_rows([log.rows for log in logs])
    damaged = [line for log in logs for line in log.damaged]
    return review(rows, damaged=damaged, doubled=doubled, names=names)


def _addition(path: Path, handle: int, size: int, rows: Sequence[LogRow]) -> str:
    """Text to add: what the file lacks before a row, then the rows."""
    cells = [row_to_cells(row) for row in rows]
    whole = "".join(csv_line(list(row.values())) for row in cells)
    if size == 0:
        return csv_line(list(COLUMNS)) + whole
    os.lseek(handle, 0, os.SEEK_SET)
    head = os.read(handle, HEAD_BYTES)
    os.lseek(handle, size - 1, os.SEEK_SET)
    start = "" if os.read(handle, 1) == b"\n" else "\n"
    if _is_cut_header(head, size):
        return start + csv_line(list(COLUMNS)) + whole
    _, header = _header(path, _lines(head))
    return start + "".join(csv_line([row.get(name, "") for name in header]) for row in cells)


def _is_cut_header(head: bytes, size: int) -> bool:
    """Whether a writer was killed while the first line was on its way, or only blanks stand."""
    full = csv_line(list(COLUMNS)).encode("utf-8")
    return size < len(full) - 1 and (full.startswith(head.removesuffix(b"\n")) or not head.strip())


def _write_whole(handle: int, data: bytes, size: int) -> None:
    """One write at the end; whole and on the disk, or the file as it was."""
    try:
        whole = os.write(handle, data) == len(data)
        os.fsync(handle)
    except OSError:
        os.ftruncate(handle, size)
        raise
    if not whole:
        os.ftruncate(handle, size)
        message = "the disk took only part of it"
        raise OSError(message)


def _flush_folder(folder: Path) -> None:
    # A new name outlasts a power cut only when its folder is on the disk too; Windows cannot open one.
    if hasattr(os, "O_DIRECTORY"):
        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _lines(data: bytes) -> list[bytes]:
    lines = data.removeprefix(_BOM).split(b"\n")
    return lines[:-1] if lines[-1] == b"" else lines


def _header(path: Path, lines: list[bytes], *, typed: bool = False) -> tuple[int, list[str]]:
    """Position and columns of the first line that names every column of a log, or what a typed one needs."""
    for position, line in enumerate(lines):
        cells = _cells([line])
        if cells is not None and (set(COLUMNS) <= set(cells) or (typed and set(NEEDED) <= set(cells))):
            return position, cells
    first = next((line for line in lines if line.strip()), b"")
    message = (
        f"{path} should begin with the header of a log of readings ({COLUMNS[0]},{COLUMNS[1]},...); "
        f"got {first[:60].decode('utf-8', 'backslashreplace')!r}. Give another file name."
    )
    raise LogError(message)


def _cells(lines: list[bytes]) -> list[str] | None:
    """Cells of one CSV record that may run over several lines; None if it is none."""
    try:
        text = b"\n".join(lines).decode("utf-8").removesuffix("\r")
        records = list(csv.reader([text], strict=True))
    except (UnicodeDecodeError, csv.Error):
        return None
    return records[0] if len(records) == 1 else None


def _rows(lines: list[bytes], header_at: int, header: list[str]) -> LogRead:
    rows: list[LogRow] = []
    damaged: list[DamagedRow] = []
    position = 0
    while position < len(lines):
        line = lines[position]
        skipped = not line.strip() or position == header_at
        found = (None, 1, "") if skipped else _record(lines, position, header)
        row, used, reason = found
        if row is not None:
            rows.append(row)
        elif not skipped:
            text = line.decode("utf-8", "backslashreplace").removesuffix("\r")
            damaged.append(DamagedRow(position + 1, text, reason))
        position += used
    return LogRead(tuple(rows), tuple(damaged))


def _record(lines: list[bytes], start: int, header: list[str]) -> tuple[LogRow | None, int, str]:
    """Row that starts on a line, how many lines it takes, and why it is none.

    An odd number of quotes leaves a cell open over the line's end. It may go on below, or
    its writer was killed: then a whole row follows, which must not be swallowed.
    """
    row, reason = _row(lines[start : start + 1], header)
    if row is not None or lines[start].count(b'"') % 2 == 0:
        return row, 1, reason
    last = min(len(lines), start + MOST_LINES)
    for end in range(start + 1, last):
        if _row(lines[end : end + 1], header)[0] is not None:
            break
        if lines[end].count(b'"') % 2 == 1:
            row, _ = _row(lines[start : end + 1], header)
            if row is not None:
                return row, end + 1 - start, ""
            break
    return None, 1, "A quote is opened and not closed: the row was cut off or edited."


def _row(lines: list[bytes], header: list[str]) -> tuple[LogRow | None, str]:
    cells = _cells(lines)
    if cells is None:
        return None, "The line is not CSV in UTF-8."
    if len(cells) != len(header):
        return None, f"The row should have {len(header)} cells; it has {len(cells)}."
    try:
        read = row_from_cells if set(COLUMNS) <= set(header) else row_from_typed
        return read(dict(zip(header, cells, strict=True))), ""
    except LogError as error:
        return None, str(error)
