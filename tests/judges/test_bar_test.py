"""The bar test on practice instruments, which have friction with history of their own: what is hidden is what is named.

Trade facts, common practice, no source: a knife edge shows on all strings, a binding slot on its own.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import nnls

from setwright.bench.guided import told
from setwright.instrument.geometry import build_rig
from setwright.instrument.predict import balance_at
from setwright.instrument.traits import array
from setwright.physics.balance import at_pitch, settled_at
from setwright.planning.diagnosis import diagnose, held
from setwright.practice.hidden import Hidden, Spread
from setwright.practice.instrument import Practice
from setwright.practice.told import hello

NONE = Hidden().scaled(0.0)
DIVE, PULL = 0.2, -0.2  # rad, as far as the bar goes: the stops end it
KNIFE, GRIP = 0.02, 0.06  # N m; 1
SEEDS = (4, 7, 11)


def afloat(seed, knife=0.0, binding=None):
    """An instrument without locks, traits off what is told as usual, floating at pitch."""
    first = hello(seed)
    while first["told"]["nut"]["locked"]:
        seed += 1
        first = hello(seed)
    first["told"]["friction"]["knife"] = knife
    first["told"]["strings"]["capstan"] = [0.0] * first["strings"]
    if binding is not None:
        first["told"]["strings"]["capstan"][binding] = GRIP
    practice = Practice(first, seed, NONE, Spread())
    for turn in range(24):
        for string, hz in enumerate(first["goal"]["hz"], 1):
            practice.tune(string, hz)
        if practice.truth.at_stop:
            practice.claw(-0.5)
        elif turn >= 4 and not practice.truth.at_stop:
            break
    for _ in range(4):
        for string, hz in enumerate(first["goal"]["hz"], 1):
            practice.tune(string, hz)
    return first, practice


def diagnosed(seed, **hidden):
    """Diagnosis of a bar test: before, dive, pull."""
    first, practice = afloat(seed, **hidden)
    believed = told(first)
    traits = replace(believed.traits, bridge=replace(believed.traits.bridge, front_up=array(0.0)))
    practice.bar(DIVE)
    practice.bar(PULL)
    before = np.array(practice.truth.hertz)
    tilt = array(practice.truth.state.tilt)
    claw = balance_at(traits, believed.settings, before, tilt).settings.claw
    rig = at_pitch(build_rig(traits, replace(believed.settings, claw=claw)), before)
    state = settled_at(rig, tilt)
    practice.bar(DIVE)
    dive = 1200.0 * np.log2(np.array(practice.truth.hertz) / before)
    practice.bar(PULL)
    pull = 1200.0 * np.log2(np.array(practice.truth.hertz) / before)
    return diagnose(rig, replace(state, contact=np.zeros(1)), dive, pull), dive, pull


def named(found, sure):
    return {(c.kind, c.string) for c in found.causes if c.matters == sure}


@pytest.mark.parametrize("seed", SEEDS)
def test_neither(seed):
    found, _, _ = diagnosed(seed)
    assert named(found, "yes") == named(found, "perhaps") == set()
    assert found.fits


@pytest.mark.parametrize("seed", SEEDS)
def test_the_knife_edge_alone(seed):
    found, _, _ = diagnosed(seed, knife=KNIFE)
    assert named(found, "yes") == {("knife", None)}
    assert named(found, "perhaps") == set()
    knife = found.causes[-1]
    assert knife.moment == pytest.approx(KNIFE, rel=0.15)  # springs are off by 15 %
    assert found.fits


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("string", [0, 2, 4])
def test_one_binding_slot_alone(seed, string):
    found, dive, pull = diagnosed(seed, binding=string)
    between = dive[string] - pull[string]
    slot = found.causes[6 + string]
    assert (slot.kind, slot.string) == ("slot", string + 1)
    assert slot.cents == pytest.approx(between, rel=0.05, abs=0.1)
    expected = {("slot", string + 1)} if slot.cents > 2.0 else set()
    assert named(found, "yes") | named(found, "perhaps") == expected
    assert found.fits


@pytest.mark.parametrize("seed", SEEDS)
def test_both(seed):
    found, _, _ = diagnosed(seed, knife=KNIFE, binding=2)
    assert named(found, "yes") | named(found, "perhaps") == {("knife", None), ("slot", 3)}
    assert ("knife", None) in named(found, "yes")
    assert found.fits


@pytest.mark.parametrize("draw", range(20))
def test_trying_every_set_is_least_squares_without_negative_amounts(draw):
    rng = np.random.default_rng(draw)
    strings, causes = 6, 7
    pattern = rng.standard_normal((strings, causes)) * np.array([300.0, *[1.0] * 6])
    root = np.tril(rng.standard_normal((strings, strings))) + 3.0 * np.eye(strings)
    scale = np.array([0.01, *[5.0] * 6])
    read = 8.0 * rng.standard_normal(strings)
    whitened = np.linalg.solve(root, np.column_stack([pattern, read]))
    # in units of the prior, so that the judge is as exact as ours
    system = np.vstack([whitened[:, :-1] * scale, np.eye(causes)])
    wanted = nnls(system, np.append(whitened[:, -1], np.zeros(causes)))[0] * scale
    got, covariance = held(pattern, read, root @ root.T, scale)
    assert got / scale == pytest.approx(wanted / scale, abs=1e-9)
    assert (np.linalg.eigvalsh(covariance / np.outer(scale, scale)) > 0.0).all()
