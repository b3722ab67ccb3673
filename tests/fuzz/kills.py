"""Kill commands at any moment, and report whatever is half, lost or left in the way.

Each run is a process that is ended by SIGKILL, or now and then by SIGTERM, after a random time, when its
first file or its first output appears, or at one of its own steps: as it opens, names or takes away a file,
and for the log within the write. Then every output is to be whole, or as it was before; what can be taken
up is, and is to be what an undisturbed run makes. A run that was over before the signal is no kill: it is
counted beside the others, and another is tried. Counts are added to tried.md.

    python -m tests.fuzz.kills                        500 kills over all commands
    python -m tests.fuzz.kills --count 50 --only area --seed 7
"""

from __future__ import annotations

import argparse
import collections
import io
import os
import random
import re
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
from tests.fuzz import tried
from tests.raster.rasters_made import cells, mountains, write

from steybrae.cli.app import main as steybrae
from steybrae.files.logs import read_log

SAMPLE: Final = Path(__file__).resolve().parents[2] / "sample_dem"
DEFAULT_COUNT: Final = 500
TERM_SHARE: Final = 0.25
WORK: Final = ".steybrae-area"
TOLD_EVERY: Final = 5
MOST_TRIALS: Final = 6
"""Runs tried for each kill that is wanted: many are over before the signal."""

STEPS: Final = ("open", "os.rename", "os.link", "os.remove", "os.mkdir", "os.rmdir", "os.truncate")
"""Events of Python's own audit at which a run may be ended."""

ENDS: Final = ("ended by the signal", "ended by us", "finished before")

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
    weight
        Share of the kills.
    """

    name: str
    words: Callable[[Path], list[str]]
    outputs: tuple[str, ...]
    again: tuple[str, ...] = ("--force",)
    weight: int = 8

    @property
    def together(self) -> bool:
        """Whether its outputs appear together."""
        return "--resume" in self.again


def start(words: list[str], prepare: Callable[[], None] = lambda: None) -> int:
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
        prepare()
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


def stopping(folder: Path, number: int, chance: random.Random) -> Callable[[], None]:
    """What makes a process end itself at one of its steps in a folder, or in the middle of a write."""
    left, torn = chance.randrange(1, chance.choice((4, 12, 40))), chance.random()
    write, flush = os.write, os.fsync

    def step(event: str = "", args: tuple[object, ...] = ()) -> None:
        nonlocal left
        if not event or (event in STEPS and any(str(folder) in str(each) for each in args)):
            left -= 1
            if left == 0:
                os.kill(os.getpid(), number)

    def part(handle: int, data: bytes) -> int:
        nonlocal left
        if torn < 0.5 and left > 1:
            left = 1
            write(handle, data[: int(2.0 * torn * len(data))])
            step()
        return write(handle, data)

    def flushed(handle: int) -> None:
        step()
        flush(handle)
        step()

    def prepare() -> None:
        os.write, os.fsync = part, flushed
        sys.addaudithook(step)

    return prepare


def kill(
    words: list[str], folder: Path, outputs: tuple[str, ...], took_s: float, chance: random.Random
) -> tuple[int, int]:
    """Start, wait, end; the signal and the status.

    Ended at a random moment, shortly after the first file appears, or as soon as an output of its own
    name changes: several are moved within a millisecond.
    """
    number = signal.SIGTERM if chance.random() < TERM_SHARE else signal.SIGKILL
    if "--cluster" not in words and chance.random() < (0.9 if "reading" in words else 0.4):
        return number, end(start(words, stopping(folder, number, chance)))
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
    there = {*command.outputs, *old, "log.csv"}
    left = [name for name in now if name not in there and not name.startswith(WORK)]
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
        if chance.random() < 0.7:
            shutil.copyfile(clean / "log.csv", folder / "log.csv")
    elif chance.random() < 0.5:
        for name in command.outputs:
            (folder / name).write_text(f"old {name}")
        words.append("--force")
    old = contents(folder)
    number, status = kill(words, folder, command.outputs, took_s, chance)
    ended = dict(zip((-number, 128 + number, 0), ENDS, strict=True)).get(status)
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
    data = path.read_bytes() if path.exists() else b""
    if not data.startswith(old.get("log.csv", b"")):
        return ["a row is lost"]
    before = data.count(b"\n") and len(read_log(path).rows)
    if end(start(command.words(folder))) or len(read_log(path).rows) != before + 1:
        return ["no row can be added"]
    return []


def _commands(here: Path) -> tuple[Command, ...]:
    dem, day, plan = SAMPLE / "stey_massif.tif", here / "day.gpx", here / "plan.zip"
    points = re.findall(r'<rtept lat="[^"]*" lon="[^"]*"', (SAMPLE / "day.gpx").read_text("utf-8"))
    line = "/>".join([*points[:3], ""])
    day.write_text(
        f'<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1"><rte>{line}</rte></gpx>'
    )
    model, hill = (
        write(here / "hills.tif", mountains(500, 600)),
        write(here / "hill.tif", mountains(200, 180)),
    )
    ground = [str(day), "--dem", str(dem), "--reach", "200m"]
    if whole(["route", *ground, "--save", str(plan)]):
        raise RuntimeError

    def to(folder: Path, *names: str) -> list[str]:
        return [word for name in names for word in (f"--{Path(name).stem}", str(folder / name))]

    route = ("csv.csv", "geojson.json", "save.zip")
    beside = "csv.csv.cautions.txt"
    card = ("pdf.pdf", "gpx.gpx", "csv.csv")
    pictures = [f"{name}.tif{more}" for name in ("bands", "bands_possible") for more in ("", ".aux.xml")]
    area = ("README.txt", *pictures, "slope.tif", "table.csv", "table.json")
    above = [f"{name}.tif{more}" for name in ("overhead", "start_zones") for more in ("", ".aux.xml")]

    def rasters(of: Path, *more: str) -> Callable[[Path], list[str]]:
        return lambda at: ["area", "--dem", str(of), "--out", str(at), *more]

    dated = ["card", str(plan), "--date", "2027-01-15"]
    alone, resume = ("--threads", "1"), ("--resume",)
    log = ["reading", "31deg", "--observer", "Ann, the 2nd"]
    return (
        Command("log", lambda at: [*log, *to(at, "log.csv")], ()),
        Command("report", lambda at: ["report", str(plan), *to(at, "out.html")], ("out.html",)),
        Command("area", rasters(model, *alone), area, resume),
        Command("route", lambda at: ["route", *ground, *to(at, *route)], (*route, beside)),
        Command("card", lambda at: [*dated, *to(at, *card)], (*card, beside)),
        Command("overhead", rasters(hill, *alone, "--overhead"), (*area, *above), resume, 6),
        Command("cluster", rasters(hill, "--cluster", "local:2"), area, resume, 4),
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
        shares = sum(command.weight for command in chosen)
        for command in chosen:
            wanted = -(-count * command.weight // shares)
            clean = here / command.name
            clean.mkdir()
            # The first loads what all the others inherit; the second tells how long they take.
            if end(start(command.words(clean))) if command.name == "cluster" else whole(command.words(clean)):
                raise RuntimeError(command.name)
            if command.outputs and set(contents(clean)) != set(command.outputs):
                raise RuntimeError(command.outputs)
            began = time.monotonic()
            end(start([*command.words(clean), *(["--force"] if command.outputs else [])]))
            took_s = time.monotonic() - began
            tally: collections.Counter[str] = collections.Counter()
            for number in range(MOST_TRIALS * wanted):
                if tally.total() - tally["finished before"] == wanted:
                    break
                folder = here / f"{command.name}-{number}"
                ended, found = trial(command, folder, clean, took_s, chance)
                tally[ended] += 1
                counts = {
                    "kills": int(ended != "finished before"),
                    **{how: int(how == ended) for how in ENDS},
                }
                told = f"--count {count} --seed {seed}" + (f" --only {only}" if only else "")
                tried.add("Kills", told, {command.name: {**counts, "faults": len(found)}})
                wrong[command.name] += [f"{number}, {ended}: {fault}" for fault in found]
                shutil.rmtree(folder)
                # Told as they come: a run that is itself ended has told what it did.
                for fault in found:
                    print(f"    {number}, {ended}: {fault}", flush=True)
                if (number + 1) % TOLD_EVERY == 0:
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
