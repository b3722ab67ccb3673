"""Fixtures that every room's tests may use."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings
from tests.needs import lacking, program

if TYPE_CHECKING:
    from playwright.sync_api import Browser

# A busy machine is no failure.
settings.register_profile("patient", deadline=None)
settings.load_profile("patient")

ROOT = Path(__file__).resolve().parents[1]


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


# Of one module: Playwright keeps an event loop running, in which other rooms' tests cannot have their own.
@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """A real Chromium."""
    from tests.visits import chromium

    with chromium() as found:
        yield found
