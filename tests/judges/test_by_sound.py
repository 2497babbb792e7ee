"""By sound alone stiffness ratio and cents per turn are learned, and the bands hold the truth (`by_ear.py`).

Twins: traits drawn from the very prior the planner starts from, so bands of 95 in 100 hold 95 in 100, less two spreads
of a binomial with this count. Practice instruments have friction, uneven springs, an uneven neck and a slack thread
that the model does not know: their bands of the cents per turn are a little too narrow and have to hold 85 in 100.
"""

from __future__ import annotations

import numpy as np
import pytest

from setwright.planning.by_sound import DEEPEST
from tests.judges.by_ear import CENTS, MOST, RATIO, practice_work, twin_work

BAND = 1.959964  # 95 % of a Gaussian
TWINS, BENCHES = 40, 60
PEAK = 50.0  # cents, of the goal


@pytest.fixture(scope="module")
def twins():
    return [twin_work(seed) for seed in range(TWINS)]


@pytest.fixture(scope="module")
def benches():
    """Practice instruments whose springs are not believed closed; of those nothing is told, and that is said."""
    made = [practice_work(seed) for seed in range(BENCHES)]
    told = [one for one in made if not one.obstacle]
    assert len(told) >= BENCHES - 3
    assert all("closed" in one.obstacle and not one.trials for one in made if one.obstacle)
    return told


def inside(works, which):
    return float((np.abs(np.array([one.score[which] for one in works])) <= BAND).mean())


def left(works, which, since):
    """Median share of the standard uncertainty that is left."""
    return float(np.median([one.last[which] / getattr(one, since)[which] for one in works]))


def kept_its_limits(one):
    assert 1 <= len(one.trials) < MOST
    assert one.sharpest <= PEAK
    assert one.flattest >= -DEEPEST


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(TWINS))
def test_a_twin_keeps_the_limits_and_comes_to_an_end(seed):
    kept_its_limits(twin_work(seed))


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(BENCHES))
def test_a_practice_instrument_keeps_the_limits_and_comes_to_an_end(seed):
    one = practice_work(seed)
    if one.obstacle:
        assert "closed" in one.obstacle
    else:
        kept_its_limits(one)


@pytest.mark.slow
def test_twins_bands_hold_what_they_say(twins):
    assert inside(twins, RATIO) >= 0.88
    assert inside(twins, CENTS) >= 0.92
    for which in range(len(twins[0].score)):
        scores = np.array([one.score[which] for one in twins])
        assert np.mean(np.abs(scores) <= BAND) >= 0.88, which
        assert abs(scores.mean()) < 0.45, which


@pytest.mark.slow
def test_a_belief_three_times_as_sure_would_be_found_out(twins):
    """The check can fail."""
    assert float((3.0 * np.abs([one.score[RATIO] for one in twins]) <= BAND).mean()) < 0.75


@pytest.mark.slow
def test_twins_are_learned(twins):
    """Of what was known before, and of what the first hearing at pitch told, three experiments leave this."""
    assert left(twins, RATIO, "before") < 0.6
    assert left(twins, RATIO, "first") < 0.7
    assert left(twins, CENTS, "before") < 0.3
    assert left(twins, CENTS, "first") < 0.35


@pytest.mark.slow
def test_practice_instruments_bands_hold(benches):
    assert inside(benches, RATIO) >= 0.9
    assert inside(benches, CENTS) >= 0.85


@pytest.mark.slow
def test_practice_instruments_are_learned(benches):
    assert left(benches, RATIO, "before") < 0.6
    assert left(benches, CENTS, "before") < 0.3
    off = np.array([one.off[CENTS] for one in benches])
    assert np.sqrt(np.mean(off**2)) < 0.04  # of the cents per turn


@pytest.mark.slow
def test_what_was_foretold_came_about(twins, benches):
    """What an experiment really left of its aims, over what it was expected to leave."""
    ratio = np.array([k / t.left for one in (*twins, *benches) for t, k in zip(one.trials, one.kept, strict=True)])
    assert 0.97 < np.median(ratio) < 1.03
    assert ratio.min() > 0.9
    assert ratio.max() < 1.15


@pytest.mark.parametrize("seed", [pytest.param(1, marks=pytest.mark.slow), 5])
def test_one_twin_is_learned(seed):
    """In the quick loop one twin whole, with all tests another."""
    one = twin_work(seed)
    assert np.abs(one.score[RATIO]) < 3.0
    assert np.all(np.abs(one.score[CENTS]) < 3.0)
    assert np.median(one.last[CENTS] / one.first[CENTS]) < 0.5
