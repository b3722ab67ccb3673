"""Grid references as typed: Ordnance Survey, MGRS and UTM.

A reference names a *square*, as large as its last figure: ``HX 166 712`` is one of
100 m, UTM metres one of 1 m. Letters and figures truncate, they never round (Ordnance
Survey, "A guide to coordinate systems in Great Britain"; the manual of GeoConvert says
the same of MGRS). So a reference is read to the centre of its square;
`steybrae.route.positions.grids` writes them by cutting figures off.
"""

from __future__ import annotations

import math
import re
import warnings
from typing import Final

from steybrae.errors import PlaceError, hushed
from steybrae.frozen import dataclass
from steybrae.route.positions.grids import (
    BNG_EPSG,
    GRID_LETTERS,
    UTM_LAT_DEG,
    lat_lon_deg,
    mgrs_library,
    on_bng,
)

UTM_EASTING_M: Final = (100_000.0, 900_000.0)
"""Eastings inside a zone with room to spare, metres (GeoConvert takes the same)."""

BAND_S_NORTHING_M: Final = (3_530_000.0, 4_440_000.0)
"""Northings of latitude band S, 32 to 40 degrees north, metres, rounded outwards."""

EDGE_SLACK_DEG: Final = 1e-5
"""About a metre: the centre of the last square may lie this little beyond a limit, degrees."""

_BANDS: Final = "CDEFGHJKLMNPQRSTUVWX"

_MGRS: Final = re.compile(r"(\d{1,2})\s*([A-Z])\s*([A-Z]{2})([\dOI\s]*)")
_POLAR: Final = re.compile(r"[ABYZ]\s*[A-Z]{2}[\d\s]+")
_UTM: Final = re.compile(
    r"(\d{1,2})\s*(NORTH|SOUTH|[A-Z])[\s,]+(\d{5,}(?:\.\d+)?)\s*M?E?[\s,]+(\d+(?:\.\d+)?)\s*M?N?"
)
_BNG_LETTERS: Final = re.compile(r"([A-Z]{2})([\s,]*|(?=.*\d)[\dOI\s,]*)")
_BNG_FIGURES: Final = re.compile(r"(\d{5,}(?:\.\d+)?)\s*M?E?[\s,]+(\d{5,}(?:\.\d+)?)\s*M?N?")


@dataclass(frozen=True)
class NamedSquare:
    """The square of ground that a reference names: grid, lower left corner and side, grid metres."""

    epsg: int
    west_m: float
    south_m: float
    side_m: float

    @property
    def centre_m(self) -> tuple[float, float]:
        """Easting and northing of the centre, grid metres."""
        return self.west_m + self.side_m / 2.0, self.south_m + self.side_m / 2.0

    @property
    def centre_deg(self) -> tuple[float, float]:
        """Latitude and longitude of the centre on WGS 84, degrees."""
        return lat_lon_deg(self.epsg, *self.centre_m)

    @property
    def half_diagonal_m(self) -> float:
        """Radius about the centre that holds the whole square: ``side / sqrt(2)``, grid metres.

        On the ground it is within 0.1 percent of that, the scale of the grids.
        """
        return self.side_m / math.sqrt(2.0)


def square_named(text: str) -> NamedSquare | None:
    """Square that a grid reference names.

    Parameters
    ----------
    text
        ``HX 166 712``, ``HX166712``, ``216600,1071200``, ``38N 444140 3684706``,
        ``38 south 444140 3684706``, ``38SMB4484``, in capitals or not.

    Returns
    -------
    NamedSquare or None
        None where the text does not look like a grid reference at all.

    Raises
    ------
    PlaceError
        Looks like one, and some part of it cannot be read.
    """
    capitals = text.strip().upper()
    readers = ((_MGRS, _mgrs), (_UTM, _utm), (_BNG_LETTERS, _bng), (_BNG_FIGURES, _bng_metres))
    for pattern, reader in readers:
        found = pattern.fullmatch(capitals)
        if found is not None:
            return reader(text, *found.groups())
    if _POLAR.fullmatch(capitals) is not None:
        message = f"Polar references (UPS) are not read; got {text!r}. Give latitude and longitude."
        raise PlaceError(message)
    return None


def _figures(text: str, written: str) -> tuple[str, str]:
    """Split the figures into east and north halves of equal length."""
    if "O" in written or "I" in written:
        message = f"The figures hold the letter O or I in {text!r}. Write 0 or 1."
        raise PlaceError(message)
    groups = re.findall(r"\d+", written)
    count = sum(map(len, groups))
    if count == 0 or count > 10:
        message = (
            f"A grid reference has 2 to 10 figures; got {count} in {text!r}. Give as many east as north."
        )
        raise PlaceError(message)
    if count % 2:
        message = (
            f"A grid reference has as many figures east as north; got {count} in {text!r}. "
            "Check for one left out or doubled."
        )
        raise PlaceError(message)
    joined = "".join(groups)
    east, north = joined[: count // 2], joined[count // 2 :]
    if len(groups) > 1 and groups != [east, north]:
        message = (
            f"The figures should stand together or in two groups of one length; got "
            f"{' and '.join(str(len(group)) for group in groups)} figures in {text!r}. "
            "Check the grouping."
        )
        raise PlaceError(message)
    return east, north


def _bng(text: str, letters: str, written: str) -> NamedSquare:
    if "I" in letters:
        message = (
            f"The letter I is not used on the National Grid; got {letters} in {text!r}. "
            "Check the letters on the sheet."
        )
        raise PlaceError(message)
    # Letters run west to east and north to south, five by five: first squares of 500 km,
    # then of 100 km. The false origin is the south-west corner of S, which is SV.
    outer, inner = (divmod(GRID_LETTERS.index(letter), 5) for letter in letters)
    east_m = 100_000.0 * (5 * outer[1] + inner[1] - 10)
    north_m = 100_000.0 * (5 * (3 - outer[0]) + 4 - inner[0])
    if not on_bng(east_m, north_m):
        message = (
            f"The letters {letters} name no square of the National Grid in {text!r}. "
            "Check the letters on the sheet."
        )
        raise PlaceError(message)
    east, north = _figures(text, written)
    side_m = 10.0 ** (5 - len(east))
    return NamedSquare(BNG_EPSG, east_m + int(east) * side_m, north_m + int(north) * side_m, side_m)


def _bng_metres(text: str, east: str, north: str) -> NamedSquare:
    whole = len(east.partition(".")[0]), len(north.partition(".")[0])
    if whole not in ((6, 6), (6, 7)):
        message = (
            "An all-figure National Grid reference has 6 figures east and 6 or 7 north; got "
            f"{whole[0]} and {whole[1]} in {text!r}. Write leading noughts, or use the letters."
        )
        raise PlaceError(message)
    if not on_bng(float(east), float(north)):
        message = (
            "National Grid eastings run from 0 to 700000 m and northings to 1300000 m; got "
            f"{text!r}. Check the order, east comes first; UTM needs its zone in front."
        )
        raise PlaceError(message)
    return _metre_square(BNG_EPSG, east, north)


def _metre_square(epsg: int, east: str, north: str) -> NamedSquare:
    decimals = max(len(number.partition(".")[2]) for number in (east, north))
    return NamedSquare(epsg, float(east), float(north), 10.0**-decimals)


def _zone(text: str, zone: str) -> int:
    if not 1 <= int(zone) <= 60:
        message = f"A UTM zone lies between 1 and 60; got {zone} in {text!r}. Check the sheet."
        raise PlaceError(message)
    return int(zone)


def _utm(text: str, zone: str, letter: str, east: str, north: str) -> NamedSquare:
    number = _zone(text, zone)
    south = _is_south(text, letter, float(north))
    square = _metre_square((32700 if south else 32600) + number, east, north)
    inside = UTM_EASTING_M[0] <= float(east) <= UTM_EASTING_M[1]
    lat_deg = square.centre_deg[0] if inside and float(north) <= 1e7 else math.inf
    if not UTM_LAT_DEG[0] - EDGE_SLACK_DEG <= lat_deg <= UTM_LAT_DEG[1] + EDGE_SLACK_DEG:
        message = (
            "UTM eastings run from 100000 to 900000 m and northings over latitudes of -80 to "
            f"84 degrees; got {text!r}. Check the order, east comes first."
        )
        raise PlaceError(message)
    if letter in _BANDS and letter not in "NS":
        _check_band(text, letter, lat_deg)
    return square


def _is_south(text: str, letter: str, north_m: float) -> bool:
    """Hemisphere of the letter after a UTM zone.

    N is the north either way: as hemisphere, and as latitude band 0 to 8 north. S is the
    southern hemisphere, or the band of 32 to 40 *north*; where the northing fits both,
    guessing would be wrong by 10 000 km.
    """
    if letter in ("NORTH", "SOUTH", "N"):
        return letter == "SOUTH"
    if letter == "S":
        if BAND_S_NORTHING_M[0] <= north_m <= BAND_S_NORTHING_M[1]:
            message = (
                f"The letter S after the zone may be the south or the band of 32 to 40 degrees "
                f"north in {text!r}. Write 'south' or 'north' after the zone."
            )
            raise PlaceError(message)
        return True
    if letter not in _BANDS:
        message = (
            f"The letter after a UTM zone is C to X without I and O; got {letter} in {text!r}. "
            "Write 'north' or 'south' after the zone."
        )
        raise PlaceError(message)
    return letter < "N"


def _band_deg(letter: str) -> tuple[float, float]:
    low_deg = -80.0 + 8.0 * _BANDS.index(letter)
    return low_deg, 84.0 if letter == "X" else low_deg + 8.0


def _check_band(text: str, letter: str, lat_deg: float) -> None:
    low_deg, high_deg = _band_deg(letter)
    if not low_deg - EDGE_SLACK_DEG <= lat_deg <= high_deg + EDGE_SLACK_DEG:
        message = (
            f"Latitude band {letter} holds {low_deg:g} to {high_deg:g} degrees, the northing lies "
            f"at {lat_deg:.2f} in {text!r}. Check letter and northing."
        )
        raise PlaceError(message)


def _mgrs(text: str, zone: str, band: str, letters: str, written: str) -> NamedSquare:
    number = _zone(text, zone)
    if band not in _BANDS or set("IO") & set(letters):
        message = (
            f"MGRS letters leave out I and O, and its bands run from C to X; got {band} {letters} "
            f"in {text!r}. Check the letters on the sheet."
        )
        raise PlaceError(message)
    east, north = _figures(text, written)
    try:
        with hushed():
            warnings.simplefilter("ignore")  # it warns of squares that lie across a band's edge
            _, hemisphere, east_m, north_m = mgrs_library().MGRSToUTM(
                f"{number:02d}{band}{letters}{east}{north}"
            )
    except Exception as error:
        # The library raises bare errors of its own without saying what is wrong.
        raise PlaceError(_no_square(text, f"{number}{band}", letters)) from error
    side_m = 10.0 ** (5 - len(east))
    epsg = (32600 if hemisphere == "N" else 32700) + number
    # Some releases of the library answer with the corner, others with the centre.
    square = NamedSquare(epsg, east_m // side_m * side_m, north_m // side_m * side_m, side_m)
    if not _touches_band(square, band):
        raise PlaceError(_no_square(text, f"{number}{band}", letters))
    return square


def _no_square(text: str, zone: str, letters: str) -> str:
    return (
        f"Zone {zone} has no square {letters} at these figures in {text!r}. "
        "Check zone, letters and figures on the sheet."
    )


def _touches_band(square: NamedSquare, band: str) -> bool:
    low_deg, high_deg = _band_deg(band)
    corners = [
        lat_lon_deg(square.epsg, square.west_m + right, square.south_m + up)[0]
        for right in (0.0, square.side_m)
        for up in (0.0, square.side_m)
    ]
    return max(corners) >= low_deg - EDGE_SLACK_DEG and min(corners) <= high_deg + EDGE_SLACK_DEG
