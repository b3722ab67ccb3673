"""Dataclasses whose methods are made when they are first asked for.

The standard decorator writes and compiles six functions for each frozen class as it is imported, half
a millisecond each; a command loads two hundred of them and makes a few. Here a class costs a twentieth:
``__init__`` is compiled when the first one is made, and what compares, hashes, shows and refuses to
change is written once for all. Fields, `dataclasses.replace` and inheritance are the standard's own.
"""

from __future__ import annotations

from dataclasses import MISSING, FrozenInstanceError, fields
from functools import cache
from reprlib import recursive_repr
from typing import TYPE_CHECKING, Any

__all__ = ["dataclass"]

if TYPE_CHECKING:
    from dataclasses import dataclass
else:
    from dataclasses import dataclass as _standard

    def dataclass(
        cls: type | None = None, /, *, frozen: bool = False, eq: bool = True, kw_only: bool = False
    ):
        """Make a class a dataclass; as `dataclasses.dataclass`."""
        if cls is None:
            return lambda one: dataclass(one, frozen=frozen, eq=eq, kw_only=kw_only)
        # Only of a frozen class does the standard let a frozen one be made.
        below = any("__dataclass_params__" in vars(base) for base in cls.__mro__[1:])
        own = set(vars(cls))
        _standard(init=False, repr=False, eq=False, frozen=frozen and below, kw_only=kw_only)(cls)
        methods = {"__init__": _Init(cls), "__repr__": _shown}
        if eq:
            methods |= {"__eq__": _equal, "__hash__": _hashed if frozen else None}
        if frozen:
            methods |= {"__setattr__": _refused, "__delattr__": _refused}
            cls.__dataclass_params__.frozen = True
        # Who writes an __eq__ and no __hash__ is given None for it by Python.
        if "__eq__" in own and vars(cls).get("__hash__") is None:
            own.discard("__hash__")
        for name, method in methods.items():
            if name not in own:
                setattr(cls, name, method)
        return cls


class _Init:
    """The ``__init__`` of a class until it is asked for, which puts the compiled one in its place."""

    def __init__(self, cls: type) -> None:
        self._cls = cls

    def __get__(self, instance: object, owner: type) -> Any:
        made = _init_of(self._cls)
        setattr(self._cls, "__init__", made)  # noqa: B010  mypy forbids the plain way
        return made.__get__(instance, owner)


def _init_of(cls: Any) -> Any:
    """Compile the ``__init__`` of a class: values go straight to its instance's dictionary."""
    names: dict[str, Any] = {"_MISSING_": MISSING}
    takes: dict[bool, list[str]] = {False: [], True: []}
    lines, hints = ["_own_ = self.__dict__"], {}
    for one in fields(cls):
        name, default, value = one.name, "", one.name
        if one.default_factory is not MISSING:
            names[f"_make_{name}"], default = one.default_factory, " = _MISSING_"
            value = f"_make_{name}() if {name} is _MISSING_ else {name}" if one.init else f"_make_{name}()"
        elif one.default is not MISSING:
            names[f"_default_{name}"], default = one.default, f" = _default_{name}"
            value = name if one.init else f"_default_{name}"
        if one.init:
            takes[bool(one.kw_only)].append(name + default)
            hints[name] = one.type
        elif not default:
            continue
        lines.append(f"_own_[{name!r}] = {value}")
    if hasattr(cls, "__post_init__"):
        lines.append("self.__post_init__()")
    arguments = ", ".join(["self", *takes[False], *(["*", *takes[True]] if takes[True] else [])])
    text = f"def __init__({arguments}):\n " + "\n ".join(lines)
    exec(text, names)  # noqa: S102  the names of fields, as the standard does
    made = names["__init__"]
    made.__qualname__, made.__module__ = f"{cls.__qualname__}.__init__", cls.__module__
    made.__annotations__ = {**hints, "return": None}
    return made


@cache
def _names(cls: Any) -> tuple[str, ...]:
    """Names of the fields that compare."""
    return tuple(one.name for one in fields(cls) if one.compare)


def _values(record: object) -> tuple[Any, ...]:
    kind: Any = type(record)
    return tuple([getattr(record, name) for name in _names(kind)])


def _equal(self: object, other: object) -> Any:
    return _values(self) == _values(other) if type(other) is type(self) else NotImplemented


def _hashed(self: object) -> int:
    return hash(_values(self))


@recursive_repr()
def _shown(self: object) -> str:
    shown = (f"{one.name}={getattr(self, one.name)!r}" for one in fields(self) if one.repr)  # type: ignore[arg-type]
    return f"{type(self).__qualname__}({', '.join(shown)})"


def _refused(_: object, name: str, *value: object) -> None:
    message = f"cannot {'assign to' if value else 'delete'} field {name!r}"
    raise FrozenInstanceError(message)
