"""A forecast matched against the ground of a line or of a place."""
