"""What the report says of the forecast, in the words that every output has."""

from __future__ import annotations

from typing import Any

from steybrae.answers.forecast import (
    REDUCTION_WORDS,
    finding_lines,
    head_line,
    leg_lines,
    part_lines,
    reduction_cells,
    text_lines,
)
from steybrae.forecast.choose import last_end, moment_text, of_another_time
from steybrae.screening.result import RouteScreening


def forecast_content(screening: RouteScreening) -> dict[str, Any]:
    """Give what the template places, with a forecast or without.

    ``findings``; ``ends`` and ``ended``, when the page expires by itself and what it says then;
    ``leg_forecasts``, the sentences of each leg; ``bulletins``, with head, parts and
    texts of each; ``reductions``, their source and words.
    """
    forecast = screening.forecast
    content: dict[str, Any] = {
        "findings": finding_lines(forecast),
        "ends": "",
        "ended": "",
        "leg_forecasts": [()] * len(screening.legs),
        "bulletins": [],
        "reductions": [],
        "reduction_source": "",
        "reduction_words": REDUCTION_WORDS,
    }
    if forecast is None:
        return content
    ends = last_end(forecast.bulletins)
    if ends is not None and not of_another_time(forecast.findings):
        content["ends"] = ends.isoformat()
        content["ended"] = f"EXPIRED: this forecast ended {moment_text(ends)}. Get today's."
    content["leg_forecasts"] = [leg_lines(leg, forecast.bulletins) for leg in forecast.legs]
    content["bulletins"] = [
        (
            bulletin,
            head_line(bulletin, forecast.region_asked),
            part_lines(bulletin),
            tuple(text_lines(bulletin)),
        )
        for bulletin in forecast.bulletins
    ]
    rows = [(leg.number, leg.reduction) for leg in forecast.legs if leg.reduction is not None]
    content["reductions"] = [(number, reduction_cells(row)) for number, row in rows]
    content["reduction_source"] = rows[0][1].source if rows else ""
    return content
