"""How sure a fit is: what was known before and had to give way, tones that hardly turned, a glide that goes on."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from setwright.listening import stated as s
from setwright.listening import tones
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
    one = fit("alike", split=turns / (HERTZ[0] * TIMES[-1]))
    quiet = replace(one, state=State(one.state.local, one.state.shared.copy()))
    wide = s._parted(quiet, turns / (HERTZ[0] * TIMES[-1]))
    least, once = s.PARTED
    want = least**2 + (once / max(turns, s.FEWEST_TURNS)) ** 2
    assert wide == pytest.approx(want * (1.0 + s.STRAINED * s._strain(quiet)), rel=1e-6)


def test_what_two_tones_leave_over_and_what_gave_way_counts():
    apart = 1e-3
    plain, left = (s._parted(fit("alike", split=apart, off=off), apart) for off in (0.0, 0.02))
    assert left / plain == pytest.approx((1.0 + 0.02 / 1.02 / s.MUCH) ** 2, rel=0.01)
    given_way = s._parted(fit("alike", beside=(0.0, 0.0, 8.0), split=apart), apart)
    assert given_way > 5.0 * plain


def test_a_glide_that_goes_on_is_told_less_well_than_one_that_is_over():
    problem = fit().problem
    over, half = s._untold(problem, 1.0, 0.01), s._untold(problem, 1.0, 0.5)
    course = s.UNTOLD + s.LATE * TIMES[0]
    assert over / 0.01 == pytest.approx(np.hypot(course, s.BY_PLACE * LOOSE**2), rel=1e-3)
    assert half / 0.5 > over / 0.01
    assert s._standing(0.0, 1.0) == 1.0
