"""Pictures of readings: what is drawn, and that the cautions go with it."""

import re
from dataclasses import replace
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path

import pytest
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from matplotlib.text import Text
from PIL import Image

from steybrae.errors import FileWriteError
from steybrae.field.agreement import Origin, Reference, compare_readings
from steybrae.field.log import LogRow
from steybrae.field.readings import ReadingSet
from steybrae.field.review import review
from steybrae.figures.field_figure import comparison_figure, review_figure, save_figure
from steybrae.figures.style import UNKNOWN_HATCH, band_hatch, band_tint, lightness

RESULT = compare_readings(
    ReadingSet((36.0, 37.0)),
    [
        Reference("map", 30.0, 27.0, 34.0, Origin("paper", gaps=5)),
        Reference("model", 33.0),
        Reference("void", None),
    ],
)
NOON = datetime(2026, 2, 14, 12, 0, tzinfo=UTC)
ROWS = [
    LogRow(NOON, "Ana", "clino", (value,), value, 4.0, reference_slope_deg=30.0)
    for value in (28.0, 31.0, 33.0)
]


def texts(figure: Figure) -> str:
    drawn = [text.get_text() for text in figure.texts]
    for axes in figure.axes:
        drawn += [text.get_text() for text in axes.texts]
        drawn += [label.get_text() for label in axes.get_yticklabels()]
        drawn.append(axes.get_title(loc="left"))
    return " ".join(" ".join(drawn).split())


def test_every_source_has_its_bar_value_and_answer() -> None:
    figure = comparison_figure(RESULT)
    drawn = texts(figure)
    assert "mean of 2 readings" in drawn
    assert "30.0° (27.0-34.0)" in drawn
    assert "at least 33.0°: upper end not known" in drawn
    assert "unknown" in drawn
    assert "map different, Eₙ 1.28" in drawn
    assert RESULT.sentence in drawn


def test_bars_span_the_stated_ends() -> None:
    (axes,) = comparison_figure(RESULT).axes
    bars = [patch for patch in axes.patches if isinstance(patch, Rectangle) and patch.zorder == 3]
    spans = [(bar.get_x(), bar.get_x() + bar.get_width()) for bar in bars]
    edge_deg = axes.get_xlim()[1]
    assert spans[0] == pytest.approx(
        (RESULT.readings.slope_low_deg, RESULT.readings.slope_high_deg), abs=1e-9
    )
    assert spans[1] == pytest.approx((27.0, 34.0), abs=1e-9)
    assert spans[2] == pytest.approx((33.0, edge_deg), abs=1e-9)
    assert spans[3] == pytest.approx(axes.get_xlim(), abs=1e-9)
    assert bars[3].get_hatch() == UNKNOWN_HATCH


def test_bands_get_darker_with_steepness_and_no_hatch_is_that_of_unknown() -> None:
    wide = compare_readings(ReadingSet((5.0,)), [Reference("map", 60.0, 50.0, 80.0)])
    (axes,) = comparison_figure(wide).axes
    tints = [patch for patch in axes.patches if patch.zorder == 0]
    assert len(tints) == 7
    grey = [lightness(patch.get_facecolor()[:3]) for patch in tints]
    assert grey == sorted(grey, reverse=True)
    assert min(a - b for a, b in pairwise(grey)) > 0.03
    assert len({patch.get_hatch() for patch in tints}) == 7
    assert UNKNOWN_HATCH not in {patch.get_hatch() for patch in tints}


def test_bands_look_as_in_every_other_picture() -> None:
    wide = compare_readings(ReadingSet((5.0,)), [Reference("map", 60.0, 50.0, 80.0)])
    (axes,) = comparison_figure(wide).axes
    tints = [patch for patch in axes.patches if patch.zorder == 0]
    for position, patch in enumerate(tints):
        assert patch.get_facecolor()[:3] == pytest.approx(band_tint(position, 7), abs=1e-12)
        assert (patch.get_hatch() or "") == band_hatch(position)


def test_a_dollar_in_a_name_is_a_dollar(tmp_path: Path) -> None:
    rows = [LogRow(NOON, "A$na$", "clino", (30.0,), 30.0, 4.0, reference_slope_deg=30.0)]
    figure = review_figure(review(rows))
    save_figure(figure, tmp_path / "one.png", review(rows).cautions)
    assert "observer A$na$" in texts(figure)
    assert not any(text.get_parse_math() for text in figure.findobj(Text))


@pytest.mark.parametrize("make", [lambda: comparison_figure(RESULT), lambda: review_figure(review(ROWS))])
def test_cautions_are_drawn_and_stay_inside_the_page(make: object) -> None:
    figure = make()  # type: ignore[operator]
    drawn = texts(figure)
    for caution in review(ROWS).cautions:
        assert caution.text in drawn
    figure.canvas.draw()
    width, height = figure.canvas.get_width_height()
    for text in figure.texts:
        box = text.get_window_extent()
        assert box.x0 >= 0 and box.y0 >= 0  # noqa: PT018
        assert box.x1 <= width and box.y1 <= height  # noqa: PT018


def test_png_carries_the_cautions(tmp_path: Path) -> None:
    path = tmp_path / "one.png"
    save_figure(comparison_figure(RESULT), path, RESULT.cautions)
    with Image.open(path) as image:
        description = image.info["Description"]
    assert description == "\n".join(caution.text for caution in RESULT.cautions)
    with pytest.raises(FileWriteError):
        save_figure(comparison_figure(RESULT), path, RESULT.cautions)


@pytest.mark.parametrize(("suffix", "mark"), [(".svg", b"<svg"), (".pdf", b"%PDF")])
def test_other_formats_are_written_too(tmp_path: Path, suffix: str, mark: bytes) -> None:
    path = tmp_path / f"one{suffix}"
    save_figure(comparison_figure(RESULT), path, RESULT.cautions)
    assert mark in path.read_bytes()


def a_class(people: int, checks: int) -> list[LogRow]:
    """Readings 1 degree apart from person to person, on slopes 3 degrees apart from check to check."""
    return [
        LogRow(
            NOON,
            f"Observer with a name, number {who}",
            "clino" if who % 2 else "phone",
            (25.0 + 3.0 * at + who,),
            25.0 + 3.0 * at + who,
            4.0,
            reference_slope_deg=30.0 + 3.0 * at,
            plan="day.zip",
            check=f"{at}a",
        )
        for at in range(checks)
        for who in range(people)
    ]


def test_every_reading_of_a_class_is_drawn_at_its_place_and_row() -> None:
    found = review(a_class(12, 8))
    figure = review_figure(found)
    columns, below = figure.axes[:8], figure.axes[8]
    assert len(figure.axes) == 9
    for place, axes in zip(found.places, columns, strict=True):
        dots = {line.get_ydata()[0]: line.get_xdata()[0] for line in axes.lines if line.get_marker() == "o"}
        assert sorted(dots) == list(range(12))
        assert sorted(dots.values()) == sorted(reading.mean_deg for reading in place.readings)
        assert place.name.split(" of ")[0] in axes.get_title()
    dots = [line for line in below.lines if line.get_marker() == "o"]
    assert [line.get_xdata()[0] for line in dots] == [at.bias_deg for at in found.agreements]
    thin = [line for line in below.lines if line.get_linewidth() == 0.8 and line.get_ydata()[0] != 0.0]
    for line in thin:
        if line.get_marker() == "None" and len(set(line.get_ydata())) == 1:
            at = found.agreements[int(line.get_ydata()[0])]
            assert tuple(line.get_xdata()) == (at.limit_low_deg, at.limit_high_deg)


def test_twelve_observers_at_eight_places_fit_a_page_and_no_text_covers_another() -> None:
    figure = review_figure(review(a_class(12, 8)))
    assert tuple(figure.get_size_inches()) <= (8.27, 11.69)
    assert figure.get_figheight() <= 11.69
    figure.canvas.draw()
    page = figure.bbox
    boxes = [
        text.get_window_extent()
        for text in figure.findobj(Text)
        if text.get_visible() and text.get_text().strip()
    ]
    for number, box in enumerate(boxes):
        assert page.x0 <= box.x0, box
        assert box.x1 <= page.x1, box
        assert not any(box.overlaps(other) for other in boxes[:number])


def test_figures_of_wide_limits_stay_on_the_page() -> None:
    rows = [
        replace(one, mean_deg=(one.reference_slope_deg or 0.0) + 22.0 * (-1) ** k)
        for k, one in enumerate(a_class(12, 11))
    ]
    figure = review_figure(review(rows))
    figure.canvas.draw()
    told = [text for text in figure.findobj(Text) if "spread" in text.get_text()]
    assert any(len(text.get_text()) >= 44 for text in told)
    assert max(text.get_window_extent().x1 for text in told) <= figure.bbox.x1


def test_small_logs_are_drawn() -> None:
    assert "The log holds no rows yet." in texts(review_figure(review([])))
    assert "too few for a spread" in texts(review_figure(review(ROWS[:1])))


@pytest.mark.parametrize("name", ["review.jpg", "review.xyz", "review"])
def test_a_format_that_cannot_hold_the_cautions_is_refused(tmp_path: Path, name: str) -> None:
    message = f"A picture should be named .png or .svg or .pdf; got {name!r}. Change its ending."
    with pytest.raises(FileWriteError, match=f"^{re.escape(message)}$"):
        save_figure(comparison_figure(RESULT), tmp_path / name, RESULT.cautions)
    assert not list(tmp_path.iterdir())
