"""``steybrae ground`` from the command line to what is printed."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable
from pathlib import Path

import pytest

VERDICT = re.compile(r"\b(safe|safely|go|no-go|nogo)\b", re.IGNORECASE)
HERE = "59.2244 -8.0237"
CONTRACT = [
    "place",
    "elevation_m",
    "slope_deg",
    "slope_low_deg",
    "slope_high_deg",
    "aspect_true_deg",
    "aspect_sector",
    "band",
    "bands_possible",
    "open_above",
    "within",
    "cautions",
]

Run = Callable[..., tuple[int, str, str]]
pytestmark = pytest.mark.usefixtures("sample_dem")


def answer(run: Run, *arguments: str) -> dict:
    status, out, err = run("ground", *arguments, "--json")
    assert (status, err) == (0, "")
    return json.loads(out)


def test_the_whole_answer(run: Run) -> None:
    status, out, err = run("ground", HERE, "--sample", "--within", "30m")
    text = " ".join(out.split())
    assert (status, err) == (0, "")
    for part in (
        '"59.2244 -8.0237" = 59.22440, -8.02370 (WGS 84), height 842 m',
        "95 % interval, pieces of 20 m: ",
        "Within 30 m (95 % of positions, and the 3 x 3 cells around): least ",
        "Possible bands ",
        "cells 10.0 x 10.0 m; method horn.",
        "Read the local avalanche forecast",
        "This is the invented sample massif",
    ):
        assert part in text
    assert not VERDICT.search(text)


def test_a_reading_says_why_its_interval_is_wider_than_that_of_its_cell(run: Run) -> None:
    """Two intervals of one slope stood there without a word: 6.6 to 17.9° and 5.3 to 19.0°."""
    _, out, _ = run("ground", "59.2234 -8.0712", "--sample", "--within", "15m")
    text = " ".join(out.split())
    assert "95 % interval, pieces of 20 m: 6.6 to 17.9° " in text
    assert "Check (a): 12.4° (5.3 to 19.0° for all within 15 m), look 264° true" in text
    assert "Check (b): 24.0° (23.4 to 24.5°), look 339° true (sight line" in text


def test_json_is_the_contract_unrounded(run: Run) -> None:
    found = answer(run, HERE, "--sample", "--within", "30m")
    assert [key for key in found if key in CONTRACT] == CONTRACT
    assert set(found) - set(CONTRACT) == {
        "schema",
        "command",
        "settings_file",
        "baseline_m",
        "short_slope_deg",
        "basis",
        "model_files",
        "cell_size_m",
        "method",
        "baselines",
        "start_zones",
        "overhead",
        "unknown_above",
        "unknown_above_at",
        "convex_rolls",
        "terrain_traps",
        "expected_readings",
        "steep_without_check",
        "reading_left_out",
        "run_out",
        "drop",
        "forecast",
        "cross_check",
    }
    assert set(found["within"]) == {
        "radius_m",
        "slope_min_deg",
        "slope_median_deg",
        "slope_max_deg",
        "slope_high_max_deg",
        "unknown_share",
    }
    assert found["place"] == {"lat_deg": 59.2244, "lon_deg": -8.0237, "written": HERE, "name": ""}
    within = found["within"]
    assert within["slope_min_deg"] <= within["slope_median_deg"] <= within["slope_max_deg"]
    assert found["slope_deg"] * 10.0 != round(found["slope_deg"] * 10.0)


def test_a_place_may_begin_with_a_minus(run: Run) -> None:
    status, out, err = run("ground", "-33.45", "-70.66", "--sample")
    assert (status, out) == (2, "")
    assert err.startswith(
        "steybrae: The place should lie on the elevation model; -33.45000, -70.66000 does not. "
        "The model covers latitude 59.1916 to 59.2615, longitude -8.1445 to -7.9766. "
        "Give another place, or a model that reaches there."
    )


def test_position_errors_are_widened_and_what_was_assumed_is_said(run: Run) -> None:
    _, out, _ = run("ground", HERE, "--sample", "--epe", "6m")
    assert (
        "Position error: 6m at 50 % (assumed: many receivers mean half of their fixes), widened to 95 % by "
        "the circular normal law." in " ".join(out.split())
    )
    assumed = answer(run, HERE, "--sample", "--epe", "6m")
    stated = answer(run, HERE, "--sample", "--epe", "6m", "--epe-confidence", "68%")
    assert assumed["within"]["radius_m"] == pytest.approx(
        6.0 * math.sqrt(math.log(20.0) / math.log(2.0)), rel=1e-12
    )
    assert stated["within"]["radius_m"] == pytest.approx(
        6.0 * math.sqrt(math.log(20.0) / -math.log(0.32)), rel=1e-12
    )


def test_unknown_ground_is_at_least(run: Run, sample_dem: Path) -> None:
    # In the patch of the sample that has no heights.
    import rasterio
    from pyproj import Transformer

    with rasterio.open(sample_dem / "stey_massif.tif") as source:
        heights = source.read(1, masked=True)
        rows, cols = heights.mask.nonzero()
        x, y = source.xy(int(rows[len(rows) // 2]), int(cols[len(cols) // 2]))
        lat, lon = Transformer.from_crs(source.crs, "EPSG:4326").transform(x, y)
    found = answer(run, f"{lat:.6f}", f"{lon:.6f}", "--sample")
    assert (found["slope_deg"], found["band"], found["bands_possible"]) == (None, None, [])
    assert (found["open_above"], found["within"]["unknown_share"]) == (True, 1.0)
    _, out, _ = run("ground", f"{lat:.6f}", f"{lon:.6f}", "--sample")
    assert "Slope unknown\n" in out
    assert "Possible bands unknown\n" in out
    assert out.startswith("The model has no height here: nothing is known of this ground.\n")
    # A place has no line.
    assert "Some ground within the distance looked at is unknown" in " ".join(out.split())
    assert "the line" not in out


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (
            (HERE, "--sample", "--within", "10m", "--epe", "3m"),
            "The position error is given by --within or by --epe; both were used. Leave one out.",
        ),
        (
            (HERE, "--sample", "--epe-confidence", "68"),
            "--epe-confidence belongs to --epe, which is missing. Give the error the receiver shows.",
        ),
        (
            (HERE,),
            "An elevation model is needed; none was given. Give --dem FILE, or --sample to try it.",
        ),
        (
            (HERE, "--sample", "--steep"),
            "Every option should be one of this command's; it has no --steep. See its --help.",
        ),
    ],
)
def test_what_cannot_be_combined_is_one_sentence(run: Run, arguments: tuple[str, ...], message: str) -> None:
    assert run("ground", *arguments) == (2, "", f"steybrae: {message}\n")
