"""How quickly a desk opens on a large model, how long its tiles take, what an hour of use leaves in memory.

    python -m tests.benchmarks.desk_memory [--model model.tif] [--moves 10000] [--legs 10] [--side 10000]

Makes a model where none is given, opens a desk on it as a process and asks as the page does, one request at
a time. Memory is that of the process, from ``/proc`` (Linux).
"""

from __future__ import annotations

import argparse
import http.client
import json
import math
import os
import random
import re
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from tests.benchmarks.area_speed import make_model

LAYERS = ("bands", "relief", "zones", "contours", "unknown")
ADDRESS = re.compile(r"http://127\.0\.0\.1:(\d+)/([\w-]+)/")
Point = dict[str, Any]


class Asked:
    """Asks an open desk over one connection."""

    def __init__(self, process: subprocess.Popen[str], port: int, key: str) -> None:
        self.process, self._key = process, key
        self._line = http.client.HTTPConnection("127.0.0.1", port, timeout=120)

    def get(self, path: str) -> bytes:
        """Body of a page, a tile or a list."""
        self._line.request("GET", f"/{self._key}/{path}")
        answer = self._line.getresponse()
        body = answer.read()
        if answer.status != 200:
            raise RuntimeError(path, answer.status, body[:200])
        return body

    def post(self, path: str, message: dict[str, Any]) -> tuple[int, dict[str, Any]]:
        """Status and answer of a message."""
        headers = {"Content-Type": "application/json"}
        self._line.request("POST", f"/{self._key}/{path}", json.dumps(message), headers)
        answer = self._line.getresponse()
        return answer.status, json.loads(answer.read())

    def megabytes(self) -> str:
        """Memory of the process, and the most that it had."""
        text = Path(f"/proc/{self.process.pid}/status").read_text("ascii")
        now, most = (int(re.findall(rf"{name}:\s+(\d+)", text)[0]) / 1024.0 for name in ("VmRSS", "VmHWM"))
        return f"{now:.0f} MB (most {most:.0f})"

    def processor_s(self) -> float:
        """Processor time of the process so far."""
        fields = Path(f"/proc/{self.process.pid}/stat").read_text("ascii").rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


@contextmanager
def opened(model: Path) -> Iterator[tuple[Asked, float]]:
    """A desk on a model, and how long it took to print its address."""
    start = time.perf_counter()
    command = [sys.executable, "-m", "steybrae", "desk", "--dem", str(model), "--no-browser"]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    found = ADDRESS.search(process.stdout.readline())
    assert found is not None
    took = time.perf_counter() - start
    try:
        yield Asked(process, int(found[1]), found[2]), took
    finally:
        process.send_signal(signal.SIGINT)
        process.wait()


def milliseconds(seconds: Sequence[float]) -> str:
    """Median, 95th percentile and largest of times."""
    ordered = sorted(seconds)
    p95 = ordered[math.ceil(0.95 * len(ordered)) - 1]
    return (
        " / ".join(f"{1000 * value:.0f}" for value in (statistics.median(ordered), p95, ordered[-1])) + " ms"
    )


def open_first(desk: Asked) -> dict[str, Any]:
    """Ask for what the page shows first: itself, the model, the whole of it in tiles."""
    desk.get("")
    told: dict[str, Any] = json.loads(desk.get("model"))
    for layer in LAYERS:
        desk.get(f"tiles/{layer}/{told['zooms'][0]}/0/0.png")
    return told


def tiles(desk: Asked, told: dict[str, Any], many: int, chance: random.Random) -> None:
    """Print times of tiles at random places, each asked for once, by zoom and layer; and the processor's."""
    for zoom in (-2, -1, 0, 1, 3):
        for layer in LAYERS:
            took, before = [], desk.processor_s()
            for _ in range(many):
                x, y = (
                    chance.randrange(max(1, int(told[name] * 2.0**zoom // 256))) for name in ("cols", "rows")
                )
                start = time.perf_counter()
                desk.get(f"tiles/{layer}/{zoom}/{x}/{y}.png")
                took.append(time.perf_counter() - start)
            own = 1000.0 * (desk.processor_s() - before) / many
            print(f"tiles, zoom {zoom:2}, {layer:9} {milliseconds(took)}, processor {own:.0f} ms", flush=True)


def line_of(told: dict[str, Any], legs: int) -> list[Point]:
    """A line of some legs of 400 m up and down the middle of the model."""
    step = 400.0 / told["cell_m"][0]
    row, col = told["rows"] / 2.0, told["cols"] / 2.0 - step * legs / 2.0
    return [{"row": row + step * (k % 2), "col": col + step * k, "name": ""} for k in range(legs + 1)]


def move(
    desk: Asked, told: dict[str, Any], points: list[Point], homes: list[Point], k: int, chance: random.Random
) -> float:
    """Move a point of a line a little, look round, and tell how long the answer took."""
    which = chance.randrange(len(points))
    moved, cells = points[which], 60.0 / told["cell_m"][0]
    for axis in ("row", "col"):
        moved[axis] = homes[which][axis] + chance.uniform(-cells, cells)
    lines = [{"name": "day", "role": "main", "points": points}]
    start = time.perf_counter()
    status, found = desk.post("answer", {"sequence": k, "lines": lines, "active": 0})
    took = time.perf_counter() - start
    if status not in (200, 422):
        raise RuntimeError(status, found)
    desk.post("place", {"row": moved["row"], "col": moved["col"]})
    if k % 10 == 0:
        zoom = chance.randint(*told["zooms"])
        x, y = (chance.randrange(max(1, int(told[name] * 2.0**zoom // 256))) for name in ("cols", "rows"))
        for layer in LAYERS:
            desk.get(f"tiles/{layer}/{zoom}/{x}/{y}.png")
        desk.get(f"gridlines?top=0&left=0&bottom={told['rows']}&right={told['cols']}&zoom={zoom}")
    return took


def main() -> None:
    """Print all of it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--model", type=Path)
    parser.add_argument("--moves", type=int, default=10_000)
    parser.add_argument("--legs", type=int, default=10, help="of the line that is moved")
    parser.add_argument("--side", type=int, default=10_000, help="cells along a side of the made model")
    parser.add_argument("--stay", action="store_true", help="points stay where they began, about")
    parser.add_argument("--tiles", type=int, default=20, help="tiles of each layer and zoom")
    asked = parser.parse_args()
    chance = random.Random(19)  # noqa: S311  nothing secret
    with tempfile.TemporaryDirectory() as folder:
        model = asked.model or make_model(
            Path(folder) / "made.tif", asked.side, asked.side, compress="deflate"
        )
        with opened(model) as (desk, address):
            start = time.perf_counter()
            told = open_first(desk)
            first = time.perf_counter() - start
            print(f"address {address:.1f} s, first view {first:.1f} s, {desk.megabytes()}", flush=True)
            while not json.loads(desk.get("looked"))["done"]:
                time.sleep(0.2)
            print(
                f"looked at all after {time.perf_counter() - start:.0f} s, {desk.megabytes()}",
                flush=True,
            )
            tiles(desk, told, asked.tiles, chance)
            points, took, before = line_of(told, asked.legs), [], desk.processor_s()
            homes = line_of(told, asked.legs) if asked.stay else points
            for k in range(asked.moves):
                took.append(move(desk, told, points, homes, k, chance))
                if k % max(1, asked.moves // 40) == 0:
                    recent, own = milliseconds(took[-250:]), 1000.0 * (desk.processor_s() - before) / (k + 1)
                    print(
                        f"move {k}: {recent}, processor {own:.0f} ms a move, {desk.megabytes()}",
                        flush=True,
                    )


if __name__ == "__main__":
    main()
