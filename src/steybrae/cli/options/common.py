"""Groups of options that several commands take; how a command prints, and how it was asked."""

from __future__ import annotations

import shlex
import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import fields, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import typer

from steybrae.bands import BandScheme, parse_edges
from steybrae.cli.options.groups import Group, flag, option
from steybrae.cli.options.settings_file import taken
from steybrae.frozen import dataclass
from steybrae.names import clean

if TYPE_CHECKING:
    from collections.abc import Callable

    from matplotlib.figure import Figure

    from steybrae.document import Document
    from steybrae.screening.origin import RunOrigin


@dataclass(frozen=True)
class BandOptions(Group, panel="Bands"):
    """Angle bands."""

    bands: BandScheme = option(
        "--edges",
        "Band edges in degrees, like 25,30,35,40,45,55.",
        "DEG,DEG",
        default=BandScheme(),
        read=parse_edges,
        kept="bands",
    )


@dataclass(frozen=True)
class AnswerOptions(Group, panel="Outputs"):
    """How the answer is given."""

    as_json: bool = flag("--json", "Print the answer as JSON (SI units, unrounded).")

    def show(self, command: str, result: Any, document: Callable[[Any], Document]) -> None:
        """Print a result: as its document, or by the JSON contract."""
        if self.as_json:
            _print_json(command, result)
            return
        from steybrae.document import Paragraph
        from steybrae.render.terminal import print_document

        told = document(result)
        if files := self.written():
            words = f"Written: {', '.join(map(str, files))}."
            said = (Paragraph(""), Paragraph(words), *map(Paragraph, _not_drawn(command, result, files)))
            told = replace(told, blocks=(*told.blocks, *said))
        print_document(told)

    def written(self) -> list[Path]:
        """Files that the command writes besides."""
        return []


@dataclass(frozen=True)
class OutputOptions(AnswerOptions):
    """How the answer is given, and where it goes."""

    force: bool = flag("--force", "Replace output files that exist.")

    def check(self, *inputs: Path | None) -> None:
        """Refuse at once an output that is an input, exists or cannot be written."""
        from steybrae.files.whole import check_outputs

        check_outputs(self.written(), [path for path in inputs if path is not None], force=self.force)

    def written(self) -> list[Path]:
        """Files of its options, that of the cautions of a table among them."""
        outputs = {field.name: getattr(self, field.name) for field in fields(self)}
        paths = [path for path in outputs.values() if isinstance(path, Path)]
        if outputs.get("csv") is not None:
            from steybrae.answers.points import cautions_path

            paths.append(cautions_path(outputs["csv"]))
        return paths


def _not_drawn(command: str, result: Any, files: list[Path]) -> list[str]:
    """Say which letters of names the font of pictures and sheets cannot write, where one was made."""
    if not any(path.suffix.lower() in {".pdf", ".png"} for path in files):
        return []
    from steybrae.files.results import json_text

    text = json_text(command, result, taken())
    if max(text) < _FIRST_NOT_SURE:
        return []
    from steybrae.figures.style import not_drawn

    lost = " ".join(not_drawn(text))
    words = f"Letters that PDF and PNG show as boxes or out of order: {lost}. Pages (HTML) show them."
    return [words] if lost else []


_FIRST_NOT_SURE: Final = "\u0530"
"""Letters before it, Latin, Greek and Cyrillic, are in the font (by looking; save rare signs)."""


def _print_json(command: str, result: Any) -> None:
    from steybrae.files.results import json_text

    text = json_text(command, result, taken())
    try:
        text.encode(sys.stdout.encoding or "utf-8")
    except UnicodeEncodeError:
        import json
        import re

        # The terminal lacks a letter; JSON has another way to write it.
        text = re.sub(r"[^\0-\x7f]", lambda found: json.dumps(found[0])[1:-1], text)
    typer.echo(text)


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
