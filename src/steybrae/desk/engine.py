"""Answers to moved lines: what a moved point changes is screened, the rest is taken from answers before."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

from steybrae.card.times import usual_time
from steybrae.desk.heights import NearHeights
from steybrae.errors import SteybraeError
from steybrae.files.model.rasters import RasterModel
from steybrae.frozen import dataclass
from steybrae.route.kept import Kept, Submit
from steybrae.route.legs import Route
from steybrae.screening.compared import RouteLines, compared
from steybrae.screening.forecast.at import BulletinSource, ForecastAsk, forecast_beside, of_now
from steybrae.screening.known import Settings
from steybrae.screening.model.look import found_near
from steybrae.screening.pictures.relief import with_relief
from steybrae.screening.result import RouteScreening
from steybrae.screening.screen import screen_route


@dataclass(frozen=True, eq=False)
class Answered:
    """What is answered for the lines of a plan; `found` is the one asked about, screened as it is alone.

    `beside` are all lines side by side; None where there is one only, or they cannot be held so:
    why, `without` says.
    """

    found: RouteScreening
    beside: RouteLines | None
    without: str = ""


class Engine:
    """Answers lines on one open model, in the thread that it belongs to.

    Parameters
    ----------
    model
        Open as long as this is asked.
    settings
        How lines are screened, the model not yet looked at.
    forecast
        The bulletin, and what is asked of it.
    submit
        Where ground for the next answers is made ready after one; None makes it when it is asked for.

    Attributes
    ----------
    kept
        What the last answers rest on.
    """

    def __init__(
        self,
        model: RasterModel,
        settings: Settings,
        forecast: tuple[BulletinSource, ForecastAsk] | None = None,
        submit: Submit[Any] | None = None,
    ) -> None:
        self._model, self._settings, self._forecast, self._submit = model, settings, forecast, submit
        self._near = NearHeights(model)
        self.kept = Kept(self._near)

    def answer(self, routes: Sequence[Route], active: int, left: Callable[[], bool] = bool) -> Answered:
        """Answer lines, the main one first, of which one is asked about.

        `LeftError` where nobody waited any longer; what was worked out till then is kept.
        """
        self.kept.turn(left)
        found = self.screened(routes[active])
        if self._submit is not None:
            for prepare in self.kept.meanwhile:
                prepare(self._submit)
        if self._forecast is not None:
            found = forecast_beside(found, *of_now(*self._forecast))
        if len(routes) == 1:
            return Answered(found, None)
        try:
            main = found if active == 0 else self.screened(routes[0])
            return Answered(found, compared(routes, main, self.screened, usual_time))
        except SteybraeError as error:
            return Answered(found, None, str(error))

    def shifted(self, route: Route, shifts_m: Sequence[float]) -> RouteLines:
        """Move a line to either side; see `steybrae.screening.compared.compared`."""
        self.kept.turn()
        return compared([route], self.screened(route), self.screened, usual_time, shifts_m)

    def pictured(self, routes: Sequence[Route], *, for_forecast: bool | None = None) -> RouteScreening:
        """Screen a line with those beside it, and with the ground round it for pictures."""
        self.kept.turn()
        found = self.screened(routes[0], for_forecast=for_forecast)
        if len(routes) > 1:
            found = compared(routes, found, self.screened, usual_time)
        return with_relief(found, self._model)

    def screened(self, route: Route, *, for_forecast: bool | None = None) -> RouteScreening:
        """Screen a line as if it had been given alone: the model is looked at near it."""
        own = replace(self._settings, model_found=found_near(self._near, route.points, self.kept))
        self._near.count_anew()
        grounds = self._forecast is not None if for_forecast is None else for_forecast
        return screen_route(route, self._near, own, for_forecast=grounds, kept=self.kept)
