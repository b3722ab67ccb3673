"""Places on the earth, as people write them.

`parse_place` takes every notation and `format_place` writes the four that a route card
may be set in. Nothing here imports numpy or pyproj; a place in degrees needs neither.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from steybrae.errors import PlaceError, one_of
from steybrae.names import clean
from steybrae.route.positions.grid_references import square_named
from steybrae.route.positions.grid_texts import bng_text, mgrs_text, utm_text
from steybrae.route.positions.lat_lon import latlon_text, read_lat_lon

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
    name
        What the place is called.

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


def format_place(place: Place, grid: str = "latlon", figures: int = 8) -> str:
    """Write a place for a card or a table.

    Parameters
    ----------
    place
        The place.
    grid
        One of `GRIDS`.
    figures
        Figures of an Ordnance Survey or MGRS reference in all, even, 2 to 10. UTM is to
        the metre and degrees to 0.00001 whatever this says.

    Returns
    -------
    str
        ``HX 1660 7120``, ``30V UL 7311 9637``, ``30 north 373118 6596376`` or
        ``59.48662, -5.24044``. Grid references are cut off, degrees rounded.

    Raises
    ------
    PlaceError
        No such grid, no such figures, or a place off the grid.
    """
    one_of(grid, GRIDS, "A grid", PlaceError)
    if grid == "latlon":
        return latlon_text(place.lat_deg, place.lon_deg)
    if grid == "utm":
        return utm_text(place.lat_deg, place.lon_deg)
    write = bng_text if grid == "bng" else mgrs_text
    return write(place.lat_deg, place.lon_deg, figures)
