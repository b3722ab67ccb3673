"""Tables of stretches that somebody measured on their own map."""

from __future__ import annotations

import math
import re
from pathlib import Path

import pytest

from steybrae.errors import FileReadError, QuantityError
from steybrae.files.stretches import read_stretches
from steybrae.paper.measurement import GapMeasurement
from steybrae.paper.spacing import slope_from_spacing
from steybrae.teach.map_ground import MapLook
from steybrae.teach.own_questions import OwnStretch, own_map_sheet

HEADER = "{path} should begin with the header name,length_mm,gaps (or index_gaps for thick lines); got "
COUNT = "of {path} is no stretch: gaps should be a whole number; got "


def table(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "stretches.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_lengths_with_and_without_their_unit_and_names_with_commas(tmp_path: Path) -> None:
    path = table(
        tmp_path,
        '\ufeffName, length_mm, gaps\n"North face, HV 3120 1040", 6.5, 10\n\n  by the burn ,1.25cm,5\n',
    )
    assert read_stretches(path, 5) == (
        OwnStretch("North face, HV 3120 1040", 6.5, 10),
        OwnStretch("by the burn", 12.5, 5),
    )


def test_thick_lines_are_counted_as_the_gaps_they_are(tmp_path: Path) -> None:
    path = table(tmp_path, "name,length_mm,index_gaps\nlip,7,2\n")
    assert read_stretches(path, 4) == (OwnStretch("lip", 7.0, 8),)


def test_the_answers_are_those_of_the_gap_command() -> None:
    look = MapLook(25_000.0, 10.0)
    stretches = (OwnStretch("a", 6.5, 10), OwnStretch("b", 0.8, 1), OwnStretch("c", 0.4, 1))
    sheet = own_map_sheet(stretches, look)
    for stretch, answer in zip(stretches, sheet.answers, strict=True):
        told = slope_from_spacing(
            GapMeasurement(stretch.length_mm, stretch.gaps, "gaps"), 10.0, 25_000.0, ruler_only=True
        )
        assert answer.slope_gap_deg == pytest.approx(told.slope_deg, abs=1e-12)
        assert answer.low_deg == pytest.approx(told.slope_low_deg, abs=1e-12)
    # 400 m over 10 gaps in 6.5 mm, by hand: atan(100 / 162.5) and 7.0 and 6.0 mm.
    assert sheet.answers[0].slope_gap_deg == pytest.approx(math.degrees(math.atan(100 / 162.5)), abs=1e-12)
    assert sheet.answers[0].high_deg == pytest.approx(math.degrees(math.atan(100 / 150.0)), abs=1e-12)
    assert [band.label for band in sheet.answers[0].bands] == ["25-30", "30-35"]
    assert sheet.answers[2].high_deg == 90.0  # nothing is left of 0.4 mm
    assert "single_gap" in {caution.key for caution in sheet.cautions}


@pytest.mark.parametrize(
    ("text", "error", "message"),
    [
        ("", FileReadError, f"{HEADER}''. Write it above the stretches."),
        ("name,gap\na,1\n", FileReadError, f"{HEADER}'name,gap'. Write it above the stretches."),
        (
            "name,length_mm,gaps\n",
            QuantityError,
            "{path} should have 1 to 60 stretches; it has 0. Write one a line, or make two tables of it.",
        ),
        (
            "name,length_mm,gaps\nlip,6.5,ten\n",
            QuantityError,
            f"Line 2 {COUNT}'ten'. Count spaces, not lines.",
        ),
        ("name,length_mm,gaps\rlip,6.5\r", QuantityError, f"Line 2 {COUNT}''. Count spaces, not lines."),
        (
            'name,length_mm,gaps\n"lip,6.5,10\n',
            FileReadError,
            "Line 2 of {path} could not be read (unexpected end of data). Correct it there.",
        ),
        ("name,length_mm,gaps\nlip,6.5\n", QuantityError, f"Line 2 {COUNT}''. Count spaces, not lines."),
        (
            "name,length_mm,gaps\n\nlip,6.5,0\n",
            QuantityError,
            "Line 3 of {path} is no stretch: A stretch should have 1 to 100 gaps; got 0. Count spaces, not "
            "lines.",
        ),
    ],
)
def test_what_is_no_table_is_refused(tmp_path: Path, text: str, error: type[Exception], message: str) -> None:
    path = table(tmp_path, text)
    with pytest.raises(error, match=f"^{re.escape(message.format(path=path))}$"):
        read_stretches(path, 5)


def test_a_length_without_a_number_names_its_line(tmp_path: Path) -> None:
    path = table(tmp_path, "name,length_mm,gaps\nlip,wide,5\n")
    with pytest.raises(QuantityError, match=rf"^Line 2 of {re.escape(str(path))} is no stretch: length_mm "):
        read_stretches(path, 5)
    (tmp_path / "bytes.csv").write_bytes(b"name,length_mm,gaps\n\xff,1,1\n")
    with pytest.raises(FileReadError, match="it is not UTF-8"):
        read_stretches(tmp_path / "bytes.csv", 5)
