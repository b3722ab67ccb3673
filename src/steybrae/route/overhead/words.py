"""Why an angle overhead is "at least", in words."""

from __future__ import annotations

from typing import Final

from steybrae.terrain.attributes import SECTORS, aspect_sector
from steybrae.terrain.overhead.unknown import UnknownAt
from steybrae.value import far_off

_SIDES: Final = dict(
    zip(
        SECTORS,
        ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"),
        strict=True,
    )
)


def unknown_words(at: UnknownAt) -> str:
    """Say where unknown ground begins: ``the model ends 1.0 km east``."""
    if at.bearing_true_deg is None:
        return "part of it is unknown ground itself"
    where = f"{far_off(at.distance_m).text} {_SIDES[aspect_sector(at.bearing_true_deg) or SECTORS[0]]}"
    return f"the model ends {where}" if at.model_ends else f"unknown ground begins {where}"
