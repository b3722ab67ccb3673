"""The command line: one file per command, each of which parses, calls and prints."""
