"""The route card of a plan."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from steybrae.card import CardSettings, RouteCard, make_card
from steybrae.errors import FileWriteError
from steybrae.library.answer import Answer
from steybrae.library.route import PathLike, Plan, needed_path
from steybrae.quantities import number

if TYPE_CHECKING:
    from steybrae.document import Document

__all__ = ["Card", "card"]


class Card(Answer[RouteCard]):
    """The route card: bearings to set, distances, times, what the ground does, what to check.

    Attributes
    ----------
    result
        With ``legs``, each with its ``checks``, and ``totals``.

    Examples
    --------
    >>> model = steybrae.sample().model
    >>> plan = steybrae.screen([(59.2240, -8.0574), (59.2270, -8.0590)], model)
    >>> steybrae.card(plan, "2027-01-15", grid="bng").grid
    'bng'
    """

    _command = "card"
    _rows = "legs"

    @property
    def document(self) -> Document:
        """The legs, their sides, the checks, what it rests on, cautions."""
        from steybrae.answers.card import card_document  # noqa: PLC0415

        return card_document(self.result)

    @property
    def _line(self) -> str:
        legs = len(self.result.legs)
        return f"{self.result.name}, {self.result.date}, {legs} leg{'' if legs == 1 else 's'}"

    @property
    def __geo_interface__(self) -> Mapping[str, Any]:
        """Legs as lines and checks as points, a GeoJSON feature collection on WGS 84."""
        from steybrae.files.cards import card_geojson  # noqa: PLC0415

        found: Mapping[str, Any] = json.loads(card_geojson(self.result))
        return found

    def save(self, path: PathLike, *, page: str = "a4", force: bool = False) -> None:
        """Write the card to carry.

        Parameters
        ----------
        path
            PDF, GPX, CSV or GeoJSON by its ending.
        page
            Paper of the PDF: ``a4``, ``letter`` or ``a5``.
        force
            Whether an existing file is replaced.

        Raises
        ------
        SteybraeError
            Another ending, the file exists, or the system refuses.

        Examples
        --------
        >>> model = steybrae.sample().model
        >>> plan = steybrae.screen([(59.2240, -8.0574), (59.2270, -8.0590)], model)
        >>> steybrae.card(plan, "2027-01-15").save("card.gpx")
        """
        from steybrae.files.whole import write_bytes  # noqa: PLC0415

        to = needed_path(path)
        write_bytes(to, self._bytes(to.suffix.lower(), page), force=force)

    def _bytes(self, ending: str, page: str) -> bytes:
        if ending == ".pdf":
            from steybrae.sheets.card_page import card_pdf  # noqa: PLC0415

            return card_pdf(self.result, page)
        from steybrae.files.cards import (  # noqa: PLC0415
            card_csv,
            card_geojson,
            card_gpx,
        )

        makers = {".gpx": card_gpx, ".csv": card_csv, ".geojson": card_geojson}
        if ending not in makers:
            message = f"A card should be named .pdf, {', '.join(makers)}; got {ending!r}. Change its ending."
            raise FileWriteError(message)
        return makers[ending](self.result).encode()


def card(plan: Plan | PathLike, date: dt.date | str, *, start: str | None = None, **chosen: Any) -> Card:
    """Make the route card of a plan.

    Parameters
    ----------
    plan
        From `screen`, or a saved one.
    date
        Day of the walk, for magnetic north; a date or ``"2027-01-15"``.
    start
        Start of the day, ``"08:30"``, for the arrivals; it needs ``zone``.
    **chosen
        ``grid``, ``scale``, ``paces_per_100m``, ``bearing_unit``, ``zone``, ``method``, ``flat_kmh``,
        ``off_path``; ``snow``, ``load`` and ``breaks`` as for the command; ``party``, ``call``;
        ``overdue`` and ``down_by``, like ``start``, or of another day: ``"2027-01-16T00:30"``.

    Raises
    ------
    SteybraeError
        A choice that there is not.

    Examples
    --------
    >>> model = steybrae.sample().model
    >>> plan = steybrae.screen([(59.2240, -8.0574), (59.2270, -8.0590)], model)
    >>> found = steybrae.card(plan, "2027-01-15", scale=25_000)
    >>> found.legs[0].number, round(found.legs[0].map_mm)
    (1, 14)
    """
    from steybrae.card.forecast import without_forecast  # noqa: PLC0415
    from steybrae.route.daylight import parse_clock, parse_day  # noqa: PLC0415
    from steybrae.route.walking import Allowances, leg_min  # noqa: PLC0415

    screening = (plan if isinstance(plan, Plan) else Plan.read(plan)).result
    day = parse_day(f"{date:%Y-%m-%d}" if isinstance(date, dt.date) else str(date))
    shares = {name: number(chosen.pop(name), name) for name in ("snow", "load", "breaks") if name in chosen}
    allowances = Allowances(shares.get("snow", 1.0), shares.get("load", 1.0), shares.get("breaks", 0.0))
    begins = None if start is None else parse_clock(str(start), day, chosen.get("zone"))
    for name in {"overdue", "down_by"} & chosen.keys():
        if isinstance(chosen[name], str):
            chosen[name] = parse_clock(chosen[name], day, chosen.get("zone"), dated=True)
    settings = CardSettings(date=day, start=begins, allowances=allowances, **chosen)
    leg_min((), settings.method, allowances, flat_kmh=settings.flat_kmh)  # refuses an unknown rule
    return Card(without_forecast(make_card(screening, settings), screening))
