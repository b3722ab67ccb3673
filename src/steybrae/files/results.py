"""Results as JSON, by the contract in ``contract.schema.json``."""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from steybrae.screening.origin import SettingsFile

SCHEMA: Final = "steybrae/1"
"""Name and version of the JSON contract."""


def as_json(command: str, result: Any, settings_file: SettingsFile | None = None) -> dict[str, Any]:
    """Turn a result into plain JSON values.

    Dataclass fields become keys of the same name; a trailing underscore, which keeps a
    name such as ``from_`` clear of Python's keywords, is dropped. Fields whose metadata
    say ``json=False`` are left out (arrays, large tables). NaN and infinity become null:
    JSON has no such numbers, and unknown is null in the contract.

    Parameters
    ----------
    command
        Name of the command whose answer this is.
    result
        A frozen dataclass.
    settings_file
        What was taken from a file of settings.

    Returns
    -------
    dict
        With ``schema``, ``command`` and ``settings_file`` first.
    """
    head = {"schema": SCHEMA, "command": command, "settings_file": _plain(settings_file)}
    return {**head, **_plain(result)}


def _plain(value: Any) -> Any:
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        # Fields that a class shares come before its own; where a person reads, it says otherwise.
        first: tuple[str, ...] = getattr(value, "KEY_ORDER", ())
        names = [one.name for one in dataclasses.fields(value) if one.metadata.get("json", True)]
        ordered = (*first, *(name for name in names if name not in first))
        return {name.rstrip("_"): _plain(getattr(value, name)) for name in ordered}
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(item) for item in value]
    if hasattr(value, "item") and not isinstance(value, (str, bytes)):
        value = value.item()
    if isinstance(value, float):
        return value + 0.0 if math.isfinite(value) else None  # -0.0 is 0.0
    return value


def json_text(command: str, result: Any, settings_file: SettingsFile | None = None) -> str:
    """JSON text of `as_json`, indented, without NaN, ending in no line feed."""
    return json.dumps(as_json(command, result, settings_file), indent=2, ensure_ascii=False, allow_nan=False)
