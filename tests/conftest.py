"""Fixtures that every room's tests may use."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import settings

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
        message = f"the sample model is not there: run python sample_dem/make_sample.py --out {folder}"
        if os.environ.get("CI"):
            pytest.fail(message)
        pytest.skip(message)
    return folder


@pytest.fixture(scope="session")
def data_dir() -> Path:
    """Small files kept with the tests."""
    return Path(__file__).parent / "data"
