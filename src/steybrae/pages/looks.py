"""How a band looks in a page: kin to the hatching of the pictures."""

from __future__ import annotations

from typing import Final

from steybrae.bands import BandScheme
from steybrae.figures.style import band_hatch, band_tint, hatch_ink, lightness
from steybrae.frozen import dataclass
from steybrae.pages.page import hex_colour

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
