"""Our frozen dataclasses behave as those of the standard library."""

from __future__ import annotations

import copy
import dataclasses
import inspect
import math
import pickle
import re
from dataclasses import field
from pathlib import Path
from typing import Any, ClassVar

import pytest

from steybrae import frozen

MAKERS = {"ours": frozen.dataclass, "theirs": dataclasses.dataclass}


def several(maker: Any) -> dict[str, type]:
    @maker(frozen=True)
    class Empty:
        pass

    @maker(frozen=True)
    class Plain:
        """Two numbers."""

        name: str
        deg: float = 3.0
        parts: list[int] = field(default_factory=list)
        worked_out: dict[str, int] = field(default_factory=dict, init=False, repr=False, compare=False)
        shared: ClassVar[int] = 7

        def __post_init__(self) -> None:
            if self.deg < 0.0:
                raise ValueError(self.name)

        @property
        def twice(self) -> float:
            return 2.0 * self.deg

    @maker(frozen=True)
    class Longer(Plain):
        more: int | None = None

    @maker(frozen=True, kw_only=True)
    class Named:
        low: float
        high: float = math.inf
        fixed: int = field(default=4, init=False)

    @maker(frozen=True, eq=False)
    class Arrays:
        heights: list[float]
        name: str = field(default="", repr=False)

        def __str__(self) -> str:
            return self.name

    return {one.__name__: one for one in (Empty, Plain, Longer, Named, Arrays)}


OURS, THEIRS = (several(maker) for maker in MAKERS.values())


@pytest.mark.parametrize("name", OURS)
def test_what_a_class_tells_of_itself_is_that_of_the_standard_library(name):
    ours, theirs = OURS[name], THEIRS[name]
    assert [(one.name, one.type, one.default, one.init, one.kw_only) for one in dataclasses.fields(ours)] == [
        (one.name, one.type, one.default, one.init, one.kw_only) for one in dataclasses.fields(theirs)
    ]
    told = [inspect.signature(one).parameters for one in (ours, theirs)]
    assert [(one.name, one.kind, one.annotation) for one in told[0].values()] == [
        (one.name, one.kind, one.annotation) for one in told[1].values()
    ]
    assert [one.default for one in told[0].values() if one.name != "parts"] == [
        one.default for one in told[1].values() if one.name != "parts"
    ]
    assert ours.__match_args__ == theirs.__match_args__
    assert ours.__init__.__qualname__ == theirs.__init__.__qualname__


GIVEN = [
    ("Empty", (), {}),
    ("Plain", ("a",), {}),
    ("Plain", ("a", 4.0), {"parts": [1]}),
    ("Longer", ("a",), {"more": 3}),
    ("Named", (), {"low": 1.0}),
    ("Arrays", ([1.0],), {"name": "b"}),
]


@pytest.mark.parametrize(("name", "args", "kwargs"), GIVEN)
def test_an_object_is_told_compared_and_copied_as_theirs(name, args, kwargs):
    ours, theirs = (kinds[name](*args, **kwargs) for kinds in (OURS, THEIRS))
    assert repr(ours) == repr(theirs)
    assert dataclasses.asdict(ours) == dataclasses.asdict(theirs)
    again = [kinds[name](*args, **kwargs) for kinds in (OURS, THEIRS)]
    assert (ours == again[0]) is (theirs == again[1]) is (name != "Arrays")
    assert (ours != again[0]) is (theirs != again[1])
    assert ours != theirs
    assert dataclasses.asdict(copy.copy(ours)) == dataclasses.asdict(ours)
    assert dataclasses.asdict(dataclasses.replace(ours, **kwargs)) == dataclasses.asdict(ours)


@pytest.mark.parametrize("wrong", [((), {}), (("a", 1, 2, 3, 4, 5), {}), (("a",), {"other": 1})])
@pytest.mark.parametrize("name", ["Plain", "Named"])
def test_wrong_arguments_are_refused_in_the_same_words(name, wrong):
    said = []
    for kinds in (OURS, THEIRS):
        with pytest.raises(TypeError) as error:
            kinds[name](*wrong[0], **wrong[1])
        said.append(str(error.value))
    assert said[0] == said[1]


def test_nothing_is_assigned_or_deleted_and_the_words_are_theirs():
    for act in (lambda one: setattr(one, "deg", 1.0), lambda one: delattr(one, "deg")):
        said = []
        for kinds in (OURS, THEIRS):
            with pytest.raises(dataclasses.FrozenInstanceError) as error:
                act(kinds["Plain"]("a"))
            said.append(str(error.value))
        assert said[0] == said[1]


def test_the_same_fields_have_the_same_hash_and_a_list_has_none():
    for kinds in (OURS, THEIRS):
        assert hash(kinds["Named"](low=1.0)) == hash(kinds["Named"](low=1.0))
        assert hash(kinds["Named"](low=1.0)) != hash(kinds["Named"](low=2.0))
        with pytest.raises(TypeError, match=r"^unhashable type: 'list'$"):
            hash(kinds["Plain"]("a"))
        assert len({kinds["Arrays"]([1.0]), kinds["Arrays"]([1.0])}) == 2


def test_factories_are_called_anew_and_what_is_checked_is_checked():
    first, second = OURS["Plain"]("a"), OURS["Plain"]("a")
    assert first.parts == []
    assert first.parts is not second.parts
    assert first.worked_out is not second.worked_out
    with pytest.raises(ValueError, match=r"^a$"):
        OURS["Plain"]("a", -1.0)
    assert (first.twice, first.shared) == (6.0, 7)


@frozen.dataclass(frozen=True)
class Kept:
    deg: float


def test_an_object_is_pickled():
    assert pickle.loads(pickle.dumps(Kept(3.0))) == Kept(3.0)  # noqa: S301  made here


def test_a_class_that_changes_is_not_made_here():
    with pytest.raises(TypeError) as error:
        frozen.dataclass(frozen=False)
    assert str(error.value) == (
        "frozen should be True; for a dataclass that changes take that of the standard library."
    )


def test_the_standard_library_makes_none_where_all_are_frozen():
    for path in Path(frozen.__file__).parent.rglob("*.py"):
        text = path.read_text()
        if path.name != "frozen.py" and re.search(
            r"^from dataclasses import .*\bdataclass\b", text, re.MULTILINE
        ):
            assert re.search(r"^@dataclass(\((?!frozen).*)?$", text, re.MULTILINE), path
