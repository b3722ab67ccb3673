"""A command as typer is to build it: help by groups, and defaults from the file of settings."""

from __future__ import annotations

from typing import Any, Final

from typer.core import TyperCommand, TyperOption

from steybrae.cli.options.groups import OPTIONS
from steybrae.cli.options.settings_file import forget, found_file, values_for

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
        *("--json", "--force", "--pdf", "--report", "--gpx", "--phone"),
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
        path = None if spread is None or ctx.resilient_parsing or helped else found_file()
        forget()
        if spread is not None and path is not None:
            typed, _, _ = self.make_parser(ctx).parse_args(args=list(args))
            ctx.default_map = values_for(ctx, path, spread, typed)
        return super().parse_args(ctx, args)

    def get_params(self, ctx: Any) -> list[Any]:
        """Return its parameters, and the option that shows all of them."""
        whole = TyperOption(
            param_decls=["--help-all"],
            is_flag=True,
            is_eager=True,
            expose_value=False,
            hidden=not self._left_out(),
            callback=_show_all,
            help="Show every option and exit.",
        )
        return [*super().get_params(ctx), whole]

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


_WHOLE: Final = "steybrae.help_all"


def _show_all(ctx: Any, _option: Any, value: bool) -> None:
    if value and not ctx.resilient_parsing:
        ctx.meta[_WHOLE] = True
        print(ctx.get_help())
        ctx.exit()
