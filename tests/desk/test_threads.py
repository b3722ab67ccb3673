"""What the desk keeps is bounded, and its threads do first what somebody waits for."""

from __future__ import annotations

import threading
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from steybrae.desk.readers import LATER, ModelThreads
from steybrae.desk.tiles.cells import Kept
from steybrae.errors import FileReadError
from steybrae.files.model.rasters import RasterModel
from steybrae.files.results import sample_model


def test_what_is_kept_has_at_most_its_bytes_and_the_oldest_goes_first() -> None:
    made: list[int] = []
    kept: Kept[bytes] = Kept(100, len)

    def ask(key: int) -> bytes:
        return kept.get(key, lambda: made.append(key) or bytes(30))  # type: ignore[func-returns-value]

    for key in (1, 2, 3, 1, 4):
        ask(key)
    assert made == [1, 2, 3, 4]
    ask(1)
    ask(3)
    assert made == [1, 2, 3, 4], "1 was asked for after 2"
    ask(2)
    assert made == [1, 2, 3, 4, 2]


def test_what_is_larger_than_all_room_is_given_and_not_kept() -> None:
    kept: Kept[bytes] = Kept(10, len)
    assert [len(kept.get("a", lambda: bytes(30))) for _ in range(2)] == [30, 30]
    assert kept.get("b", lambda: b"b", keep=False) == b"b"
    assert kept.get("b", lambda: b"c") == b"c"


def test_a_thing_is_made_once_for_all_who_ask_at_once() -> None:
    made: list[int] = []
    kept: Kept[int] = Kept(10, lambda _: 1)

    def make() -> int:
        made.append(1)
        time.sleep(0.02)
        return 7

    with ThreadPoolExecutor(8) as pool:
        assert set(pool.map(lambda _: kept.get("a", make), range(8))) == {7}
    assert len(made) == 1


def test_making_that_fails_is_tried_again() -> None:
    kept: Kept[int] = Kept(10, lambda _: 1)
    with pytest.raises(ZeroDivisionError):
        kept.get("a", lambda: 1 // 0)
    assert kept.get("a", lambda: 3) == 3


def test_what_somebody_waits_for_comes_before_the_rest() -> None:
    threads = ModelThreads([sample_model()], None)
    go, done = threading.Event(), []
    threads.submit(lambda _: go.wait())
    later = [threads.submit(lambda _, k=k: done.append(k), when=LATER) for k in (1, 2)]
    soon = threads.submit(lambda _: done.append(0))
    go.set()
    for one in (soon, *later):
        one.result()
    assert done == [0, 1, 2]
    threads.close()


def test_threads_are_idle_while_nobody_waits_for_them() -> None:
    threads = ModelThreads([sample_model()], None)
    go = threading.Event()
    later = threads.submit(lambda _: go.wait(), when=LATER)
    assert threads.idle.is_set()
    soon = [threads.submit(lambda _: threads.idle.is_set()) for _ in range(2)]
    assert not threads.idle.is_set()
    go.set()
    assert (later.result(), *(one.result() for one in soon)) == (True, False, False)
    threads.close()
    assert threads.idle.is_set()


def test_an_error_is_raised_where_the_answer_is_asked_for() -> None:
    threads = ModelThreads([sample_model()], None)

    def fail(_: RasterModel) -> None:
        message = "no"
        raise ValueError(message)

    with pytest.raises(ValueError, match=r"^no$"):
        threads.call(fail)
    assert threads.call(lambda model: model.grid.shape) == (700, 900), "the thread goes on"
    threads.close()


def test_a_model_that_cannot_be_opened_is_told_to_whoever_asks() -> None:
    threads = ModelThreads([Path("none.tif")], None, 2)
    for _ in range(3):
        with pytest.raises(FileReadError, match=r"none\.tif"):
            threads.call(lambda model: model)
    threads.close()
