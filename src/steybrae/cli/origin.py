"""What a command line leaves behind: the one that repeats it, and its pictures."""

from __future__ import annotations

import shlex
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import fields
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import typer

from steybrae.cli.options.common import AnswerOptions
from steybrae.cli.options.settings_file import taken
from steybrae.names import clean

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from steybrae.screening.origin import RunOrigin


MOST_WORD: Final = 1000
"""Longest word of a command that is kept, characters (our choice)."""


def run_origin(
    ctx: typer.Context, lines: Sequence[Path], bulletin: Path | None = None, *, sample: bool = False
) -> RunOrigin:
    """Say how the screening of this command line can be repeated, and what it reads besides the model."""
    from steybrae.files.model.fingerprints import file_fingerprint
    from steybrae.files.results import sample_route
    from steybrae.screening.origin import FileRead, RunOrigin

    read = [("route", path) for path in lines or ((sample_route(),) if sample else ())]
    read += [("bulletin", bulletin)] if bulletin is not None else []
    return RunOrigin(
        # Its inputs and settings only.
        shlex.join(["steybrae", ctx.info_name or "", *_words(ctx, None)]),
        tuple(FileRead(clean(path.name), what, file_fingerprint(path)) for what, path in read),
        taken(),
    )


def repeating_options(ctx: typer.Context, groups: Sequence[type[Any]]) -> str:
    """Write the options of some groups again, quoted for a shell."""
    names = {field.name for group in groups for field in fields(group)}
    return shlex.join(_words(ctx, names))


def _words(ctx: typer.Context, names: set[str] | None) -> Iterator[str]:
    for parameter in ctx.command.params:
        name = parameter.name or ""
        source = ctx.get_parameter_source(name)
        where_to = getattr(parameter, "rich_help_panel", None) == AnswerOptions.panel
        wanted = not where_to if names is None else name in names
        if source is not None and source.name in ("COMMANDLINE", "DEFAULT_MAP") and wanted:
            yield from (clean(word, MOST_WORD) for word in _typed(parameter, ctx.params[name]))


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


def write_picture(path: Path, figure: Figure, metadata: Mapping[str, str], *, force: bool) -> None:
    """Write a picture whole, its cautions in its metadata."""
    from steybrae.figures.route_figure import figure_bytes
    from steybrae.files.whole import write_bytes

    write_bytes(path, figure_bytes(figure, path.suffix[1:].lower(), metadata), force=force)
