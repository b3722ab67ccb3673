"""How a desk opens, and from a moved point to the new answer, in the browser: pointer up to painted.

    python -m tests.benchmarks.desk_moves [--moves 200] [--dem DEM]

A line of ten legs is opened at the desk; one of its turn points after the other is dragged by up to
30 pixels, in four steps of the pointer. The time is that from ``pointerup`` to the first animation
frame after the answer to the line as it now is stands in the page. Before the first, the map has been
drawn and the model looked at; when they were, and the first answer stood, is told.
"""

from __future__ import annotations

import argparse
import os
import random
import statistics
import tempfile
import time
from pathlib import Path

from tests.desk.served import Served, Sheet
from tests.visits import chromium

WATCH = """() => {
  window.times = [];
  performance.clearResourceTimings(); // of the tiles, which fill its list
  let up = null;
  addEventListener("pointerup", () => { up = performance.now(); }, true);
  new MutationObserver(() => {
    if (up === null || document.body.classList.contains("old")) return;
    const since = up;
    up = null;
    requestAnimationFrame(() => {
      const asked = performance.getEntriesByType("resource").filter((one) => one.name.endsWith("/answer"));
      const { responseEnd } = asked.pop() ?? { responseEnd: performance.now() };
      window.times.push([performance.now() - since, performance.now() - responseEnd]);
      performance.clearResourceTimings();
    });
  }).observe(document.body, { attributes: true, attributeFilter: ["class"] });
}"""

OPENED = (
    "document.querySelector('.places .letter') && !document.body.classList.contains('old')",
    "document.querySelector('.leaflet-tile')"
    " && !document.querySelector('.leaflet-tile:not(.leaflet-tile-loaded)')",
    "document.querySelector('#looked').hidden",
)
"""What is so once the answer stands, the map is drawn, the model looked at."""


def main() -> None:
    """Measure, and print the figures."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--moves", type=int, default=200)
    asked.add_argument("--legs", type=int, default=10)
    asked.add_argument("--step-m", type=float, default=500.0)
    asked.add_argument("--dem", type=Path)
    given = asked.parse_args()
    with tempfile.TemporaryDirectory() as home, chromium() as browser:
        start = time.perf_counter()
        served = Served(Path(home), *(("--dem", str(given.dem.resolve())) if given.dem else ("--sample",)))
        address = time.perf_counter() - start
        sheet = Sheet(browser, served.address, viewport={"width": 1280, "height": 800})
        rows, cols, cell_m = sheet.page.evaluate(
            "fetch('model').then((found) => found.json()).then((m) => [m.rows, m.cols, m.cell_m[0]])"
        )
        # Up and down across the middle of the model.
        step = given.step_m / cell_m
        points = [
            {
                "row": rows / 2 + step / 3 * (-1) ** k,
                "col": cols / 2 + step * (k - given.legs / 2),
                "name": "",
            }
            for k in range(given.legs + 1)
        ]
        served.keep({"name": "", "role": "main", "points": points})
        sheet.page.set_default_timeout(60_000)
        start = time.perf_counter()
        sheet.page.reload()
        opened = []
        for what in OPENED:
            while not sheet.page.evaluate(what):
                sheet.page.wait_for_timeout(20)
            opened.append(time.perf_counter() - start)
        sheet.page.click("#key summary")  # a point moved under the legend could not be taken again
        sheet.page.evaluate(WATCH)
        before = processor_s(served)
        chance = random.Random(19)  # noqa: S311  the same moves each time
        for k in range(given.moves):
            sheet.drag(1 + k % (given.legs + 1), chance.uniform(-30, 30), chance.uniform(-30, 30))
            while sheet.page.evaluate("window.times.length") <= k:
                sheet.page.wait_for_timeout(20)
        measured = sheet.page.evaluate("window.times")
        spent = (processor_s(served) - before) / given.moves
        sheet.context.close()
        served.end()
    print(
        f"address after {address:.1f} s; a page of it: answer {opened[0]:.1f} s, map {opened[1]:.1f} s, ",
        end="",
    )
    print(f"model looked at {opened[2]:.1f} s")
    times, shown = sorted(whole for whole, _ in measured), [shown for _, shown in measured]
    middle, p95 = statistics.median(times), times[int(0.95 * (len(times) - 1))]
    print(f"{len(times)} moves of {given.legs} legs: median {middle:.0f} ms, p95 {p95:.0f} ms, ", end="")
    print(f"longest {times[-1]:.0f} ms; {statistics.median(shown):.0f} ms of it after the answer came;")
    print(f"{1000 * spent:.0f} ms of the desk's processor time a move, with answers while dragging; ", end="")
    print(f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors")


def processor_s(served: Served) -> float:
    """Processor time that a desk has taken so far, seconds (Linux)."""
    fields = Path(f"/proc/{served.process.pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


if __name__ == "__main__":
    main()
