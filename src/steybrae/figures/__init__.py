"""Pictures of results: a line, a place, a whole raster, a comparison, a forecast."""
