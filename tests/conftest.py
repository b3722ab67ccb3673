"""Fixtures that every room's tests may use."""

from __future__ import annotations

import os
import signal
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import settings
from PIL import Image
from tests.needs import lacking, program

if TYPE_CHECKING:
    from playwright.sync_api import Browser

    from steybrae.screening import RouteScreening

# No test depends on a file of settings that the user of this computer may have.
os.environ["XDG_CONFIG_HOME"] = os.environ["APPDATA"] = str(
    Path(tempfile.gettempdir()) / "steybrae tests"  # Chromium keeps its own there
)

# Nor on a draft that the user has of a plan, nor does one touch it.
os.environ["XDG_STATE_HOME"] = tempfile.mkdtemp(prefix="steybrae-tests-")

# Processes that tests start find compiled what was compiled before: half a second of each.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False

# A suite begun in the background of a shell inherits that Ctrl-C is passed over, and so would all it starts.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)

# A busy machine is no failure.
settings.register_profile("patient", deadline=None)
settings.load_profile("patient")

ROOT = Path(__file__).resolve().parents[1]


def _lightly(image: Image.Image, *more: Any) -> None:
    """Write a picture without trying every way to make it smaller: same cells, 3 % more bytes, 1 s less."""
    image.encoderinfo.pop("optimize", None)
    _SAVE_PNG(image, *more)


Image.preinit()
_SAVE_PNG = Image.SAVE["PNG"]
Image.register_save("PNG", _lightly)


@pytest.fixture(scope="session")
def shared_data() -> Path:
    """Folder of real data beside the project; what needs it is skipped where it is absent."""
    folder = ROOT.parent / "shared" / "data"
    if not folder.is_dir():
        pytest.skip(f"the folder of real data is not there: {folder}")
    return folder


@pytest.fixture(scope="session")
def sample_dem() -> Path:
    """Folder of the invented massif and the invented day: stey_massif.tif, day.gpx and others."""
    folder = ROOT / "sample_dem"
    if not (folder / "stey_massif.tif").is_file():
        lacking(f"the sample model is not there: run python sample_dem/make_sample.py --out {folder}")
    return folder


@pytest.fixture(scope="session")
def data_dir() -> Path:
    """Small files kept with the tests."""
    return Path(__file__).parent / "data"


@pytest.fixture(scope="session")
def gdaldem() -> str:
    """Path of GDAL's own slope program."""
    return program("gdaldem", package="gdal-bin")


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """A real Chromium, one for the whole run."""
    from tests.visits import chromium

    with chromium() as found:
        yield found


@pytest.fixture(scope="module")
def screened_once() -> Iterator[None]:
    """For files whose tests ask commands for the same screenings, to look at each output of them."""
    from tests.screened import screened_once

    with screened_once():
        yield


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put what needs the browser last: Playwright keeps an event loop running, beside which no other can."""
    items.sort(key=lambda item: "browser" in getattr(item, "fixturenames", ()))


@dataclass(frozen=True)
class SamplePlan:
    """The day on the sample massif as ``steybrae route --sample --save`` keeps it."""

    path: Path
    screening: RouteScreening


@pytest.fixture(scope="session")
def sample_plan(tmp_path_factory: pytest.TempPathFactory, sample_dem: Path) -> SamplePlan:
    """The day on the sample massif, screened once for the whole run, nothing chosen; not to be changed."""
    from steybrae.files.model.rasters import open_model
    from steybrae.files.plans import write_plan
    from steybrae.files.routes import read_route
    from steybrae.screening import screen_route
    from steybrae.screening.pictures.relief import with_relief

    path = tmp_path_factory.mktemp("sample_plan") / "plan.zip"
    with open_model([sample_dem / "stey_massif.tif"]) as model:
        screening = with_relief(screen_route(read_route(sample_dem / "day.gpx"), model), model)
    write_plan(path, screening)
    return SamplePlan(path, screening)
