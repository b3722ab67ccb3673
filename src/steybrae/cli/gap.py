"""``steybrae gap``: how steep a gap on a printed map is."""

from __future__ import annotations

from steybrae.cli.options.common import AnswerOptions, BandOptions
from steybrae.cli.options.paper import GapOptions, MapOptions
from steybrae.cli.options.settings_file import with_taken


def gap(sheet: MapOptions, measured: GapOptions, bands: BandOptions, answer: AnswerOptions) -> None:
    """Slope of the ground between contours measured on a printed map, with its 95 % interval.

    Measure at right angles to the contours, over several even gaps, best from index line to
    index line: --across 12.5mm --gaps 5, or --across 12.5mm --index-gaps 2 --index-every 5.
    """
    from steybrae.answers.paper import gap_document

    result = with_taken(measured.slope(sheet.scale, sheet.interval_m, bands.bands))
    answer.show("gap", result, gap_document)
