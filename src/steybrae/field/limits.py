"""How far one reading errs, and how near it has to come to tell anything.

They stand alone: a line is screened by them, and loads nothing else of the readings.
"""

from __future__ import annotations

from typing import Final

READING_ERROR_95_DEG: Final = 4.0
"""Expanded (95 %) error of one reading, degrees. McCammon (2023), Proc. Int. Snow Science
Workshop, pp. 1141-1148: current inclinometers measure slope to about +-4 degrees under
ideal conditions; reading that figure as a 95 % one is our choice."""

BAND_WIDTH_DEG: Final = 5.0
"""Width of a band where slabs start, 30 to 45 degrees (the default edges)."""
