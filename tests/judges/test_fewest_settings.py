"""Fewest claw settings on practice instruments, whose physics and hidden effects the planner does not know.

The same instruments are balanced both ways. Bars: none fails, no string more than 50 cents over its final pitch,
tunings as for fewest minutes, a third setting of the claw in 1 of 10 at most where the other way has it in more. Bands
of 95 in 100 of the rear gap hold the truth: 30 errors that last leave that a spread of 4.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from setwright.bench.guided import guided, told, wanting
from setwright.practice.instrument import Practice
from setwright.practice.physics import gap_at
from setwright.practice.told import hello

SEEDS = range(3000, 3030)
MEDIAN, MOST, ANY = 14, 20, 24  # tunings
HIGHEST = 50.0  # cents
SELDOM = 0.1  # share of jobs with a third setting
BAND = 1.959964  # 95 % of a Gaussian


@cache
def worked(seed, fewest):
    """Verdict, how the work ended, and by how many standard uncertainties the gap was off as stated, wedge out."""
    first = hello(seed)
    practice = Practice(first, seed)
    off = []

    def say(advice, course):
        propped = np.isfinite(course.picture.settings.prop)
        if advice.gap_now is not None and all(course.heard) and not propped and not practice.truth.at_stop:
            true = gap_at(practice.body.plate, practice.truth.state.tilt)
            off.append((advice.gap_now - true) / advice.gap_sd)

    done = guided(wanting(told(first), fewest), practice, say)
    return practice.done(), done, off


@pytest.mark.slow
@pytest.mark.parametrize("seed", SEEDS)
def test_they_are_brought_home(seed):
    verdict, done, _ = worked(seed, "claw settings")
    assert done.advice.do == "done", seed
    assert verdict.passed, (seed, verdict)
    assert verdict.counts["tune"] <= ANY, (seed, verdict.counts)
    assert verdict.peak_cents_above_target <= HIGHEST, (seed, verdict.peak_cents_above_target)
    springs = [(one.hung, len(one.springs)) for one in done.steps if one.do == "springs"]
    assert springs == [] or (len(springs) == 2 and springs[0] == springs[1][::-1]), springs


@pytest.mark.slow
def test_a_third_setting_is_seldom_and_tunings_are_as_few():
    counts = [worked(seed, "claw settings")[0].counts for seed in SEEDS]
    tunings = np.array([one["tune"] for one in counts])
    assert np.median(tunings) <= MEDIAN
    assert np.percentile(tunings, 95) <= MOST
    third = np.mean([one["claw"] > 2 for one in counts])
    other = np.mean([worked(seed, "minutes")[0].counts["claw"] > 2 for seed in SEEDS])
    assert third <= SELDOM < other


@pytest.mark.slow
def test_bands_of_the_gap_hold_where_a_spring_was_off():
    """They would not with a third of the uncertainty, of which what a floating plate may do by itself is the most."""
    off = np.concatenate([worked(seed, "claw settings")[2] for seed in SEEDS])
    assert len(off) > 5 * len(SEEDS)
    assert float((np.abs(off) <= BAND).mean()) >= 0.91
    assert float((np.abs(3.0 * off) <= BAND).mean()) < 0.91
    assert float(np.sqrt((off**2).mean())) <= 1.2
