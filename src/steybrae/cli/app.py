"""The ``steybrae`` command: registers one file per command, prints errors as one line."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from steybrae.cli import gap, route, spacing
from steybrae.errors import SteybraeError

__all__ = ["app", "main"]

app = typer.Typer(
    name="steybrae",
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    help=(
        "Slope angles from contour spacing on a printed map and from elevation models, for planning "
        "and checking winter routes. It measures and says how well it knows; it decides nothing. "
        "Read the local avalanche forecast."
    ),
)
app.command("gap")(gap.gap)
app.command("spacing")(spacing.spacing)
app.command("route")(route.route)


def _version(value: bool) -> None:
    if value:
        from importlib.metadata import version

        typer.echo(f"steybrae {version('steybrae')}")
        raise typer.Exit


@app.callback()
def _root(
    version: Annotated[
        bool,
        typer.Option("--version", callback=_version, is_eager=True, help="Print the version."),
    ] = False,
) -> None:
    """Measure slope; see the help of each command."""


def main() -> None:
    """Run the command; an error of ours is one line on stderr and exit status 2."""
    try:
        app()
    except SteybraeError as error:
        typer.echo(f"steybrae: {error}", err=True)
        sys.exit(2)
