"""The ground of a line for matching: by hand on planes and crests, by plain loops on rough ground."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from tests.on_grid import model, route_on, towards
from tests.synthetic import Plane
from tests.terrain.overhead.made_ground import dem, rough, surveyed

from steybrae.forecast.named import HEIGHT_STEP_M, LegGrounds, crossed
from steybrae.route.corridor import half_width_m
from steybrae.route.legs import Route
from steybrae.route.positions.places import Place
from steybrae.route.touching import cut_at_edges
from steybrae.screening import RouteScreening, Settings, screen_route
from steybrae.screening.forecast.overhead import aspect_half_width_deg
from steybrae.terrain.attributes import SECTORS, aspect_deg, slope_field
from steybrae.terrain.dem import Dem
from steybrae.terrain.overhead.ground import LEAST_SIGHT_DEG
from steybrae.terrain.overhead.sight import FLOW_NEAR_M, in_sight
from steybrae.terrain.overhead.sight_pairs import Pairs
from steybrae.terrain.uncertainty import SlopeUncertainty, slope_uncertainty

EVERYWHERE = (-math.inf, math.inf)


def grounds_of(route: Route, source: Dem, settings: Settings | None = None) -> tuple[LegGrounds, ...]:
    settings = settings or Settings()
    found = screen_route(route, source, settings, for_forecast=True).forecast_grounds
    assert found is not None
    return found


class TestByHand:
    @pytest.mark.parametrize(("faces", "name"), [(0.0, "N"), (90.0, "E"), (225.0, "SW"), (315.0, "NW")])
    def test_a_plane_faces_one_sector_all_the_way(self, faces: float, name: str) -> None:
        source = model(Plane(35.0, faces))
        (ground,) = grounds_of(route_on(source, towards(faces + 90.0, 400.0)), source)
        for cells in (ground.line, ground.corridor):
            for sector in SECTORS:
                metres = crossed(cells, (sector,), EVERYWHERE, 30.0).length_m
                assert metres == pytest.approx(400.0 if sector == name else 0.0, abs=0.01)
            assert crossed(cells, (), EVERYWHERE, 35.2).length_m == 0.0

    def test_a_plane_on_an_edge_of_sectors_faces_both(self) -> None:
        source = model(Plane(35.0, 112.5))
        (ground,) = grounds_of(route_on(source, towards(22.5, 400.0)), source)
        assert crossed(ground.line, (), EVERYWHERE, 30.0).sectors == ("E", "SE")

    def test_heights_count_on_both_sides_of_a_bound(self) -> None:
        # Up a plane of 35 degrees from -105 to +105 m: every height is within 10 m and half a cell.
        source = model(Plane(35.0, 180.0))
        (ground,) = grounds_of(route_on(source, towards(0.0, 300.0)), source)
        above = crossed(ground.line, (), (0.0, math.inf), 30.0)
        # A bound at 0: from about 10 m of height and a cell and a half below it.
        assert 150.0 < above.length_m < 150.0 + 2 * 10.0 / math.tan(math.radians(35.0)) + 25.0
        assert crossed(ground.line, (), (200.0, math.inf), 30.0).length_m == 0.0

    def test_heights_overhead_are_rounded_as_those_of_the_line(self) -> None:
        """A face of 40 degrees over a flat: its lowest and highest sources, outwards to 10 m and no more."""
        x = np.arange(121) * 10.0
        face = np.clip(x - 600.0, 0.0, 300.0) * math.tan(math.radians(40.0))
        source = dem(np.tile(1003.0 + face, (121, 1)))
        lon, lat = source.grid.to_wgs84(np.array([40.5, 40.5]), np.array([40.0, 80.0]))
        places = tuple(Place(float(a), float(o)) for a, o in zip(lat, lon, strict=True))
        (ground,) = grounds_of(Route("flat", places, (0, 1)), source, Settings(vertical_error_m=0.5))
        low, high = ground.overhead.low_m, ground.overhead.high_m
        assert len(low) > 3
        assert (np.remainder(np.concatenate((low, high)), HEIGHT_STEP_M) == 0.0).all()
        # Half a cell of the face and twice the error, and a step outwards on each side.
        half_m = 5.0 * math.tan(math.radians(40.0)) + 1.0
        assert (high - low <= 2.0 * (half_m + HEIGHT_STEP_M) + 1e-9).all()

    def test_on_a_crest_both_sides_count(self) -> None:
        x = np.abs(np.arange(81) - 40.0) * 10.0
        source = dem(np.tile(1000.0 - x * math.tan(math.radians(40.0)), (81, 1)))
        lon, lat = source.grid.to_wgs84(np.array([40.5, 40.5]), np.array([20.0, 60.0]))
        route = Route(
            "crest", tuple(Place(float(a), float(o)) for a, o in zip(lat, lon, strict=True)), (0, 1)
        )
        (ground,) = grounds_of(route, source)
        for sector in ("E", "W"):
            found = crossed(ground.line, (sector,), EVERYWHERE, 30.0)
            assert found.length_m == pytest.approx(400.0, abs=1.0)

    def test_unknown_ground_is_at_least(self) -> None:
        heights = rough(80, 3)
        heights[30:35, 30:50] = np.nan
        source = dem(heights)
        lon, lat = source.grid.to_wgs84(np.array([40.5, 40.5]), np.array([20.0, 60.0]))
        route = Route("gap", tuple(Place(float(a), float(o)) for a, o in zip(lat, lon, strict=True)), (0, 1))
        (ground,) = grounds_of(route, source)
        for cells in (ground.line, ground.corridor, ground.overhead):
            assert crossed(cells, (), (9000.0, math.inf), 30.0).at_least

    def test_aspect_half_width(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr("steybrae.terrain.uncertainty.cell_share_deg", lambda *_: (0.0, 0.0))
        stated = surveyed(0.01, 0.01)
        # U = 2 * 0.1; asin(0.2 / 0.5) and no direction at all below 0.2.
        widths = aspect_half_width_deg(np.array([0.5, 0.15, 0.0]), np.zeros(3), stated, np.zeros(3))
        assert widths == pytest.approx([math.degrees(math.asin(0.4)), 180.0, 180.0], abs=1e-9)
        # asin(0.02 / 0.5) is less than half a sector, which counts where no upper end is known.
        coarse = surveyed(1e-4, 1e-4, cell_m=62.0)
        assert aspect_half_width_deg(np.array([0.5]), np.zeros(1), coarse, np.zeros(1)) == 22.5
        unknown_rough = aspect_half_width_deg(np.array([0.5]), np.zeros(1), stated, np.array([np.nan]))
        assert unknown_rough >= 22.5


def legs(source: Dem, seed: int, count: int) -> Route:
    rng = np.random.default_rng(seed)
    size = source.grid.shape[0]
    col, row = rng.uniform(0.25 * size, 0.75 * size, (2, count + 1))
    lon, lat = source.grid.to_wgs84(col, row)
    places = tuple(Place(float(a), float(o)) for a, o in zip(lat, lon, strict=True))
    return Route("random", places, tuple(range(count + 1)))


def faces(p: float, q: float, rough: float, known: SlopeUncertainty) -> set[str]:
    aspect = float(aspect_deg(np.array(p), np.array(q)))
    half = float(aspect_half_width_deg(np.array([p]), np.array([q]), known, np.array([rough]))[0])
    if math.isnan(aspect):
        return set(SECTORS)
    away = [abs((aspect - 45.0 * k + 180.0) % 360.0 - 180.0) for k in range(8)]
    return {name for name, off in zip(SECTORS, away, strict=True) if off <= 22.5 + half + 1e-9}


class Plain:
    """Cells of a window that a bulletin names, one by one."""

    def __init__(self, source: Dem, known: SlopeUncertainty, height_error_m: float) -> None:
        self.source, self.known, self.error_m = source, known, height_error_m
        self.field = slope_field(source)
        self.known_of: dict[tuple[int, int], tuple[float, set[str], float, float]] = {}

    def named(
        self, cell: tuple[int, int], aspects: tuple[str, ...], span: tuple[float, float], least: float
    ) -> bool:
        shown_deg, faced, top, bottom = self.told(cell)
        if shown_deg < least or (aspects and not set(aspects) & faced):
            return False
        return top >= span[0] and bottom <= span[1]

    def told(self, cell: tuple[int, int]) -> tuple[float, set[str], float, float]:
        """Slope as shown, sectors faced and heights, up and down, of a cell: each worked out once."""
        if cell not in self.known_of:
            p, q, slope, height = (
                float(values[cell])
                for values in (self.field.p, self.field.q, self.field.slope_deg, self.source.heights_m)
            )
            half = self.error_m + math.hypot(p, q) * 10.0 / 2.0
            self.known_of[cell] = (
                math.ceil(10.0 * slope - 1e-6) / 10.0,
                faces(p, q, float(self.field.roughness_deg[cell]), self.known),
                math.ceil((height + half) / 10.0) * 10.0,
                math.floor((height - half) / 10.0) * 10.0,
            )
        return self.known_of[cell]


@pytest.mark.parametrize("seed", range(4))
def test_line_and_corridor_are_those_of_plain_loops(seed: int) -> None:
    source = dem(rough(90, seed, relief=0.5))
    route, settings = legs(source, seed, 5), Settings(vertical_error_m=0.4, correlation_m=0.0)
    known = slope_uncertainty("horn", np.array([[10.0, 0.0], [0.0, -10.0]]), 0.4, 0.0)
    plain = Plain(source, known, 0.8)
    rng = np.random.default_rng(seed)
    hits = 0
    for number, ground in enumerate(grounds_of(route, source, settings)):
        ends = route.points[number : number + 2]
        col, row = source.grid.from_wgs84([end.lon_deg for end in ends], [end.lat_deg for end in ends])
        length = float(ground.line.edges_m[-1])
        cuts, near = cut_at_edges(col, row, np.array([0.0, length])), inside(col, row, length, Settings())
        for _ in range(12):
            aspects = tuple(rng.choice(SECTORS, size=rng.integers(0, 4), replace=False).tolist())
            low = float(rng.integers(-1, 5) * 100)
            asked = (
                aspects,
                (low, low + float(rng.integers(0, 4) * 100)),
                float(rng.choice([25.0, 30.0, 35.0])),
            )
            metres = 0.0
            for start, end in pairwise(cuts.tolist()):
                share = (start + end) / 2.0 / length
                i, j = (math.floor(axis[0] + share * (axis[1] - axis[0])) for axis in (col, row))
                if any(plain.named((j + dj, i + di), *asked) for dj in (-1, 0, 1) for di in (-1, 0, 1)):
                    metres += end - start
            hits += metres > 0.0
            # The leg is a geodesic, the plain line straight in the grid.
            assert crossed(ground.line, *asked).length_m == pytest.approx(metres, abs=0.02 * length)
            # The corridor holds the line's own cells and those around them too.
            beside = metres > 0.0 or any(plain.named(cell, *asked) for cell in near)
            assert crossed(ground.corridor, *asked).length_m >= crossed(ground.line, *asked).length_m - 1e-6
            assert (crossed(ground.corridor, *asked).length_m > 0.0) is beside
    assert hits > 10


def inside(col: np.ndarray, row: np.ndarray, length: float, settings: Settings) -> list[tuple[int, int]]:
    """Cells whose square the corridor touches, cell by cell; a straight leg on square cells of 10 m."""
    found = []
    along = np.array([col[1] - col[0], row[1] - row[0]])
    span = float(along @ along)
    for j in range(90):
        for i in range(90):
            corner = np.array([i + 0.5 - col[0], j + 0.5 - row[0]])
            share = min(1.0, max(0.0, float(corner @ along) / span))
            off = corner - share * along
            apart = float(np.hypot(*off))
            reach = float(np.abs(off).sum()) / 2.0 / max(apart, 1e-12)
            wide = float(half_width_m(np.array(share * length), settings.place_error_m, settings.drift_deg))
            if 10.0 * (apart - reach) <= wide:
                found.append((j, i))
    return found


@pytest.mark.parametrize("seed", [1, 5])
def test_overhead_is_that_of_plain_loops(seed: int) -> None:
    from steybrae.route.legs import leg_track
    from steybrae.route.overhead.windows import OverheadLook, cells_on, read_ground, stretch_windows
    from steybrae.terrain.jacobian import cell_size_m, jacobian_at

    source = dem(rough(70, seed, relief=0.6))
    route = legs(source, seed, 1)
    (leg,) = grounds_of(route, source)
    track = leg_track(route, 0)
    cell = cell_size_m(
        source.grid, *(float(v[0]) for v in source.grid.from_wgs84(track.lon_deg, track.lat_deg))
    )
    known = slope_uncertainty("horn", jacobian_at(source.grid, 35.0, 35.0))
    look = OverheadLook(cell, known)
    (part,) = stretch_windows(source.grid, [track], look)
    ground = read_ground(source, part.window, look).possible
    col, row, chainage, _ = cells_on(part, ground.corner, look.joins)
    points = ground.centres(col.astype(int), row.astype(int))
    at = np.clip(np.searchsorted(leg.overhead.edges_m, chainage) - 1, 0, len(leg.overhead.unknown) - 1)
    sources = ground.sources
    flagged, nearest = set(), math.inf
    for k in np.unique(at).tolist():
        # Within a start zone the next cell of the same slope is not overhead.
        inside = ground.zones.in_range[points.row.astype(int), points.col.astype(int)]
        of_bin = np.flatnonzero((at == k) & ~inside)
        if len(of_bin) == 0:
            continue
        first = int(of_bin[0])
        for cell_index in range(len(sources.col)):
            east, north = ground.offset_m(
                sources.col[cell_index] + 0.5 - points.col[first],
                sources.row[cell_index] + 0.5 - points.row[first],
            )
            apart = math.hypot(float(east), float(north))
            rise = float(sources.heights_m(cell_index) - points.height_m[first])
            if apart < min(ground.cell_m) / 2 or rise < math.tan(math.radians(LEAST_SIGHT_DEG)) * apart:
                continue
            pair = Pairs(np.array([first]), np.array([cell_index]), np.array([rise / apart]))
            if bool(in_sight(ground, points, pair)[0]) or way_passes(ground, points, of_bin, cell_index):
                flagged.add(k)
                nearest = min(nearest, apart)
    metres = sum(float(np.diff(leg.overhead.edges_m)[k]) for k in flagged)
    assert metres > 0.0
    told = crossed(leg.overhead, (), EVERYWHERE, 0.0)
    assert told.length_m == pytest.approx(metres, abs=1e-9)
    assert told.nearest_m is not None
    # Kept in steps of 10 m, rounded down.
    assert nearest - 10.0 < told.nearest_m <= nearest + 1e-6


def way_passes(ground, points, of_bin, cell_index: int) -> bool:
    """Whether the way down from a source comes within 50 m of the cells of a bin."""
    _, cols = ground.dem.grid.shape
    at = int(ground.sources.row[cell_index] * cols + ground.sources.col[cell_index])
    for _ in range(2000):
        j, i = divmod(at, cols)
        east, north = ground.offset_m(i - np.floor(points.col[of_bin]), j - np.floor(points.row[of_bin]))
        if (np.hypot(east, north) <= FLOW_NEAR_M).any():
            return True
        down = int(ground.down[at])
        if down == at:
            return False
        at = down
    return False


def test_a_screening_without_grounds_is_not_matched(sample_dem) -> None:
    from steybrae.errors import BulletinError
    from steybrae.forecast.bulletin import BulletinFile
    from steybrae.screening.forecast.at import ForecastAsk, forecast_beside

    source = model(Plane(35.0, 0.0))
    found: RouteScreening = screen_route(route_on(source, towards(90.0, 400.0)), source)
    with pytest.raises(BulletinError) as caught:
        forecast_beside(found, BulletinFile("b.json", ()), ForecastAsk())
    assert str(caught.value) == (
        "A forecast is matched against the ground of each leg; this plan does not hold it. Save the plan "
        "again from its route and model."
    )
