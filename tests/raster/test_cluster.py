"""Blocks as tasks of a small Dask cluster: the same rasters, also where a worker is killed."""

from __future__ import annotations

import os
import re
import signal
import sys
from pathlib import Path

import pytest
from numpy.testing import assert_array_equal
from tests.needs import lacking
from tests.raster.rasters_made import cells, mountains, run, with_voids, write

from steybrae.errors import MissingExtraError, QuantityError
from steybrae.library.area import make_rasters
from steybrae.raster.job import AreaJob

HERE = bool(__import__("importlib.util", fromlist=["util"]).find_spec("distributed"))


@pytest.fixture(scope="module")
def model(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("model") / "hills.tif"
    return write(path, with_voids(mountains(2100, 1100)), compress="deflate")


@pytest.fixture(scope="module")
def alone(model: Path) -> Path:
    run(model.parent / "alone", model)
    return model.parent / "alone"


@pytest.fixture
def dask() -> None:
    if not HERE:
        lacking("dask[distributed] is not installed (the extras dev and cluster bring it)")


def same(one: Path, other: Path) -> None:
    for name in ("slope.tif", "bands.tif"):
        for level in (None, 0, 1, 2, 3):
            assert_array_equal(cells(one / name, level), cells(other / name, level))


@pytest.mark.slow
@pytest.mark.usefixtures("dask")
@pytest.mark.filterwarnings("ignore")  # dask's own, of its own parts
def test_two_workers_give_the_same(model: Path, alone: Path, tmp_path: Path) -> None:
    found = run(tmp_path / "out", model, cluster="local:2")
    same(tmp_path / "out", alone)
    assert sum(row.cells for row in found.rows) == 2100 * 1100


@pytest.mark.slow
@pytest.mark.usefixtures("dask")
@pytest.mark.filterwarnings("ignore")
def test_a_worker_killed_in_the_middle_loses_nothing(model: Path, alone: Path, tmp_path: Path) -> None:
    from distributed import Client, LocalCluster

    with (
        LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None, host="127.0.0.1") as cluster,
        Client(cluster) as client,
    ):
        workers = list(client.run(os.getpid).values())

        def told(_what: str, done: int, of: int) -> None:
            if done == 2:
                os.kill(workers[0], signal.SIGKILL)

        run(tmp_path / "out", model, cluster=cluster.scheduler_address, told=told)
    same(tmp_path / "out", alone)


@pytest.mark.slow
@pytest.mark.usefixtures("dask")
@pytest.mark.filterwarnings("ignore")
def test_overhead_angles_on_workers_of_which_one_is_killed(tmp_path: Path) -> None:
    """Over two panels, which bring each other more."""
    from distributed import Client, LocalCluster

    path = write(tmp_path / "hills.tif", with_voids(mountains(120, 2300)))
    layers = ("bands", "overhead", "start_zones")
    alone = run(tmp_path / "alone", path, layers=layers)
    with (
        LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None, host="127.0.0.1") as cluster,
        Client(cluster) as client,
    ):
        workers = list(client.run(os.getpid).values())

        def told(what: str, done: int, of: int) -> None:
            if what == "overhead angles" and done == 2:
                os.kill(workers[0], signal.SIGKILL)

        found = run(tmp_path / "out", path, layers=layers, cluster=cluster.scheduler_address, told=told)
    for name in layers:
        assert_array_equal(cells(tmp_path / "out" / f"{name}.tif"), cells(tmp_path / "alone" / f"{name}.tif"))
    assert found.overhead == alone.overhead


@pytest.mark.usefixtures("dask")
def test_a_number_of_workers_is_needed(model: Path, tmp_path: Path) -> None:
    with pytest.raises(QuantityError) as stop:
        run(tmp_path / "out", model, cluster="local:none")
    assert str(stop.value) == (
        "--cluster local:N takes 1 to 256 workers; got 'local:none'. Write local:2, one for each processor."
    )


@pytest.mark.usefixtures("dask")
@pytest.mark.parametrize("cluster", ["local:0", "local:257", "local:\N{SUPERSCRIPT TWO}", "nowhere"])
def test_a_cluster_that_is_none_is_refused_before_a_folder_is_made(
    model: Path, tmp_path: Path, cluster: str
) -> None:
    # Seen: unfinished work, which the next call had to be told about; of 999 workers tracebacks of Dask.
    with pytest.raises(QuantityError, match=re.escape(repr(cluster))):
        make_rasters(AreaJob((model,)), tmp_path / "out", cluster=cluster)
    assert not (tmp_path / "out").exists()


def test_without_dask_it_says_what_is_missing(model, tmp_path, monkeypatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    message = (
        "--cluster needs the optional package dask[distributed]; it is not installed. Install "
        "steybrae[cluster], or leave --cluster out."
    )
    with pytest.raises(MissingExtraError, match=f"^{re.escape(message)}$"):
        run(tmp_path / "out", model, cluster="local:2")
