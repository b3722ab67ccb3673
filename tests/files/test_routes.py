"""Routes from GPX, GeoJSON and tables: what is read, said, refused, and never crashes."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from steybrae.errors import FileReadError, RouteError, SteybraeError
from steybrae.files import routes
from steybrae.files.routes import read_route, read_routes
from steybrae.route.legs import Route
from steybrae.route.turns import chainages_m

HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1">'
)
WPT = '<wpt lat="57.0105" lon="-10.0"><name>Stone hut</name></wpt>'
RTE = (
    "<rte><name>Invented round</name>"
    '<rtept lat="57.0" lon="-10.0"><ele>300</ele><name>Car park</name></rtept>'
    '<rtept lat="57.01" lon="-10.0"/><rtept lat="57.02" lon="-10.01"><name>Col</name></rtept></rte>'
)
TRK = (
    "<trk><name>Recorded</name><trkseg/>"
    '<trkseg><trkpt lat="57.0" lon="-10.0"/><trkpt lat="57.005" lon="-10.00001"/>'
    '<trkpt lat="57.01" lon="-10.0"/></trkseg><trkseg></trkseg>'
    '<trkseg><trkpt lat="57.011" lon="-10.0"/><trkpt lat="57.011" lon="-9.98"/></trkseg></trk>'
)
TABLE = "lat,lon,name\n57.0,-10.0,Car park\n57.01,-10.0,\n57.02,-10.01,Col\n"


def line_feature(**properties: Any) -> dict[str, Any]:
    return {
        "type": "Feature",
        "properties": properties,
        "geometry": {
            "type": "LineString",
            "coordinates": [[-10.0, 57.0, 300.0], [-10.0, 57.01], [-10.01, 57.02]],
        },
    }


def exactly(message: str) -> str:
    return f"^{re.escape(message)}$"


def written(folder: Path, content: str | bytes, name: str = "day.gpx") -> Path:
    path = folder / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


def read(folder: Path, content: str | bytes, name: str = "day.gpx", **options: Any) -> Route:
    return read_route(written(folder, content, name), **options)


def places(route: Route) -> list[tuple[float, float, str]]:
    return [(point.lat_deg, point.lon_deg, point.name) for point in route.points]


THREE = [(57.0, -10.0, "Car park"), (57.01, -10.0, ""), (57.02, -10.01, "Col")]


def test_a_gpx_route_goes_before_a_track(tmp_path: Path) -> None:
    route = read(tmp_path, f"{HEAD}{WPT}{RTE}{RTE}{TRK}</gpx>")
    assert (route.kind, route.name, route.turn_points) == ("route", "Invented round", (0, 1, 2))
    assert places(route) == THREE
    assert route.notes == (
        "A route was read.",
        "Passed over in the file: 1 further route, 1 track.",
        "Each of the 3 points is a turn point.",
    )


def route_of(name: str, shift_deg: float = 0.0) -> str:
    return (
        f'<rte><name>{name}</name><rtept lat="{57.0 + shift_deg}" lon="-10.0"/>'
        f'<rtept lat="{57.01 + shift_deg}" lon="-10.0"/></rte>'
    )


def test_lines_side_by_side_come_from_several_files_and_from_several_routes_of_one(tmp_path: Path) -> None:
    several = written(
        tmp_path, f"{HEAD}{route_of('Way off west')}{route_of('High', 0.1)}{route_of('')}{TRK}</gpx>"
    )
    table = written(tmp_path, TABLE, "low.csv")
    lines = read_routes((several, table))
    # The first that is no way off leads; the others keep their order.
    assert [line.name for line in lines] == ["High", "Way off west", "day, route 3", "low"]
    assert lines[0].notes == ("A route was read.", "Each of the 2 points is a turn point.")
    assert lines[1].notes[1] == "Passed over in the file: 1 track."


def test_every_command_takes_the_same_main_line_of_a_file(tmp_path: Path) -> None:
    path = written(tmp_path, f"{HEAD}{route_of('Way off west')}{route_of('High', 0.1)}</gpx>")
    alone, main = read_route(path), read_routes((path,))[0]
    assert (alone.name, alone.points) == ("High", main.points)
    assert alone.notes[1] == "Passed over in the file: 1 further route."


def test_one_route_alone_is_read_as_ever_whatever_its_name(tmp_path: Path) -> None:
    for text in (f"{HEAD}{WPT}{RTE}{TRK}</gpx>", f"{HEAD}{route_of('Way off west')}</gpx>", TABLE):
        path = written(tmp_path, text)
        assert read_routes((path,)) == (read_route(path),)


def test_legs_begin_where_asked_on_the_main_line_only(tmp_path: Path) -> None:
    path = written(tmp_path, f"{HEAD}{route_of('High')}{RTE}</gpx>")
    high, other = read_routes((path,), legs_at=("500m",))
    assert (len(high.turn_points), len(other.turn_points)) == (3, 3)
    assert high.notes[-1] == "Legs begin where asked: 2 legs."
    assert other.notes[-1] == "Each of the 3 points is a turn point."


def test_routes_after_the_twelfth_are_passed_over_and_told(tmp_path: Path) -> None:
    path = written(tmp_path, f"{HEAD}{''.join(route_of(f'r{k}') for k in range(14))}</gpx>")
    lines = read_routes((path,))
    assert [line.name for line in lines] == [f"r{k}" for k in range(12)]
    assert lines[0].notes[1] == "Passed over in the file: 2 further routes."


def test_an_error_names_the_route_of_its_file(tmp_path: Path) -> None:
    path = written(tmp_path, f'{HEAD}{RTE}<rte><rtept lat="57" lon="-10"/></rte></gpx>')
    message = (
        "day.gpx, route 2 should hold a line of two different points or more; it has 1. Add its turn points."
    )
    with pytest.raises(RouteError, match=exactly(message)):
        read_routes((path,))


def test_a_gpx_track_is_joined_and_cut_where_it_bends(tmp_path: Path) -> None:
    route = read(tmp_path, f"{HEAD}{TRK}</gpx>")
    assert (route.kind, route.name, len(route.points), route.turn_points) == (
        "track",
        "Recorded",
        5,
        (0, 3, 4),
    )
    assert route.notes == (
        "A track was read.",
        "Joined 2 parts by straight lines; the longest break is 112 m.",
        "Turn points chosen from the 5 points of the line: no point lies more than 25 m beside its leg; "
        "2 legs.",
    )
    assert read(tmp_path, f"{HEAD}{TRK}</gpx>", turn_tolerance_m=0.1).turn_points == (0, 1, 2, 3, 4)


def test_gpx_way_points_are_a_line_where_there_is_no_other(tmp_path: Path) -> None:
    route = read(tmp_path, f'{HEAD}{WPT}<wpt lat="57.02" lon="-10"/></gpx>')
    assert (route.kind, route.name) == ("way-points", "day")
    assert places(route) == [(57.0105, -10.0, "Stone hut"), (57.02, -10.0, "")]
    assert route.notes[0] == "Way-points were read as a line."


def test_gpx_1_0_is_read_and_said(tmp_path: Path) -> None:
    head = '<gpx version="1.0" creator="test" xmlns="http://www.topografix.com/GPX/1/0">'
    route = read(tmp_path, f"{head}{RTE}</gpx>")
    assert places(route) == THREE
    assert route.notes[0] == "The file is GPX 1.0; it was read as such."


def test_content_decides_not_the_extension(tmp_path: Path) -> None:
    assert read(tmp_path, f"\ufeff \n{HEAD[39:]}{RTE}</gpx>", "day.csv").kind == "route"
    assert read(tmp_path, TABLE, "day.gpx").kind == "way-points"
    assert read(tmp_path, json.dumps(line_feature()), "day.txt").kind == "line"


def test_a_byte_order_mark_and_windows_line_ends(tmp_path: Path) -> None:
    assert places(read(tmp_path, "\ufeff" + TABLE.replace("\n", "\r\n"), "day.csv")) == THREE
    assert places(read(tmp_path, f"\ufeff{HEAD}{RTE}</gpx>")) == THREE


@pytest.mark.parametrize(
    "text",
    [
        TABLE,
        TABLE.replace(",", ";"),
        TABLE.replace(",", "\t"),
        "Name;LATITUDE;Longitude\nCar park;57,0;-10,0\n;57,01;-10,0\n\nCol;57,02;-10,01\n",
        'lon_deg,lat_deg,name,note\n-10.0,57.0,Car park,"a, b"\n-10.0,57.01\n-10.01,57.02,Col,\n',
    ],
)
def test_tables(tmp_path: Path, text: str) -> None:
    route = read(tmp_path, text, "day.csv")
    assert places(route) == THREE
    assert route.notes == ("A table of positions was read.", "Each of the 3 points is a turn point.")


def test_geojson_as_feature_collection_and_bare(tmp_path: Path) -> None:
    feature = line_feature(name="Invented round")
    collection = {"type": "FeatureCollection", "features": [feature, line_feature(), {"type": "Feature"}]}
    for document, name in (
        (feature, "Invented round"),
        (collection, "Invented round"),
        (feature["geometry"], "day"),
    ):
        route = read(tmp_path, json.dumps(document), "day.geojson")
        assert (route.kind, route.name, route.turn_points) == ("line", name, (0, 1, 2))
        assert [point[:2] for point in places(route)] == [point[:2] for point in THREE]
    assert read(tmp_path, json.dumps(collection)).notes[1] == "Passed over in the file: 1 further line."


def test_geojson_turn_points(tmp_path: Path) -> None:
    text = json.dumps(line_feature(turn_points=["Car park", None, "Col"]))
    route = read(tmp_path, text)
    assert (route.turn_points, [point.name for point in route.points]) == ((0, 2), ["Car park", "", "Col"])
    assert route.notes == ("A line was read.", "Turn points as named in the file: 1 leg.")
    assert read(tmp_path, json.dumps(line_feature(turn_points=None))).turn_points == (0, 1, 2)


def test_geojson_parts_across_the_antimeridian(tmp_path: Path) -> None:
    shape = {
        "type": "MultiLineString",
        "coordinates": [[[179.9, 10.0], [180.0, 10.0]], [], [[-180.0, 10.0], [-179.9, 10.0]]],
    }
    route = read(tmp_path, json.dumps(shape))
    assert [point.lon_deg for point in route.points] == [179.9, 180.0, -179.9]
    # 0.2 degrees of the parallel of 10 on WGS 84: a cos 10 / sqrt(1 - e2 sin2 10) x 0.2 in radians.
    assert float(chainages_m(route.points)[-1]) == pytest.approx(21_927.87, abs=0.02)
    assert route.notes[1:3] == (
        "2 parts meet end to end.",
        "Dropped 1 point that repeats the one before.",
    )


def test_geojson_points_are_names_beside_a_line_or_the_line(tmp_path: Path) -> None:
    spots = [
        {
            "type": "Feature",
            "properties": {"name": name},
            "geometry": {"type": "Point", "coordinates": [-10.0, lat_deg]},
        }
        for name, lat_deg in (("Hut", 57.005), ("Gate", 57.008))
    ]
    alone = read(tmp_path, json.dumps({"type": "FeatureCollection", "features": spots}))
    assert (alone.kind, [point.name for point in alone.points]) == ("way-points", ["Hut", "Gate"])
    both = {"type": "FeatureCollection", "features": [*spots, line_feature()]}
    route = read(tmp_path, json.dumps(both), legs_at=["gate"])
    assert [route.points[index].name for index in route.turn_points] == ["", "Gate", ""]


def test_legs_where_asked(tmp_path: Path) -> None:
    text = f"{HEAD}{WPT}{RTE}</gpx>"
    route = read(tmp_path, text, legs_at=["stone hut", "0.5km"])
    assert [route.points[index].name for index in route.turn_points] == [
        "Car park",
        "0.5km",
        "Stone hut",
        "Col",
    ]
    assert len(route.points) == 5
    assert route.notes[-1] == "Legs begin where asked: 3 legs."
    message = (
        "A leg can begin at a named point or at a distance like 1.2km; got 'Cave', and the file has "
        "Car park, Col, Stone hut. Give one of these or a distance."
    )
    with pytest.raises(RouteError, match=exactly(message)):
        read(tmp_path, text, legs_at=["Cave"])


def test_a_long_line_is_treated_as_a_track_but_keeps_its_names(tmp_path: Path) -> None:
    rows = [f"{57.0 + i * 1e-4:.4f},-10.0,{'Gate' if i == 30 else ''}" for i in range(61)]
    route = read(tmp_path, "lat,lon,name\n" + "\n".join(rows), "day.csv")
    assert (len(route.points), route.turn_points) == (61, (0, 30, 60))
    assert "Turn points chosen from the 61 points" in route.notes[-1]
    numbered = [f"{57.0 + i * 1e-4:.4f},-10.0,{i:03d}" for i in range(61)]
    assert read(tmp_path, "lat,lon,name\n" + "\n".join(numbered), "day.csv").turn_points == (0, 60)
    assert len(read(tmp_path, "lat,lon,name\n" + "\n".join(rows[:60]), "day.csv").turn_points) == 60


def test_repeats_are_dropped_and_said(tmp_path: Path) -> None:
    route = read(tmp_path, TABLE + "57.02,-10.01,Col\n57.02,-10.01,Col\n", "day.csv")
    assert places(route) == THREE
    assert route.notes[1] == "Dropped 2 points that repeat the one before."


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "day.x should hold a route; it is empty. Export it again."),
        (b" \n", "day.x should hold a route; it is empty. Export it again."),
        (
            b"lat,lon\n\xff\xfe",
            "day.x should be text in UTF-8; byte 8 is not. Save it as GPX, GeoJSON or CSV in UTF-8; "
            "give a model as --dem FILE.",
        ),
        (
            b'<!DOCTYPE gpx [<!ENTITY a "b">]><gpx version="1.1"/>',
            "day.x should be plain GPX; it has a DOCTYPE or ENTITY declaration, which is refused. "
            "Export it again.",
        ),
        (
            b'lat,lon,name\n57,-10,"Car park\n57.1,-10,Col\n',
            "day.x should be a table of positions; it could not be read (unexpected end of data). "
            "Export it again.",
        ),
        (b"<kml/>", "day.x should be GPX; it is XML of another kind. Export the line as GPX."),
        (
            b"<gpx><rte>",
            "day.x should be GPX; it could not be read "
            "(Error parsing XML: no element found: line 1, column 10). Export it again.",
        ),
        (
            b"{",
            "day.x should be GeoJSON; it is not valid JSON "
            "(Expecting property name enclosed in double quotes: line 1 column 2 (char 1)). Export it again.",
        ),
    ],
)
def test_files_that_are_damaged(tmp_path: Path, content: bytes, message: str) -> None:
    with pytest.raises(FileReadError, match=exactly(message)):
        read(tmp_path, content, "day.x")


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (
            f"{HEAD}</gpx>",
            "day.x should hold a line of two different points or more; it has 0. Add its turn points.",
        ),
        (
            "lat,lon\n57,-10\n57,-10\n",
            "day.x should hold a line of two different points or more; it has 1. Add its turn points.",
        ),
        (
            f'{HEAD}<rte><rtept lat="57" lon="-10"/><rtept lat="91" lon="-10"/></rte></gpx>',
            "Point 2 of day.x should have a latitude of -90 to 90 and a longitude of -180 to 180 degrees; "
            "got 91.0, -10.0. Correct it.",
        ),
        (
            f'{HEAD}<rte><rtept lat="nan" lon="-10"/></rte></gpx>',
            "Point 1 of day.x should have a latitude of -90 to 90 and a longitude of -180 to 180 degrees; "
            "got nan, -10.0. Correct it.",
        ),
        (
            "lat,lon\n57,-10\n,\n57,\n",
            "Point 2 of day.x should have a latitude of -90 to 90 and a longitude of -180 to 180 degrees; "
            "got 57, nothing. Write decimal degrees, or another form in a column place.",
        ),
        (
            "lat,lon\n5_7,-5\n",
            "Point 1 of day.x should have a latitude of -90 to 90 and a longitude of -180 to 180 degrees; "
            "got not a number, -5. Write decimal degrees, or another form in a column place.",
        ),
        (
            '""',
            "day.x should be GPX, GeoJSON, or a table whose first line names the columns lat and lon, "
            "or place; it begins with '\"\"'. Add that line.",
        ),
        (
            "north,east\n1,2\n",
            "day.x should be GPX, GeoJSON, or a table whose first line names the columns lat and lon, "
            "or place; it begins with 'north,east'. Add that line.",
        ),
        ("[1]", "day.x should hold a GeoJSON LineString; it has none. Export the line."),
        (
            '{"type": "LineString"}',
            "The line of day.x should have a list of coordinates; it has none. Export it again.",
        ),
        (
            '{"type": "LineString", "coordinates": [[1, 2], [true, 3]]}',
            "Point 2 of day.x should be [longitude, latitude]; got [True, 3]. Correct it.",
        ),
        (
            '{"type": "LineString", "coordinates": [[NaN, 2]]}',
            "Point 1 of day.x should have a latitude of -90 to 90 and a longitude of -180 to 180 degrees; "
            "got 2, nan. Correct it.",
        ),
        (
            json.dumps(line_feature(turn_points=["Car park"])),
            "The property turn_points of day.x should hold a name or null for each of the 3 positions; "
            "it has 1 entries. Make the lists alike.",
        ),
        (
            json.dumps({**line_feature(), "crs": {"properties": {"name": "urn:ogc:def:crs:EPSG::27700"}}}),
            "day.x should be in WGS 84 longitude and latitude, as RFC 7946 has it; its member 'crs' "
            "says otherwise. Export it in WGS 84.",
        ),
    ],
)
def test_lines_that_cannot_be_walked(tmp_path: Path, content: str, message: str) -> None:
    with pytest.raises(RouteError, match=exactly(message)):
        read(tmp_path, content, "day.x")


def test_a_file_that_is_not_there_and_a_folder(tmp_path: Path) -> None:
    missing = tmp_path / "none.gpx"
    message = (
        f"A route file is needed; {missing} could not be read: No such file or directory. Check the name."
    )
    with pytest.raises(FileReadError, match=exactly(message)):
        read_route(missing)
    with pytest.raises(FileReadError, match="could not be read"):
        read_route(tmp_path)


def test_a_file_too_large(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(routes, "MAX_FILE_BYTES", 40)
    message = "A route file should be at most 25 MB; day.csv is larger. Export the day's line alone."
    with pytest.raises(FileReadError, match=exactly(message)):
        read(tmp_path, TABLE, "day.csv")


def test_deep_nesting_is_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(FileReadError, match="it is not valid JSON"):
        read(tmp_path, "[" * 200_000)


def test_a_long_track_is_read(tmp_path: Path) -> None:
    rows = "".join(
        f'<trkpt lat="{57 + i * 1e-5:.5f}" lon="-10.0"><ele>1</ele></trkpt>' for i in range(20_000)
    )
    path = written(tmp_path, f"{HEAD}<trk><trkseg>{rows}</trkseg></trk></gpx>")
    route = read_route(path)
    assert (len(route.points), route.turn_points) == (20_000, (0, 19_999))


VALID = [
    f"{HEAD}{WPT}{RTE}</gpx>".encode(),
    f"{HEAD}{TRK}</gpx>".encode(),
    TABLE.encode(),
    json.dumps(
        {"type": "FeatureCollection", "features": [line_feature(turn_points=["a", None, "b"])]}
    ).encode(),
]
JSON_VALUES = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(
                ["type", "features", "geometry", "properties", "coordinates", "crs", "turn_points"]
            ),
            inner
            | st.sampled_from(["Feature", "FeatureCollection", "LineString", "MultiLineString", "Point"]),
            max_size=4,
        )
    ),
    max_leaves=12,
)


@st.composite
def mutated(draw: st.DrawFn) -> bytes:
    content = bytearray(draw(st.sampled_from(VALID)))
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, len(content)))
        until = at + draw(st.integers(0, 12))
        content[at:until] = draw(
            st.binary(max_size=6)
            | st.sampled_from([b"nan", b"1e999", b"-", b"", b"<rte>", b"]", b"null", b"&#0;"])
        )
    return bytes(content)


@settings(max_examples=250, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    content=st.binary(max_size=80)
    | st.text(max_size=60).map(lambda text: ("lat,lon\n" + text).encode("utf-8", "ignore"))
    | JSON_VALUES.map(lambda value: json.dumps(value).encode())
    | mutated()
    | mutated(),
    legs_at=st.lists(st.sampled_from(["Col", "stone hut", "0.4km", "900km", "", "nan"]), max_size=2),
)
def test_nothing_but_our_errors_comes_out(tmp_path: Path, content: bytes, legs_at: list[str]) -> None:
    message = ""
    try:
        route = read(tmp_path, content, "any", legs_at=legs_at)
        assert route.turn_points[-1] == len(route.points) - 1 >= 1
    except SteybraeError as error:
        message = str(error)
    assert "\n" not in message


def test_places_as_people_write_them_in_a_table(tmp_path: Path) -> None:
    content = (
        "place;name;lat;lon\n"
        "HX 166 712;Hut;;\n"  # 100 m square: half its diagonal is 70.7 m
        ";Col;59.2;-8.0\n"
        "59 12 30 N 8 00 36 W;;;\n"
    )
    hut, col, top = read(tmp_path, content, "day.csv").points
    assert (hut.name, hut.written, round(hut.error_m, 2)) == ("Hut", "HX 166 712", 70.71)
    assert (col.lat_deg, col.lon_deg, col.name, col.written, col.error_m) == (59.2, -8.0, "Col", "", 0.0)
    assert (top.lat_deg, top.lon_deg) == pytest.approx((59.2 + 30 / 3600, -(8.0 + 36 / 3600)), abs=1e-12)


def test_a_place_may_stand_beside_the_same_position(tmp_path: Path) -> None:
    # The centre of the 100 m square HX 166 712, in degrees to about 1 m.
    content = "place,lat,lon\nHX 166 712,59.48704,-5.23968\nHX 1700 7100,,\n"
    points = read(tmp_path, content, "day.csv").points
    assert [point.written for point in points] == ["HX 166 712", "HX 1700 7100"]


@pytest.mark.parametrize(
    ("row", "message"),
    [
        (
            "HX 166 71,,",
            "Point 1 of day.csv cannot be read. A grid reference has as many figures east as north; got 5 in "
            "'HX 166 71'. Check for one left out or doubled.",
        ),
        (
            "HX 166 712,59.48704,-5.24968",  # 0.01 degree of longitude further west: 567 m
            "Point 1 of day.csv gives two positions 567 m apart, as place and as lat and lon. "
            "Leave one of them out.",
        ),
    ],
)
def test_places_that_cannot_be_taken(tmp_path: Path, row: str, message: str) -> None:
    with pytest.raises(RouteError, match=exactly(message)):
        read(tmp_path, f"place,lat,lon\n{row}\nHX 1700 7100,,\n", "day.csv")


@pytest.mark.parametrize(
    "names",
    [
        " ".join(f'xmlns:a{k}="u{k}"' for k in range(200_000)),
        " ".join(f'a{k}=""' for k in range(200_000)),
    ],
)
def test_a_gpx_that_would_take_a_parser_hours(tmp_path: Path, names: str) -> None:
    path = tmp_path / "day.gpx"
    path.write_text(f'<gpx version="1.1" creator="x" {names}><rte><rtept lat="59.2" lon="-8"/></rte></gpx>')
    with pytest.raises(FileReadError) as caught:
        read_route(path)
    assert str(caught.value) == (
        "day.gpx should have at most 100 namespaces and 10000 characters of attributes in one element; it "
        "has more. Export it again."
    )
