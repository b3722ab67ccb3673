"""The command in a hostile environment: settings of GDAL and PROJ that would move, hide or fetch."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from steybrae.files import offline

CODE = "from steybrae.cli.app import main; main()"


def run(*arguments: str, **environment: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, "-c", CODE, *arguments],
        env={**os.environ, **environment},
        capture_output=True,
        check=False,
        timeout=120,
    )


def test_settings_of_gdal_and_proj_change_nothing(tmp_path: Path) -> None:
    other = tmp_path / "proj"
    other.mkdir()
    (other / "proj.db").write_bytes(b"of another PROJ")
    settings = tmp_path / "gdalrc"
    settings.write_text("[configoptions]\nGTIFF_POINT_GEO_IGNORE=TRUE\nGDAL_SKIP=GTiff\n")
    clean = run("route", "--sample", "--json")
    hostile = run(
        *("route", "--sample", "--json"),
        PROJ_LIB=str(other),
        PROJ_DATA=str(other),
        PROJ_NETWORK="ON",
        GDAL_SKIP="GTiff",
        GDAL_DATA=str(other),
        GDAL_CONFIG_FILE=str(settings),
        GTIFF_SRS_SOURCE="GEOKEYS",
        CPL_DEBUG="ON",
        CPL_LOG=str(tmp_path / "log"),
        no_proxy="*",
    )
    assert (clean.returncode, clean.stderr) == (0, b"")
    assert (hostile.returncode, hostile.stderr) == (0, b"")
    assert json.loads(hostile.stdout) == json.loads(clean.stdout)
    assert not (tmp_path / "log").exists()


def test_what_is_taken_out_and_what_stays(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "environ", {"GTIFF_IGNORE_READ_ERRORS": "YES", "GDAL_NUM_THREADS": "2"})
    os.environ.update({"NO_PROXY": "*", "HTTPS_PROXY": "x", "PROJ_DATA": "there", "HOME": "/home/ann"})
    monkeypatch.setattr(offline, "_has", lambda _package, _folder: False)
    offline.own_environment()
    assert os.environ == {
        "GDAL_NUM_THREADS": "2",
        "PROJ_DATA": "there",  # where nothing brings a PROJ of its own
        "HOME": "/home/ann",
        "PROJ_NETWORK": "OFF",
        "GDAL_CONFIG_FILE": os.devnull,
    }
    monkeypatch.setattr(offline, "_has", lambda _package, _folder: True)
    offline.own_environment()
    assert "PROJ_DATA" not in os.environ
