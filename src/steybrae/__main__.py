"""``python -m steybrae``: the command."""

from steybrae.cli.app import main

main()
