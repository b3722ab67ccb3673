"""Slope and avalanche-terrain angles from contour spacing and elevation models."""
