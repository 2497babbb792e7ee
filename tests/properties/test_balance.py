"""Laws the balance must keep, whatever the instrument."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from setwright.physics.balance import (
    Rig,
    at_pitch,
    equilibrium,
    pegs_fixed,
    pitches,
    repeat,
    settled_at,
    take,
    unstretched_lengths,
    with_claw_shift,
)
from setwright.physics.balance.rig import SPRING_FIELDS, STRING_FIELDS
from tests.examples import examples
from tests.judges.random_rigs import RECIPES, Case, many, random_case, stack

seeds = st.integers(0, 2**32 - 1)
EXAMPLES = examples(60)


def case_of(seed: int, recipe: str | None = None) -> Case:
    rng = np.random.default_rng(seed)
    kind = recipe or RECIPES[int(rng.integers(len(RECIPES)))]
    return random_case(rng, kind, (6, 4, 7)[int(rng.integers(3))])


def at_rest(seed: int) -> Case:
    """A floating rig with its pegs and springs such that it rests clear of the stops, open springs, taut strings."""
    for more in range(1000):
        case = case_of((seed + more) % 2**32, "floating")
        state = equilibrium(case.rig, start=case.wanted)
        if state.free[0] and (state.tension > 20.0).all() and state.stiffness[0] > 1.0:
            return case
    raise AssertionError("no floating rig in a thousand")


@EXAMPLES
@given(seeds)
def test_residual_is_zero_or_the_contact_presses_on_the_stop(seed: int) -> None:
    case = case_of(seed)
    state = equilibrium(case.rig, start=case.start)
    missing = settled_at(case.rig, state.tilt).contact[0]
    if state.free[0]:
        assert abs(missing) < 1e-8
    elif state.contact[0] > 0.0:
        assert state.tilt[0] == case.rig.tilt_low[0]
        assert missing == pytest.approx(state.contact[0], abs=1e-8)
    else:
        assert state.tilt[0] == case.rig.tilt_high[0]
        assert missing == pytest.approx(state.contact[0], abs=1e-8)
    assert case.rig.tilt_low[0] <= state.tilt[0] <= case.rig.tilt_high[0]


@EXAMPLES
@given(seeds, st.floats(0.2, 5.0))
def test_all_forces_times_a_factor_leave_the_tilt(seed: int, factor: float) -> None:
    case = case_of(seed)
    names = ("axial", "rate", "initial", "closed_rate", "weight_x", "weight_y", "bow_stiffness")
    scaled = replace(case.rig, **{name: getattr(case.rig, name) * factor for name in names})
    one, two = equilibrium(case.rig, start=case.start), equilibrium(scaled, start=case.start)
    assert two.tilt == pytest.approx(one.tilt, abs=1e-9)
    assert two.tension == pytest.approx(one.tension * factor, rel=1e-6, abs=1e-6)


@EXAMPLES
@given(seeds, st.floats(0.5, 2.0))
def test_all_lengths_times_a_factor_leave_the_tilt(seed: int, factor: float) -> None:
    case = case_of(seed)
    long = ["nut_x", "nut_y", "saddle_aft", "saddle_up", "aside", "dead", "unstretched", "hook_aft"]
    long += ["hook_up", "claw_x", "claw_y", "slant", "free", "centre_aft", "centre_up"]
    power = dict.fromkeys(long, 1) | {"rate": -1, "closed_rate": -1, "bow_free": -1, "bow_stiffness": 3}
    power |= {"nut_x_per_bow": 2, "nut_y_per_bow": 2}
    scaled = replace(case.rig, **{name: getattr(case.rig, name) * factor**n for name, n in power.items()})
    one, two = equilibrium(case.rig, start=case.start), equilibrium(scaled, start=case.start)
    assert two.tilt == pytest.approx(one.tilt, abs=1e-9)


@EXAMPLES
@given(seeds)
def test_treble_and_bass_changing_sides_change_nothing(seed: int) -> None:
    case = case_of(seed)
    turned = {name: getattr(case.rig, name)[:, ::-1] for name in (*STRING_FIELDS, *SPRING_FIELDS)}
    turned["aside"], turned["slant"] = -turned["aside"], -turned["slant"]
    mirror = replace(case.rig, **turned)
    one, two = equilibrium(case.rig, start=case.start), equilibrium(mirror, start=case.start)
    assert two.tilt == pytest.approx(one.tilt, abs=1e-10)
    assert two.tension[:, ::-1] == pytest.approx(one.tension, abs=1e-6)


@EXAMPLES
@given(seeds, st.floats(1e-5, 3e-3))
def test_claw_in_lowers_the_rear_and_raises_every_pitch(seed: int, turn: float) -> None:
    case = at_rest(seed)
    axis = np.ones_like(case.rig.claw_x)
    rest = equilibrium(case.rig, start=case.wanted)
    tight = with_claw_shift(case.rig, np.array([-turn]), axis, 0.0 * axis)
    after = equilibrium(tight, start=rest.tilt)
    assert after.tilt[0] < rest.tilt[0]
    assert (pitches(tight, after) > pitches(case.rig, rest)).all()


@examples(15)
@given(seeds, st.integers(2, 24))
def test_a_member_does_not_depend_on_its_neighbours(seed: int, size: int) -> None:
    made = many(seed, size, widths=(6,))
    starts = np.array([case.start for case in made])
    whole = equilibrium(stack([case.rig for case in made]), start=starts)
    for n, case in enumerate(made):
        alone = equilibrium(case.rig, start=case.start)
        for f in fields(whole):
            assert getattr(whole, f.name)[n] == pytest.approx(getattr(alone, f.name)[0], rel=1e-12, abs=1e-12), f.name


def test_a_batch_larger_than_a_chunk_equals_its_repetitions() -> None:
    made = many(3, 36, widths=(6,))
    rig = stack([case.rig for case in made])
    once, often = equilibrium(rig), equilibrium(repeat(rig, 80))
    assert often.tilt.shape == (2880,)
    assert (often.tilt.reshape(80, 36) == once.tilt).all()
    assert (equilibrium(take(rig, np.array([5, 7]))).tilt == once.tilt[[5, 7]]).all()


@EXAMPLES
@given(seeds, st.floats(0.05, 0.5))
def test_weight_pulls_the_plate_its_own_way(seed: int, mass: float) -> None:
    """Centre of mass behind and below the pivot: on its back the rear sinks, face down or upright it rises."""
    case = at_rest(seed)
    rig = replace(case.rig, centre_aft=np.array([0.01]), centre_up=np.array([-0.01]))
    none = replace(rig, weight_x=np.zeros(1), weight_y=np.zeros(1))
    pull = np.array([9.81 * mass])
    rest = equilibrium(none, start=case.wanted).tilt[0]
    if abs(rest) > 0.2:
        return
    assert equilibrium(replace(none, weight_y=-pull), start=rest).tilt[0] <= rest
    assert equilibrium(replace(none, weight_y=pull), start=rest).tilt[0] >= rest
    assert equilibrium(replace(none, weight_x=pull), start=rest).tilt[0] >= rest


@EXAMPLES
@given(seeds)
def test_stiffness_is_the_slope_of_the_holding_moment(seed: int) -> None:
    case = at_rest(seed)
    held = at_pitch(case.rig, case.hertz)
    for rig in (case.rig, held):
        tilt, step = case.wanted + 0.013, 1e-5
        here = settled_at(rig, tilt)
        low, high = settled_at(rig, tilt - step).contact, settled_at(rig, tilt + step).contact
        one_sided = settled_at(rig, tilt + 2 * step).stiffness[0], settled_at(rig, tilt - 2 * step).stiffness[0]
        if max(abs(s - here.stiffness[0]) for s in one_sided) < 0.01:  # no spring opens or closes in between
            assert (high - low)[0] / (2 * step) == pytest.approx(here.stiffness[0], abs=2e-4)


@EXAMPLES
@given(seeds)
def test_retuning_takes_stiffness_away(seed: int) -> None:
    """Usual rigs: the strings' own stretch no longer helps to hold the plate."""
    case = at_rest(seed)
    state = equilibrium(case.rig, start=case.wanted)
    held = at_pitch(case.rig, pitches(case.rig, state))
    assert settled_at(held, state.tilt).stiffness[0] < state.stiffness[0]


@EXAMPLES
@given(seeds)
def test_pitch_to_pegs_to_pitch(seed: int) -> None:
    case = at_rest(seed)
    held = at_pitch(case.rig, case.hertz)
    state = settled_at(held, case.wanted)
    fixed = pegs_fixed(case.rig, unstretched_lengths(held, state))
    again = settled_at(fixed, case.wanted)
    assert pitches(fixed, again)[0] == pytest.approx(case.hertz, rel=1e-9)
    assert isinstance(fixed, Rig)
