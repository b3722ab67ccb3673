"""A planned line made ready for looking at its ground: its legs as tracks, and how each is looked at.

That a point's latitude and longitude stand the wrong way round cannot be known, only that it lies off the
model and would lie on it the other way round. That is said; nothing is exchanged.
"""

from __future__ import annotations

from functools import cached_property, partial
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from steybrae.errors import OffModelError, RouteError
from steybrae.frozen import dataclass
from steybrae.route.corridor import check_place_error_m
from steybrae.route.ground import Look, leg_work
from steybrae.route.kept import NOTHING_KEPT, Kept
from steybrae.route.legs import Route, Track, check_beside, check_line, leg_track
from steybrae.route.overhead.kept_ground import KeptGround
from steybrae.screening.known import Settings, cells_of_line, overhead_look, slopes_known
from steybrae.terrain.attributes import baseline_cells
from steybrae.terrain.dem import EARTH, Array, DemSource, Grid
from steybrae.terrain.jacobian import askew
from steybrae.terrain.uncertainty import SlopeUncertainty


@dataclass(frozen=True, eq=False)
class ReadyLine:
    """Legs of a planned line on a model.

    `cell_m` and `jacobian` are of the cells where it begins; `errors_m` of the turn point that each leg
    starts from: its square, or the default if that is larger.
    """

    route: Route
    source: DemSource
    settings: Settings
    kept: Kept
    tracks: list[Track]
    cell_m: tuple[float, float]
    jacobian: Array

    @staticmethod
    def of(route: Route, source: DemSource, settings: Settings, kept: Kept = NOTHING_KEPT) -> ReadyLine:
        """Make a line ready, or refuse it.

        `RouteError` where a leg has no length, `OffModelError` where the whole line lies outside the model.
        """
        count = len(route.turn_points) - 1
        check_line(len(route.points), count)
        tracks = [_track(route, number, kept) for number in range(count)]
        _refuse_lengthless(route, tracks)
        cell_m, jacobian = cells_of_line(source.grid, *_first_on_model(tracks, source.grid))
        return ReadyLine(route, source, settings, kept, tracks, cell_m, jacobian)

    @cached_property
    def _model_there(self) -> tuple[object, ...]:
        return self.settings, self.cell_m, tuple(self.jacobian.ravel().tolist())

    @cached_property
    def known(self) -> SlopeUncertainty:
        """How well its slopes are known."""
        work = partial(slopes_known, self.settings.method, self.jacobian, self.settings)
        return self.kept.of("slopes known", self._model_there, work)

    @cached_property
    def errors_m(self) -> list[float]:
        """Position error of each leg, metres."""
        points, turns = self.route.points, self.route.turn_points[:-1]
        return [check_place_error_m(max(self.settings.place_error_m, points[turn].error_m)) for turn in turns]

    @cached_property
    def looks(self) -> list[Look]:
        """How the ground of each leg is looked at."""
        chosen, halves = self.settings, baseline_cells(*self.cell_m)
        by, turned = (chosen.method, chosen.engine), askew(self.jacobian)
        return [
            Look(self.cell_m, halves, self.known, *by, error_m, chosen.drift_deg, turned)
            for error_m in self.errors_m
        ]

    @cached_property
    def overhead(self) -> KeptGround:
        """The ground overhead."""
        work = partial(overhead_look, self.cell_m, self.jacobian, self.settings)
        look = self.kept.of("overhead look", self._model_there, work)
        return KeptGround(self.source, look, self.kept)

    def name(self, turn: int) -> str:
        """Name of a turn point, from 0 on."""
        return _name(self.route, turn)

    def refuse_endless(self) -> None:
        """Refuse a line that would take minutes or gigabytes, before any of its ground is read."""
        length_m = sum(track.length_m for track in self.tracks)
        check_beside(length_m, 0, 0)
        work = [
            self.kept.of("leg work", (track, look), partial(leg_work, self.source, track, look))
            for track, look in zip(self.tracks, self.looks, strict=True)
        ]
        check_beside(length_m, sum(cells for cells, _ in work), sum(pairs for _, pairs in work))


def _track(route: Route, number: int, kept: Kept) -> Track:
    first, last = route.turn_points[number : number + 2]
    key = tuple((place.lat_deg, place.lon_deg) for place in route.points[first : last + 1])
    return kept.of("track", key, lambda: leg_track(route, number))


def _name(route: Route, turn: int) -> str:
    place = route.points[route.turn_points[turn]]
    return place.name or place.written or f"point {turn + 1}"


def _refuse_lengthless(route: Route, tracks: list[Track]) -> None:
    for number, track in enumerate(tracks):
        if track.length_m == 0.0:
            message = (
                f"Every leg should have a length; leg {number + 1} ({_name(route, number)} to "
                f"{_name(route, number + 1)}) starts and ends at one place. Leave the second out."
            )
            raise RouteError(message)


def _first_on_model(tracks: list[Track], grid: Grid) -> tuple[float, float]:
    """Where in the grid the line first lies on the model; `OffModelError` where it does nowhere."""
    lon = np.concatenate([track.lon_deg for track in tracks])
    lat = np.concatenate([track.lat_deg for track in tracks])
    on = _first_on(*grid.from_wgs84(lon, lat), grid.shape)
    if on is None:
        raise OffModelError(_outside_words(lon, lat, grid))
    return on


def _first_on(col: Array, row: Array, shape: tuple[int, int]) -> tuple[float, float] | None:
    """Where a line first lies in the rectangle of a grid, its vertices being outside or not."""
    line, size = np.stack((col, row)), np.array([[shape[1]], [shape[0]]])
    with np.errstate(divide="ignore", invalid="ignore"):
        start, step = line[:, :-1], np.diff(line)
        # Shares of each piece between its crossings of the two sides, in columns and in rows.
        sides = np.sort(np.stack((-start / step, (size - start) / step)), axis=0)
        enter, leave = np.maximum(sides[0].max(axis=0), 0.0), np.minimum(sides[1].min(axis=0), 1.0)
    on = np.flatnonzero(enter <= leave)
    if len(on) == 0:
        return None
    at = start[:, on[0]] + enter[on[0]] * step[:, on[0]]
    return float(at[0]), float(at[1])


def _outside_words(lon: np.ndarray, lat: np.ndarray, grid: Grid) -> str:
    rows, cols = grid.shape
    edge_lon, edge_lat = grid.to_wgs84([0, cols, cols, 0], [0, 0, rows, rows])
    words = (
        f"The line should cross the elevation model; it runs from {lat[0]:.4f}, {lon[0]:.4f} and the model "
        f"covers latitude {edge_lat.min():.4f} to {edge_lat.max():.4f}, longitude {edge_lon.min():.4f} to "
        f"{edge_lon.max():.4f}."
    )
    if np.abs(lon).max() <= 90.0 and _first_on(*grid.from_wgs84(lat, lon), grid.shape) is not None:
        return f"{words} With latitude and longitude exchanged it would: check their order in the route."
    return f"{words} Give a model of that ground."


MOST_BETWEEN_M: Final = 100_000.0
"""No two points of a day's line lie further apart, metres (our choice; a long day on ski is half)."""


def would_lie_on(grid: Grid, lat_deg: Array, lon_deg: Array) -> NDArray[np.bool_]:
    """Whether each place lies off a model and would lie on it with latitude and longitude exchanged.

    False where the longitude could be no latitude.
    """
    can = np.abs(lon_deg) <= 90.0
    found: NDArray[np.bool_] = can & ~lies_on(grid, lat_deg, lon_deg) & lies_on(grid, lon_deg, lat_deg)
    return found


def lies_on(grid: Grid, lat_deg: ArrayLike, lon_deg: ArrayLike) -> NDArray[np.bool_]:
    """Whether each place lies on a model."""
    col, row = grid.from_wgs84(lon_deg, lat_deg)
    rows, cols = grid.shape
    # Infinite or NaN, where the CRS has no position, is not on it.
    on: NDArray[np.bool_] = (col >= 0.0) & (col <= cols) & (row >= 0.0) & (row <= rows)
    return on


def places_swapped(route: Route, grid: Grid) -> bool:
    """Whether a point of a route would lie on the model only with latitude and longitude exchanged.

    For the caution. True also of a right line that leaves a model where latitude and longitude are
    nearly alike. `RouteError` where two neighbouring points lie more than `MOST_BETWEEN_M` apart: a
    stray position, or one the wrong way round, which would run the line round the earth.
    """
    lat = np.array([place.lat_deg for place in route.points])
    lon = np.array([place.lon_deg for place in route.points])
    found = would_lie_on(grid, lat, lon)
    _, _, apart_m = EARTH.inv(lon[:-1], lat[:-1], lon[1:], lat[1:])
    far = np.flatnonzero(apart_m > MOST_BETWEEN_M)
    if far.size:
        start = int(far[0])
        # Of two points the one that can be exchanged is named, else the one that is off the model.
        wrong = np.where(found.any(), found, ~lies_on(grid, lat, lon))
        at = start if wrong[start] and not wrong[start + 1] else start + 1
        raise RouteError(_words(route, at, float(apart_m[start]), exchanged=bool(found[at])))
    return bool(found.any())


def _words(route: Route, at: int, apart_m: float, *, exchanged: bool) -> str:
    place = route.points[at]
    name = f" ({place.name})" if place.name else ""
    hint = "Take it out, or mend it, if it is a stray one."
    if exchanged:
        hint = (
            "With latitude and longitude exchanged it would lie on the model: check their order in the route."
        )
    return (
        f"The points of a line should lie near each other; point {at + 1}{name} at {place.lat_deg:.5f}, "
        f"{place.lon_deg:.5f} lies {apart_m / 1000.0:.0f} km from its neighbour. {hint}"
    )
