"""Readers of the fuzzer whose answer may be refused, unknown or told, but never silently gentler.

What stands beside a model, virtual rasters and plans are changed one place at a time; the clean ones
are known, so that an answer that is gentler than theirs without a word is a crash like any other.
"""

from __future__ import annotations

import io
import json
import random
import warnings
import zipfile
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any, Final

import numpy as np
import rasterio
import rasterio.errors
from affine import Affine

CRS: Final = "EPSG:27700"
SIDE: Final = 24
CORNER: Final = (54_500.0, 1_053_500.0)
RISE: Final = 6.0
"""Metres from cell to cell, so that the ground is a plane of one slope."""

BOX: Final = (slice(8, 13), slice(9, 14))
"""Unknown ground of the clean model."""

VOID: Final = 0.0
ALMOST_DEG: Final = 0.1


def plane() -> np.ndarray:
    """Heights of the clean model with its void."""
    heights = 200.0 + np.add.outer(RISE * np.arange(SIDE), RISE * np.arange(SIDE))
    heights[BOX] = VOID
    return heights


def write_model(path: Path, *, place: bool = True) -> None:
    """Write the clean model, as a TIFF that says where it lies or leaves that to the files beside it."""
    profile: dict[str, Any] = {
        "driver": "GTiff",
        "height": SIDE,
        "width": SIDE,
        "count": 1,
        "dtype": "float32",
    }
    if place:
        profile |= {"crs": CRS, "transform": Affine(10.0, 0.0, CORNER[0], 0.0, -10.0, CORNER[1])}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", rasterio.errors.NotGeoreferencedWarning)
        with rasterio.open(path, "w", nodata=VOID, **profile) as made:
            made.write(plane().astype("float32"), 1)


def never_gentler(open_model: Callable[..., Any], path: Path) -> None:
    """Read a model of the plane: what is known there is as steep as it, or it is told that it may not be."""
    from steybrae.terrain.attributes import slope_field

    with open_model([path]) as model:
        rows, cols = (min(size, 300) for size in model.grid.shape)
        dem = model.read(-2, -2, rows + 4, cols + 4)
        told = model.info.scaling or model.info.height_unit_from != "assumed"
        read = model.heights_read
    assert not np.isinf(dem.heights_m).any(), "an infinite height"
    if told or read.absurd_share:
        return
    slope = slope_field(dem).slope_deg
    true_deg = np.degrees(np.arctan(RISE * np.sqrt(2.0) / 10.0))
    assert not (slope < true_deg - ALMOST_DEG).any(), "silently gentler than the clean model"
    assert (rows, cols) != (SIDE, SIDE) or np.isnan(dem.heights_m[2:-2, 2:-2][BOX]).any(), "a void is ground"


def use_sidecar(open_model: Callable[..., Any], path: Path) -> None:
    """Read the clean model with what was changed beside it; ``a.tif.msk`` lies beside ``a.tif``."""
    model = path.with_name(path.name.removesuffix(".aux.xml").removesuffix(".msk"))
    if not model.exists():
        write_model(model)
    never_gentler(open_model, model)


def use_only_place(open_model: Callable[..., Any], path: Path) -> None:
    """Read a model whose place stands beside it alone: that may be any, but nothing else breaks."""
    model = path.with_suffix(".tif" if path.suffix == ".tfw" else ".asc")
    if not model.exists() and model.suffix == ".tif":
        write_model(model, place=False)
        (model.with_name(f"{model.name}.aux.xml")).write_text(f"<PAMDataset><SRS>{CRS}</SRS></PAMDataset>")
    elif not model.exists():
        head = (
            f"ncols {SIDE}\nnrows {SIDE}\nxllcorner 54500\nyllcorner 1053500\ncellsize 10\nNODATA_value 0\n"
        )
        model.write_text(head + "\n".join(" ".join(map(str, row)) for row in plane().tolist()))
    with open_model([model]) as opened:
        assert opened.info.height_unit_m > 0.0, "a height unit of nothing"
        opened.read(0, 0, SIDE, SIDE)


def use_raw(open_model: Callable[..., Any], path: Path) -> None:
    """Read plain numbers whose header was changed: their size and order may be any, but nothing breaks."""
    numbers = path.with_suffix(".bil")
    if not numbers.exists():
        numbers.write_bytes(plane().astype("<i2").tobytes())
        path.with_suffix(".prj").write_text(rasterio.CRS.from_string(CRS).to_wkt())
    with open_model([numbers]) as opened:
        rows, cols = (min(size, 300) for size in opened.grid.shape)
        opened.read(0, 0, rows, cols)


def aux_seeds() -> list[bytes]:
    """Return sidecars as GDAL and others write them."""
    band = '<PAMRasterBand band="1">{}</PAMRasterBand>'
    inside = (
        f"<SRS>{CRS}</SRS><GeoTransform>54500, 10, 0, 1053500, 0, -10</GeoTransform>",
        band.format("<NoDataValue>0.0</NoDataValue>"),
        band.format("<NoDataValue>0</NoDataValue><UnitType>m</UnitType><Scale>1</Scale><Offset>0</Offset>"),
        band.format('<Metadata><MDI key="STATISTICS_MEAN">300</MDI></Metadata>'),
        f'<Metadata domain="IMAGE_STRUCTURE"><MDI key="NBITS">8</MDI></Metadata>{band.format("")}',
    )
    return [f"<PAMDataset>{text}</PAMDataset>".encode() for text in inside]


def mask_seeds() -> list[bytes]:
    """Return masks as GDAL writes them beside a TIFF."""
    seeds = []
    mask = np.full((SIDE, SIDE), 255, "uint8")
    mask[BOX] = 0
    profile = {"driver": "GTiff", "height": SIDE, "width": SIDE, "count": 1, "dtype": "uint8", "crs": CRS}
    for packed in ("none", "deflate"):
        with rasterio.MemoryFile() as held:
            with held.open(**profile, compress=packed, transform=Affine.translation(1, 1)) as made:
                made.update_tags(INTERNAL_MASK_FLAGS_1="2")
                made.write(mask, 1)
            seeds.append(held.read())
    return seeds


def world_seeds() -> list[bytes]:
    """Return world files."""
    return [b"10.0\n0.0\n0.0\n-10.0\n54505.0\n1053495.0\n", b"10\r\n0\r\n0\r\n-10\r\n54505\r\n1053495\r\n"]


def prj_seeds() -> list[bytes]:
    """Return CRS as text of two kinds."""
    crs = rasterio.CRS.from_string(CRS)
    return [crs.to_wkt().encode(), crs.to_wkt(version="WKT1_ESRI").encode()]


def header_seeds() -> list[bytes]:
    """Return headers of plain numbers."""
    head = (
        f"NROWS {SIDE}\nNCOLS {SIDE}\nNBANDS 1\nNBITS 16\nPIXELTYPE SIGNEDINT\nBYTEORDER I\nLAYOUT BIL\n"
        "SKIPBYTES 0\nULXMAP 54505\nULYMAP 1053495\nXDIM 10\nYDIM 10\nNODATA 0\n"
    )
    return [head.encode()]


VRT: Final = (
    f'<VRTDataset rasterXSize="{SIDE}" rasterYSize="{SIDE}"><SRS>{CRS}</SRS>'
    "<GeoTransform>54500,10,0,1053500,0,-10</GeoTransform>"
    '<VRTRasterBand dataType="Float32" band="1">{inside}<{kind}><SourceFilename relativeToVRT="1">clean.tif'
    "</SourceFilename><SourceBand>1</SourceBand>"
    f'<SrcRect xOff="0" yOff="0" xSize="{SIDE}" ySize="{SIDE}"/>'
    f'<DstRect xOff="0" yOff="0" xSize="{SIDE}" ySize="{SIDE}"/>'
    "{more}</{kind}></VRTRasterBand></VRTDataset>"
)


def vrt_seeds() -> list[bytes]:
    """Return virtual rasters over the clean model, with and without what says where it has a void."""
    kinds = (
        ("", "SimpleSource", ""),
        ("<NoDataValue>0</NoDataValue>", "ComplexSource", "<NODATA>0</NODATA>"),
        ("<NoDataValue>-9999</NoDataValue><UnitType>m</UnitType>", "ComplexSource", ""),
        ("<Scale>1</Scale><Offset>0</Offset>", "ComplexSource", "<UseMaskBand>true</UseMaskBand>"),
    )
    return [VRT.format(inside=inside, kind=kind, more=more).encode() for inside, kind, more in kinds]


def use_vrt(open_model: Callable[..., Any], path: Path) -> None:
    """Read a virtual raster over the clean model."""
    clean = path.with_name("clean.tif")
    if not clean.exists():
        write_model(clean)
    never_gentler(open_model, path)


@cache
def clean_plan() -> bytes:
    """Plan of three legs over made hills with a void: steep, gentle, and unknown ground."""
    import tempfile

    from steybrae.files.plans import write_plan
    from steybrae.route.positions.places import Place
    from steybrae.route.turns import route_from_places
    from steybrae.screening import screen_route
    from steybrae.terrain.dem import Dem, Grid

    grid = Grid((10.0, 0.0, *CORNER[:1], 0.0, -10.0, CORNER[1]), CRS, (60, 60))
    col = np.arange(60.0)
    heights = np.broadcast_to(100.0 + 7.5 * np.maximum(col - 25.0, 0.0) + 2.0 * col, (60, 60)).copy()
    heights[27:33, 8:12] = np.nan
    lon, lat = grid.to_wgs84([15.0, 30.0, 40.0, 50.0], [30.0, 30.0, 20.0, 40.0])
    places = [Place(float(a), float(o), name=name) for a, o, name in zip(lat, lon, "ABCD", strict=True)]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "plan.zip"
        write_plan(path, screen_route(route_from_places(places), Dem(grid, heights)))
        return path.read_bytes()


def plan_seeds() -> list[bytes]:
    """Return the clean plan."""
    return [clean_plan()]


def tamper_plan(chance: random.Random, data: bytes) -> bytes:
    """Change one value or array of a plan so that its form stays right: what only its sense can refuse."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        entries = {name: archive.read(name) for name in archive.namelist()}
    arrays = [name for name in entries if name.endswith(".npy")]
    if chance.random() < 0.3:
        name = chance.choice(arrays)
        entries[name] = _array_bytes(chance, np.load(io.BytesIO(entries[name])))
    else:
        tree = json.loads(entries["plan.json"])
        for _ in range(chance.choice((1, 1, 1, 2))):
            _tamper(chance, tree["result"])
        entries["plan.json"] = json.dumps(tree).encode()
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        for entry, content in entries.items():
            archive.writestr(entry, content)
    return held.getvalue()


def _array_bytes(chance: random.Random, values: np.ndarray) -> bytes:
    values = values.copy()
    some = slice(None) if chance.random() < 0.5 else slice(0, chance.randrange(1, max(len(values), 2)))
    if values.dtype == np.bool_:
        values[some] = ~values[some]
    else:
        values[some] = values[some] * chance.choice((0, 0.5, 2)) if chance.random() < 0.8 else -values[some]
    held = io.BytesIO()
    np.save(held, values)
    return held.getvalue()


def _tamper(chance: random.Random, tree: Any) -> None:
    """Walk down at random and change what is met: halve, double, empty, repeat, forget, turn round."""
    while True:
        keys = list(tree) if isinstance(tree, dict) else range(len(tree))
        if not keys:
            return
        key = chance.choice(list(keys))
        value = tree[key]
        if isinstance(value, dict | list) and value and chance.random() < 0.85:
            tree = value
            continue
        tree[key] = _other(chance, value)
        return


def _other(chance: random.Random, value: Any) -> Any:
    if isinstance(value, bool):
        return not value
    if isinstance(value, int | float):
        return type(value)(value * chance.choice((0, 0.5, 0.9, 1.1, 2))) if chance.random() < 0.8 else None
    if isinstance(value, list):
        return chance.choice((value[:-1], value[1:], value[::-1], value + value[-1:], []))
    if isinstance(value, dict):
        return {} if chance.random() < 0.5 else None
    return chance.choice((None, "", "safe", "m", "25", value))


def use_plan(read: Callable[..., Any], path: Path) -> None:
    """Read a plan: where it is taken, nothing that leads in an answer is gentler than in the clean one."""
    from steybrae.files.results import json_text

    found = read(path)
    json_text("route", found).encode()
    gentler = _gentler(found, _clean(read, path))
    assert not gentler, f"silently gentler: {gentler[0]}"


_CLEAN: Final[list[Any]] = []


def _clean(read: Callable[..., Any], path: Path) -> Any:
    if not _CLEAN:
        clean = path.with_name("clean_plan.zip")
        clean.write_bytes(clean_plan())
        _CLEAN.append(read(clean))
    return _CLEAN[0]


STEEP: Final = (
    *(
        "slope_max_deg",
        "slope_high_deg",
        "slope_corridor_max_deg",
        "short_slope_max_deg",
        "short_corridor_max_deg",
    ),
    *("steep_m", "unknown_m", "open_above", "unknown_above"),
)
"""What of a leg, and of all legs, is never to be less; None, unknown, is no less."""

SHOWN_M: Final = 10.0
"""Lengths of unknown ground are shown in steps of this; less than that is no other answer."""


def _gentler(found: Any, clean: Any) -> list[str]:
    out = [] if len(found.legs) == len(clean.legs) else ["legs are gone"]
    pairs = [("the whole", found.totals, clean.totals)]
    pairs += [(f"leg {one.number}", one, other) for one, other in zip(found.legs, clean.legs, strict=False)]
    for where, one, other in pairs:
        for name in STEEP:
            mine, true = getattr(one, name, None), getattr(other, name, None)
            if true is not None and mine is not None and mine < true - 1e-3:
                out.append(f"{name} of {where}")
            if true is not None and mine is None and not getattr(one, "open_above", True):
                out.append(f"{name} of {where} is forgotten")
    for one, other in zip(found.legs, clean.legs, strict=False):
        for name in ("sight.deg", "sight.unfiltered_deg", "sight_outside.deg", "sight.top.deg"):
            up, true_up = _at(one.overhead, name), _at(other.overhead, name)
            if true_up is not None and (up is None or up < true_up - 1e-3):
                out.append(f"overhead {name} of leg {one.number}")
    out += _gentler_places(found.places, clean.places)
    if {one.key for one in clean.cautions} - {one.key for one in found.cautions}:
        out.append("cautions are gone")
    return out


def _gentler_places(found: Any, clean: Any) -> list[str]:
    out = ["places are gone"] if len(found) < len(clean) else []
    for one, other in zip(found, clean, strict=False):
        for name in (
            *("slope_max_deg", "unknown_m", "length_m", "overhead.deg", "corridor.slope_max_deg"),
            *("trap.slope_deg", "trap.depth_m"),
        ):
            mine, true = _at(one, name), _at(other, name)
            if name == "overhead.deg" and "overhead" not in other.kinds:
                continue  # told by another place, and by its leg
            if name.startswith("corridor.") and mine is not None and one.slope_max_deg is not None:
                mine = max(mine, one.slope_max_deg)  # what leads where it is steeper
            least = 0.0 if true is None else true - (SHOWN_M if name.endswith("_m") else 1e-3)
            if true is not None and (mine is None or mine < least):
                out.append(f"{name} of place {one.name}")
    return out


def _at(place: Any, name: str) -> float | None:
    for part in name.split("."):
        place = getattr(place, part, None)
    return place
