"""The ground at a place, and at every cell of a model."""

from __future__ import annotations

import os
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Unpack

from steybrae.library.answer import Answer, shown
from steybrae.library.forecast import BulletinHow, bulletin_and_how
from steybrae.library.given import GivenModel, How, given_place, length_m, settings_of
from steybrae.route.positions.places import Place
from steybrae.screening.ground.at import GroundCells, ground_cells
from steybrae.screening.ground.result import GroundAt

if TYPE_CHECKING:
    from affine import Affine
    from matplotlib.figure import Figure

    from steybrae.document import Document
    from steybrae.field.references import Source

__all__ = ["Ground", "Slopes", "ground", "slopes"]


class Ground(Answer[GroundAt]):
    """The ground at a place, around it within the position error, and above it.

    Attributes
    ----------
    result
        With ``slope_deg``, ``slope_low_deg``, ``slope_high_deg``, ``within`` and ``overhead``.

    Examples
    --------
    >>> model = steybrae.sample().model
    >>> here = steybrae.ground((59.2240, -8.0574), model)
    >>> steybrae.shown_slope_deg(here.slope_deg), here.band.label
    (15.2, '<25')
    """

    _command = "ground"

    def __init__(self, result: GroundAt, place: Place) -> None:
        super().__init__(result)
        self._place = place

    @property
    def document(self) -> Document:
        """Slope, its interval, the circle, what is overhead, cautions."""
        from steybrae.answers.ground import ground_document  # noqa: PLC0415

        return ground_document(self.result)

    @property
    def _line(self) -> str:
        from steybrae.answers.ground import ground_lines  # noqa: PLC0415

        lines = list(ground_lines(self.result))
        return f"{lines[0]}; {next(line for line in lines if line.startswith('Slope '))}"

    @property
    def source(self) -> Source:
        """As something to compare readings with."""
        from steybrae.screening.ground.reading import ground_source  # noqa: PLC0415

        return ground_source(self.result, self._place)

    @property
    def __geo_interface__(self) -> Mapping[str, Any]:
        """A GeoJSON feature on WGS 84, its properties those of `to_dict`."""
        point = (self._place.lon_deg, self._place.lat_deg)
        geometry = {"type": "Point", "coordinates": point}
        return {"type": "Feature", "geometry": geometry, "properties": self.to_dict()}

    def figure(self) -> Figure:
        """Draw the cells around the place, and the way to look.

        Returns
        -------
        matplotlib.figure.Figure
            Of no pyplot; yours to change.

        Examples
        --------
        >>> model = steybrae.sample().model
        >>> steybrae.ground("59.2240 -8.0574", model).figure().savefig("ground.png")
        """
        from steybrae.figures.ground_figure import ground_figure  # noqa: PLC0415

        return shown(ground_figure(self.result))


def ground(
    place: Any,
    model: Any,
    *,
    within_m: float | None = None,
    run_out: bool = False,
    z_unit: str | None = None,
    bulletin: str | os.PathLike[str] | None = None,
    **how: Unpack[BulletinHow],
) -> Ground:
    """Look at the ground at one place, around it within your position error, and above it.

    Parameters
    ----------
    place
        A text in any notation of the command; a latitude and a longitude; a GeoJSON point.
    model
        A path or several; an open dataset of rasterio; ``(heights, transform, crs)``; a DataArray.
    within_m
        95 % radius of the position error, metres; that of the place's own square where left out,
        at least 10.
    run_out
        Tell published run-out angles too, for teaching.
    z_unit
        Unit of the model's heights, where it does not say its own: ``m``, ``ft`` or ``usft``.
    bulletin
        Path to today's avalanche bulletin, CAAML v6 JSON; nothing is fetched.
    **how
        As for `screen`, without those of the line.

    Raises
    ------
    SteybraeError
        A place, a model, a bulletin or a value that cannot be used.

    Examples
    --------
    >>> model = steybrae.sample().model
    >>> here = steybrae.ground("59.2240 -8.0574", model, within_m=20)
    >>> here.open_above, [band.label for band in here.bands_possible]
    (False, ['<25'])
    >>> today = {"bulletin": steybrae.sample().bulletin, "region": "XX-STEY-01"}
    >>> steybrae.ground("59.2240 -8.0574", model, at_time="2027-01-15T09:30Z", **today).forecast.file
    'bulletin.json'
    """
    from steybrae.screening.ground.at import ground_at  # noqa: PLC0415
    from steybrae.screening.ground.overhead import with_above  # noqa: PLC0415

    beside, rest = bulletin_and_how(bulletin, how)
    where = given_place(place)
    radius_m = None if within_m is None else length_m(within_m, "The position error", zero=True)
    with GivenModel(model, z_unit).opened(settings_of(rest), [where]) as (source, settings):
        found = ground_at(where, source, radius_m, settings)
        found = with_above(found, where, source, settings, published=run_out)
        if beside is not None:
            from steybrae.screening.forecast.ground import with_place_forecast  # noqa: PLC0415

            found = with_place_forecast(found, where, source, settings, *beside)
        return Ground(found, where)


class Slopes(Answer[GroundCells]):
    """Slope, interval, aspect and band of every cell of a model, as arrays.

    Attributes
    ----------
    result
        With the arrays ``slope_deg``, ``slope_low_deg``, ``slope_high_deg``, ``aspect_true_deg`` and
        ``band``, ``[row, col]``, read-only; unknown is NaN, and -1 in ``band``.

    Examples
    --------
    >>> model = steybrae.sample().model
    >>> steybrae.slopes(model, edges_deg=(30, 45)).labels
    ('<30', '30-45', '45+')
    """

    _rows = "rows"

    @property
    def document(self) -> Document:
        """How many cells lie in each band, and are unknown; cautions."""
        from steybrae.answers.ground import cells_document  # noqa: PLC0415

        return cells_document(self.result)

    @property
    def transform(self) -> Affine:
        """Affine transform of the cells, as rasterio takes it."""
        from affine import Affine  # noqa: PLC0415

        return Affine(*self.result.grid.transform)

    def to_dict(self) -> dict[str, Any]:
        """Cells in each band and what the slopes rest on, as plain values; without the arrays.

        Returns
        -------
        dict
            Its ``rows`` have a band each, unknown last.

        Examples
        --------
        >>> model = steybrae.sample().model
        >>> steybrae.slopes(model).to_dict()["rows"][-1]["band"]
        'unknown'
        """
        counts = (*self.result.cells, self.result.unknown_cells)
        labels = (*self.result.labels, "unknown")
        rows = [{"band": label, "cells": count} for label, count in zip(labels, counts, strict=True)]
        return {**super().to_dict(), "rows": rows}


def slopes(model: Any, *, z_unit: str | None = None, **how: Unpack[How]) -> Slopes:
    """Slope, its 95 % interval, aspect and band of every cell of a model, in memory.

    They are those that `ground` gives of the cell of a place: over 20 m, or two cells where those are
    longer. That takes some 130 bytes of memory a cell; for larger models there is `area`.

    Parameters
    ----------
    model, z_unit
        As for `ground`.
    **how
        ``edges_deg``, ``method``, ``engine``, ``vertical_error_m``, ``correlation_m``, ``model_kind``.

    Raises
    ------
    SteybraeError
        A model or a value that cannot be used.

    Examples
    --------
    >>> import numpy as np
    >>> east, up = np.arange(40) * 10.0, np.tan(np.radians(32.0))
    >>> plane = np.tile(500.0 + east * up, (40, 1))  # rises 32 degrees to the east
    >>> found = steybrae.slopes((plane, (10, 0, 375000, 0, -10, 6567000), "EPSG:32629"))
    >>> found.labels[found.band[20, 20]], float(steybrae.shown_slope_deg(found.slope_deg[20, 20]))
    ('30-35', 32.0)
    """
    with GivenModel(model, z_unit).opened(settings_of(how)) as (source, settings):
        return Slopes(ground_cells(source, settings))
