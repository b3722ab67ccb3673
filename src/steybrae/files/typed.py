"""Plain JSON values made into frozen dataclasses; what does not fit is refused.

The types of the fields say what fits: nothing is converted, guessed or run.
"""

from __future__ import annotations

import dataclasses
import math
import types
import typing
from collections.abc import Callable
from functools import cache
from typing import Any, Final

import numpy as np

from steybrae.errors import PlanError
from steybrae.names import clean

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
