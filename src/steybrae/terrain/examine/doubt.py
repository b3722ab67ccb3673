"""Which kinds of model the heights rather speak against."""

from __future__ import annotations

from typing import Final

from steybrae.terrain.examine.found import ModelFound
from steybrae.terrain.model_kinds import MODEL_KINDS, ModelKind

KIND_DOUBTED: Final = "kind doubted"
"""Told beside what was found where the kind that was stated does not fit it."""

RADAR_CELLS_M: Final = 25.0
"""Longer side of a cell, metres, below which a model shows more than one of 1 arc-second can: that is 31 m
from north to south (our choice)."""


def doubt(kind: ModelKind, found: ModelFound, cell_m: float) -> str:
    """Say why a model is rather not of a kind.

    Parameters
    ----------
    kind
        One of `steybrae.terrain.model_kinds.MODEL_KINDS`.
    found
        What its heights were found to be.
    cell_m
        Longer side of a cell, metres.

    Returns
    -------
    str
        Empty where nothing speaks against it, which proves nothing.
    """
    source_m = max(cell_m, found.source_cell_m or 0.0)
    rounded = "" if found.rounded_m is None else f"its heights are rounded to {found.rounded_m:.3g} m"
    if kind == "contours":
        return ""
    if found.contours_m is not None:
        return f"its heights crowd every {found.contours_m:.3g} m, as those drawn from contours do"
    if kind == "photogrammetry":
        return ""
    if kind == "lidar":
        finer = found.source_cell_m is not None and source_m >= RADAR_CELLS_M
        return f"its cells were made finer from about {source_m:.0f} m" if finer else rounded
    if source_m < RADAR_CELLS_M:
        return f"it shows detail of {source_m:.3g} m, finer than the 31 m of such a model"
    return f"{rounded}, and that model's are not (from memory)" if rounded and kind == "glo-30" else ""


def doubted_kinds(found: ModelFound, cell_m: float) -> dict[ModelKind, str]:
    """Every kind that the heights rather speak against, and why; see `doubt`."""
    return {kind: why for kind in MODEL_KINDS if (why := doubt(kind, found, cell_m))}


def kinds_told(found: ModelFound, kind: ModelKind | None, cell_m: float) -> tuple[str, ...]:
    """Tell what was found, for choosing cautions, and whether the stated kind is doubted.

    Parameters
    ----------
    found, cell_m
        As for `doubt`.
    kind
        As stated; None where not.
    """
    doubted = kind is not None and doubt(kind, found, cell_m) != ""
    return (*found.kinds, KIND_DOUBTED) if doubted else found.kinds
