"""Feed every reader what nobody would write, and report whatever is not an error of ours.

Good inputs are changed at random: bytes flipped, cut, doubled, numbers made absurd, two files
joined; plans also inside their entries. An answer is checked too, for what may never come out.
Warnings count as crashes: they would reach the user's terminal. What is never silently gentler than the
clean model or plan is in `gentler`, the command line in `command_line`.

    python -m tests.fuzz.fuzz_readers                       200 000 inputs over all readers
    python -m tests.fuzz.fuzz_readers --count 50000 --only read_plan --seed 7
    python -m tests.fuzz.fuzz_readers --count 20000 --rounds 50    50 seeds; counts are added to tried.md

What crashed is kept in ``--keep`` (a folder), one file an input. An input that takes more than 10 s of the
processor, or the process above 1 GB, is a crash too.
"""

from __future__ import annotations

import argparse
import collections
import dataclasses
import datetime as dt
import importlib
import io
import math
import os
import random
import resource
import sys
import tempfile
import time
import traceback
import warnings
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, Final

import numpy as np
import rasterio
from affine import Affine
from tests.fuzz import command_line, gentler, tried

from steybrae.errors import QuantityError, SteybraeError

DEFAULT_COUNT: Final = 200_000
MOST_S: Final = 10.0
"""Processor time that no input may take, seconds."""

MOST_KIB: Final = 2**20
"""Memory that no input may bring the process to."""

ODD: Final = (
    *(b"nan", b"NaN", b"inf", b"-inf", b"1e999", b"-1e-999", b"0", b"-0", b"99999999999999999999", b"1_0"),
    *(
        b"181",
        b"-91",
        b"\0",
        b"\xff",
        b"\xff\xfe",
        b"\xef\xbb\xbf",
        b"<",
        b">",
        b'"',
        b"'",
        b",",
        b";",
        b"\n",
    ),
    *(
        b"[",
        b"{",
        b"}",
        b"]",
        b"&a;",
        b"&#0;",
        b"\\ud800",
        b"\xed\xa0\x80",
        "\u0664\u0662".encode(),
        "\u00b2".encode(),
    ),
    *(b"deg", b"%", b"in", b"mm", b":", b"1:", "°".encode(), b"null", b"true", b"../", b"\x1b[2J", b" " * 9),
)

Mutate = Callable[[random.Random, bytes], bytes]


@dataclasses.dataclass(frozen=True)
class Reader:
    """One reader under test.

    Attributes
    ----------
    home, name
        Module and function; a reader whose module does not exist yet is passed over.
    seeds
        Good inputs.
    use
        Calls the function with an input and checks the answer.
    weight
        Share of the inputs, against the others'.
    suffix
        Of the file that the input is put into; None where it is text.
    inside
        A second way to change an input, that knows its form.
    """

    home: str
    name: str
    seeds: Callable[[], list[bytes]]
    use: Callable[[Callable[..., Any], Any], None]
    weight: int
    suffix: str | None = None
    inside: Mutate | None = None

    @property
    def label(self) -> str:
        """Its name, and what it is given where that is a file."""
        return f"{self.name} {self.suffix}" if self.suffix else self.name


def change(chance: random.Random, data: bytes, others: list[bytes]) -> bytes:
    """Change an input in one to four places."""
    if chance.random() < 0.35:
        return _change_number(chance, data)
    for _ in range(chance.choice((1, 1, 1, 2, 3, 4))):
        at, end = sorted(chance.randrange(len(data) + 1) for _ in range(2))
        way = chance.randrange(8)
        if way == 0 and data:
            flipped = data[at - 1] ^ (1 << chance.randrange(8))
            data = data[: at - 1] + bytes([flipped]) + data[at:] if at else data
        elif way == 1:
            data = data[:at] + chance.choice(ODD) + data[at:]
        elif way == 2:
            data = data[:at] + chance.choice(ODD) + data[min(end, at + chance.randrange(12)) :]
        elif way == 3:
            data = data[:at] + data[end:]
        elif way == 4:
            data = data[:end] + data[at:end] * chance.choice((1, 2, 20)) + data[end:]
        elif way == 5:
            other = chance.choice(others)
            data = data[:at] + other[chance.randrange(len(other) + 1) :]
        elif way == 6:
            data = data[:at] + chance.randbytes(chance.randrange(1, 9)) + data[at + chance.randrange(9) :]
        else:
            data = _change_number(chance, data)
    return data[:200_000]


def _change_number(chance: random.Random, data: bytes) -> bytes:
    digits = [k for k, byte in enumerate(data[:5000]) if 48 <= byte <= 57]
    if not digits:
        return data
    at = end = chance.choice(digits)
    while end < len(data) and (48 <= data[end] <= 57 or data[end] == 46):
        end += 1
    return data[:at] + chance.choice(ODD[:12]) + data[end:]


def change_plan(chance: random.Random, data: bytes) -> bytes:
    """Change one entry of a plan, or its name, and pack it again."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        entries = {name: archive.read(name) for name in archive.namelist()}
    name = "plan.json" if chance.random() < 0.6 else chance.choice(list(entries))
    entries[name] = change(chance, entries[name], [entries["plan.json"]])
    if chance.random() < 0.1:
        entries[chance.choice(("../x.npy", "x", "a" * 300 + ".npy", " "))] = entries.pop(
            chance.choice(list(entries))
        )
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", chance.choice((0, 8, 8, 8, 12, 14))) as archive:
        for entry, content in entries.items():
            archive.writestr(entry, content)
    return held.getvalue()


GPX_SEED: Final = (
    '<?xml version="1.0" encoding="UTF-8"?><gpx version="1.{v}" creator="x" '
    'xmlns="http://www.topografix.com/GPX/1/{v}"><metadata><time>2026-01-02T03:04:05Z</time></metadata>'
    '<wpt lat="57.1" lon="-8.6"><name>Torran</name></wpt><{a}><name>day</name>{b}'
    '<{p} lat="57.10" lon="-8.60"><ele>900</ele><name>A</name></{p}><{p} lat="57.11" lon="-8.61"/>'
    '<{p} lat="57.12" lon="-8.60"><time>2026-01-02T03:04:05Z</time></{p}>{c}</{a}></gpx>'
)


def route_seeds() -> list[bytes]:
    """Return GPX 1.1 and 1.0, GeoJSON and tables."""
    route = GPX_SEED.format(v=1, a="rte", b="", c="", p="rtept")
    track = GPX_SEED.format(v=0, a="trk", b="<trkseg>", c="</trkseg><trkseg></trkseg>", p="trkpt")
    line = (
        '{"type": "FeatureCollection", "features": [{"type": "Feature", "properties": {"name": "day", '
        '"turn_points": ["A", null, "B"]}, "geometry": {"type": "LineString", "coordinates": '
        '[[-8.6, 57.1, 900.0], [-8.61, 57.11], [-8.6, 57.12]]}}, {"type": "Feature", "properties": null, '
        '"geometry": {"type": "Point", "coordinates": [-8.6, 57.1]}}]}'
    )
    lines = '{"type": "MultiLineString", "coordinates": [[[-8.6, 57.1], [-8.61, 57.11]], [[-8.6, 57.12]]]}'
    tables = ('lat,lon,name\n57.1,-8.6,A\n57.11,-8.61,"B, b"\n', "name;lon;lat\nA;-8,6;57,1\nB;-8,61;57,11\n")
    return [text.encode() for text in (route, track, line, lines, *tables)]


def use_route(read: Callable[..., Any], path: Path) -> None:
    """Read a route, every third time cut at a name."""
    route = read(path, legs_at=("A", "1km") if path.stat().st_size % 3 == 0 else ())
    assert len(route.points) >= 2, "a line of one point"
    assert route.turn_points[0] == 0, "the line does not begin at its start"
    assert route.turn_points[-1] == len(route.points) - 1, "the line does not end at its end"
    assert all(abs(p.lat_deg) <= 90.0 and abs(p.lon_deg) <= 180.0 for p in route.points), "off the earth"


def use_routes(read: Callable[..., Any], path: Path) -> None:
    """Read every route of a file twice over."""
    for route in read((path, path)):
        use_route(lambda *_, route=route, **__: route, path)


def model_seeds() -> list[bytes]:
    """Return small GeoTIFFs of several kinds and an ASCII grid."""
    heights = np.add.outer(np.arange(24.0), 3.0 * np.arange(24.0))
    kinds: list[dict[str, Any]] = [
        {"dtype": "float32"},
        {
            "dtype": "int16",
            "compress": "deflate",
            "nodata": -9999,
            "tiled": True,
            "blockxsize": 16,
            "blockysize": 16,
        },
        {"dtype": "float32", "compress": "lzw", "predictor": 3, "crs": "EPSG:4326"},
        {"dtype": "uint16", "crs": "EPSG:27700+5701", "blockysize": 4},
        {"dtype": "int16", "compress": "deflate", "nodata": -9999, "BIGTIFF": "YES"},
    ]
    seeds = []
    with tempfile.TemporaryDirectory() as folder:
        for kind in kinds:
            path = Path(folder) / "seed.tif"
            cell = 0.001 if kind.get("crs") == "EPSG:4326" else 10.0
            corner = (-8.0, 57.0) if cell < 1.0 else (54_500.0, 1_053_500.0)
            profile: dict[str, Any] = {
                "driver": "GTiff",
                "crs": "EPSG:27700",
                "height": 24,
                "width": 24,
                "count": 1,
            }
            transform = Affine(cell, 0.0, corner[0], 0.0, -cell, corner[1])
            with rasterio.open(path, "w", **{**profile, **kind, "transform": transform}) as made:
                made.write(heights.astype(kind["dtype"]), 1)
            seeds.append(path.read_bytes())
    head = "ncols 4\nnrows 3\nxllcorner 54500\nyllcorner 1053500\ncellsize 10\nNODATA_value -9999\n"
    seeds.append((head + "1 2 3 4\n5 6 -9999 8\n9 10 11 12\n").encode())
    return seeds


def use_model(open_model: Callable[..., Any], path: Path) -> None:
    """Read a corner of a model, at most 300 x 300 cells, some outside."""
    with open_model([path], "m" if path.stat().st_size % 2 else None) as model:
        rows, cols = (min(size, 300) for size in model.grid.shape)
        heights = model.read(-2, -2, rows, cols).heights_m
        assert not np.isinf(heights).any(), "an infinite height"
        assert model.info.height_unit_m > 0.0, "a height unit of nothing"


VRT_SEED: Final = (
    '<VRTDataset rasterXSize="30" rasterYSize="40"><SRS>EPSG:27700</SRS>'
    "<GeoTransform>54500,10,0,1053500,0,-10</GeoTransform>"
    '<VRTRasterBand dataType="{kind}" band="1">{nodata}<{source}><SourceFilename relativeToVRT="1">tile.tif'
    '</SourceFilename><SourceBand>1</SourceBand><SrcRect xOff="0" yOff="0" xSize="24" ySize="24"/>'
    '<DstRect xOff="2" yOff="3" xSize="24" ySize="24"/></{source}></VRTRasterBand></VRTDataset>'
)


def vrt_seeds() -> list[bytes]:
    """Return virtual rasters larger than their source, which `use_vrt` puts beside them."""
    kinds = (("Float32", "", "SimpleSource"), ("Int16", "", "ComplexSource"))
    declared = ("Float32", "<NoDataValue>-9999</NoDataValue>", "SimpleSource")
    return [
        VRT_SEED.format(kind=kind, nodata=nodata, source=source).encode()
        for kind, nodata, source in (*kinds, declared)
    ]


def use_vrt(open_model: Callable[..., Any], path: Path) -> None:
    """Read a virtual raster over ground above 100 m: where it is changed, no hole may read as level 0."""
    tile = path.with_name("tile.tif")
    if not tile.exists():
        profile = {"driver": "GTiff", "crs": "EPSG:27700", "height": 24, "width": 24, "count": 1}
        place = Affine(10.0, 0.0, 54_520.0, 0.0, -10.0, 1_053_470.0)
        with rasterio.open(tile, "w", dtype="float32", transform=place, **profile) as made:
            made.write(100.0 + np.add.outer(np.arange(24.0), 3.0 * np.arange(24.0)).astype("float32"), 1)
    with open_model([path], "m") as model:
        rows, cols = (min(size, 300) for size in model.grid.shape)
        heights = model.read(-2, -2, rows, cols).heights_m
        if not model.info.scaling and b"Scale" not in path.read_bytes():
            assert not (heights == 0.0).any(), "a hole as level ground"


def plan_seeds() -> list[bytes]:
    """Return the plan of a line on made ground."""
    from steybrae.files.plans import write_plan
    from steybrae.route.positions.places import Place
    from steybrae.route.turns import route_from_places
    from steybrae.screening import screen_route
    from steybrae.terrain.dem import Dem, Grid

    grid = Grid((10.0, 0.0, 54_500.0, 0.0, -10.0, 1_053_500.0), "EPSG:27700", (60, 60))
    dem = Dem(grid, np.broadcast_to(100.0 + 7.0 * np.arange(60.0), (60, 60)))
    lon, lat = grid.to_wgs84([15.0, 40.0, 70.0], [30.0, 30.0, 30.0])
    places = [Place(float(a), float(o), name=name) for a, o, name in zip(lat, lon, "ABC", strict=True)]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "plan.zip"
        write_plan(path, screen_route(route_from_places(places), dem))
        return [path.read_bytes()]


def use_plan(read: Callable[..., Any], path: Path) -> None:
    """Read a plan and print it by the contract."""
    from steybrae.files.results import json_text

    json_text("route", read(path)).encode()


def log_seeds() -> list[bytes]:
    """Return a log of two rows."""
    from steybrae.field.log import COLUMNS, LogRow, csv_line, row_to_cells

    time_ = dt.datetime(2026, 1, 2, 3, 4, tzinfo=dt.UTC)
    rows = [LogRow(time_, "Ann", "compass", (34.0, 35.5), 34.75, 2.8, 59.2, -8.0, note='a, "b"\nc')]
    rows.append(LogRow(time_, "", "", (30.0,), 30.0, 4.0, check="7a", plan="plan.zip"))
    lines = [csv_line(list(COLUMNS)), *(csv_line(list(row_to_cells(row).values())) for row in rows)]
    return ["".join(lines).encode()]


def use_log(read: Callable[..., Any], path: Path) -> None:
    """Read a log; every row has its readings."""
    assert all(row.readings_deg for row in read(path).rows), "a row without readings"


def bulletin_seeds() -> list[bytes]:
    """Return the sample's bulletin."""
    return [(Path(__file__).parents[2] / "sample_dem/bulletin.json").read_bytes()]


def use_bulletins(read: Callable[..., Any], path: Path) -> None:
    """Read bulletins and choose among them; all that they say can be printed as JSON."""
    from steybrae.files.results import json_text
    from steybrae.forecast.choose import Asked, choose

    found = read(path)
    chosen = choose(found.bulletins, Asked("XX-STEY-01", dt.datetime(2027, 1, 15, tzinfo=dt.UTC)))
    json_text("route", chosen).encode()
    "".join(found.notes).encode()


def texts(*seeds: str) -> Callable[[], list[bytes]]:
    """Return seeds of a parser of text."""
    return lambda: [seed.encode() for seed in seeds]


def within(low: float, high: float, *more: Any) -> Callable[[Callable[..., Any], str], None]:
    """Use a parser whose answer is a number in a range."""

    def use(parse: Callable[..., Any], text: str) -> None:
        found = parse(text, *more)
        value = found[0] if isinstance(found, tuple) else found
        assert math.isfinite(value), "an answer without end"
        assert low <= value <= high, "an answer out of range"

    return use


def use_edges(parse: Callable[..., Any], text: str) -> None:
    """Band edges rise between 0 and 90."""
    edges = parse(text).edges_deg
    assert (
        all(0.0 < a < b < 90.0 for a, b in zip(edges, (*edges[1:], 89.999999), strict=True))
        or len(edges) == 1
    )


def use_range(parse: Callable[..., Any], text: str) -> None:
    """Slopes of a range rise between 0 and 90."""
    low, high = parse(text)
    assert 0.0 < low < high < 90.0, "a range that does not rise"


def use_place(parse: Callable[..., Any], text: str) -> None:
    """Read a place on the earth, with an error."""
    place = parse(text)
    assert abs(place.lat_deg) <= 90.0, "off the earth"
    assert abs(place.lon_deg) <= 180.0, "off the earth"
    assert place.error_m >= 0.0, "less than no error"


def use_bearing(parse: Callable[..., Any], text: str) -> None:
    """Read a bearing, 0 to below 360."""
    assert 0.0 <= parse(text, "true").bearing_deg < 360.0, "a bearing out of range"


def use_readings(parse: Callable[..., Any], text: str) -> None:
    """Read readings with a mean between 0 and 90."""
    assert 0.0 <= parse(text.split()).mean_deg <= 90.0, "a mean out of range"


def use_clock(parse: Callable[..., Any], text: str) -> None:
    """Read a clock time on a day when clocks change; it has a zone."""
    day = dt.date(2026, 3, 29)
    assert parse(text, day, "Europe/London").utcoffset() is not None, "a time without a zone"


def use_zone(parse: Callable[..., Any], text: str) -> None:
    """Read a zone that tells a time."""
    assert dt.datetime(2026, 1, 2, tzinfo=parse(text)).utcoffset() is not None, "a zone of no use"


def use_day(parse: Callable[..., Any], text: str) -> None:
    """Read a day that is written back as one."""
    assert len(parse(text).isoformat()) == 10, "a day that is none"


def use_places(read: Callable[..., Any], path: Path) -> None:
    """Read places, each with its line of the file."""
    lines = [line for line, _ in read(path)]
    assert lines == sorted(set(lines)), "lines out of order"


def use_stretches(read: Callable[..., Any], path: Path) -> None:
    """Read stretches of a map whose every fifth line is thick."""
    assert read(path, 5), "no stretch"


def use_span(parse: Callable[..., Any], text: str) -> None:
    """Read a time with two ends, of which the second is no earlier."""
    first, last = parse(text)
    assert first <= last, "a time that ends before it begins"


def use_moment(parse: Callable[..., Any], text: str) -> None:
    """Read a date and time with its zone."""
    assert parse(text, "The time").utcoffset() is not None, "a time without a zone"


def use_message(read: Callable[..., Any], text: str) -> None:
    """Read what a page sent; it has names."""
    from steybrae.desk.guard import RefusedError

    try:
        found = read(text.encode(errors="surrogateescape"))
    except RefusedError as error:
        raise QuantityError(str(error)) from error
    assert all(isinstance(name, str) for name in found), "no name"


MESSAGES: Final = texts(
    '{"points": [[59.2, -8.05], [59.21, -8.06]], "name": "day"}', '{"at": 1.5, "of": null}'
)

SLOPES: Final = texts("34deg", "34°", "34", "62%", "1in2", "1 in 2.5", "600mil", "33.5 degrees")
LENGTHS: Final = texts("10m", "1.2km", "40ft", "40 usft", ".5m", "+3m")
PLACES: Final = texts(
    *("59.2234 -8.0712", "59 13 24 N 8 04 16 W", "N59.2 W8.0", "HX 166 712", "HX1667171200", "38SMB4484"),
    *("38N 444140 3684706", "-33.9 18.4", "59° 13.4' N, 8° 04.2' W", "216600 1071200"),
)
MOMENTS: Final = texts("2027-01-15T09:30+00:00", "2027-01-15T09:30Z", "2027-01-15 09:30:00.5-05:30")

SPANS: Final = texts(
    "2027-01-15T09:30Z", "2027-01-15T09:30Z/2027-01-15T15:00Z", "2027-01-15 09:30:00.5-05:30"
)

RASTERS: Final = "steybrae.files.model.rasters"

READERS: Final = (
    Reader("steybrae.files.routes", "read_route", route_seeds, use_route, 60, ".gpx"),
    Reader("steybrae.files.routes", "read_routes", route_seeds, use_routes, 20, ".gpx"),
    Reader(RASTERS, "open_model", model_seeds, use_model, 20, ".tif"),
    Reader(RASTERS, "open_model", vrt_seeds, use_vrt, 10, ".vrt"),
    Reader(RASTERS, "open_model", gentler.vrt_seeds, gentler.use_vrt, 10, ".clean.vrt"),
    Reader(RASTERS, "open_model", gentler.aux_seeds, gentler.use_sidecar, 10, ".side.tif.aux.xml"),
    Reader(RASTERS, "open_model", gentler.mask_seeds, gentler.use_sidecar, 10, ".mask.tif.msk"),
    Reader(RASTERS, "open_model", gentler.world_seeds, gentler.use_only_place, 5, ".world.tfw"),
    Reader(RASTERS, "open_model", gentler.prj_seeds, gentler.use_only_place, 5, ".crs.prj"),
    Reader(RASTERS, "open_model", gentler.header_seeds, gentler.use_raw, 5, ".raw.hdr"),
    Reader("steybrae.files.plans", "read_plan", plan_seeds, use_plan, 8, ".zip", change_plan),
    Reader(
        "steybrae.files.plans",
        "read_plan",
        gentler.plan_seeds,
        gentler.use_plan,
        4,
        ".plan",
        gentler.tamper_plan,
    ),
    Reader("steybrae.cli.app", "main", command_line.seeds, command_line.use, 4),
    Reader("steybrae.cli.app", "main", command_line.settings_seeds, command_line.use_settings, 3, ".toml"),
    Reader("steybrae.files.logs", "read_log", log_seeds, use_log, 40, ".csv"),
    Reader("steybrae.files.bulletins", "read_bulletins", bulletin_seeds, use_bulletins, 40, ".json"),
    Reader("steybrae.quantities", "parse_slope_deg", SLOPES, within(0.0, 90.0), 25),
    Reader("steybrae.quantities", "parse_percent_or_deg", SLOPES, within(0.0, 90.0), 25),
    Reader("steybrae.quantities", "parse_ground_length_m", LENGTHS, within(0.0, 1e6), 25),
    Reader(
        "steybrae.quantities", "parse_paper_length_mm", texts("2.5mm", "1cm", "0.1in"), within(0.0, 1e7), 25
    ),
    Reader(
        "steybrae.quantities",
        "parse_scale",
        texts("1:25000", "25000", "1:25 000", "25k"),
        within(100, 1e7),
        25,
    ),
    Reader(
        "steybrae.quantities", "parse_ground_area_m2", texts("400m2", "0.04 ha", "20m²"), within(0.0, 1e6), 25
    ),
    Reader(
        "steybrae.quantities",
        "parse_counted",
        texts("10min", "10", "7.5 minutes"),
        within(-1e308, 1e308, "A break", "10min", ("min", "minutes")),
        25,
    ),
    Reader(
        "steybrae.bands",
        "parse_slope_range_deg",
        texts("30-55deg", "28deg-60deg", "55-100%", "1in3-1in1"),
        use_range,
        25,
    ),
    Reader("steybrae.bands", "parse_edges", texts("25,30,35,40,45,55", "30", "27.5, 33"), use_edges, 25),
    Reader(
        "steybrae.files.model.declared",
        "parse_height_unit",
        texts("m", "ft", "US survey foot"),
        within(0.3, 1.0),
        25,
    ),
    Reader("steybrae.route.positions.places", "parse_place", PLACES, use_place, 25),
    Reader(
        "steybrae.route.bearings",
        "parse_bearing",
        texts("099", "99.5deg", "1760mil", "0°"),
        use_bearing,
        25,
    ),
    Reader("steybrae.route.daylight", "parse_clock", texts("08:30", "8:30", "23:59", "0830"), use_clock, 25),
    Reader(
        "steybrae.route.daylight",
        "parse_zone",
        texts("Europe/London", "UTC", "Asia/Tokyo"),
        use_zone,
        25,
    ),
    Reader("steybrae.route.daylight", "parse_day", texts("2027-01-15", "2024-02-29"), use_day, 25),
    Reader(
        "steybrae.files.tables",
        "read_places",
        texts(
            "lat,lon\n59.22,-8.07\n",
            "place\nHV 5572 5188\n",
            "lat,lon,name\n59.22,-8.07,Foot\n\n59.23,-8.06,Top\n",
        ),
        use_places,
        25,
        ".csv",
    ),
    Reader(
        "steybrae.files.stretches",
        "read_stretches",
        texts("name,length_mm,gaps\nA,12.5mm,5\n", "name,length_mm,index_gaps\nTop,6,2\n"),
        use_stretches,
        25,
        ".csv",
    ),
    Reader("steybrae.desk.guard", "read_message", MESSAGES, use_message, 25),
    Reader("steybrae.forecast.bulletin", "parse_moment", MOMENTS, use_moment, 25),
    Reader("steybrae.forecast.bulletin", "parse_span", SPANS, use_span, 25),
    Reader("steybrae.field.readings", "parse_readings", texts("34deg 62%", "34 35 36"), use_readings, 25),
)

COVERED: Final = {
    "read_blocks",
    "read_lat_lon",
    "read_ground",
    "read_leg",
    "read_preview",
    "read_asked",
    *("read_routes_text", "read_draft", "read_point"),
}
"""Read by `parse_place`; an open model, three times, a raster that the command has just written, by
`read_bulletins`, and by `read_routes`, from the bytes of a file; the last two are tried in tests/desk."""


@dataclasses.dataclass
class Tally:
    """What came of one reader."""

    answered: int = 0
    refused: int = 0
    slowest_s: float = 0.0
    crashes: dict[str, tuple[int, bytes]] = dataclasses.field(default_factory=dict)

    def crash(self, error: BaseException, data: bytes) -> None:
        """Count a crash under its kind and the place it came from."""
        trace = traceback.extract_tb(error.__traceback__)
        where = f" at {Path(trace[-1].filename).name}:{trace[-1].lineno}" if trace else ""
        kind = f"{type(error).__name__}{where}: {' '.join(str(error).split())[:100]}"
        kind = kind if len(self.crashes) < 200 or kind in self.crashes else "others"
        count, first = self.crashes.get(kind, (0, data))
        self.crashes[kind] = (count + 1, first)


def found_readers(only: str = "") -> Iterator[tuple[Reader, Callable[..., Any]]]:
    """Yield the readers that exist, with their functions."""
    for reader in READERS:
        if only in ("", reader.name, reader.label):
            try:
                function = getattr(importlib.import_module(reader.home), reader.name)
            except ModuleNotFoundError:
                print(f"{reader.home}.{reader.name}: not there yet")
                continue
            yield reader, function


def fuzz(reader: Reader, function: Callable[..., Any], count: int, seed: int, folder: Path) -> Tally:
    """Feed one reader so many inputs."""
    chance = random.Random(f"{seed} {reader.label}")  # noqa: S311  no secret
    seeds = reader.seeds()
    tally = Tally()
    path = folder / f"input{reader.suffix or '.txt'}"
    said = os.fstat(2).st_size
    large = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss > MOST_KIB
    for _ in range(count):
        data = chance.choice(seeds)
        inside = reader.inside is not None and chance.random() < 0.7
        data = reader.inside(chance, data) if reader.inside and inside else change(chance, data, seeds)
        given: Any = path
        # The file stays where a crash of the whole process would leave it.
        if reader.suffix is not None:
            path.write_bytes(data)
        else:
            given = data.decode(errors="replace" if chance.random() < 0.5 else "surrogateescape")
        start = time.process_time()
        try:
            reader.use(function, given)
            tally.answered += 1
        except SteybraeError as error:
            tally.refused += 1
            if not str(error).endswith((".", ")", ">")) or not str(error)[:1]:
                tally.crash(
                    AssertionError("a message that is no sentence").with_traceback(error.__traceback__), data
                )
        except Exception as error:
            tally.crash(error, data)
        took_s = time.process_time() - start
        tally.slowest_s = max(tally.slowest_s, took_s)
        if took_s > MOST_S:
            tally.crash(AssertionError("too slow"), data)
        if os.fstat(2).st_size > said:
            said = os.fstat(2).st_size
            tally.crash(AssertionError("a library's own words on stderr"), data)
        if not large and (large := resource.getrusage(resource.RUSAGE_SELF).ru_maxrss > MOST_KIB):
            tally.crash(AssertionError("too large"), data)
    return tally


def run(count: int, seed: int, only: str = "", keep: Path | None = None) -> dict[str, Tally]:
    """Share a number of inputs among all readers; a tally of each."""
    readers = list(found_readers(only))
    whole = sum(reader.weight for reader, _ in readers)
    tallies = {}
    with warnings.catch_warnings(), tempfile.TemporaryDirectory() as folder:
        warnings.simplefilter("error")
        # The fuzzer's own: it packs names twice, and files are left open by the errors it makes.
        warnings.filterwarnings("ignore", message="Duplicate name")
        warnings.filterwarnings("ignore", category=ResourceWarning)
        for reader, function in readers:
            share = math.ceil(count * reader.weight / whole)
            tally = fuzz(reader, function, share, seed, Path(folder))
            tallies[reader.label] = tally
            _report(reader.label, share, tally, keep)
    return tallies


def _report(name: str, count: int, tally: Tally, keep: Path | None) -> None:
    crashed = sum(times for times, _ in tally.crashes.values())
    print(
        f"{name}: {count} inputs, {tally.answered} answered, {tally.refused} refused, {crashed} crashed; "
        f"slowest {tally.slowest_s:.2f} s",
        flush=True,
    )
    worst = collections.Counter({kind: times for kind, (times, _) in tally.crashes.items()})
    for number, (kind, times) in enumerate(worst.most_common()):
        print(f"    {times} x {kind}", flush=True)
        if keep is not None:
            keep.mkdir(parents=True, exist_ok=True)
            (keep / f"{name}-{number}").write_bytes(tally.crashes[kind][1])


def main() -> int:
    """Read the options, run, return 1 where anything crashed."""
    options = argparse.ArgumentParser(description="Feed every reader what nobody would write.")
    options.add_argument("--count", type=int, default=DEFAULT_COUNT)
    options.add_argument("--seed", type=int, default=0)
    options.add_argument("--only", default="", help="one reader, with or without the kind of its file")
    options.add_argument("--keep", type=Path, help="folder for inputs that crashed")
    options.add_argument("--rounds", type=int, help="so many seeds in turn, counted in tried.md")
    given = options.parse_args()
    crashed = False
    for seed in range(given.seed, given.seed + (given.rounds or 1)):
        keep = given.keep and given.keep / str(seed)
        tallies = run(given.count, seed, given.only, keep)
        crashed |= any(tally.crashes for tally in tallies.values())
        if given.rounds:
            told = f"--count {given.count} --seed {seed}" + (f" --only {given.only}" if given.only else "")
            tried.add("Inputs to readers", told, {name: _counts(one) for name, one in tallies.items()})
    return int(crashed)


def _counts(tally: Tally) -> tried.Counts:
    crashed = sum(times for times, _ in tally.crashes.values())
    return {
        "answered": tally.answered,
        "refused": tally.refused,
        "crashed": crashed,
        "most ms": round(1000.0 * tally.slowest_s),
    }


if __name__ == "__main__":
    sys.exit(main())
