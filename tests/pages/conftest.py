"""The sample's plan and page, made once by the command itself."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import pytest
from tests.once import once_for_all

from steybrae.cli import app
from steybrae.files.plans import read_plan
from steybrae.screening.result import RouteScreening


@dataclass(frozen=True)
class Made:
    """What one run of ``steybrae route`` wrote."""

    folder: Path
    plan: Path
    page: Path
    screening: RouteScreening


def run(*arguments: str) -> int:
    """Run a command as a shell would; its exit status."""
    typed = sys.argv
    sys.argv = ["steybrae", *arguments]
    try:
        app.main()
    except SystemExit as stop:
        return int(stop.code or 0)
    finally:
        sys.argv = typed
    return 0


@pytest.fixture(scope="session")
def made(tmp_path_factory: pytest.TempPathFactory, sample_dem: Path) -> Made:
    def make(folder: Path) -> None:
        bulletin = ("--bulletin", str(sample_dem / "bulletin.json"), "--region", "XX-STEY-01")
        when = ("--at-time", "2027-01-15T09:00+00:00")
        outputs = ("--save", str(folder / "plan.zip"), "--report", str(folder / "plan.html"), "--json")
        assert run("route", "--sample", "--interval", "10m", *bulletin, *when, *outputs) == 0

    folder = once_for_all(tmp_path_factory, "report", make)
    return Made(folder, folder / "plan.zip", folder / "plan.html", read_plan(folder / "plan.zip"))
