"""Points along the legs as CSV and GeoJSON."""

from __future__ import annotations

import csv
import io
import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from tests.on_grid import model, route_on
from tests.synthetic import GaussianHill

from steybrae.answers.points import cautions_path, cautions_text, points_csv, points_geojson
from steybrae.bands import BandScheme
from steybrae.files.results import as_json
from steybrae.quantities import shown_slope_deg
from steybrae.screening import RouteScreening, Settings, screen_route

HEADER = (
    "leg,chainage_m,lat_deg,lon_deg,elevation_m,slope_deg,slope_low_deg,slope_high_deg,"
    "slope_corridor_deg,band,aspect_true_deg,track_grade_deg,known,"
    "overhead_unfiltered_deg,leg_slope_max_deg,leg_short_slope_max_deg,leg_short_corridor_max_deg,"
    "leg_drop_fall_m,leg_drop_off_m,leg_overhead_deg,leg_unknown_above,cautions"
)


@pytest.fixture(scope="module")
def day() -> RouteScreening:
    dem = model(GaussianHill(300.0, 220.0))
    points = [(-550.0, -100.0), (0.0, 30.0), (700.0, 200.0)]  # the last 95 m are off the model
    return screen_route(route_on(dem, points, ["Foot, west", "Top", "Off"]), dem)


@pytest.fixture(scope="module")
def rows(day) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(points_csv(day))))


def test_one_row_for_each_point(day, rows):
    text = points_csv(day)
    assert text.splitlines()[0] == HEADER
    assert "\r" not in text
    assert len(rows) == sum(len(leg.points.chainage_m) for leg in day.legs)
    assert [row["leg"] for row in rows] == [
        str(leg.number) for leg in day.legs for _ in leg.points.chainage_m
    ]


def test_the_leg_s_steepest_is_there_though_it_lies_between_two_points(day, rows):
    for leg in day.legs:
        mine = [row for row in rows if row["leg"] == str(leg.number)]
        assert {row["leg_slope_max_deg"] for row in mine} == {f"{shown_slope_deg(leg.slope_max_deg):.10g}"}


def test_known_points_hold_what_the_result_holds(day, rows):
    arrays = {
        name: np.concatenate([getattr(leg.points, name) for leg in day.legs])
        for name in (
            "chainage_m",
            "lat_deg",
            "elevation_m",
            "slope_deg",
            "slope_low_deg",
            "slope_high_deg",
            "known",
        )
    }
    for k, row in enumerate(rows):
        assert float(row["chainage_m"]) == pytest.approx(arrays["chainage_m"][k], abs=0.005)
        assert float(row["lat_deg"]) == pytest.approx(arrays["lat_deg"][k], abs=5.1e-8)
        assert (row["known"] == "yes") == bool(arrays["known"][k])
        if row["known"] == "no":
            continue
        slope = float(row["slope_deg"])
        # Tenths, rounded up, the lower end down: never against the reader.
        assert slope - 0.1 < arrays["slope_deg"][k] <= slope + 1e-7
        assert float(row["slope_low_deg"] or 0.0) <= np.nan_to_num(arrays["slope_low_deg"][k]) + 1e-7
        if np.isnan(arrays["slope_high_deg"][k]):
            # Beside unknown ground it is not known how rough the ground is.
            assert not row["slope_high_deg"]
            continue
        assert (
            float(row["slope_high_deg"]) - 0.1
            < arrays["slope_high_deg"][k]
            <= float(row["slope_high_deg"]) + 1e-7
        )
        assert len(row["slope_deg"].split(".")[1]) == 1
        assert row["band"] == BandScheme().band(slope).label
        assert float(row["elevation_m"]) == pytest.approx(arrays["elevation_m"][k], abs=0.005)


def test_unknown_points_have_empty_cells_and_the_word(rows):
    unknown = [row for row in rows if row["known"] == "no"]
    assert len(unknown) > 5
    for row in unknown:
        assert (row["slope_deg"], row["slope_low_deg"], row["slope_high_deg"]) == ("", "", "")
        assert row["band"] == "unknown"
        assert row["chainage_m"]
        assert row["lat_deg"]
    assert unknown[-1]["elevation_m"] == ""
    assert all(row["band"] != "unknown" for row in rows if row["known"] == "yes")
    assert not any("nan" in ",".join(row.values()).lower() for row in rows)


def test_cautions_are_named_in_each_row_and_told_beside(day, rows):
    texts = dict(line.split("\t") for line in cautions_text(day).splitlines())
    assert list(texts)[:2] == ["forecast", "angle_alone"]
    for row in rows:
        keys = row["cautions"].split()
        assert keys[:2] == ["forecast", "angle_alone"]
        assert set(keys) <= set(texts)
    assert "unknown_on_line" in rows[-1]["cautions"].split()
    assert "unknown_on_line" not in rows[0]["cautions"].split()
    assert all(text.endswith(".") for text in texts.values())
    assert cautions_path(Path("out/points.csv")) == Path("out/points.csv.cautions.txt")


@pytest.mark.parametrize(
    ("slope_deg", "cell", "band"),
    [
        (29.91, "30.0", "30-35"),
        (29.9, "29.9", "25-30"),
        (30.0000000001, "30.0", "30-35"),
        (30.001, "30.1", "30-35"),
    ],
)
def test_the_band_is_that_of_the_number_shown(day, slope_deg, cell, band):
    leg = day.legs[0]
    points = replace(leg.points, slope_deg=np.full_like(leg.points.slope_deg, slope_deg))
    text = points_csv(replace(day, legs=(replace(leg, points=points), *day.legs[1:])))
    first = next(csv.DictReader(io.StringIO(text)))
    assert (first["slope_deg"], first["band"]) == (cell, band)


def test_bands_are_those_of_the_screening():
    dem = model(GaussianHill(300.0, 220.0))
    found = screen_route(
        route_on(dem, [(-550.0, 0.0), (0.0, 0.0)]), dem, Settings(bands=BandScheme((20.0, 27.5)))
    )
    bands = {row["band"] for row in csv.DictReader(io.StringIO(points_csv(found)))}
    assert bands == {"<20", "20-27.5", "27.5+"}


def test_geojson_is_a_collection_of_points(day):
    found = json.loads(points_geojson(day))
    assert found["type"] == "FeatureCollection"
    assert set(found) == {"type", "features", "legs", "cautions"}
    assert "crs" not in found  # RFC 7946, 4: WGS 84 and no other
    assert found["legs"] == as_json("route", day)["legs"]
    assert [caution["key"] for caution in found["cautions"]][:2] == ["forecast", "angle_alone"]
    assert len(found["features"]) == sum(len(leg.points.chainage_m) for leg in day.legs)
    for feature in found["features"]:
        assert feature["type"] == "Feature"
        assert feature["geometry"]["type"] == "Point"
        lon, lat = feature["geometry"]["coordinates"]  # longitude first
        assert lon == pytest.approx(-9.0, abs=0.02)
        assert lat == pytest.approx(57.0, abs=0.01)
        assert set(feature["properties"]) == set(HEADER.split(",")) - {"lat_deg", "lon_deg"}
        assert not any(
            isinstance(value, float) and math.isnan(value) for value in feature["properties"].values()
        )


def test_geojson_is_not_rounded_and_unknown_is_null(day):
    features = json.loads(points_geojson(day))["features"]
    assert features[3]["properties"]["slope_deg"] == day.legs[0].points.slope_deg[3]
    last = features[-1]["properties"]
    assert (last["slope_deg"], last["elevation_m"], last["band"], last["known"]) == (
        None,
        None,
        "unknown",
        False,
    )
