"""The claw found for a tilt really lets the plate rest there."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from setwright.physics.balance import (
    ClawAnswer,
    Rig,
    at_pitch,
    claw_for_tilt,
    equilibrium,
    pegs_fixed,
    settled_at,
    unstretched_lengths,
    with_claw_shift,
)
from tests.judges import energy as judge
from tests.judges.random_rigs import Case, random_case, stack

KINDS = ("floating", "decked", "upper stop", "closed spring", "slack spring", "heavy plate")


def solved(case: Case, tilt: float, angle: float) -> tuple[ClawAnswer, Rig]:
    """Answer, and the rig at pitch with its claw moved and its stops out of the way."""
    rig = replace(at_pitch(case.rig, case.hertz), tilt_low=np.array([-0.4]), tilt_high=np.array([0.4]))
    axis_x, axis_y = np.full_like(rig.claw_x, np.cos(angle)), np.full_like(rig.claw_x, np.sin(angle))
    answer = claw_for_tilt(rig, tilt, axis_x, axis_y)
    return answer, with_claw_shift(rig, answer.shift, axis_x, axis_y)


def test_the_plate_rests_where_wanted_with_the_pegs_then_left_alone() -> None:
    rng = np.random.default_rng(6)
    rested = retuned = 0
    for n in range(120):
        case = random_case(rng, KINDS[n % len(KINDS)], (6, 4, 7)[n % 3])
        tilt = case.wanted + rng.uniform(-0.03, 0.03)
        answer, moved = solved(case, tilt, rng.uniform(-0.2, 0.2))
        if not answer.reached[0]:
            continue
        one = judge.one(moved)
        assert abs(judge.slope(one, tilt)) < 1e-9, n  # N m, of some 20
        fixed = pegs_fixed(moved, unstretched_lengths(moved, answer.state))
        if settled_at(fixed, tilt).stiffness[0] > 0.5:
            assert equilibrium(fixed, start=tilt + 2e-4).tilt[0] == pytest.approx(tilt, abs=1e-8), n
            assert judge.rest(judge.one(fixed), tilt + 2e-4).tilt == pytest.approx(tilt, abs=1e-8), n
            rested += 1
        if settled_at(moved, tilt).stiffness[0] > 0.5:  # else it runs away as it is retuned
            assert equilibrium(moved, start=tilt).tilt[0] == pytest.approx(tilt, abs=1e-8), n
            retuned += 1
    assert rested >= 80
    assert retuned >= 60


def test_a_moment_by_an_arm_is_carried_by_the_claw() -> None:
    case = random_case(np.random.default_rng(1), "floating")
    rig = at_pitch(case.rig, case.hertz)
    axis = np.ones_like(rig.claw_x)
    answer = claw_for_tilt(rig, case.wanted, axis, 0.0 * axis, moment=0.4)
    moved = with_claw_shift(rig, answer.shift, axis, 0.0 * axis)
    assert answer.reached[0]
    assert judge.slope(judge.one(moved), case.wanted) == pytest.approx(0.4, abs=1e-9)


def test_what_cannot_be_reached_is_flagged() -> None:
    case = random_case(np.random.default_rng(1), "floating")
    none = Case(case.recipe, replace(case.rig, present=0.0 * case.rig.present), case.hertz, case.wanted, 0.0)
    assert not solved(none, case.wanted, 0.0)[0].reached[0]
    weak = Case(case.recipe, replace(case.rig, rate=0.01 * case.rig.rate), case.hertz, case.wanted, 0.0)
    assert not solved(weak, case.wanted, 0.0)[0].reached[0]
    assert solved(case, case.wanted, 0.0)[0].reached[0]


def test_a_plate_pulled_the_other_way_by_its_strings_cannot_be_balanced() -> None:
    """Springs only pull: with the arm lifting so hard that they would have to push, nothing is reached."""
    case = random_case(np.random.default_rng(1), "floating")
    rig = at_pitch(case.rig, case.hertz)
    axis = np.ones_like(rig.claw_x)
    assert not claw_for_tilt(rig, case.wanted, axis, 0.0 * axis, moment=-60.0).reached[0]


def test_each_member_of_a_batch_gets_its_own_answer() -> None:
    rng = np.random.default_rng(9)
    made = [random_case(rng, "floating") for _ in range(12)]
    rig = at_pitch(stack([c.rig for c in made]), np.stack([c.hertz for c in made]))
    axis = np.ones_like(rig.claw_x)
    together = claw_for_tilt(rig, np.array([c.wanted for c in made]), axis, 0.0 * axis)
    for n, case in enumerate(made):
        alone = claw_for_tilt(at_pitch(case.rig, case.hertz), case.wanted, axis[:1], 0.0 * axis[:1])
        assert together.shift[n] == pytest.approx(alone.shift[0], abs=1e-12)
