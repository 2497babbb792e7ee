"""The instrument as the line protocol tells it: every field is needed, and a wrong one is named."""

from __future__ import annotations

import math

import numpy as np
import pytest

from setwright.errors import FileFormatError
from setwright.instrument.told import believed, traits_told
from setwright.instrument.traits import Traits
from tests.judges.twin import greeting

NOT_TRAITS = ("gauges.", "claw.d_ref", "strings.f", "springs.patterns")


def leaves(value, path=()):
    """Paths of all fields that hold numbers, flags or lists."""
    if isinstance(value, dict):
        for name, part in value.items():
            yield from leaves(part, (*path, name))
    else:
        yield path


def with_field(path, value):
    """The told part with one field replaced; `...` takes it away."""
    told = greeting()["told"]
    part = told
    for name in path[:-1]:
        part = part[name]
    if value is ...:
        del part[path[-1]]
    else:
        part[path[-1]] = value
    return told


FIELDS = [path for path in leaves(greeting()["told"]) if not ".".join(path).startswith(NOT_TRAITS)]
NUMBERS = [path for path in FIELDS if path[-1] not in ("locked", "clamped")]
FLAGS = [path for path in FIELDS if path[-1] in ("locked", "clamped")]


def named(path):
    return ".".join(path)


def spoilt(value, with_what):
    """The same shape with its first number replaced."""
    if isinstance(value, list):
        return [spoilt(value[0], with_what), *value[1:]]
    return with_what


def at(path):
    part = greeting()["told"]
    for name in path:
        part = part[name]
    return part


def test_fields_are_there_to_be_spoilt():
    assert len(NUMBERS) > 60
    assert len(FLAGS) == 2


@pytest.mark.parametrize("path", FIELDS, ids=named)
def test_a_missing_field_is_named(path):
    *group, name = path
    with pytest.raises(FileFormatError, match=r"missing") as caught:
        traits_told(with_field(path, ...))
    assert f"{'.'.join(['told', *group])}: the field '{name}'" in str(caught.value)


@pytest.mark.parametrize("group", ["strings", "nut", "fretboard", "neck", "bridge", "springs", "claw", "thermal"])
@pytest.mark.parametrize("instead", [..., None, [1.0], "much"], ids=["missing", "none", "list", "text"])
def test_a_group_that_is_no_group_is_named(group, instead):
    with pytest.raises(FileFormatError, match=group):
        traits_told(with_field((group,), instead))


@pytest.mark.parametrize("told", [None, [], 3, "instrument"])
def test_what_is_told_must_be_an_object(told):
    with pytest.raises(FileFormatError, match="told: expected an object of fields"):
        traits_told(told)


@pytest.mark.parametrize("wrong", [math.nan, math.inf, "much", None, [[1.0], 2.0]], ids=str)
@pytest.mark.parametrize("path", NUMBERS, ids=named)
def test_what_is_no_finite_number_is_named(path, wrong):
    with pytest.raises(FileFormatError, match=r"expected .*number") as caught:
        traits_told(with_field(path, spoilt(at(path), wrong)))
    assert str(caught.value).startswith(f"told.{named(path)}: ")


@pytest.mark.parametrize("path", NUMBERS, ids=named)
def test_a_wrong_shape_is_named(path):
    value = at(path)
    for wrong in ([value], value[:-1] if isinstance(value, list) else [value, value]):
        if path == ("springs", "hooks") and wrong == value[:-1]:
            continue  # four hooks are as good as five: then claw_z does not fit
        with pytest.raises(FileFormatError, match="number") as caught:
            traits_told(with_field(path, wrong))
        assert str(caught.value).startswith(f"told.{named(path)}: ")


def test_hooks_and_claw_places_must_be_equally_many():
    with pytest.raises(FileFormatError, match=r"told\.springs\.(claw_z|patterns)"):
        traits_told(with_field(("springs", "hooks"), at(("springs", "hooks"))[:-1]))


@pytest.mark.parametrize("wrong", [0, 1, "yes", None])
@pytest.mark.parametrize("path", FLAGS, ids=named)
def test_a_flag_is_true_or_false(path, wrong):
    with pytest.raises(FileFormatError, match=rf"told\.{named(path)}: expected true or false"):
        traits_told(with_field(path, wrong))


@pytest.mark.parametrize("wrong", [..., None, {}, [[0, 1]], {"three": [0]}, {"3": 2}, {"3": ["a"]}], ids=str)
def test_patterns_are_lists_of_places(wrong):
    with pytest.raises(FileFormatError, match=r"told\.springs\.patterns: expected"):
        traits_told(with_field(("springs", "patterns"), wrong))


@pytest.mark.parametrize("place", [-1, 5])
def test_a_pattern_names_places_that_exist(place):
    with pytest.raises(FileFormatError, match="1 springs name a place outside 0 to 4"):
        traits_told(with_field(("springs", "patterns"), {"1": [place]}))


@pytest.fixture(scope="module")
def traits() -> Traits:
    return traits_told(greeting()["told"])


def test_z_is_turned_from_treble_to_bass(traits):
    assert traits.bridge.saddle_z[0] == -0.026
    assert traits.nut.z[0] == -0.0175
    assert traits.nut.z[-1] == 0.0170
    assert traits.springs.claw_z[0] == 0.0225
    assert traits.springs.hook_z[0] == 0.022


def test_pairs_stand_treble_first(traits):
    """The greater z as told is the treble side: pivots -28 mm (bass, 6.6 mm high) and 27 mm (treble, 6.4 mm)."""
    np.testing.assert_allclose(traits.bridge.pivot_z, [-0.027, 0.028])
    np.testing.assert_allclose(traits.bridge.pivot_y, [0.0064, 0.0066])
    np.testing.assert_allclose(traits.bridge.rear_z, [-0.029, 0.031])
    np.testing.assert_allclose(traits.claw.screw_z, [-0.017, 0.018])


def test_the_order_a_pair_is_told_in_does_not_matter(traits):
    told = greeting()["told"]
    for name in ("pivot_y", "pivot_z", "rear_z"):
        told["bridge"][name] = told["bridge"][name][::-1]
    told["claw"]["screw_z"] = told["claw"]["screw_z"][::-1]
    other = traits_told(told)
    for name in ("pivot_y", "pivot_z", "rear_z"):
        np.testing.assert_array_equal(getattr(other.bridge, name), getattr(traits.bridge, name))
    np.testing.assert_array_equal(other.claw.screw_z, traits.claw.screw_z)


def test_plate_points_are_aft_and_up(traits):
    assert (traits.bridge.saddle_aft[1], traits.bridge.saddle_up[1]) == (0.0148, 0.0095)
    assert (traits.bridge.anchor_aft[5], traits.bridge.anchor_up[5]) == (0.0205, -0.030)
    assert (traits.bridge.rear_aft, traits.bridge.rear_up) == (0.030, -0.004)
    assert (traits.bridge.centre_aft, traits.bridge.centre_up) == (0.008, -0.012)
    assert traits.springs.patterns == {2: (1, 3), 3: (0, 2, 4), 5: (0, 1, 2, 3, 4)}


def test_every_part_believed_moves_its_trait_alone(traits):
    known = believed(traits)
    names = [part.name for part in known.parts]
    assert len(set(names)) == len(names) == 15 + 3 * traits.string_count
    assert np.all(np.diag(known.covariance) > 0.0)
    assert np.count_nonzero(known.covariance) == len(names)
    for part in known.parts:
        group, name = part.path.split(".")
        field = np.asarray(getattr(getattr(traits, group), name))
        assert part.index is None or 0 <= part.index < field.size
