"""What is left of a run that was cut short: nothing half under a final name, nothing of two models joined."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path
from shutil import copytree
from typing import Any

import numpy as np
import pytest
import rasterio.shutil
from tests.raster.rasters_made import cells, mountains, run, write

from steybrae.errors import FileWriteError, ModelError
from steybrae.raster.files.outputs import LOCK, WORK, alone

TEXTS = ("table.csv", "table.json", "README.txt")
RASTERS = ("bands.tif", "bands.tif.aux.xml", "slope.tif")
MADE = sorted((*RASTERS, *TEXTS))


class Killed(BaseException):
    """Ends a run like a kill: nothing that follows is done."""


class Steps:
    """Counts the moves and deletions of files, and stops before one of them."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, stop: int | None = None) -> None:
        self.stop, self.done = stop, 0
        for name in ("replace", "unlink", "rmdir"):
            monkeypatch.setattr(Path, name, self.counted(getattr(Path, name)))
        for name in ("unlink", "rmdir"):
            monkeypatch.setattr(os, name, self.counted(getattr(os, name)))
        self.inside = False

    def counted(self, real: Any) -> Any:
        def step(*given: Any, **options: Any) -> Any:
            if self.inside:
                return real(*given, **options)
            if self.done == self.stop:
                raise Killed
            self.done += 1
            self.inside = True
            try:
                return real(*given, **options)
            finally:
                self.inside = False

        return step


@pytest.fixture
def model(tmp_path: Path) -> Path:
    return write(tmp_path / "dem.tif", mountains(40, 50))


@pytest.fixture
def other(tmp_path: Path) -> Path:
    return write(tmp_path / "other.tif", mountains(40, 50, seed=8))


def names(out: Path) -> list[str]:
    return sorted(path.name for path in out.iterdir())


def steps_of(out: Path, model: Path, **options: Any) -> int:
    with pytest.MonkeyPatch.context() as patch:
        steps = Steps(patch)
        run(out, model, threads=1, **options)
        return steps.done


def kill(out: Path, model: Path, stop: int, **options: Any) -> None:
    with pytest.MonkeyPatch.context() as patch:
        Steps(patch, stop)
        with pytest.raises(Killed):
            run(out, model, threads=1, **options)


def taken_up(out: Path, model: Path) -> bool:
    """Resume; whether there was something left to be done."""
    try:
        run(out, model, resume=True)
    except FileWriteError as error:
        if "holds no unfinished work" in str(error):
            return False
        raise
    return True


def of(out: Path, model: Path, *, and_work: bool = False) -> bool:
    """Whether every output is there and is that of a model."""
    made = sorted([*MADE, WORK]) if and_work else MADE
    alone = out.parent / f"of-{model.stem}"
    if not alone.exists():
        run(alone, model)
    return names(out) == made and all(
        np.array_equal(cells(out / name), cells(alone / name), equal_nan=True)
        for name in ("slope.tif", "bands.tif")
    )


class TestKilledAtEveryStep:
    def test_resumed_it_is_whole(self, tmp_path: Path, model: Path) -> None:
        many = steps_of(tmp_path / "all", model)
        assert many > 12
        resumed = 0
        for stop in range(many):
            out = tmp_path / f"out{stop}"
            kill(out, model, stop)
            resumed += taken_up(out, model)
            assert of(out, model)
        assert resumed > many / 2

    def test_over_an_old_one_it_is_the_old_or_the_new(self, tmp_path: Path, model: Path, other: Path) -> None:
        run(tmp_path / "old", other)
        copytree(tmp_path / "old", tmp_path / "all")
        many = steps_of(tmp_path / "all", model, force=True)
        for stop in range(many):
            out = copytree(tmp_path / "old", tmp_path / f"out{stop}")
            kill(out, model, stop, force=True)
            with pytest.raises(FileWriteError):
                run(out, other)
            if (out / WORK).exists():
                assert of(out, other, and_work=True)
                run(out, model, resume=True, force=True)
            assert of(out, model) or of(out, other)

    def test_begun_anew_it_is_the_last(self, tmp_path: Path, model: Path, other: Path) -> None:
        many = steps_of(tmp_path / "all", other)
        for stop in range(many):
            out = tmp_path / f"out{stop}"
            kill(out, other, stop)
            run(out, model, force=True)
            assert of(out, model)

    def test_killed_again_while_it_is_taken_up(self, tmp_path: Path, model: Path) -> None:
        many = steps_of(tmp_path / "all", model)
        for stop in range(many - 12, many):
            killed = tmp_path / f"killed{stop}"
            kill(killed, model, stop)
            for again in range(0, 9, 2):
                out = copytree(killed, tmp_path / f"out{stop}-{again}")
                with pytest.MonkeyPatch.context() as patch, suppress(Killed):
                    Steps(patch, again)
                    taken_up(out, model)
                taken_up(out, model)
                assert of(out, model)


class TestOtherFiles:
    """Unfinished work is never joined with that of another model of the same name."""

    def cut(self, out: Path, model: Path) -> None:
        def told(_what: str, done: int, _of: int) -> None:
            raise Killed

        with pytest.raises(Killed):
            run(out, model, threads=1, told=told)

    def refused(self, out: Path, model: Path) -> None:
        with pytest.raises(FileWriteError) as stop:
            run(out, model, resume=True)
        assert "of files that changed since" in str(stop.value)

    def test_a_tile_under_a_vrt(self, tmp_path: Path, model: Path) -> None:
        rasterio.shutil.copy(model, tmp_path / "dem.vrt", driver="VRT")
        self.cut(tmp_path / "out", tmp_path / "dem.vrt")
        write(model, mountains(40, 50, seed=8))
        self.refused(tmp_path / "out", tmp_path / "dem.vrt")

    def test_a_sidecar(self, tmp_path: Path, model: Path) -> None:
        self.cut(tmp_path / "out", model)
        Path(f"{model}.aux.xml").write_text(
            '<PAMDataset><PAMRasterBand band="1"><Scale>0.5</Scale></PAMRasterBand></PAMDataset>'
        )
        self.refused(tmp_path / "out", model)

    def test_the_middle_of_a_large_file(self, tmp_path: Path) -> None:
        dem = write(tmp_path / "dem.tif", mountains(1600, 1600), tiled=False)
        assert dem.stat().st_size > 10_000_000
        self.cut(tmp_path / "out", dem)
        with dem.open("r+b") as file:
            file.seek(5_000_000)
            file.write(np.float32([3000.0]).tobytes())
        self.refused(tmp_path / "out", dem)

    def test_the_same_files_are_taken_up(self, tmp_path: Path, model: Path) -> None:
        rasterio.shutil.copy(model, tmp_path / "dem.vrt", driver="VRT")
        self.cut(tmp_path / "out", tmp_path / "dem.vrt")
        run(tmp_path / "out", tmp_path / "dem.vrt", resume=True)
        assert names(tmp_path / "out") == MADE

    def test_one_that_is_written_to_during_a_run(self, tmp_path: Path, model: Path) -> None:
        def told(_what: str, _done: int, _of: int) -> None:
            os.utime(model, ns=(1, 1))

        with pytest.raises(ModelError) as stop:
            run(tmp_path / "out", model, told=told)
        assert str(stop.value) == (
            "The elevation model dem.tif should stay as it is while a run reads it; one of its files was "
            "written to. Begin anew with --force."
        )
        assert names(tmp_path / "out") == [WORK]


def test_the_lock_stays_while_the_work_is_thrown_away(tmp_path: Path, model: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / WORK).mkdir()
    (tmp_path / "out" / WORK / "job.json").write_text("{}")
    with alone(tmp_path / "out" / LOCK), pytest.raises(FileWriteError) as stop:
        run(tmp_path / "out", model, force=True)
    assert str(stop.value) == (
        f"Another run is at work in {tmp_path / 'out'}. Wait for it, or give another folder."
    )
    assert (tmp_path / "out" / WORK / "job.json").read_text() == "{}"
    assert names(tmp_path / "out" / WORK) == ["job.json"]
    run(tmp_path / "out", model, force=True)
    assert names(tmp_path / "out") == MADE
