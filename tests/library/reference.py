"""The README's page on the library, made from signatures and docstrings.

``python -m tests.library.reference`` writes it anew; a test holds it.
"""

from __future__ import annotations

import inspect
import re
from pathlib import Path
from typing import Any

import steybrae
from steybrae.library.forecast import BulletinHow
from steybrae.library.given import How

README = Path(__file__).resolve().parents[2] / "README.md"
HEADING = "### What there is\n"


def summary(thing: Any) -> str:
    """First paragraph of a docstring, as Markdown."""
    first = (inspect.getdoc(thing) or "").split("\n\n")[0]
    return " ".join(first.replace("``", "`").split())


def call(name: str, function: Any) -> str:
    names = []
    for parameter in inspect.signature(function).parameters.values():
        starred = parameter.kind is parameter.VAR_KEYWORD
        shown = f"**{parameter.name}" if starred else parameter.name
        optional = parameter.default is not parameter.empty
        names.append(f"{shown}=" if optional and not starred else shown)
    return f"`{name}({', '.join(names)})`"


def members(kind: type) -> str:
    """Methods and properties of its own and of every answer."""
    own = [
        f"`.{name}`" if isinstance(member, property) else f"`.{name}()`"
        for name, member in vars(kind).items()
        if not name.startswith("_") and (callable(member) or isinstance(member, (property, classmethod)))
    ]
    return f" {' '.join(own)}" if own else ""


def how_rows() -> list[str]:
    """Keywords that several functions take, with what each says."""
    text = "\n".join((inspect.getdoc(kind) or "").split("----------\n")[1] for kind in (How, BulletinHow))
    pairs = re.findall(r"^(\S.*)\n((?:    .*\n?)+)", text, re.MULTILINE)
    return [
        f"| {', '.join(f'`{name.strip()}`' for name in names.split(','))} | {' '.join(words.split())} |"
        for names, words in pairs
    ]


def page() -> str:
    things = {name: getattr(steybrae, name) for name in steybrae.__all__}
    functions = {name: thing for name, thing in things.items() if inspect.isfunction(thing)}
    kinds = {name: thing for name, thing in things.items() if inspect.isclass(thing)}
    rows = [f"| {call(name, function)} | {summary(function)} |" for name, function in functions.items()]
    lines = [HEADING, "| call | what it does |", "|---|---|", *rows]
    lines += [
        "",
        "| `**how` | what it says |",
        "|---|---|",
        *how_rows(),
        "",
        "| class | what it is |",
        "|---|---|",
    ]
    lines += [f"| `{name}` | {summary(kind)}{members(kind)} |" for name, kind in kinds.items()]
    return "\n".join(lines) + "\n"


def in_readme(text: str) -> str:
    """The page as it stands in the README."""
    start = text.index(HEADING)
    return text[start : text.index("\n#", start + len(HEADING)) + 1].rstrip("\n") + "\n"


if __name__ == "__main__":
    whole = README.read_text("utf-8")
    README.write_text(whole.replace(in_readme(whole), page()), "utf-8")
