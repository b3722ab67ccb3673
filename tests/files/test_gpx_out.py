"""A card as GPX: valid against the rules of the GPX 1.1 schema, read back, cautions inside.

The validator below holds what the schema at http://www.topografix.com/GPX/1/1/gpx.xsd says of
the elements that a plan can have: their names, their order, how often, and the types of numbers.
"""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from tests.conftest import SamplePlan

from steybrae.card import CardSettings, RouteCard, card_between, make_card
from steybrae.files.cards import card_gpx
from steybrae.files.routes import read_route
from steybrae.route.positions.places import Place
from steybrae.screening import RouteScreening

SPACE = "{http://www.topografix.com/GPX/1/1}"
DAY = dt.date(2027, 1, 15)
VERDICT = re.compile(r"\b(safe|safely|go|no-go|nogo)\b", re.IGNORECASE)

WPT = (
    "ele", "time", "magvar", "geoidheight", "name", "cmt", "desc", "src", "link", "sym", "type", "fix", "sat",
    "hdop", "vdop", "pdop", "ageofdgpsdata", "dgpsid", "extensions",
)  # fmt: skip
ORDER = {
    "gpx": ("metadata", "wpt", "rte", "trk", "extensions"),
    "metadata": ("name", "desc", "author", "copyright", "link", "time", "keywords", "bounds", "extensions"),
    "wpt": WPT,
    "rtept": WPT,
    "rte": ("name", "cmt", "desc", "src", "link", "number", "type", "extensions", "rtept"),
}
"""Child elements of each element, in the order in which the schema's sequences have them."""

MANY = {"wpt", "rte", "trk", "rtept", "link"}
"""Elements that may stand more than once; all others stand once at the most."""


def check_gpx(text: str) -> ET.Element:
    """Check a document against the rules of GPX 1.1 and return its root."""
    root = ET.fromstring(text)  # noqa: S314  our own output
    assert root.tag == f"{SPACE}gpx"
    assert root.get("version") == "1.1"
    assert root.get("creator")
    _check(root)
    return root


def _check(element: ET.Element) -> None:
    name = element.tag.removeprefix(SPACE)
    children = [child.tag.removeprefix(SPACE) for child in element]
    assert all(child.tag.startswith(SPACE) for child in element), children
    allowed = ORDER.get(name, ())
    assert set(children) <= set(allowed), (name, children)
    places = [allowed.index(child) for child in children]
    assert places == sorted(places), (name, children)
    for child in set(children) - MANY:
        assert children.count(child) == 1, (name, child)
    if name in ("wpt", "rtept"):
        decimal = re.compile(r"-?\d+(\.\d+)?")
        for key, low, high in (("lat", -90.0, 90.0), ("lon", -180.0, 179.999999999)):
            assert decimal.fullmatch(element.get(key, "")), element.attrib
            assert low <= float(element.get(key, "nan")) <= high
        assert set(element.keys()) == {"lat", "lon"}
    elif name != "gpx":
        assert not element.keys() or name == "metadata"
    for child in element:
        _check(child)


@pytest.fixture(scope="module")
def screened(sample_plan: SamplePlan) -> RouteScreening:
    return sample_plan.screening


@pytest.fixture(scope="module")
def card(screened: RouteScreening) -> RouteCard:
    return make_card(screened, CardSettings(DAY, "bng", 25_000.0))


def test_the_sample_day_is_valid_and_holds_its_cautions(card: RouteCard) -> None:
    root = check_gpx(card_gpx(card))
    for place in ("metadata", "rte"):
        words = root.findtext(f"{SPACE}{place}/{SPACE}desc", "")
        for caution in card.cautions:
            assert caution.text in words
    assert not VERDICT.search("".join(root.itertext()))


def test_the_validator_sees_what_is_wrong(card: RouteCard) -> None:
    good = card_gpx(card)
    for old, new in (
        (r'version="1\.1"', 'version="1.0"'),  # another version
        (r"(</?)rtept", r"\1trkpt"),  # not in a route
        (r"(</?)desc>", r"\1description>"),  # no such element
        (r'lon="-8', 'lon="-188'),  # off the earth
        (r"(</?)metadata>", r"\1extra>"),  # not in the sequence
        (r"<name>([^<]*)</name>\s*<cmt>([^<]*)</cmt>", r"<cmt>\2</cmt><name>\1</name>"),  # out of order
        (r"<keywords>", "<keywords>a</keywords><keywords>"),  # twice
    ):
        bad = re.sub(old, new, good)
        assert bad != good
        with pytest.raises(AssertionError):
            check_gpx(bad)


def test_read_back_it_is_the_same_line(card: RouteCard, sample_dem: Path, tmp_path: Path) -> None:
    path = tmp_path / "card.gpx"
    path.write_text(card_gpx(card), encoding="utf-8")
    back, planned = read_route(path), read_route(sample_dem / "day.gpx")
    assert (back.kind, back.name, back.turn_points) == ("route", planned.name, planned.turn_points)
    for found, meant in zip(back.points, planned.points, strict=True):
        assert found.name == meant.name
        assert (found.lat_deg, found.lon_deg) == pytest.approx((meant.lat_deg, meant.lon_deg), abs=1e-8)


def test_every_check_is_a_way_point_and_nothing_else_is(card: RouteCard) -> None:
    """The steepest of a leg is where nobody is to be sent."""
    root = check_gpx(card_gpx(card))
    names = [point.findtext(f"{SPACE}name", "") for point in root.findall(f"{SPACE}wpt")]
    assert names == [f"Check {check.number}" for leg in card.legs for check in leg.checks]
    assert names
    steep = [
        leg
        for leg in card.legs
        if leg.ground and (leg.ground.slope_max_deg or 0.0) >= 30.0 and not leg.checks
    ]
    assert steep
    bare = check_gpx(card_gpx(replace(card, legs=tuple(steep))))
    assert bare.findall(f"{SPACE}wpt") == []


def test_a_leg_that_bends_keeps_its_shape(card: RouteCard, tmp_path: Path) -> None:
    bent = replace(card.legs[0], shape_deg=((59.21, -8.05), (59.215, -8.052)), bends=True)
    path = tmp_path / "card.gpx"
    path.write_text(card_gpx(replace(card, legs=(bent,))), encoding="utf-8")
    check_gpx(path.read_text(encoding="utf-8"))
    assert [point.name for point in read_route(path).points] == [bent.from_, "", "", bent.to]


def test_names_may_hold_anything_and_the_antimeridian_is_west() -> None:
    start, end = Place(-16.5, 180.0, 'Vuya <&> "Rim" \u0141'), Place(-16.4, -179.99, "Col")
    root = check_gpx(card_gpx(card_between(start, end, CardSettings(DAY))))
    first = root.find(f"{SPACE}rte/{SPACE}rtept")
    assert first is not None
    assert float(first.get("lon", "nan")) == -180.0
    assert first.findtext(f"{SPACE}name") == 'Vuya <&> "Rim" \u0141'
