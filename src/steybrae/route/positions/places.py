"""Places on the earth, as people write them.

`parse_place` takes every notation and `format_place` writes the four that a route card
may be set in. Nothing here imports numpy or pyproj; a place in degrees needs neither.

Degrees: ``59.2234, -8.0712``, ``59.2234N 8.0712W``, ``59°13'24"N 8°04'16"W``, ``59 13.4 N 8 04.3 W``,
``59:13:24 -8:04:16``. Latitude comes first unless the letters say otherwise. The point is
the one written; how far it may lie off is half its last figure.
"""

from __future__ import annotations

import math
import re
from typing import Final

from steybrae.errors import PlaceError, one_of
from steybrae.frozen import dataclass
from steybrae.names import clean
from steybrae.route.positions.grid_references import square_named
from steybrae.route.positions.grids import bng_text, mgrs_text, utm_text

LONGEST_DEGREE_M: Final = 111_700.0
"""Longest degree on WGS 84, metres: a degree of latitude at the poles, 111 694 m, rounded up."""

_SIGNS: Final = str.maketrans(
    {"−": "-", "–": "-", "º": "°", "˚": "°", "’": "'", "‘": "'", "′": "'", "`": "'"}
    | {"″": '"', "”": '"', "“": '"', "\u00a0": " ", "\u2009": " ", "\u202f": " "}
)

_NUMBER: Final = r"\d{1,9}(?:\.\d{0,15})?"
_HALF: Final = re.compile(
    rf"(?P<before>[NSEW])?\s*(?P<sign>[+-])?\s*(?P<deg>{_NUMBER})"
    rf"(?:(?:\s*[°:]\s*|\s+)(?P<min>{_NUMBER})(?:(?:\s*[':]\s*|\s+)(?P<sec>{_NUMBER}))?)?"
    r"\s*[°'\"]?\s*(?P<after>[NSEW])?"
)

_EXAMPLE: Final = "59.2234 -8.0712, 59 13 24 N 8 04 16 W, HV 545 535, 38SMB4484 or 38N 444140 3684706"


@dataclass(frozen=True)
class _Half:
    """One of the two numbers: its value, its letter and the size of its last figure."""

    value_deg: float
    letter: str
    unit_deg: float
    decimals: int


def read_lat_lon(text: str) -> tuple[float, float, float]:
    """Read latitude and longitude.

    Parameters
    ----------
    text
        Two numbers of degrees, degrees and minutes, or degrees, minutes and seconds, each
        with its sign or its letter N, S, E, W. Minutes and seconds split by spaces alone
        need letters, or a comma between the two numbers.

    Returns
    -------
    tuple of float
        Latitude and longitude in degrees, and the half-diagonal in metres of the square
        that half a step of the last figure to each side makes. Where the two numbers have
        different counts of decimals the finer counts for both, for programs drop noughts.

    Raises
    ------
    PlaceError
        Says which part cannot be read.
    """
    capitals = re.sub(r"\s*DEG(?:REES?)?\.?\s*", "°", text.translate(_SIGNS).strip().upper())
    capitals = capitals.replace("''", '"')
    halves = [_half(part, text) for part in _split(capitals, text)]
    letters = [half.letter for half in halves]
    if all(letters) and letters[0] in "EW" and letters[1] in "NS":
        halves.reverse()
    elif any(letters) and not (letters[0] in tuple("NS") and letters[1] in tuple("EW")):
        message = (
            "A latitude takes N or S and a longitude E or W, both or neither; got "
            f"{' and '.join(letter or 'none' for letter in letters)} in {text!r}. "
            "Write one letter after each number."
        )
        raise PlaceError(message)
    lat, lon = halves
    return lat.value_deg, lon.value_deg, _half_diagonal_m(lat, lon)


def _half_diagonal_m(lat: _Half, lon: _Half) -> float:
    step_deg = min(lat.unit_deg, lon.unit_deg) * 10.0 ** -max(lat.decimals, lon.decimals)
    half_m = step_deg / 2.0 * LONGEST_DEGREE_M
    return math.hypot(half_m, half_m * math.cos(math.radians(lat.value_deg)))


def _split(capitals: str, text: str) -> list[str]:
    """Part the latitude from the longitude, never by a guess."""
    if capitals.count(",") > 1:
        message = (
            f"One comma at most stands between latitude and longitude; got {text!r}. "
            "Write decimals with a point."
        )
        raise PlaceError(message)
    if "," in capitals:
        return [part.strip() for part in capitals.split(",")]
    for pattern in (r"([^NSEW]+[NSEW])\s*([^NSEW]+[NSEW]?)", r"([NSEW][^NSEW]+)([NSEW][^NSEW]+)"):
        found = re.fullmatch(pattern, capitals)
        if found is not None:
            return [part.strip() for part in found.groups()]
    parts = capitals.split()
    if len(parts) == 2:
        return parts
    message = f"A place should look like {_EXAMPLE}; got {text!r}. Write it in one of these ways."
    if len(parts) in (4, 6):
        message = (
            f"It is not clear where the latitude ends in {text!r}. "
            "Add the letters N or S and E or W, or a comma."
        )
    raise PlaceError(message)


def _half(part: str, text: str) -> _Half:
    found = _HALF.fullmatch(part)
    if found is None:
        message = f"The part {part!r} of the place {text!r} cannot be read. A place looks like {_EXAMPLE}."
        raise PlaceError(message)
    letter = _letter(found, part, text)
    numbers = [found[name] for name in ("deg", "min", "sec") if found[name] is not None]
    if any("." in number for number in numbers[:-1]):
        message = (
            f"Only the last number of {part!r} may have decimals in {text!r}. "
            "Write degrees and minutes whole."
        )
        raise PlaceError(message)
    for name, number in zip(("minutes", "seconds"), numbers[1:], strict=False):
        if float(number) >= 60.0:
            message = (
                f"The {name} of {part!r} should lie below 60; got {number} in {text!r}. "
                "Write 60 as one of the next larger unit."
            )
            raise PlaceError(message)
    size_deg = sum(float(number) / 60.0**power for power, number in enumerate(numbers))
    negative = found["sign"] == "-" or letter in tuple("SW")
    decimals = len(numbers[-1].partition(".")[2])
    unit_deg = 60.0 ** -(len(numbers) - 1)
    return _Half(-size_deg if negative else size_deg, letter, unit_deg, decimals)


def _letter(found: re.Match[str], part: str, text: str) -> str:
    marks = [found[name] for name in ("before", "sign", "after") if found[name]]
    if len(marks) > 1:
        message = (
            f"The part {part!r} has both {marks[0]} and {marks[1]} in {text!r}. "
            "Give a sign or a letter, not both."
        )
        raise PlaceError(message)
    return found["before"] or found["after"] or ""


def latlon_text(lat_deg: float, lon_deg: float) -> str:
    """Decimal degrees to the nearest 0.00001 (about a metre): ``59.22340, -8.07120``; never ``-0.00000``."""
    lat_deg, lon_deg = (round(value, 5) + 0.0 for value in (lat_deg, lon_deg))
    return f"{lat_deg:.5f}, {lon_deg:.5f}"


GRIDS: Final = ("bng", "utm", "mgrs", "latlon")
"""How a place can be written: British National Grid, UTM, MGRS, latitude and longitude."""


@dataclass(frozen=True)
class Place:
    """A position on WGS 84.

    Attributes
    ----------
    lat_deg
        Latitude, degrees north, -90 to 90.
    lon_deg
        Longitude, degrees east, -180 to 180.
    name
        Name in the file or on the command line, cleaned (`steybrae.names`); may be empty.
    written
        The position as its author wrote it, cleaned; may be empty.
    error_m
        Radius about the position that holds the whole square that the written form names,
        metres: half the square's diagonal. 0 where nothing is known of it.

    Raises
    ------
    PlaceError
        NaN, infinite, or out of range.

    Examples
    --------
    >>> steybrae.Place(59.2234, -8.0712, "Bealach").name
    'Bealach'
    """

    lat_deg: float
    lon_deg: float
    name: str = ""
    written: str = ""
    error_m: float = 0.0

    def __post_init__(self) -> None:
        """Refuse positions that lie nowhere, and clean the texts."""
        object.__setattr__(self, "name", clean(self.name))
        object.__setattr__(self, "written", clean(self.written))
        finite = math.isfinite(self.lat_deg) and math.isfinite(self.lon_deg)
        if not finite or abs(self.lat_deg) > 90.0 or abs(self.lon_deg) > 180.0:
            message = (
                "A place should have a latitude of -90 to 90 and a longitude of -180 to 180 degrees; "
                f"got {self.lat_deg:g}, {self.lon_deg:g}. Check the order: latitude comes first."
            )
            raise PlaceError(message)


def parse_place(text: str, name: str = "") -> Place:
    """Read a place as typed.

    A grid reference is read to the *centre* of the square that it names, degrees to the
    point written. Either way `Place.error_m` is half the diagonal of the square that the
    last figure leaves open. The shift between OSGB36 and WGS 84 comes on top of that; see
    `steybrae.route.positions.grids.bng_shift_accuracy_m`.

    Parameters
    ----------
    text
        Ordnance Survey: ``HX 166 712``, ``HX166712`` (2 to 10 figures), ``216600,1071200``.
        MGRS: ``38SMB4484``. UTM: ``38N 444140 3684706``, ``38 south 444140 3684706``.
        Degrees: ``59.2234, -8.0712``, ``59.2234N 8.0712W``, ``59 13 24 N 8 04 16 W``.

    Returns
    -------
    Place
        With `written` as typed.

    Raises
    ------
    PlaceError
        Names the part that cannot be read.
    """
    written = text.strip()
    square = square_named(written)
    if square is not None:
        lat_deg, lon_deg = square.centre_deg
        return Place(lat_deg, lon_deg, name, written, square.half_diagonal_m)
    lat_deg, lon_deg, error_m = read_lat_lon(written)
    return Place(lat_deg, lon_deg, name, written, error_m)


def format_place(place: Place, grid: str = "latlon") -> str:
    """Write a place for a card or a table.

    Parameters
    ----------
    grid
        One of `GRIDS`.

    Returns
    -------
    str
        ``HX 1660 7120``, ``30V UL 7311 9637``, ``30 north 373118 6596376`` or
        ``59.48662, -5.24044``. Grid references are cut off, degrees rounded.

    Raises
    ------
    PlaceError
        No such grid, or a place off the grid.
    """
    one_of(grid, GRIDS, "A grid", PlaceError)
    if grid == "latlon":
        return latlon_text(place.lat_deg, place.lon_deg)
    if grid == "utm":
        return utm_text(place.lat_deg, place.lon_deg)
    write = bng_text if grid == "bng" else mgrs_text
    return write(place.lat_deg, place.lon_deg)
