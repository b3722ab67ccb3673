"""Outputs written whole or not at all, and never over a file without being told to."""

from __future__ import annotations

import os
import stat
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from steybrae.errors import FileWriteError
from steybrae.files.whole import check_outputs, check_writable, write_text, write_whole


def left(folder: Path) -> list[str]:
    """Names in a folder, hidden ones too."""
    return sorted(entry.name for entry in folder.iterdir())


def refusal(path: Path, *, force: bool = False) -> str:
    with pytest.raises(FileWriteError) as early:
        check_writable(path, force=force)
    with pytest.raises(FileWriteError) as late:
        write_text(path, "new", force=force)
    assert str(early.value) == str(late.value)
    return str(late.value)


def test_text_is_utf8_with_bare_line_feeds(tmp_path: Path) -> None:
    write_text(tmp_path / "a.txt", "Stùc 35°\nb\n")
    assert (tmp_path / "a.txt").read_bytes() == "Stùc 35°\nb\n".encode()
    assert left(tmp_path) == ["a.txt"]


def test_an_existing_file_stays(tmp_path: Path) -> None:
    path = tmp_path / "a.txt"
    path.write_text("old")
    assert refusal(path) == (
        f"{path} exists and is not overwritten. Give another name, or --force to replace it."
    )
    assert path.read_text() == "old"
    write_text(path, "new", force=True)
    assert path.read_text() == "new"


@pytest.mark.parametrize("force", [False, True])
def test_a_folder(tmp_path: Path, force: bool) -> None:
    assert refusal(tmp_path, force=force) == (
        f"{tmp_path} should be a file to write; it is a folder. Give a file name."
    )


@pytest.mark.parametrize("force", [False, True])
def test_no_such_folder_and_a_file_in_its_place(tmp_path: Path, force: bool) -> None:
    path = tmp_path / "no" / "a.txt"
    assert refusal(path, force=force) == (
        f"The folder {tmp_path / 'no'} should exist to write a.txt there. Make it first."
    )
    (tmp_path / "no").touch()
    assert refusal(path, force=force) == (
        f"The folder {tmp_path / 'no'} should exist to write a.txt there. Make it first."
    )
    assert left(tmp_path) == ["no"]


def test_a_failure_while_writing_leaves_what_was_there(tmp_path: Path) -> None:
    path = tmp_path / "a.txt"
    path.write_text("old")

    def half(temporary: Path) -> None:
        temporary.write_text("ha")
        raise OSError(28, "No space left on device")

    with pytest.raises(FileWriteError) as caught:
        write_whole(path, half, force=True)
    assert str(caught.value) == (
        f"{path} could not be written: No space left on device. Nothing was left under that name."
    )
    assert path.read_text() == "old"
    assert left(tmp_path) == ["a.txt"]


@pytest.mark.parametrize("error", [KeyboardInterrupt(), ValueError("a slip of ours")])
def test_any_other_stop_leaves_nothing_either(tmp_path: Path, error: BaseException) -> None:
    def stop(temporary: Path) -> None:
        temporary.write_text("ha")
        raise error

    with pytest.raises(type(error)):
        write_whole(tmp_path / "a.txt", stop)
    assert left(tmp_path) == []


def test_a_signal_as_the_temporary_file_is_taken_away_leaves_none(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    unlink, calls = Path.unlink, []

    def stopped(path: Path, **_: object) -> None:
        calls.append(path)
        if len(calls) == 1:
            raise SystemExit(143)
        unlink(path)

    monkeypatch.setattr(Path, "unlink", stopped)
    with pytest.raises(SystemExit):
        write_text(tmp_path / "a.txt", "whole")
    assert [path.name for path in tmp_path.iterdir()] == ["a.txt"]
    assert (tmp_path / "a.txt").read_text("utf-8") == "whole"


def test_the_system_refuses_a_new_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # A folder without write permission stops nobody who runs as root, so the system is played.
    def refuse(*_: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("steybrae.files.whole.Path.open", refuse)
    with pytest.raises(FileWriteError) as caught:
        write_text(tmp_path / "a.txt", "new")
    assert str(caught.value) == (
        f"{tmp_path / 'a.txt'} could not be written: Permission denied. Nothing was left under that name."
    )


def test_a_name_too_long_for_the_system(tmp_path: Path) -> None:
    path = tmp_path / ("a" * 300)
    assert refusal(path) == (
        f"{path} could not be written: File name too long. Nothing was left under that name."
    )
    assert left(tmp_path) == []


@pytest.fixture
def mask() -> Iterator[int]:
    before = os.umask(0o027)
    yield 0o027
    os.umask(before)


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such permissions")
def test_the_permissions_are_those_of_any_new_file(tmp_path: Path, mask: int) -> None:
    write_text(tmp_path / "a.txt", "new")
    assert stat.S_IMODE((tmp_path / "a.txt").stat().st_mode) == 0o666 & ~mask


@pytest.mark.parametrize("links", [True, False])
def test_a_name_taken_while_it_was_written_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, links: bool
) -> None:
    path = tmp_path / "a.txt"
    if not links:
        # As on FAT.
        def refuse(*_: object) -> None:
            raise PermissionError(1, "Operation not permitted")

        monkeypatch.setattr("steybrae.files.whole.Path.hardlink_to", refuse)

    def slowly(temporary: Path) -> None:
        temporary.write_text("mine")
        path.write_text("somebody else's")

    with pytest.raises(FileWriteError) as caught:
        write_whole(path, slowly)
    assert str(caught.value) == (
        f"{path} exists and is not overwritten. Give another name, or --force to replace it."
    )
    assert path.read_text() == "somebody else's"
    path.unlink()
    write_text(path, "mine")
    assert path.read_text() == "mine"
    assert left(tmp_path) == ["a.txt"]


def test_a_name_as_long_as_the_system_allows(tmp_path: Path) -> None:
    path = tmp_path / ("a" * 251 + ".txt")
    write_text(path, "new")
    assert left(tmp_path) == [path.name]


def test_of_eight_that_write_one_new_name_one_succeeds(tmp_path: Path) -> None:
    path, together = tmp_path / "a.txt", threading.Barrier(8)

    def write(number: int) -> bool:
        def content(temporary: Path) -> None:
            temporary.write_text(str(number))
            together.wait(30.0)

        try:
            write_whole(path, content)
        except FileWriteError:
            return False
        return True

    with ThreadPoolExecutor(8) as pool:
        wrote = list(pool.map(write, range(8)))
    assert wrote.count(True) == 1
    assert path.read_text() == str(wrote.index(True))
    assert left(tmp_path) == ["a.txt"]


def test_the_writer_sees_the_suffix(tmp_path: Path) -> None:
    seen = []

    def write(temporary: Path) -> None:
        seen.append(temporary.suffix)
        temporary.write_text("x")

    write_whole(tmp_path / "a.geojson", write)
    assert seen == [".geojson"]


def test_a_link_is_replaced_not_what_it_points_at(tmp_path: Path) -> None:
    (tmp_path / "mine").write_text("old")
    (tmp_path / "link").symlink_to(tmp_path / "mine")
    write_text(tmp_path / "link", "new", force=True)
    assert (tmp_path / "mine").read_text() == "old"
    assert (tmp_path / "link").read_text() == "new"


def test_a_link_to_nowhere_is_an_existing_name(tmp_path: Path) -> None:
    (tmp_path / "link").symlink_to(tmp_path / "nowhere")
    assert refusal(tmp_path / "link") == (
        f"{tmp_path / 'link'} exists and is not overwritten. Give another name, or --force to replace it."
    )


def test_what_is_read_is_never_written(tmp_path: Path) -> None:
    path = tmp_path / "day.gpx"
    path.write_text("mine")
    (tmp_path / "x").mkdir()
    with pytest.raises(FileWriteError) as caught:
        check_outputs([tmp_path / "x" / ".." / "day.gpx"], [path], force=True)
    assert str(caught.value) == (
        f"{tmp_path / 'x' / '..' / 'day.gpx'} is read by this command and is not overwritten. "
        "Give the output another name."
    )


def test_two_outputs_of_one_name(tmp_path: Path) -> None:
    path = tmp_path / "a"
    with pytest.raises(FileWriteError) as caught:
        check_outputs([path, tmp_path / "b", path])
    assert str(caught.value) == (
        f"Each output should have its own name; {path} was given twice. Give one another name."
    )
    check_outputs([path, tmp_path / "b"])
