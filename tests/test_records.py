"""Dataclasses made late behave as the standard's, which are made at once."""

from __future__ import annotations

import copy
import dataclasses
import inspect
import pickle
from dataclasses import field

import pytest

from steybrae import records


def made(decorator):
    @decorator(frozen=True)
    class Place:
        """Any."""

        name: str
        height_m: float = 0.0
        notes: list[str] = field(default_factory=list)
        secret: int = field(default=7, repr=False, compare=False)

        def __post_init__(self):
            object.__setattr__(self, "name", self.name.strip())

    @decorator(frozen=True, kw_only=True)
    class Summit(Place):
        """Any."""

        prominence_m: float
        kept: dict[str, int] = field(default_factory=dict, init=False)

    @decorator(frozen=True, eq=False)
    class Plain:
        """Any."""

        value: int

        def __repr__(self):
            return "plain"

    return Place, Summit, Plain


STANDARD, OURS = made(dataclasses.dataclass), made(records.dataclass)


@pytest.mark.parametrize("which", [0, 1])
def test_values_defaults_words_and_signature_are_the_standards(which):
    for arguments, named in (((" Foot ",), {}), (("Foot", 3.0, ["a"]), {"secret": 1})):
        more = {"prominence_m": 5.0} if which else {}
        theirs, ours = (kinds[which](*arguments, **named, **more) for kinds in (STANDARD, OURS))
        assert dataclasses.asdict(ours) == dataclasses.asdict(theirs)
        assert repr(ours) == repr(theirs)
        assert vars(ours) == vars(theirs)
        assert dataclasses.asdict(dataclasses.replace(ours, height_m=9.0))["height_m"] == 9.0
    theirs, ours = (inspect.signature(kinds[which]) for kinds in (STANDARD, OURS))
    assert [*ours.parameters] == [*theirs.parameters]
    assert [one.kind for one in ours.parameters.values()] == [one.kind for one in theirs.parameters.values()]


@pytest.mark.parametrize("kinds", [STANDARD, OURS], ids=["standard", "ours"])
def test_it_compares_by_its_fields_and_does_not_change(kinds):
    place, summit, plain = kinds
    assert place("a", secret=1) == place("a", secret=2)
    assert place("a") != place("b")
    assert place("a") != summit("a", prominence_m=1.0)
    assert hash(place("a", notes=())) == hash(place("a", notes=(), secret=9))
    assert place("a").notes is not place("a").notes
    assert plain(1) != plain(1)
    assert repr(plain(1)) == "plain"
    for change in (lambda one: setattr(one, "name", "b"), lambda one: delattr(one, "name")):
        with pytest.raises(dataclasses.FrozenInstanceError, match="field 'name'"):
            change(place("a"))
    with pytest.raises(TypeError, match="missing 1 required"):
        place()
    assert copy.deepcopy(summit("a", prominence_m=1.0)) == summit("a", prominence_m=1.0)


def test_a_standard_one_may_be_made_of_ours():
    @dataclasses.dataclass(frozen=True)
    class Named(OURS[0]):
        """Any."""

        more: int = 1

    assert Named("a", more=2).more == 2


@records.dataclass(frozen=True)
class Kept:
    """At module level, so that it can be pickled."""

    name: str


def test_it_is_pickled():
    assert pickle.loads(pickle.dumps(Kept("a"))) == Kept("a")  # noqa: S301
