"""Places that matter on a line."""
