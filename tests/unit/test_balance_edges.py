"""Edges of the balance: no room, no number, nothing to hold, large batches."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from setwright.errors import RangeError
from setwright.physics.balance import equilibrium, settled_at, swing
from setwright.physics.balance.moments import moments, pack, pick, spring_law
from tests.judges.random_rigs import many, random_case, stack


def test_stops_that_leave_no_room_are_refused() -> None:
    rig = many(1, 1)[0].rig
    with pytest.raises(RangeError, match="leave no room"):
        equilibrium(replace(rig, tilt_low=np.array([0.1]), tilt_high=np.array([0.0])))


@pytest.mark.parametrize("name", ["rate", "saddle_up", "weight_y", "bow_free", "tilt_low"])
@pytest.mark.filterwarnings("ignore:invalid value:RuntimeWarning")
def test_what_is_no_number_is_refused(name: str) -> None:
    rig = many(1, 1)[0].rig
    with pytest.raises(RangeError, match="not a finite number"):
        equilibrium(replace(rig, **{name: np.full_like(getattr(rig, name), np.nan)}))


def test_a_moment_or_start_that_is_no_number_is_refused() -> None:
    rig = many(1, 1)[0].rig
    with pytest.raises(RangeError, match="not a finite number"):
        equilibrium(rig, moment=np.nan)
    with pytest.raises(RangeError, match="not a finite number"):
        equilibrium(rig, start=np.nan)


def test_nothing_hung_nothing_strung_falls_by_its_weight_to_the_stop() -> None:
    rig = many(1, 1)[0].rig
    bare = replace(rig, unstretched=np.full_like(rig.axial, np.nan), present=0.0 * rig.present)
    down = replace(bare, weight_x=np.zeros(1), weight_y=np.array([-3.0]), centre_aft=np.array([0.01]))
    assert equilibrium(down).tilt[0] == rig.tilt_low[0]
    assert equilibrium(replace(down, weight_y=np.array([3.0]))).tilt[0] == rig.tilt_high[0]


def test_nothing_at_all_stays_finite() -> None:
    rig = many(1, 1)[0].rig
    bare = replace(
        rig,
        unstretched=np.full_like(rig.axial, np.nan),
        present=0.0 * rig.present,
        weight_x=np.zeros(1),
        weight_y=np.zeros(1),
    )
    state = equilibrium(bare)
    assert rig.tilt_low[0] <= state.tilt[0] <= rig.tilt_high[0]
    assert state.stiffness[0] == 0.0


def test_a_blocked_plate_stays_and_says_what_it_presses() -> None:
    rig = many(1, 1)[0].rig
    fast = replace(rig, tilt_low=np.array([0.01]), tilt_high=np.array([0.01]))
    state = equilibrium(fast, start=0.3)
    assert state.tilt[0] == 0.01
    assert state.contact[0] == pytest.approx(settled_at(rig, 0.01).contact[0], abs=1e-9)


def test_the_moment_of_an_arm_moves_the_plate_its_way() -> None:
    case = random_case(np.random.default_rng(1), "floating")
    rest = equilibrium(case.rig).tilt[0]
    assert equilibrium(case.rig, moment=0.05).tilt[0] > rest > equilibrium(case.rig, moment=-0.05).tilt[0]


def test_a_string_slack_at_the_end_of_a_dive_or_from_the_start_is_marked() -> None:
    case = random_case(np.random.default_rng(1), "floating")
    loose = case.rig.unstretched.copy()
    loose[:, 4] = np.nan
    loose[:, 5] *= 1.02
    rig = replace(case.rig, unstretched=loose, tilt_high=np.array([0.45]))
    rest = equilibrium(rig)
    bar = swing(rig, rest)
    assert (bar.tilt_down, bar.tilt_up) == (rig.tilt_high, rig.tilt_low)
    assert np.isnan(bar.down[0, 4:]).all()
    assert np.isnan(bar.up[0, 4:]).all()
    assert np.isfinite(bar.up[0, :4]).all()
    assert np.isneginf(bar.down[0, :4]).any()


def test_spring_law_on_its_three_branches() -> None:
    span = np.array([0.0679, 0.06795, 0.068, 0.078])
    force, stiff = spring_law(span, *(np.array(v) for v in (3500.0, 12.0, 0.068, 2e5, 1.0)))
    assert force == pytest.approx([0.0, 2.0, 12.0, 47.0])
    assert stiff.tolist() == [0.0, 2e5, 3500.0, 3500.0]
    assert spring_law(span, *(np.array(v) for v in (3500.0, 12.0, 0.068, 2e5, 0.0)))[0].tolist() == [0.0] * 4


def test_members_picked_from_a_packed_batch_are_the_same() -> None:
    rig = stack([case.rig for case in many(2, 12, widths=(6,))])
    tilt = np.linspace(-0.02, 0.02, 12)
    index = np.array([7, 2])
    whole = moments(pack(rig), tilt, rig.bow_free)
    some = moments(pick(pack(rig), index), tilt[index], rig.bow_free[index])
    assert (some.tilt == whole.tilt[index]).all()
    assert (some.tension == whole.tension[:, index]).all()
