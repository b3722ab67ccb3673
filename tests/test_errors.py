"""What a whole process shares is changed by one thread at a time, and put back."""

from __future__ import annotations

import threading
import warnings

from steybrae.errors import ONE_AT_A_TIME, hushed


def test_filters_are_changed_by_one_thread_at_a_time() -> None:
    before = list(warnings.filters)
    got: list[bool] = []
    other = threading.Thread(target=lambda: got.append(ONE_AT_A_TIME.acquire(blocking=False)))
    with hushed():
        warnings.simplefilter("ignore")
        with hushed():  # the same thread may go on
            other.start()
            other.join()
    assert got == [False]
    assert list(warnings.filters) == before
