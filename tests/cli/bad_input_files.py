"""Files that people may give: good ones, strange ones, broken ones, all small and made here."""

from __future__ import annotations

import json
import warnings
import zipfile
from collections.abc import Sequence
from html import escape
from pathlib import Path
from typing import Any, Final

import numpy as np
import pyproj
import rasterio
import rasterio.shutil
from affine import Affine
from rasterio.errors import NotGeoreferencedWarning

CELL_M: Final = 10.0
CORNER: Final = (54_500.0, 1_053_500.0)
FOOT_M: Final = 0.3048
GPX: Final = '<gpx version="{0}" creator="x" xmlns="http://www.topografix.com/GPX/{1}">{2}</gpx>'
SERVICE: Final = (
    '<GDAL_WMS><Service name="TMS"><ServerUrl>http://127.0.0.1:9/x</ServerUrl></Service><DataWindow>'
    "<UpperLeftX>54500</UpperLeftX><UpperLeftY>1053500</UpperLeftY><LowerRightX>55100</LowerRightX>"
    "<LowerRightY>1052900</LowerRightY><TileLevel>0</TileLevel></DataWindow>"
    "<Projection>EPSG:27700</Projection><BlockSizeX>60</BlockSizeX><BlockSizeY>60</BlockSizeY>"
    "<BandsCount>1</BandsCount><DataType>Float32</DataType></GDAL_WMS>"
)

Point = tuple[Any, Any]


def make(folder: Path) -> None:
    """Make all of them."""
    for name in ("folder", "folder.zip"):
        (folder / name).mkdir()
    _models(folder)
    _broken_models(folder)
    _models_elsewhere(folder)
    _gpx(folder)
    _other_lines(folder)
    _plans(folder)
    for name in ("kept.txt", "kept.csv.cautions.txt", "old.csv", "old.zip", "old.json"):
        (folder / name).write_text("mine")


def plane(cells: int = 60, gradient: float = 0.7, base_m: float = 100.0) -> Any:
    """Ground that rises eastwards; 0.7 is 35 degrees."""
    return np.broadcast_to(base_m + gradient * CELL_M * np.arange(cells), (cells, cells)).astype("float32")


def tif(
    path: Path,
    heights: Any,
    crs: str | None = "EPSG:27700",
    corner: tuple[float, float] = CORNER,
    cell: float = CELL_M,
    unit: str = "",
    **options: Any,
) -> None:
    """Write a GeoTIFF."""
    bands = heights if heights.ndim == 3 else heights[np.newaxis]
    options = {"transform": Affine(cell, 0.0, corner[0], 0.0, -cell, corner[1]), **options}
    count, rows, cols = bands.shape
    with rasterio.open(
        path, "w", driver="GTiff", height=rows, width=cols, count=count, dtype=bands.dtype, crs=crs, **options
    ) as made:
        made.write(bands)
        if unit:
            made.units = (unit,) * count


def vrt(path: Path, source: str, crs: str, transform: Sequence[float], size: int, world: int = 0) -> None:
    """Write a VRT of one file; with `world`, one of that many columns with the file at its start."""
    part = f'xOff="0" yOff="0" xSize="{size}" ySize="{size}"'
    path.write_text(
        f'<VRTDataset rasterXSize="{world or size}" rasterYSize="{size}"><SRS>{crs}</SRS>'
        f"<GeoTransform>{', '.join(map(str, transform))}</GeoTransform>"
        '<VRTRasterBand dataType="Float32" band="1"><SimpleSource>'
        f'<SourceFilename relativeToVRT="1">{escape(source)}</SourceFilename>'
        f'<SourceProperties RasterXSize="{size}" RasterYSize="{size}" DataType="Float32"/>'
        f"<SrcRect {part}/><DstRect {part}/></SimpleSource></VRTRasterBand></VRTDataset>"
    )


def _models(folder: Path) -> None:
    good = plane()
    tif(folder / "ok.tif", good)
    holes = good.copy()
    holes[20:40, 20:40] = np.nan
    holes[:5] = np.inf
    tif(folder / "holes.tif", holes)
    tif(folder / "void.tif", np.full((60, 60), -9999.0, "float32"), nodata=-9999.0)
    tif(folder / "nan.tif", np.full((60, 60), np.nan, "float32"))
    tif(folder / "cm.tif", good * 100.0)
    tif(folder / "lowcm.tif", plane(gradient=0.03, base_m=10.0) * 100.0)
    tif(folder / "feetunsaid.tif", good / FOOT_M)
    beside = (CORNER[0] + 600.0, CORNER[1])
    tif(folder / "feet.tif", good / FOOT_M, unit="ft")
    tif(folder / "metres.tif", good, unit="m", corner=beside)
    tif(folder / "utm.tif", good, crs="EPSG:32629", corner=beside)
    tif(folder / "fine.tif", good, cell=5.0, corner=beside)
    tif(folder / "half.tif", good, corner=(beside[0] + 5.0, beside[1]))
    tif(folder / "far.tif", good, corner=(CORNER[0] + 1e8, CORNER[1] - 2e8))


def _broken_models(folder: Path) -> None:
    good = plane()
    (folder / "empty.tif").touch()
    whole = (folder / "ok.tif").read_bytes()
    (folder / "head.tif").write_bytes(whole[:100])
    (folder / "cut.tif").write_bytes(whole[:3000])
    (folder / "text.tif").write_text("These are not heights.\n" * 9)
    (folder / "text.json").write_text('{"heights": [1, 2, 3]}')
    tif(folder / "nocrs.tif", good, crs=None)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", NotGeoreferencedWarning)
        tif(folder / "nowhere.tif", good, transform=None)
    tif(folder / "local.tif", good, crs='LOCAL_CS["my site",UNIT["metre",1]]')
    tif(folder / "geocentric.tif", good, crs="EPSG:4978")
    tif(folder / "complex.tif", good.astype("complex64"))
    tif(folder / "two.tif", np.stack([good, good]))
    tif(folder / "furlong.tif", good, unit="furlong")
    noise = np.random.default_rng(1).normal(size=(60, 60)).astype("float32")
    tif(folder / "damaged.tif", noise, blockysize=10, compress="deflate")
    with rasterio.open(folder / "damaged.tif") as made:
        start = int(made.get_tag_item("BLOCK_OFFSET_0_3", "TIFF", bidx=1))
    content = bytearray((folder / "damaged.tif").read_bytes())
    content[start : start + 40] = b"\xff" * 40
    (folder / "damaged.tif").write_bytes(content)
    place = (CORNER[0], CELL_M, 0.0, CORNER[1], 0.0, -CELL_M)
    vrt(folder / "missing.vrt", "nothing.tif", "EPSG:27700", place, 60)
    vrt(folder / "network.vrt", "/vsicurl/http://127.0.0.1:9/x.tif", "EPSG:27700", place, 60)
    (folder / "service.xml").write_text(SERVICE)


def _models_elsewhere(folder: Path) -> None:
    ground = plane(200, 0.5)
    tif(folder / "degrees180.tif", ground, "EPSG:4326", (179.98, 10.02), 0.0002)
    tif(folder / "west.tif", ground[:, :100], "EPSG:4326", (179.98, 10.02), 0.0002)
    tif(folder / "east.tif", ground[:, 100:], "EPSG:4326", (-180.0, 10.02), 0.0002)
    for name, epsg in (("zone60.tif", 32660), ("zone1.tif", 32601)):
        x, y = _xy(epsg, 10.0, 180.0)
        tif(folder / name, ground, f"EPSG:{epsg}", (x - 2000.0, y + 2000.0), 20.0)
    tif(folder / "pole.tif", ground, "EPSG:3413", (-2000.0, 2000.0), 20.0)
    tif(folder / "degrees90.tif", ground, "EPSG:4326", (0.0, 90.0), 0.0002)
    x, y = _xy(3413, 89.0, -45.0)
    tif(folder / "north89.tif", ground, "EPSG:3413", (x - 2000.0, y + 2000.0), 20.0)
    world = (-180.0, 0.0002, 0.0, 10.02, 0.0, -0.0002)
    vrt(folder / "world.vrt", "east.tif", "EPSG:4326", world, 100, world=1_800_000)


def _xy(epsg: int, lat_deg: float, lon_deg: float) -> tuple[float, float]:
    return pyproj.Transformer.from_crs(4326, epsg, always_xy=True).transform(lon_deg, lat_deg)  # type: ignore[no-any-return]


def at(east_m: float, south_m: float) -> Point:
    """Latitude and longitude of a place on the plane, counted from its north-west corner."""
    to_wgs84 = pyproj.Transformer.from_crs(27700, 4326, always_xy=True)
    lon, lat = to_wgs84.transform(CORNER[0] + east_m, CORNER[1] - south_m)
    return round(lat, 7), round(lon, 7)


def route(points: Sequence[Point], version: str = "1.1") -> str:
    """GPX text of a route."""
    return _file(f"<rte><name>r</name>{_points('rtept', points)}</rte>", version)


def _points(kind: str, points: Sequence[Point]) -> str:
    return "".join(f'<{kind} lat="{lat}" lon="{lon}"></{kind}>' for lat, lon in points)


def _file(body: str, version: str = "1.1") -> str:
    return '<?xml version="1.0" encoding="UTF-8"?>' + GPX.format(version, version.replace(".", "/"), body)


def _gpx(folder: Path) -> None:
    a, b, c = at(150.0, 300.0), at(450.0, 300.0), at(450.0, 500.0)
    good = route([a, b])
    entities = '?><!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]>'
    texts = {
        "r.gpx": good,
        "empty.gpx": "",
        "malformed.gpx": good[:-30],
        "other.xml": "<kml><Placemark/></kml>",
        "entities.gpx": good.replace("?>", entities, 1).replace(">r<", ">&b;<"),
        "segments.gpx": _file("<trk><trkseg/><trkseg></trkseg></trk>"),
        "one.gpx": route([a]),
        "twice.gpx": route([a, a]),
        "repeat.gpx": route([a, a, b, b, c]),
        "nan.gpx": route([a, ("NaN", -8)]),
        "range.gpx": route([a, (91, -8)]),
        "range2.gpx": route([a, (59, 181)]),
        "words.gpx": route([a, ("north", -8)]),
        "nolat.gpx": good.replace(f'lat="{b[0]}" ', ""),
        "swapped.gpx": route([a[::-1], b[::-1]]),
        "turned.gpx": route([a, b[::-1]]),
        "stray.gpx": route([a, (0.0, 0.0), b]),
        "swapped2.gpx": route([(120.5, 45.0), (120.6, 45.0)]),
        "off.gpx": route([(46, 7), (46.01, 7)]),
        "part.gpx": route([b, at(850.0, 300.0)]),
        "gpx10.gpx": route([a, b], "1.0"),
        "waypoints.gpx": _file(_points("wpt", [a, b])),
        "track.gpx": _file(f"<trk><trkseg>{_points('trkpt', [a, b])}</trkseg><trkseg/></trk>"),
        "over180.gpx": route([(10.0, 179.99), (10.0, -179.99)]),
        "pole.gpx": route([(89.99, -45), (89.99, 135)]),
        "north89.gpx": route([(89.0, -45), (89.005, -45)]),
    }
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8")
    (folder / "bom.gpx").write_text(good, encoding="utf-8-sig")
    for name, text in (("utf16.gpx", good), ("entities16.gpx", texts["entities.gpx"])):
        (folder / name).write_text(text.replace("UTF-8", "UTF-16"), encoding="utf-16")


def _other_lines(folder: Path) -> None:
    a, b = at(150.0, 300.0), at(450.0, 300.0)
    line = {"type": "LineString", "coordinates": [a[::-1], b[::-1]]}
    crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::27700"}}
    texts = {
        "cut.geojson": json.dumps(line)[:-3],
        "deep.geojson": "[" * 100_000,
        "noline.geojson": json.dumps({"type": "FeatureCollection", "features": []}),
        "nan.geojson": json.dumps({**line, "coordinates": [a[::-1], [-8.0, float("nan")]]}),
        "crs.geojson": json.dumps({**line, "crs": crs}),
        "text.geojson": json.dumps({**line, "coordinates": ["59.2 -8.0", "59.3 -8.0"]}),
        "table.csv": "x,y\n1,2\n3,4\n",
        "quote.csv": f'lat,lon,name\n{a[0]},{a[1]},"Torran\n{b[0]},{b[1]},b\n',
        "commas.csv": "lat,lon\n59,2240,-8,0574\n59,2250,-8,0570\n",
        "words.csv": f"lat,lon\n{a[0]},{a[1]}\nnorth,west\n",
    }
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8")


def _plans(folder: Path) -> None:
    zips = {
        "schema.zip": {"plan.json": '{"schema": "steybrae-plan/99"}'},
        "hollow.zip": {"plan.json": '{"schema": "steybrae-plan/8", "result": {}}'},
        "nan.zip": {"plan.json": '{"schema": "steybrae-plan/4", "result": NaN}'},
        "deep.zip": {"plan.json": "[" * 100_000},
        "nojson.zip": {"a.npy": "x"},
        "path.zip": {"plan.json": "{}", "../../evil.npy": "x"},
        "code.zip": {"plan.json": "{}", "run.py": "print(1)"},
    }
    for name, entries in zips.items():
        with zipfile.ZipFile(folder / name, "w", zipfile.ZIP_DEFLATED) as archive:
            for entry, text in entries.items():
                archive.writestr(entry, text)
    whole = (folder / "hollow.zip").read_bytes()
    (folder / "cut.zip").write_bytes(whole[:-30])
    (folder / "text.zip").write_text("This is no plan.")
    with warnings.catch_warnings(), zipfile.ZipFile(folder / "double.zip", "w") as archive:
        warnings.simplefilter("ignore", UserWarning)
        for _ in range(2):
            archive.writestr("plan.json", "{}")
