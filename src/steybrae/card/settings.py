"""What the user of a card chooses."""

from __future__ import annotations

import datetime as dt
from dataclasses import field

from steybrae.card.times import pace_length_m
from steybrae.errors import PlaceError, QuantityError, one_of
from steybrae.frozen import dataclass
from steybrae.route.daylight import needs_zone
from steybrae.route.positions.places import GRIDS
from steybrae.route.walking import FLAT_KMH, METHODS, Allowances

BEARING_UNITS = ("deg", "mil")
"""How bearings are printed."""


@dataclass(frozen=True)
class CardSettings:
    """How a card is made.

    Attributes
    ----------
    date
        Day of the walk, for the declination and the sun.
    grid
        Grid of the user's map: ``bng``, ``utm``, ``mgrs``, or ``latlon`` for none.
    scale
        Denominator of the map scale; None gives no millimetres, for no scale is assumed.
    paces_per_100m
        The user's count; None gives no paces.
    bearing_unit
        ``deg`` or ``mil``.
    start
        Start of the day with its zone; None gives no arrivals.
    zone
        Name of the zone that clock times are given in; None with no start.
    method, allowances, flat_kmh, off_path
        See `steybrae.route.walking.leg_min`. Rest is by the hour only: on a card of
        many legs nothing says at which of them another break is taken.

    party, call, overdue
        Names of the party; whom to call, and when, with its zone.
    down_by
        When to be down, with its zone; sunset where None.

    Raises
    ------
    PlaceError, QuantityError, DateError
        A choice that there is not, or a start without its zone.
    """

    date: dt.date
    grid: str = "latlon"
    scale: float | None = None
    paces_per_100m: float | None = None
    bearing_unit: str = "deg"
    start: dt.datetime | None = None
    zone: str | None = None
    method: str = METHODS[0]
    allowances: Allowances = field(default_factory=Allowances)
    flat_kmh: float = FLAT_KMH
    off_path: bool = False
    party: str = ""
    call: str = ""
    overdue: dt.datetime | None = None
    down_by: dt.datetime | None = None

    def __post_init__(self) -> None:
        """Refuse what no card can be made with."""
        one_of(self.grid, GRIDS, "A grid", PlaceError)
        if self.bearing_unit not in BEARING_UNITS:
            message = f"Bearings are printed in deg or mil; got {self.bearing_unit!r}. Choose one of the two."
            raise QuantityError(message)
        if self.paces_per_100m is not None:
            pace_length_m(self.paces_per_100m)
        if self.allowances.breaks_min:
            message = (
                "Breaks on a card are minutes for each hour walked; got "
                f"{self.allowances.breaks_min:g} minutes besides. Give --breaks."
            )
            raise QuantityError(message)
        if self.start is not None and (self.start.tzinfo is None or not self.zone):
            raise needs_zone(self.start)
