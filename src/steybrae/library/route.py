"""A planned line on an elevation model, and the card to carry."""

from __future__ import annotations

import datetime as dt
import json
import os
from collections.abc import Iterable, Mapping
from functools import cached_property
from typing import TYPE_CHECKING, Any, Unpack

from steybrae.card import CardSettings, RouteCard, make_card
from steybrae.errors import FileWriteError, ModelError
from steybrae.library.answer import Answer, shown
from steybrae.library.given import GivenModel, How, as_path, given_line, settings_of
from steybrae.route.legs import Route
from steybrae.route.turns import TURN_TOLERANCE_M
from steybrae.screening import RouteScreening, Settings, screen_route

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from steybrae.document import Document
    from steybrae.field.sources import Source

__all__ = ["Card", "Plan", "card", "screen"]

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

        Returns
        -------
        Plan

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

        return cls(read_plan(_path(path)))

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
            with model.opened(settings) as (source, known):
                whole = with_forecast_ground(whole, route, source, known)
        write_plan(_path(path), whole, force=force)

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

        Returns
        -------
        Source

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


def _path(given: Any) -> Any:
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
    **how: Unpack[How],
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
    **how
        The options of ``steybrae route``, as numbers: ``edges_deg``, ``method``, ``engine``,
        ``vertical_error_m``, ``correlation_m``, ``model_kind``, ``place_error_m``, ``drift_deg``,
        ``interval_m``, ``start_slopes_deg``, ``start_area_m2``, ``reach_m``.

    Returns
    -------
    Plan

    Raises
    ------
    SteybraeError
        A line, a model or a value that cannot be used.

    Examples
    --------
    >>> sample = steybrae.sample()
    >>> plan = steybrae.screen(sample.line, sample.model)
    >>> plan.totals.legs, plan.totals.open_above  # ground on the line is unknown: "at least"
    (19, True)
    """
    route = given_line(line, legs_at, turn_tolerance_m)
    given, asked = GivenModel(model, z_unit), settings_of(how)
    with given.opened(asked) as (source, settings):
        found = screen_route(route, source, settings)
    return Plan(found, (route, given, asked))


class Card(Answer[RouteCard]):
    """The route card: bearings to set, distances, times, what the ground does, what to check.

    Attributes
    ----------
    result
        With ``legs``, each with its ``checks``, and ``totals``.

    Examples
    --------
    >>> model = steybrae.sample().model
    >>> plan = steybrae.screen([(59.2240, -8.0574), (59.2270, -8.0590)], model)
    >>> steybrae.card(plan, "2027-01-15", grid="bng").grid
    'bng'
    """

    _command = "card"
    _rows = "legs"

    @property
    def document(self) -> Document:
        """The legs, their sides, the checks, what it rests on, cautions."""
        from steybrae.answers.card import card_document  # noqa: PLC0415

        return card_document(self.result)

    @property
    def _line(self) -> str:
        legs = len(self.result.legs)
        return f"{self.result.name}, {self.result.date}, {legs} leg{'' if legs == 1 else 's'}"

    @property
    def __geo_interface__(self) -> Mapping[str, Any]:
        """Legs as lines and checks as points, a GeoJSON feature collection on WGS 84."""
        from steybrae.files.cards import card_geojson  # noqa: PLC0415

        found: Mapping[str, Any] = json.loads(card_geojson(self.result))
        return found

    def save(self, path: PathLike, *, page: str = "a4", force: bool = False) -> None:
        """Write the card to carry.

        Parameters
        ----------
        path
            PDF, GPX, CSV or GeoJSON by its ending.
        page
            Paper of the PDF: ``a4``, ``letter`` or ``a5``.
        force
            Whether an existing file is replaced.

        Raises
        ------
        SteybraeError
            Another ending, the file exists, or the system refuses.

        Examples
        --------
        >>> model = steybrae.sample().model
        >>> plan = steybrae.screen([(59.2240, -8.0574), (59.2270, -8.0590)], model)
        >>> steybrae.card(plan, "2027-01-15").save("card.gpx")
        """
        from steybrae.files.whole import write_bytes  # noqa: PLC0415

        to = _path(path)
        write_bytes(to, self._bytes(to.suffix.lower(), page), force=force)

    def _bytes(self, ending: str, page: str) -> bytes:
        if ending == ".pdf":
            from steybrae.sheets.card_page import card_pdf  # noqa: PLC0415

            return card_pdf(self.result, page)
        from steybrae.files.cards import card_csv, card_geojson  # noqa: PLC0415
        from steybrae.files.gpx_out import card_gpx  # noqa: PLC0415

        makers = {".gpx": card_gpx, ".csv": card_csv, ".geojson": card_geojson}
        if ending not in makers:
            message = f"A card should be named .pdf, {', '.join(makers)}; got {ending!r}. Change its ending."
            raise FileWriteError(message)
        return makers[ending](self.result).encode()


def card(plan: Plan | PathLike, date: dt.date | str, *, start: str | None = None, **chosen: Any) -> Card:
    """Make the route card of a plan.

    Parameters
    ----------
    plan
        From `screen`, or a saved one.
    date
        Day of the walk, for magnetic north; a date or ``"2027-01-15"``.
    start
        Start of the day, ``"08:30"``, for the arrivals; it needs ``zone``.
    **chosen
        ``grid``, ``scale``, ``paces_per_100m``, ``bearing_unit``, ``zone``, ``method``, ``flat_kmh``,
        ``off_path``; ``snow``, ``load`` and ``breaks`` as for the command.

    Returns
    -------
    Card

    Raises
    ------
    SteybraeError
        A choice that there is not.

    Examples
    --------
    >>> model = steybrae.sample().model
    >>> plan = steybrae.screen([(59.2240, -8.0574), (59.2270, -8.0590)], model)
    >>> found = steybrae.card(plan, "2027-01-15", scale=25_000)
    >>> found.legs[0].number, round(found.legs[0].map_mm)
    (1, 14)
    """
    from steybrae.card.forecast import without_forecast  # noqa: PLC0415
    from steybrae.route.times.daylight import parse_clock, parse_day  # noqa: PLC0415
    from steybrae.route.times.walking_time import Allowances, leg_time  # noqa: PLC0415

    screening = (plan if isinstance(plan, Plan) else Plan.read(plan)).result
    day = parse_day(date) if isinstance(date, str) else date
    shares = {name: float(chosen.pop(name)) for name in ("snow", "load", "breaks") if name in chosen}
    allowances = Allowances(shares.get("snow", 1.0), shares.get("load", 1.0), shares.get("breaks", 0.0))
    begins = None if start is None else parse_clock(start, day, chosen.get("zone"))
    settings = CardSettings(date=day, start=begins, allowances=allowances, **chosen)
    leg_time((), settings.method, allowances, flat_kmh=settings.flat_kmh)  # refuses an unknown rule
    return Card(without_forecast(make_card(screening, settings), screening))
