"""Elevation models from files: the one way in for heights."""
