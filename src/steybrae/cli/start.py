"""Where the ``steybrae`` command begins, before anything is imported that takes time."""

from __future__ import annotations

import sys


def main() -> None:
    """Load the command and run it; Ctrl-C while it loads ends it without a word, too."""
    try:
        from steybrae.cli.app import main as run
    except KeyboardInterrupt:
        sys.exit(130)
    run()
