"""How a floating plate answers: every figure against differences of `predict` and `tune` on twins, and its bands."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from setwright.bench.guided import as_found, guided
from setwright.instrument.geometry import build_rig, tilt_for_gap
from setwright.instrument.predict import balance_at, predict
from setwright.instrument.prior import vary
from setwright.instrument.traits import array
from setwright.planning.responses import as_it_stands, at_end, measured
from setwright.planning.tracking import lay_out
from tests.judges.by_ear import differences
from tests.judges.twin import Twin

CLOSE = 1e-5  # of a figure: what steps of a hundredth of a turn leave


def end_of(traits, settings, goal):
    """Settings and tilt of the wanted end of an instrument without a batch axis."""
    loose = replace(settings, prop=array(np.nan))
    tilt = float(tilt_for_gap(traits, loose, array(goal.gap)))
    return balance_at(traits, loose, goal.hertz, tilt).settings, tilt


@pytest.mark.parametrize("seed", range(6))
def test_every_figure_is_that_of_differences(seed):
    twin = Twin(seed)
    settings, tilt = end_of(twin.traits, twin.settings, twin.job.goal)
    other = differences(twin.traits, settings, tilt, twin.job.goal.hertz)
    own = measured(twin.traits, settings, build_rig(twin.traits, settings), np.array([tilt]))[0]
    np.testing.assert_allclose(own, other, rtol=CLOSE)


@pytest.fixture(scope="module")
def course():
    twin = Twin(3)
    return guided(twin.job, twin).course


def test_the_figures_of_the_end_are_those_of_the_most_likely_instrument(course):
    picture, goal = course.picture, course.goal
    likely = vary(picture.model.traits, picture.model.known, picture.mean[: picture.parts])
    settings, tilt = end_of(likely, replace(picture.settings, unstretched=np.zeros(len(goal.hertz))), goal)
    found = at_end(picture, goal)
    np.testing.assert_allclose(found.values, differences(likely, settings, tilt, goal.hertz), rtol=CLOSE)
    assert not found.closed


def test_the_figures_as_it_stands_are_those_of_the_present_state(course):
    picture = course.picture
    _, settings, _ = lay_out(picture, picture.mean[None])
    one = vary(picture.model.traits, picture.model.known, picture.mean[: picture.parts])
    bare = replace(settings, unstretched=settings.unstretched[0], claw=settings.claw[0])
    other = differences(one, bare, picture.tilt, predict(one, bare, start=picture.tilt).pitch)
    np.testing.assert_allclose(as_it_stands(picture).values, other, rtol=CLOSE)


@pytest.mark.parametrize("part", ["springs.rate", "bridge.saddle_up", "strings.axial[3]", "neck.bending"])
def test_slopes_are_those_of_instruments_a_little_other(course, part):
    picture, goal = course.picture, course.goal
    place = picture.model.known.index(part)
    step = 0.2 * float(np.sqrt(picture.covariance[place, place]))
    ends = []
    for way in (step, -step):
        mean = picture.mean.copy()
        mean[place] += way
        ends.append(at_end(replace(picture, mean=mean), goal).values)
    found = at_end(picture, goal)
    other = (ends[0] - ends[1]) / (2.0 * step)
    weight = np.sqrt(np.diag(picture.covariance))  # slopes count by what a standard uncertainty does
    apart = np.abs(found.by[:, place] - other) * weight[place]
    assert np.all(apart < 0.01 * found.sd(picture.covariance))
    assert np.any(np.abs(other) > 0.0)


def test_pegs_and_claw_tell_nothing_of_the_end(course):
    found = at_end(course.picture, course.goal)
    np.testing.assert_array_equal(found.by[:, course.picture.parts :], 0.0)
    assert np.any(as_it_stands(course.picture).by[:, course.picture.parts :] != 0.0)


def test_bands_are_those_of_instruments_drawn_from_the_picture(course):
    """The spread of 400 drawn instruments, each worked out whole, against the band by slopes: a tenth."""
    picture, goal = course.picture, course.goal
    count = picture.parts
    root = np.linalg.cholesky(picture.covariance[:count, :count] + 1e-18 * np.eye(count))
    draws = picture.mean[:count] + np.random.default_rng(7).standard_normal((400, count)) @ root.T
    traits = vary(picture.model.traits, picture.model.known, draws)
    bare = replace(picture.settings, prop=array(np.nan), claw=np.broadcast_to(picture.settings.claw, (400, 2)))
    tilt = tilt_for_gap(traits, bare, np.full(400, goal.gap))
    done = balance_at(traits, bare, goal.hertz, tilt).settings
    spread = measured(traits, done, build_rig(traits, done), tilt).std(axis=0)
    np.testing.assert_allclose(at_end(picture, goal).sd(picture.covariance), spread, rtol=0.15)


def test_closed_springs_are_seen():
    """Springs longer when closed than the way from block to claw leaves them."""
    twin = Twin(0)
    now = as_found(twin.job, twin)
    assert not at_end(now.picture, now.goal).closed
    long = replace(twin.job.traits.springs, initial=np.full(5, 200.0))
    model = replace(now.picture.model, traits=replace(twin.job.traits, springs=long))
    assert at_end(replace(now.picture, model=model), now.goal).closed
