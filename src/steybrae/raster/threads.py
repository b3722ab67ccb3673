"""Work given out to threads a part at a time."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Final, TypeVar

AT_ONCE: Final = 4096
"""Tasks given out at once: each takes about a kilobyte, and a country has 200 000 blocks."""

Item = TypeVar("Item")
Result = TypeVar("Result")


def each(pool: ThreadPoolExecutor, work: Callable[[Item], Result], items: Sequence[Item]) -> Iterator[Result]:
    """Work on every item.

    Parameters
    ----------
    pool
        Who works.
    work
        What is done to an item.
    items
        In the order of work.

    Yields
    ------
    object
        Results, in the order of the items.
    """
    for first in range(0, len(items), AT_ONCE):
        yield from pool.map(work, items[first : first + AT_ONCE])
