"""Laws of learning: a reading never makes anything less known; tuning a string forgets that peg alone."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from setwright.instrument.geometry import tilt_limits
from setwright.instrument.predict import balance_at
from setwright.planning import tracking
from setwright.planning.course import pitch_heard
from setwright.planning.explaining import read
from setwright.planning.scenes import Seen
from setwright.planning.tracking import Picture, begin, cut_off
from tests.examples import examples
from tests.judges.twin import Twin

FEW = examples(12)
STRINGS = st.integers(0, 5)


@cache
def begun() -> Picture:
    """A decked instrument just as told, every string heard once."""
    twin = Twin(5)
    job = twin.job
    low = float(tilt_limits(job.traits, job.settings)[0])
    claw = balance_at(job.traits, job.settings, job.goal.hertz, low, 0.3).settings.claw
    picture = begin(job.traits, twin.known, replace(job.settings, claw=claw), job.goal.hertz, job.knife, low)
    seen = tuple(pitch_heard(job.goal, i, float(f), job.pitch_sd) for i, f in enumerate(job.goal.hertz))
    return read(picture, seen).picture


def near(picture: Picture, kind: str, string: int, times: float) -> Seen:
    """A reading some standard uncertainties off what is expected."""
    state = tracking.expected(picture, picture.mean[None])
    if kind == "pitch":
        return Seen("pitch", float(state.hertz[0, string] * 2.0 ** (0.4 * times / 1200.0)), 0.4, string)
    value = float(state.gap[0]) if kind == "rear gap" else float(picture.settings.claw.mean() + picture.mean[-1])
    return Seen(kind, value + 1e-4 * times, 1e-4)  # type: ignore[arg-type]


KINDS = st.sampled_from(["pitch", "rear gap", "claw"])
READINGS = st.lists(st.tuples(KINDS, STRINGS, st.floats(-2.0, 2.0)), min_size=1, max_size=4)


@FEW
@given(READINGS)
def test_a_reading_never_makes_a_trait_less_known(readings):
    """In any direction; derivatives move a little with the answer, hence a hundredth."""
    before = begun()
    after = read(before, tuple(near(before, *one) for one in readings)).picture
    known, then = before.known().covariance, after.known().covariance
    root = np.linalg.cholesky(known)
    ratio = np.linalg.solve(root, np.linalg.solve(root, then).T)
    assert np.linalg.eigvalsh(0.5 * (ratio + ratio.T)).max() <= 1.01


@FEW
@given(READINGS)
def test_what_is_believed_stays_a_covariance(readings):
    before = begun()
    after = read(before, tuple(near(before, *one) for one in readings)).picture
    sd = np.sqrt(np.diag(after.covariance))
    assert np.all(np.isfinite(after.mean))
    assert np.linalg.eigvalsh(after.covariance / np.outer(sd, sd)).min() > 0.0
    np.testing.assert_allclose(after.covariance, after.covariance.T, rtol=1e-6, atol=1e-12 * float(sd.max()) ** 2)


@FEW
@given(STRINGS, st.floats(-300.0, 50.0))
def test_tuning_forgets_that_peg_and_nothing_else(string, cents):
    before = begun()
    hertz = float(np.exp((before.mean[before.parts + string] + cents) * np.log(2.0) / 1200.0))
    after = tracking.tuned(before, string, hertz)
    place = before.parts + string
    others = np.delete(np.arange(len(before.mean)), place)
    np.testing.assert_array_equal(after.mean[others], before.mean[others])
    np.testing.assert_array_equal(after.covariance[np.ix_(others, others)], before.covariance[np.ix_(others, others)])
    assert np.all(after.covariance[place, others] == 0.0)
    assert after.covariance[place, place] == tracking.LOOSE**2
    assert [a == b for a, b in zip(after.now, before.now, strict=True)] == [i != string for i in range(6)]


@FEW
@given(st.floats(-2.0, 2.0), st.floats(-2.0, 2.0))
def test_turning_there_and_back_ends_at_the_same_place_less_well_known(one, two):
    before = begun()
    after = tracking.turned(tracking.turned(tracking.turned(before, one), two), -(one + two))
    np.testing.assert_allclose(after.settings.claw, before.settings.claw, atol=1e-12)
    assert after.covariance[-1, -1] > before.covariance[-1, -1]
    assert after.turns == before.turns + 3


@given(st.floats(-30.0, 8.0))
def test_a_cut_moves_the_mean_up_and_never_widens(mean):
    moved, variance = cut_off(mean)
    assert moved >= max(mean, 0.0)
    assert 0.0 < variance <= 1.0
