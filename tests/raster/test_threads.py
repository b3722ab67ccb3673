"""Work in parts: every item once, in order, and no more than a part given out."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import pytest

from steybrae.raster import blocks as threads
from steybrae.raster.blocks import each


@pytest.mark.parametrize("count", [0, 1, 9, 10, 11, 35])
def test_every_item_once_in_order_and_in_parts(monkeypatch: pytest.MonkeyPatch, count: int) -> None:
    monkeypatch.setattr(threads, "AT_ONCE", 10)
    given: list[int] = []

    class Counting(ThreadPoolExecutor):
        def submit(self, *arguments, **options):
            given.append(1)
            return super().submit(*arguments, **options)

    with Counting(2) as pool:
        seen = []
        for found in each(pool, lambda item: item * item, range(count)):
            seen.append(found)
            assert len(given) <= 10 * ((len(seen) - 1) // 10 + 1)
    assert seen == [item * item for item in range(count)]


def test_an_error_ends_it() -> None:
    def work(item: int) -> int:
        return 1 // (item - 3)

    with ThreadPoolExecutor(2) as pool, pytest.raises(ZeroDivisionError):
        list(each(pool, work, range(10)))
