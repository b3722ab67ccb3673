"""Nothing but our own sentence, also where GDAL quotes bytes that are no text."""

from __future__ import annotations

import subprocess
import sys
import threading
from pathlib import Path

import numpy as np
import pytest
import rasterio
from affine import Affine

from steybrae.files.model import offline
from steybrae.files.model.offline import quiet_messages
from steybrae.files.model.rasters import open_model

READ = (
    "import sys; from pathlib import Path; from steybrae.files.model.rasters import open_model\n"
    "with open_model([Path(sys.argv[1])]) as model: print(model.read(0, 0, 20, 20).heights_m.sum())"
)


@pytest.fixture(autouse=True)
def nothing_open(monkeypatch: pytest.MonkeyPatch) -> None:
    """Models that other tests keep open in this process have put their hooks in place."""
    monkeypatch.setattr(offline, "_before", [])
    monkeypatch.setattr(sys, "excepthook", sys.__excepthook__)
    monkeypatch.setattr(sys, "unraisablehook", sys.__unraisablehook__)


@pytest.fixture
def damaged(tmp_path: Path) -> Path:
    """A readable model whose metadata holds a byte that is no UTF-8, in a place that GDAL quotes."""
    path = tmp_path / "damaged.tif"
    where = {"crs": "EPSG:32632", "transform": Affine(10.0, 0.0, 5e5, 0.0, -10.0, 5.3e6)}
    with rasterio.open(path, "w", "GTiff", 20, 20, 1, dtype="float32", **where) as out:
        out.write(np.ones((20, 20), np.float32), 1)
        out.update_tags(who="nobody")
    whole = path.read_bytes()
    assert b"<GDALMetadata>" in whole
    path.write_bytes(whole.replace(b"<GDALMetadata>", b"<GDALM\xaatadata>"))
    return path


def test_the_library_prints_a_traceback(damaged: Path) -> None:
    """What is silenced below is there to be silenced."""
    command = [sys.executable, "-c", "import sys, rasterio; rasterio.open(sys.argv[1])", str(damaged)]
    found = subprocess.run(command, capture_output=True, check=True, text=True)
    assert "Exception ignored in" in found.stderr


def test_a_model_prints_nothing(damaged: Path) -> None:
    found = subprocess.run(
        [sys.executable, "-c", READ, str(damaged)], capture_output=True, check=True, text=True
    )
    assert found.stderr == ""
    assert found.stdout == "400.0\n"


def test_the_hooks_are_put_back(damaged: Path) -> None:
    before = (sys.excepthook, sys.unraisablehook)
    with open_model([damaged]):
        assert (sys.excepthook, sys.unraisablehook) != before
    assert (sys.excepthook, sys.unraisablehook) == before


def test_blocks_that_overlap_put_the_hooks_back() -> None:
    """As in two threads: the first to begin ends first."""
    before = (sys.excepthook, sys.unraisablehook)
    first, second = quiet_messages(), quiet_messages()
    first.__enter__()
    second.__enter__()
    first.__exit__(None, None, None)
    assert (sys.excepthook, sys.unraisablehook) != before
    second.__exit__(None, None, None)
    assert (sys.excepthook, sys.unraisablehook) == before


def test_other_failures_are_still_told(monkeypatch: pytest.MonkeyPatch) -> None:
    told: list[object] = []
    monkeypatch.setattr(sys, "excepthook", lambda *failure: told.append(failure[0]))
    monkeypatch.setattr(sys, "unraisablehook", lambda failure: told.append(failure.exc_type))

    class Bad:
        def __del__(self) -> None:
            raise KeyError

    class NoText:
        def __del__(self) -> None:
            b"\xaa".decode("utf-8")

    with quiet_messages():
        Bad()
        NoText()  # no UTF-8 either, but not rasterio's
        sys.excepthook(ValueError, ValueError(), None)
        thread = threading.Thread(target=Bad)
        thread.start()
        thread.join()
    assert told == [KeyError, UnicodeDecodeError, ValueError, KeyError]
