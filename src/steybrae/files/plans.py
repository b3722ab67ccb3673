"""A saved plan: a whole result in one file, to be read by the other commands later.

A plan is a zip of ``plan.json``, the result as JSON, and one ``.npy`` file for each array in
it, named by where it stands (``legs.0.points.slope_deg.npy``). No pickles, no code. A plan may
come from somebody else, so reading trusts nothing: names, sizes and types are checked.
"""

from __future__ import annotations

import dataclasses
import io
import json
import math
import re
import types
import typing
import zipfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import numpy as np

from steybrae.errors import FileReadError, PlanError
from steybrae.files.whole import write_whole
from steybrae.screening.result import RouteScreening

__all__ = ["PLAN_SCHEMA", "read_plan", "write_plan"]

PLAN_SCHEMA: Final = "steybrae-plan/1"
"""Name and version of the form of a plan."""

MOST_ENTRIES: Final = 20_000
"""Most files in a plan (our choice): far above a day's legs, far below a bomb."""

MOST_BYTES: Final = 256 * 2**20
"""Most bytes that a plan may unpack to (our choice)."""

_ENTRY: Final = re.compile(r"[a-z0-9_]+(\.[a-z0-9_]+)*\.npy")
_STAMP: Final = (1980, 1, 1, 0, 0, 0)


def write_plan(path: Path, screening: RouteScreening, *, force: bool = False) -> None:
    """Save a whole result.

    Parameters
    ----------
    path
        The file to be, usually ``.zip``.
    screening
        The result.
    force
        Whether an existing file is replaced.

    Raises
    ------
    FileWriteError
        As `write_whole`.
    """
    arrays: dict[str, np.ndarray] = {}
    tree = {"schema": PLAN_SCHEMA, "result": _pack(screening, "", arrays)}
    write_whole(path, lambda temporary: _write(temporary, tree, arrays), force=force)


def _write(path: Path, tree: dict[str, Any], arrays: dict[str, np.ndarray]) -> None:
    with zipfile.ZipFile(path, "w", compression=zipfile.ZIP_DEFLATED) as archive:
        # One fixed time stamp: the same plan is the same bytes.
        text = json.dumps(tree, indent=1, ensure_ascii=False, allow_nan=False)
        archive.writestr(_entry("plan.json"), text)
        for name, array in arrays.items():
            held = io.BytesIO()
            np.save(held, array, allow_pickle=False)
            archive.writestr(_entry(f"{name}.npy"), held.getvalue())


def _entry(name: str) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name, _STAMP)
    info.compress_type = zipfile.ZIP_DEFLATED
    return info


def _pack(value: Any, name: str, arrays: dict[str, np.ndarray]) -> Any:
    """Plain JSON values; arrays are put aside under their place in the tree."""
    if isinstance(value, np.ndarray):
        arrays[name] = value
        return {"array": f"{name}.npy"}
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {
            field.name: _pack(getattr(value, field.name), _under(name, field.name), arrays)
            for field in dataclasses.fields(value)
        }
    if isinstance(value, Mapping):
        return {str(key): _pack(item, _under(name, str(key)), arrays) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_pack(item, _under(name, str(k)), arrays) for k, item in enumerate(value)]
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return {"float": repr(value)}
    return value


def _under(name: str, part: str) -> str:
    part = re.sub(r"[^a-z0-9_]", "_", part.lower())
    return f"{name}.{part}" if name else part


def read_plan(path: Path) -> RouteScreening:
    """Read a saved plan.

    Parameters
    ----------
    path
        Made by `write_plan`.

    Returns
    -------
    RouteScreening
        Equal to what was saved.

    Raises
    ------
    FileReadError
        Missing or not a zip file.
    PlanError
        Not a plan, of another version, damaged, too large, or with entries that have no
        place in one.
    """
    if not path.is_file():
        message = f"The plan {path} should be a file; there is none. Check the path."
        raise FileReadError(message)
    try:
        with zipfile.ZipFile(path) as archive:
            return _unpack_archive(archive, path.name)
    except zipfile.BadZipFile as error:
        message = (
            f"The plan {path} should be a file made with --save; it is damaged ({error}). Save it again."
        )
        raise FileReadError(message) from error
    except (ValueError, KeyError, TypeError, EOFError, OSError, RecursionError, NotImplementedError) as error:
        if isinstance(error, PlanError):
            raise
        raise _not_a_plan(path.name, str(error) or type(error).__name__) from error


def _not_a_plan(name: str, why: str) -> PlanError:
    message = f"The plan {name} should be a file made with --save; it is not ({why}). Save it again."
    return PlanError(message)


def _unpack_archive(archive: zipfile.ZipFile, name: str) -> RouteScreening:
    entries = {info.filename: info for info in archive.infolist()}
    if len(archive.infolist()) > MOST_ENTRIES or len(entries) != len(archive.infolist()):
        raise _not_a_plan(name, "it has too many or repeated entries")
    for entry in entries:
        if entry != "plan.json" and not _ENTRY.fullmatch(entry):
            raise _not_a_plan(name, f"its entry {entry!r} has no place in a plan")
    # The sizes in the directory may lie; what is read is counted too.
    left = [MOST_BYTES]
    if sum(info.file_size for info in entries.values()) > MOST_BYTES or "plan.json" not in entries:
        raise _not_a_plan(name, "it is too large or has no plan.json")
    tree = json.loads(_read(archive, entries["plan.json"], left, name))
    if not isinstance(tree, dict) or tree.get("schema") != PLAN_SCHEMA:
        found = tree.get("schema") if isinstance(tree, dict) else type(tree).__name__
        raise _not_a_plan(name, f"its schema is {found!r}, expected {PLAN_SCHEMA!r}")

    def array(entry: str) -> np.ndarray:
        data = _read(archive, entries[entry], left, name)
        return np.load(io.BytesIO(data), allow_pickle=False)  # type: ignore[no-any-return]

    found = _build(RouteScreening, tree["result"], array, "result")
    assert isinstance(found, RouteScreening)  # noqa: S101  _build made it so
    return found


def _read(archive: zipfile.ZipFile, info: zipfile.ZipInfo, left: list[int], name: str) -> bytes:
    with archive.open(info) as file:
        data = file.read(left[0] + 1)
    left[0] -= len(data)
    if left[0] < 0:
        raise _not_a_plan(name, "it unpacks to too much")
    return data


def _build(kind: Any, value: Any, array: Any, where: str) -> Any:  # noqa: PLR0911  one case a kind
    """Make a value of a type from JSON, refusing what does not fit."""
    origin, args = typing.get_origin(kind), typing.get_args(kind)
    if origin in (typing.Union, types.UnionType):
        if value is None and type(None) in args:
            return None
        return _build(next(arg for arg in args if arg is not type(None)), value, array, where)
    if origin is np.ndarray or kind is np.ndarray:
        return _build_array(value, array, where)
    if dataclasses.is_dataclass(kind):
        return _build_dataclass(kind, value, array, where)
    if origin is tuple:
        return _build_tuple(args, value, array, where)
    if origin is dict:
        if not isinstance(value, dict):
            raise _misfit(where, "an object", value)
        return {str(key): _build(args[1], item, array, f"{where}.{key}") for key, item in value.items()}
    if kind is float and isinstance(value, dict) and value.get("float") in ("nan", "inf", "-inf"):
        return float(value["float"])
    if kind is float and isinstance(value, (int, float)) and not isinstance(value, bool):
        return float(value)
    if kind in (int, str, bool) and type(value) is kind:
        return value
    if origin is typing.Literal and value in args:
        return value
    raise _misfit(where, getattr(kind, "__name__", str(kind)), value)


def _misfit(where: str, expected: str, value: Any) -> PlanError:
    message = f"The plan's {where} should be {expected}; got {value!r:.60}. Save the plan again."
    return PlanError(message)


def _build_array(value: Any, array: Any, where: str) -> np.ndarray:
    if not isinstance(value, dict) or not isinstance(value.get("array"), str):
        raise _misfit(where, "an array", value)
    found: np.ndarray = array(value["array"])
    if found.dtype.kind not in "fiub":
        raise _misfit(where, "an array of numbers", found.dtype)
    found.flags.writeable = False
    return found


def _build_dataclass(kind: Any, value: Any, array: Any, where: str) -> Any:
    if not isinstance(value, dict):
        raise _misfit(where, "an object", value)
    hints = typing.get_type_hints(kind)
    names = [field.name for field in dataclasses.fields(kind)]
    if set(value) != set(names):
        odd = sorted(set(value) ^ set(names))
        raise _misfit(where, f"an object with the keys of {kind.__name__}", f"missing or unknown {odd}")
    return kind(**{name: _build(hints[name], value[name], array, f"{where}.{name}") for name in names})


def _build_tuple(args: tuple[Any, ...], value: Any, array: Any, where: str) -> tuple[Any, ...]:
    if not isinstance(value, list):
        raise _misfit(where, "a list", value)
    kinds = [args[0]] * len(value) if len(args) == 2 and args[1] is Ellipsis else list(args)
    if len(kinds) != len(value):
        raise _misfit(where, f"a list of {len(kinds)}", value)
    return tuple(
        _build(kind, item, array, f"{where}[{k}]")
        for k, (kind, item) in enumerate(zip(kinds, value, strict=True))
    )
