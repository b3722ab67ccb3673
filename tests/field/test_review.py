"""Statistics of a log against scipy, a published case, and small logs."""

import math
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from steybrae.errors import LogError
from steybrae.field.log import LogRow
from steybrae.field.review import Agreement, merged_rows, readings_needed, review, student_t

NOON = datetime(2026, 2, 14, 12, 0, tzinfo=UTC)

# Peak flow by two meters, first of each pair of measurements, litres a minute (Bland and
# Altman 1986, table 1; typed from memory, and its mean and SD agree with the printed ones).
LARGE = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
MINI = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]


def row(
    reading_deg: float,
    reference_deg: float | None,
    observer: str = "Ana",
    instrument: str = "clino",
) -> LogRow:
    return LogRow(
        NOON, observer, instrument, (reading_deg,), reading_deg, 4.0,
        reference_source="model", reference_slope_deg=reference_deg,
    )  # fmt: skip


def instrument_of(rows: list[LogRow]) -> Agreement:
    return review(rows).agreements[0]


@pytest.mark.parametrize(
    "freedom", [1, 2, 3, 4, 5, 6, 9, 10, 16, 29, 30, 99, 100, 999, 1000, 1001, 5000, 10**6]
)
def test_student_t_agrees_with_scipy(freedom: int) -> None:
    assert student_t(freedom) == pytest.approx(stats.t.ppf(0.975, freedom), rel=1e-6)


@given(st.integers(1, 3000))
def test_student_t_inverts_its_distribution(freedom: int) -> None:
    central = 1.0 - 2.0 * stats.t.sf(student_t(freedom), freedom)
    assert central == pytest.approx(0.95, abs=1e-7)


def test_published_case_of_two_meters() -> None:
    # The paper prints: mean difference -2.1, SD 38.8, limits -79.7 and 75.5, interval of the
    # bias -22.0 to 17.8, of the lower limit -114.3 to -45.1, of the upper 40.9 to 110.1.
    # Divided by 10 to be slopes; tolerance is the printed digits'.
    rows = [row(a / 10.0, b / 10.0) for a, b in zip(LARGE, MINI, strict=True)]
    found = instrument_of(rows)
    assert found.count == 17
    assert found.bias_deg == pytest.approx(-0.21, abs=0.005)
    assert found.spread_deg == pytest.approx(3.88, abs=0.005)
    assert found.bias_deg - 2.0 * found.spread_deg == pytest.approx(-7.97, abs=0.01)
    # Ours are wider by t(16) sqrt(1 + 1/17) / 2: those of the paper take bias and spread for known.
    wider = stats.t.ppf(0.975, 16) * math.sqrt(1.0 + 1.0 / 17.0)
    assert found.limit_low_deg == pytest.approx(-0.2118 - wider * 3.8765, abs=0.001)
    assert found.limit_high_deg == pytest.approx(-0.2118 + wider * 3.8765, abs=0.001)
    assert found.bias_low_deg == pytest.approx(-2.20, abs=0.015)
    assert found.bias_high_deg == pytest.approx(1.78, abs=0.015)
    assert found.limit_half_width_deg == pytest.approx((114.3 - 45.1) / 20.0, abs=0.02)


def test_statistics_agree_with_scipy() -> None:
    random = np.random.default_rng(3)
    reference = random.uniform(20.0, 45.0, 25)
    reading = reference + random.normal(1.0, 2.0, 25)
    rows = [row(a, b) for a, b in zip(reading.tolist(), reference.tolist(), strict=True)]
    found = instrument_of(rows)
    interval = stats.ttest_rel(reading, reference).confidence_interval(0.95)
    assert found.bias_deg == pytest.approx(float(np.mean(reading - reference)), abs=1e-12)
    assert found.bias_low_deg == pytest.approx(interval.low, abs=1e-9)
    assert found.bias_high_deg == pytest.approx(interval.high, abs=1e-9)
    spread_deg = float(np.std(reading - reference, ddof=1))
    assert found.spread_deg == pytest.approx(spread_deg, abs=1e-12)
    assert found.bias_deg is not None
    wide = stats.t.ppf(0.975, 24) * spread_deg * math.sqrt(1.0 + 1.0 / 25.0)
    assert found.limit_high_deg == pytest.approx(found.bias_deg + wide, abs=1e-7)
    assert found.means_deg == pytest.approx(((reading + reference) / 2.0).tolist(), abs=1e-12)


def test_limits_hold_and_their_intervals_too() -> None:
    """Limits of 20 rows: each interval should hold the true limit in about 95 % of logs."""
    random = np.random.default_rng(4)
    differences = random.normal(1.0, 2.0, (20_000, 20))
    bias = differences.mean(axis=1)
    spread = differences.std(axis=1, ddof=1)
    half = student_t(19) * np.sqrt(3.0 / 20.0) * spread
    held = np.abs(bias + 2.0 * spread - (1.0 + 2.0 * 2.0)) <= half
    assert 0.93 <= float(held.mean()) <= 0.97


@pytest.mark.parametrize("count", [2, 3, 8, 30])
def test_one_more_difference_lies_within_the_limits_in_95_of_100_logs(count: int) -> None:
    random = np.random.default_rng(5)
    differences = random.normal(1.0, 2.0, (40_000, count + 1))
    known, further = differences[:, :-1], differences[:, -1]
    reach = student_t(count - 1) * known.std(axis=1, ddof=1) * math.sqrt(1.0 + 1.0 / count)
    held = np.abs(further - known.mean(axis=1)) <= reach
    assert float(held.mean()) == pytest.approx(0.95, abs=0.005)
    first = instrument_of([row(30.0 + d, 30.0) for d in known[0].tolist()])
    assert first.bias_deg is not None
    assert first.limit_high_deg == pytest.approx(first.bias_deg + reach[0], abs=1e-6)


def test_rows_copied_from_log_to_log_count_once_and_those_read_twice_count_twice() -> None:
    ana, bo = row(30.0, 28.0, "Ana"), row(31.0, 28.0, "Bo")
    assert merged_rows([[ana, ana], [bo, ana], [bo]]) == ([ana, ana, bo], 2)
    assert merged_rows([[ana], [bo]]) == ([ana, bo], 0)
    assert merged_rows([]) == ([], 0)


def test_places_are_in_the_order_of_their_checks_and_know_their_references() -> None:
    rows = [
        replace(row(30.0 + k, 28.0 + k % 2, "Bo" if k % 2 else "Ana"), check=name, plan="day.zip")
        for k, name in enumerate(["10a", "9b", "9a", "9a"])
    ]
    found = review([*rows, replace(row(20.0, None), lat_deg=59.2131, lon_deg=-8.0366)])
    assert [place.name for place in found.places] == [
        "59.2131, -8.0366",
        "check 9a of day.zip",
        "check 9b of day.zip",
        "check 10a of day.zip",
    ]
    twice = found.places[1]
    assert (twice.reference_low_deg, twice.reference_high_deg) == (28.0, 29.0)
    assert [one.observer for one in twice.readings] == ["Ana", "Bo"]
    assert found.places[0].reference_high_deg is None
    assert [one.observer for one in review(rows, names=False).places[0].readings] == ["person 1", "person 2"]


def test_no_rows() -> None:
    nothing = review([])
    assert (nothing.rows, nothing.agreements) == (0, ())
    assert [caution.key for caution in nothing.cautions][:2] == ["forecast", "angle_alone"]


def test_rows_without_reference_say_nothing() -> None:
    found = instrument_of([row(30.0, None), row(31.0, None)])
    assert (found.count, found.without_reference, found.bias_deg) == (0, 2, None)
    assert found.sentence == (
        "instrument clino and observer Ana: no reading with a reference yet, so nothing can be said."
    )


def test_one_row_has_a_difference_but_no_spread() -> None:
    found = instrument_of([row(30.0, 28.0)])
    assert (found.bias_deg, found.spread_deg, found.limit_low_deg) == (2.0, None, None)
    assert found.needed_for_bias is None
    assert found.sentence == (
        "instrument clino and observer Ana: one reading reads 2.0° steeper than the references; one "
        "difference shows neither bias nor spread."
    )


def test_two_rows_are_hardly_known() -> None:
    # By hand: differences 1 and 3: bias 2, SD sqrt 2, interval 2 +- 12.7062 x 1.
    found = instrument_of([row(31.0, 30.0), row(33.0, 30.0)])
    assert found.bias_deg == pytest.approx(2.0, abs=1e-12)
    assert found.spread_deg == pytest.approx(math.sqrt(2.0), abs=1e-12)
    assert found.bias_low_deg == pytest.approx(2.0 - 12.706205, abs=1e-6)
    assert found.limit_half_width_deg == pytest.approx(12.706205 * math.sqrt(3.0), abs=1e-5)
    assert "which chance alone could do" in found.sentence


def test_identical_rows_are_suspected() -> None:
    found = instrument_of([row(31.0, 30.0)] * 5)
    assert found.spread_deg == 0.0
    assert found.limit_low_deg == found.limit_high_deg == 1.0
    assert found.needed_for_bias == 2
    assert found.sentence == (
        "instrument clino and observer Ana: on average of 5 reads 1.0° steeper than the references, all "
        "alike; so even a spread is more likely copied or rounded than real."
    )


def test_a_clear_bias_is_said_to_be_one() -> None:
    rows = [row(30.0 - 3.0 + shift, 30.0) for shift in (-1.0, -0.5, 0.0, 0.5, 1.0)]
    assert instrument_of(rows).sentence == (
        "instrument clino and observer Ana: on average of 5 reads 3.0° gentler than the references, more "
        "than chance explains; 95 % of further readings fall within about -5.5° to -0.5° of them, and 5 "
        "readings in all would give the average to 1°."
    )


def test_groups_are_instruments_then_observers() -> None:
    rows = [
        row(30.0, 29.0, "Ana", "old"),
        row(31.0, 29.0, "Bero", "new"),
        row(32.0, 29.0, "Ana", "new"),
        row(33.0, 29.0, " ", "new"),
    ]
    named = [(one.kind, one.name, one.count) for one in review(rows).agreements]
    assert named == [
        ("instrument", "new", 3),
        ("instrument", "old", 1),
        ("observer", "Ana", 2),
        ("observer", "Bero", 1),
        ("observer", "not named", 1),
    ]


def test_a_numbered_class_is_in_the_order_of_its_numbers() -> None:
    """Of ``--no-names`` and of clino 1 to 12 the tenth stood before the second."""
    rows = [row(30.0, 29.0, f"person {k}", f"clino {13 - k}") for k in (1, 10, 2)]
    rows += [row(31.0, 29.0, f"person {k}", f"clino {k}") for k in (1, 10, 2)]
    named = [one.name for one in review(rows).agreements]
    assert named == [f"clino {k}" for k in (1, 2, 3, 10, 11, 12)] + [f"person {k}" for k in (1, 2, 10)]
    assert [one.observer for one in review(rows).places[0].readings][::2] == [
        "person 1",
        "person 2",
        "person 10",
    ]


def test_one_bias_counts_once() -> None:
    rows = [
        row(30.0, 29.0, "Ana", "old"),
        row(31.0, 29.0, "Ana", "old"),
        row(33.0, 29.0, "Bero", "new"),
        row(33.0, 29.0, "Cato", "new"),
    ]
    found = [(" and ".join(one.who), one.count) for one in review(rows).agreements]
    assert found == [
        ("instrument new", 2),
        ("instrument old and observer Ana", 2),
        ("observer Bero", 1),
        ("observer Cato", 1),
    ]


@given(st.floats(0.0, 50.0), st.booleans())
def test_needed_is_the_smallest_that_is_enough(spread: float, limit: bool) -> None:
    count = readings_needed(spread, of_limit=limit)
    factor = math.sqrt(3.0) if limit else 1.0

    def width(rows: int) -> float:
        return float(stats.t.ppf(0.975, rows - 1)) * factor * spread / math.sqrt(rows)

    assert width(count) <= 1.0 + 1e-6
    assert count == 2 or width(count - 1) > 1.0 - 1e-6


@pytest.mark.parametrize(
    ("rows", "most", "found"),
    [
        ([row(30.0, 31.0)] * 20_001, "20000 rows", 20_001),
        ([row(30.0, 31.0, observer=f"Ana {number}") for number in range(1001)], "1000 observers", 1001),
        ([row(30.0, 31.0, instrument=f"clino {number}") for number in range(1001)], "1000 instruments", 1001),
        ([replace(row(30.0, 31.0), check=f"{number}a") for number in range(1001)], "1000 places", 1001),
    ],
    ids=["rows", "observers", "instruments", "places"],
)
def test_logs_too_long_or_too_mixed_are_refused(rows: list[LogRow], most: str, found: int) -> None:
    with pytest.raises(LogError) as caught:
        review(rows)
    assert str(caught.value) == (
        f"Logs to look at should have at most {most}; these have {found}. Take those of one class or one "
        "season."
    )
