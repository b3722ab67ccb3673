"""``steybrae spacing`` from the command line to what is printed."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable

import pytest

MAP = ("--scale", "1:25000", "--interval", "10m")
VERDICT = re.compile(r"\b(safe|safely|go|no-go|nogo)\b", re.IGNORECASE)

Run = Callable[..., tuple[int, str, str]]


def table_row(out: str, slope: str) -> list[str]:
    (line,) = (line for line in out.splitlines() if line.split()[:1] == [slope])
    return line.split()


def test_the_table_rounds_gaps_up(run: Run) -> None:
    status, out, _ = run("spacing", *MAP, "--index-every", "5")
    assert status == 0
    # 0.6928 mm and 3.4641 mm exactly.
    assert table_row(out, "30.0°") == ["30.0°", "1", "in", "1.73", "0.70", "mm", "3.47", "mm"]
    assert "index to index (5 gaps)" in out
    assert "From 38.6° a single gap is no wider than a ruler's usual error of 0.5 mm" in out
    assert "rounded up. The command gap gives a slightly gentler slope for one: the table leads." in " ".join(
        out.split()
    )
    assert "Read the local avalanche forecast" in out
    assert not VERDICT.search(out)


def test_without_index_lines_it_asks_for_them(run: Run) -> None:
    _, out, _ = run("spacing", *MAP)
    assert table_row(out, "30.0°") == ["30.0°", "1", "in", "1.73", "0.70", "mm"]
    assert "For index lines add --index-every, as counted on the sheet." in out


def test_own_slopes_in_any_unit_and_json(run: Run) -> None:
    status, out, _ = run("spacing", *MAP, "--slope", "30deg", "--slope", "100%", "--slope", "1in2", "--json")
    answer = json.loads(out)
    assert status == 0
    assert list(answer) == ["schema", "command", "settings_file", "rows", "cautions"]
    assert [list(row) for row in answer["rows"]] == [["slope_deg", "gap_mm", "index_gap_mm"]] * 3
    assert [row["slope_deg"] for row in answer["rows"]] == pytest.approx([30.0, 45.0, 26.565], abs=0.001)
    assert answer["rows"][0]["gap_mm"] == pytest.approx(0.4 * math.sqrt(3.0), abs=1e-12)
    assert answer["rows"][0]["index_gap_mm"] is None


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (
            ("--slope", "0"),
            "A contour spacing exists for slopes above 0 and below 90 degrees; got 0. "
            "Ask for a slope between.",
        ),
        (
            ("--slope", "95"),
            "A slope should lie between 0 and 90 degrees; got '95'. Check value and unit.",
        ),
        (
            ("--index-every", "1"),
            "Index lines should be every 2nd contour or rarer; got 1. "
            "Count from one thick line to the next on the sheet, often 5.",
        ),
    ],
)
def test_one_sentence_and_status_2(run: Run, arguments: tuple[str, ...], message: str) -> None:
    assert run("spacing", *MAP, *arguments) == (2, "", f"steybrae: {message}\n")
