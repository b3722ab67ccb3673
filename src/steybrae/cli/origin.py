"""From a command line to the one that repeats it."""

from __future__ import annotations

import shlex
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import typer

from steybrae.cli.options.common import AnswerOptions
from steybrae.cli.options.settings_file import taken
from steybrae.names import clean

if TYPE_CHECKING:
    from steybrae.screening.origin import RunOrigin

MOST_WORD: Final = 1000
"""Longest word of a command that is kept, characters (our choice)."""


def run_origin(
    ctx: typer.Context, lines: Sequence[Path], bulletin: Path | None = None, *, sample: bool = False
) -> RunOrigin:
    """Say how the screening of this command line can be repeated.

    Parameters
    ----------
    ctx
        Of the running command.
    lines, bulletin, sample
        What it reads besides the model.

    Raises
    ------
    FileReadError
        One of them could not be read.
    """
    from steybrae.files.model.fingerprints import file_fingerprint
    from steybrae.files.sample import sample_route
    from steybrae.screening.origin import FileRead, RunOrigin

    read = [("route", path) for path in lines or ((sample_route(),) if sample else ())]
    read += [("bulletin", bulletin)] if bulletin is not None else []
    return RunOrigin(
        repeating_command(ctx),
        tuple(FileRead(clean(path.name), what, file_fingerprint(path)) for what, path in read),
        taken(),
    )


def repeating_command(ctx: typer.Context) -> str:
    """Write the command line again, its inputs and settings only, quoted for a shell."""
    words = ["steybrae", ctx.info_name or ""]
    for parameter in ctx.command.params:
        source = ctx.get_parameter_source(parameter.name or "")
        where_to = getattr(parameter, "rich_help_panel", None) == AnswerOptions.panel
        if source is not None and source.name in ("COMMANDLINE", "DEFAULT_MAP") and not where_to:
            words += _typed(parameter, ctx.params[parameter.name or ""])
    return shlex.join(clean(word, MOST_WORD) for word in words)


def _typed(parameter: Any, value: Any) -> Iterator[str]:
    values = value if isinstance(value, (list, tuple)) else [value]
    for one in values:
        if parameter.param_type_name == "option":
            yield parameter.opts[0]
        if one is not True:
            yield _word(one)


def _word(value: Any) -> str:
    """Give a value as typed; of a file named by its place on the whole disk only the name."""
    text = str(value)
    return Path(text).name if Path(text).is_absolute() else text
