"""Slope, bands, aspect, curvature and overhead angles of whole rasters, block by block."""
