"""Bearings: true, grid and magnetic, and in words."""
