"""A bulletin beside the sample's route on every output, and what is loud when it does not fit."""

from __future__ import annotations

import datetime as dt
import json
import re
import sys
from collections.abc import Callable
from importlib import resources
from itertools import pairwise
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from tests.files.test_plans import alike
from tests.sheets.pdf_lines import words as words_of

from steybrae.cli.app import main
from steybrae.files.plans import read_plan

pytestmark = pytest.mark.usefixtures("screened_once")

REGION = ("--region", "XX-STEY-01")
DAY = ("--at-time", "2027-01-15T08:00+00:00/2027-01-15T16:00+00:00")
NONE = "No avalanche forecast was given as a bulletin: nothing here knows today's snow. Read the local one."
VERDICT = re.compile(r"\b(safe|safely|safety|unsafe|safer|go|goes|no-go|nogo)\b", re.IGNORECASE)
CONTRACT = json.loads(resources.files("steybrae.files").joinpath("contract.schema.json").read_text("utf-8"))

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    monkeypatch.chdir(tmp_path)

    def call(*arguments: object) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["steybrae", *map(str, arguments)])
        with pytest.raises(SystemExit) as stop:
            main()
        printed = capsys.readouterr()
        return int(stop.value.code or 0), printed.out, printed.err

    return call


@pytest.fixture
def short(tmp_path: Path, sample_dem: Path) -> Path:
    """Write two legs of the sample's day, over the plateau's headwall and along its rim."""
    rows = (sample_dem / "day.csv").read_text("utf-8").splitlines()
    (tmp_path / "short.csv").write_text("\n".join([rows[0], *rows[6:9]]) + "\n")
    return tmp_path / "short.csv"


@pytest.fixture
def on(short: Path, sample_dem: Path) -> tuple[object, ...]:
    return (short, "--dem", sample_dem / "stey_massif.tif", "--reach", "600m")


@pytest.fixture
def bulletin(sample_dem: Path) -> Path:
    return sample_dem / "bulletin.json"


def changed(folder: Path, bulletin: Path, **keys: Any) -> Path:
    tree = json.loads(bulletin.read_text("utf-8"))
    tree["bulletins"][0].update(keys)
    (folder / "changed.json").write_text(json.dumps(tree))
    return folder / "changed.json"


def told(out: str) -> str:
    """Return what was printed as running words."""
    return " ".join(out.split())


def answer(run: Run, *arguments: object) -> Any:
    status, out, err = run(*arguments, "--json")
    assert (status, err) == (0, "")
    found = json.loads(out)
    jsonschema.Draft202012Validator(CONTRACT).validate(found)
    return found


class TestRoute:
    def test_json(self, run: Run, on: tuple[object, ...], bulletin: Path) -> None:
        found = answer(run, "route", *on, "--bulletin", bulletin, *REGION, *DAY, "--reduction-angles")
        forecast = found["forecast"]
        assert (forecast["file"], forecast["region_asked"]) == ("bulletin.json", "XX-STEY-01")
        assert forecast["findings"] == []
        assert [len(leg["named"]) for leg in forecast["legs"]] == [5, 5]
        told_of = forecast["bulletins"][0]
        assert [r["main_value"] for r in told_of["danger_ratings"]] == ["considerable", "low", "moderate"]
        assert [p["problem_type"] for p in told_of["avalanche_problems"]] == ["wind_slab", "wet_snow"]
        slab = forecast["legs"][1]["named"][3]
        # Leg 7 of the day: gentle itself, its rim faces N, where slabs above 800 m are named.
        assert (slab["kind"], slab["number"], slab["value"]) == ("avalanche_problem", 0, "wind_slab")
        assert slab["line"]["length_m"] == 0.0
        assert 200.0 < slab["corridor"]["length_m"] < 400.0
        assert set(slab["corridor"]["sectors"]) == {"N", "NE"}
        assert "leg_no_rating" not in [f["key"] for leg in forecast["legs"] for f in leg["findings"]]
        row = forecast["legs"][1]["reduction"]
        assert (row["level"], row["method_deg"]) == ("considerable", 35.0)
        assert "Munter" in row["source"]
        assert {"bulletin_regional", "forecast"} <= {caution["key"] for caution in found["cautions"]}

    def test_the_level_of_ground_beside_the_line_counts_for_the_method(
        self, run: Run, on: tuple[object, ...], bulletin: Path, tmp_path: Path
    ) -> None:
        """The second leg runs along a rim at 980 m; its corridor holds the headwall below."""
        ratings = [
            {"mainValue": "low", "elevation": {"lowerBound": "900"}},
            {"mainValue": "high", "elevation": {"upperBound": "900"}},
        ]
        file = changed(tmp_path, bulletin, dangerRatings=ratings)
        base = ("route", *on, "--bulletin", file, *REGION, *DAY, "--reduction-angles")
        leg = answer(run, *base)["forecast"]["legs"][1]
        high = leg["named"][1]
        assert (high["meets_heights"], high["overhead"]["length_m"]) == (False, 0.0)
        assert high["corridor"]["length_m"] > 0.0
        assert (leg["reduction"]["level"], leg["reduction"]["method_deg"]) == ("high", 30.0)

    def test_without_a_bulletin(self, run: Run, on: tuple[object, ...]) -> None:
        assert answer(run, "route", *on)["forecast"] is None
        assert told(run("route", *on, "--csv", "p.csv", "--figure", "f.pdf")[1]).startswith(NONE)
        assert f"no_forecast\t{NONE}\n" in Path("p.csv.cautions.txt").read_text("utf-8")

    def test_terminal(self, run: Run, on: tuple[object, ...], bulletin: Path) -> None:
        status, out, err = run(
            "route", *on, "--bulletin", bulletin, *REGION, *DAY, "--reduction-angles", "--all"
        )
        assert (status, err) == (0, "")
        words = told(out)
        assert NONE not in words
        for line in (
            "Danger rating considerable (3): above 800 m, all aspects",
            "Danger rating low (1): below 800 m, all aspects, earlier in the day",
            "Danger rating moderate (2): below 800 m, all aspects, later in the day",
            "Problem wind slab: above 800 m, N NE E SE (size 2, stability poor, frequency some, danger "
            "considerable (3))",
            "INVENTED. Fresh slabs below rims and in gullies, laid down by the westerly storm",
            "INVENTED BULLETIN for an invented massif: for trying the program only, never for a real day.",
            "tendency: decreasing; Invented: slowly settling.",
            "Named aspects and heights are where a problem prevails especially, not the only places.",
            "none of this is a judgement of the line",
            "A bulletin is for a region and cannot assess a single slope.",
        ):
            assert line in words
        assert not VERDICT.search(out)

    def test_angles_that_were_asked_for_are_told_of_where_they_are_not_printed(
        self, run: Run, on: tuple[object, ...], bulletin: Path
    ) -> None:
        """``--reduction-angles`` alone changed nothing that a reader could see."""
        asked = ("route", *on, "--bulletin", bulletin, *REGION, *DAY)
        line = "Angles of the elementary reduction method, a reference: in the report, and with --all."
        assert line in told(run(*asked, "--reduction-angles")[1])
        assert line not in told(run(*asked)[1])
        assert line not in told(run(*asked, "--reduction-angles", "--all")[1])

    def test_the_places_come_within_the_first_screen(
        self, run: Run, on: tuple[object, ...], bulletin: Path
    ) -> None:
        """Ratings and problems took 20 lines before them; the ground that those name now comes after."""
        out = run("route", *on, "--bulletin", bulletin, *REGION, *DAY)[1]
        lines = out.splitlines()
        assert next(k for k, line in enumerate(lines) if line.startswith("Places that matter")) <= 12
        words = told(out)
        before, _, after = words.partition("Places that matter")
        for part in (
            "Danger rating considerable (3): above 800 m, all aspects; low (1): below 800 m, all aspects, "
            "earlier in the day; moderate (2): below 800 m, all aspects, later in the day.",
            "Problem wind slab: above 800 m, N NE E SE (size 2, stability poor, frequency some, danger "
            "considerable (3)); wet snow: below 800 m, SE S SW W, later in the day (size 1,",
        ):
            assert part in before
        for part in (
            "considerable (3), above 800 m, all aspects",
            "low (1), below 800 m, all aspects, earlier in the day / moderate (2), below 800 m, all aspects, "
            "later in the day",
            "of leg 1",
            "- wind slab: INVENTED. Fresh slabs below rims",
        ):
            assert part in after

    def test_text_is_escaped_on_the_terminal(
        self, run: Run, on: tuple[object, ...], bulletin: Path, tmp_path: Path
    ) -> None:
        text = "[bold]x[/bold] \x1b[31mred\x07 \u202eend"
        file = changed(tmp_path, bulletin, highlights=text)
        _, out, _ = run("route", *on, "--bulletin", file, *REGION, *DAY, "--all")
        harmless = "[bold]x[/bold] \ufffd[31mred\ufffd end"
        assert harmless in out
        found = answer(run, "route", *on, "--bulletin", file, *REGION, *DAY)
        assert found["forecast"]["bulletins"][0]["highlights"] == harmless

    @pytest.mark.parametrize(
        ("arguments", "first"),
        [
            (
                ("--at-time", "2027-01-16T09:00Z", *REGION),
                "EXPIRED: this forecast ended 2027-01-15 18:00 UTC",
            ),
            (
                ("--at-time", "2027-01-14T09:00Z", *REGION),
                "NOT YET VALID: this one begins 2027-01-14 18:00 UTC",
            ),
            ((*DAY, "--region", "CH-1"), "OTHER REGION: the file has no forecast for region 'CH-1'"),
            (
                DAY,
                "No region was named: check that this ground lies in XX-STEY-01 Stey Massif (invented)",
            ),
            (REGION, "No time was given: whether the forecast holds when you are there was not checked."),
        ],
    )
    def test_what_does_not_fit_comes_first(
        self, run: Run, on: tuple[object, ...], bulletin: Path, arguments: tuple[str, ...], first: str
    ) -> None:
        status, out, _ = run("route", *on, "--bulletin", bulletin, *arguments, "--csv", "p.csv")
        assert status == 0
        assert told(out).startswith(first)
        assert first in Path("p.csv.cautions.txt").read_text("utf-8")

    def test_an_expired_one_is_a_line_and_whole_where_all_is_asked_for(
        self, run: Run, on: tuple[object, ...], bulletin: Path
    ) -> None:
        late = ("--bulletin", bulletin, *REGION, "--at-time", "2027-01-16T09:00Z")
        brief, whole = (told(run("route", *on, *late, *more)[1]) for more in ((), ("--all",)))
        for out in (brief, whole):
            assert out.startswith("EXPIRED: this forecast ended 2027-01-15 18:00 UTC")
        for words in ("Danger rating", "wind slab", "Avalanche forecast"):
            assert words not in brief
            assert words in whole

    def test_a_place_has_the_levels_first_and_their_source_once(self, run: Run, bulletin: Path) -> None:
        """Who issued it stood twice; the level, below all figures of the ground and what they rest on."""
        _, out, _ = run("ground", "59.2234 -8.0712", "--sample", "--bulletin", bulletin, *REGION, *DAY)
        assert out.count("; published 2027-01-14") == 1
        assert told(out).startswith("Avalanche forecast, valid 2027-01-14 18:00 UTC to 2027-01-15 18:00 UTC;")
        assert out.index("considerable (3)") < out.index("Slope ") < out.index("; published 2027-01-14")

    def test_no_rating_is_loud(
        self, run: Run, on: tuple[object, ...], bulletin: Path, tmp_path: Path
    ) -> None:
        file = changed(tmp_path, bulletin, dangerRatings=[{"mainValue": "no_rating"}])
        assert told(run("route", *on, "--bulletin", file, *REGION, *DAY)[1]).startswith(
            "NO RATING: the bulletin"
        )
        low = [{"mainValue": "low", "elevation": {"upperBound": "400"}}]
        file = changed(tmp_path, bulletin, dangerRatings=low)
        out = told(run("route", *on, "--bulletin", file, *REGION, *DAY)[1])
        assert "Legs 1-2: NO RATING for the heights of these legs in the bulletin." in out[:900]

    @pytest.mark.parametrize(
        ("more", "second"),
        [
            ({"elevation": {"upperBound": "800"}}, ["leg_no_rating"]),
            ({"elevation": {"lowerBound": "800"}, "validTimePeriod": "earlier"}, ["leg_partly_rated"]),
            ({"elevation": {"lowerBound": "800"}, "aspects": ["N", "NE", "E", "SE"]}, ["leg_partly_rated"]),
            ({"elevation": {"lowerBound": "1000"}}, []),
            ({"elevation": {"lowerBound": "800"}}, None),
        ],
    )
    def test_what_ratings_leave_out_is_told(
        self,
        run: Run,
        on: tuple[object, ...],
        bulletin: Path,
        tmp_path: Path,
        more: dict[str, Any],
        second: list[str] | None,
    ) -> None:
        below = {"mainValue": "low", "elevation": {"upperBound": "800"}}
        file = changed(tmp_path, bulletin, dangerRatings=[below, {"mainValue": "moderate"} | more])
        found = answer(run, "route", *on, "--bulletin", file, *REGION, *DAY)["forecast"]["legs"]
        keys = [[finding["key"] for finding in leg["findings"]] for leg in found]
        assert keys == ([[], []] if second is None else [["leg_partly_rated"], second])

    def test_hours_of_a_leg_without_a_rating(
        self, run: Run, on: tuple[object, ...], bulletin: Path, tmp_path: Path
    ) -> None:
        """The morning's ratings stood for the afternoon too."""
        day = ("--date", "2027-01-15", "--start", "08:30", "--zone", "Europe/London")
        legs = answer(run, "card", *on, *day)["legs"]
        tree = json.loads(bulletin.read_text("utf-8"))
        morning, rest = tree["bulletins"][0], dict(tree["bulletins"][0], dangerRatings=[])
        ends = morning["validTime"]
        morning["validTime"] = dict(ends, endTime=legs[0]["arrival"])
        rest["validTime"] = dict(ends, startTime=legs[0]["arrival"])
        (tmp_path / "two.json").write_text(json.dumps({"bulletins": [morning, rest]}))
        asked = ("--bulletin", tmp_path / "two.json", *REGION)
        found = answer(run, "card", *on, *day, *asked)["forecast"]
        assert [finding["key"] for finding in found["findings"]] == ["no_rating"]
        keys = [[finding["key"] for finding in leg["findings"]] for leg in found["legs"]]
        assert keys == [[], ["leg_no_rating"]]

    def test_legs_out_of_time_are_told_though_a_time_is_asked_for(
        self, run: Run, on: tuple[object, ...], bulletin: Path, tmp_path: Path
    ) -> None:
        valid = {"startTime": "2027-01-14T18:00:00Z", "endTime": "2027-01-15T08:40:00Z"}
        file = changed(tmp_path, bulletin, validTime=valid)
        day = ("--date", "2027-01-15", "--start", "08:30", "--zone", "Europe/London")
        asked = ("--bulletin", file, *REGION, "--at-time", "2027-01-15T08:30Z")
        found = answer(run, "card", *on, *day, *asked)["forecast"]
        keys = [[finding["key"] for finding in leg["findings"]] for leg in found["legs"]]
        assert keys == [["leg_out_of_time"], ["leg_out_of_time"]]

    def test_the_treeline(self, run: Run, on: tuple[object, ...], bulletin: Path, tmp_path: Path) -> None:
        high = [{"mainValue": "high", "elevation": {"upperBound": "treeline"}}]
        file = changed(tmp_path, bulletin, dangerRatings=high)
        base = ("route", *on, "--bulletin", file, *REGION, *DAY)
        blind, stated = answer(run, *base), answer(run, *base, "--treeline", "600m")
        assert "treeline_unknown" in {caution["key"] for caution in blind["cautions"]}
        assert "treeline_unknown" not in {caution["key"] for caution in stated["cautions"]}
        first = [found["forecast"]["legs"][1]["named"][0] for found in (blind, stated)]
        assert [row["meets_heights"] for row in first] == [True, False]
        assert first[0]["corridor"]["length_m"] > first[1]["corridor"]["length_m"] == 0.0

    def test_another_slope(self, run: Run, on: tuple[object, ...], bulletin: Path) -> None:
        base = ("route", *on, "--bulletin", bulletin, *REGION, *DAY)
        metres = [
            answer(run, *base, "--forecast-slope", f"{deg}deg")["forecast"]["legs"][0]["named"][0]["line"][
                "length_m"
            ]
            for deg in (25, 30, 34)
        ]
        assert metres[0] > metres[1] > metres[2] > 0.0

    def test_plan_and_picture(self, run: Run, on: tuple[object, ...], bulletin: Path) -> None:
        asked = ("--bulletin", bulletin, *REGION)
        status, _, _ = run("route", *on, *asked, *DAY, "--save", "p.zip", "--bulletin-figure", "f.png")
        assert status == 0
        saved = read_plan(Path("p.zip"))
        assert saved.forecast is not None
        assert saved.forecast_grounds is not None
        assert len(saved.forecast_grounds) == 2
        from matplotlib import image
        from PIL import Image

        assert np.std(image.imread("f.png")) > 0.05
        with Image.open("f.png") as picture:
            for caution in saved.cautions:
                assert caution.text in str(picture.info)
        # The plan of yesterday with the forecast of today, on a card.
        found = answer(run, "card", "p.zip", "--date", "2027-01-15", *asked, *DAY)
        again = [leg["named"] for leg in found["forecast"]["legs"]]
        direct = answer(run, "route", *on, *asked, *DAY)["forecast"]["legs"]
        assert again == [leg["named"] for leg in direct]
        alike(saved, read_plan(Path("p.zip")))

    def test_a_card_says_that_the_bulletin_of_its_plan_is_left_out(
        self, run: Run, on: tuple[object, ...], bulletin: Path
    ) -> None:
        asked = ("--bulletin", bulletin, *REGION)
        run("route", *on, *asked, *DAY, "--save", "p.zip")
        run("route", *on, "--save", "bare.zip")
        words = (
            "The plan was saved with an avalanche bulletin (bulletin.json) that is not on this card, for a "
            "card needs the bulletin of its own day. Give it with --bulletin."
        )
        for plan, more, said in (("p.zip", (), [words]), ("p.zip", asked, []), ("bare.zip", (), [])):
            found = answer(run, "card", plan, "--date", "2027-01-15", *more)
            told = [one["text"] for one in found["cautions"] if one["key"] == "bulletin_left_out"]
            assert told == said
            # They went with the bulletin left out, and stood behind others with one of the day.
            assert [one["key"] for one in found["cautions"]][:2] == ["forecast", "angle_alone"]
        # "No avalanche forecast was given" stood first, of a plan that holds one.
        assert " ".join(run("card", "p.zip", "--date", "2027-01-15")[1].split()).startswith(words)
        # Nor does paper say that none was given: its front has the same words.
        for page in ("a4", "letter", "a5"):
            run("card", "p.zip", "--date", "2027-01-15", "--page", page, "--pdf", f"{page}.pdf")
            paper = " ".join(words_of(Path(f"{page}.pdf").read_bytes(), Path()).split())
            assert "none given" not in paper
            assert set(words.split()) <= set(paper[: paper.index("Service, region")].split())

    def test_a_card_with_times_says_not_that_none_was_given(
        self, run: Run, on: tuple[object, ...], bulletin: Path
    ) -> None:
        """Its plan was saved with the bulletin, without a time; the card kept that caution."""
        asked = ("--bulletin", bulletin, *REGION)
        run("route", *on, *asked, "--save", "timeless.zip")
        card = ("card", "timeless.zip", "--date", "2027-01-15", "--start", "09:00", "--zone", "UTC", *asked)
        assert "No time was given" in run("route", *on, *asked)[1]
        assert "No time was given" not in run(*card)[1]


class TestGround:
    def test_json_and_terminal(self, run: Run, bulletin: Path, sample_dem: Path) -> None:
        base = ("ground", "59.2240 -8.0237", "--dem", sample_dem / "stey_massif.tif")
        asked = ("--bulletin", bulletin, *REGION, *DAY)
        found = answer(run, *base, *asked)["forecast"]
        assert [(row["value"], row["within"], row["overhead"]) for row in found["place"]] == [
            ("considerable", True, True),
            ("low", True, True),
            ("moderate", True, True),
            ("wind_slab", False, False),
            ("wet_snow", True, True),
        ]
        assert set(found["place"][4]["sectors"]) == {"SW", "W"}
        words = told(run(*base, *asked)[1])
        assert (
            "wet snow, below 800 m, SE S SW W, later in the day: names ground within the circle, facing SW "
            "W, names ground of start zones overhead"
        ) in words
        assert not VERDICT.search(words)
        assert told(run(*base)[1]).startswith(NONE)
        assert answer(run, *base)["forecast"] is None

    def test_many_places_each_with_what_names_it(
        self, run: Run, bulletin: Path, sample_dem: Path, tmp_path: Path
    ) -> None:
        (tmp_path / "two.csv").write_text("lat,lon,name\n59.2240,-8.0237,hut\n59.2375,-8.0686,top\n")
        base = ("ground", "--places", "two.csv", "--dem", sample_dem / "stey_massif.tif", "--reach", "600m")
        words = told(run(*base, "--bulletin", bulletin, *REGION, *DAY)[1])
        assert "Danger rating considerable (3): above 800 m, all aspects" in words
        assert "Which of the forecast names ground: within the circle | overhead" in words
        assert re.search(r"hut (yes \| \S+ ){3}- \| \S+ yes", words)
        low = changed(
            tmp_path, bulletin, dangerRatings=[{"mainValue": "low", "elevation": {"upperBound": "900"}}]
        )
        words = told(run(*base, "--bulletin", low, *REGION, *DAY)[1])
        assert "top: NO RATING for the heights of this place in the bulletin." in words
        assert "hut: NO RATING" not in words

    def test_a_place_without_a_rating_is_loud(
        self, run: Run, bulletin: Path, sample_dem: Path, tmp_path: Path
    ) -> None:
        low = changed(
            tmp_path, bulletin, dangerRatings=[{"mainValue": "low", "elevation": {"upperBound": "900"}}]
        )
        base = ("ground", "59.2375 -8.0686", "--dem", sample_dem / "stey_massif.tif", "--reach", "600m")
        words = told(run(*base, "--bulletin", low, *REGION, *DAY)[1])
        assert words.startswith("NO RATING for the heights of this place in the bulletin.")


at = dt.datetime.fromisoformat


class TestCard:
    def test_legs_at_their_own_times(self, run: Run, on: tuple[object, ...], bulletin: Path) -> None:
        base = ("card", *on, "--bulletin", bulletin, *REGION, "--date", "2027-01-15")
        found = answer(run, *base, "--start", "08:30", "--zone", "Europe/London")
        spans = [[at(leg["start"]), at(leg["end"])] for leg in found["forecast"]["legs"]]
        first, second = (at(leg["arrival"]) for leg in found["legs"])
        assert spans == [[at(found["start"]), first], [first, second]]
        assert found["forecast"]["findings"] == []
        late = answer(run, *base, "--start", "17:30", "--zone", "Europe/London")["forecast"]
        assert [finding["key"] for finding in late["findings"]] == ["partly_valid", "update_due"]
        assert [[f["key"] for f in leg["findings"]] for leg in late["legs"]] == [["leg_out_of_time"]] * 2
        day = answer(run, *base)["forecast"]
        assert [finding["key"] for finding in day["findings"]] == ["time_not_checked"]
        assert day["start"] == "2027-01-15T00:00:00+00:00"
        base = ("card", *on, "--bulletin", bulletin, *REGION, "--date", "2027-01-16")
        assert [f["key"] for f in answer(run, *base)["forecast"]["findings"]] == ["expired"]

    def test_a_forecast_looked_up_for_another_day_is_loud(
        self, run: Run, on: tuple[object, ...], bulletin: Path
    ) -> None:
        base = ("card", *on, "--bulletin", bulletin, *REGION, "--date")
        found = answer(run, *base, "2027-01-20", *DAY)
        assert [finding["key"] for finding in found["forecast"]["findings"]] == ["other_day"]
        assert "forecast_other_day" in {caution["key"] for caution in found["cautions"]}
        assert told(run(*base, "2027-01-20", *DAY)[1]).startswith(
            "OTHER DAY: the forecast was looked up for 2027-01-15 08:00 UTC, and this is a card of "
            "2027-01-20. Leave --at-time out, or give that day's."
        )
        assert answer(run, *base, "2027-01-15", *DAY)["forecast"]["findings"] == []
        night = ("--zone", "Pacific/Auckland", "--at-time", "2027-01-14T22:00Z")  # 11:00 of the 15th there
        assert answer(run, *base, "2027-01-15", *night)["forecast"]["findings"] == []

    def test_parts_of_several_bulletins_name_their_own(
        self, run: Run, on: tuple[object, ...], bulletin: Path, tmp_path: Path
    ) -> None:
        """Morning's "low" and afternoon's "high" stood side by side in the picture without their hours."""
        from steybrae.figures.forecast_figure import forecast_figure

        tree = json.loads(bulletin.read_text("utf-8"))
        (whole,) = tree["bulletins"]
        ends = ("2027-01-14T18:00:00Z", "2027-01-15T12:00:00Z", "2027-01-15T18:00:00Z")
        tree["bulletins"] = [
            {**whole, "validTime": {"startTime": start, "endTime": end}} for start, end in pairwise(ends)
        ]
        (tmp_path / "two.json").write_text(json.dumps(tree))
        forecast = ("--bulletin", tmp_path / "two.json", *REGION, *DAY)
        assert run("route", *on, *forecast, "--save", "two.zip")[0] == 0
        figure = forecast_figure(read_plan(Path("two.zip")))
        titles = [axes.get_title("left") for axes in figure.axes]
        assert sum(title.startswith("1: ") for title in titles) == 5
        assert sum(title.startswith("2: ") for title in titles) == 5
        words = " ".join(text.get_text() for text in figure.texts)
        for number, first, last in ((1, "14 18:00", "15 12:00"), (2, "15 12:00", "15 18:00")):
            assert f"{number}: Invented" in words
            assert f"valid 2027-01-{first} UTC to 2027-01-{last} UTC" in words

    def test_the_picture_says_what_legs_lack_once(
        self, run: Run, on: tuple[object, ...], bulletin: Path, tmp_path: Path
    ) -> None:
        """Eight lines of one leg each had room, and those of the ninth went unsaid."""
        from steybrae.figures.forecast_figure import forecast_figure

        low = [{"mainValue": "low", "elevation": {"upperBound": "400"}}]
        file = changed(tmp_path, bulletin, dangerRatings=low)
        assert run("route", *on, "--bulletin", file, *REGION, *DAY, "--save", "low.zip")[0] == 0
        words = " ".join(text.get_text() for text in forecast_figure(read_plan(Path("low.zip"))).texts)
        # The corridor was "beside" there, and in its own word in every other output.
        assert "on | in the corridor | below" in words
        assert words.count("NO RATING") == 1
        assert "Legs 1-2: NO RATING for the heights of these legs in the bulletin." in words

    def test_paper(self, run: Run, on: tuple[object, ...], bulletin: Path) -> None:
        base = ("card", *on, "--date", "2027-01-15", "--pdf")
        assert run(*base, "with.pdf", "--bulletin", bulletin, *REGION, *DAY)[0] == 0
        words = told(words_of(Path("with.pdf").read_bytes(), Path()))
        assert "considerable (3): above 800 m, all aspects" in words
        assert "Danger level, from which height" not in words
        assert "Turn back at (time, place)" in words
        assert run(*base, "without.pdf")[0] == 0
        words = told(words_of(Path("without.pdf").read_bytes(), Path()))
        assert "none given: fill in" in words
        assert "Danger level, from which height" in words

    def test_words_of_the_morning_leave_the_levels_of_the_afternoon_their_room(
        self, run: Run, on: tuple[object, ...], bulletin: Path, tmp_path: Path
    ) -> None:
        """Of two bulletins the front of the card had the first alone, and 12:00 to 18:00 on no front."""
        tree = json.loads(bulletin.read_text("utf-8"))
        first, noon = tree["bulletins"][0], "2027-01-15T12:00:00Z"
        later = [{"mainValue": "very_high"}]
        second = dict(first, validTime=dict(first["validTime"], startTime=noon), dangerRatings=later)
        first |= {"highlights": "Words. " * 400, "validTime": dict(first["validTime"], endTime=noon)}
        (tmp_path / "two.json").write_text(json.dumps({"bulletins": [first, second]}))
        span = ("--at-time", "2027-01-15T08:00Z/2027-01-15T16:00Z")
        base = ("card", *on, "--date", "2027-01-15", "--pdf", "c.pdf")
        assert run(*base, "--bulletin", tmp_path / "two.json", *REGION, *span)[0] == 0
        front = told(words_of(Path("c.pdf").read_bytes(), Path())).split("part 1 of")[0]
        assert "very high (5): all heights, all aspects" in front
        assert "NOT ALL OF IT" in front

    @pytest.mark.parametrize("day", ["2027-01-13", "2027-01-20"])
    def test_no_level_of_another_day_leads(
        self, run: Run, on: tuple[object, ...], bulletin: Path, day: str
    ) -> None:
        base = (
            "card",
            *on,
            "--date",
            day,
            "--start",
            "08:30",
            "--zone",
            "UTC",
            "--bulletin",
            bulletin,
            *REGION,
        )
        assert run(*base, "--pdf", "c.pdf", "--phone", "p.html")[0] == 0
        leads = re.findall(r'<p class="first">(.*?)</p>', Path("p.html").read_text("utf-8"))
        assert [line.split(":")[0] for line in leads] == [
            "NOT YET VALID" if day < "2027-01-15" else "EXPIRED"
        ]
        paper = told(words_of(Path("c.pdf").read_bytes(), Path()))
        assert leads[0] in paper
        assert "considerable (3)" not in paper

    def test_one_leg_without_a_model(self, run: Run, on: tuple[object, ...], bulletin: Path) -> None:
        status, out, err = run("card", "--from", "59.2 -8.0", "--to", "59.21 -8.01", "--date", "2027-01-15",
                               "--bulletin", bulletin)  # fmt: skip
        assert (status, out) == (2, "")
        assert told(err).endswith(
            "A forecast is matched against ground; a card between two places has none. Add --dem FILE, or "
            "leave --bulletin out and write the forecast on the card by hand."
        )


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--region", "A"), "--region belongs to a forecast, which is missing. Add --bulletin FILE."),
        (
            ("--treeline", "600m", "--reduction-angles"),
            "--treeline, --reduction-angles belong to a forecast, which is missing. Add --bulletin FILE.",
        ),
        (
            ("--bulletin-figure", "x.png"),
            "--bulletin-figure belongs to a forecast, which is missing. Add --bulletin FILE.",
        ),
        (
            ("--bulletin", "B", "--at-time", "09:30"),
            "The time should be a date and time with its zone, like 2027-01-15T09:30+00:00; got '09:30'. Add "
            "what is missing.",
        ),
        (
            ("--bulletin", "B", "--at-time", "2027-01-15T09:30Z/2027-01-15T08:30Z"),
            "The time should end no earlier than it begins; got '2027-01-15T09:30Z/2027-01-15T08:30Z'. "
            "Exchange the two.",
        ),
        (
            ("--bulletin", "B", "--forecast-slope", "15deg"),
            "The slope for matching a forecast should lie between 20 and 90 degrees; got 15. Usual is 30.",
        ),
        (
            ("--bulletin", "none.json"),
            "The forecast file none.json could not be read: No such file or directory. Check the path.",
        ),
        (
            # The last was taken, and the other passed over without a word.
            ("--bulletin", "B", "--bulletin", "B"),
            "--bulletin takes one file; got 2. Give the one that is meant. See steybrae route --help.",
        ),
    ],
)  # fmt: skip
def test_refusals(
    run: Run, on: tuple[object, ...], bulletin: Path, arguments: tuple[str, ...], words: str
) -> None:
    status, out, err = run("route", *on, *(bulletin if part == "B" else part for part in arguments))
    assert (status, out) == (2, "")
    assert told(err).endswith(words)


def test_control_characters_never_reach_a_terminal() -> None:
    from steybrae.document import plain

    every = "".join(map(chr, [*range(0x20), 0x7F, *range(0x80, 0xA0), 0x200B, 0x202E, 0xFEFF]))
    assert set(plain(every)) == {"\n", "\t", "\ufffd"}
    assert plain("Näher & <br/> °") == "Näher & <br/> °"
