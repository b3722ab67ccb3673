"""Angle bands: their edges, labels, plain words and sources. Data, not code.

A band is half-open and holds its lower edge: ``30-35`` is 30.0 to below 35.0. The band
of a slope is the band of the number *shown* (tenths, rounded up), so that a table can
never say "30.0" beside "25-30".

The default edges, in degrees, and what each rests on:

==== =============================================================================
25   Practical lower bound quoted for dry slabs (from memory; no paper was read).
30   European danger scale, note on steepness: "steep" begins at about 30; a Swiss
     leaflet of the avalanche-prevention partners says slabs need 30 or more.
35   The same leaflet: "very steep" is above 35; start of the usual slab range 35-45.
40   The same leaflet: "extremely steep" is above 40; the European scale's note on
     very steep terrain begins at about 40.
45   Upper end of the usual slab range in the same leaflet.
55   Upper end of the 25-55 range of Perla (1977), Can. Geotech. J. 14 (range from
     memory). Snow that does not lie there still falls on what is below.
==== =============================================================================

No band is a judgement of the ground; gentle bands can be hit from above.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from functools import cached_property
from typing import Any, Final

from steybrae.errors import QuantityError
from steybrae.frozen import dataclass
from steybrae.quantities import number, parse_slope_deg, several, shown_slope_deg
from steybrae.ranges import SlopeDeg

DEFAULT_EDGES_DEG: Final = (25.0, 30.0, 35.0, 40.0, 45.0, 55.0)
"""Band edges in degrees; the module docstring gives the source of each."""

STEEP_DEG: Final = 30.0
"""From here ground is called steep, degrees (European danger scale, note on steepness)."""


@dataclass(frozen=True)
class Band:
    """One band of slope.

    Attributes
    ----------
    low_deg
        Lower edge, degrees, inside the band.
    high_deg
        Upper edge, degrees, outside the band; None in the steepest.
    label
        The angles: ``<25``, ``25-30``, ``55+``.
    """

    low_deg: SlopeDeg
    high_deg: SlopeDeg | None
    label: str


MOST_EDGES: Final = 40
"""Most edges of bands (our choice): more are no bands but a table."""


@dataclass(frozen=True)
class BandScheme:
    """Bands from 0 to 90 degrees, cut at the edges.

    Attributes
    ----------
    edges_deg
        Rising, each above 0 and below 90.

    Raises
    ------
    QuantityError
        No edge, more than `MOST_EDGES`, or edges that do not rise from above 0 to below 90.

    Examples
    --------
    >>> steybrae.BandScheme((30, 45)).labels
    ('<30', '30-45', '45+')
    """

    edges_deg: tuple[float, ...] = DEFAULT_EDGES_DEG

    def __post_init__(self) -> None:
        """Refuse edges that do not rise."""
        if len(self.edges_deg) > MOST_EDGES:
            message = (
                f"Bands should have at most {MOST_EDGES} edges; got {len(self.edges_deg)}. Write them like "
                "25,30,35,40,45,55."
            )
            raise QuantityError(message)
        rising = all(low < high for low, high in zip(self.edges_deg, self.edges_deg[1:], strict=False))
        inside = all(0.0 < edge < 90.0 for edge in self.edges_deg)  # false for NaN
        if not self.edges_deg or not rising or not inside:
            got = ",".join(f"{edge:g}" for edge in self.edges_deg)
            message = (
                "Band edges should rise from above 0 to below 90 degrees; "
                f"got {got!r}. Write them like 25,30,35,40,45,55."
            )
            raise QuantityError(message)

    @cached_property
    def bands(self) -> tuple[Band, ...]:
        """All bands, gentlest first."""
        lows = (0.0, *self.edges_deg)
        highs = (*self.edges_deg, None)
        return tuple(Band(low, high, _label(low, high)) for low, high in zip(lows, highs, strict=True))

    @property
    def labels(self) -> tuple[str, ...]:
        """Labels of all bands, gentlest first."""
        return tuple(band.label for band in self.bands)

    def index(self, slope_deg: float) -> int:
        """Position in `bands` of the band of a slope, by the number shown.

        Parameters
        ----------
        slope_deg
            Degrees, 0 to 90, not NaN.

        Returns
        -------
        int
            0 for the gentlest.

        Raises
        ------
        QuantityError
            NaN: an unknown slope has no band.

        Examples
        --------
        >>> steybrae.BandScheme().index(29.99)  # it is shown as 30.0
        2
        """
        if math.isnan(slope_deg):
            message = "An unknown slope has no band; ask for its band only where it is known."
            raise QuantityError(message)
        shown = shown_slope_deg(slope_deg)
        return sum(shown >= edge for edge in self.edges_deg)

    def band(self, slope_deg: float) -> Band:
        """Band of a slope, by the number shown; see `index`.

        Examples
        --------
        >>> steybrae.BandScheme().band(32.0).label
        '30-35'
        """
        return self.bands[self.index(slope_deg)]

    def between(self, low_deg: float, high_deg: float | None) -> tuple[Band, ...]:
        """Bands that an answer may lie in.

        Parameters
        ----------
        low_deg
            The answer, or its lower end, degrees.
        high_deg
            The upper end, degrees; None is "not known": only the band of `low_deg` is
            returned and the caller says that it is open above.

        Returns
        -------
        tuple of Band
            From the band of `low_deg` to that of the steeper of the two.

        Examples
        --------
        >>> [band.label for band in steybrae.BandScheme().between(28.0, 36.0)]
        ['25-30', '30-35', '35-40']
        """
        first = self.index(low_deg)
        last = first if high_deg is None else max(first, self.index(high_deg))
        return self.bands[first : last + 1]


def given_bands(edges_deg: Iterable[Any]) -> BandScheme:
    """Bands of edges that a caller gave, degrees; `QuantityError` for what is no number."""
    return BandScheme(tuple(number(one, "An edge of a band") for one in several(edges_deg, "Band edges")))


def _label(low_deg: float, high_deg: float | None) -> str:
    if high_deg is None:
        return f"{low_deg:g}+"
    return f"<{high_deg:g}" if low_deg == 0.0 else f"{low_deg:g}-{high_deg:g}"


def in_degrees(label: str) -> str:
    """Label of a band with its sign: ``30-35°``, ``55°+``."""
    return f"{label[:-1]}°+" if label.endswith("+") else f"{label}°"


def bands_text(bands: Sequence[Band], *, open_above: bool, degrees: bool = False) -> str:
    """Bands in words: ``25-30``, ``25-30 to 35-40``, ``35-40 or steeper``, ``unknown``; or with signs."""
    if not bands:
        return "unknown"
    ends = dict.fromkeys(in_degrees(one.label) if degrees else one.label for one in (bands[0], bands[-1]))
    words = " to ".join(ends)
    return f"{words} or steeper" if open_above and bands[-1].high_deg is not None else words


def parse_edges(text: str) -> BandScheme:
    """Read band edges, degrees between commas, as typed: ``25,30,35,40,45,55``."""
    try:
        edges = tuple(float(part) for part in text.split(","))
    except ValueError:
        message = f"Band edges should be degrees between commas; got {text!r}. Write them like 30,35,40."
        raise QuantityError(message) from None
    return BandScheme(edges)


def parse_slope_range_deg(text: str, what: str = "A range of slopes") -> tuple[float, float]:
    """Read a range of slopes as typed: ``30-55deg 28deg-60deg 30-55 55-100%``.

    Two slopes as for `steybrae.quantities.parse_slope_deg` with a hyphen or a dash between; a unit
    at the end is that of both. Degrees, rising from above 0 to below 90; `QuantityError`, which
    calls the range `what`, for anything else, and for a unit with the first alone.
    """
    match = re.match(r"^\s*(?P<low>.+?)\s*[-\N{EN DASH}]\s*(?P<high>.+?)\s*$", text)
    if match is None:
        message = f"{what} should be two slopes with a hyphen between; got {text!r}. Write it like 30-55deg."
        raise QuantityError(message)
    low, high = match["low"], match["high"]
    bare, unit = re.fullmatch(r"[\d.]+", low), high.lstrip("0123456789. ")
    if not unit and not bare:
        message = (
            f"{what} has its unit at the end, or one with each slope; got {text!r}. Write it like 30-55deg."
        )
        raise QuantityError(message)
    if bare and not unit.startswith("in"):
        low += unit
    low_deg, high_deg = parse_slope_deg(low, what), parse_slope_deg(high, what)
    if not 0.0 < low_deg < high_deg < 90.0:
        message = (
            f"{what} should rise from above 0 to below 90 degrees; got {text!r}. Write it like 30-55deg."
        )
        raise QuantityError(message)
    return low_deg, high_deg
