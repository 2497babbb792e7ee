"""The whole balance on practice instruments, whose physics and hidden effects the planner does not know.

An instrument passes when its own verdict, on true values, finds gap and every pitch inside. A tuning costs time, a peak
costs nerves and strings: 20 tunings of six strings are three for each and two over; 80 cents are under a semitone.
"""

from __future__ import annotations

import pytest

from setwright.bench.guided import guided, told
from setwright.practice.instrument import Practice
from setwright.practice.told import hello

MOST_TUNINGS, HIGHEST = 20, 80.0  # 1, cents


def worked(seed):
    """Verdict of the practice instrument, and how the work ended."""
    first = hello(seed)
    practice = Practice(first, seed)
    done = guided(told(first), practice)
    return practice.done(), done


def check(seed):
    verdict, done = worked(seed)
    assert done.advice.do == "done", seed
    assert verdict.passed, (seed, verdict)
    assert verdict.counts["tune"] <= MOST_TUNINGS, (seed, verdict.counts)
    assert verdict.peak_cents_above_target <= HIGHEST, (seed, verdict.peak_cents_above_target)


@pytest.mark.parametrize("seed", range(12))
def test_a_dozen_instruments_are_brought_home(seed):
    check(seed)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(12, 60))
def test_many_more_are(seed):
    check(seed)
