"""The ``steybrae`` command: registers one file per command, prints errors as one line."""

from __future__ import annotations

import os
import sys
from typing import Annotated, Any, Final, NoReturn

import typer

from steybrae.cli import area, card, gap, ground, reading, route, sheet, spacing
from steybrae.errors import SteybraeError

__all__ = ["app", "main"]

STATUS_INTERRUPTED: Final = 130
"""Exit status after Ctrl-C: 128 and the number of the signal, as shells have it."""

_UsageError: Any = typer.BadParameter.__base__
"""The error of a wrong command line. Which package it comes from changed between versions of typer."""

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
app.command("area")(area.area)
app.command("ground", context_settings=ground.CONTEXT)(ground.ground)
app.command("reading")(reading.reading)
app.command("card")(card.card)
app.add_typer(sheet.app, name="sheet")


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
    """Run the command; an error, ours or of the command line, is one line and exit status 2."""
    try:
        status = app(None if len(sys.argv) > 1 else ["--help"], standalone_mode=False)
        # A reader that closed the pipe is noticed here, not while Python shuts down.
        sys.stdout.flush()
    except SteybraeError as error:
        _stop(str(error), 2)
    except _UsageError as error:
        where = error.ctx.command_path if error.ctx else "steybrae"
        _stop(f"{error.format_message().rstrip('. ')}. See {where} --help.", 2)
    except (KeyboardInterrupt, typer.Abort):
        sys.exit(STATUS_INTERRUPTED)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(1)
    except OSError as error:
        _stop(f"The system refused: {error}. Check the file or folder and try again.", 2)
    sys.exit(status if isinstance(status, int) else 0)


def _stop(message: str, status: int) -> NoReturn:
    # File names and what a library says may hold line breaks; the error is one line all the same.
    typer.echo(f"steybrae: {' '.join(message.split())}", err=True)
    sys.exit(status)
