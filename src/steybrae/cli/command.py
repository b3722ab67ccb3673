"""A command as typer is to build it: help by groups, and defaults from the file of settings."""

from __future__ import annotations

from typing import Any

from typer.core import TyperCommand

from steybrae.cli.options.groups import OPTIONS
from steybrae.cli.options.settings_file import forget, found_file, values_for

__all__ = ["GroupedCommand"]


class GroupedCommand(TyperCommand):
    """A command whose options come in groups."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Parse what was typed; what was not typed may stand in the file of settings."""
        spread = getattr(self.callback, "spread", None)
        path = None if spread is None or ctx.resilient_parsing or "--help" in args else found_file()
        forget()
        if spread is not None and path is not None:
            typed, _, _ = self.make_parser(ctx).parse_args(args=list(args))
            ctx.default_map = values_for(ctx, path, spread, typed)
        return super().parse_args(ctx, args)

    def format_options(self, ctx: Any, formatter: Any) -> None:
        """Arguments first, then each group in the order of the command's signature."""
        sections: dict[str, list[tuple[str, str]]] = {}
        for parameter in self.get_params(ctx):
            row = parameter.get_help_record(ctx)
            usual = "Arguments" if parameter.param_type_name == "argument" else OPTIONS
            if row is not None:
                heading = getattr(parameter, "rich_help_panel", None) or usual
                sections.setdefault(heading, []).append(row)
        for heading, rows in sections.items():
            with formatter.section(heading):
                formatter.write_dl(rows)
