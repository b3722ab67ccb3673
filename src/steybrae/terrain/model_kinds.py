"""Survey error of elevation models by kind: standard deviation of a height, and correlation length.

Of the standard deviations those marked R stand in a source that was read, M is from memory. No
correlation length stands in a source except that of the 1 arc-second radar model, measured on one
site; the others are our choice.

=============== ======= ==== ===================================================================
kind            SD, m   L, m source of the standard deviation
=============== ======= ==== ===================================================================
lidar           0.3     20   swissALTI3D product page, 1 sigma 0.3 m below 2000 m (R)
photogrammetry  3       50   the same page above 2000 m, 1 to 3 m (R): the larger
contours        6       35   0.30 x contour interval, here 20 m: 90 % within half an interval (US
                             National Map Accuracy Standards) / 1.645; L is the distance between
                             such contours at 30 degrees
glo-30          4       60   doi:10.1080/17538947.2022.2094002 (R); the specification says 2.4
aw3d-30         6       60   the same study (R)
srtm-30         8       60   measured on one site of steep alpine ground; others find 6.6 (R)
radar-30m       8       60   as srtm-30
=============== ======= ==== ===================================================================
"""

from __future__ import annotations

from typing import Final, Literal, get_args

from steybrae.errors import ModelError, one_of
from steybrae.frozen import dataclass

ModelKind = Literal["lidar", "photogrammetry", "contours", "glo-30", "aw3d-30", "srtm-30", "radar-30m"]
MODEL_KINDS: Final = get_args(ModelKind)

KIND_ERRORS_M: Final[dict[str, tuple[float, float]]] = {
    "lidar": (0.3, 20.0),
    "photogrammetry": (3.0, 50.0),
    "contours": (6.0, 35.0),
    "glo-30": (4.0, 60.0),
    "aw3d-30": (6.0, 60.0),
    "srtm-30": (8.0, 60.0),
    "radar-30m": (8.0, 60.0),
}
"""Standard deviation and correlation length, metres; the module docstring has the sources."""

FINE_CELLS_M: Final = 12.0
"""Largest cell, metres, of models that national surveys make from lidar or photographs (our choice)."""

USUAL_FINE_M: Final = (1.5, 50.0)
"""What is taken for such cells where nothing is stated: between lidar and photogrammetry (our choice)."""

USUAL_COARSE_M: Final = KIND_ERRORS_M["srtm-30"]
"""The same for coarser cells: the worst of the usual models of the whole earth."""

CONTOURS_M: Final = 20.0
"""Contour interval that the figures of the kind ``contours`` stand for, metres."""

LONGEST_CORRELATION_M: Final = 100.0
"""Longest correlation length that is relied on alone, metres (our choice; those of the kinds are 20 to 60).
Errors of one long wave leave slopes alone, so that a longer one would narrow an interval to nothing; but no
model is without shorter ones."""

SHORTEST_CORRELATION_M: Final = 20.0
"""Shortest correlation length that is relied on alone where slopes are over more than 3 x 3 cells, metres
(our choice: the least of the kinds). Independent errors of many cells cancel, to a sixth of that on cells of
1 m; but no model is without longer ones."""

Basis = Literal["stated", "kind", "usual", "found"]


@dataclass(frozen=True)
class Survey:
    """Error of a model's heights.

    Attributes
    ----------
    sd_m
        Standard deviation, metres.
    correlation_m
        Correlation length, metres; None takes the worst.
    basis
        ``stated``, by ``kind``, ``usual`` for the cell size, or ``found`` in the model.
    words
        The same in words.
    """

    sd_m: float
    correlation_m: float | None
    basis: Basis
    words: str


def check_kind(name: str) -> ModelKind:
    """Name of one of `MODEL_KINDS`, refused where there is none such."""
    one_of(name, MODEL_KINDS, "The kind of a model", ModelError)
    return name  # type: ignore[return-value]


def survey_error(
    cell_m: float,
    kind: ModelKind | None = None,
    vertical_sd_m: float | None = None,
    correlation_m: float | None = None,
    instead_of_m: float | None = None,
) -> Survey:
    """Survey error as stated, else by the kind of model, else the usual worst for its cells.

    `cell_m` is their longer side. A stated length alone takes the place of the kind's;
    `instead_of_m` is what was stated, where the length is another.
    """
    stated = ""
    if instead_of_m is not None:
        wrong = "long" if instead_of_m > LONGEST_CORRELATION_M else "short"
        stated = f", not the {instead_of_m:g} m stated, too {wrong} to rely on"
    if vertical_sd_m is not None:
        length = "worst correlation length" if correlation_m is None else f"correlation {correlation_m:g} m"
        words = f"the stated vertical error of {vertical_sd_m:g} m (1 SD, {length}{stated})"
        return Survey(vertical_sd_m, correlation_m, "stated", words)
    basis: Basis = "usual" if kind is None else "kind"
    usual = USUAL_FINE_M if cell_m <= FINE_CELLS_M else USUAL_COARSE_M
    sd, length_m = usual if kind is None else KIND_ERRORS_M[kind]
    length_m = length_m if correlation_m is None else correlation_m
    whose = (
        f"the usual worst survey error for {cell_m:.1f} m cells"
        if kind is None
        else f"the survey error of a model of the kind {kind}"
    )
    words = f"{whose} ({sd:g} m, 1 SD, correlation {length_m:g} m{stated})"
    if kind is None:
        words += "; --model-kind or --vertical-error would say more"
    return Survey(sd, length_m, basis, words)


def contour_error(interval_m: float) -> Survey:
    """Survey error, in proportion to the interval, of a model that was found to be drawn from contours.

    The interval is taken as 20 m at least, for a part of the true one may have been found.
    """
    times = max(interval_m / CONTOURS_M, 1.0)
    sd_m, length_m = (times * one for one in KIND_ERRORS_M["contours"])
    words = (
        f"the survey error of a model drawn from contours {interval_m:.3g} m apart, as its terraces tell "
        f"({sd_m:.3g} m, 1 SD, correlation {length_m:.3g} m)"
    )
    return Survey(sd_m, length_m, "found", words)
