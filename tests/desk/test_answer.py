"""What the desk answers is what ``route`` answers for the file of the same line, to the last digit."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
import random
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.desk.conftest import BULLETIN
from tests.desk.made_lines import message, sample_points

from steybrae.answers.leg import leg_slope
from steybrae.card.settings import CardSettings
from steybrae.desk.answer import answer, shift
from steybrae.desk.engine import Engine, NearHeights
from steybrae.desk.lines import TOO_SHORT, drawn_lines, drawn_of, lines_gpx, routes_of
from steybrae.desk.make import MAKERS
from steybrae.desk.opened import Desk, DeskAsk
from steybrae.files.model.rasters import open_model
from steybrae.files.results import sample_model
from steybrae.files.routes import read_routes, read_routes_text
from steybrae.forecast.beside import NO_FORECAST_WORDS
from steybrae.route.kept import LeftError
from steybrae.screening import Settings, screen_route
from steybrae.screening.forecast.at import forecast_beside
from steybrae.screening.model.look import found_near
from steybrae.screening.places.words import leading_spot


def differences(one: Any, other: Any, where: str = "") -> list[str]:
    """Name all fields in which two results differ, arrays to the last bit."""
    if type(one) is not type(other):
        return [where]
    if isinstance(one, np.ndarray):
        same = one.dtype == other.dtype and one.shape == other.shape and one.tobytes() == other.tobytes()
        return [] if same else [where]
    if dataclasses.is_dataclass(one):
        parts = [field.name for field in dataclasses.fields(one)]
        return [
            found
            for name in parts
            for found in differences(getattr(one, name), getattr(other, name), f"{where}.{name}")
        ]
    if isinstance(one, (tuple, list)):
        if len(one) != len(other):
            return [where]
        pairs = enumerate(zip(one, other, strict=True))
        return [found for k, pair in pairs for found in differences(*pair, f"{where}[{k}]")]
    return [] if one == other or repr(one) == repr(other) == "nan" else [where]


def moved(points: list[dict[str, Any]], chance: random.Random) -> list[dict[str, Any]]:
    """Move, insert or delete a point."""
    what, k = chance.random(), chance.randrange(len(points))

    def near(lat: float, lon: float, name: str = "") -> dict[str, Any]:
        return {
            "lat": round(lat + chance.uniform(-1e-3, 1e-3), 7),
            "lon": round(lon + chance.uniform(-2e-3, 2e-3), 7),
            "name": name,
        }

    if what < 0.2 and len(points) > 3:
        return points[:k] + points[k + 1 :]
    if what < 0.4 and k:
        one, two = points[k - 1], points[k]
        between = near((one["lat"] + two["lat"]) / 2.0, (one["lon"] + two["lon"]) / 2.0)
        return [*points[:k], between, *points[k:]]
    return [*points[:k], near(points[k]["lat"], points[k]["lon"], points[k]["name"]), *points[k + 1 :]]


@pytest.mark.parametrize("seed", [3])
def test_a_line_moved_at_random_is_answered_as_route_answers_its_file(seed: int, tmp_path: Path) -> None:
    chance, settings = random.Random(seed), Settings(reach_m=600.0)  # noqa: S311
    bulletins = BULLETIN
    points = sample_points(5)[2:]
    with open_model([sample_model()]) as kept, open_model([sample_model()]) as fresh:
        engine = Engine(kept, settings, bulletins)
        for _ in range(4):
            lines = drawn_lines(message(("day", "main", points)), fresh.grid)
            path = tmp_path / "day.gpx"
            path.write_text(lines_gpx(lines))
            (route,) = read_routes([path])
            found = engine.answer(*(routes_of(lines)[0], 0)).found
            whole = replace(settings, model_found=found_near(fresh, route.points))
            alone = screen_route(route, fresh, whole, for_forecast=True)
            assert differences(forecast_beside(alone, *bulletins), found) == []
            points = moved(points, chance)


def walked(settings: Settings, submit: Any) -> Iterator[list[str]]:
    """Differences of an engine's answers from fresh ones, as a line goes east out of the ground held."""
    points = sample_points(3)
    with open_model([sample_model()]) as model:
        engine = Engine(model, settings, submit=submit)
        for _ in range(9):
            (route,), _ = routes_of(drawn_lines(message(("day", "main", points)), model.grid))
            with open_model([sample_model()]) as fresh:
                alone = Engine(fresh, settings).answer([route], 0).found
            yield differences(alone, engine.answer([route], 0).found)
            points = [{**point, "lon": round(point["lon"] + 3e-3, 7)} for point in points]


def test_ground_made_ready_meanwhile_gives_the_same_answers() -> None:
    asked: list[Future[Any]] = []
    with ThreadPoolExecutor(1) as other:

        def elsewhere(work: Any) -> Future[Any]:
            def opened() -> Any:
                with open_model([sample_model()]) as another:
                    return work(another)

            asked.append(other.submit(opened))
            return asked[-1]

        assert [*walked(Settings(reach_m=100.0), elsewhere)] == [[]] * 9
    right = [one.result().window.right for one in asked]
    assert len(right) > 1
    assert right == sorted(set(right))


def test_an_answer_waits_for_no_ground_that_nobody_has_begun() -> None:
    asked: list[Future[Any]] = []

    def never(_: Any) -> Future[Any]:
        asked.append(Future())
        return asked[-1]

    assert [*walked(Settings(reach_m=100.0), never)] == [[]] * 9
    assert any(one.cancelled() for one in asked)


def test_only_what_changed_is_read(monkeypatch: pytest.MonkeyPatch) -> None:
    points, settings = sample_points(6), Settings(reach_m=20.0)
    with open_model([sample_model()]) as model:
        engine = Engine(model, settings)
        (route,), _ = routes_of(drawn_lines(message(("day", "main", points)), model.grid))
        engine.answer([route], 0)
        read: list[tuple[int, int, int, int]] = []
        reading = NearHeights.read

        def watched(self: Any, *window: int) -> Any:
            read.append(window)  # type: ignore[arg-type]
            return reading(self, *window)

        monkeypatch.setattr(NearHeights, "read", watched)
        engine.answer([route], 0)
        assert read == []
        points[4] = {**points[4], "lat": points[4]["lat"] + 1e-4}
        (route,), _ = routes_of(drawn_lines(message(("day", "main", points)), model.grid))
        engine.answer([route], 0)
        col, row = model.grid.from_wgs84(
            *zip(*((p.lon_deg, p.lat_deg) for p in route.points[:3]), strict=True)
        )
        untouched = [
            window
            for window in read
            if window[0] < row.max() < window[0] + window[2] and window[1] < col.max() < window[1] + window[3]
        ]
        assert read
        assert len(read) < 40
        assert untouched == []


def test_an_answer_that_nobody_waits_for_is_given_up_and_harms_none_after_it() -> None:
    points, settings, asked = sample_points(4), Settings(reach_m=20.0), iter([False] * 5 + [True])
    with open_model([sample_model()]) as model, open_model([sample_model()]) as fresh:
        (route,), _ = routes_of(drawn_lines(message(("day", "main", points)), model.grid))
        engine = Engine(model, settings)
        with pytest.raises(LeftError):
            engine.answer([route], 0, lambda: next(asked))
        assert next(asked, None) is None
        assert (
            differences(Engine(fresh, settings).answer([route], 0).found, engine.answer([route], 0).found)
            == []
        )


def test_what_is_kept_is_bounded() -> None:
    chance, points = random.Random(1), sample_points(3)  # noqa: S311
    with open_model([sample_model()]) as model:
        engine = Engine(model, Settings(reach_m=20.0))
        sizes = []
        for _ in range(24):
            (route,), _ = routes_of(drawn_lines(message(("day", "main", points)), model.grid))
            engine.answer([route], 0)
            sizes.append(len(engine.kept))
            points[1] = {**points[1], "lat": points[1]["lat"] + chance.uniform(-1e-4, 1e-4)}
        assert max(sizes[16:]) <= 1.3 * max(sizes[:16])


def test_the_page_is_told_all_in_words(desk: Desk) -> None:
    told = answer(desk, message(("Day", "main", sample_points(6)), sequence=7))
    assert told["sequence"] == 7
    assert told["refused"] is None
    assert told["headline"][0].startswith("Day (route, 5 legs, ")
    # That there is no forecast stood below all places.
    assert (told["findings"], told["forecast"]) == ([NO_FORECAST_WORDS], [])
    (route,), _ = routes_of(drawn_lines(message(("Day", "main", sample_points(6))), desk.grid))
    with open_model([sample_model()]) as model:
        found = screen_route(
            route, model, replace(desk.settings, model_found=found_near(model, route.points))
        )
    assert [place["name"] for place in told["places"]] == [place.name for place in found.places]
    assert told["legs"]["rows"][2][6] == leg_slope(found.legs[2]).text
    assert told["cautions"] == [caution.line for caution in found.cautions]
    assert told["profile"]["length_m"] == found.totals.length_m
    along = told["chainage"]
    assert along[0][0] == 0.0
    assert along[-1][0] == pytest.approx(found.totals.length_m)
    metres, *axes = np.array(along).T
    for place, kept in zip(told["places"], found.places, strict=True):
        assert place["from_m"] <= place["to_m"]
        assert len(place["path"]) >= 2
        # Its letter stood in the middle of the path's points, far from where figure and report have it.
        spot = [np.interp(leading_spot(kept)[0].chainage_m, metres, axis) for axis in axes]
        assert np.allclose(place["at"], spot, atol=0.01)
    ends = [told["stretches"][0]["path"][0], told["stretches"][-1]["path"][-1]]
    points = told["points"][0]
    assert np.allclose(ends, [[points[k]["row"], points[k]["col"]] for k in (0, -1)], atol=1e-3)
    json.dumps(told, allow_nan=False)


def test_a_bulletin_that_ended_while_the_desk_was_open_is_expired() -> None:
    """A desk left open overnight had yesterday's levels, as not checked."""
    (source, ask), ended = BULLETIN, dt.datetime(2025, 1, 15, 18, tzinfo=dt.UTC)
    held = tuple(replace(one, valid_from=None, valid_to=ended.isoformat()) for one in source.bulletins)
    opened = replace(ask, start=None, end=None, now=ended - dt.timedelta(hours=9))
    settings, card = Settings(reach_m=20.0), CardSettings(dt.date(2025, 1, 15))
    desk = Desk(
        DeskAsk((sample_model(),), settings, card, forecast=(replace(source, bulletins=held), opened))
    )
    try:
        line = message(("Day", "main", sample_points(2)))
        told = answer(desk, line)
        assert told["findings"][0].startswith("EXPIRED: this forecast ended 2025-01-15 18:00 UTC")
        assert told["forecast_ends"] is None
        assert b"EXPIRED: this forecast ended" in MAKERS["report"](desk, line).body
    finally:
        desk.close()


def test_lines_stand_side_by_side_and_a_way_off_that_is_too_far_says_so(desk: Desk) -> None:
    main, other = sample_points(4), sample_points(3)
    told = answer(desk, message(("Day", "main", main), ("Short", "alternative", other), active=1))
    assert told["headline"][0].startswith("Short (route, 2 legs")
    assert [row[0].split()[0] for row in told["beside"]["rows"]] == ["Day", "Short"]
    far = [{**point, "lat": point["lat"] + 0.02} for point in other]
    told = answer(desk, message(("Day", "main", main), ("hut", "way off", far)))
    assert told["beside"] is None
    assert any("should begin within 200 m of the main line" in note for note in told["notes"])


@pytest.mark.parametrize("points", [[], sample_points(1), sample_points(1) * 2])
def test_a_line_begun_tells_its_points(desk: Desk, points: list[dict[str, Any]]) -> None:
    told = answer(desk, message(("", "main", points)))
    assert told["refused"] == TOO_SHORT
    assert [len(line) for line in told["points"]] == [len(points)]
    assert all(point["written"] for line in told["points"] for point in line)


def test_a_line_off_the_model_is_refused_in_its_sentence(desk: Desk) -> None:
    away = [{"lat": 10.0, "lon": 10.0}, {"lat": 10.1, "lon": 10.0}]
    told = answer(desk, message(("", "main", away)))
    assert told["refused"].startswith(
        "The line should cross the elevation model; it runs from 10.0000, 10.0000"
    )


def test_a_shift_tells_where_a_band_changes(desk: Desk) -> None:
    told = shift(desk, message(("Day", "main", sample_points(5)[2:])))
    (head,) = told["columns"]
    assert head.startswith("Moved left and right by 30 m and 50 m.")
    assert all(row[0].startswith("leg ") for row in told["rows"])


def test_gpx_gives_the_same_lines_back(desk: Desk) -> None:
    main, off = sample_points(4), sample_points(6)[3:]
    given = message(
        ("Day", "main", main), ("west", "way off", off), ("", "alternative", main[1:]), ("", "main", [])
    )
    lines = drawn_lines(given, desk.grid)
    text = lines_gpx(lines)
    back = drawn_of(read_routes_text(text.encode(), "x.gpx"))
    assert back == tuple(
        replace(line, name=line.name or "Alternative" * (line.role == "alternative")) for line in lines[:3]
    )
    assert lines_gpx(back) == text
    assert {name for name, _ in ((one.route_name, 0) for one in back)} == {
        "Day",
        "Way off: west",
        "Alternative",
    }
