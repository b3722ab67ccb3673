"""The ground at many places of one model, each as if it had been asked for alone."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from steybrae.errors import SteybraeError
from steybrae.route.overhead.reading import KeptPlaces
from steybrae.route.positions.places import Place
from steybrae.screening.ground.result import GroundAt, GroundPlaces


def ground_places(
    places: Sequence[tuple[int, Place]], look: Callable[[Place, KeptPlaces], GroundAt], where: str
) -> GroundPlaces:
    """Look at places one after another, those near each other first, and tell them in their order.

    Parameters
    ----------
    places
        Lines of the file, and places.
    look
        The ground at one of them.
    where
        Name of the file, for errors.

    Raises
    ------
    SteybraeError
        As `look`, with the line of the place.
    """
    kept, found = KeptPlaces(), {}
    for k in sorted(range(len(places)), key=lambda k: _square(places[k][1])):
        line, place = places[k]
        try:
            found[k] = look(place, kept)
        except SteybraeError as error:
            message = f"Line {line} of {where}: {error}"
            raise type(error)(message) from error
    return GroundPlaces(tuple(found[k] for k in range(len(places))))


def _square(place: Place) -> tuple[float, float]:
    return round(place.lat_deg, 2), round(place.lon_deg, 2)
