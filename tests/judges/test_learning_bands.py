"""What is learned holds what it says: twins drawn from the prior, worked through, beliefs held against the truth.

Twin assumptions: traits drawn from the very prior the planner starts from, the planner's own physics, readings with the
errors the gauges state. So every band of 95 in 100 must hold 95 in 100; 60 instruments leave that a spread of 3.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from setwright.bench.guided import guided
from setwright.instrument.traits import Array
from setwright.planning.course import Course
from setwright.planning.guide import Advice
from tests.judges.twin import Twin, claw_score, trait_scores

COUNT = 60
BAND = 1.959964  # 95 % of a Gaussian


@dataclass(frozen=True)
class Scores:
    claw: Array  # (n) of the claw's need, before it was set last
    traits: Array  # (n, P) then


@pytest.fixture(scope="module")
def scores() -> Scores:
    claw, traits = [], []
    for seed in range(COUNT):
        twin = Twin(seed)
        last: list[tuple[float, Array]] = []

        def keep(advice: Advice, course: Course, twin: Twin = twin, last: list[tuple[float, Array]] = last) -> None:
            if advice.do == "claw":
                last[:] = [(claw_score(course, twin), trait_scores(course, twin))]

        guided(twin.job, twin, keep)
        claw.append(last[0][0])
        traits.append(last[0][1])
    return Scores(np.array(claw), np.array(traits))


@pytest.mark.slow
def test_bands_of_the_traits_hold_what_they_say(scores):
    inside = float((np.abs(scores.traits) <= BAND).mean())
    assert 0.92 <= inside <= 0.98
    assert 0.9 <= float(np.sqrt((scores.traits**2).mean())) <= 1.1


@pytest.mark.slow
def test_the_band_of_the_last_claw_setting_holds_what_it_says(scores):
    """60 single values: 92 to 100 in 100 inside, and the root mean square of z near 1."""
    inside = float((np.abs(scores.claw) <= BAND).mean())
    assert inside >= 0.92
    assert 0.65 <= float(np.sqrt((scores.claw**2).mean())) <= 1.2
    assert abs(float(scores.claw.mean())) < 0.4


@pytest.mark.slow
def test_a_belief_twice_as_sure_would_be_found_out(scores):
    """The check can fail: with half the stated uncertainty the bands hold far too little."""
    assert float((np.abs(2.0 * scores.traits) <= BAND).mean()) < 0.8
    assert float((np.abs(2.0 * scores.claw) <= BAND).mean()) < 0.92
