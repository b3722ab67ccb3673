"""The ``steybrae`` command: one file per command, help by groups, an error as one line."""

from __future__ import annotations

import atexit
import gc
import os
import signal
import sys
from importlib import import_module
from pathlib import Path
from typing import Annotated, Any, Final, NoReturn

import typer
from typer.core import TyperCommand, TyperGroup, TyperOption
from typer.main import get_command

from steybrae import __version__
from steybrae.cli.options.groups import OPTIONS, did_you_mean, spread
from steybrae.cli.options.settings_file import forget, found_file, values_for
from steybrae.errors import SteybraeError
from steybrae.files.model.offline import own_environment
from steybrae.names import clean

COMMANDS: Final = {
    "gap": "This gap on this map: how steep?",
    "spacing": "This steepness on this map: what gap?",
    "route": "Where on a planned line, beside it and above it, is it steep?",
    "ground": "What is the ground like here, within my position error?",
    "model": "What is this elevation model, and how far can it be trusted for this?",
    "reading": "Does my inclinometer agree with the map and the model?",
    "card": "The route card to carry.",
    "report": "One page of a saved plan to read, share and print.",
    "desk": "Draw and move a line on the relief, and see what it meets.",
    "area": "Slope and bands of a whole elevation model.",
    "sheet": "True-size teaching sheets, and a page to play with.",
}
"""Every command, and the question that it answers. Each lives in the file of its name, as a
function of its name or, for a group, as ``app``."""

FIRST_WORDS: Final = """\
How steep is this gap on my map?
    steybrae gap --scale 1:25000 --interval 10m --gap 2.5mm

Where on a planned line, beside it and above it, is it steep?
    steybrae route --sample

What is the ground like here, within my position error?
    steybrae ground 59.2240 -8.0574 --within 20m --sample

steybrae --help lists all commands, steybrae route --help the options of one.
It measures and says how well it knows; it decides nothing. Read the local avalanche forecast."""
"""What a beginner is told who typed no more than the name."""

STATUS_INTERRUPTED: Final = 130
"""Exit status after Ctrl-C: 128 and the number of the signal, as shells have it."""

MOST_ERROR: Final = 4000
"""Longest error, characters (our choice)."""

_UsageError: Any = typer.BadParameter.__base__
"""The error of a wrong command line. Which package it comes from changed between versions of typer."""


class _Commands(TyperGroup):
    """The commands, each loaded and built only when it is called.

    Building the options of all of them would take longer than ``steybrae gap`` does.
    """

    def list_commands(self, ctx: Any) -> list[str]:
        """Names, in the order in which they are listed."""
        return list(COMMANDS)

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        """One command, or None where there is none of that name."""
        if cmd_name not in COMMANDS:
            return None
        module = import_module(f"steybrae.cli.{cmd_name}")
        group = getattr(module, "app", None)
        if group is not None:
            return get_command(group)
        single = typer.Typer(add_completion=False, rich_markup_mode=None)
        settings = getattr(module, "CONTEXT", None)
        single.command(cmd_name, cls=GroupedCommand, context_settings=settings)(
            spread(getattr(module, cmd_name), getattr(module, "NEEDS", {}))
        )
        return get_command(single)

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        """Find the command; a near miss is answered with the near one."""
        if args[0] not in COMMANDS and not args[0].startswith("-"):
            ctx.fail(f"No such command {args[0]!r}.{did_you_mean(args[0], COMMANDS)}")
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """List them with their questions, without loading any."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


app = typer.Typer(
    name="steybrae",
    cls=_Commands,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,  # the decorated help alone would take as long as the rest
    help=(
        "Slope angles from contour spacing on a printed map and from elevation models, for planning "
        "and checking winter routes. It measures and says how well it knows; it decides nothing. "
        "Read the local avalanche forecast. What is always the same, such as your map's scale, may stand in "
        "steybrae.toml; see the README."
    ),
)


def _version(value: bool) -> None:
    if value:
        typer.echo(f"steybrae {__version__}")
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
    # What is left when Python ends is freed with the process: looking through it took a fifth of "gap".
    atexit.register(gc.freeze)
    # No matrix here is large enough for several threads, which numpy would start where it is loaded.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    own_environment()
    _ready_streams()
    _clean_up_when_stopped()
    try:
        if len(sys.argv) == 1 and "_STEYBRAE_COMPLETE" not in os.environ:
            typer.echo(FIRST_WORDS)
            sys.exit(0)
        status = app(prog_name="steybrae", standalone_mode=False)
        # A reader that closed the pipe is noticed here, not while Python shuts down.
        sys.stdout.flush()
    except SteybraeError as error:
        _stop(str(error))
    except _UsageError as error:
        if type(error).__name__ == "NoArgsIsHelpError" and error.ctx is not None:
            typer.echo(error.ctx.get_help())  # a group called without a command
            sys.exit(0)
        words = _usage_words(error).rstrip(". ")
        where = error.ctx.command_path if error.ctx else "steybrae"
        _stop(f"{words}{'' if words.endswith('?') else '.'} See {where} --help.")
    except (KeyboardInterrupt, typer.Abort):
        sys.exit(STATUS_INTERRUPTED)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(1)
    except OSError as error:
        _stop(f"The system refused: {error}. Check the file or folder and try again.")
    sys.exit(status if isinstance(status, int) else 0)


def _usage_words(error: Any) -> str:
    """Say what is wrong with a command line; a near miss of an option is answered with the near one."""
    name, missing = getattr(error, "option_name", None), getattr(error, "param", None)
    if type(error).__name__ == "MissingParameter" and missing is not None:
        written = missing.opts[0] if missing.param_type_name == "option" else ""
        value = missing.metavar or missing.name.upper()
        return f"{written or value} is needed; got none. Add {' '.join(filter(None, (written, value)))}."
    if type(error).__name__ != "NoSuchOption" or name is None or error.ctx is None:
        return str(error.format_message())
    if name[1:2].isdecimal():
        return f"A value should have no sign; got one that begins with {name!r}. Leave the sign out."
    known = [one for parameter in error.ctx.command.params for one in parameter.opts if one.startswith("--")]
    return f"No such option: {name}.{did_you_mean(name, known)}"


def _ready_streams() -> None:
    """Let printing never fail for a letter that the terminal lacks, or for a stream that was closed."""
    for number, name in enumerate(("stdin", "stdout", "stderr")):
        try:
            os.fstat(number)
        except OSError:
            # Otherwise the next file to be opened, an output perhaps, would take its number.
            os.open(os.devnull, os.O_RDWR)
        stream: Any = getattr(sys, name)
        if stream is None:
            mode = "r" if number == 0 else "w"
            setattr(sys, name, Path(os.devnull).open(mode, encoding="utf-8"))  # noqa: SIM115  for good
        elif number and hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")


def _clean_up_when_stopped() -> None:
    """Let what is half written be taken away when the system ends the process or its terminal goes."""

    def leave(number: int, _frame: object) -> NoReturn:
        # Once is enough: a second signal would end the cleaning.
        signal.signal(number, signal.SIG_IGN)
        sys.exit(128 + number)

    for name in ("SIGTERM", "SIGHUP"):
        number = getattr(signal, name, None)
        # What nohup ignores stays so.
        if number is not None and signal.getsignal(number) is signal.SIG_DFL:
            signal.signal(number, leave)


def _stop(message: str) -> NoReturn:
    # File names and what a library says may hold anything; the error is one harmless line all the same.
    typer.echo(f"steybrae: {clean(message, MOST_ERROR)}", err=True)
    sys.exit(2)


FIRST: Final = {
    "route": (
        *("--dem", "--sample", "--model-kind", "--bulletin", "--region", "--legs", "--all"),
        *("--json", "--force", "--figure", "--report", "--save"),
    ),
    "ground": (
        *("--dem", "--sample", "--model-kind", "--within", "--places", "--bulletin", "--region"),
        *("--json", "--force", "--figure"),
    ),
    "reading": (
        *("--scale", "--interval", "--gap", "--dem", "--at", "--plan", "--check", "--log", "--review"),
        "--json",
    ),
    "card": (
        *("--date", "--start", "--zone", "--grid", "--scale", "--dem", "--sample"),
        *("--all", "--json", "--force", "--pdf", "--report", "--gpx", "--phone"),
    ),
    "desk": (
        *("--dem", "--sample", "--plan", "--model-kind", "--bulletin", "--interval", "--grid"),
        *("--port", "--no-browser"),
    ),
    "area": (
        *("--out", "--dem", "--sample", "--model-kind", "--bands", "--slope", "--overhead"),
        *("--resume", "--json", "--force", "--figure"),
    ),
    "report": (
        *("--date", "--start", "--zone", "--down-by", "--party", "--call", "--overdue"),
        *("--bulletin", "--region", "--out", "--force"),
    ),
}
"""Options on the first screen of a command's help (our choice), so that it has 40 lines at most; all
others come with --help-all. Commands that are not named here show all."""


class GroupedCommand(TyperCommand):
    """A command whose options come in groups."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Parse what was typed; what was not typed may stand in the file of settings."""
        spread = getattr(self.callback, "spread", None)
        helped = {"--help", "--help-all"} & set(args)
        forget()
        if spread is None or ctx.resilient_parsing or helped:
            return super().parse_args(ctx, args)
        typed, _, order = self.make_parser(ctx).parse_args(args=list(args))
        for one in self.params:
            if order.count(one) > 1 and not one.multiple and not getattr(one, "is_flag", False):
                what = f"one {'file' if one.metavar == 'FILE' else 'value'}; got {order.count(one)}"
                ctx.fail(f"{one.opts[0]} takes {what}. Give the one that is meant.")
        path = found_file()
        if path is not None:
            ctx.default_map = values_for(ctx, path, spread, typed)
        return super().parse_args(ctx, args)

    def get_params(self, ctx: Any) -> list[Any]:
        """Return its parameters, and the option that shows all of them."""
        return [*super().get_params(ctx), _whole_help(hidden=not self._left_out())]

    def _left_out(self) -> list[Any]:
        """Options that the first screen leaves out."""
        first = FIRST.get(str(self.name))
        options = [one for one in self.params if one.param_type_name == "option"]
        return [] if first is None else [one for one in options if not {*first, "--help"} & {*one.opts}]

    def format_options(self, ctx: Any, formatter: Any) -> None:
        """Arguments first, then each group in the order of the command's signature."""
        sections: dict[str, list[tuple[str, str]]] = {}
        left_out = [] if ctx.meta.get(_WHOLE) else self._left_out()
        for parameter in self.get_params(ctx):
            row = None if parameter in left_out else parameter.get_help_record(ctx)
            usual = "Arguments" if parameter.param_type_name == "argument" else OPTIONS
            if row is not None:
                heading = getattr(parameter, "rich_help_panel", None) or usual
                sections.setdefault(heading, []).append(row)
        for heading, rows in sections.items():
            with formatter.section(heading):
                formatter.write_dl(rows)
        if left_out:
            formatter.write_paragraph()
            formatter.write_text(f"{ctx.command_path} --help-all shows {len(left_out)} more options.")


class GroupOfCommands(TyperGroup):
    """A command that has commands: it takes ``--help-all`` as the others do."""

    def get_params(self, ctx: Any) -> list[Any]:
        """Return its parameters, and the option that each command has."""
        return [*super().get_params(ctx), _whole_help(hidden=True)]


def _whole_help(hidden: bool) -> Any:
    return TyperOption(
        param_decls=["--help-all"],
        is_flag=True,
        is_eager=True,
        expose_value=False,
        hidden=hidden,
        callback=_show_all,
        help="Show every option and exit.",
    )


_WHOLE: Final = "steybrae.help_all"


def _show_all(ctx: Any, _option: Any, value: bool) -> None:
    if value and not ctx.resilient_parsing:
        ctx.meta[_WHOLE] = True
        print(ctx.get_help())
        ctx.exit()
