"""Colours, hatches and sizes of the pictures of a route, and pictures of pixels as PNG.

A band has a tint of matplotlib's cividis reversed (light is gentle, dark is steep) and a hatch
of its own, so that it reads in black and white. Crossed hatches belong to unknown ground alone.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any, Final
from unicodedata import bidirectional

import matplotlib as mpl
import numpy as np
from matplotlib.font_manager import findfont, get_font
from numpy.typing import NDArray
from PIL import Image

from steybrae.bands import BandScheme
from steybrae.errors import hushed
from steybrae.quantities import shown_slope_deg
from steybrae.screening.pictures.picture import Relief
from steybrae.terrain.attributes import band_numbers
from steybrae.terrain.dem import Array

INK: Final = "black"
PNG_DPI: Final = 200
"""Dots per inch of a picture in dots (our choice)."""

SMALL_PT: Final = 6.0
"""Size of small print, points: 2.1 mm, the least that reads well on A4 (our choice)."""

UNKNOWN_HATCH: Final = "xxxxxx"

DASHES: Final[dict[str, tuple[float, float]]] = {
    "start zones": (1.0, 2.0),
    "possible start zones": (1.0, 5.0),
    "sight": (7.0, 1.6),
}
"""Ink and gap of lines that stand in several outputs, in widths of the line (our choice).

Start zones are dotted everywhere, possible ones in half of the dots: the surer is the stronger. Dashes are
the corridor's and other lines', long ones a sight's.
"""


def css_dashes(kind: str, width: float) -> str:
    """Ink and gap of a line so many pixels wide, as style sheets take it."""
    return " ".join(f"{width * part:g}" for part in DASHES[kind])


_HATCHES: Final = ("", "....", "/////", "-----", "\\\\\\\\\\", "|||||", "oooo")
_PAPER_SHARE: Final = (0.55, 0.22)
"""Share of white in the gentlest and in the steepest tint: contours on top stay readable, and
the whole run of greys is used."""

_MOST_LIGHT: Final = 0.04
"""Greatest change of a colour by the relief's light, share of full white."""

_STYLE: Final[Any] = {
    "font.family": "DejaVu Sans",
    "font.size": SMALL_PT,
    "hatch.linewidth": 0.35,
    "axes.linewidth": 0.6,
    "pdf.fonttype": 42,
    "text.parse_math": False,  # a dollar sign in a name is a dollar sign
}


def not_drawn(text: str) -> list[str]:
    """Letters of a text that the font of pictures and sheets lacks, or that run from right to left."""
    font = get_font(findfont(_STYLE["font.family"]))
    drawn = font.get_charmap()
    return sorted(
        letter
        for letter in set(text)
        if letter.isprintable() and (ord(letter) not in drawn or bidirectional(letter) in {"R", "AL"})
    )


@contextmanager
def picture_style() -> Iterator[None]:
    """Set what pictures are made and saved under, whatever the user's own settings are."""
    with hushed(), mpl.rc_context():
        # A name in a script that the font lacks is drawn as boxes; `not_drawn` has them told.
        warnings.filterwarnings("ignore", message=r"Glyph .* missing from")
        mpl.rcdefaults()
        mpl.rcParams.update(_STYLE)
        yield


def band_tint(position: int, count: int) -> tuple[float, float, float]:
    """Colour of a band by its position, 0 the gentlest: red, green, blue, 0 to 1.

    Each band is darker than the one before, none white.
    """
    way = position / max(1, count - 1)
    white = _PAPER_SHARE[0] + way * (_PAPER_SHARE[1] - _PAPER_SHARE[0])
    red, green, blue = (white + (1.0 - white) * part for part in mpl.colormaps["cividis_r"](way)[:3])
    return red, green, blue


def band_hatch(position: int) -> str:
    """Hatch of a band; further bands repeat them closer, none of them crossed."""
    rounds, which = divmod(position, len(_HATCHES))
    return _HATCHES[which] if rounds == 0 else (_HATCHES[which] or ".") * (rounds + 1)


def hatch_ink(position: int, count: int) -> str:
    """Colour of a band's hatch: dark on light bands, white on dark ones."""
    return "0.25" if lightness(band_tint(position, count)) > 0.6 else "white"


def lightness(colour: tuple[float, float, float]) -> float:
    """Lightness of a colour as a grey print shows it: ITU-R BT.601 weights, 0 to 1."""
    red, green, blue = colour
    return 0.299 * red + 0.587 * green + 0.114 * blue


def light_strength(count: int) -> float:
    """How far the relief's light may change a colour.

    Two neighbouring bands stay apart in grey however the light falls: less than half of the
    least step of lightness between them.
    """
    steps = -np.diff([lightness(band_tint(k, count)) for k in range(count)])
    return float(min(_MOST_LIGHT, 0.45 * steps.min())) if count > 1 else _MOST_LIGHT


def band_tints(count: int) -> Array:
    """Colours of all bands, the gentlest first, ``[band, 3]``; see `band_tint`."""
    return np.array([band_tint(k, count) for k in range(count)])


def band_style(position: int, count: int) -> dict[str, Any]:
    """How ground of a band is drawn, in the map, the profile and the legend."""
    tint, ink = band_tint(position, count), hatch_ink(position, count)
    return {"facecolor": tint, "edgecolor": ink, "hatch": band_hatch(position), "linewidth": 0.0}


def unknown_style(line_pt: float = 0.0) -> dict[str, Any]:
    """How unknown ground is drawn there."""
    return {"facecolor": "white", "edgecolor": INK, "hatch": UNKNOWN_HATCH, "linewidth": line_pt}


def crossed(shape: tuple[int, ...]) -> NDArray[np.bool_]:
    """Cells of a raster on which the crossed lines of unknown ground lie, which no band has."""
    return pattern(UNKNOWN_HATCH, *np.indices(shape))


def white_box(pad: float) -> dict[str, Any]:
    """Ground of a text that stands on a drawing, white to so many points around it."""
    return {"facecolor": "white", "edgecolor": "none", "pad": pad}


def shade(tint: Array, light: Array, strength: float) -> Array:
    """Colours of cells with the relief's light on them, 0 to 1."""
    out: Array = np.clip(tint + strength * light[..., None], 0.0, 1.0)
    return out


def lit(relief: Relief) -> Array:
    """Give the relief's light; cells beside a void, where it is unknown, lie level in it."""
    return np.nan_to_num(np.where(np.isfinite(relief.slope_deg), relief.light, 0.0))


def tinted(relief: Relief, scheme: BandScheme) -> tuple[Array, NDArray[np.intp], Array]:
    """Shown slope of each cell of a map, its band, -1 where unknown, and its colour with the light on it."""
    count = len(scheme.bands)
    tints = band_tints(count)
    band = band_numbers(relief.slope_deg, scheme)
    colours = shade(tints[np.maximum(band, 0)], lit(relief), light_strength(count))
    return shown_slope_deg(relief.slope_deg), band, colours


Colour = tuple[int, int, int, int]


def colour(rgb: Sequence[float], opaque: float = 1.0) -> Colour:
    """Red, green, blue and opacity, 0 to 255, of parts from 0 to 1."""
    red, green, blue, alpha = (round(255 * part) for part in (*rgb, opaque))
    return red, green, blue, alpha


def palette_png(numbers: NDArray[np.uint8], colours: Sequence[Colour]) -> bytes:
    """Write a picture of at most 256 colours; `numbers` are their places, ``[row, col]``."""
    picture = Image.fromarray(numbers)
    picture.putpalette(bytes(part for one in colours for part in one[:3]))
    return _written(picture, transparency=bytes(one[3] for one in colours))


def grey_png(grey: NDArray[np.uint8], opaque: NDArray[np.uint8]) -> bytes:
    """Write a picture of greys, 0 black, with the opacity of each pixel."""
    return _written(Image.fromarray(np.dstack((grey, opaque))))


def colour_png(colours: NDArray[np.uint8], opaque: NDArray[np.bool_]) -> bytes:
    """Write a picture of colours ``[row, col, 3]``, clear where it is not opaque."""
    return _written(Image.fromarray(np.dstack((colours, np.where(opaque, np.uint8(255), np.uint8(0))))))


def _written(picture: Image.Image, **how: object) -> bytes:
    out = io.BytesIO()
    # The quickest packing: the way to the browser is short.
    picture.save(out, "PNG", compress_level=1, **how)
    return out.getvalue()


Mask = NDArray[np.bool_]

APART: Final = 8
"""Pixels from one line of a pattern to the next (our choice); closer for bands after the seventh."""

LEAST_APART: Final = 3

UNKNOWN_APART: Final = 6
"""Pixels from one line of unknown ground to the next, in and off a model alike (our choice)."""

NOT_LOOKED_APART: Final = 24
"""Pixels of a stripe and its gap on ground not looked at yet."""


def pattern(hatch: str, rows: NDArray[np.intp], cols: NDArray[np.intp], wide: int = 1) -> Mask:
    """Pixels of a hatch, as `steybrae.figures.style.band_hatch` names it: true where there is ink.

    Their places on the whole map are of shapes that spread over ``[row, col]``. A line is so many
    pixels `wide`; all else grows with it.
    """
    shape = np.broadcast_shapes(rows.shape, cols.shape)
    if not hatch:
        return np.zeros(shape, np.bool_)
    sign = hatch[0]
    # The first seven are written with four, five or more signs; a repetition doubles them.
    apart = wide * max(LEAST_APART, APART * 6 // max(6, len(hatch)))
    askew = round(wide * 2**0.5)
    down, over = rows % apart, cols % apart
    if sign == "-":
        ink = (down < wide) & (cols >= cols.min())
    elif sign == "|":
        ink = (over < wide) & (rows >= rows.min())
    elif sign == "/":
        ink = (rows + cols) % apart < askew
    elif sign == "\\":
        ink = (rows - cols) % apart < askew
    elif sign == "o":
        ring = (down - apart // 2) ** 2 + (over - apart // 2) ** 2
        ink = (ring >= 4 * wide**2) & (ring <= 8 * wide**2)
    elif sign == "x":
        apart = wide * UNKNOWN_APART
        ink = ((rows + cols) % apart < askew) | ((rows - cols) % apart < askew)
    else:
        over = (cols + rows // apart % 2 * (apart // 2)) % apart
        ink = (down - wide) ** 2 + (over - wide) ** 2 <= 5 * (wide - 1) ** 2
    return np.broadcast_to(ink, shape)


def not_looked(rows: NDArray[np.intp], cols: NDArray[np.intp]) -> Mask:
    """Wide stripes of ground that nobody looked at yet."""
    return (rows + cols) % NOT_LOOKED_APART < NOT_LOOKED_APART // 2
