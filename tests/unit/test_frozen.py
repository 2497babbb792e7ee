"""Frozen data behaves as a frozen dataclass of the standard library does."""

from __future__ import annotations

import copy
import dataclasses
import pickle
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from setwright.frozen import frozen
from setwright.frozen import replace as frozen_replace


@frozen
class Ours:
    """The class under test."""

    first: int
    second: Any = 2
    third: list[int] = dataclasses.field(default_factory=list)


@dataclasses.dataclass(frozen=True)
class Theirs:
    """The same as the standard library makes it."""

    first: int
    second: Any = 2
    third: list[int] = dataclasses.field(default_factory=list)


NAMES = ("first", "second", "third", "fourth")


def outcome(work: Callable[[], object]) -> object:
    try:
        return work()
    except Exception as error:
        return type(error)


@given(st.lists(st.integers(), max_size=4), st.dictionaries(st.sampled_from(NAMES), st.integers()))
def test_it_is_made_of_what_a_dataclass_is_made_of(values: list[int], named: dict[str, int]) -> None:
    made = [outcome(lambda kind=kind: dataclasses.astuple(kind(*values, **named))) for kind in (Ours, Theirs)]
    assert made[0] == made[1]


@given(st.tuples(st.integers(0, 1), st.integers(0, 1)), st.tuples(st.integers(0, 1), st.integers(0, 1)))
def test_it_compares_hashes_and_prints_as_a_dataclass(one: tuple[int, int], other: tuple[int, int]) -> None:
    ours, theirs = ([kind(*given, ()) for given in (one, other)] for kind in (Ours, Theirs))
    assert (ours[0] == ours[1]) == (theirs[0] == theirs[1])
    assert len(set(ours)) == len(set(theirs))
    assert [repr(each) for each in ours] == [repr(each).replace("Theirs", "Ours") for each in theirs]
    assert ours[0] != theirs[0]


def test_it_does_not_change() -> None:
    for kind in (Ours, Theirs):
        made: Any = kind(1)
        for change in (lambda made=made: setattr(made, "first", 2), lambda made=made: delattr(made, "first")):
            with pytest.raises(dataclasses.FrozenInstanceError, match=r"cannot .* field 'first'"):
                change()
        assert made.first == 1


def test_what_is_not_hashable_is_not_hashed() -> None:
    assert outcome(lambda: hash(Ours(1))) is outcome(lambda: hash(Theirs(1))) is TypeError


def test_every_one_has_a_list_of_its_own() -> None:
    assert Ours(1).third is not Ours(1).third


def test_the_helpers_of_the_library_work_on_it() -> None:
    made = Ours(1, third=[3])
    assert dataclasses.replace(made, second=5) == Ours(1, 5, [3])
    assert dataclasses.asdict(made) == {"first": 1, "second": 2, "third": [3]}
    assert [one.name for one in dataclasses.fields(Ours)] == list(NAMES[:3])
    assert copy.deepcopy(made) == pickle.loads(pickle.dumps(made)) == made
    match made:
        case Ours(first, second):
            assert (first, second) == (1, 2)


def test_a_mistake_names_the_class_and_its_fields() -> None:
    with pytest.raises(TypeError, match=r"^Ours takes first, second, third; given \(\) and \{.*'fourth': 4.*\}\.$"):
        Ours(fourth=4)  # type: ignore[call-arg]


def test_what_is_made_can_be_checked() -> None:
    @frozen
    class Length:
        metres: float

        def __post_init__(self) -> None:
            if self.metres < 0:
                raise ValueError("negative")

    assert Length(1.0).metres == 1.0
    with pytest.raises(ValueError, match="negative"):
        Length(-1.0)


def test_arrays_are_held_as_they_are() -> None:
    array = np.arange(3.0)
    assert Ours(1, array).second is array


@given(st.dictionaries(st.sampled_from(NAMES), st.integers()))
def test_its_own_replace_is_that_of_the_standard_library(changes: dict[str, int]) -> None:
    ours, theirs = Ours(1, 2, [3]), Theirs(1, 2, [3])
    quick = outcome(lambda: dataclasses.astuple(frozen_replace(ours, **changes)))
    assert quick == outcome(lambda: dataclasses.astuple(dataclasses.replace(theirs, **changes)))
    assert dataclasses.astuple(ours) == (1, 2, [3])


def test_its_own_replace_leaves_out_what_is_no_field_and_checks_again() -> None:
    @frozen
    class Positive:
        """A number that is checked."""

        number: int

        def __post_init__(self) -> None:
            if self.number <= 0:
                raise ValueError(self.number)

    one = Positive(1)
    one.__dict__["worked out"] = 5
    assert frozen_replace(one, number=2).__dict__ == {"number": 2}
    with pytest.raises(ValueError, match="-1"):
        frozen_replace(one, number=-1)
    with pytest.raises(TypeError, match="Positive has number; given other"):
        frozen_replace(one, other=1)
