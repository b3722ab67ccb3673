"""Make the invented massif and the invented winter day of this folder.

Run ``python sample_dem/make_sample.py --out DIR``: it writes ``stey_massif.tif``, ``day.gpx``,
``day.geojson`` and ``day.csv``. No such place exists; the coordinates lie in the open sea.

The ground is built the way such ground is made. Ridge lines stand up first, as the soft maximum
of many narrow hills in a row. Ice then planes a plateau and scoops bowls, corries and valleys,
each as the soft minimum of many basins in a row. A gentle bending of the coordinates and a fine
texture, both sums of a few dozen sine waves, take away what is too regular. A tarn is flooded
last, and one patch is left unknown. Positions are metres east and north of the lower left corner.
Every number below is invented: it was chosen to show a feature of the ground, and has no source.
"""

import argparse
import csv
import json
from dataclasses import dataclass
from pathlib import Path
from xml.sax.saxutils import escape

import numpy as np
import rasterio
from numpy.typing import NDArray
from pyproj import Transformer
from rasterio.transform import from_origin

Grid = NDArray[np.float64]

SEED = 20260
EPSG = 27700
CELL_M = 10.0
COLUMNS, ROWS = 900, 700
WEST_M, SOUTH_M = 50_000.0, 1_050_000.0
NODATA = -9999.0
LOWLAND_M = 90.0
POINT_GAP_M = 50.0
"""Distance between the hills, or the basins, that stand in a row along a line."""


@dataclass(frozen=True)
class Ridge:
    """A crest through ``points`` (east, north, height in m); its flanks die out over ``reach_m``."""

    points: tuple[tuple[float, float, float], ...]
    reach_m: float = 1000.0
    rounding_m: float = 90.0


@dataclass(frozen=True)
class Scoop:
    """A basin line through ``points``: east, north, floor height, half-width of the floor, wall.

    The walls steepen from the floor to the wall's slope (degrees) over about ``foot_m``;
    ``edge_m`` rounds the rim.
    """

    points: tuple[tuple[float, float, float, float, float], ...]
    foot_m: float = 130.0
    edge_m: float = 6.0


# fmt: off
RIDGES = (
    # the main ridge, west to east
    Ridge(((1600, 4200, 540), (2300, 4300, 930), (3000, 4550, 1060), (3600, 4750, 1050),
           (4250, 4900, 1060), (4750, 4850, 1165), (5250, 4650, 1040), (5850, 4620, 1030),
           (6300, 4500, 1075), (6900, 4700, 800), (7400, 4950, 480))),
    # the plateau's broad back
    Ridge(((2650, 4150, 1010), (3100, 4200, 1070), (3600, 4400, 1060)), 1100, 150),
    # the plateau's southern spur
    Ridge(((2850, 4250, 1010), (2750, 3750, 890), (2800, 2950, 640), (2600, 2200, 350)), 1150, 140),
    # the eastern arm of the horseshoe
    Ridge(((6300, 4500, 1060), (6600, 3800, 860), (6760, 3200, 940), (6650, 2600, 770),
           (6700, 2050, 480), (6950, 1600, 240)), 900),
    # northern spurs between the corries
    Ridge(((4750, 4850, 1120), (4850, 5500, 760), (4650, 6050, 420)), 700),
    Ridge(((3000, 4500, 1020), (2750, 5200, 760), (2900, 5800, 430)), 800),
    Ridge(((6300, 4500, 1040), (6550, 5200, 660), (6450, 5800, 340)), 700),
    # western and eastern outliers
    Ridge(((2300, 4300, 880), (1850, 3700, 520), (1650, 3100, 300)), 750),
    Ridge(((2300, 4300, 880), (1700, 4900, 520), (1800, 5500, 280)), 750),
    Ridge(((6600, 3800, 860), (7300, 3500, 520), (7700, 3100, 280)), 700),
    Ridge(((3600, 1500, 190), (3900, 1800, 240), (4000, 2200, 330)), 500),
)

SCOOPS = (
    # the plateau: a wide, high, almost level floor
    Scoop(((2800, 4350, 985, 300, 18), (3200, 4500, 1000, 380, 18), (3600, 4600, 1010, 330, 18)),
          300, 10),
    # a rounded bowl under the plateau's south-western end
    Scoop(((1950, 2700, 330, 80, 20), (2080, 3250, 460, 130, 32), (2250, 3700, 640, 150, 41)),
          120, 30),
    # the south valley, its hanging glen and its two heads
    Scoop(((5250, -500, 105, 280, 5), (5150, 700, 130, 270, 10), (5000, 1400, 158, 270, 20),
           (4800, 2100, 205, 260, 32), (4700, 2800, 300, 240, 40)), 250, 20),
    Scoop(((4250, 3500, 430, 150, 40), (3950, 3450, 500, 150, 38), (3600, 3300, 600, 110, 34),
           (3000, 3350, 740, 90, 30), (2950, 3750, 860, 80, 26), (3000, 4150, 985, 80, 22)),
          150, 15),
    Scoop(((4700, 2800, 300, 240, 42), (4350, 3400, 410, 210, 48), (4120, 4000, 500, 190, 57))),
    Scoop(((4700, 2800, 300, 220, 42), (5250, 3350, 470, 190, 44), (5370, 3650, 640, 120, 46),
           (5420, 3900, 620, 130, 49), (5430, 4060, 580, 140, 51)), 160),
    # the northern corries
    Scoop(((3450, 7500, 175, 230, 5), (3600, 6800, 235, 230, 14), (3750, 6200, 300, 220, 28),
           (3850, 5650, 500, 210, 48), (3750, 5280, 540, 190, 56), (3350, 5230, 560, 190, 57))),
    Scoop(((5350, 7500, 155, 230, 5), (5500, 6800, 215, 230, 14), (5600, 6200, 280, 240, 28),
           (5620, 5650, 520, 200, 46), (5760, 5250, 690, 180, 49), (5480, 5270, 715, 160, 50)), 160),
)
# fmt: on

TARN_EAST_M, TARN_NORTH_M, TARN_LEVEL_M = 5395.0, 4055.0, 580.6
"""A place in the tarn, and the height of its ice."""

VOID_EAST_M, VOID_NORTH_M, VOID_LENGTH_M, VOID_WIDTH_M = 6330.0, 2430.0, 250.0, 200.0
"""Middle and extent, east and north, of the patch without heights."""

TITLE = "A winter day on Stey Massif (invented)"
STORY = (
    "Stey Massif is invented. No such place exists: these coordinates lie in the open Atlantic. "
    "A demonstration is never a decision in the field."
)
TURNS = (
    ("Hjarnavoe Foot", 5150.0, 900.0),
    ("Druneil Bend", 4640.0, 2800.0),
    ("Lower Coire Skaldrim", 4190.0, 3700.0),
    ("Upper Coire Skaldrim", 4130.0, 4060.0),
    ("Fennarach Mouth", 4000.0, 3380.0),
    ("Fennarach Head", 3000.0, 3400.0),
    ("Torraskel Rim West", 3160.0, 4636.0),
    ("Torraskel Rim East", 3560.0, 4642.0),
    ("Torraskel Neck", 3940.0, 4674.0),
    ("Olvanaich Steps", 4150.0, 4760.0),
    ("Sgor Olvanaich", 4805.0, 4945.0),
    ("Druim Keldavoe West", 5440.0, 4623.0),
    ("Druim Keldavoe East", 5840.0, 4554.0),
    ("Stob Havrenish", 6150.0, 4487.0),
    ("Havrenish Shoulder", 6430.0, 4180.0),
    ("Bealach Norruig", 6640.0, 3690.0),
    ("Varghul Traverse North", 6520.0, 3340.0),
    ("Varghul Traverse South", 6620.0, 2800.0),
    ("Lagvoran Stones", 6000.0, 2000.0),
    ("Hjarnavoe Bridge", 5300.0, 950.0),
)


def along(points: tuple[tuple[float, ...], ...]) -> Grid:
    """Points about ``POINT_GAP_M`` apart on a smooth curve through ``points``.

    A Catmull-Rom spline runs through every column alike: east, north, and what follows them.

    Parameters
    ----------
    points
        Two or more control points, each ``(east_m, north_m, ...)``.

    Returns
    -------
    ndarray, shape (n, len(points[0]))
        The points, both ends included.
    """
    knots = np.array(points, dtype=float)
    padded = np.vstack([2 * knots[0] - knots[1], knots, 2 * knots[-1] - knots[-2]])
    pieces = []
    for before, start, end, after in zip(padded, padded[1:], padded[2:], padded[3:], strict=False):
        count = max(2, round(float(np.hypot(*(end - start)[:2])) / POINT_GAP_M))
        t = np.linspace(0.0, 1.0, count, endpoint=False)[:, np.newaxis]
        curve = (
            2 * start
            + (end - before) * t
            + (2 * before - 5 * start + 4 * end - after) * t**2
            + (3 * start - before - 3 * end + after) * t**3
        )
        pieces.append(curve / 2)
    return np.vstack([*pieces, knots[-1:]])


def waves(east_m: Grid, north_m: Grid, lengths_m: Grid, rng: np.random.Generator) -> Grid:
    """Add up one sine wave in a random direction for each wavelength: a smooth random field.

    ``f = sum_i a_i sin(2 pi (x cos b_i + y sin b_i) / lengths_i + c_i)``, with ``b`` and ``c`` even
    on the circle and ``a`` proportional to the wavelength, scaled to a standard deviation of 1.

    Parameters
    ----------
    east_m, north_m
        Where, in metres; one shape.
    lengths_m
        The wavelengths, metres.
    rng
        Draws the directions, then the phases.

    Returns
    -------
    ndarray
        The field, without unit, in the shape of ``east_m``.
    """
    bearing, phase = rng.uniform(0.0, 2 * np.pi, (2, lengths_m.size))
    amplitude = lengths_m * np.sqrt(2.0 / np.sum(lengths_m**2))
    field = np.zeros_like(east_m)
    for a, length, b, c in zip(amplitude, lengths_m, bearing, phase, strict=True):
        field += a * np.sin(2 * np.pi * (east_m * np.cos(b) + north_m * np.sin(b)) / length + c)
    return field


def ridges_m(east_m: Grid, north_m: Grid, soft_m: float = 18.0) -> Grid:
    """Height of all ridges above the lowland: ``T ln(1 + sum (exp(h_i / T) - 1))``, over hills in a row.

    A hill of height H stands as ``h = H exp(-q - q^2 / 8)`` with
    ``q = (sqrt(d^2 + rounding^2) - rounding) / reach``: steepest just below the crest.
    A hill far away adds nothing.

    Parameters
    ----------
    east_m, north_m
        Where, in metres; one shape.
    soft_m
        T: how far, in metres of height, neighbouring hills melt together.

    Returns
    -------
    ndarray
        Metres, 0 or more, in the shape of ``east_m``.
    """
    total = np.ones_like(east_m)
    for ridge in RIDGES:
        for east, north, height in along(ridge.points):
            reach_sq = (east_m - east) ** 2 + (north_m - north) ** 2
            q = (np.sqrt(reach_sq + ridge.rounding_m**2) - ridge.rounding_m) / ridge.reach_m
            total += np.expm1((height - LOWLAND_M) * np.exp(-q - q**2 / 8) / soft_m)
    return np.asarray(soft_m * np.log(total))


def scoop_m(scoop: Scoop, east_m: Grid, north_m: Grid, soft_m: float = 6.0) -> Grid:
    """Height of the basins in a row: floor, then a wall that steepens towards its slope.

    ``w(u) = tan(wall) (sqrt(u^2 + foot^2) - foot) + max(u - 600, 0)^2 / 400``, u the distance
    outside the floor; the last term ends a gentle basin within its own valley. The row is joined
    by ``-T ln sum exp(-h_i / T)``.

    Parameters
    ----------
    scoop
        The basin line.
    east_m, north_m
        Where, in metres; one shape.
    soft_m
        T: how far, in metres of height, neighbouring basins melt into one another.

    Returns
    -------
    ndarray
        Metres, in the shape of ``east_m``; above 2900 the ceiling of the formula is reached.
    """
    total = np.zeros_like(east_m)
    for east, north, floor, half_width, wall_deg in along(scoop.points):
        out = np.maximum(np.hypot(east_m - east, north_m - north) - half_width, 0.0)
        wall = np.tan(np.radians(wall_deg)) * (np.sqrt(out**2 + scoop.foot_m**2) - scoop.foot_m)
        wall += np.maximum(out - 600.0, 0.0) ** 2 / 400.0
        total += np.exp(-np.minimum(floor + wall, 3000.0) / soft_m)
    return np.asarray(-soft_m * np.log(total))


def lower_of(a: Grid, b: Grid, soft_m: float) -> Grid:
    """Take the soft minimum of two surfaces; ``soft_m`` (m) rounds the edge where they meet."""
    return np.asarray(-soft_m * np.logaddexp(-a / soft_m, -b / soft_m))


def grid_m() -> tuple[Grid, Grid]:
    """East and north of every cell's middle (m), each of shape (ROWS, COLUMNS), north row first."""
    east_m = (np.arange(COLUMNS) + 0.5) * CELL_M
    north_m = (ROWS - 0.5 - np.arange(ROWS)) * CELL_M
    return np.tile(east_m, (ROWS, 1)), np.tile(north_m[:, np.newaxis], (1, COLUMNS))


def flooded(heights_m: Grid) -> Grid:
    """Fill the tarn's basin, perfectly flat, to ``TARN_LEVEL_M``; leave all other ground as it is."""
    below = heights_m < TARN_LEVEL_M
    water = np.zeros_like(below)
    water[ROWS - 1 - int(TARN_NORTH_M // CELL_M), int(TARN_EAST_M // CELL_M)] = True
    wet = 0
    while (now := int(np.count_nonzero(water))) > wet:
        wet = now
        grown = water.copy()
        grown[1:] |= water[:-1]
        grown[:-1] |= water[1:]
        grown[:, 1:] |= water[:, :-1]
        grown[:, :-1] |= water[:, 1:]
        water = grown & below
    return np.where(water, TARN_LEVEL_M, heights_m)


def void(east_m: Grid, north_m: Grid) -> NDArray[np.bool_]:
    """Where the heights are unknown: a rounded patch, irregular where the coordinates are bent."""
    across = 2 * np.abs(east_m - VOID_EAST_M) / VOID_LENGTH_M
    along_north = 2 * np.abs(north_m - VOID_NORTH_M) / VOID_WIDTH_M
    return np.asarray(across**4 + along_north**4 < 1.0)


def massif_heights_m() -> NDArray[np.float32]:
    """Heights of the invented massif.

    Returns
    -------
    ndarray of float32, shape (ROWS, COLUMNS), read-only
        Metres, rounded to 0.1 m, the northernmost row first. NaN in the patch that is unknown.
        Only sums of elementary functions go in, so every machine finds the same heights.
    """
    rng = np.random.Generator(np.random.PCG64(SEED))
    east_m, north_m = grid_m()
    long_m, short_m = np.geomspace(500, 2000, 16), np.geomspace(170, 420, 24)
    e = east_m + 45 * waves(east_m, north_m, long_m, rng) + 8 * waves(east_m, north_m, short_m, rng)
    n = north_m + 45 * waves(east_m, north_m, long_m, rng)
    n += 8 * waves(east_m, north_m, short_m, rng)
    h = LOWLAND_M + ridges_m(e, n) + 12 * waves(e, n, np.geomspace(900, 4000, 16), rng)
    h += 7 * waves(e, n, np.geomspace(250, 800, 24), rng)
    for scoop in SCOOPS:
        h = lower_of(h, scoop_m(scoop, e, n), scoop.edge_m)
    h += 1.4 * waves(e, n, np.geomspace(65, 320, 48), rng)
    heights = np.where(void(e, n), np.nan, np.round(flooded(h), 1)).astype(np.float32)
    heights.flags.writeable = False
    return heights


def turn_points() -> list[tuple[float, float, str]]:
    """Latitude, longitude (WGS 84, degrees, 7 decimals) and name of each turn point, in order."""
    to_wgs84 = Transformer.from_crs(EPSG, 4326, always_xy=True)
    names, east_m, north_m = zip(*TURNS, strict=True)
    lon, lat = to_wgs84.transform(WEST_M + np.array(east_m), SOUTH_M + np.array(north_m))
    return list(zip(lat.round(7).tolist(), lon.round(7).tolist(), names, strict=True))


def write_raster(path: Path) -> None:
    """Write the heights as a tiled, compressed GeoTIFF in the British National Grid."""
    heights = massif_heights_m()
    with rasterio.open(
        path, "w", driver="GTiff", width=COLUMNS, height=ROWS, count=1, dtype="float32",
        crs=f"EPSG:{EPSG}", nodata=NODATA, compress="deflate", predictor=3, zlevel=9,
        tiled=True, blockxsize=256, blockysize=256,
        transform=from_origin(WEST_M, SOUTH_M + ROWS * CELL_M, CELL_M, CELL_M),
    ) as raster:  # fmt: skip
        raster.write(np.where(np.isnan(heights), np.float32(NODATA), heights), 1)
        raster.set_band_unit(1, "m")
        raster.set_band_description(1, "height of an invented massif")
        raster.update_tags(TITLE="Stey Massif (invented)", DESCRIPTION=STORY)


def write_gpx(path: Path) -> None:
    """Write the day as one GPX 1.1 route without heights."""
    points = "\n".join(
        f'    <rtept lat="{lat:.7f}" lon="{lon:.7f}"><name>{escape(name)}</name></rtept>'
        for lat, lon, name in turn_points()
    )
    title, story = escape(TITLE), escape(STORY)
    text = f"""<?xml version="1.0" encoding="UTF-8"?>
<gpx version="1.1" creator="steybrae sample" xmlns="http://www.topografix.com/GPX/1/1">
  <metadata>
    <name>{title}</name>
    <desc>{story}</desc>
  </metadata>
  <rte>
    <name>{title}</name>
{points}
  </rte>
</gpx>
"""
    path.write_text(text, encoding="utf-8", newline="\n")


def write_geojson(path: Path) -> None:
    """Write the day as one line (RFC 7946: longitude first); the names stand in its properties."""
    places = turn_points()
    line = {"type": "LineString", "coordinates": [[lon, lat] for lat, lon, _ in places]}
    names = [name for _, _, name in places]
    properties = {"name": TITLE, "description": STORY, "turn_points": names}
    feature = {"type": "Feature", "properties": properties, "geometry": line}
    text = json.dumps({"type": "FeatureCollection", "features": [feature]}, indent=1)
    path.write_text(text + "\n", encoding="utf-8", newline="\n")


def write_csv(path: Path) -> None:
    """Write the day as a table with the columns lat, lon and name."""
    with path.open("w", encoding="utf-8", newline="") as file:
        table = csv.writer(file, lineterminator="\n")
        table.writerow(["lat", "lon", "name"])
        table.writerows([f"{lat:.7f}", f"{lon:.7f}", name] for lat, lon, name in turn_points())


def main() -> None:
    """Write every file of the sample into the folder named by ``--out``."""
    parser = argparse.ArgumentParser(description="Make the invented massif and the planned day.")
    parser.add_argument("--out", type=Path, required=True, metavar="DIR", help="folder to write to")
    folder: Path = parser.parse_args().out
    folder.mkdir(parents=True, exist_ok=True)
    write_raster(folder / "stey_massif.tif")
    write_gpx(folder / "day.gpx")
    write_geojson(folder / "day.geojson")
    write_csv(folder / "day.csv")


if __name__ == "__main__":
    main()
