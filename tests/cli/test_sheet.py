"""``steybrae sheet`` from the command line to the files it writes."""

from __future__ import annotations

import csv
import re
import shlex
import shutil
import sys
from collections.abc import Callable
from dataclasses import replace
from html import escape
from pathlib import Path

import pytest
from tests.conftest import SamplePlan
from tests.sheets.pdf_lines import words

from steybrae.cautions import Situation, cautions_for
from steybrae.cli.app import main
from steybrae.files.plans import write_plan
from steybrae.teach.field_sheet import field_sheet

MAP = ("--scale", "1:25000", "--interval", "10m")
Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    def call(*arguments: object) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["steybrae", "sheet", *map(str, arguments)])
        with pytest.raises(SystemExit) as stop:
            main()
        printed = capsys.readouterr()
        return int(stop.value.code or 0), printed.out, printed.err

    return call


KINDS: dict[str, tuple[str, ...]] = {
    "scale": (*MAP, "--index-every", "5", "--scale", "1:50000", "--interval", "40ft", "--copies", "2"),
    "error": MAP,
    "first": ("--seed", "2", "--paper", "letter"),
    "field": (),
    "practice": (*MAP, "--sample", "--questions", "3", "--seed", "7"),
    "lesson": ("--seed", "3"),
}


@pytest.mark.parametrize("kind", KINDS)
def test_each_sheet_is_written_whole_and_not_overwritten(run: Run, tmp_path: Path, kind: str) -> None:
    out = tmp_path / ("page.html" if kind == "lesson" else "sheet.pdf")
    status, said, errors = run(kind, *KINDS[kind], "--out", out)
    assert (status, errors) == (0, "")
    assert said.splitlines()[0] == f"Written: {out}. A lesson is not a field decision."
    data = out.read_bytes()
    assert data.startswith(b"<!doctype html>" if kind == "lesson" else b"%PDF-")
    assert run(kind, *KINDS[kind], "--out", out) == (
        2,
        "",
        f"steybrae: {out} exists and is not overwritten. Give another name, or --force to replace it.\n",
    )
    assert run(kind, *KINDS[kind], "--out", out, "--force")[0] == 0
    assert out.read_bytes() == data  # the same words make the same bytes
    assert [path.name for path in tmp_path.iterdir()] == [out.name]


def test_help_offers_the_papers_that_are_taken(run: Run, tmp_path: Path) -> None:
    for kind in set(KINDS) - {"lesson"}:
        shown = " ".join(run(kind, "--help")[1].split())
        assert ("a5" in shown) == (kind == "field")
    assert "a4 or letter; for the checks of a plan a4, letter, a5." in " ".join(
        run("field", "--help")[1].split()
    )
    assert run("field", "--paper", "a5", "--out", tmp_path / "log.pdf")[0] == 2


def test_what_the_blank_log_says_to_type_is_taken(
    run: Run, tmp_path: Path, sample_plan: SamplePlan, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "my plan.zip").write_bytes(sample_plan.path.read_bytes())
    planned = ("--plan", "my plan.zip", "--date", "2027-01-15", "--paper", "a5")
    columns = field_sheet().columns
    with (tmp_path / "table.csv").open("w", encoding="utf-8", newline="") as table:
        csv.writer(table).writerows([[one.name for one in columns], [one.example for one in columns]])
    typed = []
    for options in ((), planned):
        run("field", *options, "--out", "log.pdf", "--force")
        text = words((tmp_path / "log.pdf").read_bytes(), tmp_path)
        typed += re.findall(r"steybrae (reading .*?--log log\.csv)(?= |$)", text)
    assert len(typed) == 3
    for line in typed:
        monkeypatch.setattr(sys, "argv", ["steybrae", *shlex.split(line)])
        with pytest.raises(SystemExit) as stop:
            main()
        assert not stop.value.code
    assert len((tmp_path / "log.csv").read_text("utf-8").splitlines()) == 4


@pytest.mark.parametrize("kind", KINDS)
def test_no_sheet_stands_under_another_ending(run: Run, tmp_path: Path, kind: str) -> None:
    what = "A page should be named .html or .htm" if kind == "lesson" else "A sheet should be named .pdf"
    said = f"steybrae: {what}; got 'a.txt'. Change its ending.\n"
    assert run(kind, *KINDS[kind], "--out", tmp_path / "a.txt") == (2, "", said)
    if kind in ("first", "practice"):
        names = ("--out", tmp_path / "a.pdf", "--answers", tmp_path / "a.txt")
        assert run(kind, *KINDS[kind], *names) == (2, "", said)
    assert not list(tmp_path.iterdir())


def test_a_copy_of_the_sample_is_known_for_what_it_is(run: Run, tmp_path: Path, sample_dem: Path) -> None:
    """By its path, or a copy of it, sheet and lesson lacked the caution that there is no such ground."""
    model = tmp_path / "hills.tif"
    shutil.copy(sample_dem / "stey_massif.tif", model)
    sheet, page = tmp_path / "sheet.pdf", tmp_path / "page.html"
    assert run("practice", *MAP, "--dem", model, "--questions", "3", "--out", sheet)[0] == 0
    assert run("lesson", "--dem", model, "--out", page)[0] == 0
    (caution,) = (one for one in cautions_for(Situation(sample=True)) if one.key == "sample")
    assert caution.line in words(sheet.read_bytes(), tmp_path)
    assert escape(caution.text) in page.read_text("utf-8")


def test_own_plan_and_log_are_asked_about(run: Run, tmp_path: Path, sample_plan: SamplePlan) -> None:
    plan, log = sample_plan.path, tmp_path / "log.csv"
    log.write_text(
        "time,observer,instrument,lat_deg,lon_deg,reference_source,reference_slope_deg,aspect_true_deg,"
        "plan,check,note,readings_deg,mean_deg,uncertainty_95_deg\n"
        "2026-02-14T10:30:00+00:00,R. Fennar,clinometer,10.0,10.0,,,,,,,34,34,4\n"
        "2026-02-14T10:30:00+00:00,R. Fen\n",
        encoding="utf-8",
    )
    out = tmp_path / "own.pdf"
    status, said, _ = run("practice", *MAP, "--sample", "--plan", plan, "--log", log, "--out", out)
    assert status == 0
    assert said.splitlines()[1:] == [
        "The key is not in it: give --answers FILE with the same settings and seed.",
        "No reading of the log could be asked about: none lies on this map where it can be measured.",
        "Damaged lines of the log, passed over: 1. See reading --review.",
    ]


def test_a_plan_alone_has_the_ground_to_ask_about(run: Run, tmp_path: Path, sample_plan: SamplePlan) -> None:
    invented = cautions_for(Situation(sample=True))
    write_plan(plan := tmp_path / "plan.zip", replace(sample_plan.screening, cautions=invented))
    out, key = tmp_path / "own.pdf", tmp_path / "key.pdf"
    status, said, errors = run("practice", *MAP, "--plan", plan, "--out", out, "--answers", key)
    assert (status, errors) == (0, "")
    assert len(said.splitlines()) == 2
    text = words(out.read_bytes(), tmp_path)
    assert "no such ground" in text  # as the plan says of its model
    assert "Ground: plan" in text
    assert re.search(r"Your own leg \d+", text)


def test_stretches_of_a_printed_map_need_no_model(run: Run, tmp_path: Path) -> None:
    table, out, key = (tmp_path / name for name in ("stretches.csv", "own.pdf", "key.pdf"))
    table.write_text("name,length_mm,gaps\nNorth face,6.5,10\nnear the lip,0.8,1\n", encoding="utf-8")
    arguments = ("practice", *MAP, "--measured", table, "--out", out)
    assert run(*arguments, "--answers", key)[0] == 0
    asked, told = words(out.read_bytes(), tmp_path), words(key.read_bytes(), tmp_path)
    assert "North face" in asked
    assert "31.7°" not in asked
    # What the pupil's sheet asks for, in its order; a height of 110 m is lines counted for gaps.
    asked_for = (
        "length mm: 6.0 to 7.0; gaps: 10; height m: 100; slope °: 29.7° to 33.7°; band: 25-30 or 30-35"
    )
    assert (
        f"North face: {asked_for}. 6.50 mm over 10 gaps: 100 m up in 162.5 m; atan(100 / 162.5) = 31.7°."
        in told
    )
    assert "slope °: 17.1° to 53.2°; band: any: measure over more gaps." in told
    assert run(*arguments, "--sample", "--at", "59.2 -8.0", "--force") == (
        2,
        "",
        "steybrae: --measured is about your printed map and needs no model; got --sample and --at too. "
        "Make two sheets.\n",
    )


def test_a_note_on_some_copies_names_their_seeds(run: Run, tmp_path: Path) -> None:
    """With eight copies it was not said which sheets had fewer questions."""
    typed = ("--scale", "1:10000", "--interval", "20m", "--sample", "--copies", "3", "--seed", "1")
    _, said, _ = run("practice", *typed, "--out", tmp_path / "c.pdf", "--answers", tmp_path / "k.pdf")
    assert said.splitlines()[2:] == [
        "Seeds 1 2: This ground had no place for 1 of the level's questions: others stand in.",
        "Seed 3: This ground had no place for 3 of the level's questions: others stand in.",
    ]


def test_copies_for_a_class_with_one_key(run: Run, tmp_path: Path) -> None:
    out, key = tmp_path / "class.pdf", tmp_path / "key.pdf"
    arguments = ("practice", *MAP, "--sample", "--questions", "2", "--copies", "3", "--seed", "5")
    status, said, errors = run(*arguments, "--out", out, "--answers", key)
    assert (status, errors) == (0, "")
    assert said.splitlines() == [
        f"Written: {out}. A lesson is not a field decision.",
        f"Written: {key}. A lesson is not a field decision.",
    ]
    out.unlink()
    assert run(*arguments, "--out", out, "--answers", key) == (
        2,
        "",
        f"steybrae: {key} exists and is not overwritten. Give another name, or --force to replace it.\n",
    )
    assert not out.exists()


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (
            ("scale", "--scale", "1:25000", "--interval", "10m", "--scale", "1:50000", "--scale", "1:10000",
             "--interval", "20m"),
            "--interval is needed once, or once for each --scale; got 3 scales and 2 intervals. "
            "Write them in pairs.",
        ),
        (
            ("scale", *MAP, "--paper", "a9"),
            "The paper should be one of a4, letter; got 'a9'. Choose one.",
        ),
        (
            ("error", "--scale", "1:25000", "--interval", "10"),
            "A contour interval takes m, km, ft or usft; got no unit in '10'. Write it like 10m.",
        ),
        (
            ("practice", *MAP),
            "An elevation model is needed; none was given. Give --dem FILE, or --sample to try it.",
        ),
        (
            ("practice", *MAP, "--sample", "--at", "10.0 10.0"),
            "The middle of the map should lie on the model; '10.0 10.0' does not. Choose another place.",
        ),
        (
            ("practice", *MAP, "--sample", "--level", "hard"),
            "The level should be one of first, practice, assessment; got 'hard'. Choose one.",
        ),
    ],
)  # fmt: skip
def test_one_sentence_and_status_2_and_no_file(
    run: Run, tmp_path: Path, arguments: tuple[str, ...], message: str
) -> None:
    assert run(*arguments, "--out", tmp_path / "sheet.pdf") == (2, "", f"steybrae: {message}\n")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("arguments", "which"),
    [
        (("practice", "--measured", "in.pdf", "--scale", "1:25000", "--interval", "10m"), "in.pdf"),
        (("practice", "--log", "in.pdf", "--sample", "--scale", "1:25000", "--interval", "10m"), "in.pdf"),
        (("field", "--plan", "in.pdf", "--date", "2027-01-15"), "in.pdf"),
        (("lesson", "--dem", "in.html"), "in.html"),
    ],
)
def test_not_even_force_overwrites_what_is_read(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: tuple[str, ...], which: str
) -> None:
    monkeypatch.chdir(tmp_path)
    Path(which).write_text("kept", "utf-8")
    assert run(*arguments, "--out", which, "--force") == (
        2,
        "",
        f"steybrae: {which} is read by this command and is not overwritten. Give the output another name.\n",
    )
    assert Path(which).read_text("utf-8") == "kept"
