"""The page to play with: one HTML file that asks nothing of any network.

Style and script stand in the page; its policy (CSP) names their hashes and allows nothing else.
"""

from __future__ import annotations

import html
from collections.abc import Callable, Iterable, Sequence
from importlib.resources import files
from typing import Any, Final

import numpy as np

from steybrae.field.limits import apparent_slope_deg
from steybrae.figures.style import band_tint, lightness
from steybrae.pages.page import data_text, hex_colour, page_policy
from steybrae.paper.spacing import CHART_SLOPES_DEG, gap_for_slope_mm
from steybrae.quantities import angle_to_gradient, one_in_text
from steybrae.render.html import unbroken
from steybrae.teach.forms import FormGrid, FormPatch, form_patch
from steybrae.teach.lesson import Lesson, LessonGround
from steybrae.teach.slope_scale import map_name
from steybrae.terrain.dem import Array
from steybrae.value import millimetres, percent, slope

SIDE: Final = 300.0
"""Side of a picture in its own units."""

THINNED: Final = 8
"""Every how many points of a form's contour are drawn (our choice): 2 mm of paper."""

LAYER_INTERVALS: Final = 5
"""Contour intervals in one layer of the model of plates (our choice)."""

TILT_DEG: Final = 35.0
"""Layers are seen from so far above, degrees (our choice)."""

OFF_DEG: Final = (0.0, 30.0, 45.0, 60.0, 75.0)
CROSSED_DEG: Final = (25.0, 30.0, 35.0, 40.0)

Points = Iterable[Sequence[float]]


def still_html(result: Lesson) -> str:
    """Write what stands on the page where no script runs.

    Spacing, real contours and the same ground in layers, forms with their profiles, slopes crossed
    at an angle, and questions that open to their answers.
    """
    name = map_name(result.scale, result.interval_m)
    sections = "\n".join(
        (
            _section("Contour spacing is steepness", _spacing(result, name)),
            _section("Real contours, and the ground they draw", _real(result.ground, result.interval_m)),
            _section("Forms to know by their contours", _forms(result)),
            _section("Cross a slope at an angle", _crossed()),
            _section("Questions", _questions(result)),
        )
    )
    return f'<div class="still">{sections}</div>'


def _section(title: str, content: str) -> str:
    return f"<section><h2>{title}</h2>{content}</section>"


def _figure(name: str, drawn: str, *, tall: float = SIDE) -> str:
    words = html.escape(name)
    return (
        f'<figure><svg viewBox="0 0 {SIDE:g} {tall:g}" role="img" aria-label="{words}">{drawn}</svg>'
        f"<figcaption>{words}</figcaption></figure>"
    )


def _path(points: Points, kind: str, *, closed: bool = False) -> str:
    at = "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
    return f'<path class="{kind}" d="M{at}{"Z" if closed else ""}"/>'


def _table(caption: str, heads: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    head = "".join(f'<th scope="col">{text}</th>' for text in heads)
    body = "".join(
        f'<tr><th scope="row">{first}</th>{"".join(f"<td>{cell}</td>" for cell in rest)}</tr>'
        for first, *rest in rows
    )
    return f"<table><caption>{html.escape(caption)}</caption><tr>{head}</tr>{body}</table>"


def _spacing(result: Lesson, name: str) -> str:
    rows = []
    for slope_deg in CHART_SLOPES_DEG:
        gap = gap_for_slope_mm(slope_deg, result.interval_m, result.scale)
        rows.append(
            (
                f"{slope_deg:g}°",
                _mm(gap),
                _mm(5.0 * gap),
                percent(100.0 * angle_to_gradient(slope_deg), step=1.0).text,
                one_in_text(slope_deg),
            )
        )
    heads = ("Slope", "One gap", "Five gaps", "Percent", "1 in n")
    return _table(f"{name}: what spacing stands for what slope", heads, rows)


def _mm(length: float) -> str:
    return millimetres(length, step=0.01, rounding="up").text


def _real(ground: LessonGround, interval_m: float) -> str:
    """Draw contours, and layers of the same ground as plates of cardboard, one on the other."""
    from contourpy import contour_generator  # noqa: PLC0415  only the page pays for it

    at = np.linspace(0.0, 1.0, len(ground.heights_m))
    make: Any = contour_generator(at, at, ground.heights_m, name="serial")
    low, high = float(ground.heights_m.min()), float(ground.heights_m.max())
    side, turned = _view(ground)
    flat: list[str] = []
    layer_m = LAYER_INTERVALS * interval_m
    whole = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
    plates = [_plate(turned(whole), 0.0, layer_m, ground.side_m)]
    for number in range(int(np.ceil(low / interval_m)), int(np.floor(high / interval_m)) + 1):
        level = number * interval_m
        for line in make.lines(level):
            kind = "thin" if number % 5 else "thick"
            flat.append(_path(np.column_stack((line[:, 0], 1.0 - line[:, 1])) * SIDE, kind))
        if number % LAYER_INTERVALS == 0:
            areas = make.filled(level, high + 1.0)[0]
            plates += [_plate(turned(area), level - low, layer_m, ground.side_m) for area in areas]
    contours = f"Contours every {interval_m:g} m of a square of {ground.side_m:g} m, north up"
    layers = f"The same ground in layers of {layer_m:g} m, seen from the {side}"
    return f'<div class="two">{_figure(contours, "".join(flat))}{_figure(layers, "".join(plates))}</div>'


def _view(ground: LessonGround) -> tuple[str, Callable[[Array], Array]]:
    """Side from which the line climbs away, and how places turn to be seen from there."""
    (x0, y0), (x1, y1) = ground.walk
    if abs(y1 - y0) >= abs(x1 - x0):
        return ("south", lambda at: at) if y1 > y0 else ("north", lambda at: 1.0 - at)
    if x1 > x0:
        return "west", lambda at: np.column_stack((1.0 - at[:, 1], at[:, 0]))
    return "east", lambda at: np.column_stack((at[:, 1], 1.0 - at[:, 0]))


def _plate(area: Array, height_m: float, thick_m: float, side_m: float) -> str:
    """Top and wall of a layer, seen from 35 degrees above."""
    tilt = np.radians(TILT_DEG)
    wide = 0.9 * SIDE
    x = SIDE / 2.0 + (area[:, 0] - 0.5) * wide
    out = []
    for kind, height in (("wall", height_m - thick_m), ("plate-edge", height_m)):
        y = 0.95 * SIDE - wide * (area[:, 1] * np.sin(tilt) + height / side_m * np.cos(tilt))
        out.append(_path(np.column_stack((x, y)), kind, closed=True))
    return "".join(out)


def _forms(result: Lesson) -> str:
    patches = (form_patch(one.form, result.scale, result.interval_m) for one in result.forms)
    forms = (f"<div>{_patch(patch)}<p>{html.escape(patch.form.words)}</p></div>" for patch in patches)
    return f'<div class="forms">{"".join(forms)}</div>'


def _patch(patch: FormPatch) -> str:
    per = SIDE / patch.side_mm
    drawn = [
        _path(_thinned(line.points) * (per, -per) + (0.0, SIDE), "thick" if line.thick else "thin")
        for line in patch.lines
    ]
    ends = [(x * per, SIDE - y * per) for x, y in patch.line]
    drawn.append(_path(ends, "mark"))
    drawn.append(f'<circle class="mark-fill" cx="{ends[0][0]:.1f}" cy="{ends[0][1]:.1f}" r="5"/>')
    profile = patch.profile[::2]
    per = SIDE / profile[-1, 0]
    high = float(profile[:, 1].max()) * per
    side = np.vstack(((0.0, 0.0), profile, (profile[-1, 0], 0.0))) * (per, -per) + (0.0, high + 4.0)
    return _figure(
        f"Contours of a {patch.form.name}, its line beginning at the dot", "".join(drawn)
    ) + _figure(
        f"Profile along the line: {patch.form.name}", _path(side, "ground", closed=True), tall=high + 8.0
    )


def _thinned(points: Array) -> Array:
    return np.vstack((points[:-1:THINNED], points[-1:]))


def _crossed() -> str:
    rows = [
        (f"{deg:g}°", *(slope(apparent_slope_deg(deg, off)).text for off in OFF_DEG)) for deg in CROSSED_DEG
    ]
    heads = ("Slope of the ground", *(f"{off:g}° off" for off in OFF_DEG))
    caption = "Slope along a line, by how far it is off the fall line. The slope itself is what can slide."
    return _table(caption, heads, rows)


def _questions(result: Lesson) -> str:
    items = []
    for question in result.rounds[0]:
        across = (
            ""
            if question.gap_mm is None
            else f" On paper: {question.gap_mm * question.gaps:.2f} mm over {question.gaps} "
            f"gap{'s' * (question.gaps > 1)}."
        )
        items.append(
            f"<li><p>{html.escape(question.ask + across)}</p><details><summary>Answer</summary>"
            f"<p>{html.escape(question.worked)}</p></details></li>"
        )
    return f"<ol>{''.join(items)}</ol>"


_TEMPLATES: Final = files("steybrae.pages") / "templates"


def lesson_html(result: Lesson) -> str:
    """Write the page, whole in itself, the same for the same lesson."""
    style, script = _template("lesson.css"), _template("lesson.js")
    fields = {
        "policy": page_policy(style, script, pictures=False),
        "style": style,
        "script": script,
        "cautions": "\n".join(f"<li>{html.escape(caution.text)}</li>" for caution in result.cautions),
        "data": _data(result),
        "still": still_html(result),
        "source": html.escape(f"Ground: {result.source}." if result.source else ""),
        "ruler_error": f"{result.ruler_error_mm:g}",
        "walk_last": str(len(result.ground.walk_heights_m) - 1),
    }
    page = _template("lesson.html")
    for name, value in fields.items():
        page = page.replace(f"[[{name}]]", value)
    return unbroken(page)


def _template(name: str) -> str:
    return (_TEMPLATES / name).read_text(encoding="utf-8")


def _data(result: Lesson) -> str:
    """Content for the script, as JSON that no closing tag can end."""
    count = len(result.labels)
    tints = [band_tint(k, count) for k in range(count)]
    ground = result.ground
    data = {
        "seed": result.seed,
        "scales": result.scales,
        "intervals": result.intervals,
        "scale": result.scale,
        "interval_m": result.interval_m,
        "ruler_error_mm": result.ruler_error_mm,
        "edges_deg": result.edges_deg,
        "bands": [
            {
                "label": label,
                "tint": hex_colour(tint),
                "ink": "#000000" if lightness(tint) > 0.45 else "#ffffff",
            }
            for label, tint in zip(result.labels, tints, strict=True)
        ],
        "quiz": [[vars(question) for question in questions] for questions in result.rounds],
        "forms": [_form(form) for form in result.forms],
        "ground": {
            "n": len(ground.heights_m),
            "side_m": ground.side_m,
            "low_m": float(ground.heights_m.min()),
            "high_m": float(ground.heights_m.max()),
            "heights": np.round(ground.heights_m, 1).ravel().tolist(),
            "walk": {
                "ends": ground.walk,
                "length_m": ground.walk_length_m,
                "heights": np.round(ground.walk_heights_m, 1).tolist(),
                "slopes_deg": np.round(ground.walk_slopes_deg, 4).tolist(),
            },
        },
    }
    return data_text(data)


def _form(one: FormGrid) -> dict[str, Any]:
    return {
        "name": one.form.name,
        "words": one.form.words,
        "n": len(one.heights_mm),
        "heights": np.round(one.heights_mm, 3).ravel().tolist(),
        "line": one.line,
        "profile": np.round(one.profile[::2], 2).tolist(),
        "spots": one.spots,
    }
