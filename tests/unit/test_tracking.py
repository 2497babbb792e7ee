"""The picture of an instrument in the middle of the work: what a turn changes in it, and what it leaves alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import truncnorm

from setwright.bench.guided import told
from setwright.errors import InputError
from setwright.instrument.geometry import tilt_limits
from setwright.instrument.predict import balance_at, predict
from setwright.instrument.told import believed
from setwright.instrument.traits import array
from setwright.planning import tracking
from setwright.planning.tracking import CLAW_SLIP, LOOSE, Picture, Pressed, begin, cut_off, firm
from tests.judges.twin import greeting

JOB = told(greeting())
FLAT = 0.9  # of the wanted pitches, on a plate that would lie decked with 0.3 N m at pitch


@pytest.fixture(scope="module")
def picture() -> Picture:
    low = float(tilt_limits(JOB.traits, JOB.settings)[0])
    decked = balance_at(JOB.traits, JOB.settings, JOB.goal.hertz, low, 0.3).settings
    noted = replace(JOB.settings, claw=decked.claw)
    return begin(JOB.traits, believed(JOB.traits), noted, FLAT * JOB.goal.hertz, JOB.knife, low)


def test_at_first_the_pegs_hold_what_was_heard(picture):
    state = tracking.expected(picture, picture.mean[None])
    assert np.abs(1200 * np.log2(state.hertz[0] / (FLAT * JOB.goal.hertz))).max() < 1e-3
    assert state.tilt[0] == pytest.approx(picture.tilt)


def test_the_state_expected_is_that_of_the_forward_model(picture):
    """The same settings given to `predict`, which builds its rig and finds its rest for itself."""
    traits, settings, _ = tracking.lay_out(picture, picture.mean[None])
    seen = predict(traits, settings, start=picture.tilt)
    state = tracking.expected(picture, picture.mean[None])
    np.testing.assert_allclose(state.hertz, seen.pitch, rtol=1e-9)
    np.testing.assert_allclose(state.gap, np.mean(seen.rear_gap, axis=-1), atol=1e-9)


def test_a_slack_string_cannot_begin(picture):
    hertz = FLAT * JOB.goal.hertz
    hertz[2] = 0.0
    with pytest.raises(InputError, match="string 3 is slack"):
        begin(JOB.traits, believed(JOB.traits), JOB.settings, hertz, JOB.knife, picture.tilt)


def test_the_most_likely_instrument_at_first_is_the_nominal_one(picture):
    likely = tracking.most_likely(picture)
    np.testing.assert_array_equal(likely.springs.rate, JOB.traits.springs.rate)
    assert picture.known().mean.shape == (picture.parts,)
    np.testing.assert_array_equal(picture.known().covariance, believed(JOB.traits).covariance)


def test_a_tuned_string_sounds_as_it_was_brought_to(picture):
    after = tracking.tuned(picture, 4, 100.0)
    heard = tracking.expected(after, after.mean[None]).hertz[0]
    assert heard[4] == pytest.approx(100.0, rel=1e-6)
    assert after.now == (0, 1, 2, 3, 6, 5)
    assert len(after.pegs) == 7
    assert after.fresh
    place = picture.parts + 4
    assert after.covariance[place, place] == LOOSE**2


def test_a_turned_claw_moves_by_its_lead_and_is_known_less(picture):
    lead = float(JOB.traits.claw.lead)
    after = tracking.turned(picture, 0.5)
    np.testing.assert_allclose(after.settings.claw, picture.settings.claw - 0.5 * lead)
    assert after.covariance[-1, -1] == pytest.approx(picture.covariance[-1, -1] + (CLAW_SLIP * lead) ** 2)
    assert (after.turns, after.fresh) == (1, True)
    np.testing.assert_array_equal(after.mean, picture.mean)


def test_a_wedge_lifts_the_plate_to_its_gap(picture):
    after = tracking.changed(picture, replace(picture.settings, prop=array(2.6e-3)))
    assert tracking.expected(after, after.mean[None]).gap[0] == pytest.approx(2.6e-3, abs=2e-4)  # mean of uneven ends
    assert after.tilt > picture.tilt
    back = tracking.changed(after, picture.settings)
    assert back.tilt == pytest.approx(picture.tilt, abs=1e-9)


@pytest.mark.parametrize("mean", [-7.5, -3.0, -1.0, 0.0, 0.5, 2.0, 4.0])
def test_a_cut_gaussian_is_that_of_another_library(mean):
    """scipy.stats.truncnorm; the variance is kept from falling below a hundredth."""
    other = truncnorm(-mean, np.inf, loc=mean)
    got = cut_off(mean)
    assert got[0] == pytest.approx(other.mean(), rel=1e-9, abs=1e-9)
    assert got[1] == pytest.approx(max(other.var(), 0.01), rel=1e-6)


def test_far_below_the_cut_the_mean_is_taken_as_eight_deviations():
    assert cut_off(-50.0) == cut_off(-8.0)


def pressed(picture, value, part="springs.rate"):
    slope = np.zeros(picture.parts)
    slope[picture.model.known.index(part)] = 4.0
    return Pressed(value, picture.mean[: picture.parts], slope)


def test_without_findings_firm_changes_nothing(picture):
    assert firm(picture) is picture


def test_a_plate_that_surely_presses_says_nothing(picture):
    sure = replace(picture, pressed=(pressed(picture, 10.0),))
    assert firm(sure) is sure


def test_a_trait_that_moves_nothing_says_nothing(picture):
    nothing = Pressed(-1.0, picture.mean[: picture.parts], np.zeros(picture.parts))
    still = replace(picture, pressed=(nothing,))
    assert firm(still) is still


def test_a_plate_that_pressed_cuts_off_the_instruments_that_would_lift(picture):
    """The moment is 4 N m x the deviation of the rate (0.15 as one deviation): a Gaussian cut at 0."""
    after = firm(replace(picture, pressed=(pressed(picture, -0.3),)))
    place = picture.model.known.index("springs.rate")
    other = truncnorm(0.5, np.inf, loc=-0.3, scale=0.6)
    assert -0.3 + 4.0 * after.mean[place] == pytest.approx(other.mean(), rel=1e-6)
    assert 16.0 * after.covariance[place, place] == pytest.approx(other.var(), rel=1e-6)
    others = np.delete(np.arange(len(picture.mean)), place)
    np.testing.assert_array_equal(after.mean[others], picture.mean[others])
    np.testing.assert_array_equal(after.covariance[np.ix_(others, others)], picture.covariance[np.ix_(others, others)])


def test_of_several_findings_the_one_that_cuts_off_most_counts_once(picture):
    tight, loose = pressed(picture, -0.3), pressed(picture, 0.9)
    alone = firm(replace(picture, pressed=(tight,)))
    for order in ((tight, loose), (loose, tight), (tight, tight)):
        together = firm(replace(picture, pressed=order))
        np.testing.assert_allclose(together.mean, alone.mean)
        np.testing.assert_allclose(together.covariance, alone.covariance)
