"""Practice sheets: every answer within its own tolerance of the ground, everything readable, apart."""

from __future__ import annotations

import itertools
import math
import re
from collections import Counter
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from tests.conftest import SamplePlan
from tests.synthetic import Cone, GaussianHill, Plane, sample_surface

from steybrae.bands import BandScheme
from steybrae.errors import ModelError, QuantityError
from steybrae.field.log import LogRow
from steybrae.files.model.rasters import open_model
from steybrae.files.routes import read_route
from steybrae.paper.measurement import RULER_ERROR_MM
from steybrae.screening import Settings, screen_route
from steybrae.sheets.practice import marking_line
from steybrae.teach.answers import MOST_BANDS, THINNED_ASIDE_MM, Measured, Question, fair_range_deg, measured
from steybrae.teach.map_ground import MapGround, MapLook, contours, map_ground
from steybrae.teach.own_questions import (
    log_middle,
    log_questions,
    plan_ground,
    plan_middle,
    plan_questions,
)
from steybrae.teach.practice import (
    LEVELS,
    PracticeSheet,
    footprint_mm,
    practice_sheet,
)
from steybrae.teach.questions import band_asked
from steybrae.teach.slope_scale import LEAST_GAP_MM
from steybrae.teach.stretches import profiles, stretch_from
from steybrae.terrain.dem import Dem, Grid
from steybrae.terrain.gradients import heights_at
from steybrae.value import slope

LOOKS = (
    MapLook(25_000.0, 10.0),
    MapLook(25_000.0, 5.0),
    MapLook(50_000.0, 20.0),
    MapLook(20_000.0, 12.192, 4, 0.3048, "ft"),
)


@cache
def massif() -> Dem:
    with open_model([Path(__file__).parents[2] / "sample_dem" / "stey_massif.tif"], None) as model:
        return model.read(0, 0, *model.grid.shape)


def sheet(seed: int, level: str = "practice", look: MapLook = LOOKS[0], questions: int = 8) -> PracticeSheet:
    return practice_sheet(massif(), look, seed=seed, level=level, questions=questions, sample=True)


@cache
def asked(
    seed: int, level: str = "practice", look: MapLook = LOOKS[0], questions: int = 8
) -> tuple[Question, ...]:
    """What a sheet asks, found once for all tests that want no more of it."""
    return sheet(seed, level, look, questions).questions


def ground_slopes_deg(ground: MapGround, question: Question) -> list[float]:
    """Slope under each part of a stretch: rise over run of the heights, and mean of the gradients."""
    stretch = question.stretch
    assert stretch is not None
    middle = stretch.crossings_mm[stretch.gaps // 2]
    spans = {
        "whole": (0.0, stretch.length_mm),
        "lower half": (0.0, middle),
        "upper half": (middle, stretch.length_mm),
    }
    out = []
    for part in question.parts:
        start, end = spans[part.what]
        along = np.linspace(start, end, 41)
        x, y = stretch.x_mm + stretch.east * along, stretch.y_mm + stretch.north * along
        z = heights_at(ground.field.dem.heights_m, *ground.cells(x, y))
        out.append(math.degrees(math.atan((z[-1] - z[0]) * 1000.0 / ((end - start) * ground.scale))))
        at = ground.at(x, y)
        size = np.hypot(at.p, at.q)
        out.append(math.degrees(math.atan(float((size[1:] + size[:-1]).mean() / 2.0))))
    return out


@pytest.mark.parametrize("batch", range(8))
def test_96_sheets_every_answer_is_within_its_own_tolerance_of_the_ground(batch: int) -> None:
    """Each level on each map eight times: some 700 answers."""
    for seed in range(12 * batch, 12 * batch + 12):
        level = list(LEVELS)[seed % 3]
        one = sheet(seed, level, LOOKS[seed % len(LOOKS)])
        assert len(one.questions) >= 6, one.notes
        _check_answers(one, LEVELS[level].steepest_deg)
        _check_readable(one)
        _check_apart(one)


def _check_answers(one: PracticeSheet, steepest_deg: float) -> None:
    for question in one.questions:
        for part in question.parts:
            assert part.low_deg < part.slope_gap_deg < part.high_deg
            assert part.low_deg <= part.slope_model_deg <= part.high_deg
            assert part.slope_gap_deg <= steepest_deg
            if question.kind != "single":  # which asks how much one gap leaves open, and for no band
                _check_band(part)
        if question.stretch is not None:
            exact = ground_slopes_deg(one.ground, question)
            for part, slope_deg in zip(np.repeat(np.array(question.parts), 2), exact, strict=True):
                assert part.low_deg <= slope_deg <= part.high_deg
        if question.leg is not None and question.leg_line is not None:
            (x0, y0), (x1, y1) = question.leg_line.start_mm, question.leg_line.end_mm
            z = heights_at(
                one.ground.field.dem.heights_m, *one.ground.cells(np.array([x0, x1]), np.array([y0, y1]))
            )
            # From contour to contour, a whole number of gaps: no hair of a drawn line makes it a metre more.
            steps = round((z[1] - z[0]) / one.look.interval_m)
            assert z[1] - z[0] == pytest.approx(steps * one.look.interval_m, abs=0.05 * one.look.interval_m)
            assert question.leg.height_change_m == steps * one.look.interval_m
            assert question.leg.steepest is not None
            assert question.leg.track_grade_deg < question.leg.steepest.slope_model_deg
            _check_band(question.leg.steepest)
            assert question.leg.steepest.gaps in (3, 4, 5, 10)


def _check_band(part: Measured) -> None:
    assert 1 <= len(part.bands) <= MOST_BANDS
    assert BandScheme().band(part.slope_gap_deg) in part.bands
    assert BandScheme().band(part.slope_model_deg) in part.bands


def _check_readable(one: PracticeSheet) -> None:
    for question in one.questions:
        if question.stretch is not None and question.kind != "thinned":
            assert question.stretch.gaps_mm.min() >= LEAST_GAP_MM
        if question.kind == "thinned":
            assert question.dropped
            assert question.stretch is not None
            assert question.stretch.first_number % one.look.index_every == 0


def _check_apart(one: PracticeSheet) -> None:
    places = [footprint_mm(q.stretch or q.leg_line) for q in one.questions]  # type: ignore[arg-type]
    for first, second in itertools.combinations(places, 2):
        away = np.hypot(*(first[:, None, :] - second[None, :, :]).transpose(2, 0, 1))
        assert away.min() >= 6.9
    for points in places:
        assert all(one.ground.inside(float(x), float(y), 2.0) for x, y in points)


@pytest.mark.parametrize("seed", [7, 8])
def test_what_is_measured_is_what_is_drawn(seed: int) -> None:
    """Each crossing of a stretch lies on the drawn contour of its level."""
    one = sheet(seed, "practice")
    lines = {round(contour.level_m / 10.0): contour.lines for contour in contours(one.ground, one.look)}
    for question in one.questions:
        stretch = question.stretch
        for k, along in enumerate(stretch.crossings_mm if stretch else ()):
            assert stretch is not None
            at = np.array(stretch.at(along))
            assert _distance_mm(at, lines[stretch.first_number + k]) < 0.03


def _distance_mm(at: np.ndarray, lines: tuple[np.ndarray, ...]) -> float:
    least = math.inf
    for line in lines:
        start, step = line[:-1], np.diff(line, axis=0)
        share = np.clip(
            ((at - start) * step).sum(axis=1) / np.maximum((step**2).sum(axis=1), 1e-18), 0.0, 1.0
        )
        least = min(least, float(np.hypot(*(start + step * share[:, None] - at).T).min()))
    return least


@pytest.mark.parametrize("aspect_deg", [0.0, 37.0, 200.0])
@pytest.mark.parametrize("slope_deg", [12.0, 30.0, 41.0])
def test_contours_of_a_plane_are_as_far_apart_as_they_must_be(slope_deg: float, aspect_deg: float) -> None:
    ground = map_ground(
        sample_surface(Plane(slope_deg, aspect_deg), (400, 400), 10.0), 25_000.0, (120.0, 120.0)
    )
    look = MapLook(25_000.0, 10.0)
    facing = math.radians(aspect_deg)
    down = np.array([math.sin(facing), math.cos(facing)])
    offsets = [float((contour.lines[0] @ down).mean()) for contour in contours(ground, look)]
    spread = [float(np.ptp(contour.lines[0] @ down)) for contour in contours(ground, look)]
    gap_mm = 10.0 / 25.0 / math.tan(math.radians(slope_deg))
    # The grid is UTM at its central meridian: 0.9996; ground lengths differ by 0.04 %.
    assert -np.diff(offsets) == pytest.approx([gap_mm / 0.9996] * (len(offsets) - 1), rel=2e-4)
    assert max(spread) < 0.005


def test_stretches_on_a_cone_know_its_slope_and_its_aspect() -> None:
    ground = map_ground(sample_surface(Cone(35.0), (400, 400), 10.0), 25_000.0, (120.0, 120.0))
    look = MapLook(25_000.0, 10.0)
    rng = np.random.default_rng(3)
    lines = profiles(ground, look, (rng.uniform(15.0, 45.0, 40), rng.uniform(15.0, 105.0, 40)))
    found = [stretch for line in lines if (stretch := stretch_from(ground, line, 0, 5)) is not None]
    assert len(found) > 20
    for stretch in found:
        assert stretch.slope_model_deg == pytest.approx(35.0, abs=0.05)
        drawn_deg = math.degrees(math.atan(50.0 * 1000.0 / (stretch.length_mm * look.scale)))
        assert drawn_deg == pytest.approx(35.0, abs=0.05)
        part = measured("whole", stretch.length_mm, 5, stretch.slope_model_deg, look)
        # The length is cut to hundredths, as it is printed: 0.01 of 2.86 mm.
        assert drawn_deg <= part.slope_gap_deg < drawn_deg + 0.1
        x, y = stretch.at(stretch.length_mm / 2.0)
        facing = math.degrees(math.atan2(x - 60.0, y - 60.0)) % 360.0
        assert (stretch.aspect_true_deg - facing + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=0.6)


def test_a_round_hill_gives_convex_and_concave_slopes() -> None:
    dem = sample_surface(GaussianHill(592.0, 500.0), (300, 300), 10.0)
    one = practice_sheet(dem, LOOKS[0], seed=4, questions=9, level="practice")
    kinds = {question.kind for question in one.questions}
    assert {"convex", "concave"} <= kinds
    for question in one.questions:
        if question.kind in ("convex", "concave"):
            lower, upper, whole = question.parts
            assert (lower.slope_gap_deg > upper.slope_gap_deg) == (question.kind == "convex")
            ends = sorted((lower.slope_gap_deg, upper.slope_gap_deg))
            assert ends[0] < whole.slope_gap_deg < ends[1]


def test_thin_lines_are_left_out_at_the_trap_and_nowhere_else() -> None:
    one = sheet(7, "practice")
    (trap,) = (question for question in one.questions if question.kind == "thinned")
    stretch = trap.stretch
    assert stretch is not None
    whole = {round(contour.level_m / 10.0): contour for contour in contours(one.ground, one.look)}
    for contour in one.lines:
        number = round(contour.level_m / 10.0)
        if number in trap.dropped:
            assert not contour.thick
            at = np.array(stretch.at(stretch.crossings_mm[number - stretch.first_number]))
            assert _distance_mm(at, contour.lines) >= THINNED_ASIDE_MM - stretch.length_mm / 2.0 - 1e-9
        else:
            assert sum(map(len, contour.lines)) == sum(map(len, whole[number].lines))
    gaps = trap.parts[0].gaps
    assert gaps % 5 == 0
    assert trap.remarks[0].startswith(f"Only {gaps - len(trap.dropped)} of {gaps} gaps are drawn")


def test_numbers_on_contours_stand_with_their_tops_uphill() -> None:
    one = sheet(2, "first")
    assert len(one.furniture.labels) > 8
    for label in one.furniture.labels:
        at = one.ground.at(label.x_mm, label.y_mm)
        turn = math.radians(label.turn_deg)
        up = (-math.sin(turn), math.cos(turn))
        steepness = math.hypot(at.p[0], at.q[0])
        assert (at.p[0] * up[0] + at.q[0] * up[1]) / steepness == pytest.approx(1.0, abs=1e-9)
        assert float(label.text) % 50.0 == 0.0


def test_aspects_lie_within_one_sector() -> None:
    for seed in range(6):
        for question in asked(seed, "first"):
            if question.aspect is not None:
                sectors = {
                    math.floor((question.aspect.aspect_true_deg + d + 22.5) / 45.0) % 8
                    for d in (-question.aspect.tolerance_deg, question.aspect.tolerance_deg)
                }
                assert len(sectors) == 1


def test_same_seed_same_questions_another_seed_others() -> None:
    first, again, other = sheet(11), sheet(11), sheet(12)
    assert first.questions == again.questions
    assert first.furniture == again.furniture
    assert first.questions != other.questions
    assert [question.letter for question in first.questions] == list("ABCDEFGH")


@pytest.mark.parametrize("level", LEVELS)
def test_questions_spread_over_the_bands(level: str) -> None:
    """No band is the answer to half the questions of a level."""
    bands = Counter(band_asked(q) for seed in range(5) for q in asked(seed, level))
    assert len(bands) >= 3
    assert max(bands.values()) <= 0.5 * sum(bands.values())


def test_levels_differ() -> None:
    told = " ".join(question.ask for question in asked(4, "practice"))
    untold = " ".join(question.ask for question in asked(4, "assessment"))
    assert "left out here" in told
    assert "left out" not in untold
    assert "thinned" in {question.kind for question in asked(4, "assessment")}


def test_the_fair_range_is_what_half_a_millimetre_does() -> None:
    # Five gaps of 10 m at 30 degrees on 1:25 000, 3.464 mm: 2 mm up in 2.964 and in 3.964 mm.
    low, high = fair_range_deg(2.0 * math.sqrt(3.0), 50.0, 25_000.0)
    assert (low, high) == pytest.approx((26.7722, 34.0091), abs=1e-3)
    assert fair_range_deg(RULER_ERROR_MM, 10.0, 25_000.0)[1] == 90.0
    part = measured("whole", 12.5, 5, 9.0, LOOKS[0])
    assert part.worked == "12.50 mm over 5 gaps: 50 m up in 312.5 m; atan(50 / 312.5) = 9.1°"
    feet = measured("whole", 4.0, 4, 31.0, LOOKS[3])
    assert feet.worked == "4.00 mm over 4 gaps: 160 ft up in 262.46 ft; atan(160 / 262.46) = 31.4°"


@pytest.mark.parametrize("look", LOOKS)
def test_what_the_key_prints_gives_what_it_prints_when_typed_in(look: MapLook) -> None:
    """Each figure from those before it: lengths cut, slopes up to the tenth; in the unit of the map."""
    ways = [way for seed in range(3) for q in asked(seed, look=look, questions=12) for way in _ways(q)]
    assert len(ways) > 20
    for way in ways:
        found = re.search(r"([\d.]+) mm.*?([\d.]+) (m|ft)\b.*atan\(([\d.]+) / ([\d.]+)\) = ([\d.]+)°", way)
        assert found is not None, way
        length, unit, up, run, slope_deg = float(found[1]), found[3], *map(float, found.groups()[3:])
        assert unit == look.unit
        exact = length * look.scale / 1000.0 / look.unit_m
        assert run == pytest.approx(math.floor(100.0 * exact + 1e-6) / 100.0, abs=1e-9)
        steps = up * look.unit_m / look.interval_m
        assert steps == pytest.approx(round(steps), abs=1e-9)
        typed_deg = math.degrees(math.atan(up / run))
        assert slope_deg == pytest.approx(math.ceil(10.0 * typed_deg - 1e-6) / 10.0, abs=1e-9)


def _ways(question: Question) -> list[str]:
    leg = question.leg
    steepest = [] if leg is None or leg.steepest is None else [leg.steepest]
    return [*(part.worked for part in (*question.parts, *steepest)), *([leg.worked] if leg else [])]


@pytest.mark.parametrize("look", LOOKS)
def test_lines_counted_as_gaps_are_told_from_what_is_right(look: MapLook) -> None:
    """Out of the range, or named beside it; never within where the question is about that slip."""
    within = told = 0
    for seed in range(4):
        for question in asked(seed, look=look, questions=12):
            names = {blank.name for blank in question.blanks}
            line = marking_line(question)
            for part in question.parts:
                if part.gaps == 1:
                    continue
                rise_m = (part.gaps + 1) * look.interval_m
                wrong = math.degrees(math.atan(rise_m * 1000.0 / (part.across_mm * look.scale)))
                told += 1
                if round(wrong, 1) > math.ceil(10.0 * part.high_deg - 1e-6) / 10.0:
                    assert "wrong, though" not in line or len(question.parts) > 1
                    continue
                within += 1
                assert question.kind != "lines"
                said = f"{part.gaps + 1} lines counted as gaps give {slope(wrong).text}: wrong, though within"
                assert said in line
                # The count is asked for beside it, or given in the question.
                assert names & {"gaps", f"height {look.unit}"} or f"{part.gaps} gaps" in question.ask
    # A ruler cannot tell where a gap is hardly wider than its error: 5 m at 1:25 000 is 0.5 mm at 22 degrees.
    assert within <= (0.7 if look.interval_m == 5.0 else 0.3) * told


@pytest.mark.parametrize("level", LEVELS)
def test_the_key_has_the_lines_of_the_pupils_sheet_one_to_one(level: str) -> None:
    for question in sheet(3, level, LOOKS[3]).questions:
        said = marking_line(question).split("; ")
        for blank, text in zip(question.blanks, said, strict=False):
            assert text == f"{blank.name}: {blank.accept}"
        assert not any(" m" in blank.name.replace(" mm", "") for blank in question.blanks)  # a map in feet


@pytest.mark.parametrize("look", LOOKS)
def test_lengths_and_heights_that_a_leg_takes_give_slopes_that_it_takes(look: MapLook) -> None:
    legs = [question for seed in range(4) for question in asked(seed, look=look) if question.kind == "leg"]
    assert legs
    for question in legs:
        taken = {
            blank.name.split()[0]: [float(end) for end in re.findall(r"\d+(?:\.\d)?", blank.accept)]
            for blank in question.blanks
        }
        low, high = taken["along"]
        for length, height in itertools.product(taken["length"], taken["height"]):
            assert low <= math.degrees(math.atan(height / length)) <= high, question.blanks


def test_own_legs_and_readings_are_asked_about(sample_dem: Path) -> None:
    plan = screen_route(read_route(sample_dem / "day.gpx"), massif(), Settings())
    middle = plan_middle(massif().grid, plan)
    leg = max(plan.legs, key=lambda one: one.slope_max_deg or 0.0)
    half = len(leg.points.lat_deg) // 2
    row = LogRow(
        datetime(2026, 2, 14, 10, 30, tzinfo=UTC), "R. Fennar", "clinometer", (34.0,), 34.0, 4.0,
        lat_deg=float(leg.points.lat_deg[half]) + 0.004, lon_deg=float(leg.points.lon_deg[half]),
    )  # fmt: skip

    def own(ground: MapGround) -> list[Question]:
        return [
            *plan_questions(ground, LOOKS[0], plan, told=True),
            *log_questions(ground, LOOKS[0], [row]),
        ]

    one = practice_sheet(massif(), LOOKS[0], seed=1, middle=middle, own=own)
    legs = [question for question in one.questions if question.leg is not None and question.leg.name]
    assert legs
    numbers = {found.number: found for found in plan.legs}
    for question in legs:
        assert question.leg is not None
        theirs = numbers[int(re.search(r"leg (\d+)", question.leg.name)[1])]  # type: ignore[index]
        assert question.leg.length_m == pytest.approx(theirs.length_m, abs=question.leg.length_tolerance_m)
        assert "The plan says" in question.remarks[-1]
        steepest = question.leg.steepest
        if steepest is None:
            assert "steepest" not in question.ask
            assert question.remarks[-1].endswith("it is not asked, and the plan leads.")
        else:
            assert theirs.slope_max_deg is not None
            assert steepest.low_deg <= theirs.slope_max_deg <= steepest.high_deg
    (reading,) = (question for question in one.questions if question.kind == "reading")
    assert reading.ask == (
        "Your own reading of 14 February 2026, over some 20 m of ground: 34.0° ± 4.0°. What does the map say "
        f"here, over the {reading.parts[0].across_mm * 25.0:.0f} m between the ticks, and do the two agree?"
    )
    assert "between the ticks" in reading.ask
    assert "as one was read, may be steeper or gentler, and neither figure wrong." in reading.remarks[0]
    (in_feet,) = log_questions(one.ground, LOOKS[3], [row])
    assert "over some 66 ft of ground" in in_feet.ask
    assert reading.remarks[0].endswith("Where they differ, the steeper leads.")
    assert log_middle(massif().grid, [row]) is not None


@pytest.mark.parametrize("look", LOOKS[:3])
def test_a_key_and_its_plan_never_disagree(sample_plan: SamplePlan, look: MapLook) -> None:
    """On the plan's own ground, round every leg: what the key takes holds what the plan says of the line."""
    plan = sample_plan.screening
    ground_of = plan_ground(plan)
    asked = 0
    for leg in plan.legs:
        half = len(leg.points.lat_deg) // 2
        col, row = ground_of.grid.from_wgs84(float(leg.points.lon_deg[half]), float(leg.points.lat_deg[half]))
        ground = map_ground(ground_of, look.scale, (120.0, 120.0), (float(col), float(row)))
        for question in plan_questions(ground, look, plan, told=True):
            assert question.leg is not None
            number = int(re.search(r"leg (\d+)", question.leg.name)[1])  # type: ignore[index]
            steepest, theirs = question.leg.steepest, plan.legs[number - 1]
            if steepest is not None and theirs.slope_max_deg is not None:
                asked += 1
                assert steepest.low_deg <= theirs.slope_max_deg <= steepest.high_deg
                assert BandScheme().band(theirs.slope_max_deg) in steepest.bands
    assert asked


def test_feet_and_fine_models() -> None:
    one = practice_sheet(massif(), LOOKS[3], seed=3, questions=4)
    # 12.192 m are 40 ft; every 4th line is thick: 160 ft.
    assert all(float(label.text) % 160.0 == 0.0 for label in one.furniture.labels)
    fine = map_ground(sample_surface(Plane(30.0, 90.0), (900, 900), 2.0), 25_000.0, (65.0, 65.0))
    assert fine.averaged == 2
    assert fine.cell_m == pytest.approx(4.0, rel=1e-3)
    gaps = np.diff([float(contour.lines[0][:, 0].mean()) for contour in contours(fine, LOOKS[0])])
    assert np.abs(gaps) == pytest.approx([0.4 * math.sqrt(3.0) / 0.9996] * len(gaps), rel=1e-3)


def test_unknown_ground_is_a_patch_and_never_asked_about() -> None:
    one = practice_sheet(massif(), LOOKS[0], seed=1, middle=(692.0, 400.0))
    assert one.ground.unknown
    for question in one.questions:
        thing = question.stretch or question.leg_line
        assert thing is not None
        points = footprint_mm(thing)[5:-3]
        assert np.isfinite(one.ground.at(points[:, 0], points[:, 1]).elevation_m).all()


@pytest.mark.parametrize(
    ("make", "error", "message"),
    [
        (
            lambda: sheet(1, "easy"),
            QuantityError,
            "The level should be one of first, practice, assessment; got 'easy'. Choose one.",
        ),
        (
            lambda: sheet(1, questions=17),
            QuantityError,
            "A sheet should have 1 to 16 questions; got 17. Make two sheets.",
        ),
        (
            lambda: sheet(1, look=MapLook(5_000.0, 10.0)),
            ModelError,
            "A map needs cells of at most 1.6 mm on paper; at 1:5000 cells of 9.989 m are 2 mm. "
            "Take a finer model or a smaller scale.",
        ),
        (
            lambda: sheet(1, look=MapLook(250_000.0, 10.0)),
            ModelError,
            "A map needs at least 60 mm each way; at 1:250000 the model is 35 mm by 27 mm. "
            "Take a larger model or a larger scale.",
        ),
        (
            lambda: sheet(1, look=MapLook(25_000.0, 1.0), questions=1).lines,
            ModelError,
            "A map should have at most 400 contours; this one has 1077. Take a larger interval.",
        ),
    ],
)
def test_what_cannot_be_made_is_refused(make: object, error: type[Exception], message: str) -> None:
    with pytest.raises(error, match=f"^{re.escape(message)}$"):
        make()  # type: ignore[operator]


def test_gentle_ground_gives_fewer_questions_and_says_so() -> None:
    gentle = sample_surface(Plane(5.0, 90.0), (160, 160), 10.0)
    one = practice_sheet(gentle, LOOKS[0], seed=1, questions=8)
    assert 0 < len(one.questions) < 8
    assert one.notes[0] == (
        f"This ground gave {len(one.questions)} of 8 questions. Choose another place, scale or seed."
    )
    assert re.fullmatch(
        r"This ground had no place for \d of the level's questions: others stand in.", one.notes[1]
    )


@pytest.mark.parametrize("slope_deg", [0.0, math.nan])
def test_level_and_unknown_ground_give_no_sheet(slope_deg: float) -> None:
    message = (
        "A sheet needs known ground, steep and even enough to measure on paper; none was found here with a "
        "contour every 10 m at 1:25000. Choose another place, scale or interval."
    )
    with pytest.raises(ModelError, match=f"^{re.escape(message)}$"):
        practice_sheet(sample_surface(Plane(slope_deg, 90.0), (200, 200), 10.0), LOOKS[0], seed=1)


@pytest.mark.parametrize(("lat_deg", "turn_deg"), [(0.0, 0.0), (60.0, 0.0), (-45.0, 30.0)])
def test_ground_lengths_on_a_turned_grid_in_degrees(lat_deg: float, turn_deg: float) -> None:
    """A slope of 30 degrees that faces true east: contours run to true north, 0.693 mm apart."""
    # Radii of curvature of WGS 84 at that latitude, metres for a degree.
    e2, a = 6.69437999014e-3, 6378137.0
    w = math.sqrt(1.0 - e2 * math.sin(math.radians(lat_deg)) ** 2)
    per_lon = math.radians(a / w * math.cos(math.radians(lat_deg)))
    per_lat = math.radians(a * (1.0 - e2) / w**3)
    turn, size, cell_m = math.radians(turn_deg), 260, 10.0
    step_e = (cell_m * math.cos(turn), cell_m * math.sin(turn))
    step_n = (cell_m * math.sin(turn), -cell_m * math.cos(turn))
    col, row = np.meshgrid(np.arange(size) + 0.5 - size / 2, np.arange(size) + 0.5 - size / 2)
    east = step_e[0] * col + step_e[1] * row
    lon0 = -3.0 - (step_e[0] + step_e[1]) * size / 2 / per_lon
    lat0 = lat_deg - (step_n[0] + step_n[1]) * size / 2 / per_lat
    grid = Grid(
        (step_e[0] / per_lon, step_e[1] / per_lon, lon0, step_n[0] / per_lat, step_n[1] / per_lat, lat0),
        "EPSG:4326",
        (size, size),
    )
    ground = map_ground(Dem(grid, 2000.0 - math.tan(math.radians(30.0)) * east), 25_000.0, (62.0, 62.0))
    lines = contours(ground, LOOKS[0])
    at = np.array([float(contour.lines[0][:, 0].mean()) for contour in lines])
    assert np.abs(np.diff(at)) == pytest.approx([0.4 * math.sqrt(3.0)] * (len(at) - 1), rel=2e-4)
    assert max(float(np.ptp(contour.lines[0][:, 0])) for contour in lines) < 0.05
