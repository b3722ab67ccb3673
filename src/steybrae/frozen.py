"""Frozen dataclasses as those of the standard library, made in a quarter of the time.

The library writes and compiles up to six functions for each class, and a command loads some 200 classes:
a tenth of the time of ``route``. Here ``__init__`` alone is written; the others need no text of their own.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import MISSING
from operator import attrgetter
from reprlib import recursive_repr
from typing import TYPE_CHECKING, Any, NoReturn

__all__ = ["dataclass"]

if TYPE_CHECKING:
    from dataclasses import dataclass
else:

    def dataclass(*, frozen, eq=True, kw_only=False):
        """Make a frozen dataclass: `dataclasses.dataclass` without ``InitVar``; `frozen` has to be True."""
        if not frozen:
            message = "frozen should be True; for a dataclass that changes take that of the standard library."
            raise TypeError(message)

        fields_of = dataclasses.dataclass(init=False, repr=False, eq=False, kw_only=kw_only)

        def made(cls):
            cls.__doc__ = (
                cls.__doc__ or cls.__name__
            )  # else it would be made of a signature that is not there
            return _with_methods(fields_of(cls), eq)

        return made


def _with_methods(cls: type, eq: bool) -> type:
    methods = {"__setattr__": _no_assignment, "__delattr__": _no_deletion, "__repr__": _repr}
    if eq:
        methods |= _by_value(cls)
    methods["__init__"] = _init(cls)
    for name, method in methods.items():
        if name not in cls.__dict__:
            setattr(cls, name, method)
    return cls


def _init(cls: type) -> Callable[..., None]:
    """Write and compile what takes the fields; a field with a factory is made anew each time."""
    known: dict[str, Any] = {"_set": object.__setattr__, "_MISSING": MISSING}
    taken: dict[bool, list[str]] = {False: [], True: []}
    body = ["pass"]
    for field in dataclasses.fields(cls):
        name, default, value = field.name, f"_default_{field.name}", field.name
        if field.default_factory is not MISSING:
            known[default] = field.default_factory
            value = f"{default}() if {name} is _MISSING else {name}" if field.init else f"{default}()"
            taken_as = f"{name}=_MISSING"
        elif field.default is not MISSING:
            known[default] = field.default
            taken_as = f"{name}={default}"
        else:
            taken_as = name
        if field.init:
            taken[bool(field.kw_only)].append(taken_as)
        elif field.default_factory is MISSING:
            continue
        body.append(f"_set(self, {name!r}, {value})")
    if hasattr(cls, "__post_init__"):
        body.append("self.__post_init__()")
    listed = ", ".join(["self", *taken[False], *(["*"] if taken[True] else []), *taken[True]])
    exec(f"def __init__({listed}):\n " + "\n ".join(body), known)  # noqa: S102  names of fields alone
    init: Callable[..., None] = known["__init__"]
    init.__qualname__ = f"{cls.__qualname__}.__init__"
    init.__annotations__ = {field.name: field.type for field in dataclasses.fields(cls) if field.init}
    return init


def _by_value(cls: type) -> dict[str, Callable[..., Any]]:
    values = attrgetter("__class__", *(field.name for field in dataclasses.fields(cls) if field.compare))

    def equal(self: Any, other: Any) -> bool:
        return bool(values(self) == values(other)) if other.__class__ is self.__class__ else NotImplemented

    def hashed(self: Any) -> int:
        return hash(values(self))

    return {"__eq__": equal, "__hash__": hashed}


@recursive_repr()
def _repr(self: Any) -> str:
    told = (f"{one.name}={getattr(self, one.name)!r}" for one in dataclasses.fields(self) if one.repr)
    return f"{type(self).__qualname__}({', '.join(told)})"


def _no_assignment(_: Any, name: str, __: object) -> NoReturn:
    message = f"cannot assign to field {name!r}"
    raise dataclasses.FrozenInstanceError(message)


def _no_deletion(_: Any, name: str) -> NoReturn:
    message = f"cannot delete field {name!r}"
    raise dataclasses.FrozenInstanceError(message)
