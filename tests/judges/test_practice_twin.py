"""Two forward models written apart: with its hidden effects off the practice instrument agrees with the planner's.

Twin assumptions: even neck, sharp knife edge, no friction, linear strings, traits as told. What is left is how far each
solver closes: 0.05 cent and 2 micrometres are a twentieth of what a technician can set or read.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from setwright.instrument.geometry import build_rig, edge_gap
from setwright.instrument.settings import Settings
from setwright.instrument.told import traits_told
from setwright.instrument.traits import array
from setwright.physics.balance import equilibrium, pitches
from setwright.practice.hidden import Hidden, Spread
from setwright.practice.instrument import Practice
from setwright.practice.physics import Rest, gap_at, rest
from setwright.practice.told import hello

CENTS, GAP = 0.05, 2e-6
ATTITUDES = {"playing": "playing", "flat": "on its back", "upright": "upright", "face_down": "face down"}
SEEDS = range(12)  # all three kinds of bridge


def twin(seed, tilted=0.0):
    """An instrument exactly as told, brought to float at pitch by the planner's own round and round."""
    first = hello(seed)
    first["told"]["neck"]["angle"] = tilted
    practice = Practice(first, seed, Hidden().scaled(0.0), Spread().scaled(0.0))
    return first, practice


def planned(first, state):
    """Pitches and rear gap of the planner's equilibrium for the same settings."""
    traits = traits_told(first["told"])
    # no front edge is told: out of the way, so that no stop acts which only one of the two knows
    traits = replace(traits, bridge=replace(traits.bridge, front_up=array(0.0)))
    count, zero = traits.string_count, array(0.0)
    hung = array([float(i in state.hung) for i in range(len(first["told"]["springs"]["hooks"]))])
    settings = Settings(
        unstretched=array(state.whole), claw=array([state.claw, state.claw]), springs=hung, pivot_rise=np.zeros(2),
        saddle_rise=np.zeros(count), saddle_back=np.zeros(count), strip=zero, wedge_shim=zero, flat=zero, rod=zero,
        slot_cut=np.zeros(count), prop=array(np.nan if state.wedge is None else state.wedge), block=array(np.nan),
        attitude=ATTITUDES[state.attitude], temperature=first["told"]["thermal"]["T_ref"] + state.warm,
    )  # fmt: skip
    rig = build_rig(traits, settings)
    if traits.nut.locked:
        grown = 1.0 + first["told"]["thermal"]["alpha_string"] * state.warm
        rig = replace(rig, unstretched=grown * array(state.main)[None])
    found = equilibrium(rig, start=array([state.tilt]))
    return pitches(rig, found)[0], float(edge_gap(traits, settings, found.tilt).mean())


def differences(first, practice, state):
    """Cents and metres between the two."""
    own: Rest = rest(practice._body, state)
    hertz, gap = planned(first, own.state)
    sounding = np.array(own.hertz)
    assert (sounding > 0.0).all()
    return np.abs(1200 * np.log2(sounding / hertz)).max(), abs(gap_at(practice._body.plate, own.state.tilt) - gap)


def floating(first, practice):
    """Let the claw out and tune, round and round, until the plate floats."""
    for _ in range(12):
        practice.claw(-0.5)
        for string, hz in enumerate(first["goal"]["hz"], 1):
            practice.tune(string, hz)
        if not practice.truth.at_stop:
            break


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("attitude", ATTITUDES)
def test_both_find_the_same_rest(seed, attitude):
    first, practice = twin(seed, tilted=0.004 * (seed % 3 - 1))
    decked = practice.truth.state
    assert practice.truth.at_stop
    cents, gap = differences(first, practice, decked)
    assert cents < CENTS
    assert gap < GAP
    floating(first, practice)
    assert not practice.truth.at_stop
    for change in ({}, {"warm": 6.0}, {"claw": practice.truth.state.claw + 4e-4}):
        cents, gap = differences(first, practice, replace(practice.truth.state, attitude=attitude, **change))
        assert cents < CENTS
        assert gap < GAP


def test_propped_by_a_wedge_they_agree_too():
    first, practice = twin(4)
    practice.wedge(first["goal"]["rear_gap"])
    assert practice.truth.at_stop
    cents, gap = differences(first, practice, practice.truth.state)
    assert cents < CENTS
    assert gap < GAP


def test_the_hidden_effects_are_seen():
    """The same comparison with the usual hidden effects misses by far more."""
    first = hello(4)
    practice = Practice(first, 4, Hidden(), Spread().scaled(0.0))
    hertz, _ = planned(first, practice.truth.state)
    assert np.abs(1200 * np.log2(np.array(practice.truth.hertz) / hertz)).max() > 1.0
