"""Room on a practice map: what each question takes up, and whether another one is in its way."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from steybrae.teach.answers import LegLine, Question
from steybrae.teach.stretches import Stretch
from steybrae.terrain.dem import Array

CLEAR_MM: Final = 7.0
"""Stretches, legs and their letters keep so far apart, mm (our choice)."""

LEADER_MM: Final = 3.0
"""A stretch's line runs on so far beyond its ends, mm (our choice)."""

LETTER_MM: Final = 5.2
"""A letter stands so far below the lower end of its stretch, or before its leg, mm (our choice)."""


class Placed:
    """What is already on a map: points along each stretch, leg and letter."""

    def __init__(self) -> None:
        self._points: list[Array] = []

    def take(self, question: Question) -> bool:
        """Put a question on the map; false where something is in its way."""
        thing = question.stretch or question.leg_line
        if thing is None or not self.free(footprint_mm(thing)):
            return False
        self._points.append(footprint_mm(thing))
        return True

    def free(self, points: Array, apart_mm: float = CLEAR_MM) -> bool:
        """Say whether points ``(n, 2)`` keep so far from everything on the map."""
        for other in self._points:
            away = np.hypot(*(points[:, None, :] - other[None, :, :]).transpose(2, 0, 1))
            if away.min() < apart_mm:
                return False
        return True


def footprint_mm(thing: Stretch | LegLine) -> Array:
    """Points along what a stretch or a leg takes up on the map, its letter included.

    Parameters
    ----------
    thing
        On paper.

    Returns
    -------
    Array
        ``(n, 2)`` mm, about 1 mm apart.
    """
    if isinstance(thing, Stretch):
        ends = [thing.at(-LETTER_MM), thing.at(thing.length_mm + LEADER_MM)]
    else:
        (x0, y0), (x1, y1) = thing.start_mm, thing.end_mm
        size = math.hypot(x1 - x0, y1 - y0)
        back = LETTER_MM / size
        ends = [(x0 - (x1 - x0) * back, y0 - (y1 - y0) * back), (x1, y1)]
    count = math.ceil(math.dist(*ends)) + 1
    return np.linspace(ends[0], ends[1], max(2, count))
