"""Papers: sizes in print, and that one added here is a page everywhere."""

from __future__ import annotations

import re

import pytest

from steybrae.errors import QuantityError
from steybrae.papers import PAPERS_MM, card_size_mm, map_frame_mm, paper_size_mm
from steybrae.sheets.field import field_pdf
from steybrae.teach.field_sheet import field_sheet


def test_sizes_in_print() -> None:
    assert paper_size_mm("A4") == (210.0, 297.0)
    assert paper_size_mm("letter") == pytest.approx((8.5 * 25.4, 11.0 * 25.4))
    assert card_size_mm("a5") == (210.0, 148.0)  # lies: half of an A4
    assert (map_frame_mm("a4"), map_frame_mm("letter")) == ((172.0, 204.0), (176.0, 186.0))
    with pytest.raises(QuantityError, match="one of a4, letter; got 'a5'"):
        paper_size_mm("a5")


def test_a_paper_added_to_the_table_is_one_for_sheets_and_card(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(PAPERS_MM, "legal", (215.9, 355.6))
    assert card_size_mm("legal") == (215.9, 355.6)
    box = re.search(rb"/MediaBox \[\s*0 0 ([\d.]+) ([\d.]+)", field_pdf(field_sheet(), paper="legal"))
    assert box is not None
    # The log lies: 14 by 8.5 inches of 72 points.
    assert [float(side) for side in box.groups()] == pytest.approx([1008.0, 612.0], abs=0.01)
