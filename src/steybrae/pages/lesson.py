"""The page to play with: one HTML file that asks nothing of any network.

Style and script stand in the page; its policy (CSP) names their hashes and allows nothing else.
"""

from __future__ import annotations

import html
from importlib.resources import files
from typing import Any, Final

import numpy as np

from steybrae.figures.style import band_tint, lightness
from steybrae.pages.lesson_still import still_html
from steybrae.pages.page import data_text, hex_colour, page_policy
from steybrae.teach.forms import FormGrid
from steybrae.teach.lesson import Lesson

_TEMPLATES: Final = files("steybrae.pages") / "templates"


def lesson_html(result: Lesson) -> str:
    """Write the page.

    Parameters
    ----------
    result
        From `steybrae.teach.lesson.lesson`.

    Returns
    -------
    str
        HTML, whole in itself, the same for the same lesson.
    """
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
    return page


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
