"""Distances of a leg as they are used: on the map, in paces, along the slope."""

from __future__ import annotations

import math

from steybrae.errors import QuantityError


def map_mm(length_m: float, scale: float) -> float:
    """Length on the map, for the romer: ``1000 length / scale``.

    Parameters
    ----------
    length_m
        Horizontal length on the ground, metres.
    scale
        Denominator of the map scale, above 0.

    Returns
    -------
    float
        Millimetres on paper. The scale error of the map's grid, 0.1 percent at most in a
        UTM zone or on the National Grid, is left out: 0.1 mm in 100 mm.
    """
    return 1000.0 * length_m / scale


def slope_distance_m(length_m: float, ascent_m: float, descent_m: float = 0.0) -> float:
    """Length along an even slope: ``hypot(length, ascent + descent)``.

    On one slope that is ``length / cos(slope)``. Where a piece goes up and down it is the
    least that the way can be, as if both were one slope.

    Parameters
    ----------
    length_m
        Horizontal length, metres.
    ascent_m, descent_m
        Metres climbed and lost.

    Returns
    -------
    float
        Metres.
    """
    return math.hypot(length_m, ascent_m + descent_m)


def pace_length_m(paces_per_100m: float) -> float:
    """Length of one counted pace: ``100 / paces``.

    Parameters
    ----------
    paces_per_100m
        As the walker counts them: single or double, only the same throughout; 20 to 500.

    Returns
    -------
    float
        Metres.

    Raises
    ------
    QuantityError
        A count that nobody walks.
    """
    if not 20.0 <= paces_per_100m <= 500.0:
        message = (
            f"Paces to 100 m should be 20 to 500; got {paces_per_100m:g}. Count them over a measured 100 m."
        )
        raise QuantityError(message)
    return 100.0 / paces_per_100m


def paces(length_m: float, paces_per_100m: float) -> float:
    """Pace count of a length: ``length * paces_per_100m / 100``.

    Paces shorten uphill, in snow and with a load, all of which raise the count.

    Parameters
    ----------
    length_m
        Metres; the slope distance where it is known.
    paces_per_100m
        The walker's own count on the flat; see `pace_length_m`.

    Returns
    -------
    float
        Paces, unrounded.
    """
    return length_m / pace_length_m(paces_per_100m)
