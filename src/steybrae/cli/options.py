"""Options that several commands share, and how a command prints."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from rich.console import Console

    from steybrae.cautions import Caution

__all__ = [
    "Correlation",
    "DemFiles",
    "Edges",
    "EngineName",
    "Force",
    "Interval",
    "Json",
    "Method",
    "Reach",
    "Scale",
    "StartArea",
    "StartSlopes",
    "VerticalError",
    "ZUnit",
    "console",
    "print_cautions",
    "print_json",
]

Scale = Annotated[str, typer.Option("--scale", help="Map scale, like 1:25000.", metavar="1:N")]
Interval = Annotated[
    str,
    typer.Option(
        "--interval", help="Contour interval printed on the map, like 10m or 40ft.", metavar="LENGTH"
    ),
]
Json = Annotated[bool, typer.Option("--json", help="Print the answer as JSON (SI units, unrounded).")]
Edges = Annotated[
    str | None,
    typer.Option("--edges", help="Band edges in degrees, like 25,30,35,40,45,55.", metavar="DEG,DEG"),
]
Force = Annotated[bool, typer.Option("--force", help="Replace output files that exist.")]
DemFiles = Annotated[
    list[Path] | None,
    typer.Option("--dem", help="Elevation model; repeat for tiles that act as one.", metavar="FILE"),
]
Method = Annotated[str, typer.Option("--method", help="Slope method: horn, zevenbergen-thorne or evans.")]
EngineName = Annotated[
    str, typer.Option("--engine", help="Who computes slopes: own, or richdem (optional package).")
]
ZUnit = Annotated[
    str | None, typer.Option("--z-unit", help="Unit of the model's heights: m, ft or usft.", metavar="UNIT")
]
VerticalError = Annotated[
    str | None,
    typer.Option(
        "--vertical-error",
        help="Standard deviation of the model's heights, like 1m; widens the 95 % interval.",
        metavar="LENGTH",
    ),
]
Correlation = Annotated[
    str | None,
    typer.Option(
        "--correlation",
        help="Correlation length of that error, like 100m; the worst is taken if not given.",
        metavar="LENGTH",
    ),
]

StartSlopes = Annotated[
    str | None,
    typer.Option(
        "--start-slopes",
        help="Slopes of a start zone, like 30-55deg (usual); the model's uncertainty comes off the lower.",
        metavar="DEG-DEG",
    ),
]
StartArea = Annotated[
    str | None,
    typer.Option("--start-area", help="Least area of a start zone, like 400m2 (usual).", metavar="AREA"),
]
Reach = Annotated[
    str | None,
    typer.Option(
        "--reach", help="How far to look for start zones overhead, like 3km (usual).", metavar="LENGTH"
    ),
]


def console() -> Console:
    """Terminal for tables and text; plain and 120 wide where it is not a terminal."""
    from rich.console import Console

    plain = Console(highlight=False, soft_wrap=False)
    return plain if plain.is_terminal else Console(highlight=False, width=120)


def print_json(command: str, result: Any) -> None:
    """Print a result by the JSON contract."""
    from steybrae.files.results import json_text

    typer.echo(json_text(command, result))


def print_cautions(cautions: tuple[Caution, ...], to: Console) -> None:
    """Print every caution, one a paragraph, under its own heading."""
    to.print()
    to.print("Cautions", style="bold")
    for caution in cautions:
        to.print(f"  - {caution.text}", markup=False)
