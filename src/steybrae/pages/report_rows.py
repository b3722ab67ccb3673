"""The rows of the report's tables of places worth a reading."""

from __future__ import annotations

from steybrae.answers.overhead import expected
from steybrae.pages.report_words import look_words
from steybrae.screening.result import RouteScreening
from steybrae.value import length


def reading_rows(screening: RouteScreening) -> tuple[tuple[str, ...], ...]:
    """Give name, leg, along it, place, look, expect, 95 % and what, of each check."""
    return tuple(
        (
            one.name,
            str(leg.number),
            length(one.chainage_m or 0.0).text,
            f"{one.place.lat_deg:.5f}, {one.place.lon_deg:.5f}",
            look_words(one.look_bearing_true_deg),
            expected(one).text,
            expected(one).interval_text,
            one.what,
        )
        for leg in screening.legs
        for one in leg.expected_readings
    )
