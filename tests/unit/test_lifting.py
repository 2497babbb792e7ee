"""A plate that may lift off its wedge: against draws of the whole instrument, and the integrals against draws."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from setwright.bench.foretold import foretold
from setwright.bench.guided import wanting
from setwright.planning import lifting, tracking
from setwright.planning.lifting import on_its_wedge, risen
from setwright.planning.outlook import cents_off, view
from setwright.planning.scenes import fan, slopes
from setwright.planning.tracking import expected
from tests.judges.twin import Twin, until_the_claw

AT_PITCH = 5  # seed of a twin found at pitch
DRAWS = 1500


@pytest.mark.parametrize("mean", [-3.0, -1.0, 0.0, 0.7, 4.0])
def test_the_greater_of_none_and_a_gaussian(mean):
    """2 000 000 draws, mirrored: standard error of the mean under 0.1 % of the standard deviation."""
    x = np.random.default_rng(3).standard_normal(1_000_000)
    some = np.maximum(mean * 0.2 + 0.2 * np.concatenate([x, -x]), 0.0)
    first, variance, share = risen(mean * 0.2, 0.2)
    assert first == pytest.approx(some.mean(), abs=3e-4)
    assert np.sqrt(variance) == pytest.approx(some.std(), abs=6e-4)
    assert share == pytest.approx((some > 0.0).mean(), abs=2e-3)


@pytest.fixture(scope="module")
def wedged():
    """A twin on its wedge, a spring off before, its claw not turned yet: course and advice."""
    twin = Twin(AT_PITCH)
    course, advice = until_the_claw(twin, wanting(twin.job, "claw settings"))
    return view(course).course, advice


@pytest.mark.parametrize("share", [0.9, 1.1])
def test_pitches_and_gap_are_those_of_many_instruments(wedged, share):
    """Instruments drawn from all that is believed, each rolled to its rest, the knife edge holding either way.

    The way a plate would rise is a little skewed, the more so upwards, which leaves a third of the spread; the straight
    line on from a plate that is expected to rest leaves nine tenths.
    """
    course, advice = wedged
    after = tracking.turned(course.picture, share * advice.turns)
    rng = np.random.default_rng(11)
    at = rng.multivariate_normal(after.mean, after.covariance, DRAWS, method="eigh")
    states = expected(after, at, after.model.friction * rng.standard_normal(DRAWS))
    lifted = (states.tilt > states.rig.tilt_low + 1e-5).mean()
    assert 0.02 < lifted < 0.98  # neither a plate that surely rests nor one that surely floats
    drawn = np.column_stack([cents_off(states.hertz, course.goal.hertz), states.gap])
    told = on_its_wedge(after, course.goal.hertz)
    assert told is not None
    sd = drawn.std(axis=0)
    up = [*range(2, 7)]  # strings that are up, and the gap
    assert np.abs((told.values - drawn.mean(axis=0)) / sd)[up].max() < 0.25
    np.testing.assert_allclose(told.sd[up], sd[up], rtol=0.35)
    if share < 1.0:
        step = tracking.steps(after)
        straight = slopes(cents_off(expected(after, fan(after.mean, step)).hertz, course.goal.hertz), step)
        line = np.sqrt(np.einsum("sn,nm,sm->s", straight, after.covariance, straight))
        assert np.all(line[2:] < 0.2 * sd[2:-1])


def test_a_step_of_the_claw_is_foretold_so(wedged):
    course, advice = wedged
    told = foretold(course, advice)
    assert told is not None
    expected_ = on_its_wedge(tracking.turned(course.picture, advice.turns), course.goal.hertz)
    assert expected_ is not None
    assert (*told.cents, told.gap) == pytest.approx(tuple(expected_.values))
    assert (*told.cents_sd, told.gap_sd) == pytest.approx(tuple(expected_.sd))


def test_nothing_of_it_is_asked_without_a_wedge_or_without_a_hold(wedged, monkeypatch):
    course, advice = wedged
    hertz = course.goal.hertz
    assert on_its_wedge(tracking.without_wedge(course.picture), hertz) is None
    settled_at = lifting.settled_at
    monkeypatch.setattr(
        lifting, "settled_at", lambda rig, tilt: replace(settled_at(rig, tilt), stiffness=-np.ones(rig.batch))
    )
    assert on_its_wedge(tracking.turned(course.picture, advice.turns), hertz) is None


def test_a_plate_that_floats_already_goes_on_in_a_straight_line(wedged):
    course, advice = wedged
    after = tracking.turned(course.picture, 3.0 * advice.turns)
    straight = expected(after, after.mean[None])
    told = on_its_wedge(after, course.goal.hertz)
    assert told is not None
    assert straight.tilt[0] > straight.rig.tilt_low[0] + 5e-3
    assert told.values[-1] == pytest.approx(straight.gap[0], abs=2e-5)
