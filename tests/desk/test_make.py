"""What the desk makes of a line has the bytes that the commands write for its file."""

from __future__ import annotations

import datetime as dt
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.desk.conftest import BULLETIN
from tests.desk.made_lines import message, sample_points

from steybrae.card.settings import CardSettings
from steybrae.cli.app import main
from steybrae.desk.guard import RefusedError
from steybrae.desk.make import MAKERS
from steybrae.desk.opened import Desk, DeskAsk
from steybrae.errors import DateError
from steybrae.files.model.fingerprints import file_fingerprint
from steybrae.files.results import sample, sample_model
from steybrae.screening import Settings
from steybrae.screening.origin import FileRead, RunOrigin

DAY = {"date": "2027-01-15", "start": "08:30", "zone": "Europe/London", "party": "Ann, Ben", "call": ""}
TYPED = ("--date", "2027-01-15", "--start", "08:30", "--zone", "Europe/London", "--party", "Ann, Ben")


@pytest.fixture(scope="module")
def nearby() -> Iterator[Desk]:
    """A desk that looks 300 m, with a bulletin."""
    told = "--sample --reach 300m --bulletin bulletin.json --region XX-STEY-01 --at-time 2027-01-15T09:30Z"
    path = sample().bulletin
    ask = DeskAsk(
        (sample_model(),),
        Settings(reach_m=300.0),
        CardSettings(dt.date(2027, 1, 15)),
        forecast=BULLETIN,
        origin=RunOrigin(
            told.replace("bulletin.json", path.name),
            (FileRead(path.name, "bulletin", file_fingerprint(path)),),
        ),
    )
    opened = Desk(ask)
    yield opened
    opened.close()


def command(monkeypatch: pytest.MonkeyPatch, *words: str) -> None:
    monkeypatch.setattr(sys, "argv", ["steybrae", *words])
    with pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code in (0, None)


def test_files_have_the_bytes_of_the_commands(
    nearby: Desk, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    one, two, _ = sample_points(4)[1:]
    west = {"lat": round(two["lat"] - 2e-3, 7), "lon": round(two["lon"] - 4e-3, 7), "name": "west"}
    off = ("bank", "way off", [two, west])
    lines = ("Day one", "main", [one, two]), ("straight", "alternative", [one, west]), off
    asked = message(*lines, day=DAY)
    made = {name: maker(nearby, asked) for name, maker in MAKERS.items()}
    assert [one.name for one in made.values()] == [
        "day-one.gpx", "day-one.zip", "day-one-card.pdf", "day-one.html", "day-one-phone.html",
    ]  # fmt: skip
    monkeypatch.chdir(tmp_path)
    Path("day-one.gpx").write_bytes(made["gpx"].body)
    path = str(sample().bulletin)
    forecast = ("--bulletin", path, "--region", "XX-STEY-01", "--at-time", "2027-01-15T09:30Z")
    model = ("--sample", "--reach", "300m", *forecast)
    command(monkeypatch, "route", "day-one.gpx", *model, "--save", "made.zip")
    assert made["plan"].body == Path("made.zip").read_bytes()
    assert b"none drawn in this plan" not in made["report"].body
    # A card is of one line, and the command says what else its file holds.
    Path("alone.gpx").write_bytes(MAKERS["gpx"](nearby, message(lines[0])).body)
    command(
        monkeypatch, "card", "alone.gpx", *model, *TYPED, "--pdf", "made.pdf", "--phone", "made-phone.html"
    )
    assert made["card"].body == Path("made.pdf").read_bytes()
    assert made["phone"].body == Path("made-phone.html").read_bytes()
    command(monkeypatch, "report", "made.zip", *forecast, *TYPED, "--out", "made.html")
    assert made["report"].body == Path("made.html").read_bytes()
    capsys.readouterr()


def test_a_field_that_cannot_be_read_is_refused(desk: Desk) -> None:
    asked = message(("Day", "main", sample_points(3)), day={"date": "soon"})
    with pytest.raises(DateError, match="A date should look like 2027-01-15; got 'soon'"):
        MAKERS["card"](desk, asked)


@pytest.mark.parametrize("name", list(MAKERS))
def test_nothing_is_made_of_a_line_just_begun(desk: Desk, name: str) -> None:
    with pytest.raises(RefusedError) as refused:
        MAKERS[name](desk, message(("", "main", [])))
    assert (refused.value.status, refused.value.sentence) == (
        422,
        "A line needs two different points; this one has fewer. Draw its next turn point.",
    )


def test_names_of_files_are_such_that_every_system_takes(desk: Desk) -> None:
    asked = message(('../"Ärger"\r\n', "main", sample_points(2)))
    assert MAKERS["gpx"](desk, asked).name == "rger.gpx"
