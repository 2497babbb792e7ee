"""The whole balance on practice instruments, whose physics and hidden effects the planner does not know.

An instrument passes when its own verdict, on true values, finds gap and every pitch inside. Bars: none fails, no string
more than 50 cents over its final pitch, tunings 14 at the median and 20 for 95 in 100; none takes more than two rounds
of all strings beside the first. On the way of fewest claw settings 115 readings at the median are to be enough.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from benchmarks.people import Mistaken
from setwright.bench.guided import guided, told, wanting
from setwright.instrument.settings import FEWEST
from setwright.practice.instrument import Practice
from setwright.practice.told import hello

MEDIAN, MOST, ANY = 14, 20, 24  # tunings
READ = 115  # readings
HIGHEST = 50.0  # cents


@cache
def worked(seed, fewest=FEWEST[0]):
    """Verdict of the practice instrument, and how the work ended."""
    first = hello(seed)
    practice = Practice(first, seed)
    done = guided(wanting(told(first), fewest), practice)
    return practice.done(), done


def check(seed, fewest=FEWEST[0]):
    verdict, done = worked(seed, fewest)
    assert done.advice.do == "done", seed
    assert verdict.passed, (seed, verdict)
    assert verdict.counts["tune"] <= ANY, (seed, verdict.counts)
    assert verdict.peak_cents_above_target <= HIGHEST, (seed, verdict.peak_cents_above_target)


def counted(seeds, fewest=FEWEST[0]):
    return np.array([worked(seed, fewest)[0].counts["tune"] for seed in seeds])


QUICK = 3  # of the dozen, in the quick loop


@pytest.mark.parametrize("seed", [*range(QUICK), *(pytest.param(n, marks=pytest.mark.slow) for n in range(QUICK, 12))])
def test_a_dozen_instruments_are_brought_home(seed):
    check(seed)


@pytest.mark.slow
@pytest.mark.parametrize("fewest", FEWEST)
def test_a_dozen_take_no_more_tunings_than_the_bar(fewest):
    tunings = counted(range(12), fewest)
    assert np.median(tunings) <= MEDIAN
    assert tunings.max() <= MOST


@pytest.mark.slow
@pytest.mark.parametrize("fewest", FEWEST)
@pytest.mark.parametrize("seed", range(12, 60))
def test_many_more_are(seed, fewest):
    check(seed, fewest)


@pytest.mark.slow
@pytest.mark.parametrize("fewest", FEWEST)
def test_many_more_take_no_more_tunings_than_the_bar(fewest):
    tunings = counted(range(60), fewest)
    assert np.median(tunings) <= MEDIAN
    assert np.percentile(tunings, 95) <= MOST


@pytest.mark.slow
def test_no_more_is_asked_to_be_read_than_the_bar():
    assert np.median([worked(seed)[0].readings for seed in range(60)]) <= READ


@pytest.mark.slow
@pytest.mark.parametrize("seed", [*range(60, 68), 2017])
def test_a_claw_turned_one_turn_too_far_is_named_before_strings_stand_sharp(seed):
    """On 2017 the one distance read after the turn was set aside in place of the turn: a string then rose by 156."""
    first = hello(seed)
    practice = Practice(first, seed)
    done = guided(told(first), Mistaken(practice, True, 0, 1.0))
    verdict = practice.done()
    assert verdict.passed, verdict
    assert any(one.kind == "turn" and one.scene == 1 for one in done.course.picture.doubts), done.course.picture.doubts
    assert verdict.peak_cents_above_target <= HIGHEST


@pytest.mark.slow
def test_a_plate_on_its_wedge_is_not_taken_for_free():
    """On this one strings far under their pitches could also be explained by a plate far off its wedge."""
    check(5047)
