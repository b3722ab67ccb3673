"""Bulletins from files: every value of the standard, its traps, and files that break it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from steybrae.errors import FileReadError, SteybraeError
from steybrae.files import bulletins
from steybrae.files.bulletins import MOST_TEXT, read_bulletins
from steybrae.forecast.bulletin import (
    DANGER_VALUES,
    FREQUENCIES,
    PERIODS,
    PROBLEM_TYPES,
    STABILITIES,
    BulletinFile,
    Elevation,
    Region,
    Texts,
)
from steybrae.names import clean
from steybrae.terrain.attributes import SECTORS

SCHEMA = Path(__file__).resolve().parents[3] / "shared/data/caaml/CAAMLv6_BulletinEAWS.schema.json"
ENDING = " Get the file again, or read the bulletin by eye."


def read(folder: Path, tree: Any) -> BulletinFile:
    path = folder / "b.json"
    path.write_text(tree if isinstance(tree, str) else json.dumps(tree), encoding="utf-8")
    return read_bulletins(path)


def one(folder: Path, **keys: Any) -> Any:
    found = read(folder, {"bulletins": [keys]})
    assert len(found.bulletins) == 1
    return found.bulletins[0]


def refused(folder: Path, tree: Any) -> str:
    with pytest.raises(SteybraeError) as caught:
        read(folder, tree)
    return str(caught.value)


def tried(folder: Path, tree: Any) -> tuple[BulletinFile | None, str]:
    """Return what was read, or the words of the refusal."""
    try:
        return read(folder, tree), ""
    except SteybraeError as error:
        return None, str(error)


class TestValues:
    @pytest.mark.parametrize("value", DANGER_VALUES)
    def test_levels(self, tmp_path: Path, value: str) -> None:
        found = one(tmp_path, dangerRatings=[{"mainValue": value}])
        assert [rating.main_value for rating in found.danger_ratings] == [value]
        assert found.danger_ratings[0].elevation is None
        assert found.danger_ratings[0].aspects == ()
        assert found.danger_ratings[0].valid_time_period == "all_day"

    @pytest.mark.parametrize("value", PROBLEM_TYPES)
    def test_problems(self, tmp_path: Path, value: str) -> None:
        found = one(tmp_path, avalancheProblems=[{"problemType": value}])
        assert found.avalanche_problems[0].problem_type == value

    @pytest.mark.parametrize("value", PERIODS)
    def test_periods(self, tmp_path: Path, value: str) -> None:
        found = one(tmp_path, dangerRatings=[{"mainValue": "low", "validTimePeriod": value}])
        assert found.danger_ratings[0].valid_time_period == value

    @pytest.mark.parametrize("value", SECTORS)
    def test_aspects(self, tmp_path: Path, value: str) -> None:
        found = one(tmp_path, dangerRatings=[{"mainValue": "low", "aspects": [value]}])
        assert found.danger_ratings[0].aspects == (value,)

    @pytest.mark.parametrize("value", STABILITIES)
    def test_stabilities(self, tmp_path: Path, value: str) -> None:
        found = one(tmp_path, avalancheProblems=[{"problemType": "new_snow", "snowpackStability": value}])
        assert found.avalanche_problems[0].snowpack_stability == value

    @pytest.mark.parametrize("value", FREQUENCIES)
    def test_frequencies(self, tmp_path: Path, value: str) -> None:
        found = one(tmp_path, avalancheProblems=[{"problemType": "new_snow", "frequency": value}])
        assert found.avalanche_problems[0].frequency == value

    @pytest.mark.parametrize("value", [1, 2, 2.5, 3, 4, 5])
    def test_sizes(self, tmp_path: Path, value: float) -> None:
        found = one(tmp_path, avalancheProblems=[{"problemType": "new_snow", "avalancheSize": value}])
        assert found.avalanche_problems[0].avalanche_size == value

    @pytest.mark.parametrize(
        ("written", "low", "high"),
        [
            ({"lowerBound": "1800"}, "1800", None),
            ({"upperBound": "1800"}, None, "1800"),
            ({"lowerBound": "0", "upperBound": "2400"}, "0", "2400"),
            ({"lowerBound": "treeline"}, "treeline", None),
            ({"lowerBound": "treeline", "upperBound": "900"}, "treeline", "900"),
            ({"lowerBound": "900", "upperBound": "900"}, "900", "900"),
            ({}, None, None),
        ],
    )
    def test_bounds(self, tmp_path: Path, written: Any, low: str | None, high: str | None) -> None:
        found = read(
            tmp_path, {"bulletins": [{"dangerRatings": [{"mainValue": "low", "elevation": written}]}]}
        )
        assert found.bulletins[0].danger_ratings[0].elevation == Elevation(low, high)
        assert found.notes == ()

    def test_a_bound_off_the_hundreds_is_taken_and_noted(self, tmp_path: Path) -> None:
        tree = {
            "bulletins": [{"dangerRatings": [{"mainValue": "low", "elevation": {"lowerBound": "1850"}}] * 2}]
        }
        found = read(tmp_path, tree)
        assert found.bulletins[0].danger_ratings[1].elevation == Elevation("1850", None)
        assert found.notes == (
            "The bound '1850' is not in whole hundreds of metres, as the standard has it; it was taken as "
            "written (2 times).",
        )

    def test_not_applicable_aspects_are_all_of_them_and_noted(self, tmp_path: Path) -> None:
        tree = {"bulletins": [{"dangerRatings": [{"mainValue": "low", "aspects": ["n/a"]}]}]}
        found = read(tmp_path, tree)
        assert found.bulletins[0].danger_ratings[0].aspects == ()
        assert found.notes == (
            "Aspects say 'n/a'; where no sector stands beside it, all aspects were taken.",
        )

    @pytest.mark.parametrize(
        "written",
        [
            "2027-01-15T17:00:00Z",
            "2027-01-15T17:00:00.000+01:00",
            "2027-01-15t17:00:00z",
            "2027-01-15T17:00-07",
        ],
    )
    def test_times_stay_as_written(self, tmp_path: Path, written: str) -> None:
        found = one(tmp_path, publicationTime=written, nextUpdate=written, validTime={"startTime": written})
        assert (found.publication_time, found.next_update, found.valid_from, found.valid_to) == (
            written, written, written, None,
        )  # fmt: skip

    def test_all_texts_letter_by_letter(self, tmp_path: Path) -> None:
        words = '<b>Näher</b> & "weiter"\n<script>alert(1)</script> \u202e\x1b[31m'
        texts = {"highlights": words, "comment": words}
        found = one(
            tmp_path, highlights=words, weatherForecast=texts, weatherReview=texts, avalancheActivity=texts,
            snowpackStructure=texts, travelAdvisory=texts, tendency=[texts, {"tendencyType": "steady"}],
            avalancheProblems=[{"problemType": "new_snow", "comment": words}],
        )  # fmt: skip
        # What steers a terminal or turns the writing is shown or gone; markup is text like any other.
        words = '<b>Näher</b> & "weiter" <script>alert(1)</script> \ufffd[31m'
        assert found.highlights == words
        assert found.avalanche_problems[0].comment == words
        assert set(found.texts) == {
            "weather_forecast",
            "weather_review",
            "avalanche_activity",
            "snowpack_structure",
            "travel_advisory",
        }
        assert set(found.texts.values()) == {Texts(words, words)}
        assert found.tendency == ({"highlights": words, "comment": words}, {"tendency_type": "steady"})

    def test_source_and_regions(self, tmp_path: Path) -> None:
        person = {"name": "P", "website": "https://p.example"}
        provider = {"name": "S", "website": "https://s.example", "contactPerson": person}
        found = one(
            tmp_path,
            source={"provider": provider},
            regions=[{"regionID": "X", "name": "n"}, {"regionID": "Y"}],
        )
        assert found.source == ("S", "https://s.example", "P", "https://p.example")
        assert found.regions == (Region("X", "n"), Region("Y", None))
        assert one(tmp_path, source={"person": person}).source == ("P", "https://p.example")

    def test_half_a_surrogate_pair_does_not_reach_an_output(self, tmp_path: Path) -> None:
        found = read(tmp_path, '{"bulletins": [{"highlights": "a\\ud800b", "x\\udfff": 1}]}')
        found.bulletins[0].highlights.encode()  # type: ignore[union-attr]
        "".join((*found.bulletins[0].extras, *found.notes)).encode()

    def test_a_byte_order_mark_is_passed_over(self, tmp_path: Path) -> None:
        assert read(tmp_path, '\ufeff{"bulletins": []}').bulletins == ()


class TestPatience:
    def test_unknown_extras_are_kept_and_noted(self, tmp_path: Path) -> None:
        rating = {"mainValue": "low", "colour": "green", "elevation": {"lowerBound": "900", "why": [1]}}
        found = read(
            tmp_path,
            {"bulletins": [{"dangerRatings": [rating], "more": {"a": None}, "customData": {"b": 1}}]},
        )
        assert found.bulletins[0].extras == {
            "bulletins[0].more": '{"a": null}',
            "bulletins[0].dangerRatings[0].colour": '"green"',
            "bulletins[0].dangerRatings[0].elevation.why": "[1]",
        }
        assert found.notes == tuple(
            f"The key '{key}' is none of the standard's here; it was kept and not read."
            for key in ("more", "colour", "why")
        )

    @pytest.mark.parametrize(
        ("old", "new"), [("wind_drifted_snow", "wind_slab"), ("cornice_failure", "cornices")]
    )
    def test_older_drafts_problem_names(self, tmp_path: Path, old: str, new: str) -> None:
        found = read(tmp_path, {"bulletins": [{"avalancheProblems": [{"problemType": old}]}]})
        assert found.bulletins[0].avalanche_problems[0].problem_type == new
        assert found.notes == (f"The older drafts' '{old}' was read as '{new}'.",)

    def test_older_drafts_keys(self, tmp_path: Path) -> None:
        item = {
            "regions": [{"id": "X"}],
            "wxSynopsis": {"comment": "wind"},
            "tendency": {"tendencyType": "increasing", "comment": "more"},
        }
        found = read(tmp_path, {"bulletins": [item]})
        assert found.bulletins[0].regions == (Region("X", None),)
        assert found.bulletins[0].texts == {"weather_forecast": Texts(None, "wind")}
        assert found.bulletins[0].tendency == ({"tendency_type": "increasing", "comment": "more"},)
        assert found.notes == (
            "A region has the older drafts' key 'id'; it was read as 'regionID'.",
            "The older drafts' key 'wxSynopsis' was read as 'weatherForecast'.",
            "The older drafts' 'tendency' as an object was read as a list of one.",
        )

    def test_null_is_absent(self, tmp_path: Path) -> None:
        keys = (
            "lang",
            "validTime",
            "source",
            "regions",
            "dangerRatings",
            "avalancheProblems",
            "tendency",
            "highlights",
        )
        found = one(tmp_path, **dict.fromkeys(keys))
        assert (found.lang, found.valid_from, found.danger_ratings, found.tendency) == (None, None, (), ())


RATING = "bulletins[0].dangerRatings[0]"
PROBLEM = "bulletins[0].avalancheProblems[0]"
LEVELS = "one of low, moderate, considerable, high, very_high, no_snow, no_rating"
BOUND = 'text of whole metres in hundreds, like "1800", or "treeline"'
MOMENT = "an ISO 8601 date and time with its zone"


TWO = {"lowerBound": "1800", "upperBound": "900"}
VALID = {"startTime": "2027-01-15T17:00Z", "endTime": "2027-01-15T17:00+01:00"}
EARLY = "0001-01-01T00:00+14:00"
SECTOR = "one of N, NE, E, SE, S, SW, W, NW, n/a"
PERIOD = "one of all_day, earlier, later"
TENDENCY = "one of decreasing, steady, increasing"


def bound(key: str, value: Any) -> tuple[Any, str]:
    """Return a rating with one bound, and the key's place in it."""
    return {"mainValue": "low", "elevation": {key: value}}, f".elevation.{key}"


class TestRefused:
    @pytest.mark.parametrize(
        ("rating", "key", "expected", "got"),
        [
            ({}, ".mainValue", LEVELS, "null"),
            ({"mainValue": None}, ".mainValue", LEVELS, "null"),
            ({"mainValue": 3}, ".mainValue", LEVELS, "3"),
            ({"mainValue": "Considerable"}, ".mainValue", LEVELS, '"Considerable"'),
            ({"mainValue": ["low"]}, ".mainValue", LEVELS, '["low"]'),
            ("low", "", "an object", '"low"'),
            ({"mainValue": "low", "elevation": "1800"}, ".elevation", "an object", '"1800"'),
            (*bound("lowerBound", 1850), BOUND, "1850"),
            (*bound("upperBound", "abc0"), BOUND, '"abc0"'),
            (*bound("lowerBound", "0900"), BOUND, '"0900"'),
            (*bound("lowerBound", "-100"), BOUND, '"-100"'),
            (*bound("lowerBound", "18000"), BOUND, '"18000"'),
            (*bound("lowerBound", "900\n"), BOUND, '"900\\n"'),
            (*bound("lowerBound", "Treeline"), BOUND, '"Treeline"'),
            (
                {"mainValue": "low", "elevation": TWO},
                ".elevation.upperBound", "no lower than lowerBound 1800", '"900"',
            ),
            ({"mainValue": "low", "aspects": "N"}, ".aspects", "a list", '"N"'),
            ({"mainValue": "low", "aspects": ["N", "north"]}, ".aspects[1]", SECTOR, '"north"'),
            ({"mainValue": "low", "validTimePeriod": "am"}, ".validTimePeriod", PERIOD, '"am"'),
        ],
    )  # fmt: skip
    def test_ratings(self, tmp_path: Path, rating: Any, key: str, expected: str, got: str) -> None:
        words = refused(tmp_path, {"bulletins": [{"dangerRatings": [rating]}]})
        assert words == f"The forecast's {RATING}{key} should be {expected}; got {got}.{ENDING}"

    @pytest.mark.parametrize(
        ("keys", "key", "expected", "got"),
        [
            ({"problemType": "wind"}, ".problemType", f"one of {', '.join(PROBLEM_TYPES)}", '"wind"'),
            ({"avalancheSize": 0}, ".avalancheSize", "a number from 1 to 5", "0"),
            ({"avalancheSize": 5.1}, ".avalancheSize", "a number from 1 to 5", "5.1"),
            ({"avalancheSize": True}, ".avalancheSize", "a number from 1 to 5", "true"),
            ({"avalancheSize": "2"}, ".avalancheSize", "a number from 1 to 5", '"2"'),
            ({"frequency": "often"}, ".frequency", "one of none, few, some, many", '"often"'),
            ({"snowpackStability": ""}, ".snowpackStability", "one of good, fair, poor, very_poor", '""'),
            ({"dangerRatingValue": "4"}, ".dangerRatingValue", LEVELS, '"4"'),
            ({"comment": 1}, ".comment", "text", "1"),
        ],
    )
    def test_problems(self, tmp_path: Path, keys: Any, key: str, expected: str, got: str) -> None:
        tree = {"bulletins": [{"avalancheProblems": [{"problemType": "new_snow", **keys}]}]}
        assert (
            refused(tmp_path, tree)
            == f"The forecast's {PROBLEM}{key} should be {expected}; got {got}.{ENDING}"
        )

    @pytest.mark.parametrize(
        ("keys", "key", "expected", "got"),
        [
            ({"publicationTime": "2027-01-15T17:00:00"}, "publicationTime", MOMENT, '"2027-01-15T17:00:00"'),
            ({"publicationTime": "yesterday"}, "publicationTime", MOMENT, '"yesterday"'),
            ({"nextUpdate": "2027-01-15"}, "nextUpdate", MOMENT, '"2027-01-15"'),
            ({"validTime": {"startTime": "2027-02-30T0Z"}}, "validTime.startTime", MOMENT, '"2027-02-30T0Z"'),
            ({"validTime": {"endTime": EARLY}}, "validTime.endTime", MOMENT, f'"{EARLY}"'),
            (
                {"validTime": VALID},
                "validTime.endTime",
                "no earlier than startTime 2027-01-15T17:00Z",
                '"2027-01-15T17:00+01:00"',
            ),
            ({"validTime": "today"}, "validTime", "an object", '"today"'),
            ({"regions": [{"name": "x"}]}, "regions[0].regionID", "the region's ID", "null"),
            ({"regions": [{"id": 7}]}, "regions[0].id", "text", "7"),
            ({"regions": {"regionID": "x"}}, "regions", "a list", '{"regionID": "x"}'),
            ({"dangerRatings": {}}, "dangerRatings", "a list", "{}"),
            ({"unscheduled": "yes"}, "unscheduled", "true or false", '"yes"'),
            ({"source": "S"}, "source", "an object", '"S"'),
            ({"source": {"provider": "S"}}, "source.provider", "an object", '"S"'),
            ({"travelAdvisory": 1}, "travelAdvisory", "an object", "1"),
            ({"tendency": [{"tendencyType": "up"}]}, "tendency[0].tendencyType", TENDENCY, '"up"'),
        ],
    )  # fmt: skip
    def test_the_rest(self, tmp_path: Path, keys: Any, key: str, expected: str, got: str) -> None:
        words = refused(tmp_path, {"bulletins": [keys]})
        assert words == f"The forecast's bulletins[0].{key} should be {expected}; got {got}.{ENDING}"

    @pytest.mark.parametrize(
        "tree", ["[]", "{}", '"x"', "null", '{"type": "FeatureCollection", "features": []}']
    )
    def test_another_kind_of_file(self, tmp_path: Path, tree: str) -> None:
        assert refused(tmp_path, tree) == (
            "A forecast file should be CAAML v6 JSON, an object with 'bulletins'; b.json is not. Get the "
            "bulletin in that form, or read it by eye."
        )

    def test_keys_that_stand_twice(self, tmp_path: Path) -> None:
        text = '{"bulletins": [{"dangerRatings": [{"mainValue": "low", "mainValue": "high"}]}]}'
        assert refused(tmp_path, text) == (
            "Every key of a forecast should stand once; 'mainValue' stands twice in one object, and which of "
            "the two holds cannot be told. Get the file again."
        )

    @pytest.mark.parametrize("text", ["", "{", "<xml/>", '{"bulletins": NaN}', '{"bulletins": [Infinity]}'])
    def test_no_json(self, tmp_path: Path, text: str) -> None:
        words = refused(tmp_path, text)
        assert words.startswith("The forecast file b.json should be JSON; it is not (")
        assert words.endswith("). Get it again.")

    def test_no_text(self, tmp_path: Path) -> None:
        (tmp_path / "b.json").write_bytes(b'{"bulletins": ["\xff"]}')
        with pytest.raises(
            FileReadError, match=r"^The forecast file b\.json should be text in UTF-8; it is not\. "
        ):
            read_bulletins(tmp_path / "b.json")

    @pytest.mark.parametrize("deep", ['{"a":' * 100_000, "[" * 100_000])
    def test_a_bomb_of_brackets(self, tmp_path: Path, deep: str) -> None:
        assert refused(tmp_path, deep) == (
            "The forecast file b.json should be CAAML v6; it is nested too deep. Get it again."
        )

    def test_persons_within_persons(self, tmp_path: Path) -> None:
        deep = '{"contactPerson":' * 400 + "{}" + "}" * 400
        words = f'{{"bulletins": [{{"source": {{"provider": {deep}}}}}]}}'
        assert read(tmp_path, words).bulletins[0].source == ()

    def test_missing_folder_and_too_large(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        for path in (tmp_path / "none.json", tmp_path):
            with pytest.raises(
                FileReadError, match=r"^The forecast file .* could not be read: .*\. Check the path\.$"
            ):
                read_bulletins(path)
        monkeypatch.setattr(bulletins, "MOST_FILE_BYTES", 10**6)
        (tmp_path / "big.json").write_text(" " * (2**20 + 1))
        with pytest.raises(
            FileReadError, match=r"^A forecast file should have at most 1 MB; big\.json has more\. "
        ):
            read_bulletins(tmp_path / "big.json")


TEXT = st.text(max_size=12)
MOMENTS = st.datetimes(timezones=st.timezones()).map(lambda moment: moment.isoformat()) | st.sampled_from(
    ["2027-01-15T17:00:00Z", "2026-01-15T17:00:00+01:00"]
)
VALUES: dict[str, Any] = {"date-time": MOMENTS, "uri": TEXT}


def made_from(schema: dict[str, Any], root: dict[str, Any]) -> st.SearchStrategy[Any]:  # noqa: PLR0911
    """Make values from the parts of JSON Schema that the standard uses."""
    if "$ref" in schema:
        return st.deferred(lambda: made_from(root["definitions"][schema["$ref"].rpartition("/")[2]], root))
    if "anyOf" in schema:
        return st.one_of([made_from(part, root) for part in schema["anyOf"]])
    if "enum" in schema:
        return st.sampled_from(schema["enum"])
    kind = schema.get("type")
    if kind == "object":
        needed = set(schema.get("required", ()))
        parts = {key: made_from(part, root) for key, part in schema["properties"].items()}
        whole = st.fixed_dictionaries(
            {key: part for key, part in parts.items() if key in needed},
            optional={key: part for key, part in parts.items() if key not in needed},
        )
        if "oneOf" in schema:
            return st.sampled_from([part["required"][0] for part in schema["oneOf"]]).flatmap(
                lambda key: parts[key].map(lambda value: {key: value})
            )
        return whole
    if kind == "array":
        return st.lists(made_from(schema["items"], root), max_size=3)
    if kind == "number":
        return st.integers(schema["minimum"], schema["maximum"]) | st.floats(
            schema["minimum"], schema["maximum"]
        )
    if kind == "boolean":
        return st.booleans()
    if kind == "string":
        if "pattern" in schema:
            return st.sampled_from(["treeline", "0", "100", "1800", "1850", "abc0", "1900"])
        if "format" in schema:
            return VALUES[schema["format"]]
        return st.text(min_size=schema.get("minLength", 0), max_size=schema.get("maxLength", 12))
    return st.none() | st.integers() | TEXT


@pytest.mark.skipif(not SCHEMA.is_file(), reason="the standard's schema is not beside the project")
class TestFromTheSchema:
    @given(st.data())
    @settings(
        max_examples=60,
        deadline=None,
        suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
    )
    def test_what_it_allows_never_crashes_and_no_rating_is_lost(
        self, tmp_path: Path, data: st.DataObject
    ) -> None:
        schema = json.loads(SCHEMA.read_text("utf-8"))
        tree = data.draw(made_from(schema, schema))
        jsonschema.Draft7Validator(schema).validate(tree)
        found, words = tried(tmp_path, tree)
        if found is None:
            # Only what its unanchored pattern and its unordered bounds let pass.
            assert any(word in words for word in ("Bound", "endTime"))
            return
        for told, item in zip(found.bulletins, tree["bulletins"], strict=True):
            ratings = item.get("dangerRatings", [])
            assert [rating.main_value for rating in told.danger_ratings] == [
                part["mainValue"] for part in ratings
            ]
            problems = item.get("avalancheProblems", [])
            assert [p.problem_type for p in told.avalanche_problems] == [
                part["problemType"] for part in problems
            ]
            for here, part in zip(
                (*told.danger_ratings, *told.avalanche_problems), (*ratings, *problems), strict=True
            ):
                assert here.valid_time_period == part.get("validTimePeriod", "all_day")
                assert set(here.aspects) == set(part.get("aspects", [])) - {"n/a"}
            highlights = item.get("highlights")
            assert told.highlights == (None if highlights is None else clean(highlights, MOST_TEXT))

    @given(st.data())
    @settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
    def test_what_is_broken_gets_one_sentence(self, tmp_path: Path, data: st.DataObject) -> None:
        tree = json.loads(Path(__file__).parents[2].joinpath("sample_dem/bulletin.json").read_text("utf-8"))
        at: Any = tree
        for _ in range(data.draw(st.integers(1, 6))):
            keys = list(at) if isinstance(at, dict) else list(range(len(at)))
            if not keys:
                break
            key = data.draw(st.sampled_from(keys))
            inner = at[key]
            if not isinstance(inner, (dict, list)) or data.draw(st.integers(0, 3)) == 0:
                at[key] = data.draw(
                    st.none() | st.booleans() | st.integers() | st.text() | st.just([]) | st.just({})
                )
                break
            at = inner
        found, words = tried(tmp_path, tree)
        assert (found is None) == words.endswith(".")
        assert "\n" not in words


def test_the_sample_is_marked_as_invented_and_keeps_the_standard(sample_dem: Path) -> None:
    tree = json.loads((sample_dem / "bulletin.json").read_text("utf-8"))
    if SCHEMA.is_file():
        jsonschema.Draft7Validator(json.loads(SCHEMA.read_text("utf-8"))).validate(tree)
    found = read_bulletins(sample_dem / "bulletin.json")
    assert found.notes == ()
    assert "INVENTED" in (found.bulletins[0].highlights or "")
    assert "there is none" in found.bulletins[0].source[0]


@pytest.mark.slow
def test_twenty_megabytes_and_ten_thousand_regions(tmp_path: Path, sample_dem: Path) -> None:
    item = json.loads((sample_dem / "bulletin.json").read_text("utf-8"))["bulletins"][0]
    many = [{**item, "bulletinID": str(k), "regions": [{"regionID": f"XX-{k}"}]} for k in range(10_000)]
    found = read(tmp_path, {"bulletins": many})
    assert len(found.bulletins) == 10_000


def test_a_file_of_a_million_items_is_refused_before_they_are_read(tmp_path: Path) -> None:
    regions = [{"regionID": "XX"}] * 125_000
    assert refused(tmp_path, {"bulletins": [{"regions": regions}, {"regions": regions}]}) == (
        "The lists of a forecast file should have at most 250000 items together; bulletins[1].regions brings "
        "more. Take the bulletins of one day and your regions."
    )
