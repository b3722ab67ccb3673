"""What every page is made with: templates, its policy, data for its script, colours, how a band looks."""

from __future__ import annotations

import base64
import hashlib
import json
from functools import cache
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from steybrae.bands import BandScheme
from steybrae.figures.style import (
    UNKNOWN_APART,
    UNKNOWN_HATCH,
    band_hatch,
    band_tint,
    colour,
    css_dashes,
    hatch_ink,
    lightness,
    palette_png,
    pattern,
)
from steybrae.frozen import dataclass
from steybrae.render.html import UNITS
from steybrae.render.html import templates as room_templates

if TYPE_CHECKING:
    from jinja2 import Environment


@cache
def templates() -> Environment:
    """Return the templates of the pages; they know the signs that every output shares."""
    found = room_templates("steybrae.pages")
    found.globals.update(
        dashes=css_dashes, unknown_apart=UNKNOWN_APART, unknown_png=unknown_address(), units=UNITS
    )
    return found


def png_address(png: bytes) -> str:
    """Return the data address of a picture."""
    return f"data:image/png;base64,{base64.b64encode(png).decode()}"


@cache
def unknown_address() -> str:
    """Return the data address of the hatch of unknown ground, to be repeated both ways."""
    side = np.arange(UNKNOWN_APART)
    hatch = pattern(UNKNOWN_HATCH, side[:, None], side[None, :]).astype(np.uint8)
    return png_address(palette_png(hatch, [colour((1, 1, 1)), colour((0, 0, 0))]))


def page_policy(style: str, script: str, *, pictures: bool = True) -> str:
    """Return a page's policy (CSP level 2): its own style and script by their hashes, no more."""
    images = "img-src data:; " if pictures else ""
    return (
        f"default-src 'none'; {images}style-src '{_hash(style)}'; script-src '{_hash(script)}'; "
        "base-uri 'none'; form-action 'none'"
    )


def _hash(text: str) -> str:
    return f"sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}"


def data_text(data: Any) -> str:
    """Return data for a page's script, as JSON in which no element can begin or end."""
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return text.replace("<", "\\u003c")


def hex_colour(colour: tuple[float, float, float]) -> str:
    """``#00206e`` of red, green and blue, 0 to 1."""
    return "#" + "".join(f"{round(255 * part):02x}" for part in colour)


_HATCH_PX: Final = 22.0
"""Side of a hatch's tile with one line in it, pixels."""


@dataclass(frozen=True)
class BandLook:
    """A band, by its angles, in the page's own hatching, kin to that of the map's picture.

    `kind` is the sign of the hatch, `step` the distance of its lines, pixels; `letters` are the
    colour of letters on it.
    """

    label: str
    tint: str
    ink: str
    kind: str
    step: float
    letters: str


def band_looks(scheme: BandScheme) -> list[BandLook]:
    """Return how each band of a scheme looks, the gentlest first."""
    count = len(scheme.bands)
    return [
        BandLook(
            band.label,
            hex_colour(band_tint(k, count)),
            "#404040" if hatch_ink(k, count) != "white" else "#ffffff",
            band_hatch(k)[:1],
            round(_HATCH_PX / max(1, len(band_hatch(k))), 2),
            "#000000" if lightness(band_tint(k, count)) > 0.5 else "#ffffff",
        )
        for k, band in enumerate(scheme.bands)
    ]
