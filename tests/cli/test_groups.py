"""Options in groups: spread into a command, read, handed back whole."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import pytest
import typer
import typer.main
from tests.cli.conftest import Run

from steybrae.cli import app
from steybrae.cli.options.groups import Group, flag, option, spread


@dataclass(frozen=True)
class Heights(Group, panel="Heights"):
    """Two options."""

    low_m: float = option("--low", "The lower.", "LENGTH", default=2.0, read=float, shown="2")
    metric: bool = flag("--metric", "In metres.")


@dataclass(frozen=True)
class More(Heights):
    """One more, under the same heading."""

    high_m: float | None = option("--high", "The upper.", read=float)


def called(*typed: str) -> dict[str, Any]:
    """Run a command of both kinds of parameter; what it received."""
    seen: dict[str, Any] = {}

    def command(name: str, *, heights: Heights) -> None:
        seen.update(name=name, heights=heights)

    single = typer.Typer(add_completion=False)
    single.command()(spread(command))
    typer.main.get_command(single)(list(typed), standalone_mode=False)
    return seen


@pytest.mark.parametrize(
    ("typed", "heights"),
    [
        (("a",), Heights(2.0, False)),
        (("a", "--low", "7.5"), Heights(7.5, False)),
        (("--metric", "a"), Heights(2.0, True)),
    ],
)
def test_a_group_comes_back_whole(typed: tuple[str, ...], heights: Heights) -> None:
    assert called(*typed) == {"name": "a", "heights": heights}


def test_given_names_what_differs_from_its_default() -> None:
    assert Heights(2.0, True).given() == ["--metric"]
    assert More(2.0, False, 3.0).given() == ["--high"]
    assert More.panel == "Heights"


def commands() -> list[Any]:
    """Every command, those of groups too."""
    root = typer.main.get_command(app.app)
    found = [root.get_command(None, name) for name in app.COMMANDS]
    return [one for command in found for one in [*getattr(command, "commands", {}).values(), command]]


def test_an_option_of_one_group_is_the_same_in_every_command() -> None:
    said: dict[tuple[str, str], set[tuple[Any, ...]]] = {}
    for command in commands():
        for one in command.params:
            panel = getattr(one, "rich_help_panel", None)
            if panel in ("The model", "Start zones", "The forecast", "Beside the line", "The line", "Bands"):
                told = (one.help, one.metavar, one.default, one.required)
                said.setdefault((panel, one.opts[0]), set()).add(told)
    assert len(said) > 20
    assert [name for name, told in said.items() if len(told) > 1] == []


def test_help_lists_options_under_the_headings_of_their_groups(run: Run) -> None:
    _, out, _ = run("route", "--help-all")
    headings = [line for line in out.splitlines() if line.endswith(":") and not line.startswith(" ")]
    assert headings == [
        "Arguments:",
        "The model:",
        "The line:",
        "The map:",
        "Beside the line:",
        "Bands:",
        "Start zones:",
        "The forecast:",
        "The day:",
        "What is printed besides what matters:",
        "Outputs:",
        "Options:",
    ]
    model = out.split("The model:")[1].split("The line:")[0]
    assert "--vertical-error LENGTH" in model
    assert "[default: horn]" in model


def test_the_help_of_a_reading_begins_with_a_plans_check_and_ends_with_its_options(run: Run) -> None:
    _, out, _ = run("reading", "--help")
    headings = [line for line in out.splitlines() if line.endswith(":") and not line.startswith(" ")]
    assert headings[:3] == ["Arguments:", "A saved plan:", "The model:"]
    assert headings[-1] == "Options:"
    assert "--at PLACE" in out.split("The model:")[1].split("The map:")[0]


def test_every_field_of_a_group_is_an_option() -> None:
    def groups(kind: type[Group]) -> list[type[Group]]:
        return [kind, *(more for one in kind.__subclasses__() for more in groups(one))]

    commands()  # loads every file
    found = [kind for kind in groups(Group)[1:] if kind.__module__.startswith("steybrae.")]
    assert len(found) > 20
    for kind in found:
        assert all("option" in one.metadata for one in fields(kind)), kind  # type: ignore[arg-type]


@pytest.mark.parametrize(("command", "takes"), [("desk", "[LINE...]"), ("route", "[ROUTE...]")])
def test_help_says_that_several_lines_are_taken(run: Run, command: str, takes: str) -> None:
    """It said [LINE], and of the desk's port that 0 is the default."""
    out = run(command, "--help-all")[1]
    assert f"steybrae {command} [OPTIONS] {takes}\n" in out
    assert "default: 0;" not in out
