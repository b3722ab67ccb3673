"""The planned line: places, legs, bearings, times."""
