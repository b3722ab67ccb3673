"""The route card: what is written down before the day, carried, and walked by.

``result`` holds what a card says, ``settings`` what its user chose, ``make`` makes it from a
screening or for one leg without a model, ``checks``, ``times`` and ``forecast`` make its parts,
``wording`` and ``sentences`` say them as every card does.
"""

from __future__ import annotations

from steybrae.card.make import card_between, make_card
from steybrae.card.result import RouteCard
from steybrae.card.settings import CardSettings

__all__ = ["CardSettings", "RouteCard", "card_between", "make_card"]
