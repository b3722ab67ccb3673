"""A planned line screened on an elevation model: one frozen result that every output shows.

``result`` holds what a screening says, ``leg`` makes it for one leg, ``screen`` for the route.
"""

from __future__ import annotations

from steybrae.screening.result import RouteScreening
from steybrae.screening.screen import ModelOrigin, Settings, cross_check_route, screen_route

__all__ = ["ModelOrigin", "RouteScreening", "Settings", "cross_check_route", "screen_route"]
