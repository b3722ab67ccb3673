"""``steybrae.toml``: what is typed wins, what is taken is told, what is none is refused."""

from __future__ import annotations

import importlib
import json
import os
import sys
from dataclasses import fields
from pathlib import Path
from typing import Any

import pytest
from tests.cli.conftest import Run
from tests.conftest import SamplePlan

from steybrae.cautions import settings_file_caution
from steybrae.cli.app import COMMANDS
from steybrae.cli.options.groups import Group
from steybrae.cli.options.reading import NEEDS
from steybrae.cli.options.settings_file import found_file
from steybrae.files.plans import read_plan
from steybrae.files.results import sample_model

MAP = '[map]\nscale = "1:25000"\ninterval = "10m"\n'
MODEL = '[model]\nfor = "{}"\nvertical-error = "1m"\ncorrelation = "100m"\n'

NEAR = ("--sample", "--reach", "20m")
"""The sample's day without what stands overhead, which takes most of the time."""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty working folder, and no file of the user's."""
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    for name in ("XDG_CONFIG_HOME", "APPDATA", "HOME"):
        monkeypatch.setenv(name, str(tmp_path / "home"))
    return tmp_path / "here"


def answer(run: Run, *arguments: str) -> dict[str, Any]:
    status, out, err = run(*arguments, "--json")
    assert (status, err) == (0, "")
    found: dict[str, Any] = json.loads(out)
    return found


def says(run: Run, folder: Path, text: str, *arguments: str) -> str:
    """Refused: the sentence."""
    (folder / "steybrae.toml").write_text(text)
    status, out, err = run(*(arguments or ("gap", "--gap", "2.5mm")))
    assert (status, out) == (2, "")
    return err.removeprefix("steybrae: ").rstrip("\n")


class TestPrecedence:
    def test_it_stands_in_for_what_was_not_typed(self, run: Run, folder: Path) -> None:
        typed = answer(run, "gap", "--gap", "2.5mm", "--scale", "1:25000", "--interval", "10m")
        assert typed["settings_file"] is None
        (folder / "steybrae.toml").write_text(MAP)
        kept = answer(run, "gap", "--gap", "2.5mm")
        taken = {"scale": "1:25000", "interval": "10m"}
        assert kept.pop("settings_file") == {"name": "steybrae.toml", "taken": taken}
        assert kept.pop("cautions")[:-1] == typed.pop("cautions")
        typed.pop("settings_file")
        assert kept == typed

    def test_the_command_line_wins(self, run: Run, folder: Path) -> None:
        (folder / "steybrae.toml").write_text(MAP)
        steeper = answer(run, "gap", "--gap", "2.5mm", "--interval", "20m")
        assert steeper["rise_m"] == 20.0
        assert steeper["settings_file"]["taken"] == {"scale": "1:25000"}

    def test_the_working_folder_s_file_comes_before_the_user_s(self, run: Run, folder: Path) -> None:
        user = folder.parent / "home" / "steybrae"
        if sys.platform == "darwin":
            user = folder.parent / "home" / "Library" / "Application Support" / "steybrae"
        user.mkdir(parents=True)
        (user / "steybrae.toml").write_text('[map]\nscale = "1:50000"\ninterval = "20m"\n')
        assert found_file() == user / "steybrae.toml"
        assert answer(run, "gap", "--gap", "2.5mm")["rise_m"] == 20.0
        (folder / "steybrae.toml").write_text(MAP)
        assert answer(run, "gap", "--gap", "2.5mm")["rise_m"] == 10.0

    def test_a_model_stands_beside_the_file_that_names_it(
        self, run: Run, folder: Path, sample_dem: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        name = os.path.relpath(sample_dem / "stey_massif.tif", folder)
        (folder / "steybrae.toml").write_text(f"[model]\ndem = '{name}'\n")
        found = answer(run, "ground", "59.2240", "-8.0574")
        assert found["settings_file"]["taken"] == {"dem": "stey_massif.tif"}
        assert answer(run, "ground", "59.2240", "-8.0574", "--sample")["settings_file"] is None

    def test_help_needs_no_file_that_can_be_read(self, run: Run, folder: Path) -> None:
        (folder / "steybrae.toml").write_text("[map\n")
        assert run("gap", "--help")[0] == 0

    def test_the_readme_s_own(self, run: Run, folder: Path) -> None:
        text = (Path(__file__).resolve().parents[2] / "README.md").read_text("utf-8")
        section = text.split("`steybrae.toml`\n")[1].split("\n##")[0]
        lines = [line[4:] for line in section.splitlines() if line.startswith("    ")]
        (folder / "steybrae.toml").write_text("\n".join(lines))
        assert answer(run, "gap", "--gap", "2.5mm")["settings_file"]["taken"]["scale"] == "1:25000"
        at_scale = ("route", "--sample", "--dem", "tyrol_10m.tif")
        assert "tyrol_10m.tif" in run(*at_scale)[2]


class TestModels:
    @pytest.mark.parametrize(("names", "held"), [("stey_*.tif", True), ("tyrol_*.tif", False)])
    def test_an_error_holds_for_the_models_it_names(
        self, run: Run, folder: Path, names: str, held: bool
    ) -> None:
        place = ("ground", "59.2240", "-8.0574", "--sample")
        usual = answer(run, *place)
        (folder / "steybrae.toml").write_text(MODEL.format(names))
        found = answer(run, *place)
        assert (found["settings_file"] is not None) is held
        assert (found["slope_high_deg"] != usual["slope_high_deg"]) is held
        told = [one["text"] for one in found["cautions"] if one["key"] == "settings_file"]
        whole = (
            "Not typed but taken from steybrae.toml: vertical-error 1m, correlation 100m. What is said of "
            "how well slopes are known rests on vertical-error and correlation there: see that it holds for "
            "this model and this line."
        )
        assert told == ([whole] if held else [])

    def test_of_several_tables_that_of_the_model_is_taken(self, run: Run, folder: Path) -> None:
        tables = (
            '[[model]]\nfor = ["a.tif"]\nvertical-error = "9m"\n'
            '[[model]]\nfor = "stey*"\nvertical-error = "1m"\n'
        )
        (folder / "steybrae.toml").write_text(tables)
        found = answer(run, "ground", "59.2240", "-8.0574", "--sample")
        assert found["settings_file"]["taken"] == {"vertical-error": "1m"}

    @pytest.mark.parametrize(
        ("names", "held"),
        [
            ('dem = "fine/a.tif"', (True, False)),
            ('dem = ["fine/a.tif", "b.tif"]', (True, False)),
            ('for = "fine/a.tif"', (True, False)),
            ('for = "fine/*.tif"', (True, False)),
            ('for = "../*/fine/?.tif"', (True, False)),
            ('for = "coarse/*.tif"', (False, True)),
            ('for = "a.tif"', (True, True)),
            ('for = "*.tif"', (True, True)),
            ('dem = "a.tif"', (False, False)),
        ],
    )
    def test_a_folder_in_a_name_tells_one_file_from_another_of_that_name(
        self, run: Run, folder: Path, names: str, held: tuple[bool, bool]
    ) -> None:
        """The error stated for a fine model once narrowed a coarse one of the same name."""
        (folder / "steybrae.toml").write_text(f'[model]\n{names}\nvertical-error = "0.1m"\n')
        for name, taken in zip(("fine", "coarse"), held, strict=True):
            (folder / name).mkdir()
            model = folder / name / "a.tif"
            model.write_bytes(sample_model().read_bytes())
            # By its whole place, and from here.
            typed = str(model) if name == "fine" else f"{name}/a.tif"
            near = ("ground", "59.2240", "-8.0574", "--reach", "100m", "--dem", typed)
            assert (answer(run, *near)["settings_file"] is not None) is taken

    def test_model_takes_its_files_for_typed(self, run: Run, folder: Path) -> None:
        """Another model was examined together with the file's own, by the error stated for that one."""
        for name in ("[mine].tif", "other.tif"):
            (folder / name).write_bytes(sample_model().read_bytes())
        (folder / "steybrae.toml").write_text('[model]\ndem = "[mine].tif"\nvertical-error = "0.1m"\n')
        other, mine = answer(run, "model", "other.tif"), answer(run, "model", "[mine].tif")
        assert (other["files"], other["settings_file"]) == (["other.tif"], None)
        assert (mine["files"], mine["settings_file"]["taken"]) == (["[mine].tif"], {"vertical-error": "0.1m"})
        assert answer(run, "model")["settings_file"]["taken"] == {
            "dem": "[mine].tif",
            "vertical-error": "0.1m",
        }

    def test_a_plan_named_by_an_option_brings_its_own_model(
        self, run: Run, folder: Path, sample_plan: SamplePlan
    ) -> None:
        """Its check was refused for a place off the file's model, and its legs were asked about on that."""
        plan = ("--plan", str(sample_plan.path))
        (folder / "steybrae.toml").write_text('[model]\ndem = "elsewhere.tif"\n')
        check = answer(run, "reading", "25deg", *plan, "--check", "4a")
        assert (check["settings_file"], len(check["references"])) == (None, 1)
        map_ = ("--scale", "1:25000", "--interval", "10m", "--out", "class.pdf", "--answers", "key.pdf")
        assert run("sheet", "practice", *plan, *map_)[0] == 0

    def test_a_persons_pace_and_contact_wait_for_a_day(
        self, run: Run, folder: Path, sample_plan: SamplePlan
    ) -> None:
        """They were taken for a day without a date, so that route and report refused every line."""
        (folder / "steybrae.toml").write_text(
            '[person]\ntime-rule = "naismith"\nflat-kmh = 4.0\ncall = "Base"\n'
        )
        assert run("route", "--sample", "--reach", "20m")[0] == 0
        plan = str(sample_plan.path)
        assert run("report", plan, "--out", "bare.html")[0] == 0
        assert run("report", plan, "--date", "2027-01-15", "--out", "day.html")[0] == 0
        bare, day = ((folder / name).read_text("utf-8") for name in ("bare.html", "day.html"))
        assert ("taken from steybrae.toml" in bare, "taken from steybrae.toml" in day) == (False, True)
        taken = {"time-rule": "naismith", "flat-kmh": "4.0", "call": "Base"}
        card = answer(run, "card", plan, "--date", "2027-01-15")
        assert (card["settings_file"]["taken"], card["call"]) == (taken, "Base")

    def test_every_output_tells_it_and_the_plan_keeps_it(self, run: Run, folder: Path) -> None:
        (folder / "steybrae.toml").write_text(MODEL.format("stey_*") + MAP)
        status, out, _ = run("route", *NEAR, "--save", "p.zip", "--report", "r.html", "--csv", "p.csv")
        assert status == 0
        words = "taken from steybrae.toml: interval 10m, vertical-error 1m, correlation 100m"
        (folder / "steybrae.toml").unlink()
        card = run("card", "p.zip", "--date", "2027-01-15", "--csv", "c.csv", "--report", "c.html")[1]
        files = [
            (folder / name).read_text("utf-8")
            for name in ("r.html", "c.html", "p.csv.cautions.txt", "c.csv.cautions.txt")
        ]
        for text in (out, card, *files):
            assert words in " ".join(text.split())
        origin = read_plan(folder / "p.zip").origin
        assert origin is not None
        assert origin.settings_file is not None
        assert origin.settings_file.taken["vertical-error"] == "1m"
        assert origin.command == (
            "steybrae route --sample --vertical-error 1m --correlation 100m --interval 10m --reach 20m"
        )

    def test_a_plan_keeps_its_own_beside_what_is_taken_now(self, run: Run, folder: Path) -> None:
        (folder / "steybrae.toml").write_text(MODEL.format("stey_*"))
        assert run("route", *NEAR, "--save", "p.zip")[0] == 0
        (folder / "steybrae.toml").write_text(MODEL.format("*") + "[person]\npaces = 62\n[line]\ndrift = 5\n")
        found = answer(run, "card", "p.zip", "--date", "2027-01-15")
        assert found["settings_file"]["taken"] == {"paces": "62"}
        (told,) = [one["text"] for one in found["cautions"] if one["key"] == "settings_file"]
        assert "vertical-error 1m" in told
        assert "paces 62" in told

    def test_a_sheet_tells_it_too(self, run: Run, folder: Path) -> None:
        (folder / "steybrae.toml").write_text(MAP + '[paper]\npaper = "letter"\n')
        out = run("sheet", "error", "--out", "e.pdf")[1]
        assert "Not typed but taken from steybrae.toml: scale 1:25000, interval 10m, paper letter." in out

    @pytest.mark.parametrize(
        ("keys", "paper"),
        [('paper = "letter"', "letter"), ('page = "a5"', "a5"), ('paper = "letter"\npage = "a5"', "a5")],
    )
    def test_the_card_s_paper_is_that_of_the_sheets_or_by_its_older_name_its_own(
        self, run: Run, folder: Path, keys: str, paper: str
    ) -> None:
        """With "paper" alone a card came on A4, unsaid."""
        (folder / "steybrae.toml").write_text(f"[paper]\n{keys}\n")
        leg = ("--from", "59.2038, -8.0450", "--to", "59.2100, -8.0500", "--date", "2027-01-15")
        found = answer(run, "card", *leg, "--pdf", "c.pdf")
        assert found["settings_file"]["taken"] == {"paper": paper}


class TestTakenOnlyWhereItSaysSomething:
    def test_a_reading_alone_takes_nothing(self, run: Run, folder: Path) -> None:
        (folder / "steybrae.toml").write_text(MAP + '[model]\ndem = "x.tif"\n[person]\npace = "0.7m"\n')
        assert answer(run, "reading", "34deg")["settings_file"] is None
        taken = answer(run, "reading", "34deg", "--gap", "2.5mm")["settings_file"]["taken"]
        assert set(taken) == {"scale", "interval"}

    def test_options_of_a_forecast_wait_for_one(self, run: Run, folder: Path) -> None:
        (folder / "steybrae.toml").write_text('[forecast]\nregion = "XX-STEY-01"\n')
        assert answer(run, "ground", "59.2240", "-8.0574", "--sample")["settings_file"] is None

    def test_a_typed_radius_shuts_out_the_receiver_s(self, run: Run, folder: Path) -> None:
        (folder / "steybrae.toml").write_text('[position]\nepe = "6m"\nepe-confidence = 68\n')
        place = ("ground", "59.2240", "-8.0574", "--sample")
        assert set(answer(run, *place)["settings_file"]["taken"]) == {"epe", "epe-confidence"}
        assert answer(run, *place, "--within", "20m")["settings_file"] is None


class TestRefused:
    @pytest.mark.parametrize(
        ("text", "sentence"),
        [
            (
                "[mapp]\n",
                "steybrae.toml should hold the tables bands, forecast, line, map, model, paper, person, "
                "position, start-zones; got [mapp]. Correct it there.",
            ),
            (
                'scale = "1:25000"\n',
                "steybrae.toml should hold the tables bands, forecast, line, map, model, paper, person, "
                "position, start-zones; got scale, outside any table. Correct it there.",
            ),
            (
                '[map]\nscael = "1:25000"\n',
                "steybrae.toml, [map] scael is no setting; [map] may hold grid, interval, ruler-error, "
                "scale. Correct it there.",
            ),
            (
                '[map]\nscale = "x"\n',
                "steybrae.toml, [map] scale: A map scale should look like 1:25000; got 'x'. Give the "
                "denominator.",
            ),
            (
                "[map]\nscale = true\n",
                "steybrae.toml, [map] scale should be a text in quotes or a number; got True. "
                "Correct it there.",
            ),
            (
                "[map]\nscale = [1]\n",
                "steybrae.toml, [map] scale should be a text in quotes or a number; got [1]. "
                "Correct it there.",
            ),
            (
                '[model]\nvertical-error = "1m"\n',
                "steybrae.toml, [model] vertical-error should say which models it holds for; it names none. "
                'Add for = "tyrol_*.tif" to its table.',
            ),
            (
                "[model]\nfor = 3\n",
                'steybrae.toml, [model] for should name files; got 3. Write for = "tyrol_10m.tif".',
            ),
            (
                '[[model]]\ndem = "a.tif"\n[[model]]\ndem = "b.tif"\n',
                "steybrae.toml, [model] dem should name one model; got several. Keep one, and type --dem "
                "for others.",
            ),
            (
                "[outputs]\njson = true\n",
                "steybrae.toml should hold the tables bands, forecast, line, map, model, paper, person, "
                "position, start-zones; got [outputs]. Correct it there.",
            ),
        ],
    )
    def test_in_one_sentence_with_file_and_key(
        self, run: Run, folder: Path, text: str, sentence: str
    ) -> None:
        assert says(run, folder, text) == sentence

    @pytest.mark.parametrize(
        ("text", "sentence"),
        [
            (
                'paces = "many"',
                "steybrae.toml, [person] paces: Paces to 100 m should look like 65; got 'many'. "
                "Give a number and its unit.",
            ),
            ("paces = 5", "steybrae.toml, [person] paces: "),
            ('unit = "gon"', "steybrae.toml, [person] unit: Bearings are printed in deg or mil; got 'gon'."),
            ('time-rule = "slow"', "steybrae.toml, [person] time-rule: "),
        ],
    )
    def test_a_choice_that_there_is_not(self, run: Run, folder: Path, text: str, sentence: str) -> None:
        said = says(run, folder, f"[person]\n{text}\n", "card", "--sample", "--date", "2027-01-15")
        assert said.startswith(sentence)

    def test_a_file_that_is_no_toml(self, run: Run, folder: Path) -> None:
        assert says(run, folder, "[map\n").startswith("The file steybrae.toml could not be read as TOML: ")

    @pytest.mark.parametrize(
        ("text", "sentence"),
        [
            ("[map]\nscale = " + "[" * 10_000, "The file steybrae.toml could not be read as TOML: "),
            ("[map]\nscale = " + "{a=" * 5000, "The file steybrae.toml could not be read as TOML: "),
            # One key of so many parts takes tomllib minutes.
            ("[map]\n" + "a." * 50_000 + "b = 1\n", "steybrae.toml should have at most 16 kB; it has more. "),
            (
                "#" + "x" * 20_000_000,
                "steybrae.toml should have at most 16 kB; it has more. Correct it there.",
            ),
        ],
        ids=("lists", "tables", "parts", "comment"),
    )
    def test_bombs(self, run: Run, folder: Path, text: str, sentence: str) -> None:
        assert says(run, folder, text).startswith(sentence)


def test_the_caution_names_what_narrows_only_where_something_does() -> None:
    plain = settings_file_caution("steybrae.toml", {"scale": "1:25000", "off-path": "true"}, [])
    assert plain.text == "Not typed but taken from steybrae.toml: scale 1:25000, off-path."
    assert "drift" in settings_file_caution("s", {"drift": "2"}, ["drift"]).text.split("rests on")[1]


def test_what_options_wait_for_are_options() -> None:
    names, waited = set(), {name for every in NEEDS.values() for name in every} | set(NEEDS)
    for command in COMMANDS:
        importlib.import_module(f"steybrae.cli.{command}")
    kinds = [Group]
    for kind in kinds:
        kinds += kind.__subclasses__()
    for kind in kinds[1:]:
        if kind.__module__.startswith("steybrae."):
            said = [one.metadata["option"] for one in fields(kind)]  # type: ignore[arg-type]
            names |= {one.name for one in said}
            waited |= {name for one in said for name in (*one.beside, *one.unless)}
    assert waited - names == {"READING"}, "the argument of the command itself"


@pytest.fixture
def narrowed(run: Run, folder: Path, sample_dem: Path) -> Path:
    """A plan screened with a kind of model that only the file of settings said, and every output of route."""
    (folder / "steybrae.toml").write_text('[[model]]\nfor = "stey_massif.tif"\nmodel-kind = "lidar"\n')
    line, model = sample_dem / "day.gpx", ("--dem", str(sample_dem / "stey_massif.tif"))
    outputs = ("--save", "plan.zip", "--csv", "r.csv", "--geojson", "r.geojson", "--report", "r.html")
    status, out, _ = run("route", str(line), *model, *NEAR[1:], *outputs)
    assert status == 0
    (folder / "r.txt").write_text(out)
    place = "59.23121 -8.06788"
    (folder / "places.csv").write_text(f"lat,lon\n{place.replace(' ', ',')}\n")
    for name, command in (
        ("ground", ("ground", place)),
        ("places", ("ground", "--places", "places.csv", "--csv", "places_out.csv")),
        ("reading", ("reading", "20deg", "--at", place)),
    ):
        status, out, _ = run(*command, *model)
        assert status == 0
        (folder / f"{name}.txt").write_text(out)
    (folder / "steybrae.toml").unlink()
    return folder


def test_what_the_file_narrowed_is_told_in_every_output_and_kept_in_the_plan(
    run: Run, narrowed: Path
) -> None:
    """By the outputs of the run itself, and by what is made of its plan where there is no such file."""
    plan, day = str(narrowed / "plan.zip"), ("--date", "2026-02-14")
    check = next(one.name for leg in read_plan(narrowed / "plan.zip").legs for one in leg.expected_readings)
    cards = ("--gpx", "c.gpx", "--csv", "c.csv", "--geojson", "c.geojson", "--phone", "c.html")
    for name, command in (
        ("card", ("card", plan, *day, *cards)),
        ("check", ("reading", "20deg", "--plan", plan, "--check", check)),
        ("report", ("report", plan, "--out", "again.html")),
        ("sheet", ("sheet", "field", "--plan", plan, *day, "--out", "log.pdf")),
    ):
        status, out, err = run(*command)
        assert status == 0, err
        (narrowed / f"{name}.txt").write_text(out)
    told = (
        *("r.txt", "r.csv.cautions.txt", "r.geojson", "r.html", "again.html"),
        *("ground.txt", "places.txt", "places_out.csv.cautions.txt", "reading.txt", "check.txt"),
        *("card.txt", "c.gpx", "c.csv.cautions.txt", "c.geojson", "c.html"),
    )
    for name in told:
        text = " ".join((narrowed / name).read_text("utf-8").split())
        assert "taken from steybrae.toml" in text, name
        assert "model-kind" in text, name
