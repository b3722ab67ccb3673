"""A planned line on an elevation model."""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Mapping
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, Unpack

from steybrae.errors import ModelError
from steybrae.library.answer import Answer, shown
from steybrae.library.forecast import BulletinHow, bulletin_and_how
from steybrae.library.given import GivenModel, as_path, given_line, settings_of
from steybrae.route.legs import Route
from steybrae.route.turns import TURN_TOLERANCE_M
from steybrae.screening import RouteScreening, Settings, screen_route

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from steybrae.document import Document
    from steybrae.field.references import Source

__all__ = ["PathLike", "Plan", "needed_path", "screen"]

PathLike = str | os.PathLike[str]


class Plan(Answer[RouteScreening]):
    """A planned line screened: leg by leg, and the places that matter on it.

    Attributes
    ----------
    result
        With ``places``, ``legs``, ``totals`` and ``cautions``.

    Examples
    --------
    >>> model = steybrae.sample().model
    >>> plan = steybrae.screen([(59.2240, -8.0574), (59.2270, -8.0590)], model)
    >>> plan.totals.legs, plan.legs[0].band.label
    (1, '<25')
    """

    _command = "route"
    _rows = "legs"

    def __init__(
        self, result: RouteScreening, made_from: tuple[Route, GivenModel, Settings] | None = None
    ) -> None:
        super().__init__(result)
        self._made_from = made_from

    @classmethod
    def read(cls, path: PathLike) -> Plan:
        """Read a saved plan.

        Parameters
        ----------
        path
            Made by `save`, or by ``steybrae route --save``.

        Raises
        ------
        SteybraeError
            No plan, or one of another version.

        Examples
        --------
        >>> model = steybrae.sample().model
        >>> steybrae.screen([(59.2240, -8.0574), (59.2270, -8.0590)], model).save("plan.zip")
        >>> steybrae.Plan.read("plan.zip").totals.legs
        1
        """
        from steybrae.files.plans import read_plan  # noqa: PLC0415

        return cls(read_plan(needed_path(path)))

    def save(self, path: PathLike, *, force: bool = False) -> None:
        """Keep the whole result in one file, for `read` and for the commands.

        Parameters
        ----------
        path
            The file to be, usually ``.zip``.
        force
            Whether an existing file is replaced.

        Raises
        ------
        SteybraeError
            The file exists, or the system refuses; or the model is needed again and is not there.

        Examples
        --------
        >>> model = steybrae.sample().model
        >>> plan = steybrae.screen([(59.2240, -8.0574), (59.2270, -8.0590)], model)
        >>> plan.save("kept.zip")
        """
        from steybrae.files.plans import write_plan  # noqa: PLC0415
        from steybrae.screening.forecast.ground import with_forecast_ground  # noqa: PLC0415

        whole = self._pictured
        if whole.forecast_grounds is None and self._made_from is not None:
            route, model, settings = self._made_from
            with model.opened(settings, route.points) as (source, known):
                whole = with_forecast_ground(whole, route, source, known)
        write_plan(needed_path(path), whole, force=force)

    @property
    def document(self) -> Document:
        """The day in a few lines, the places that matter, legs without, cautions."""
        from steybrae.answers.route import route_document, without_hints  # noqa: PLC0415

        return without_hints(route_document(self.result))

    @property
    def _line(self) -> str:
        from steybrae.answers.route import headline  # noqa: PLC0415

        return ". ".join(getattr(block, "text", "") for block in headline(self.result))

    def check(self, name: str) -> Source:
        """Tell what is expected at a check of the plan, to `compare` a reading with.

        Parameters
        ----------
        name
            Like ``7a``.

        Raises
        ------
        PlanError
            There is no such check.

        Examples
        --------
        >>> model = steybrae.sample().model
        >>> plan = steybrae.screen([(59.2240, -8.0574), (59.2270, -8.0590)], model)
        >>> plan.check("1a").reference.source
        'check 1a of the plan'
        """
        from steybrae.card.checks import check_of  # noqa: PLC0415

        return check_of(self.result, name, self.result.name)

    @property
    def __geo_interface__(self) -> Mapping[str, Any]:
        """Points along the legs as a GeoJSON feature collection on WGS 84, as ``--geojson`` writes them."""
        from steybrae.answers.points import points_geojson  # noqa: PLC0415

        found: Mapping[str, Any] = json.loads(points_geojson(self.result))
        return found

    def figure(self) -> Figure:
        """Draw the map over the profile, on a page of A4.

        Returns
        -------
        matplotlib.figure.Figure
            Of no pyplot; yours to change.

        Raises
        ------
        ModelError
            The model is needed again, and is closed or was changed.

        Examples
        --------
        >>> model = steybrae.sample().model
        >>> plan = steybrae.screen([(59.2240, -8.0574), (59.2270, -8.0590)], model)
        >>> plan.figure().savefig("plan.png")
        """
        from steybrae.figures.route_figure import route_figure  # noqa: PLC0415

        return shown(route_figure(self._pictured))

    @cached_property
    def _pictured(self) -> RouteScreening:
        """With the ground round the line, which only pictures and files need."""
        if self.result.relief is not None or self._made_from is None:
            return self.result
        from steybrae.screening.pictures.relief import with_relief  # noqa: PLC0415

        _, model, settings = self._made_from
        with model.opened(settings) as (source, known):
            if known.origin.fingerprints != self.result.model.fingerprints:
                message = (
                    f"The elevation model {', '.join(self.result.model.files)} should be the one that the "
                    "line was screened on; it was changed since. Screen the line again."
                )
                raise ModelError(message)
            return with_relief(self.result, source)


def needed_path(given: Any) -> Path:
    """Path of a text or anything path-like."""
    path = as_path(given)
    if path is None:
        message = f"a path is a text or path-like, not {type(given).__name__}"
        raise TypeError(message)
    return path


def screen(
    line: Any,
    model: Any,
    *,
    legs_at: Iterable[str] = (),
    turn_tolerance_m: float = TURN_TOLERANCE_M,
    z_unit: str | None = None,
    bulletin: PathLike | None = None,
    reduction_angles: bool = False,
    **how: Unpack[BulletinHow],
) -> Plan:
    """Screen a planned line on an elevation model: the places that matter on it, and why.

    Parameters
    ----------
    line
        A path to GPX, GeoJSON or CSV; a GeoJSON mapping, or anything with ``__geo_interface__``; or
        places in any iterable, each a text, a latitude and a longitude, or a GeoJSON point.
    model
        A path or several; an open dataset of rasterio; ``(heights, transform, crs)``; a DataArray.
    legs_at
        Where legs begin instead: names of points, or distances like ``"1.2km"``.
    turn_tolerance_m
        How far a track may bend from its legs before a turn point is set, metres.
    z_unit
        Unit of the model's heights, where it does not say its own: ``m``, ``ft`` or ``usft``.
    bulletin
        Path to today's avalanche bulletin, CAAML v6 JSON; nothing is fetched.
    reduction_angles
        For people trained in it: a published method's angle for the level, as a reference row.
    **how
        The options of ``steybrae route``, as numbers: ``edges_deg``, ``method``, ``engine``,
        ``vertical_error_m``, ``correlation_m``, ``model_kind``, ``place_error_m``, ``drift_deg``,
        ``interval_m``, ``start_slopes_deg``, ``start_area_m2``, ``reach_m``; with a
        bulletin ``region``, ``language``, ``at_time``, ``treeline_m``, ``forecast_slope_deg``.

    Raises
    ------
    SteybraeError
        A line, a model, a bulletin or a value that cannot be used.

    Examples
    --------
    >>> sample = steybrae.sample()
    >>> plan = steybrae.screen(sample.line, sample.model)
    >>> plan.totals.legs, plan.totals.open_above  # ground on the line is unknown: "at least"
    (19, True)
    >>> today = {"bulletin": sample.bulletin, "region": "XX-STEY-01", "at_time": "2027-01-15T09:30Z"}
    >>> plan = steybrae.screen([(59.2240, -8.0574), (59.2270, -8.0590)], sample.model, **today)
    >>> plan.forecast.bulletins[0].danger_ratings[0].main_value
    'considerable'
    """
    beside, rest = bulletin_and_how(bulletin, how, reduction=reduction_angles)
    route = given_line(line, legs_at, turn_tolerance_m)
    given, asked = GivenModel(model, z_unit), settings_of(rest)
    with given.opened(asked, route.points) as (source, settings):
        found = screen_route(route, source, settings, for_forecast=beside is not None)
    if beside is not None:
        from steybrae.screening.forecast.at import forecast_beside  # noqa: PLC0415

        found = forecast_beside(found, *beside)
    return Plan(found, (route, given, asked))
