"""Slope from a printed map."""
