"""Names that attack a terminal, a page, a table or a reader, on every way in."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import unicodedata
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from steybrae.errors import PlanError
from steybrae.field.log import LogRow, row_from_cells, row_to_cells
from steybrae.files.bulletins import read_bulletins
from steybrae.files.plans import build
from steybrae.files.routes import read_route
from steybrae.names import BROKEN, clean, cut, defused, undefused
from steybrae.route.legs import Route
from steybrae.route.positions.places import Place, parse_place

HOSTILE = {
    "a\nb\r\n\tc": "a b c",
    "\x1b[2J\x1b]0;owned\x07": "\ufffd[2J\ufffd]0;owned\ufffd",
    "\x9b31mred": "\ufffd31mred",
    "Stey\u202egnp.exe": "Steygnp.exe",
    "\u2066a\u2069\u200e\u200f\u061c": "a",
    "half \ud83d": "half \ufffd",
    "nul\0": "nul\ufffd",
    "\ufffe\uffff": "\ufffd\ufffd",
    "soft\u00adhyphen\u200b\ufeff": "softhyphen",
    "no\u00a0break\u2028line\u2029": "no break line",
    "  two   blanks ": "two blanks",
}
KEPT = ["", "Torran", "Beinn a' Ghlò", "غرب الجبل", "क्‍ष", "雪山", "=1+1", "<b>&amp;", "👩‍🚒", "é"]


@pytest.mark.parametrize(
    ("most", "shown"),
    [(24, "Torraskel Skarf Rim East"), (14, "Torrask…m East"), (5, "To…st"), (1, "…")],
)
def test_a_cut_name_keeps_both_ends(most: int, shown: str) -> None:
    """Names that differ at their last word alone looked alike where that was cut off."""
    assert cut("Torraskel Skarf Rim East", lambda text: len(text) <= most) == shown


@pytest.mark.parametrize(("text", "expected"), HOSTILE.items(), ids=ascii)
def test_what_steers_is_shown_or_gone(text: str, expected: str) -> None:
    assert clean(text) == expected


@pytest.mark.parametrize("text", KEPT, ids=ascii)
def test_all_scripts_stay(text: str) -> None:
    assert clean(text) == text


def test_length_is_bounded() -> None:
    assert clean("x" * 120) == "x" * 120
    assert clean("x" * 121) == "x" * 119 + "…"
    assert clean("y" * 10**7, 10) == "y" * 9 + "…"


@given(st.text(st.characters(exclude_categories=())), st.integers(2, 40))
def test_any_text_is_harmless_afterwards(text: str, most: int) -> None:
    found = clean(text, most)
    assert len(found) <= most
    assert clean(found, most) == found
    assert found == " ".join(found.split())
    found.encode()
    assert not {unicodedata.category(letter) for letter in found} & {"Cc", "Cs", "Zl", "Zp"}
    assert ET.fromstring(f"<a>{found.replace('&', '').replace('<', '')}</a>") is not None  # noqa: S314


@given(st.text())
def test_formulas_are_defused_and_come_back(text: str) -> None:
    assert defused(text).lstrip()[:1] not in ("=", "+", "-", "@") or float(text) is not None
    assert text.startswith("'") or undefused(defused(text)) == text


BAD = "=cmd|' /C x'!A0\x1b[31m\n\u202eend\ud800"
GOOD = "=cmd|' /C x'!A0\ufffd[31m end\ufffd"


class TestWaysIn:
    def test_places_and_routes(self) -> None:
        assert parse_place("59.2 -8.0", BAD).name == GOOD
        assert Place(59.2, -8.0, written="59.2\x1b").written == "59.2\ufffd"
        assert Route(BAD, (Place(59.2, -8.0), Place(59.3, -8.0)), (0, 1)).name == GOOD

    @pytest.mark.parametrize("kind", ["gpx", "json", "csv"])
    def test_route_files_and_their_names(self, tmp_path: Path, kind: str) -> None:
        bidi = "\u202ea\u200bb"
        points = [(59.2, -8.0), (59.21, -8.01)]
        gpx = "".join(f'<rtept lat="{a}" lon="{o}"><name>{bidi}</name></rtept>' for a, o in points)
        text = {
            "gpx": f'<gpx version="1.1" creator="x"><rte><name>{bidi}</name>{gpx}</rte></gpx>',
            "json": json.dumps(
                {
                    "type": "Feature",
                    "properties": {"name": BAD, "turn_points": [BAD, BAD]},
                    "geometry": {"type": "LineString", "coordinates": [[o, a] for a, o in points]},
                }
            ),
            "csv": "lat,lon,name\n" + "".join(f'{a},{o},"x\x1b\ny"\n' for a, o in points),
        }[kind]
        path = tmp_path / f"d\u202ea\x1by.{kind}"
        path.write_text(text, encoding="utf-8")
        route = read_route(path)
        assert {place.name for place in route.points} == {
            {"gpx": "ab", "json": GOOD, "csv": "x\ufffd y"}[kind]
        }
        assert route.name == {"gpx": "ab", "json": GOOD, "csv": "da\ufffdy"}[kind]

    def test_logs(self) -> None:
        row = LogRow(dt.datetime(2026, 1, 2, tzinfo=dt.UTC), BAD, BAD, (30.0,), 30.0, 4.0, note=BAD, plan=BAD)
        assert {row.observer, row.instrument, row.note, row.plan} == {GOOD}
        cells = row_to_cells(row)
        assert cells["observer"] == f"'{GOOD}"
        assert row_from_cells(cells) == row
        assert row_from_cells({**cells, "note": BAD}) == row

    def test_bulletins(self, tmp_path: Path, sample_dem: Path) -> None:
        tree = json.loads((sample_dem / "bulletin.json").read_text())
        tree["bulletins"][0]["highlights"] = BAD
        tree["bulletins"][0]["regions"][0]["name"] = BAD
        tree["bulletins"][0]["od\x1bd"] = 1
        path = tmp_path / "b\u202e.json"
        path.write_text(json.dumps(tree))
        read = read_bulletins(path)
        assert read.name == "b.json"
        assert read.bulletins[0].highlights == GOOD
        assert read.bulletins[0].regions[0].name == GOOD
        assert "bulletins[0].od\ufffdd" in read.bulletins[0].extras

    @pytest.mark.parametrize("text", ["a\nb", "\x1b[2J", "\u202eb", "\ud800"])
    def test_plans_hold_only_what_was_cleaned(self, text: str) -> None:
        with pytest.raises(PlanError) as caught:
            build(str, text, lambda _: None, "result.name")  # type: ignore[arg-type,return-value]
        assert str(caught.value) == (
            f"The plan's result.name should be plain text; got {text!a}. Save the plan again."
        )


def test_broken_is_one_character_of_every_output() -> None:
    assert len(BROKEN) == 1
    assert list(csv.reader(io.StringIO(f'"{BROKEN}"\n'))) == [[BROKEN]]
