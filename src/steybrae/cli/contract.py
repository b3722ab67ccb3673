"""The JSON contract, written from the types of the results: ``python -m steybrae.cli.contract``.

A field's annotation gives its type, its range (`steybrae.ranges`) and its words (`Literal`), the
class's docstring its description. ``files/contract.schema.json`` is what this prints, kept for
those who read it without the package; a test holds the two equal.
"""

from __future__ import annotations

import dataclasses
import importlib
import inspect
import json
import re
import types
import typing
from collections.abc import Mapping, Sequence
from typing import Any, Final

from steybrae.files.results import SCHEMA
from steybrae.ranges import Range, Words
from steybrae.screening.origin import SettingsFile
from steybrae.value import AT_LEAST

ANSWERS: Final = {
    "gap": "steybrae.paper.spacing.GapResult",
    "spacing": "steybrae.paper.spacing.SpacingChart",
    "route": "steybrae.screening.result.RouteScreening",
    "route lines": "steybrae.screening.compared.RouteLines",
    "ground": "steybrae.screening.ground.result.GroundAt",
    "ground places": "steybrae.screening.ground.result.GroundPlaces",
    "model": "steybrae.screening.model.result.ModelExamined",
    "reading": "steybrae.field.agreement.ReadingResult",
    "reading review": "steybrae.field.review.Review",
    "card": "steybrae.card.result.RouteCard",
    "area": "steybrae.raster.result.AreaResult",
}
"""What each command answers with ``--json``: the class whose fields are the keys."""

ABOUT: Final = (
    "What each command prints with --json. SI units stand in the names: _deg degrees, _m metres, "
    "_mm millimetres on paper, _percent, _min minutes. Numbers are unrounded; null is unknown, never zero "
    "and never gentle. Directions are clockwise from the north that their name says. A band is open above "
    f"where open_above is true: read every steepness as '{AT_LEAST}'."
)

UNITS: Final = {
    "_deg": "degrees",
    "_m": "metres",
    "_mm": "millimetres",
    "_percent": "percent",
    "_min": "minutes",
}
NAMES_OF_JSON: Final = {str: "string", bool: "boolean", int: "integer", float: "number", type(None): "null"}

Schema = dict[str, Any]


def contract() -> Schema:
    """JSON Schema (draft 2020-12) of every answer.

    One definition for each command, named after it, and one for each class in its answer, named
    after the class. Objects are closed and every key is required.
    """
    found: dict[str, Schema] = {}
    for command, path in ANSWERS.items():
        module, _, name = path.rpartition(".")
        add_definition(found, command, getattr(importlib.import_module(module), name))
    commands = {name: found.pop(name) for name in ANSWERS}
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": "urn:steybrae:contract:1",
        "title": "Answers of steybrae as JSON",
        "description": ABOUT,
        "oneOf": [_refer(name) for name in ANSWERS],
        "$defs": {**commands, **dict(sorted(found.items()))},
    }


def contract_text() -> str:
    """`contract` as it is stored, ending in a line feed."""
    return json.dumps(contract(), indent=1, ensure_ascii=False) + "\n"


def add_definition(found: dict[str, Schema], name: str, kind: type) -> None:
    """Add the definition of a frozen dataclass, under a name, and those of the classes in it, in place.

    A `KeyError` tells that a field has a type that JSON has not.
    """
    if name in found:
        return
    properties: Schema = {}
    if name in ANSWERS:
        properties = {
            "schema": {"description": "Name and version of this contract.", "const": SCHEMA},
            "command": {"description": "The command whose answer this is.", "const": name},
            "settings_file": {
                "description": "What was taken from a file of settings; null where nothing.",
                **_schema(found, SettingsFile | None),
            },
        }
    found[name] = {"description": _first_paragraph(kind)}
    words, hints = described(kind), typing.get_type_hints(kind, _names(kind), include_extras=True)
    for field in dataclasses.fields(kind):
        if field.metadata.get("json", True):
            key = field.name.rstrip("_")
            text = with_unit(key, words.get(field.name, ""))
            properties[key] = {"description": text, **_schema(found, hints[field.name])}
    found[name] |= {
        "type": "object",
        "properties": properties,
        "required": list(properties),
        "additionalProperties": False,
    }


def _names(kind: type) -> dict[str, Any]:
    """Names that annotations of a class may use: its and its bases' modules', those for types alone."""
    from steybrae.field.relocation import AspectFit

    modules = (inspect.getmodule(one) or types.ModuleType("") for one in reversed(kind.__mro__))
    return {"AspectFit": AspectFit, **{name: value for one in modules for name, value in vars(one).items()}}


def _refer(name: str) -> Schema:
    return {"$ref": f"#/$defs/{name}"}


def _schema(found: dict[str, Schema], hint: Any) -> Schema:
    """Write an annotation as a schema; classes in it are added to the definitions."""
    origin, inner = typing.get_origin(hint), typing.get_args(hint)
    if origin in (types.UnionType, typing.Union):
        return _either([_schema(found, part) for part in inner])
    if isinstance(origin, type) and issubclass(origin, Mapping):
        return {"type": "object", "additionalProperties": _schema(found, inner[1])}
    if isinstance(origin, type) and issubclass(origin, Sequence):
        return _several(found, inner)
    return _one(found, hint, inner)


def _one(found: dict[str, Schema], hint: Any, inner: tuple[Any, ...]) -> Schema:
    origin = typing.get_origin(hint)
    if origin is typing.Literal:
        return {"enum": list(inner)}
    if origin is typing.Annotated:
        limits = [_limit(limit) for limit in inner[1:]]
        return {"enum": limits[0]["enum"]} if "enum" in limits[0] else _schema(found, inner[0]) | limits[0]
    if isinstance(hint, type) and dataclasses.is_dataclass(hint):
        add_definition(found, hint.__name__, hint)
        return _refer(hint.__name__)
    return {"type": NAMES_OF_JSON[hint]}


def _several(found: dict[str, Schema], inner: tuple[Any, ...]) -> Schema:
    parts = [_schema(found, part) for part in inner if part is not Ellipsis]
    if len(parts) < len(inner) or len(inner) == 1:
        return {"type": "array", "items": parts[0]}
    return {"type": "array", "prefixItems": parts, "items": False, "minItems": len(parts)}


def _limit(limit: Range | Words) -> Schema:
    if isinstance(limit, Words):
        return {"enum": list(limit.words)}
    low, high = (
        "exclusiveMinimum" if limit.low_open else "minimum",
        "exclusiveMaximum" if limit.high_open else "maximum",
    )
    ends = {low: limit.low, high: limit.high, "minItems": limit.entries or None}
    return {key: end for key, end in ends.items() if end is not None}


def _either(parts: list[Schema]) -> Schema:
    """One of several; a plain value or null is written in one."""
    null = {"type": "null"}
    known = [part for part in parts if part != null]
    if null not in parts or len(known) > 1 or known[0].get("type") in ("array", "object"):
        return {"anyOf": parts}
    (only,) = known
    if "type" in only:
        return {**only, "type": [only["type"], "null"]}
    return {"enum": [*only["enum"], None]} if "enum" in only else {"anyOf": parts}


def described(kind: type) -> dict[str, str]:
    """Read what the docstring of a class says of each of its attributes (numpydoc), in one line each.

    ``None`` is written ``null``, and the marks of code are left out.
    """
    found: dict[str, str] = {}
    for one in reversed(kind.__mro__):
        _, _, section = inspect.cleandoc(one.__doc__ or "").partition("Attributes\n----------\n")
        entries = re.findall(r"^(\S.*)((?:\n    .+)+)", section, re.MULTILINE)
        found |= {name.strip(): _plain(text) for names, text in entries for name in names.split(",")}
    return found


def _first_paragraph(kind: type) -> str:
    return _plain((inspect.getdoc(kind) or "").split("\n\n")[0])


def _plain(text: str) -> str:
    return re.sub(r"\bNone\b", "null", " ".join(text.replace("`", "").split()))


def with_unit(key: str, text: str) -> str:
    """Name the unit of a key's suffix in its description, where the text does not."""
    unit = next((unit for suffix, unit in UNITS.items() if key.endswith(suffix)), None)
    return text if not text or unit is None or unit in text.lower() else f"{text} {unit.capitalize()}."


if __name__ == "__main__":
    print(contract_text(), end="")
