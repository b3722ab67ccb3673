"""How far large slides have been known to run: published angles, for teaching only.

*alpha* is the angle from the end of the debris up to the top of the release, *beta* that from
the point where the path's profile falls to 10 degrees. Lied and Bakkehoi (1980), J. Glaciol.
26(94), 165-177, doi:10.1017/S0022143000010704, found them related in 111 of 423 avalanches
(correlation 0.95, standard deviation 2.3 degrees); Bakkehoi, Domaas and Lied (1983), Ann.
Glaciol. 4, 24-29, doi:10.3189/S0260305500005188, in 206 (0.92, 2.3 degrees). Both abstracts were
read; the coefficients below, and 10 degrees for beta, are from memory. On 48 short Canadian
paths beta was taken at 24 degrees instead (Jones and Jamieson (2004), Ann. Glaciol. 38).

The relation tells of the largest slides of about a hundred years on tall paths. It predicts
nothing for a slope or a day, and ground beyond it is not out of reach.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from steybrae.errors import ModelError
from steybrae.terrain.dem import Array

ALPHA_SLOPE: Final = 0.96
"""Factor of beta (from memory)."""

ALPHA_OFFSET_DEG: Final = -1.4
"""Degrees added (from memory)."""

ALPHA_SD_DEG: Final = 2.3
"""Standard deviation of alpha about the relation, degrees (Bakkehoi, Domaas and Lied 1983)."""

BETA_SLOPE_DEG: Final = 10.0
"""Slope of the profile at the beta point, degrees (from memory)."""


def alpha_deg(beta_deg: float, standard_deviations: float = 0.0) -> float:
    """Run-out angle by the published relation: ``0.96 beta - 1.4 - n * 2.3``.

    Parameters
    ----------
    beta_deg
        Angle from the beta point up to the top of the release, degrees, above 0, below 90.
    standard_deviations
        How many standard deviations farther out than the mean, 0 or more.

    Returns
    -------
    float
        Degrees. For teaching; not a prediction.

    Raises
    ------
    ModelError
        An angle out of range.
    """
    if not 0.0 < beta_deg < 90.0:
        message = (
            f"The angle beta should lie between 0 and 90 degrees; got {beta_deg:g}. Measure it from "
            "where the path flattens to 10 degrees up to the top of the release."
        )
        raise ModelError(message)
    return ALPHA_SLOPE * beta_deg + ALPHA_OFFSET_DEG - standard_deviations * ALPHA_SD_DEG


def reach_m(fall_m: float, angle_deg: float) -> float:
    """Horizontal distance at which a fall is seen under an angle: ``fall / tan(angle)``.

    Parameters
    ----------
    fall_m
        Height difference, metres, 0 or more.
    angle_deg
        Run-out or sight angle, degrees, above 0, below 90.

    Returns
    -------
    float
        Metres on the map.

    Raises
    ------
    ModelError
        A negative fall or an angle out of range.
    """
    if not (fall_m >= 0.0 and 0.0 < angle_deg < 90.0):
        message = (
            f"A fall should be 0 m or more and its angle between 0 and 90 degrees; got {fall_m:g} m and "
            f"{angle_deg:g} degrees. Give the height difference as a positive number."
        )
        raise ModelError(message)
    return fall_m / math.tan(math.radians(angle_deg))


def beta_point(distance_m: Array, height_m: Array, slope_deg: float = BETA_SLOPE_DEG) -> int | None:
    """First point of a profile from which the path goes on flatter than the beta slope.

    Parameters
    ----------
    distance_m, height_m
        Profile from the top of the release downwards: distance on the map, rising, and
        height, metres, shape ``(n,)``.
    slope_deg
        Slope at the beta point, degrees.

    Returns
    -------
    int or None
        Index of the point; None where the profile never gets steeper, or never flatter again.
        Flat ground above the first steeper piece does not count.
    """
    fall_deg = np.degrees(np.arctan2(-np.diff(height_m), np.diff(distance_m)))
    steeper = fall_deg > slope_deg
    if not steeper.any():
        return None
    first = int(np.argmax(steeper))
    flatter = np.flatnonzero(fall_deg[first:] <= slope_deg)
    return None if len(flatter) == 0 else first + int(flatter[0])
