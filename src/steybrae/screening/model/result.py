"""What is said of an elevation model. Field names are the keys of the JSON contract."""

from __future__ import annotations

from dataclasses import field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from steybrae.cautions import Cautions
from steybrae.frozen import dataclass
from steybrae.ranges import NOT_JSON, Count, LatDeg, LonDeg, NotNegative, Positive, Share, SlopeDeg
from steybrae.screening.known import ModelRead
from steybrae.terrain.dem import Array
from steybrae.terrain.examine.found import FindingKind
from steybrae.terrain.model_kinds import ModelKind


@dataclass(frozen=True)
class ModelExtent:
    """Where a model lies.

    Attributes
    ----------
    rows, cols
        Its size, cells.
    lat_min_deg, lat_max_deg
        Latitude of its corners on WGS 84.
    lon_min_deg, lon_max_deg
        Their longitude.
    width_m, height_m
        Ground length of its middle row and column, metres.
    """

    rows: Count
    cols: Count
    lat_min_deg: LatDeg
    lat_max_deg: LatDeg
    lon_min_deg: LonDeg
    lon_max_deg: LonDeg
    width_m: NotNegative
    height_m: NotNegative


@dataclass(frozen=True)
class ModelFinding:
    """One thing found in how the heights were made.

    Attributes
    ----------
    kind
        What it is.
    share
        Of the cells looked at, how many it concerns.
    words
        What was found and what it does.
    """

    kind: FindingKind
    share: Share
    words: str


@dataclass(frozen=True)
class IntervalExample:
    """The 95 % interval to be expected where the model shows 30 degrees.

    Attributes
    ----------
    ground
        The smoothest tenth of its steep ground, the middle of it, the roughest tenth.
    down_deg
        How much gentler it may be over the baseline. None where not known.
    up_deg
        How much steeper; None where no upper end is known.
    """

    ground: Literal["smooth", "middling", "rough"]
    down_deg: NotNegative | None
    up_deg: NotNegative | None


@dataclass(frozen=True)
class KindDoubted:
    """A kind of model that the heights rather speak against.

    Attributes
    ----------
    kind
        As --model-kind takes it.
    words
        Why.
    """

    kind: ModelKind
    words: str


@dataclass(frozen=True)
class SeamAt:
    """A seam on the picture: where it begins and ends in the grid, cells, and its height."""

    rows: tuple[float, float]
    cols: tuple[float, float]
    step_m: float


@dataclass(frozen=True, eq=False)
class ModelPicture:
    """What was looked at, thinned for a picture: `step` cells of the model in one of it.

    Slopes are over the baseline, NaN unknown or not `looked` at; `close_m` are heights of a piece
    at full size, its cells `close_cell_m` on the ground.
    """

    slope_deg: Array
    looked: NDArray[np.bool_]
    step: int
    close_m: Array
    close_cell_m: tuple[float, float]
    seams: tuple[SeamAt, ...]


@dataclass(frozen=True)
class ModelExamined(ModelRead):
    """An elevation model examined before it is believed.

    Attributes
    ----------
    extent
        Where it lies.
    cell_m
        Longer side of a cell on the ground, in the middle. Metres.
    elevation_min_m, elevation_max_m
        Least and greatest height looked at; None where none is known.
    looked_share
        Share of its cells that was looked at.
    unknown_share
        Share of those that has no height.
    steep_share
        Share of those whose slope is known that is 30 degrees and steeper; None where none is known.
    slope_max_deg
        Steepest of them; None where none is known.
    baseline_m
        What slopes are measured over, metres.
    findings
        What was found in how the heights were made; empty where nothing was, which proves nothing.
    interval_examples
        The interval to be expected on smooth, middling and rough ground of this model.
    example_slope_deg
        Slope that they are for.
    possible_from_deg
        Least slope that may be 30 degrees, on its middling ground.
    model_kind
        As stated; None where not.
    kinds_doubted
        Kinds that the heights rather speak against.
    uncertainty
        What the intervals rest on, in words.
    cautions
        Those that apply.
    picture
        For a picture; None where none was asked for.
    """

    extent: ModelExtent
    cell_m: Positive
    elevation_min_m: float | None
    elevation_max_m: float | None
    looked_share: Share
    unknown_share: Share
    steep_share: Share | None
    slope_max_deg: SlopeDeg | None
    baseline_m: Positive
    findings: tuple[ModelFinding, ...]
    interval_examples: tuple[IntervalExample, ...]
    example_slope_deg: SlopeDeg
    possible_from_deg: SlopeDeg
    model_kind: ModelKind | None
    kinds_doubted: tuple[KindDoubted, ...]
    uncertainty: str
    cautions: Cautions
    picture: ModelPicture | None = field(default=None, metadata=NOT_JSON)
