"""The local forecast beside the ground: what a bulletin says, and which ground it names.

``bulletin`` holds what forecasters wrote, ``levels`` the published scale and a published method's
angles, ``choose`` says which of a file's bulletins are for a region and a time and what is wrong
with them, ``named`` which pieces of ground a rating or a problem names. Nothing here opens a
file, and nothing judges: words and numbers stay the forecasters' own.
"""

from __future__ import annotations

from steybrae.forecast.bulletin import AvalancheProblem, Bulletin, DangerRating, Elevation
from steybrae.forecast.choose import Asked, Chosen, Finding, choose

__all__ = [
    "Asked",
    "AvalancheProblem",
    "Bulletin",
    "Chosen",
    "DangerRating",
    "Elevation",
    "Finding",
    "choose",
]
