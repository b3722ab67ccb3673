"""The doors to disk; nothing else in the package opens a file."""
