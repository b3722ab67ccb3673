"""What a bulletin names is told where it stands first: on the line, else beside it, else overhead."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

from steybrae.answers.forecast import (
    finding_blocks,
    finding_lines,
    forecast_blocks,
    forecast_lines,
    leg_finding_lines,
    leg_lines,
    named_blocks,
    named_text,
    part_texts,
    written,
)
from steybrae.document import Table
from steybrae.forecast.beside import ForecastBeside, LegForecast, NamedOnLeg
from steybrae.forecast.bulletin import Bulletin, DangerRating, Elevation, out_of_time_text
from steybrae.forecast.choose import Finding
from steybrae.forecast.named import Crossed

NOTHING = Crossed(0.0, False, (), ())
BULLETIN = Bulletin(None, "en", None, None, None, None, None, (), (), (), (), None, {}, ())
SOME = Crossed(80.0, False, ((0.0, 80.0),), ("N",), 0.0)


def leg(number: int, line: Crossed, corridor: Crossed, overhead: Crossed) -> LegForecast:
    named = NamedOnLeg("danger_rating", 0, 0, "moderate", "all aspects", True, line, corridor, overhead)
    return LegForecast(number, "A", "B", None, None, (), (named,), None)


def far(metres: float) -> Crossed:
    return replace(SOME, nearest_m=metres)


def beside(*legs: LegForecast) -> ForecastBeside:
    return ForecastBeside("b.json", None, None, None, None, 30.0, 24.0, (), (), legs, (), (), (), ())


def test_each_leg_is_named_once_and_those_below_by_what_is_nearest() -> None:
    found = beside(
        leg(1, NOTHING, NOTHING, far(430.0)),
        leg(2, SOME, SOME, far(0.0)),
        leg(3, SOME, SOME, NOTHING),
        leg(4, NOTHING, SOME, far(20.0)),
        leg(5, NOTHING, NOTHING, far(90.0)),
        leg(6, NOTHING, NOTHING, NOTHING),
    )
    assert named_text(found, 0, 0) == (
        "on the line of legs 2-3; in the corridor of leg 4; overhead alone, nearest first, "
        "of legs 5 (90 m off), 1 (430 m off)"
    )


def test_what_finds_no_room_is_counted_and_nothing_found_is_said() -> None:
    found = beside(*(leg(number, NOTHING, NOTHING, far(100.0 * number)) for number in range(1, 8)))
    assert named_text(found, 0, 0).endswith(
        "of legs 1 (100 m off), 2 (200 m off), 3 (300 m off), 4 (400 m off), 3 more"
    )
    assert named_text(beside(leg(1, NOTHING, NOTHING, NOTHING)), 0, 0) == "no ground that was found"
    unknown = leg(1, NOTHING, NOTHING, replace(NOTHING, at_least=True))
    assert named_text(beside(unknown), 0, 0) == "perhaps unknown ground overhead of leg 1"
    assert list(named_blocks(beside())) == []


def test_how_far_off_the_nearest_is_is_no_second_length() -> None:
    """ "80 m overhead from 620 m off" was read as a stretch."""
    assert leg_lines(leg(1, SOME, NOTHING, far(620.0))) == (
        "moderate (2), all aspects: 80 m on the line, 80 m overhead (nearest 620 m off)",
    )


def test_unknown_ground_may_be_named() -> None:
    unknown = Crossed(0.0, True, (), ())
    off = replace(leg(1, NOTHING, unknown, unknown).named[0], kind="avalanche_problem", meets_heights=False)
    found = LegForecast(1, "A", "B", None, None, (), (off,), None)
    assert leg_lines(found) == (
        "moderate (2), all aspects: perhaps unknown ground in the corridor, perhaps unknown ground overhead",
    )
    blocks = forecast_blocks(replace(beside(found), bulletins=(BULLETIN,)))
    (table,) = (block for block in blocks if isinstance(block, Table))
    assert table.columns[1].of(found) == "- | 0+ | 0+"


def test_a_finding_of_many_legs_leaves_room_for_the_levels() -> None:
    start = dt.datetime(2027, 1, 15, 8, tzinfo=dt.UTC)
    hours = [start + dt.timedelta(hours=number) for number in range(6)]
    unrated = Finding("leg_no_rating", "NO RATING for the heights of this leg.")

    def late(number: int) -> LegForecast:
        ends = hours[number - 1], hours[number]
        text = out_of_time_text("this leg is", *ends)
        found = (Finding("leg_out_of_time", text), unrated)
        first, last = (end.isoformat() for end in ends)
        return LegForecast(number, "A", "B", first, last, found, (), None)

    assert leg_finding_lines(beside(late(1), late(2), late(4))) == (
        "Legs 1-2: NOT VALID ALL THE TIME: these legs are walked 2027-01-15 08:00 UTC to 2027-01-15 10:00 "
        "UTC, outside the hours of the forecast.",
        "Leg 4: NOT VALID ALL THE TIME: this leg is walked 2027-01-15 11:00 UTC to 2027-01-15 12:00 UTC, "
        "outside the hours of the forecast.",
        "Legs 1-2 4: NO RATING for the heights of these legs.",
    )
    # Pages and figures take what has to be seen first from here: of legs they had nothing.
    assert finding_lines(beside(late(1)))[1] == "Leg 1: NO RATING for the heights of this leg."
    expired = replace(beside(late(1)), findings=(Finding("expired", "EXPIRED."),))
    assert finding_lines(expired) == ("EXPIRED.",)


def test_heights_without_a_rating_come_before_those_with_one() -> None:
    ratings = (
        DangerRating("low", Elevation(None, "800"), (), "all_day"),
        DangerRating("no_rating", Elevation("800", None), (), "all_day"),
    )
    (told,) = part_texts(replace(BULLETIN, danger_ratings=ratings, avalanche_problems=()))
    assert told.startswith("Danger rating no rating: above 800 m, all aspects; low (1): below 800 m")
    none = replace(BULLETIN, danger_ratings=())
    assert list(part_texts(none)) == ["No danger rating and no problem in this bulletin."]
    rated = replace(BULLETIN, danger_ratings=ratings[:1])
    first, source, second, *_ = finding_blocks(replace(beside(), bulletins=(rated, none)), alone=True)
    valid = "Avalanche forecast, valid at times not stated."
    assert first.text == f"{valid} No danger rating and no problem in this bulletin."
    assert second.text.startswith(f"{valid} Danger rating low (1): ")
    assert source.text == (
        "From source not stated; published not stated; next not stated; no region stated; language en."
    )


def test_the_standards_tags_are_left_out_and_nothing_else() -> None:
    text = "New <b>slabs</b> in<br/>gullies, <B>size</B> 2 <br /> size < 3 & > 1 <script>x</script> <bold>"
    assert written(text) == "New slabs in gullies, size 2 size < 3 & > 1 <script>x</script> <bold>"


def test_levels_of_a_leg_stand_after_when_their_bulletin_holds() -> None:
    """Morning's and afternoon's levels of a leg stood in one row, none with its hours."""
    noon = "2027-01-15T12:00:00Z"
    bulletins = (replace(BULLETIN, valid_to=noon), replace(BULLETIN, valid_from=noon), BULLETIN)
    (row,) = leg(1, SOME, NOTHING, NOTHING).named
    rows = tuple(replace(row, bulletin=number) for number in range(3))
    found = LegForecast(1, "A", "B", None, None, (), rows, None)
    level = "moderate (2), all aspects: 80 m on the line"
    told = (
        "Valid a time not stated to 2027-01-15 12:00 UTC", level,
        "Valid 2027-01-15 12:00 UTC to a time not stated", level,
        "Valid at times not stated", level,
    )  # fmt: skip
    assert leg_lines(found, bulletins) == told
    several = replace(beside(found), bulletins=bulletins)
    (table,) = (block for block in forecast_blocks(several) if isinstance(block, Table))
    assert table.columns[2].heading == (
        "moderate (2)\nall aspects\nvalid 2027-01-15 12:00 UTC to a time not stated"
    )
    assert f"Leg 1: {'; '.join(told)}." in forecast_lines(several)
