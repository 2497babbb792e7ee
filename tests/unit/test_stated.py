"""How sure a fit is: what was known before and had to give way, tones that hardly turned, a glide that goes on."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from setwright.listening import fitting, tones
from setwright.listening import stated as s
from setwright.listening.bands import LONG
from setwright.listening.law import fitted, stretch
from setwright.listening.tones import NAMES, OWN, OWN_SD, Parts, Problem, State

TIMES = 0.03 + np.arange(80) * 0.02
NUMBERS = np.arange(1.0, 4.0)
HERTZ = 100.0 * NUMBERS
EXPECTED = np.array([2e-3, 1e-3])
LOOSE = 0.05


def fit(kind="one", k=(1.0, 1.0), beside=(), split=0.0, noise=1e-10, off=0.0):
    """A fit that leaves over nothing but what is put off the bands; k in their expectation, `beside` in their usual
    sizes: q and the second tone's parameters."""
    course = (1.0 - np.exp(-2.0 * TIMES)) / 2.0
    shapes, own = np.array([course, course]), np.tile(course, (3, 1))
    parts = Parts(shapes, own, np.array([0, 1, 1]), EXPECTED, LOOSE, np.full(2, np.exp(-2.0 * TIMES[-1])))
    toward = np.array([OWN, *(tones.LIKELY[name][0] for name in NAMES[kind])])
    usual = np.array([OWN_SD, *(tones.LIKELY[name][1] for name in NAMES[kind])])
    shared = np.append(EXPECTED * k, toward + usual * np.resize([*beside, 0.0], len(toward)) * bool(beside))
    if kind != "one":
        shared[2 + 4] = split
    state = State(np.tile(np.array([0.0, -0.5 + 0.0j]), (3, 1)), shared)
    one = Problem(
        TIMES, np.ones((3, 80), dtype=complex), NUMBERS, HERTZ, np.ones(3), np.full(3, noise), np.full(3, 1e-5), parts,
        0.03, kind,
    )  # fmt: skip
    return s.Fit(replace(one, bands=tones.model(one, state) * (1.0 + off)), state, 0.0)


def test_nothing_is_strained_where_all_is_as_expected():
    """Nor where a glide is twice as large with the same parts: its size is not known before."""
    assert s._strain(fit()) == pytest.approx(0.0, abs=1e-12)
    assert s._strain(fit(k=(2.0, 2.0))) == pytest.approx(0.0, abs=1e-9)


def test_strain_is_the_mean_square_of_what_gives_way():
    """One of two parts by its own uncertainty: half a square is left once the common size, half of it, is taken out.
    q by two of its own. Two things are known before: how the parts stand, and q."""
    moved = fit(k=(1.0 + LOOSE, 1.0))
    assert s._strain(moved) == pytest.approx(0.5 / 2.0, rel=1e-6)
    assert s._strain(fit(beside=(2.0,))) == pytest.approx(4.0 / 2.0, rel=1e-6)


@pytest.mark.parametrize("turns", [0.01, 0.5, 5.0])
def test_two_tones_are_known_the_better_the_more_they_turned(turns):
    split = turns / (HERTZ[0] * TIMES[-1])
    one = fit("alike", split=split)
    alone = s.LARGER**2 + s.FEW_LENGTHS * LONG / (HERTZ[0] * TIMES[-1])
    want = (s.PARTED / max(turns, s.FEWEST_TURNS)) ** 2 + s.STRAINED * s._strain(one)
    assert s._wider(one, split, 1.0) == pytest.approx(alone + want, rel=1e-6)


def test_what_two_tones_leave_over_and_what_gave_way_counts():
    apart = 1e-3
    bare = s._wider(fit(), None, 1.0)
    plain, left = (s._wider(fit("alike", split=apart, off=off), apart, 1.0) - bare for off in (0.0, 0.02))
    assert left / plain == pytest.approx((1.0 + 0.02 / 1.02 / s.MUCH) ** 2, rel=0.01)
    given_way = fit("alike", beside=(0.0, 0.0, 8.0), split=apart)
    more = s.STRAINED * (s._strain(given_way) - s._strain(fit("alike", split=apart)))
    assert s._wider(given_way, apart, 1.0) - bare - plain == pytest.approx(more, rel=1e-6)
    assert more > 2.0 * plain


def test_one_tone_is_known_worse_where_what_was_expected_gave_way_or_partials_disagree():
    """Not for what chance makes of either, and for no more than Birge's ratio of three."""
    plain = s._wider(fit(), None, 1.0)
    assert s._wider(fit(beside=(1.0,)), None, 0.2) == plain
    assert s._wider(fit(), None, 3.0) - plain == pytest.approx(2.0 * s.GAVE_WAY)
    assert s._wider(fit(beside=(4.0,)), None, 1.0) - plain == pytest.approx((16.0 / 2.0 - 1.0) * s.GAVE_WAY)
    assert s._wider(fit(), None, 1e9) - plain == pytest.approx((s.MOST_STRAINED - 1.0) * s.GAVE_WAY)


def test_noise_of_a_short_note_is_told_less_well():
    one = fit()
    short = replace(one, problem=replace(one.problem, times=0.2 * TIMES))
    long, less = (s._wider(each, None, 1.0) - s.LARGER**2 for each in (one, short))
    assert less == pytest.approx(5.0 * long)


def test_what_a_decay_is_not_known_to_moves_all_as_a_fit_with_another_decay_does():
    """The first part of the glide falls by another rate than it is taken to: the bands fitted again by it, and how far
    that moves the frequencies against what is told."""
    one = fit(k=(1.0, 1.0), noise=1e-8)
    inverse, _, off = s._covariances(one)
    assert len(off) == 1  # the other part has two partials in it
    sd = np.sqrt(1.0 / (0.25 / inverse[1, 1] + 1.0 / (s.SMOOTH * 2.0) ** 2))
    shapes = one.problem.parts.shapes.copy()
    shapes[0] = (1.0 - np.exp(-(2.0 + sd) * TIMES)) / (2.0 + sd)
    other = replace(one.problem, parts=replace(one.problem.parts, shapes=shapes))
    state, _ = fitting.solve(other, one.state, rounds=20, enough=1e-9)
    moved = (state.local - one.state.local)[:, 1].imag
    assert np.all(np.abs(moved) > 0.0)
    np.testing.assert_allclose(-off[0, 4 * np.arange(3) + 3], moved, rtol=0.05)


def test_partials_that_noise_alone_puts_off_the_law_do_not_disagree():
    """Their mean square over what noise makes of it is 1, within four standard deviations of 400 draws."""
    numbers = np.arange(1.0, 13.0)
    rng = np.random.default_rng(3)
    noise = 1e-12 * (np.eye(12) + 0.5)
    problem = replace(fit().problem, numbers=numbers)
    root = np.linalg.cholesky(noise)
    hertz = 100.0 * stretch(numbers, 2e-4)
    got = []
    for _ in range(400):
        here = hertz * np.exp(root @ rng.standard_normal(12))
        got.append(s._disagreeing(problem, here, noise, fitted(numbers, here, noise, 2e-4)))
    assert np.mean(got) == pytest.approx(1.0, abs=4.0 * np.sqrt(2.0 / 10.0 / 400.0))
    pulled = hertz * np.where(numbers == 4.0, 1.0 + 1e-5, 1.0)
    law = replace(fitted(numbers, hertz, noise, 2e-4), counted=np.ones(12, dtype=bool))
    assert s._disagreeing(problem, pulled, noise, law) == pytest.approx(1e-10 / 1e-12 / 10.0, rel=0.3)
    few = replace(law, counted=numbers < s.FEWEST_TO_LAW)
    assert s._disagreeing(problem, pulled, noise, few) == 1.0


def test_a_first_partial_off_the_law_may_be_pulled_by_a_magnet_or_a_body():
    """Not where two tones so far apart would have turned against each other, nor where it is known no better."""
    problem, noise = fit().problem, 1e-12 * np.eye(3)
    law = fitted(NUMBERS, HERTZ, noise)
    little, far = 0.5 * s.TURNED / (HERTZ[0] * TIMES[-1]), 2.0 * s.TURNED / (HERTZ[0] * TIMES[-1])
    pulled = HERTZ * np.array([np.exp(little), 1.0, 1.0])
    off = little + np.log(HERTZ[0] / law.fundamental) - 0.5 * np.log1p(law.inharmonicity)
    told = s._departing(problem, pulled, noise, law)
    assert told.first_sd == pytest.approx(np.hypot(law.first_sd, np.sqrt(0.5) * off))
    for other in (
        s._departing(problem, HERTZ * np.array([np.exp(far), 1.0, 1.0]), noise, law),
        s._departing(problem, pulled, noise * (little / 1e-6) ** 2, law),
        s._departing(replace(problem, kind="alike"), pulled, noise, law),
        s._departing(replace(problem, numbers=NUMBERS + 1.0), pulled, noise, law),
    ):
        assert other is law


def test_variances_add():
    law = fitted(np.arange(1.0, 5.0), 100.0 * np.arange(1.0, 5.0), 1e-12 * np.eye(4))
    whole = replace(law, first_sd=np.sqrt(3.0) * law.first_sd, fundamental_sd=0.5 * law.fundamental_sd)
    known = s._known(law, whole, 4.0)
    assert known.first_sd == pytest.approx(s.TOGETHER * np.sqrt(6.0) * law.first_sd)
    assert known.fundamental_sd == pytest.approx(s.TOGETHER * 2.0 * law.fundamental_sd)


def test_a_glide_that_goes_on_is_told_less_well_than_one_that_is_over():
    one, two = fit(), fit("alike")
    over, half = (np.sqrt(s._common(one, 1e-3, left)) for left in (1e-5, 5e-4))
    assert over == pytest.approx(s.LATE * 1e-5 / (HERTZ[0] * TIMES[-1]))
    assert half == pytest.approx(50.0 * over)
    assert np.sqrt(s._common(two, 1e-3, 1e-3)) > 1e-3  # all of it may be two tones
    unheard = replace(one, problem=replace(one.problem, numbers=NUMBERS + 1.0))
    assert s._common(unheard, 1e-3, 5e-4) > s._common(one, 1e-3, 5e-4) + (s.FIRST_UNHEARD[1] * 1e-3) ** 2
    assert s._standing(0.0, 1.0) == 1.0
