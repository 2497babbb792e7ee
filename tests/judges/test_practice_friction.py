"""Which way friction leaves the pitches: trade facts, common practice, no source (the trade's table of symptoms)."""

from __future__ import annotations

import numpy as np
import pytest

from setwright.practice.hidden import Hidden, Spread
from setwright.practice.instrument import Practice
from setwright.practice.told import hello

NONE = Hidden().scaled(0.0)
SEED = 4
DIVE, PULL = 0.06, -0.03  # rad


def afloat(hidden=NONE, binding=None, seed=SEED):
    """An instrument without locks, floating at pitch, and where it came to rest after one dive to begin with."""
    first = hello(seed)
    while first["told"]["nut"]["locked"]:
        seed += 1
        first = hello(seed)
    if binding is not None:
        first["told"]["strings"]["capstan"][binding] = 0.06
    practice = Practice(first, seed, hidden, Spread())
    for _ in range(20):
        for string, hz in enumerate(first["goal"]["hz"], 1):
            practice.tune(string, hz)
        if not practice.truth.at_stop:
            break
        practice.claw(-0.5)
    for _ in range(4):
        for string, hz in enumerate(first["goal"]["hz"], 1):
            practice.tune(string, hz)
    return practice


def moved(practice, rad):
    """Cents of every string by a stroke of the bar."""
    before = np.array(practice.truth.hertz)
    practice.bar(rad)
    return 1200 * np.log2(np.array(practice.truth.hertz) / before)


def test_without_friction_every_string_comes_back():
    practice = afloat()
    assert np.abs(moved(practice, DIVE)).max() < 0.01
    assert np.abs(moved(practice, PULL)).max() < 0.01


def test_a_knife_edge_leaves_all_flat_after_a_dive_and_all_sharp_after_a_pull():
    practice = afloat(Hidden(**{**vars_of(NONE), "knife": 0.01}))
    moved(practice, PULL)
    assert (moved(practice, DIVE) < -0.1).all()
    assert (moved(practice, PULL) > 0.1).all()


@pytest.mark.parametrize("string", [0, 2, 3])
def test_a_binding_slot_leaves_its_string_sharp_and_the_others_flat_after_a_dive(string):
    practice = afloat(binding=string)
    moved(practice, PULL)
    cents = moved(practice, DIVE)
    others = np.delete(cents, string)
    assert cents[string] > 0.5
    assert (others < 0.0).all()


def vars_of(hidden):
    return {name: getattr(hidden, name) for name in hidden.__dataclass_fields__}


def test_a_second_dive_changes_nothing_more():
    practice = afloat(Hidden())
    moved(practice, DIVE)
    assert np.abs(moved(practice, DIVE)).max() < 0.3
