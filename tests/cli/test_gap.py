"""``steybrae gap`` from the command line to what is printed."""

from __future__ import annotations

import json
import math
import re
import subprocess
import sys
from collections.abc import Callable

import pytest

MAP = ("--scale", "1:25000", "--interval", "10m")
VERDICT = re.compile(r"\b(safe|safely|go|no-go|nogo)\b", re.IGNORECASE)
CONTRACT = [
    "schema",
    "command",
    "settings_file",
    "slope_deg",
    "slope_low_deg",
    "slope_high_deg",
    "uncertainty_shares",
    "grade_percent",
    "one_in",
    "ground_distance_m",
    "rise_m",
    "band",
    "bands_possible",
    "open_above",
    "cautions",
]

Run = Callable[..., tuple[int, str, str]]


def flat(text: str) -> str:
    return " ".join(text.split())


def test_the_first_line_repeats_what_was_understood(run: Run) -> None:
    status, out, err = run("gap", "--across", "12.5mm", "--gaps", "5", *MAP)
    assert (status, err) == (0, "")
    assert out.splitlines()[0] == "12.5 mm across 5 gaps = 2.5 mm each; 50 m up in 312 m"


def test_the_whole_answer(run: Run) -> None:
    _, out, _ = run("gap", "--across", "4mm", "--gaps", "5", *MAP)
    text = flat(out)
    for part in (
        "Map 1:25 000, a contour every 10 m of height",
        "Slope 26.6° = 50 % = 1 in 2.00",
        "95 % interval: 21.6 to 31.5°",
        "ruler alone, the whole length read 0.5 mm too long or too short: 3.2° on its larger side",
        "contours' heights alone, the whole rise 8.6 m too high or too low: 4.1° on its larger side",
        "Both together, in quadrature on either side, make the interval.",
        "Ruler: half a division (common practice, no source).",
        "Band 25-30; possible: 25-30, 30-35",
        "This is an average over 100 m of ground.",
        "lower than 10 m need not show at all",
        "6 lines make 5 gaps. If 5 was the number of lines, the answer is 21.9°.",
        "If one is missing here, the answer is 31.0°.",
        "Read the local avalanche forecast",
    ):
        assert part in text
    assert not VERDICT.search(text)


@pytest.mark.parametrize("typed", ["40ft", "40usft", "12.192m"])
def test_a_map_in_feet_is_told_in_feet(run: Run, typed: str) -> None:
    """Its reader had "a contour every 12.192 m"."""
    _, out, _ = run("gap", "--across", "4mm", "--gaps", "5", "--scale", "1:24000", "--interval", typed)
    text = flat(out)
    assert "Map 1:24 000, a contour every 40 ft of height" in text
    assert "lower than 40 ft need not show at all" in text
    assert "12.19" not in text


def test_percent_rounds_up_and_one_in_n_down(run: Run) -> None:
    _, out, _ = run("gap", "--across", "13mm", "--gaps", "7", *MAP)
    assert "Slope 12.2° = 22 % = 1 in 4.64" in out  # 21.54 %, 1 in 4.643


def test_json_is_the_contract_unrounded(run: Run) -> None:
    status, out, _ = run("gap", "--across", "13mm", "--gaps", "7", *MAP, "--json")
    answer = json.loads(out)
    assert status == 0
    assert list(answer) == CONTRACT
    assert answer["slope_deg"] == math.degrees(math.atan(70.0 / 325.0))
    assert answer["grade_percent"] == pytest.approx(7000.0 / 325.0, abs=1e-12)
    assert answer["band"] == {"low_deg": 0.0, "high_deg": 25.0, "label": "<25"}
    assert list(answer["uncertainty_shares"]) == ["ruler_mm", "ruler_deg", "contour_m", "contour_deg"]
    assert [set(caution) for caution in answer["cautions"]] == [{"key", "text"}] * len(answer["cautions"])


def test_an_unreadable_gap_in_words_and_in_json(run: Run) -> None:
    arguments = ("gap", "--gap", "0.4mm", *MAP)
    _, out, _ = run(*arguments)
    assert (
        "95 % interval: 0.0° to 90°, vertical: the reading error is as large as the measured length, "
        "so its upper end is not known" in flat(out)
    )
    assert "possible: 45-55, 55+" in flat(out)
    _, out, _ = run(*arguments, "--json")
    answer = json.loads(out)
    assert (answer["slope_high_deg"], answer["open_above"]) == (90.0, True)


def test_ruler_only_and_own_ruler_error_and_edges(run: Run) -> None:
    arguments = ("gap", "--across", "3.464mm", "--gaps", "5", *MAP, "--ruler-error", "0.2mm", "--ruler-only")
    _, out, _ = run(*arguments, "--edges", "28,31")
    text = flat(out)
    assert "95 % interval: 28.6 to 31.5°" in text
    assert "contours' heights: left out, as asked" in text
    assert "Ruler: as stated." in text
    assert "Band 28-31; possible: 28-31, 31+" in text
    assert "The contours' own height error was left out on request" in text
    _, out, _ = run(*arguments, "--json")
    assert json.loads(out)["uncertainty_shares"]["contour_deg"] is None


def test_index_gaps_have_no_missing_thin_lines(run: Run) -> None:
    _, out, _ = run("gap", "--across", "10mm", "--index-gaps", "6", "--index-every", "5", *MAP)
    assert out.startswith("10 mm across 6 index gaps (30 gaps) = 0.333 mm each; 300 m up in 250 m\n")
    assert "Thin lines" not in out
    assert "7 lines make 6 index gaps" in out


def test_feet_and_inches(run: Run) -> None:
    _, out, _ = run("gap", "--gap", "0.1in", "--scale", "24k", "--interval", "40ft", "--json")
    assert json.loads(out)["slope_deg"] == pytest.approx(math.degrees(math.atan(40 * 12 / 2400)), abs=1e-9)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (
            (),
            "A length on paper is needed, as --gap or --across; got neither. "
            "Write --gap 2.5mm, or --across 12.5mm --gaps 5.",
        ),
        (
            ("--gaps", "5"),
            "A length on paper is needed, as --gap or --across; got only --gaps. "
            "Write --gap 2.5mm, or --across 12.5mm --gaps 5.",
        ),
        (
            ("--gap", "2.5mm", "--across", "12mm"),
            "--gap is one space between two lines and stands alone; got --across too. "
            "For several gaps write --across and --gaps.",
        ),
        (
            ("--gap", "2.5mm", "--gaps", "5"),
            "--gap is one space between two lines and stands alone; got --gaps too. "
            "For several gaps write --across and --gaps.",
        ),
        (
            ("--across", "12mm"),
            "--across needs either --gaps, or --index-gaps and --index-every together; got neither. "
            "See on the sheet every how many contours one is thick; it is not assumed.",
        ),
        (
            ("--across", "12mm", "--index-gaps", "2"),
            "--across needs either --gaps, or --index-gaps and --index-every together; got --index-gaps. "
            "See on the sheet every how many contours one is thick; it is not assumed.",
        ),
        (
            ("--across", "12mm", "--gaps", "5", "--index-gaps", "2"),
            "--across needs either --gaps, or --index-gaps and --index-every together; "
            "got --gaps and --index-gaps. "
            "See on the sheet every how many contours one is thick; it is not assumed.",
        ),
        (
            ("--across", "12mm", "--index-gaps", "2", "--index-every", "1"),
            "Index lines should be every 2nd contour or rarer; got 1. "
            "Count from one thick line to the next on the sheet, often 5.",
        ),
        (
            ("--across", "12mm", "--gaps", "0"),
            "The number of gaps should lie between 1 and 1000; got 0. "
            "Count the spaces between lines, not the lines.",
        ),
        (
            ("--gap", "0mm"),
            "A gap should be above 0 and of a likely size; got '0mm'. Check value and unit.",
        ),
        (
            ("--gap", "-2.5mm"),
            "A gap should be above 0 and of a likely size; got '-2.5mm'. Check value and unit.",
        ),
        (
            ("--gap", "nan"),
            "A gap should look like 2.5mm; got 'nan'. Give a number and its unit.",
        ),
        (
            ("--gap", "2.5"),
            "A gap takes mm, cm or in; got no unit in '2.5'. Write it like 2.5mm.",
        ),
        (
            ("--gap", "2.5mm", "--ruler-error", "-1mm"),
            "A ruler error should be 0 or more and of a likely size; got '-1mm'. Check value and unit.",
        ),
        (
            ("--gap", "2.5mm", "--edges", "40,30"),
            "Band edges should rise from above 0 to below 90 degrees; got '40,30'. "
            "Write them like 25,30,35,40,45,55.",
        ),
    ],
)
def test_one_sentence_and_status_2(run: Run, arguments: tuple[str, ...], message: str) -> None:
    assert run("gap", *arguments, *MAP) == (2, "", f"steybrae: {message}\n")


def test_a_bare_interval_is_refused(run: Run) -> None:
    message = "A contour interval takes m, km, ft or usft; got no unit in '10'. Write it like 10m."
    assert run("gap", "--gap", "2.5mm", "--scale", "1:25000", "--interval", "10") == (
        2,
        "",
        f"steybrae: {message}\n",
    )


def test_as_a_process_and_without_slow_imports() -> None:
    code = (
        "import sys\n"
        "from steybrae.cli.app import main\n"
        "sys.argv = ['steybrae', 'gap', '--gap', '2.5mm', '--scale', '1:25000', '--interval', '10m']\n"
        "try:\n    main()\nexcept SystemExit as stop:\n    assert not stop.code\n"
        "slow = {'numpy', 'pyproj', 'rasterio', 'matplotlib', 'gpxpy'} & set(sys.modules)\n"
        "assert not slow, slow\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("2.5 mm across 1 gap = 2.5 mm each; 10 m up in 62.5 m\n")
