"""Slope, bands, aspect and curvature of whole rasters, block by block."""
