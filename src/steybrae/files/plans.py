"""A saved plan: a whole result in one file, to be read by the other commands later.

A plan is a zip of ``plan.json``, the result as JSON, and one ``.npy`` file for each array in
it, named by where it stands (``legs.0.points.slope_deg.npy``). No pickles, no code. A plan may
come from somebody else, so reading trusts nothing: names, sizes and types are checked.

The types of the fields say what fits: nothing is converted, guessed or run.
"""

from __future__ import annotations

import dataclasses
import io
import json
import lzma
import math
import re
import struct
import tokenize
import types
import typing
import warnings
import zipfile
import zlib
from collections.abc import Callable, Iterator, Mapping
from functools import cache
from pathlib import Path
from typing import Any, Final, Literal

import numpy as np

from steybrae.errors import FileReadError, PlanError, hushed
from steybrae.files.whole import write_bytes
from steybrae.names import clean
from steybrae.screening.compared import RouteLines
from steybrae.screening.result import RouteScreening
from steybrae.screening.sound import sound

MOST_TEXT: Final = 40_000
"""Longest text in a plan, characters (our choice): twice a bulletin's longest."""


def build(kind: Any, value: Any, array: Callable[[str], np.ndarray], where: str) -> Any:  # noqa: PLR0911
    """Make a value of a type.

    Parameters
    ----------
    kind
        A dataclass, an array type, ``float``, ``int``, ``str``, ``bool``, a literal, or a tuple,
        dictionary or optional of these.
    value
        As JSON gave it; an array is ``{"array": name}`` and a float that JSON has not is
        ``{"float": "nan"}``, ``inf`` or ``-inf``.
    array
        Gives an array by its name.
    where
        Place in the whole, for the error.

    Returns
    -------
    object
        Of that type; arrays read-only.

    Raises
    ------
    PlanError
        The value does not fit.
    """
    origin, args = typing.get_origin(kind), typing.get_args(kind)
    if hasattr(origin, "__value__"):  # on Python 3.12 numpy's NDArray is a `type` alias
        return build(origin.__value__[args], value, array, where)
    if origin in (typing.Union, types.UnionType):
        if value is None and type(None) in args:
            return None
        return build(next(arg for arg in args if arg is not type(None)), value, array, where)
    if origin is np.ndarray or kind is np.ndarray:
        return _build_array(args, value, array, where)
    if dataclasses.is_dataclass(kind):
        return _build_dataclass(kind, value, array, where)
    if origin is tuple:
        return _build_tuple(args, value, array, where)
    if origin is dict:
        if not isinstance(value, dict):
            raise _misfit(where, "an object", value)
        return {str(key): build(args[1], item, array, f"{where}.{key}") for key, item in value.items()}
    if kind is float and isinstance(value, dict) and value.get("float") in ("nan", "inf", "-inf"):
        return float(value["float"])
    if kind is float and type(value) in (int, float) and math.isfinite(value):
        return float(value)
    if kind in (int, str, bool) and type(value) is kind:
        return _plain(value, where) if kind is str else value
    if origin is typing.Literal and value in args:
        return value
    raise _misfit(where, getattr(kind, "__name__", str(kind)), value)


def _misfit(where: str, expected: str, value: Any) -> PlanError:
    message = f"The plan's {where} should be {expected}; got {value!a:.60}. Save the plan again."
    return PlanError(message)


def _plain(value: str, where: str) -> str:
    """Refuse what no text of ours holds: they were cleaned on their way in."""
    if clean(value, MOST_TEXT) != value:
        raise _misfit(where, "plain text", value)
    return value


def _build_array(args: tuple[Any, ...], value: Any, array: Any, where: str) -> np.ndarray:
    if not isinstance(value, dict) or not isinstance(value.get("array"), str):
        raise _misfit(where, "an array", value)
    found: np.ndarray = array(value["array"])
    expected = np.dtype(typing.get_args(args[1])[0])
    if found.dtype != expected:
        raise _misfit(where, f"an array of {expected}", found.dtype)
    found.flags.writeable = False
    return found


def _build_dataclass(kind: Any, value: Any, array: Any, where: str) -> Any:
    if not isinstance(value, dict):
        raise _misfit(where, "an object", value)
    hints = _hints(kind)
    names = [field.name for field in dataclasses.fields(kind)]
    if set(value) != set(names):
        odd = [*sorted(set(names) - set(value)), *sorted(set(value) - set(names))][:4]
        message = (
            f"The plan's {where} should have the keys of {kind.__name__}; "
            f"{', '.join(map(ascii, odd))[:100]} are missing or unknown. Save the plan again."
        )
        raise PlanError(message)
    return kind(**{name: build(hints[name], value[name], array, f"{where}.{name}") for name in names})


@cache
def _hints(kind: Any) -> dict[str, Any]:
    return typing.get_type_hints(kind)


def _build_tuple(args: tuple[Any, ...], value: Any, array: Any, where: str) -> tuple[Any, ...]:
    if not isinstance(value, list):
        raise _misfit(where, "a list", value)
    kinds = [args[0]] * len(value) if len(args) == 2 and args[1] is Ellipsis else list(args)
    if len(kinds) != len(value):
        raise _misfit(where, f"a list of {len(kinds)}", value)
    return tuple(
        build(kind, item, array, f"{where}[{k}]")
        for k, (kind, item) in enumerate(zip(kinds, value, strict=True))
    )


PLAN_SCHEMA: Final = "steybrae-plan/8"
"""Name and version of the form of a plan."""

MOST_ENTRIES: Final = 50_000
"""Most files in a plan (our choice): 1 000 legs have 15 each, and there may be more columns one day."""

MOST_BYTES: Final = 256 * 2**20
"""Most bytes that a plan may unpack to (our choice)."""

MOST_TEXT_BYTES: Final = 24 * 2**20
"""Most bytes of its JSON alone (our choice): 1 000 legs have 9 million, and JSON takes up to forty times
its own size in memory."""

_ENTRY: Final = re.compile(r"[a-z0-9_]+(\.[a-z0-9_]+)*\.npy")
_FORM: Final = re.compile(r"steybrae-plan/\d{1,4}")
_DAMAGE: Final = (
    ArithmeticError,
    AttributeError,
    EOFError,
    LookupError,
    MemoryError,
    NotImplementedError,
    OSError,
    RuntimeError,
    SyntaxError,
    TypeError,
    ValueError,
    Warning,
    lzma.LZMAError,
    struct.error,
    tokenize.TokenError,
    zlib.error,
)
"""What zip, its packings, JSON, numpy's headers and our own types raise on a file that lies."""

_STAMP: Final = (1980, 1, 1, 0, 0, 0)

_LEVEL: Final = 1
"""How hard is packed (our choice): level 6 takes twice the time and saves a twentieth of the room."""


def write_plan(path: Path, screening: RouteScreening, *, force: bool = False) -> None:
    """Save a whole result, as `write_whole` does."""
    write_bytes(path, plan_bytes(screening), force=force)


def plan_bytes(screening: RouteScreening) -> bytes:
    """Give what `write_plan` writes: the same result is the same bytes."""
    arrays: dict[str, np.ndarray] = {}
    tree = {"schema": PLAN_SCHEMA, "result": _pack(screening, "", arrays)}
    whole = io.BytesIO()
    with zipfile.ZipFile(whole, "w", compression=zipfile.ZIP_DEFLATED) as archive:
        # One fixed time stamp: the same plan is the same bytes.
        text = json.dumps(tree, indent=1, ensure_ascii=False, allow_nan=False)
        archive.writestr(_entry("plan.json"), text, compresslevel=_LEVEL)
        for name, array in arrays.items():
            held = io.BytesIO()
            np.save(held, array, allow_pickle=False)
            archive.writestr(_entry(f"{name}.npy"), held.getvalue(), compresslevel=_LEVEL)
    return whole.getvalue()


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
    """Read a saved plan: what was changed since is refused or worked out anew (`steybrae.screening.sound`).

    `FileReadError` where it is missing or no zip file; `PlanError` where it is no plan, of another
    version, damaged, too large, or with entries that have no place in one.
    """
    try:
        there = path.is_file()
    except OSError as error:
        message = f"The plan {path} could not be read: {error.strerror}. Check the path."
        raise FileReadError(message) from error
    if not there:
        message = f"The plan {path} should be a file; there is none. Check the path."
        raise FileReadError(message)
    try:
        if path.stat().st_size > MOST_BYTES:
            raise _not_a_plan(path.name, "it is too large")
        with zipfile.ZipFile(path) as archive:
            return _unpack_archive(archive, path.name)
    except PlanError:
        raise
    except zipfile.BadZipFile as error:
        message = (
            f"The plan {path} should be a file made with --save; it is not, or is damaged ({error}). "
            "Make one with steybrae route --save."
        )
        raise FileReadError(message) from error
    except _DAMAGE as error:
        raise _not_a_plan(path.name, str(error)[:120] or type(error).__name__) from error


def _not_a_plan(name: str, why: str) -> PlanError:
    message = f"The plan {name} should be a file made with --save; it is not ({why}). Save it again."
    return PlanError(message)


def _unpack_archive(archive: zipfile.ZipFile, name: str) -> RouteScreening:
    entries = {info.filename: info for info in archive.infolist()}
    if len(archive.infolist()) > MOST_ENTRIES or len(entries) != len(archive.infolist()):
        raise _not_a_plan(name, "it has too many or repeated entries")
    for entry in entries:
        if entry != "plan.json" and not _ENTRY.fullmatch(entry):
            raise _not_a_plan(name, f"its entry {entry!r:.60} has no place in a plan")
    if any(info.flag_bits & 1 for info in entries.values()):
        raise _not_a_plan(name, "it is locked with a password")
    # The sizes in the directory may lie; what is read is counted too.
    left = [MOST_BYTES]
    if sum(info.file_size for info in entries.values()) > MOST_BYTES or "plan.json" not in entries:
        raise _not_a_plan(name, "it is too large or has no plan.json")
    data = _read(archive, entries["plan.json"], [min(MOST_TEXT_BYTES, *left)], name)
    left[0] -= len(data)
    text = data.decode("utf-8")
    tree = json.loads(text, parse_constant=_no_number)
    if not isinstance(tree, dict) or tree.get("schema") != PLAN_SCHEMA:
        found = tree.get("schema") if isinstance(tree, dict) else type(tree).__name__
        if isinstance(found, str) and _FORM.fullmatch(found):
            message = (
                f"The plan {name} should have the form {PLAN_SCHEMA}; it has {found}, of another version of "
                "steybrae. Screen the line again, and save it."
            )
            raise PlanError(message)
        raise _not_a_plan(name, f"its schema is {found!r}, expected {PLAN_SCHEMA!r}")

    def array(entry: str) -> np.ndarray:
        if entry not in entries:
            raise _not_a_plan(name, f"its array {entry!r:.60} is missing")
        return _array(_read(archive, entries[entry], left, name))

    result = tree.get("result")
    # What stands beside the line, where something does.
    beside = isinstance(result, dict) and "lines" in result
    found = build(RouteLines if beside else RouteScreening, result, array, "result")
    assert isinstance(found, RouteScreening)  # noqa: S101  build made it so
    for what, shapes in _shapes(found):
        if len(set(shapes)) != 1 or not shapes[0]:
            raise _not_a_plan(name, f"the arrays of {what} differ in shape")
    return sound(found)


def _shapes(found: RouteScreening) -> Iterator[tuple[str, list[tuple[int, ...]]]]:
    """Arrays that belong together row by row or cell by cell, and so are to have one shape."""
    for leg in found.legs:
        columns = [getattr(leg.points, field.name).shape for field in dataclasses.fields(leg.points)]
        yield f"leg {leg.number}", [*columns, columns[0][:1]]
        seen = leg.overhead_profile
        yield f"leg {leg.number} overhead", [seen.chainage_m.shape, seen.sight_unfiltered_deg.shape]
    relief = found.relief
    if relief is not None:
        heights, slope, light = relief.heights_m.shape, relief.slope_deg.shape, relief.light.shape
        yield "the map", [relief.grid.shape, heights, slope, light]
        if relief.zones is not None:
            yield "the start zones", [relief.zones.grid.shape, relief.zones.source.shape]
        yield "the corridor", [relief.corridor_grid.shape, relief.beyond_corridor_m.shape]
        line, edges = relief.profile, relief.profile.edges_m
        bins = (line.slope_deg, line.slope_low_deg, line.slope_high_deg, line.corridor_deg, line.band)
        yield "the profile", [(len(edges) - 1,), *(column.shape for column in bins)]
        yield from ((f"leg {leg.number} on the map", [leg.x.shape, leg.y.shape]) for leg in relief.legs)
    if isinstance(found, RouteLines):
        for one in (*found.lines, *found.ways_off):
            lat_deg, lon_deg = one.line_deg
            yield f"the line {one.name!a:.60}", [lat_deg.shape, lon_deg.shape, (lat_deg.size,)]


def _no_number(text: str) -> float:
    message = f"{text} is no JSON number"
    raise ValueError(message)


def _array(data: bytes) -> np.ndarray:
    """Array of a ``.npy`` file whose header has to say as much as the file holds.

    `numpy.load` makes room for the shape that the header claims before it reads.
    """
    file = io.BytesIO(data)
    version = np.lib.format.read_magic(file)
    if version != (1, 0):
        message = f"an array is of the version {version}"
        raise ValueError(message)
    with hushed():
        # numpy only warns of a header that Python 2 wrote; we never wrote one.
        warnings.simplefilter("error")
        shape, by_column, dtype = np.lib.format.read_array_header_1_0(file)
    if dtype.hasobject or math.prod(shape) * dtype.itemsize != len(data) - file.tell():
        message = f"an array of {dtype} and shape {shape} does not fit its {len(data)} bytes"
        raise ValueError(message)
    order: Literal["F", "C"] = "F" if by_column else "C"
    return np.frombuffer(data, dtype, offset=file.tell()).reshape(shape, order=order)


def _read(archive: zipfile.ZipFile, info: zipfile.ZipInfo, left: list[int], name: str) -> bytes:
    with archive.open(info) as file:
        data = file.read(left[0] + 1)
    left[0] -= len(data)
    if left[0] < 0:
        raise _not_a_plan(name, "it unpacks to too much")
    return data
