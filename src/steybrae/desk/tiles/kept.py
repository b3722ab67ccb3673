"""What was made and may be wanted again, as much as a stated memory holds."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Generic, TypeVar

Thing = TypeVar("Thing")


class Kept(Generic[Thing]):
    """Things by key; those not asked for longest go first. May be shared by threads.

    Parameters
    ----------
    most_bytes
        Of all things together.
    size
        Bytes of one.
    """

    def __init__(self, most_bytes: int, size: Callable[[Thing], int]) -> None:
        self._most, self._size = most_bytes, size
        self._things: OrderedDict[Hashable, Thing] = OrderedDict()
        self._making: dict[Hashable, threading.Lock] = {}
        self._lock = threading.Lock()
        self._bytes = 0

    def get(self, key: Hashable, make: Callable[[], Thing], *, keep: bool = True) -> Thing:
        """Return the thing of a key, made where it is not kept; two threads never make the same at once."""
        with self._lock:
            if key in self._things:
                self._things.move_to_end(key)
                return self._things[key]
            own = self._making.setdefault(key, threading.Lock())
        with own:
            with self._lock:
                if key in self._things:
                    return self._things[key]
            try:
                made = make()
                if keep:
                    self._put(key, made)
            finally:
                with self._lock:
                    self._making.pop(key, None)
        return made

    def _put(self, key: Hashable, made: Thing) -> None:
        with self._lock:
            if key in self._things:
                self._bytes -= self._size(self._things.pop(key))
            self._things[key] = made
            self._bytes += self._size(made)
            while self._bytes > self._most:
                _, old = self._things.popitem(last=False)
                self._bytes -= self._size(old)
