"""Bands and their edges."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from steybrae.bands import Band, BandScheme, bands_text, in_degrees, parse_edges, parse_slope_range_deg
from steybrae.errors import QuantityError
from steybrae.quantities import shown_slope_deg

SLOPES = st.floats(0.0, 90.0)


def exactly(message: str) -> str:
    return f"^{re.escape(message)}$"


def test_default_labels() -> None:
    assert BandScheme().labels == ("<25", "25-30", "30-35", "35-40", "40-45", "45-55", "55+")
    assert BandScheme().bands[0] == Band(0.0, 25.0, "<25")
    assert BandScheme().bands[-1] == Band(55.0, None, "55+")


@pytest.mark.parametrize(
    ("slope_deg", "label"),
    [
        (0.0, "<25"),
        (24.9, "<25"),
        (24.91, "25-30"),  # shown as 25.0
        (25.0, "25-30"),
        (29.9, "25-30"),
        (29.9000001, "25-30"),  # arithmetic noise
        (29.901, "30-35"),
        (30.0, "30-35"),
        (34.95, "35-40"),
        (54.91, "55+"),
        (90.0, "55+"),
    ],
)
def test_a_band_holds_its_lower_edge_and_follows_the_number_shown(slope_deg: float, label: str) -> None:
    assert BandScheme().band(slope_deg).label == label


@given(slope_deg=SLOPES)
def test_the_number_shown_lies_in_its_band(slope_deg: float) -> None:
    band = BandScheme().band(slope_deg)
    shown = shown_slope_deg(slope_deg)
    assert band.low_deg <= shown
    assert band.high_deg is None or shown < band.high_deg


@given(first=SLOPES, second=SLOPES)
def test_steeper_is_never_in_a_gentler_band(first: float, second: float) -> None:
    low, high = sorted((first, second))
    assert BandScheme().index(low) <= BandScheme().index(high)


def test_unknown_has_no_band() -> None:
    message = "An unknown slope has no band; ask for its band only where it is known."
    with pytest.raises(QuantityError, match=exactly(message)):
        BandScheme().band(math.nan)


def test_bands_between() -> None:
    scheme = BandScheme()
    assert [band.label for band in scheme.between(28.0, 36.0)] == ["25-30", "30-35", "35-40"]
    assert [band.label for band in scheme.between(28.0, 26.0)] == ["25-30"]
    assert [band.label for band in scheme.between(28.0, None)] == ["25-30"]
    assert [band.label for band in scheme.between(54.0, 90.0)] == ["45-55", "55+"]


def test_own_edges() -> None:
    assert parse_edges("30, 37.5").labels == ("<30", "30-37.5", "37.5+")


@pytest.mark.parametrize("text", ["30,30", "35,30", "0,30", "30,90", "-5,30", "nan", "30,nan", "inf"])
def test_edges_that_do_not_rise(text: str) -> None:
    got = ",".join(f"{float(part):g}" for part in text.split(","))
    message = (
        f"Band edges should rise from above 0 to below 90 degrees; got '{got}'. "
        "Write them like 25,30,35,40,45,55."
    )
    with pytest.raises(QuantityError, match=exactly(message)):
        parse_edges(text)


def test_edges_that_are_no_numbers() -> None:
    message = "Band edges should be degrees between commas; got '30;35'. Write them like 30,35,40."
    with pytest.raises(QuantityError, match=exactly(message)):
        parse_edges("30;35")


@pytest.mark.parametrize(
    ("text", "low_deg", "high_deg"),
    [
        ("30-55deg", 30.0, 55.0),
        ("28deg-60deg", 28.0, 60.0),
        ("30-55", 30.0, 55.0),
        (" 30.5 \N{EN DASH} 55° ", 30.5, 55.0),
        ("100-100.5%", 45.0, 45.14288),
        ("50%-45deg", 26.5651, 45.0),
        ("1in2-1in1", 26.5651, 45.0),
        ("30-1in1", 30.0, 45.0),
    ],
)
def test_ranges_of_slopes(text: str, low_deg: float, high_deg: float) -> None:
    assert parse_slope_range_deg(text) == pytest.approx((low_deg, high_deg), abs=1e-4)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("30", "should be two slopes with a hyphen between; got '30'. Write it like 30-55deg."),
        ("30-", "should be two slopes with a hyphen between; got '30-'. Write it like 30-55deg."),
        ("", "should be two slopes with a hyphen between; got ''. Write it like 30-55deg."),
        ("30,55", "should be two slopes with a hyphen between; got '30,55'. Write it like 30-55deg."),
        (
            "30%-55",
            "has its unit at the end, or one with each slope; got '30%-55'. Write it like 30-55deg.",
        ),
        ("55-30deg", "should rise from above 0 to below 90 degrees; got '55-30deg'. Write it like 30-55deg."),
        ("30-30deg", "should rise from above 0 to below 90 degrees; got '30-30deg'. Write it like 30-55deg."),
        ("0-55deg", "should rise from above 0 to below 90 degrees; got '0-55deg'. Write it like 30-55deg."),
        ("30-90deg", "should rise from above 0 to below 90 degrees; got '30-90deg'. Write it like 30-55deg."),
        ("30-95deg", "should lie between 0 and 90 degrees; got '95deg'. Check value and unit."),
        ("-5-30deg", "should lie between 0 and 90 degrees; got '-5'. Check value and unit."),
        (
            "30-55furlong",
            "takes deg, %, mil or '1in n'; got the unit 'furlong' in '30furlong'. Write it like 34deg.",
        ),
        ("a-b", "should look like 34deg, 62%, 1in2 or 600mil; got 'a'. Give a number and its unit."),
    ],
)
def test_ranges_that_cannot_be_taken(text: str, message: str) -> None:
    with pytest.raises(QuantityError, match=exactly(f"The range {message}")):
        parse_slope_range_deg(text, "The range")


def test_the_sign_stands_before_the_plus() -> None:
    """Legends had "55+°" beside "30°+"."""
    scheme = BandScheme()
    assert [in_degrees(label) for label in scheme.labels][::5] == ["<25°", "45-55°"]
    assert bands_text(scheme.bands[5:], open_above=False, degrees=True) == "45-55° to 55°+"
