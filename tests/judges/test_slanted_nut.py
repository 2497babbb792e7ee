"""Rest states of rigs whose strings end at places of their own (fanned frets, capo), by the energy judge."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from setwright.physics.balance import equilibrium, repeat, take
from tests.judges import energy as judge
from tests.judges.random_rigs import many

TILT = 1e-8  # rad, as in test_equilibrium
CASES = many(31, 60)


def slanted(rig, seed):
    """The nut of every string up to 8 % nearer to the joint or farther from it than that of the middle."""
    nearer = 1.0 + np.random.default_rng(seed).uniform(-0.08, 0.08, rig.axial.shape)
    return replace(
        rig, nut_x_per_bow=rig.nut_x_per_bow[:, None] * nearer, nut_y_per_bow=rig.nut_y_per_bow[:, None] * nearer**2
    )


@pytest.mark.parametrize("index", range(len(CASES)))
def test_rest_by_the_energy(index):
    case = CASES[index]
    rig = slanted(case.rig, index)
    got = equilibrium(rig, start=case.start)
    one = judge.one(rig)
    rest = judge.rest(one, case.start)
    if abs(rest.tilt - got.tilt[0]) > TILT:
        rest = judge.rest(one, case.start, march=judge.MARCH / 10.0)
    assert got.tilt[0] == pytest.approx(rest.tilt, abs=TILT)
    assert got.bow[0] == pytest.approx(rest.bow, abs=TILT)


def test_the_same_place_for_all_strings_is_the_old_rig():
    for case in CASES[:20]:
        rig = case.rig
        spread = replace(
            rig,
            nut_x_per_bow=np.broadcast_to(rig.nut_x_per_bow[:, None], rig.axial.shape),
            nut_y_per_bow=np.broadcast_to(rig.nut_y_per_bow[:, None], rig.axial.shape),
        )
        one, other = equilibrium(rig, start=case.start), equilibrium(spread, start=case.start)
        assert one.tilt == pytest.approx(other.tilt, abs=1e-12)
        assert one.tension == pytest.approx(other.tension, rel=1e-12)


def test_batches_keep_each_string_by_itself():
    rig = slanted(CASES[0].rig, 5)
    twice = repeat(rig, 2)
    assert twice.nut_y_per_bow.shape == (2, rig.axial.shape[1])
    assert np.array_equal(take(twice, np.array([1])).nut_y_per_bow, rig.nut_y_per_bow)
    state = equilibrium(twice, start=CASES[0].start)
    assert state.tilt[0] == state.tilt[1]
