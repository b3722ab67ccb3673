"""Options in groups: a frozen dataclass each, spread into a command's options; how what was typed is read.

A field is an option: its type, its name, its help, its default and how its text is read, said by
`option` or `flag`. A command names the groups that it takes in its signature and receives one object
of each; what several commands take is said once.
"""

from __future__ import annotations

import datetime as dt
import inspect
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import MISSING, field, fields
from functools import partial, wraps
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, Any, ClassVar, Final, get_type_hints

import typer

from steybrae.frozen import dataclass
from steybrae.quantities import (
    parse_counted,
    parse_ground_length_m,
    parse_paper_length_mm,
    parse_slope_deg,
)

OPTIONS: Final = "Options"
"""Heading in the help of what belongs to no group."""


@dataclass(frozen=True, eq=False)
class Option:
    """What `option` says of a field."""

    name: str
    info: dict[str, Any]
    shown: Any = None
    read: Callable[[Any], Any] | None = None
    typed: Any = str
    kept: str = ""
    beside: tuple[str, ...] = ()
    unless: tuple[str, ...] = ()
    narrows: bool = False
    old: str = ""


@dataclass(frozen=True, eq=False)
class Spread:
    """What a command was spread into: its options by name, and which say nothing without others."""

    options: Mapping[str, Option]
    needs: Mapping[str, Sequence[str]]


def option(
    name: str,
    help_: str,
    metavar: str | None = None,
    *,
    default: Any = None,
    limits: Mapping[str, int] | None = None,
    **said: Any,
) -> Any:
    """Say how a field of a group is typed.

    Parameters
    ----------
    name, help_, metavar
        As written on a command line and in its help.
    default
        Value where it is not given; `dataclasses.MISSING` for an option that must be.
    limits
        ``min`` and ``max`` of a whole number.
    said
        ``read``: from what typer hands over to the value; raises one of our errors. ``typed``: type that
        typer takes, where ``read`` makes another of it. ``shown``: text of the default for the help,
        where there is ``read``. ``kept``: table of the file of settings that may hold it, then ``beside``:
        only beside one of these options, ``unless``: not beside any of these, ``narrows``: whether it
        makes an interval narrower, ``old``: a name that it had before and is still taken by.
    """
    info = {"help": help_, "metavar": metavar, **(limits or {})}
    return field(default=default, metadata={"option": Option(name, info, **said)})


def flag(name: str, help_: str, **said: Any) -> Any:
    """Say that a field is true where its option is given."""
    return option(name, help_, default=False, **said)


class Group:
    """Base of every group of options, each a frozen dataclass whose fields are all options.

    Attributes
    ----------
    panel
        Its heading in the help of a command, given with the class.
    """

    panel: ClassVar[str] = OPTIONS

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


def spread(
    function: Callable[..., None], needs: Mapping[str, Sequence[str]] = MappingProxyType({})
) -> Callable[..., None]:
    """Give a command the options of its groups instead of the groups; typer is to register what is returned.

    Parameters that are annotated with a `Group` are spread, the others stay. `needs` are options
    that say nothing without one of others.
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
    said = [one.metadata["option"] for kind in groups.values() for one in fields(kind)]  # type: ignore[arg-type]
    command.spread = Spread({one.name: one for one in said}, needs)  # type: ignore[attr-defined]
    command.__annotations__ = {parameter.name: parameter.annotation for parameter in flat}
    return command


def _options(kind: type[Group]) -> Iterator[inspect.Parameter]:
    """Each field as typer is to see it."""
    hints = get_type_hints(kind)
    for one in fields(kind):  # type: ignore[arg-type]
        said: Option = one.metadata["option"]
        required = one.default is MISSING
        default = inspect.Parameter.empty if required else one.default
        takes = hints[one.name]
        if said.read is not None:
            takes = said.typed if required else said.typed | None
            default = default if required else said.shown
        info = typer.Option(*filter(None, (said.name, said.old)), rich_help_panel=kind.panel, **said.info)
        yield inspect.Parameter(
            one.name, inspect.Parameter.KEYWORD_ONLY, default=default, annotation=Annotated[takes, info]
        )


def _whole(kind: type[Group], typed: dict[str, Any]) -> Group:
    """One group of what was typed; what was not given keeps the field's default."""
    given = {}
    for one in fields(kind):  # type: ignore[arg-type]
        said, value = one.metadata["option"], typed[one.name]
        if said.read is None:
            given[one.name] = value
        elif value is not None and value != said.shown:
            given[one.name] = said.read(value)
    return kind(**given)


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Ask for the nearest of what there is; empty where nothing is near."""
    from difflib import get_close_matches

    bare = {one.lstrip("-"): one for one in known}
    near = get_close_matches(word.lstrip("-"), bare, 1)
    return f" Did you mean {bare[near[0]]}?" if near else ""


def ground_length(what: str, *, zero: bool = False) -> Callable[[str], float]:
    """Read a length on the ground, metres; `what` begins the error text."""
    return partial(parse_ground_length_m, what=what, zero=zero)


def paper_length(what: str, *, zero: bool = False) -> Callable[[str], float]:
    """Read a length on paper, millimetres."""
    return partial(parse_paper_length_mm, what=what, zero=zero)


def counted(what: str, example: str, *units: str) -> Callable[[str], float]:
    """Read a number, bare or with the one unit that it is in, however that is written."""
    return partial(parse_counted, what=what, example=example, units=units)


def slope_typed(what: str) -> Callable[[str], float]:
    """Read a slope, degrees."""
    return partial(parse_slope_deg, what=what)


def day_typed(text: str) -> dt.date:
    """Read a day: ``2027-01-15``."""
    from steybrae.route.daylight import parse_day

    return parse_day(text)


PICTURE: Final = ("A picture", ".png", ".pdf")
PAGE: Final = ("A page", ".html", ".htm")
REPORT: Final = ("A report", ".html", ".htm")
PHONE: Final = ("A page for a phone", ".html", ".htm")
SHEET: Final = ("A sheet", ".pdf")
TABLE: Final = ("A table", ".csv")
GEOJSON: Final = ("A GeoJSON file", ".geojson", ".json")
GPX: Final = ("A GPX file", ".gpx")
PLAN: Final = ("A plan", ".zip")
"""What a file to write is, for the error text, and the endings that it may have."""


def written(name: str, help_: str, kind: Sequence[str], metavar: str = "FILE", *, default: Any = None) -> Any:
    """Say that a field names a file to write, of a kind that its ending has to tell."""

    def read(path: Path) -> Path:
        from steybrae.files.whole import check_ending

        check_ending(path, *kind)
        return path

    return option(name, help_, metavar, default=default, read=read, typed=Path)
