"""Options in groups, how they are typed, and their defaults from a file."""
