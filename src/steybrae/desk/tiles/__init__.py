"""The desk's map, tile by tile."""
