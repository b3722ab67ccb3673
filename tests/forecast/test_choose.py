"""Which bulletins are for a region and a time: every rule, its first and its last moment."""

from __future__ import annotations

import dataclasses
import datetime as dt
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from steybrae.errors import BulletinError, DateError
from steybrae.forecast.bulletin import (
    Bulletin,
    DangerRating,
    Region,
    held_together,
    holds_throughout,
    moment_text,
    parse_moment,
)
from steybrae.forecast.choose import Asked, choose

FROM, TO = "2027-01-14T18:00:00+00:00", "2027-01-15T19:00:00+01:00"
LOW = DangerRating("low", None, (), "all_day")


def bulletin(**keys: Any) -> Bulletin:
    plain = Bulletin(
        bulletin_id=None, lang="en", publication_time=None, valid_from=FROM, valid_to=TO, next_update=None,
        unscheduled=None, source=(), regions=(Region("A", "Alpha"),), danger_ratings=(LOW,),
        avalanche_problems=(), highlights=None, texts={}, tendency=(),
    )  # fmt: skip
    return dataclasses.replace(plain, **keys)


def at(text: str) -> dt.datetime:
    return dt.datetime.fromisoformat(text)


def keys_of(*args: Any) -> list[str]:
    return [finding.key for finding in choose(*args).findings]


class TestRegion:
    @pytest.mark.parametrize("asked", ["A", "a", " A ", "Alpha", "alpha"])
    def test_by_id_or_name(self, asked: str) -> None:
        found = choose([bulletin(regions=(Region("B", None),)), bulletin()], Asked(asked, at(FROM)))
        assert [b.regions[0].region_id for b in found.bulletins] == ["A"]
        assert found.findings == ()

    def test_another_region_is_loud_and_shows_nothing(self) -> None:
        found = choose([bulletin()], Asked("C"))
        assert found.bulletins == ()
        assert [(finding.key, finding.text) for finding in found.findings] == [
            (
                "other_region",
                "OTHER REGION: the file has no forecast for region 'C'; it is for A Alpha. Nothing of it is "
                "shown here.",
            )
        ]

    def test_several_regions_and_none_asked(self) -> None:
        with pytest.raises(BulletinError) as caught:
            choose([bulletin(), bulletin(regions=(Region("B", None),))], Asked())
        assert str(caught.value) == (
            "The forecast file has bulletins for several regions (A Alpha, B); none was named. Give --region "
            "with the ID of yours."
        )

    def test_one_set_of_regions_unasked(self) -> None:
        assert keys_of([bulletin()], Asked(None, at(FROM))) == ["region_not_checked"]
        assert keys_of([bulletin(regions=())], Asked(None, at(FROM))) == ["region_not_stated"]

    def test_ten_thousand_regions_are_not_all_named(self) -> None:
        many = tuple(Region(str(k), None) for k in range(10_000))
        (finding,) = choose([bulletin(regions=many)], Asked("C")).findings
        assert "0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11 and 9988 more." in finding.text


class TestTime:
    @pytest.mark.parametrize(
        ("start", "end", "key"),
        [
            (FROM, FROM, None),
            (TO, TO, None),
            (FROM, TO, None),
            ("2027-01-15T18:00:00Z", "2027-01-15T18:00:00Z", None),
            ("2027-01-14T17:59:59Z", "2027-01-14T17:59:59Z", "not_yet_valid"),
            ("2027-01-15T18:00:01Z", "2027-01-15T18:00:01Z", "expired"),
            ("2027-01-14T17:00:00Z", "2027-01-15T10:00:00Z", "partly_valid"),
            ("2027-01-15T10:00:00Z", "2027-01-15T18:00:01Z", "partly_valid"),
            ("2026-01-15T10:00:00Z", "2026-01-15T18:00:00Z", "not_yet_valid"),
        ],
    )
    def test_validity_by_the_second_and_the_zone(self, start: str, end: str, key: str | None) -> None:
        found = choose([bulletin()], Asked("A", at(start), at(end)))
        assert [finding.key for finding in found.findings] == ([key] if key else [])
        assert len(found.bulletins) == 1

    def test_what_ends_as_the_day_begins_is_not_of_that_day(self) -> None:
        day = at("2027-01-16T00:00+00:00"), at("2027-01-17T00:00+00:00")
        before = bulletin(valid_from="2027-01-15T00:00Z", valid_to="2027-01-16T00:00Z")
        after = bulletin(valid_from="2027-01-17T00:00Z", valid_to="2027-01-18T00:00Z")
        assert keys_of([before], Asked("A", *day)) == ["expired"]
        assert keys_of([after], Asked("A", *day)) == ["not_yet_valid"]
        assert keys_of([before], Asked("A", day[0])) == []
        # It read "ended 00:00, before 00:00 of the plan".
        assert choose([before], Asked("A", *day)).findings[0].text == (
            "EXPIRED: this forecast ended 2027-01-16 00:00 UTC, as the plan begins. Get a newer one."
        )
        assert choose([after], Asked("A", *day)).findings[0].text == (
            "NOT YET VALID: this one begins 2027-01-17 00:00 UTC, as the plan ends. Get the one "
            "for that time."
        )

    def test_the_words(self) -> None:
        late, early = at("2027-01-16T08:00+00:00"), at("2027-01-13T08:00+00:00")
        assert choose([bulletin()], Asked("A", late)).findings[0].text == (
            "EXPIRED: this forecast ended 2027-01-15 19:00 UTC+01:00, before 2027-01-16 08:00 UTC of the "
            "plan. Get a newer one."
        )
        assert choose([bulletin()], Asked("A", early)).findings[0].text == (
            "NOT YET VALID: this one begins 2027-01-14 18:00 UTC, after 2027-01-13 08:00 UTC of the "
            "plan. Get the one for that time."
        )
        assert choose([bulletin()], Asked("A", early, late)).findings[0].text == (
            "NOT VALID ALL THE TIME: the plan runs from 2027-01-13 08:00 UTC to 2027-01-16 08:00 UTC, "
            "the forecast holds from 2027-01-14 18:00 UTC to 2027-01-15 19:00 UTC+01:00."
        )

    def test_without_a_time(self) -> None:
        after = at("2027-01-15T18:00:01+00:00")
        assert keys_of([bulletin()], Asked("A", now=at(FROM))) == ["time_not_checked"]
        assert keys_of([bulletin()], Asked("A", now=after)) == ["expired"]
        assert keys_of([bulletin(valid_to=None)], Asked("A", now=after)) == [
            "validity_not_stated",
            "time_not_checked",
        ]

    def test_ends_not_stated(self) -> None:
        assert keys_of([bulletin(valid_from=None)], Asked("A", at(FROM))) == ["validity_not_stated"]
        assert keys_of([bulletin(valid_from=None, valid_to=FROM)], Asked("A", at(TO))) == ["expired"]
        assert keys_of([bulletin(valid_from=TO, valid_to=None)], Asked("A", at(FROM))) == ["not_yet_valid"]

    def test_an_end_that_is_stated_counts_though_the_other_is_not(self) -> None:
        found = choose(
            [bulletin(valid_from=None, valid_to="2027-01-15T08:00Z")], Asked("A", at(FROM), at(TO))
        )
        assert [finding.key for finding in found.findings] == ["partly_valid", "validity_not_stated"]
        assert found.findings[0].text.endswith("holds from no stated time to 2027-01-15 08:00 UTC.")

    def test_the_bulletin_of_that_day_is_taken_and_two_days_join(self) -> None:
        today, tomorrow = bulletin(), bulletin(valid_from=TO, valid_to="2027-01-16T18:00:00Z")
        noon = at("2027-01-16T12:00+00:00")
        assert choose([today, tomorrow], Asked("A", noon)).bulletins == (tomorrow,)
        both = choose([today, tomorrow], Asked("A", at(FROM), noon))
        assert (both.bulletins, both.findings) == ((today, tomorrow), ())

    def test_a_gap_between_two_is_told(self) -> None:
        first, second = bulletin(valid_to="2027-01-15T08:00Z"), bulletin(valid_from="2027-01-15T09:00Z")
        (finding,) = choose([first, second], Asked("A", at(FROM), at(TO))).findings
        assert finding.key == "partly_valid"
        assert finding.text.endswith(
            "holds from 2027-01-14 18:00 UTC to 2027-01-15 08:00 UTC and from 2027-01-15 09:00 UTC to "
            "2027-01-15 19:00 UTC+01:00."
        )
        assert not holds_throughout([first, second], at(FROM), at(TO))
        assert holds_throughout([first, second], at("2027-01-15T09:00+00:00"), at(TO))

    @given(
        st.lists(st.tuples(st.integers(0, 40), st.integers(0, 12)), min_size=1),
        st.integers(0, 40),
        st.integers(0, 12),
    )
    def test_holding_throughout_is_holding_at_every_moment(
        self, spans: list[tuple[int, int]], first: int, length: int
    ) -> None:
        zero = at("2027-01-01T00:00+00:00")

        def hour(count: float) -> dt.datetime:
            return zero + dt.timedelta(hours=count)

        told = [bulletin(valid_from=hour(s).isoformat(), valid_to=hour(s + n).isoformat()) for s, n in spans]
        halves = [first + k / 2 for k in range(2 * length + 1)]
        plain = all(any(s <= half <= s + n for s, n in spans) for half in halves)
        assert holds_throughout(told, hour(first), hour(first + length)) is plain


class TestOthers:
    def test_no_rating_is_not_low(self) -> None:
        for ratings in ((), (DangerRating("no_rating", None, (), "all_day"),)):
            assert keys_of([bulletin(danger_ratings=ratings)], Asked("A", at(FROM))) == ["no_rating"]
        snowless = (DangerRating("no_snow", None, (), "all_day"),)
        assert keys_of([bulletin(danger_ratings=snowless)], Asked("A", at(FROM))) == []
        assert keys_of([bulletin(danger_ratings=())], Asked("A", at("2028-01-01T00:00Z"))) == [
            "expired",
            "no_rating",
        ]

    def test_hours_without_a_rating_are_told(self) -> None:
        noon, unrated = "2027-01-15T12:00Z", bulletin(danger_ratings=(), valid_from="2027-01-15T12:00Z")
        found = choose([bulletin(valid_to=noon), unrated], Asked("A", at(FROM), at(TO)))
        assert [(finding.key, finding.text) for finding in found.findings] == [
            (
                "no_rating",
                "NO RATING: the bulletin for 2027-01-15 12:00 UTC to 2027-01-15 19:00 UTC+01:00 gives no "
                "danger rating. That is not a low one: read its text.",
            )
        ]

    def test_a_walk_ends_as_late_as_its_arrival_is_shown(self) -> None:
        """The arrival is 18:01 on the card; the plan ran to 18:00."""
        found = choose([bulletin()], Asked("A", at(FROM), at("2027-01-15T18:00:20+00:00")))
        assert "the plan runs from 2027-01-14 18:00 UTC to 2027-01-15 18:01 UTC," in found.findings[0].text
        assert moment_text(at("2027-01-15T23:59:20+00:00"), late=True) == "2027-01-16 00:00 UTC"
        assert moment_text(at("9999-12-31T23:59:20+00:00"), late=True) == "9999-12-31 23:59 UTC"

    def test_who_holds_together(self) -> None:
        hours = [f"2027-01-15T{hour:02d}:00Z" for hour in range(9, 13)]
        day, early = bulletin(), bulletin(valid_to=hours[1])
        late = bulletin(valid_from=hours[2])
        told = [day, early, late]
        assert held_together(told, (at(hours[0]), at(hours[3]))) == [[day, early], [day], [day, late]]
        assert held_together(told, (at(hours[3]), at(hours[3]))) == [[day, late]]
        assert held_together(told[1:], (None, None)) == [[early], [late]]
        assert held_together([early], (at(hours[2]), at(hours[3]))) == [[early]]

    def test_a_next_one_that_is_out_by_then_is_told(self) -> None:
        """An evening's bulletin, announced to be renewed at seven, stood bare on the card of that morning."""
        told = bulletin(publication_time=FROM, next_update="2027-01-15T07:00Z")
        (finding,) = choose([told], Asked("A", at("2027-01-15T07:00+00:00"), at(TO))).findings
        assert (finding.key, finding.text) == (
            "update_due",
            "NEWER FORECAST: the next was due 2027-01-15 07:00 UTC. Get it before you go.",
        )
        assert keys_of([told], Asked("A", at("2027-01-15T06:59+00:00"), at(TO))) == []
        now = at("2027-01-15T08:00+00:00")
        assert keys_of([told], Asked("A", now=now)) == ["update_due", "time_not_checked"]
        # That one itself, beside it or alone, says when the one after it is due.
        newer = dataclasses.replace(told, publication_time="2027-01-15T07:00Z", next_update=TO)
        newer = dataclasses.replace(newer, valid_from="2027-01-15T07:00Z")
        assert keys_of([told, newer], Asked("A", now)) == ["several"]
        assert keys_of([told], Asked("A", at("2027-01-17T08:00+00:00"))) == ["expired"]
        for late in (None, "2027-01-14T17:00Z"):
            assert keys_of([dataclasses.replace(told, next_update=late)], Asked("A", now)) == []

    def test_no_bulletin(self) -> None:
        assert keys_of([], Asked()) == ["no_bulletin"]

    def test_languages(self) -> None:
        german, english = bulletin(lang="de"), bulletin(lang="EN")
        found = choose([german, english], Asked("A", at(FROM)))
        assert (found.bulletins, found.notes) == ((german,), ("Languages in the file: de, en; shown: de.",))
        assert choose([german, english], Asked("A", at(FROM), lang="en")).bulletins == (english,)
        found = choose([german], Asked("A", at(FROM), lang="fr"))
        assert found.bulletins == (german,)
        assert found.notes == ("Languages in the file: de; shown: de. 'fr' is not among them.",)

    def test_another_language_for_other_hours_is_no_translation(self) -> None:
        german = bulletin(lang="de", valid_to="2027-01-15T10:00Z")
        assert choose([bulletin(), german], Asked("A", at(FROM), at(TO))).bulletins == (bulletin(), german)

    def test_another_language_published_later_or_for_other_regions_is_no_translation(self) -> None:
        english = bulletin(publication_time="2027-01-14T17:00Z")
        german = dataclasses.replace(english, lang="de", publication_time="2027-01-15T09:00Z")
        assert choose([english, german], Asked("A", at(TO), lang="en")).bulletins == (german, english)
        assert choose([english, german], Asked("A", at(TO), lang="de")).bulletins == (german,)
        other = dataclasses.replace(english, lang="de", regions=(Region("A", None), Region("B", None)))
        assert choose([english, other], Asked("A", at(TO), lang="en")).bulletins == (english, other)

    def test_the_later_publication_replaces(self) -> None:
        old = bulletin(publication_time="2027-01-14T17:00:00Z")
        new = bulletin(publication_time="2027-01-14T18:30:00+01:00")
        found = choose([new, old], Asked("A", at(FROM)))
        assert found.bulletins == (new,)
        assert found.notes == (
            "A bulletin was passed over for one published later for the same hours and regions.",
        )
        same = dataclasses.replace(new, valid_from="2027-01-14T19:00:00+01:00")
        assert choose([old, same], Asked("A", at(FROM))).bulletins == (same,)

    def test_an_update_stands_first_and_is_told(self) -> None:
        """What it replaces for the rest of the day stood before it, neither with when it was published."""
        old = bulletin(publication_time="2027-01-14T17:00:00Z")
        update = bulletin(publication_time="2027-01-15T06:00:00Z", valid_from="2027-01-15T06:00:00Z")
        found = choose([old, update], Asked("A", at(TO)))
        assert found.bulletins == (update, old)
        assert [(finding.key, finding.text) for finding in found.findings] == [
            (
                "several",
                "SEVERAL FORECASTS for the same hours: the last was published 2027-01-15 06:00 UTC, for "
                "2027-01-15 06:00 UTC to 2027-01-15 19:00 UTC+01:00.",
            )
        ]
        morning = dataclasses.replace(old, valid_to=update.valid_from)
        assert choose([morning, update], Asked("A", at(FROM), at(TO))).bulletins == (morning, update)

    def test_ten_thousand_publications_are_linear(self) -> None:
        day = at("2027-01-14T00:00+00:00")
        many = [bulletin(publication_time=(day + dt.timedelta(seconds=k)).isoformat()) for k in range(10_000)]
        found = choose(many, Asked("A", at(FROM)))
        assert found.bulletins == (many[-1],)
        assert found.notes[0].startswith("9999 bulletins were passed over")

    @pytest.mark.parametrize(
        "text", ["", "09:30", "2027-01-15", "2027-01-15T09:30", "now", "2027-13-01T00:00Z"]
    )
    def test_moments_need_their_zone(self, text: str) -> None:
        with pytest.raises(DateError) as caught:
            parse_moment(text, "The time")
        assert str(caught.value) == (
            f"The time should be a date and time with its zone, like 2027-01-15T09:30+00:00; got {text!r}. "
            "Add what is missing."
        )
