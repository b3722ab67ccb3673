"""Options in groups: a frozen dataclass each, spread into a command's options and handed back whole.

A field is an option: its type, its name, its help, its default and how its text is read, said by
`option` or `flag`. A command names the groups that it takes in its signature and receives one object
of each; what several commands take is said once.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable, Iterator
from dataclasses import MISSING, dataclass, field, fields
from functools import wraps
from typing import Annotated, Any, ClassVar, Final, get_type_hints

import typer
from typer.core import TyperCommand

__all__ = ["Group", "GroupedCommand", "flag", "option", "spread"]

_OPTIONS: Final = "Options"
"""Heading in the help of what belongs to no group."""


@dataclass(frozen=True)
class _Option:
    """What typer shows of a field, what it hands over, and how that becomes the field's value."""

    name: str
    shown: dict[str, Any]
    default: Any
    read: Callable[[Any], Any] | None
    typed: Any


def option(
    name: str,
    help_: str,
    metavar: str | None = None,
    *,
    default: Any = None,
    read: Callable[[Any], Any] | None = None,
    typed: Any = str,
    shown: Any = None,
    **more: Any,
) -> Any:
    """Say how a field of a group is typed.

    Parameters
    ----------
    name, help_, metavar
        As written on a command line and in its help.
    default
        Value where it is not given; `dataclasses.MISSING` for an option that must be.
    read
        From what typer hands over to the value; raises one of our errors. None takes it as it is.
    typed
        Type that typer takes, where `read` makes another of it.
    shown
        Text of `default` for the help, where `read` makes another of it.
    more
        Else for ``typer.Option``.

    Returns
    -------
    dataclasses.Field
    """
    said = _Option(name, {"help": help_, "metavar": metavar, **more}, shown, read, typed)
    return field(default=default, metadata={"option": said})


def flag(name: str, help_: str) -> Any:
    """Say that a field is true where its option is given."""
    return option(name, help_, default=False)


class Group:
    """Base of every group of options, each a frozen dataclass whose fields are all options.

    Attributes
    ----------
    panel
        Its heading in the help of a command, given with the class.
    """

    panel: ClassVar[str] = _OPTIONS

    def __init_subclass__(cls, panel: str = "") -> None:
        """Keep the heading; a group that adds to another keeps the other's."""
        cls.panel = panel or cls.panel

    def given(self) -> list[str]:
        """Options that are not at their default, as they are written."""
        return [
            one.metadata["option"].name
            for one in fields(self)  # type: ignore[arg-type]
            if getattr(self, one.name) != one.default
        ]


def spread(function: Callable[..., None]) -> Callable[..., None]:
    """Give a command the options of its groups instead of the groups.

    Parameters
    ----------
    function
        A command. Its parameters that are annotated with a `Group` are spread, the others stay.

    Returns
    -------
    callable
        What typer is to register.
    """
    hints = get_type_hints(function, include_extras=True)
    hints.pop("return", None)
    groups = {name: kind for name, kind in hints.items() if inspect.isclass(kind) and issubclass(kind, Group)}
    flat: list[inspect.Parameter] = []
    for name, parameter in inspect.signature(function).parameters.items():
        single = parameter.replace(annotation=hints[name], kind=inspect.Parameter.KEYWORD_ONLY)
        flat += _options(groups[name]) if name in groups else [single]

    @wraps(function)
    def command(**typed: Any) -> None:
        whole = {name: _whole(kind, typed) for name, kind in groups.items()}
        function(**{name: whole[name] if name in whole else typed[name] for name in hints})

    command.__signature__ = inspect.Signature(flat)  # type: ignore[attr-defined]
    command.__annotations__ = {parameter.name: parameter.annotation for parameter in flat}
    return command


def _options(kind: type[Group]) -> Iterator[inspect.Parameter]:
    """Each field as typer is to see it."""
    hints = get_type_hints(kind)
    for one in fields(kind):  # type: ignore[arg-type]
        said: _Option = one.metadata["option"]
        required = one.default is MISSING
        default = inspect.Parameter.empty if required else one.default
        takes = hints[one.name]
        if said.read is not None:
            takes = said.typed if required else said.typed | None
            # A default that the help shows is read like any other text.
            default = default if required else said.default
        info = typer.Option(said.name, rich_help_panel=kind.panel, **said.shown)
        yield inspect.Parameter(
            one.name, inspect.Parameter.KEYWORD_ONLY, default=default, annotation=Annotated[takes, info]
        )


def _whole(kind: type[Group], typed: dict[str, Any]) -> Group:
    """One group of what was typed; what was not given keeps the field's default."""
    given = {}
    for one in fields(kind):  # type: ignore[arg-type]
        read, value = one.metadata["option"].read, typed[one.name]
        if read is None:
            given[one.name] = value
        elif value is not None:
            given[one.name] = read(value)
    return kind(**given)


class GroupedCommand(TyperCommand):
    """A command whose help lists its options under the headings of their groups."""

    def format_options(self, ctx: Any, formatter: Any) -> None:
        """Arguments first, then each group in the order of the command's signature."""
        sections: dict[str, list[tuple[str, str]]] = {}
        for parameter in self.get_params(ctx):
            row = parameter.get_help_record(ctx)
            usual = "Arguments" if parameter.param_type_name == "argument" else _OPTIONS
            if row is not None:
                heading = getattr(parameter, "rich_help_panel", None) or usual
                sections.setdefault(heading, []).append(row)
        for heading, rows in sections.items():
            with formatter.section(heading):
                formatter.write_dl(rows)
