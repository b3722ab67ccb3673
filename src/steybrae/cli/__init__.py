"""The command line: one file per command, each of which parses, calls and prints."""

from __future__ import annotations

import gc
import sys

# What the imports make lives as long as the process: searching it for garbage again and again costs a
# twentieth of a small command. Arrays are freed by their count of references all the same.
gc.set_threshold(100_000, 50, 50)


def main() -> None:
    """Load the command and run it; Ctrl-C while it loads ends it without a word, too."""
    try:
        from steybrae.cli.app import main as run
    except KeyboardInterrupt:
        sys.exit(130)
    run()
