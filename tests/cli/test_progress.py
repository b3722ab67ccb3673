"""The bar of who waits: on a terminal alone, and only after a moment."""

from __future__ import annotations

import io
import sys
from pathlib import Path

import pytest

from steybrae.cli.progress import progress
from steybrae.files.model.rasters import open_model
from steybrae.files.routes import read_route
from steybrae.screening import Settings, screen_route
from steybrae.screening.model.examine import examine_model
from steybrae.screening.screen import Counting


class Terminal(io.StringIO):
    """A stream that says that somebody looks at it."""

    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(
    ("stream", "after_s", "shown"),
    [(Terminal(), 0.0, True), (Terminal(), 1000.0, False), (io.StringIO(), 0.0, False)],
    ids=["a terminal", "a short wait", "a pipe"],
)
def test_a_bar_on_a_terminal_after_a_moment(
    monkeypatch: pytest.MonkeyPatch, stream: io.StringIO, after_s: float, *, shown: bool
) -> None:
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setattr(sys, "stderr", stream)
    with progress(after_s) as told:
        told("legs", 1, 3)
        told("legs", 2, 3)
    assert ("legs" in stream.getvalue() and "left" in stream.getvalue()) == shown
    assert shown or stream.getvalue() == ""


def test_a_model_is_told_block_by_block(sample_dem: Path) -> None:
    steps: list[tuple[str, int, int]] = []
    with open_model((sample_dem / "stey_massif.tif",)) as model:
        examine_model(model, told=lambda *step: steps.append(step))
    assert steps == [("blocks", done, len(steps)) for done in range(1, len(steps) + 1)]
    assert steps


@pytest.mark.parametrize("for_forecast", [False, True])
def test_a_line_is_told_step_by_step_to_its_end(sample_dem: Path, *, for_forecast: bool) -> None:
    steps: list[tuple[str, int, int]] = []
    counting = Counting(lambda *step: steps.append(step), "the line", for_forecast=for_forecast)
    route = read_route(sample_dem / "day.gpx")
    with open_model((sample_dem / "stey_massif.tif",)) as model:
        screen_route(route, model, Settings(reach_m=20.0), for_forecast=for_forecast, kept=counting)
    count = 19 * (3 if for_forecast else 2)
    assert steps == [("the line", done, count) for done in range(1, count + 1)]
