"""The command line: one file per command, each of which parses, calls and prints."""

from __future__ import annotations

import gc

# What the imports make lives as long as the process: searching it for garbage again and again costs a
# twentieth of a small command. Arrays are freed by their count of references all the same.
gc.set_threshold(100_000, 50, 50)
