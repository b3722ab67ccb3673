"""``steybrae report`` and ``--report``: what is written, and what is refused in which words."""

from __future__ import annotations

import hashlib
import json
import re
from pathlib import Path

import pytest
from tests.pages.conftest import Made, run
from tests.pages.drawn import Reader

from steybrae.errors import FileReadError
from steybrae.files.model.fingerprints import file_fingerprint
from steybrae.files.plans import read_plan, write_plan
from steybrae.forecast.bulletin import parse_span
from steybrae.library.forecast import read_asked
from steybrae.screening.forecast.at import forecast_beside

pytestmark = pytest.mark.usefixtures("screened_once")

DAY = ("--date", "2027-01-15")
VALID = "Valid 2027-01-14 18:00 UTC to 2027-01-15 18:00 UTC"


def refused(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    """Run a command that should be refused; its one line."""
    capsys.readouterr()
    assert run(*arguments) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    return printed.err.rstrip("\n")


def test_a_saved_plan_becomes_the_same_page_and_its_cautions_are_printed(
    made: Made, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "again.html"
    capsys.readouterr()
    assert run("report", str(made.plan), "--out", str(out)) == 0
    assert out.read_bytes() == made.page.read_bytes()
    printed = " ".join(capsys.readouterr().out.split())
    for caution in made.screening.cautions:
        assert caution.text in printed


def test_an_existing_file_is_kept(made: Made, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "p.html"
    out.write_text("mine")
    words = refused(capsys, "report", str(made.plan), "--out", str(out))
    assert (
        words
        == f"steybrae: {out} exists and is not overwritten. Give another name, or --force to replace it."
    )
    assert out.read_text() == "mine"
    assert run("report", str(made.plan), "--out", str(out), "--force") == 0
    assert out.read_bytes() == made.page.read_bytes()


@pytest.mark.parametrize("name", ["plan.pdf", "plan", "plan.html.zip"])
@pytest.mark.parametrize("command", ["report", "route", "card", "card --phone"])
def test_another_ending_is_refused(
    made: Made, tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str, command: str
) -> None:
    out = str(tmp_path / name)
    arguments = {
        "report": (str(made.plan), "--out", out),
        "route": ("--sample", "--report", out),
        "card": ("--sample", *DAY, "--report", out),
        "card --phone": ("--sample", *DAY, "--phone", out),
    }[command]
    words = refused(capsys, command.split(maxsplit=1)[0], *arguments)
    what = "A page for a phone" if "--phone" in command else "A report"
    assert words == f"steybrae: {what} should be named .html or .htm; got {name!r}. Change its ending."
    assert list(tmp_path.iterdir()) == []


def test_a_plan_that_is_none_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    missing = tmp_path / "no.zip"
    words = refused(capsys, "report", str(missing), "--out", str(tmp_path / "p.html"))
    assert words == f"steybrae: The plan {missing} should be a file; there is none. Check the path."
    assert list(tmp_path.iterdir()) == []


def test_a_card_between_places_has_no_report(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    places = ("--from", "59.2 -8.0", "--to", "59.21 -8.01")
    words = refused(capsys, "card", *places, *DAY, "--report", str(tmp_path / "p.html"))
    assert words == (
        "steybrae: A report shows ground; a card between two places has none. Add --dem FILE, or leave "
        "--report out."
    )


def test_a_card_writes_it_too(made: Made, tmp_path: Path, sample_dem: Path) -> None:
    out = tmp_path / "card.html"
    bulletin = ("--bulletin", str(sample_dem / "bulletin.json"), "--region", "XX-STEY-01")
    clock = ("--start", "08:30", "--zone", "Europe/London")
    assert run("card", "--sample", *DAY, *clock, *bulletin, "--report", str(out), "--json") == 0
    page, whole = Reader(out.read_text("utf-8")), Reader(made.page.read_text("utf-8"))
    assert page.tables[0] == whole.tables[0]
    assert "steybrae card --date 2027-01-15 --start 08:30" in page.words
    assert "considerable (3), above 800 m" in page.words
    for caution in made.screening.cautions:
        assert page.words.count(caution.text) == 2
    # One north on a page: without a date true, with one that of the compass, 2.9 degrees west of it there.
    assert re.findall(r"\d{3}° \w+", page.words)
    assert {found.split()[1] for found in re.findall(r"\d{3}° \w+", page.words)} == {"magnetic"}
    assert {found.split()[1] for found in re.findall(r"\d{3}° \w+", whole.words)} == {"true"}


def test_the_page_of_a_day_is_one_whoever_writes_it(made: Made, tmp_path: Path) -> None:
    by_card, by_report = tmp_path / "card.html", tmp_path / "report.html"
    day = (
        *DAY,
        "--start",
        "08:30",
        "--zone",
        "Europe/London",
        "--party",
        "Ona, Bo",
        "--call",
        "Mara",
        "--overdue",
        "18:00",
    )
    assert run("card", str(made.plan), *day, "--report", str(by_card), "--json") == 0
    assert run("report", str(made.plan), *day, "--out", str(by_report)) == 0
    assert by_card.read_bytes() == by_report.read_bytes()
    words = " ".join(Reader(by_card.read_text("utf-8")).words.split())
    for said in (
        "When 2027-01-15, start 08:30 GMT", "From Hjarnavoe Foot, 59.20387, -8.04502",
        "Due back at least 13:36 GMT, at Hjarnavoe Bridge. No time added for snow, load, breaks.",
        "Party Ona, Bo",
        "If nobody came back call Mara, at 18:00 GMT", "To be down by 16:09 GMT (sunset)",
        "343° magnetic, there 09:08 GMT, 8 min before sunrise.",
    ):  # fmt: skip
        assert said in words


def test_a_bulletin_stands_beside_a_saved_plan_as_on_its_card(
    made: Made, tmp_path: Path, sample_dem: Path
) -> None:
    """An expired bulletin of the plan gives way, with the cautions that it brought, to that of the day."""
    by_card, by_report, of_no_day = (tmp_path / name for name in ("card.html", "report.html", "none.html"))
    plan = tmp_path / "old.zip"
    bulletin = ("--bulletin", str(sample_dem / "bulletin.json"), "--region", "XX-STEY-01")
    late = ("--at-time", "2027-01-17T09:00+00:00")
    found = read_plan(made.plan)
    source, ask = read_asked(
        sample_dem / "bulletin.json", region="XX-STEY-01", lang=None, span=parse_span(late[1]),
        treeline_m=None, slope_deg=None, reduction=False,
    )  # fmt: skip
    write_plan(plan, forecast_beside(found, source, ask))
    clock = (*DAY, "--start", "08:30", "--zone", "Europe/London")
    assert run("card", str(plan), *clock, *bulletin, "--report", str(by_card), "--json") == 0
    assert run("report", str(plan), *clock, *bulletin, "--out", str(by_report)) == 0
    assert by_card.read_bytes() == by_report.read_bytes()
    assert "EXPIRED" not in Reader(by_report.read_text("utf-8")).words
    assert run("report", str(plan), *bulletin, *late, "--out", str(of_no_day)) == 0
    words = Reader(of_no_day.read_text("utf-8")).words
    assert "Forecast EXPIRED: this forecast ended" in words


def test_a_bulletin_of_another_day_in_the_plan_leads_with_no_level(
    made: Made, tmp_path: Path, sample_dem: Path
) -> None:
    """The page of the 20th of a plan of the 15th had its levels first, as those of the 20th."""
    plan, page = tmp_path / "fifteenth.zip", tmp_path / "page.html"
    source, ask = read_asked(
        sample_dem / "bulletin.json", region="XX-STEY-01", lang=None,
        span=parse_span("2027-01-15T09:00+00:00"), treeline_m=None, slope_deg=None, reduction=False,
    )  # fmt: skip
    write_plan(plan, forecast_beside(read_plan(made.plan), source, ask))
    for date, first in (
        (
            "2027-01-15",
            "Forecast No time of the day was given: every bulletin that holds on that day is shown. "
            f"Give --start. {VALID}. Danger rating considerable (3): above 800 m",
        ),
        (
            "2027-01-20",
            "Forecast EXPIRED: this forecast ended 2027-01-15 18:00 UTC, before 2027-01-20 00:00 UTC of the "
            "plan. Get a newer one.",
        ),
    ):
        assert run("report", str(plan), "--date", date, "--out", str(page), "--force") == 0
        words = " ".join(Reader(page.read_text("utf-8")).words.split())
        assert first in words
        assert ("considerable (3)" in words.split("Places that matter")[0]) is (date == "2027-01-15")


def test_a_bulletin_that_ends_before_the_walk_leads_with_no_level(
    made: Made, tmp_path: Path, sample_dem: Path
) -> None:
    """A bulletin till six had its levels first on the page of a walk from seven that evening."""
    plan, page = tmp_path / "fifteenth.zip", tmp_path / "page.html"
    source, ask = read_asked(
        sample_dem / "bulletin.json", region="XX-STEY-01", lang=None,
        span=None, treeline_m=None, slope_deg=None, reduction=False,
    )  # fmt: skip
    write_plan(plan, forecast_beside(read_plan(made.plan), source, ask))
    for start, first, level in (
        ("08:30", f"Forecast {VALID}.", True),
        ("17:00", "Forecast NOT VALID ALL THE TIME: the plan runs from 2027-01-15 17:00 UTC", True),
        (
            "19:00",
            "Forecast EXPIRED: this forecast ended 2027-01-15 18:00 UTC, before 2027-01-15 19:00 UTC of the "
            "plan.",
            False,
        ),
    ):
        clock = (*DAY, "--start", start, "--zone", "Europe/London")
        assert run("report", str(plan), *clock, "--out", str(page), "--force") == 0
        words = " ".join(Reader(page.read_text("utf-8")).words.split()).split("Places that matter")[0]
        assert first in words
        assert ("considerable (3)" in words) is level
        assert "whether the forecast holds when you are there was not checked" not in words


def test_yesterdays_bulletin_beside_todays_has_no_level(made: Made, tmp_path: Path, sample_dem: Path) -> None:
    """Of a file of two days that a plan kept, the page of the second led with the level of the first."""
    tree = json.loads((sample_dem / "bulletin.json").read_text("utf-8"))
    (whole,) = tree["bulletins"]
    tree["bulletins"] = [
        {
            **whole,
            "validTime": {"startTime": f"2027-01-{day}T00:00:00Z", "endTime": f"2027-01-{day + 1}T00:00:00Z"},
            "dangerRatings": [{"mainValue": level}],
        }
        for day, level in ((14, "low"), (15, "high"))
    ]
    (tmp_path / "two.json").write_text(json.dumps(tree))
    source, ask = read_asked(
        tmp_path / "two.json", region="XX-STEY-01", lang=None, span=None, treeline_m=None, slope_deg=None,
        reduction=False,
    )  # fmt: skip
    write_plan(tmp_path / "two.zip", forecast_beside(read_plan(made.plan), source, ask))
    for start in ((), ("--start", "08:30", "--zone", "Europe/London")):
        page = tmp_path / f"page{len(start)}.html"
        assert run("report", str(tmp_path / "two.zip"), *DAY, *start, "--out", str(page)) == 0
        words = " ".join(Reader(page.read_text("utf-8")).words.split())
        assert "low (1)" not in words
        assert words.count("high (4)") > 10


def test_a_level_stands_with_when_it_holds(made: Made, tmp_path: Path, sample_dem: Path) -> None:
    """A page of no day had the levels of its plan's bulletin without their day, first and leg by leg."""
    plan, page, phone = (tmp_path / name for name in ("plan.zip", "page.html", "hill.html"))
    bulletin = sample_dem / "bulletin.json"
    source, ask = read_asked(
        bulletin, region="XX-STEY-01", lang=None, span=None, treeline_m=None, slope_deg=None, reduction=False
    )
    write_plan(plan, forecast_beside(read_plan(made.plan), source, ask))
    assert run("report", str(plan), "--out", str(page)) == 0
    told = ("--bulletin", str(bulletin), "--region", "XX-STEY-01", "--phone", str(phone))
    assert run("card", str(plan), *DAY, *told) == 0
    for one in (page, phone):
        words = " ".join(Reader(one.read_text("utf-8")).words.split())
        assert f"{VALID}. Danger rating considerable (3): above 800 m" in words
        level = "considerable (3), above 800 m, all aspects:"
        assert words.count(level) == words.count(f"{VALID} {level}") > 10


def test_what_was_not_given_is_said(made: Made) -> None:
    words = " ".join(Reader(made.page.read_text("utf-8")).words.split())
    assert "When not given: steybrae report makes this page with --date, --start and --zone." in words
    assert "Party not given (--party)." in words
    assert "If nobody came back not given (--call, --overdue)." in words


def test_a_day_without_a_report_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("route", "--sample", *DAY) == 2
    assert capsys.readouterr().err == (
        "steybrae: The day, its times and its party go with --report; it is missing. Add --report FILE.\n"
    )


def test_the_command_to_repeat_it(tmp_path: Path, sample_dem: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As typed and quoted, without outputs, and without folders of the disk."""
    line = tmp_path / "my day's $line.gpx"
    line.write_bytes((sample_dem / "day.gpx").read_bytes())
    monkeypatch.chdir(tmp_path)
    model = str(sample_dem / "stey_massif.tif")
    typed = (
        "route",
        line.name,
        "--dem",
        model,
        "--drift",
        "4",
        "--edges",
        "30,40",
        "--report",
        "r.html",
        "--json",
    )
    assert run(*typed) == 0
    page = Reader((tmp_path / "r.html").read_text("utf-8"))
    command = re.search(r"with the same version: (.*) Cautions ", page.words)
    assert command is not None
    assert command[1] == (
        """steybrae route 'my day'"'"'s $line.gpx' --dem stey_massif.tif --drift 4 --edges 30,40"""
    )
    assert str(sample_dem) not in (tmp_path / "r.html").read_text("utf-8")
    assert hashlib.sha256(line.read_bytes()).hexdigest() in page.words


def test_a_fingerprint_of_nothing_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FileReadError) as stop:
        file_fingerprint(tmp_path / "none.gpx")
    assert str(stop.value) == (
        f"The file {tmp_path / 'none.gpx'} could not be read: No such file or directory. Check the path."
    )
