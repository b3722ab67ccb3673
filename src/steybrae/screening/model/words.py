"""What was found in a model, and what it does, in words."""

from __future__ import annotations

import math

from steybrae.terrain.examine.found import FindingKind, ModelFound
from steybrae.value import slope


def finding_words(
    kind: FindingKind, found: ModelFound, cell_m: float, seam_m: float = 0.0, spikes: int = 0
) -> str:
    """Say what a finding is and what it does.

    Parameters
    ----------
    kind, found
        Which, and its figures.
    cell_m
        Longer side of a cell, metres.
    seam_m
        Height of the highest seam met, metres.
    spikes
        How many cells are spikes or pits.

    Returns
    -------
    str
        A sentence or two.
    """
    source, contours = found.source_cell_m or cell_m, found.contours_m or 0.0
    rounded, striped = found.rounded_m or 0.0, found.striped_m or 0.0
    return {
        "interpolated": (
            f"Cells of {cell_m:.3g} m were made finer by interpolation, from about {source:.3g} m: it looks "
            "smoother than the ground, and shows no more than those."
        ),
        "terraced": (
            f"Heights crowd every {contours:.3g} m: it was drawn from contours. Between them its slopes are "
            "made up, flat steps beside steep ones."
        ),
        "whole units": (
            f"Heights are whole steps of {rounded:.3g} m: over two cells that alone is worth up to "
            f"{_rounding_deg(rounded, cell_m)}."
        ),
        "striped": (
            f"Rows or columns stand too high or too low from end to end, by some {striped:.2g} m: slopes "
            "across them are wrong."
        ),
        "seam": (
            f"Along a line of the grid its parts do not meet, a step of {seam_m:.2g} m: slopes across it are "
            "wrong."
        ),
        "flat fill": (
            "Stretches of one identical number: water, level ground in whole units, or missing ground filled "
            "up. Their slope of 0 is no measurement."
        ),
        "spikes": f"{spikes} cells stand far above or below all around them, as errors do.",
        "unit doubtful": (
            "It is steeper over 60 m than hardly any land is: its heights may be in feet and were taken as "
            "metres."
        ),
        "voids": "Cells without a height: unknown ground, never gentle.",
    }[kind]


def _rounding_deg(rounded_m: float, cell_m: float) -> str:
    """Slope of one step over two cells, degrees in tenths, rounded up."""
    return slope(math.degrees(math.atan(rounded_m / (2.0 * cell_m)))).text
