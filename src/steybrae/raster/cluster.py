"""The same blocks on several machines, or in several processes here, with Dask distributed.

A task is a block's number, or a panel of overhead angles (`steybrae.raster.overhead.energy`). Every worker
process opens the model and its own part files once, reads its own windows, writes its own tiles, and sends
back the block's record: some kilobytes of plain numbers. All machines need the model and the output folder
under the same paths. A worker that dies loses the blocks whose records had not come back; the scheduler
gives them to another.
"""

from __future__ import annotations

import threading
from collections.abc import Generator, Iterator, Sequence
from concurrent.futures import Executor, Future
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from steybrae.errors import MissingExtraError, QuantityError
from steybrae.files.model.rasters import open_model
from steybrae.raster.files.outputs import kept_arrays
from steybrae.raster.job import AreaJob
from steybrae.raster.overhead.layers import OPEN_CELLS, open_pieces
from steybrae.raster.station import Station, open_station

if TYPE_CHECKING:
    from steybrae.raster.overhead.energy import Energy, Task

LOCAL: Final = "local:"

MOST_WORKERS: Final = 256
"""Most workers started here (our choice: processors of a large machine); more would stop it."""

RETRIES: Final = 3
"""How often a block is given out again after an error of the system; a worker that dies does not
count."""

WAIT_SECONDS: Final = 30
"""How long a scheduler's first answer is waited for."""

WORKER_ENVIRON: Final = {"GDAL_NUM_THREADS": "1"}
"""Environment of the workers started here: one processor each, also for unpacking. It stands in place of
Dask's own, which has memory given back to the system as soon as it is free: a worker then spends half
of its time on getting it again (measured)."""

Key = tuple[AreaJob, Path]


class _Keeper(threading.Thread):
    """Opens a station and keeps it until told to stop.

    In a thread of its own, for GDAL's settings are to be taken back by the thread that made them,
    and a worker runs its tasks in any.
    """

    def __init__(self, job: AreaJob, folder: Path) -> None:
        super().__init__(daemon=True)
        self._job, self._folder = job, folder
        self._stopped = threading.Event()
        self.opened: Future[Station] = Future()

    def run(self) -> None:
        """Open, wait, close."""
        try:
            with open_station(self._job, self._folder) as station:
                self.opened.set_result(station)
                self._stopped.wait()
        except BaseException as error:
            if self.opened.done():
                raise
            self.opened.set_exception(error)

    def stop(self) -> None:
        """Close the station."""
        self._stopped.set()
        self.join()


_keepers: dict[Key, _Keeper] = {}
_starting = threading.Lock()


def work_here(job: AreaJob, folder: Path, number: int) -> dict[str, Any]:
    """Make a block in this process, what a worker runs; its record (`steybrae.raster.station.Station.work`).

    The station of a job and folder is opened once in a process and kept.
    """
    with _starting:
        if (job, folder) not in _keepers:
            _keepers[job, folder] = _Keeper(job, folder)
            _keepers[job, folder].start()
        keeper = _keepers[job, folder]
    return keeper.opened.result().work(number)


def leave(job: AreaJob, folder: Path) -> None:
    """Close what `work_here` keeps open in this process."""
    with _starting:
        keeper = _keepers.pop((job, folder), None)
    if keeper is not None:
        keeper.stop()


_energies: dict[Key, tuple[ExitStack, Energy]] = {}


def settle_here(job: AreaJob, folder: Path, task: Task) -> frozenset[int]:
    """Settle a panel in this process; what a worker runs before there are rasters.

    As `steybrae.raster.overhead.energy.Energy.settle`. What was found is in the folder.
    """
    from steybrae.raster.overhead.energy import open_energy  # noqa: PLC0415  loads the compiler

    with _starting:
        if (job, folder) not in _energies:
            stack = ExitStack()
            with open_model(job.paths, job.z_unit) as model:
                grid = model.grid
            kept = kept_arrays(folder, OPEN_CELLS)
            assert kept is not None  # noqa: S101  surveyed before
            pieces = stack.enter_context(open_pieces(folder, grid.shape))
            lowest_m = float(np.nanmin(kept["low_m"]))
            _energies[job, folder] = stack, stack.enter_context(open_energy(grid, pieces, lowest_m))
        _, energy = _energies[job, folder]
    return energy.settle(task)


def leave_panels(job: AreaJob, folder: Path) -> None:
    """Close what `settle_here` keeps open in this process."""
    with _starting:
        stack, _ = _energies.pop((job, folder), (None, None))
    if stack is not None:
        stack.close()


def on_cluster(
    job: AreaJob, folder: Path, todo: Sequence[int], cluster: str
) -> Generator[dict[str, Any], None, None]:
    """Make blocks, told by their numbers, on a cluster; their records, as they are done.

    `cluster` is the address of a scheduler, like ``tcp://10.0.0.5:8786``, or ``local:N`` for N
    workers here. `MissingExtraError` without Dask distributed; `QuantityError` for ``local:``
    without a number, or a scheduler that does not answer.
    """
    with _joined(cluster) as client:
        from distributed import as_completed  # noqa: PLC0415  an optional extra

        futures = client.map(
            work_here, [job] * len(todo), [folder] * len(todo), todo, pure=False, retries=RETRIES
        )
        done = as_completed(futures)
        del futures
        try:
            for future in done:
                yield future.result()
                future.release()
        finally:
            client.run(leave, job, folder)


@contextmanager
def workers(job: AreaJob, folder: Path, cluster: str) -> Iterator[tuple[Executor, int]]:
    """Workers of a cluster for `settle_here`, and how many tasks they take at once.

    Parameters and errors as `on_cluster`.
    """
    with _joined(cluster) as client:
        pool = client.get_executor(pure=False, retries=RETRIES)
        try:
            yield pool, max(1, sum(client.nthreads().values()))
        finally:
            pool.shutdown(wait=False)
            client.run(leave_panels, job, folder)


def check_cluster(cluster: str) -> None:
    """Refuse what `on_cluster` would, before a folder is made for its work."""
    if cluster.startswith(LOCAL):
        _local_workers(cluster)
        _distributed()
        return
    with _joined(cluster):
        pass


def _distributed() -> tuple[Any, Any, Any]:
    try:
        import dask  # noqa: PLC0415  an optional extra
        from distributed import Client, LocalCluster  # noqa: PLC0415
    except ImportError as error:
        message = (
            "--cluster needs the optional package dask[distributed]; it is not installed. "
            "Install steybrae[cluster], or leave --cluster out."
        )
        raise MissingExtraError(message) from error
    return dask, Client, LocalCluster


@contextmanager
def _joined(cluster: str) -> Iterator[Any]:
    """Client of a cluster, which is started here where it is a local one."""
    dask, client, local_cluster = _distributed()
    with ExitStack() as stack:
        address: Any = cluster
        if cluster.startswith(LOCAL):
            stack.enter_context(dask.config.set({"distributed.nanny.pre-spawn-environ": WORKER_ENVIRON}))
            address = stack.enter_context(
                local_cluster(
                    n_workers=_local_workers(cluster),
                    threads_per_worker=1,
                    processes=True,
                    dashboard_address=None,
                    host="127.0.0.1",
                )
            )
        yield stack.enter_context(_client(client, address, cluster))


def _local_workers(cluster: str) -> int:
    text = cluster.removeprefix(LOCAL)
    if not (text.isdecimal() and len(text) < 10 and 1 <= int(text) <= MOST_WORKERS):
        message = (
            f"--cluster local:N takes 1 to {MOST_WORKERS} workers; got {cluster!r:.60}. Write local:2, one "
            "for each processor."
        )
        raise QuantityError(message)
    return int(text)


def _client(client: Any, address: Any, cluster: str) -> Any:
    try:
        return client(address, timeout=WAIT_SECONDS)
    except (OSError, ValueError) as error:
        message = (
            f"--cluster should be the address of a Dask scheduler that answers, or local:N; {cluster!r} "
            "does not. Start one with dask scheduler, or check the address."
        )
        raise QuantityError(message) from error
