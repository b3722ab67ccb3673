"""The files of a run over a whole raster: tiles, legend, moves that are finished."""
