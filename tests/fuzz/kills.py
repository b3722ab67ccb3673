"""Kill commands at any moment, and report whatever is half, lost or left in the way.

Each run is a process that is ended by SIGKILL, or now and then by SIGTERM, after a random time, or when
its first file or its first output appears. Then every output is to be whole, or as it was before; what
can be taken up is, and is to be what an undisturbed run makes.

    python -m tests.fuzz.kills                        500 kills over all commands
    python -m tests.fuzz.kills --count 50 --only area --seed 7
"""

from __future__ import annotations

import argparse
import collections
import io
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import redirect_stdout
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from tests.raster.rasters_made import cells, mountains, write

from steybrae.cli.app import main as steybrae
from steybrae.files.logs import read_log

SAMPLE: Final = Path(__file__).resolve().parents[2] / "sample_dem"
DEFAULT_COUNT: Final = 500
TERM_SHARE: Final = 0.25
WORK: Final = ".steybrae-area"
TOLD_EVERY: Final = 5

Contents = dict[str, bytes]


@dataclass(frozen=True)
class Command:
    """A command and its outputs.

    Attributes
    ----------
    words
        Its command line in a folder.
    outputs
        Names of the outputs there.
    again
        What is added to go on after a kill.
    """

    name: str
    words: Callable[[Path], list[str]]
    outputs: tuple[str, ...]
    again: tuple[str, ...] = ("--force",)

    @property
    def together(self) -> bool:
        """Whether its outputs appear together."""
        return "--resume" in self.again


def start(words: list[str]) -> int:
    """Run the command in a copy of this process, or, where it makes workers, in a new one; its number."""
    if "--cluster" in words:
        to_nowhere = [(os.POSIX_SPAWN_OPEN, number, os.devnull, os.O_WRONLY, 0) for number in (1, 2)]
        called = [sys.executable, "-m", "steybrae", *words]
        return os.posix_spawn(sys.executable, called, os.environ, file_actions=to_nowhere)
    for number in (signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, signal.SIG_DFL)  # whatever a run in this process has set
    child = os.fork()
    if child:
        return child
    status = 1
    try:
        quiet = os.open(os.devnull, os.O_WRONLY)
        os.dup2(quiet, 1)
        os.dup2(quiet, 2)
        status = whole(words)
    finally:
        os._exit(status)


def whole(words: list[str]) -> int:
    """Run the command here, to its end; its status."""
    sys.argv = ["steybrae", *words]
    with redirect_stdout(io.StringIO()):
        try:
            steybrae()
        except SystemExit as stop:
            return int(stop.code or 0)
    return 0


def end(child: int) -> int:
    """Wait for the end of a process; its status, negative for a signal."""
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def contents(folder: Path) -> Contents:
    """Every file below a folder."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def kill(
    words: list[str], folder: Path, outputs: tuple[str, ...], took_s: float, chance: random.Random
) -> tuple[int, int]:
    """Start, wait, end; the signal and the status.

    Ended at a random moment, shortly after the first file appears, or as soon as an output of its own
    name changes: several are moved within a millisecond.
    """
    number = signal.SIGTERM if chance.random() < TERM_SHARE else signal.SIGKILL
    watched = chance.choice(
        (None, lambda: sorted(folder.rglob("*")), lambda: [_state(folder / n) for n in outputs])
    )
    before = watched and watched()
    child = start(words)
    if watched is None:
        time.sleep(chance.uniform(0.0, 1.1 * took_s))
    else:
        last = time.monotonic() + 2.0 * took_s
        while time.monotonic() < last and watched() == before:
            time.sleep(0.0002)
        time.sleep(chance.choice((0.0, 0.0, 0.001, 0.02)) * chance.random())
    os.kill(child, number)
    return number, end(child)


def _state(path: Path) -> int:
    return path.stat().st_ino if path.exists() else 0


def same(name: str, found: bytes, expected: bytes, folder: Path, clean: Path) -> bool:
    """Whether an output is that of an undisturbed run; rasters by cells, for tiles have no fixed order."""
    if found == expected or not name.endswith(".tif"):
        return found == expected
    return np.array_equal(cells(folder / name), cells(clean / name), equal_nan=True)


def faults(command: Command, folder: Path, clean: Path, old: Contents, number: int) -> list[str]:
    """What is wrong after a kill."""
    now, expected = contents(folder), contents(clean)
    found, kinds = [], set()
    for name in command.outputs:
        if name not in now:
            # What appears together may be away for a moment, too.
            found += [f"{name} is lost"] if name in old and not command.together else []
        elif now[name] == old.get(name):
            kinds.add("old")
        elif same(name, now[name], expected[name], folder, clean):
            kinds.add("new")
        else:
            found.append(f"{name} is half")
    if command.together and len(kinds) > 1:
        found.append("new outputs stand beside old ones")
    left = [name for name in now if name not in {*command.outputs, *old} and not name.startswith(WORK)]
    if number == signal.SIGTERM and left:
        found.append(f"{', '.join(left)} left")
    return found + [f"{name} is not hidden" for name in left if not Path(name).name.startswith(".")]


def unlike(command: Command, folder: Path, clean: Path) -> list[str]:
    """What is not as an undisturbed run leaves it."""
    now, expected = contents(folder), contents(clean)
    found = [
        f"{name} is not that of an undisturbed run"
        for name in command.outputs
        if name not in now or not same(name, now[name], expected[name], folder, clean)
    ]
    return found + [f"{name} stays" for name in now if name.startswith(WORK)]


def trial(
    command: Command, folder: Path, clean: Path, took_s: float, chance: random.Random
) -> tuple[str, list[str]]:
    """Kill once, look, go on, look again; how it ended and what was wrong."""
    folder.mkdir()
    words = command.words(folder)
    if command.name == "log":
        shutil.copyfile(clean / "log.csv", folder / "log.csv")
    elif chance.random() < 0.5:
        for name in command.outputs:
            (folder / name).write_text(f"old {name}")
        words.append("--force")
    old = contents(folder)
    number, status = kill(words, folder, command.outputs, took_s, chance)
    ended = {-number: "ended by the signal", 128 + number: "ended by us", 0: "finished before"}.get(status)
    wrong = faults(command, folder, clean, old, number)
    if ended is None:
        wrong.append(f"it ended with {status}")
    if command.name == "log":
        wrong += log_faults(command, folder, old)
    else:
        # Refused it may be where nothing is left to be done.
        refused = end(start([*words, *command.again]))
        found = unlike(command, folder, clean)
        wrong += found + (["the next run is refused"] if refused and found else [])
    return ended or "otherwise", wrong


def log_faults(command: Command, folder: Path, old: Contents) -> list[str]:
    """Rows that are lost, and one more that cannot be added."""
    path = folder / "log.csv"
    if not path.read_bytes().startswith(old["log.csv"]):
        return ["a row is lost"]
    before = len(read_log(path).rows)
    if end(start(command.words(folder))) or len(read_log(path).rows) != before + 1:
        return ["no row can be added"]
    return []


def _commands(here: Path) -> tuple[Command, ...]:
    dem, day, plan = SAMPLE / "stey_massif.tif", SAMPLE / "day.gpx", here / "plan.zip"
    model, hill = (
        write(here / "hills.tif", mountains(700, 900)),
        write(here / "hill.tif", mountains(300, 260)),
    )
    if whole(["route", str(day), "--dem", str(dem), "--save", str(plan)]):
        raise RuntimeError

    def to(folder: Path, *names: str) -> list[str]:
        return [word for name in names for word in (f"--{Path(name).stem}", str(folder / name))]

    route = ("csv.csv", "geojson.json", "save.zip")
    beside = "csv.csv.cautions.txt"
    card = ("pdf.pdf", "gpx.gpx", "csv.csv")
    area = ("README.txt", "bands.tif", "bands.tif.aux.xml", "slope.tif", "table.csv", "table.json")
    above = [f"{name}.tif{more}" for name in ("overhead", "start_zones") for more in ("", ".aux.xml")]
    return (
        Command(
            "route", lambda at: ["route", str(day), "--dem", str(dem), *to(at, *route)], (*route, beside)
        ),
        Command(
            "card", lambda at: ["card", str(plan), "--date", "2027-01-15", *to(at, *card)], (*card, beside)
        ),
        Command("report", lambda at: ["report", str(plan), *to(at, "out.html")], ("out.html",)),
        Command(
            "area",
            lambda at: ["area", "--dem", str(model), "--out", str(at), "--threads", "1"],
            area,
            ("--resume",),
        ),
        Command(
            "overhead",
            lambda at: ["area", "--dem", str(hill), "--out", str(at), "--threads", "1", "--overhead"],
            (*area, *above),
            ("--resume",),
        ),
        Command(
            "cluster",
            lambda at: ["area", "--dem", str(hill), "--out", str(at), "--cluster", "local:2"],
            area,
            ("--resume",),
        ),
        Command("log", lambda at: ["reading", "31deg", "--observer", "Ann, the 2nd", *to(at, "log.csv")], ()),
    )


def run(count: int, seed: int, only: str = "") -> dict[str, list[str]]:
    """Kill so many runs in turn; what was wrong, by command."""
    chance = random.Random(seed)  # noqa: S311  no secret
    wrong: dict[str, list[str]] = collections.defaultdict(list)
    # Threads of GDAL's would be missing in copies of this process.
    os.environ["GDAL_NUM_THREADS"] = "1"
    with tempfile.TemporaryDirectory() as there:
        here = Path(there)
        chosen = [command for command in _commands(here) if only in ("", command.name)]
        for command in chosen:
            clean = here / command.name
            clean.mkdir()
            # The first loads what all the others inherit; the second tells how long they take.
            if end(start(command.words(clean))) if command.name == "cluster" else whole(command.words(clean)):
                raise RuntimeError(command.name)
            began = time.monotonic()
            end(start([*command.words(clean), *(["--force"] if command.outputs else [])]))
            took_s = time.monotonic() - began
            tally: collections.Counter[str] = collections.Counter()
            for number in range(-(-count // len(chosen))):
                folder = here / f"{command.name}-{number}"
                ended, found = trial(command, folder, clean, took_s, chance)
                tally[ended] += 1
                wrong[command.name] += [f"{number}, {ended}: {fault}" for fault in found]
                shutil.rmtree(folder)
                # Told as they come: a run that is itself ended has told what it did.
                for fault in found:
                    print(f"    {number}, {ended}: {fault}", flush=True)
                if (number + 1) % TOLD_EVERY == 0 or number + 1 == -(-count // len(chosen)):
                    said = ", ".join(f"{many} {how}" for how, many in sorted(tally.items()))
                    faulty = len(wrong[command.name])
                    print(f"{command.name} ({took_s:.1f} s): {said}; {faulty} faults", flush=True)
    return wrong


def main() -> int:
    """Read the options, run, return 1 where anything was wrong."""
    options = argparse.ArgumentParser(description="Kill commands at any moment.")
    options.add_argument("--count", type=int, default=DEFAULT_COUNT)
    options.add_argument("--seed", type=int, default=0)
    options.add_argument("--only", default="", help="route, card, report, area, overhead, cluster or log")
    given = options.parse_args()
    return int(any(run(given.count, given.seed, given.only).values()))


if __name__ == "__main__":
    sys.exit(main())
