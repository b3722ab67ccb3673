"""The first screen of the report: what somebody at home has to know in a minute."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from steybrae.answers.forecast import finding_lines, rating_lines
from steybrae.card.result import RouteCard
from steybrae.card.turn_back import DOWN_BY_EARLY, NEAR_M, OVERDUE_EARLY, ends_apart_m, on_another_day
from steybrae.card.wording import arrival_text, call_text, from_text
from steybrae.pages.report.lines import ways_off_rows
from steybrae.pages.report.map import Letter, MapDrawing, letters_beside, place_spots
from steybrae.route.times.walking_time import NOT_ADDED
from steybrae.screening.pictures.picture import Relief
from steybrae.screening.result import RouteScreening
from steybrae.value import distance_off

_LETTER_SHARE: Final = 0.028
"""Half the side of a letter's sign on the sketch, share of its longer side (our choice, by looking)."""

_NOT_GIVEN: Final = "not given"


def home_rows(screening: RouteScreening, card: RouteCard | None) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Yield what is asked first, and its answer in lines; what is not known, such as the day, is said."""
    yield from _when(card)
    yield from _who(card)
    forecast = screening.forecast
    if forecast is None:
        yield "Forecast: NONE", finding_lines(forecast)
    else:
        yield "Forecast", (*finding_lines(forecast), *rating_lines(forecast))
    yield "Ways off", ways_off_rows(screening)


def _when(card: RouteCard | None) -> Iterator[tuple[str, tuple[str, ...]]]:
    if card is None:
        yield "When", ("not given: steybrae report makes this page with --date, --start and --zone.",)
        return
    first, last = card.legs[0], card.legs[-1]
    yield "When", (f"{card.date}{f', start {card.start_text}' if card.start_text else ''}",)
    yield "From", (from_text(first),)
    day = on_another_day(card.date, last.arrival)
    back = f"{arrival_text(card, last)}{day}, at {last.to or last.to_place.reference}"
    # Who waits asks how late they may be.
    more = [words for words in card.time_words if words.startswith(NOT_ADDED)]
    more += [one.text for one in card.cautions if one.key == DOWN_BY_EARLY]
    told = " ".join((f"{back}.", *more)) if last.arrival_text else f"{_NOT_GIVEN}: it needs a start."
    away_m = ends_apart_m(card)
    if away_m <= NEAR_M:
        yield "Due back", (told,)
        return
    off = distance_off(away_m).text
    yield "End of the line", (told, f"{off} from where it begins: the way from there is not in this plan.")


def _who(card: RouteCard | None) -> Iterator[tuple[str, tuple[str, ...]]]:
    yield "Party", ((card.party if card else "") or f"{_NOT_GIVEN} (--party).",)
    call = (call_text(card) if card else "") or f"{_NOT_GIVEN} (--call, --overdue)."
    early = () if card is None else (one.text for one in card.cautions if one.key == OVERDUE_EARLY)
    yield "If nobody came back", (call, *early)


def sketch_letters(
    screening: RouteScreening, relief: Relief, drawing: MapDrawing
) -> tuple[float, list[Letter]]:
    """Half the side of the letters of the places told at length, and each with room for it.

    In units of the map; a letter lies beside its place, off the others and inside the map.
    """
    size = _LETTER_SHARE * max(drawing.width, drawing.height)
    told = [place for place in screening.places if place.at_length]
    return size, letters_beside(place_spots(told, relief), size, 1.5 * size, (drawing.width, drawing.height))
