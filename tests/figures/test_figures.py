"""The picture of a route, by what is drawn in it: signs, hatches, figures, words, metadata."""

from __future__ import annotations

import io
import itertools
import math
import re
from dataclasses import fields, replace

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import PolyCollection
from matplotlib.contour import ContourSet
from matplotlib.patches import Rectangle
from matplotlib.text import Annotation, Text
from PIL import Image
from tests.on_grid import model, route_on
from tests.pictured import pictured
from tests.synthetic import GaussianHill, Plane

from steybrae.bands import BandScheme, in_degrees
from steybrae.card.times import usual_time
from steybrae.cautions import Situation, cautions_for
from steybrae.errors import QuantityError
from steybrae.figures.route_figure import figure_bytes, picture_metadata, route_figure
from steybrae.figures.style import (
    UNKNOWN_HATCH,
    band_hatch,
    band_tint,
    light_strength,
    lightness,
    picture_style,
    shade,
)
from steybrae.files.model.rasters import open_model
from steybrae.files.routes import read_route
from steybrae.screening import Settings, screen_route
from steybrae.screening.compared import compared
from steybrae.screening.pictures.picture import UNKNOWN
from steybrae.screening.pictures.relief import with_relief
from steybrae.screening.places.result import PossibleOnly
from steybrae.screening.places.words import leading_spot, letters_at
from steybrae.screening.result import RouteScreening
from steybrae.terrain.dem import Dem
from steybrae.value import slope

VERDICTS = re.compile(
    r"\b(safe|safely|safety|unsafe|go|no-go|nogo|danger-free|harmless|recommended)\b", re.IGNORECASE
)
LONG_AND_WIDE = [(-500.0, 0.0), (-100.0, 60.0), (300.0, -40.0), (900.0, 20.0), (1300.0, 0.0)]


@pytest.fixture(scope="module")
def sample(sample_dem):
    with open_model([sample_dem / "stey_massif.tif"]) as opened:
        route = read_route(sample_dem / "day.gpx")
        return with_relief(screen_route(route, opened, Settings(interval_m=10.0)), opened)


@pytest.fixture(scope="module")
def sample_figure(sample):
    return route_figure(sample)


@pytest.fixture(scope="module")
def half_off():
    """Two legs on the model, one that leaves it, one wholly off."""
    dem = model(GaussianHill(300.0, 200.0))
    return pictured(dem, route_on(dem, LONG_AND_WIDE, ["a", "b", "c", "d", "e"]))


@pytest.fixture(scope="module")
def many_legs():
    dem = model(GaussianHill(400.0, 500.0), (301, 301))
    zigzag = [(-1200.0 + 40.0 * k, 300.0 * (-1) ** k) for k in range(61)]
    return pictured(dem, route_on(dem, zigzag))


@pytest.fixture(scope="module")
def many_places(sample):
    """Nine places more on a leg: their letters had stood on its angle overhead."""
    named = [replace(sample.places[-1], name=f"A{letter}") for letter in "ABCDEFGHI"]
    return replace(sample, places=(*sample.places, *named))


def axes_of(figure, gid):
    return next(axes for axes in figure.axes if axes.get_gid() == gid)


def named(within, gid):
    return within.findobj(lambda artist: artist.get_gid() == gid)


def words(within):
    return [text.get_text() for text in within.findobj(Text) if text.get_text()]


def all_words(figure):
    return " ".join(" ".join(words(figure)).split())


def test_every_leg_has_line_and_number_and_every_place_its_letter(sample, sample_figure):
    drawn = axes_of(sample_figure, "map")
    for leg in sample.legs:
        assert len(named(drawn, f"leg {leg.number}")) == 1
        assert [text.get_text() for text in named(drawn, f"leg number {leg.number}")] == [str(leg.number)]
    assert len(sample.places) > 10
    for place in sample.places:
        (mark,) = named(drawn, f"spot {place.name}")
        assert mark.get_marker() == "v"
        (label,) = named(drawn, f"place {place.name}")
        letter, *figure = label.get_text().split(maxsplit=1)
        assert letter == place.name
        # Those told at length have their figure; no readings stand on the map.
        assert bool(figure) == place.at_length
        assert "[" not in label.get_text()
    (turns,) = named(drawn, "turn points")
    assert len(turns.get_xdata()) == len(sample.legs)
    assert len(named(drawn, "start")) == 1


def test_marks_stand_where_places_have_their_worst_and_sights_end_at_the_start_zone(sample, sample_figure):
    drawn = axes_of(sample_figure, "map")
    grid = sample.relief.grid
    for place in sample.places:
        spot, _ = leading_spot(place)
        (mark,) = named(drawn, f"spot {place.name}")
        x, y = grid.xy(*grid.from_wgs84(spot.lon_deg, spot.lat_deg))
        assert mark.get_xydata()[0] == pytest.approx((float(x), float(y)), abs=0.01)
        up = place.overhead
        lines = named(drawn, f"sight {place.name}")
        assert len(lines) == (place.at_length and place.kinds[0] == "overhead")
        for line in lines:
            (x0, y0), (x1, y1) = line.get_xydata()
            assert math.hypot(x1 - x0, y1 - y0) == pytest.approx(up.distance_m, rel=0.002)
            bearing = math.degrees(math.atan2(x1 - x0, y1 - y0)) + sample.relief.grid_north_true_deg
            assert (bearing - up.bearing_true_deg + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=0.5)


def test_a_place_of_unknown_ground_says_where_that_is(sample):
    """Its label on the map once was "A unknown", for ground above a line that is known."""
    told = {place.name: leading_spot(place)[1] for place in sample.places if place.kinds == ("unknown",)}
    assert told == {"A": "unknown above", "S": "unknown ground"}


def test_labels_of_the_map_do_not_overlap(sample, sample_figure):
    drawn = axes_of(sample_figure, "map")
    renderer = FigureCanvasAgg(sample_figure).get_renderer()
    with picture_style():
        sample_figure.draw_without_rendering()
    boxes = [
        label.get_bbox_patch().get_window_extent(renderer)
        for label in drawn.findobj(Annotation)
        if label.get_text()
    ]
    assert len(boxes) >= len(sample.legs) + len(sample.places)
    for k, box in enumerate(boxes):
        assert not any(box.overlaps(other) for other in boxes[k + 1 :])
        assert drawn.get_window_extent().contains(box.x0, box.y0)
        assert drawn.get_window_extent().contains(box.x1, box.y1)


@pytest.mark.parametrize("which", ["sample", "half_off", "many_legs", "many_places", "three_lines"])
def test_nothing_written_runs_off_the_page_or_into_another_word(which, request):
    figure = route_figure(request.getfixturevalue(which))
    renderer = FigureCanvasAgg(figure).get_renderer()
    with picture_style():
        figure.draw_without_rendering()  # which places the labels of the axes
    # matplotlib keeps labels of ticks outside the limits, and does not draw them.
    ticks = {id(label) for at in figure.axes for label in (*at.get_xticklabels(), *at.get_yticklabels())}
    page = figure.bbox
    for text in figure.findobj(Text):
        if text.get_text().strip() and text.get_visible() and id(text) not in ticks:
            box = text.get_window_extent(renderer)
            assert page.x0 <= box.x0 < box.x1 <= page.x1, text.get_text()
            assert page.y0 <= box.y0 < box.y1 <= page.y1, text.get_text()
    panels = [at for at in figure.axes if at.get_gid() not in {"map", "heights", "slopes"}]
    for found in (*[panel.texts for panel in panels], figure.texts):
        drawn = [text for text in found if text.get_text()]
        for k, text in enumerate(drawn):
            box = text.get_window_extent(renderer)
            for other in drawn[k + 1 :]:
                apart = not box.overlaps(other.get_window_extent(renderer))
                assert apart, (text.get_text(), other.get_text())
    slopes = [label for label in axes_of(figure, "slopes").get_yticklabels() if label.get_text()]
    assert {"0°", "30°"} <= {label.get_text() for label in slopes}
    boxes = [label.get_window_extent(renderer) for label in slopes]
    assert not any(low.overlaps(high) for low, high in itertools.pairwise(boxes))
    for k, axes in enumerate(figure.axes):
        for other in figure.axes[k + 1 :]:
            assert not axes.get_window_extent().overlaps(other.get_window_extent())


def test_legend_has_every_band_and_unknown(sample, sample_figure):
    legend = axes_of(sample_figure, "legend")
    scheme = BandScheme()
    for k, band in enumerate(scheme.bands):
        (patch,) = named(legend, f"band {band.label}")
        assert patch.get_facecolor()[:3] == pytest.approx(band_tint(k, len(scheme.bands)))
        assert (patch.get_hatch() or "") == band_hatch(k)
        assert in_degrees(band.label) in words(legend)
    (unknown,) = named(legend, "unknown")
    assert isinstance(unknown, Rectangle)
    assert unknown.get_hatch() == UNKNOWN_HATCH
    for word in ("unknown", "B: place that matters", "corridor of possible straying"):
        assert word in words(legend)
    # The table's "+" once stood beside the swatch of unknown ground, as if it explained that.
    (plus,) = (text for text in legend.texts if text.get_text().startswith("+ "))
    assert plus.get_position()[0] > legend.get_xlim()[1]
    # Leg 17 lies in a zone: 43.5 degrees overhead in the headline, another figure or none in the table.
    assert any(leg.overhead.sight_outside != leg.overhead.sight for leg in sample.legs)
    assert "overhead: from outside of start zones" in words(legend)
    assert "contours every 20 m (1 in 2 of your map's 10 m)" in words(legend)
    assert f"{np.ceil(sample.totals.unknown_m):.0f} m" in words(legend)


def test_map_is_unknown_wherever_nothing_known_is_painted(sample, sample_figure):
    drawn = axes_of(sample_figure, "map")
    assert drawn.patch.get_hatch() == UNKNOWN_HATCH
    assert drawn.patch.get_facecolor() == (1.0, 1.0, 1.0, 1.0)
    (image,) = named(drawn, "bands")
    painted = image.get_array()[..., 3]
    np.testing.assert_array_equal(painted == 1.0, np.isfinite(sample.relief.slope_deg))
    assert set(np.unique(painted)) == {0.0, 1.0}
    assert len(named(drawn, "edge of known ground")) == 1


def test_every_cell_has_the_tint_of_its_band(sample, sample_figure):
    (image,) = named(axes_of(sample_figure, "map"), "bands")
    colours = image.get_array()[..., :3]
    scheme = BandScheme()
    tints = np.array([band_tint(k, 7) for k in range(7)])
    known = np.argwhere(np.isfinite(sample.relief.slope_deg))[::997]
    for row, col in known:
        nearest = np.argmin(np.abs(tints - colours[row, col]).sum(axis=1))
        assert nearest == scheme.index(float(sample.relief.slope_deg[row, col]))
    assert colours.min(axis=2)[np.isfinite(sample.relief.slope_deg)].max() < 0.9  # never blank


def test_bands_of_the_map_are_hatched(sample_figure):
    drawn = axes_of(sample_figure, "map")
    for k, band in enumerate(BandScheme().bands):
        found = [at for at in named(drawn, f"band {band.label}") if isinstance(at, ContourSet)]
        assert len(found) == (1 if k else 0)
        if found:
            assert found[0].hatches == [band_hatch(k)]


def test_tints_darken_and_light_never_makes_one_band_look_like_the_next():
    for count in (2, 3, 7, 12):
        greys = [lightness(band_tint(k, count)) for k in range(count)]
        assert greys == sorted(greys, reverse=True)
        strength = light_strength(count)
        shown = [
            [lightness(tuple(shade(np.array([band_tint(k, count)]), np.array([light]), strength)[0]))
             for light in (-1.0, 1.0)]
            for k in range(count)
        ]  # fmt: skip
        for gentle, steep in itertools.pairwise(shown):
            assert min(gentle) > max(steep)
        assert greys[0] < 0.97
    greys = [lightness(band_tint(k, 7)) for k in range(7)]
    # A grey print tells 30-35, 35-40, 40-45 and 45-55 apart by a tenth of full white, beside hatches.
    assert all(light - dark >= 0.095 for light, dark in itertools.pairwise(greys[2:]))


def test_hatches_differ_and_only_unknown_is_crossed():
    hatches = [band_hatch(k) for k in range(14)]
    assert len(set(hatches)) == 14
    assert all("x" not in hatch and "+" not in hatch for hatch in hatches)
    assert all(len(set(hatch)) <= 1 for hatch in hatches)
    assert set(UNKNOWN_HATCH) == {"x"}


def test_contours_corridor_and_norths(sample, sample_figure):
    drawn, scale = axes_of(sample_figure, "map"), axes_of(sample_figure, "scale")
    (index,) = named(drawn, "index contours")
    (thin,) = named(drawn, "contours")
    assert sorted([*index.levels, *thin.levels]) == sorted(sample.relief.contours.levels_m)
    assert index.get_linewidth()[0] > thin.get_linewidth()[0]
    heights = {text.get_text() for text in index.labelTexts}
    assert heights
    assert {float(height) for height in heights} <= set(sample.relief.contours.index_levels_m)
    assert len(named(drawn, "corridor")) == 1
    assert len(named(scale, "true north")) == 1
    assert len(named(scale, "grid north")) == 1
    assert "grid north is up, 5.2° west of true north here" in words(scale)
    assert "1:40\N{NARROW NO-BREAK SPACE}000 on A4 at full size" in words(scale)


def test_scale_bar_is_true(sample, sample_figure):
    scale = axes_of(sample_figure, "scale")
    (bar,) = named(scale, "scale bar")
    assert "1 km" in words(scale)
    width_mm = bar.get_xdata()[1] - bar.get_xdata()[0]
    axes_mm = scale.get_position().width * 210.0
    assert width_mm / scale.get_xlim()[1] * axes_mm * sample.relief.scale_denominator == pytest.approx(1e6)
    drawn = axes_of(sample_figure, "map")
    ground_m = np.ptp(drawn.get_xlim()) * sample.relief.unit_m[0]
    paper_mm = drawn.get_position().width * 210.0
    assert ground_m * 1000.0 / paper_mm == pytest.approx(sample.relief.scale_denominator, rel=1e-6)


def test_frame_has_grid_coordinates(sample_figure):
    drawn = axes_of(sample_figure, "map")
    ticks = drawn.get_xticks().tolist()
    assert len(ticks) >= 3
    assert drawn.get_xticklabels()[0].get_text() == f"{ticks[0]:,.0f}".replace(",", "\N{THIN SPACE}")


def test_profile_shows_bands_marks_and_unknown(sample, sample_figure):
    profile = sample.relief.profile
    heights, slopes = axes_of(sample_figure, "heights"), axes_of(sample_figure, "slopes")
    for k, band in enumerate(BandScheme().bands):
        found = [at for at in named(heights, f"band {band.label}") if isinstance(at, PolyCollection)]
        assert len(found) == int((profile.band == k).any())
        assert all((at.get_hatch() or "") == band_hatch(k) for at in found)
    spans = named(heights, "unknown")
    unknown_m = sum(span.get_width() for span in spans)
    assert unknown_m == pytest.approx(np.diff(profile.edges_m)[profile.band == UNKNOWN].sum())
    assert all(span.get_hatch() == UNKNOWN_HATCH and span.get_height() == 1.0 for span in spans)
    assert len(named(slopes, "unknown")) == len(spans)
    for leg in sample.legs:
        (mark,) = named(slopes, f"steepest {leg.number}")
        assert mark.get_ydata()[0] == leg.slope_max_deg
        # Not that of places on the map.
        assert mark.get_marker() == "^"
        assert str(leg.number) in words(heights)
    assert slopes.get_xlabel().endswith("; △ steepest of a leg")
    assert slopes.get_yticks().tolist() == [0, 25, 30, 35, 40, 45, 55]
    assert len(named(slopes, "interval")) == 1
    assert len(named(slopes, "corridor")) == 1


def test_table_has_every_leg(sample, sample_figure):
    table = words(axes_of(sample_figure, "table 1"))
    for leg in sample.legs:
        least = "at least " if leg.open_above else ""
        steepest, corridor = slope(leg.slope_max_deg).text, slope(leg.slope_corridor_max_deg).text
        assert f"{least}{steepest} | {corridor}" in table
        # Names were cut at 16 letters, at 9 beside "at least", with room to spare.
        assert leg.to in table or (leg.open_above and f"{leg.to[:11]}" in " ".join(table))
        assert " ".join(letters_at(sample.places, leg.number)) in table
    opened = sum(leg.open_above for leg in sample.legs)
    assert sum(text.startswith("at least") for text in table) == opened > 0


def test_cautions_and_provenance_are_in_the_picture(sample, sample_figure):
    written = all_words(sample_figure)
    for caution in sample.cautions:
        assert caution.text in written
    assert "OSGB36 / British National Grid" in written
    assert "cells of 10.0 × 10.0 m" in written
    assert "map: slope of the ground over 20 m; slope method: horn" in written
    assert f"steybrae {sample.version}" in written


def test_what_a_picture_rests_on_stands_off_its_cautions(half_off):
    """On a map as wide as the page "Model: ..." began on the line below the last caution."""
    (small,) = [one.get_text() for one in route_figure(half_off).texts if one.get_gid() == "small print"]
    assert "\n\nModel: " in small


def test_no_verdict_is_written(sample_figure, half_off):
    for figure in (sample_figure, route_figure(half_off)):
        assert VERDICTS.search(all_words(figure)) is None


def test_png_carries_title_cautions_and_provenance(sample, sample_figure):
    data = figure_bytes(sample_figure, "png", picture_metadata(sample))
    image = Image.open(io.BytesIO(data))
    assert image.text["Title"] == f"How steep: {sample.name}"
    for caution in sample.cautions:
        assert caution.text in image.text["Description"]
    assert "slope method: horn" in image.text["Source"]
    assert image.text["Software"] == f"steybrae {sample.version}"
    width, height = image.size
    assert height / width == pytest.approx(297.0 / 210.0, abs=0.002)


def test_pdf_is_one_page_of_a4_and_the_same_every_time(half_off):
    figure = route_figure(half_off)
    data = figure_bytes(figure, "pdf", picture_metadata(half_off))
    assert data == figure_bytes(route_figure(half_off), "pdf", picture_metadata(half_off))
    assert data.startswith(b"%PDF-")
    box = [float(value) for value in re.search(rb"/MediaBox \[ ([\d. ]+) \]", data)[1].split()]
    assert sorted(box[2:]) == pytest.approx([595.28, 841.89], abs=0.01)
    assert b"/Subject (These are angles of ground, not a judgement of it." in data
    assert b"/Title (How steep: drawn line)" in data
    assert b"CreationDate" not in data


def test_another_format_is_refused(sample, sample_figure):
    with pytest.raises(QuantityError) as caught:
        figure_bytes(sample_figure, "bmp", picture_metadata(sample))
    assert str(caught.value) == "A picture should be one of png, pdf; got 'bmp'. Choose one."


def test_a_screening_without_ground_is_refused():
    dem = model(Plane(20.0, 0.0))
    screening = screen_route(route_on(dem, [(-100.0, 0.0), (100.0, 0.0)]), dem)
    with pytest.raises(QuantityError) as caught:
        route_figure(screening)
    assert str(caught.value) == (
        "A picture should be made from a screening that holds the ground round the line; this one does "
        "not. Screen it again with --figure, --report or --save."
    )


def test_a_corridor_beside_an_unknown_line_is_at_least_that(half_off):
    """ "At least" stands with the line's figure; where that is unknown it was lost."""
    legs = tuple(replace(leg, slope_max_deg=None, slope_corridor_max_deg=42.15) for leg in half_off.legs)
    figure = route_figure(replace(half_off, legs=legs))
    assert words(axes_of(figure, "table 1")).count("unknown | at least 42.2°") >= 1


def test_a_headline_of_three_lines_stands_clear_of_the_map(half_off, monkeypatch):
    """With short pieces and angles from within a zone its end stood on the map's frame."""
    monkeypatch.setattr("steybrae.figures.route_figure._facts", lambda *_: "8 legs\npieces\n54.3°, leg 3)")
    figure = route_figure(half_off)
    figure.draw_without_rendering()
    (facts,) = (text for text in figure.texts if text.get_gid() == "facts")
    assert facts.get_window_extent().y0 > axes_of(figure, "map").get_window_extent().y1


def test_legs_off_the_model_are_told_as_unknown(half_off):
    figure = route_figure(half_off)
    drawn, table = axes_of(figure, "map"), words(axes_of(figure, "table 1"))
    assert named(drawn, "steepest 4") == []
    assert len(named(drawn, "leg 4")) == 1
    assert any("at least" in label.get_text() for label in drawn.findobj(Annotation))
    assert table.count("unknown | unknown") == 1  # on the line of leg 4, and in its corridor
    assert "unknown" in words(axes_of(figure, "heights"))
    assert "over unknown ground" in all_words(figure)


def test_a_line_wholly_over_no_data_can_be_drawn():
    dem = model(Plane(20.0, 0.0))
    empty = Dem(dem.grid, np.full(dem.grid.shape, np.nan))
    screening = pictured(empty, route_on(dem, [(-200.0, 0.0), (200.0, 0.0)]))
    figure = route_figure(screening)
    written = all_words(figure)
    assert "Steepest on the line unknown" in written
    assert "no contours: heights unknown or level" in written
    (image,) = named(axes_of(figure, "map"), "bands")
    assert (image.get_array()[..., 3] == 0.0).all()
    (span,) = named(axes_of(figure, "slopes"), "unknown")
    assert span.get_width() == pytest.approx(screening.totals.length_m)
    assert figure_bytes(figure, "png", picture_metadata(screening)).startswith(b"\x89PNG")


def test_an_open_interval_is_said_in_the_profile():
    dem = model(Plane(32.0, 90.0), (201, 201), 50.0)  # above 40 m cells there is no upper end
    screening = pictured(dem, route_on(dem, [(-1000.0, 0.0), (1000.0, 0.0)]))
    assert screening.legs[0].slope_high_deg is None
    figure = route_figure(screening)
    assert "how far slopes may lie above the curve is not known" in words(axes_of(figure, "slopes"))
    # Over 10 km the grid's scale makes the plane some hundredths steeper than 32, shown rounded up.
    assert screening.legs[0].slope_max_deg == pytest.approx(32.0, abs=0.05)
    assert [text.get_text() for text in named(axes_of(figure, "map"), "place A")] == ["A at least 32.1°"]


def test_many_legs_leave_the_gentlest_out_of_the_table_and_say_so(many_legs):
    figure = route_figure(many_legs)
    table = [word for axes in figure.axes if "table" in (axes.get_gid() or "") for word in words(axes)]
    left_out = [word for word in table if "legs more" in word]
    assert len(left_out) == 1
    count = int(re.match(r"and (\d+) legs more", left_out[0])[1])
    steepest = sorted((leg.slope_max_deg for leg in many_legs.legs), reverse=True)
    for slope_deg in steepest[: len(steepest) - count]:
        assert any(f"{slope(slope_deg).text} | " in word for word in table)


def test_a_leg_with_possible_ground_alone_is_marked_in_the_table(sample):
    """The terminal named it; in the table its row was as empty as that of a leg without."""
    mark = "30°+?"
    assert mark not in words(axes_of(route_figure(sample), "table 1"))
    found = replace(sample, legs_possible_only=(PossibleOnly(3, 676.5),), places=())
    figure = route_figure(found)
    assert words(axes_of(figure, "table 1")).count(mark) == 1
    assert f"{mark} perhaps such ground on, beside or above" in all_words(figure)


def test_names_are_drawn_as_they_are():
    dem = model(Plane(20.0, 0.0))
    route = route_on(
        dem, [(-100.0, 0.0), (100.0, 0.0)], ["$x_1$", "a very long name that no column of a page takes"]
    )
    figure = route_figure(pictured(dem, route))
    (cut,) = (word for word in words(axes_of(figure, "table 1")) if "…" in word)
    assert re.fullmatch("a very long.*….*page takes", cut)
    figure_bytes(figure, "png", picture_metadata(pictured(dem, route)))


def test_the_days_line_stays_on_the_page(sample_figure):
    """It once ran over the right edge, the sight from within a start zone with it."""
    renderer = sample_figure.canvas.get_renderer()
    (facts,) = (text for text in sample_figure.texts if text.get_gid() == "facts")
    box = facts.get_window_extent(renderer)
    assert box.x1 <= sample_figure.bbox.x1
    assert "from within a start zone" in " ".join(facts.get_text().split())
    assert facts.get_text().count("\n") == 1


@pytest.fixture(scope="module")
def three_lines():
    """A line with one beside it that runs far north of it, and a way off to the south."""
    dem = model(GaussianHill(300.0, 200.0))
    main, north, off = (
        replace(route_on(dem, points), name=name)
        for name, points in (
            ("Main", [(-400.0, -100.0), (0.0, 60.0), (400.0, -40.0)]),
            ("North of the top", [(-400.0, -100.0), (0.0, 550.0), (400.0, -40.0)]),
            ("Way off south", [(0.0, 60.0), (0.0, -300.0)]),
        )
    )
    found = screen_route(main, dem)
    lines = compared((main, north, off), found, lambda route: screen_route(route, dem), usual_time)
    return with_relief(lines, dem)


def test_lines_beside_the_main_one_are_on_the_map_whole_and_named(three_lines):
    figure = route_figure(three_lines)
    drawn = axes_of(figure, "map")
    x0, x1, y0, y1 = three_lines.relief.extent
    for line in (three_lines.lines[1], *three_lines.ways_off):
        (along,) = named(drawn, f"beside {line.name}")
        x, y = along.get_data()
        assert x0 < x.min() <= x.max() < x1
        assert y0 < y.min() <= y.max() < y1
        (name,) = named(drawn, f"name {line.name}")
        assert name.get_text() == line.name
    assert y.max() == pytest.approx(60.0, abs=1.0)
    assert {"line beside it", "way off"} <= set(words(axes_of(figure, "legend")))
    main = RouteScreening(**{one.name: getattr(three_lines, one.name) for one in fields(RouteScreening)})
    assert not {"line beside it", "way off"} & set(words(route_figure(main)))


def test_cautions_of_a_line_beside_are_in_the_picture(three_lines):
    """A line over unknown ground was drawn beside the main one without a word of it."""
    (unknown,) = (one for one in cautions_for(Situation(unknown_m=40.0)) if one.key == "unknown_on_line")
    beside = replace(three_lines.lines[1], cautions=(unknown,))
    found = replace(three_lines, lines=(three_lines.lines[0], beside))
    assert unknown.text in all_words(route_figure(found))
    assert unknown.text in picture_metadata(found)["cautions"]
