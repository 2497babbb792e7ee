"""How fast the parts of a glide fall: decays that are heard, their common course, and what is put together."""

from __future__ import annotations

import numpy as np
import pytest

from setwright.listening import live_glide
from setwright.listening.live_glide import APART, NUMBERS, SHARE, bends, course, decays, rates

TIMES = np.linspace(0.05, 1.0, 60)
HERTZ = 110.0 * NUMBERS


def falling(true, sd=0.0, seed=0):
    """Amplitudes that fall evenly, each partial half as loud as the one before."""
    loud = 0.1 * 0.5 ** np.arange(len(true))
    noise = sd * np.random.default_rng(seed).standard_normal((len(TIMES), len(true)))
    return loud * np.exp(-np.outer(TIMES, true)) + noise


def test_shares_are_those_of_a_triangle():
    """Parts go as (n a_n)^2, a_n = sin(n pi p) / n^2 (Fletcher and Rossing 1998, section 2.7); all of them are one."""
    assert SHARE.sum() == pytest.approx(1.0, abs=1e-12)
    p = live_glide.PLUCKS
    whole = np.pi * p * (np.pi - np.pi * p) / 2.0  # sum of sin(n x)^2 / n^2 = x (pi - x) / 2, without a width
    assert SHARE[0] == pytest.approx(np.mean(np.sin(np.pi * p) ** 2 / whole), rel=0.06)  # a pick has a width
    assert (np.diff(SHARE[:APART]) < 0.0).all()


def test_decays_are_heard():
    true = np.array([0.5, 0.8, 1.7, 4.0])
    got, sd = decays(TIMES, falling(true), np.full(4, 1e-12), HERTZ[:4])
    assert got == pytest.approx(true, rel=1e-9)
    assert (sd < 0.1).all()
    noise = 1e-4
    off = [(decays(TIMES, falling(true, noise, k), np.full(4, noise**2), HERTZ[:4])) for k in range(40)]
    ratio = np.array([(got - true) / sd for got, sd in off])
    assert np.mean(np.abs(ratio) < 2.0) > 0.9


def test_a_partial_that_is_not_used_says_nothing():
    amplitude = falling(np.array([0.5, 0.8]))
    amplitude[:, 1] = 0.0
    got, sd = decays(TIMES, amplitude, np.full(2, 1e-12), HERTZ[:2])
    assert got[0] == pytest.approx(0.5)
    assert sd[1] > 1e3


def test_the_course_of_decays():
    """b0 + b1 f^2 as it was made, one partial in five off it counted less."""
    n = np.arange(1, 13)
    true = 0.6 + 0.25 * (HERTZ[:12] / 1000.0) ** 2
    heard = np.where(n % 5 == 0, 3.0 * true, true)
    at, spread = course(HERTZ[:12], heard, np.full(12, 0.03))
    assert at == pytest.approx([0.6, 0.25], abs=0.1)
    assert np.abs(at - [0.6, 0.25])[0] < 3.0 * np.sqrt(spread[0, 0])


def test_rates_are_twice_the_decays_and_what_is_not_heard_is_less_sure():
    usual, unsure = rates(HERTZ, None)
    assert len(usual) == len(SHARE)
    assert len(unsure) == APART
    assert usual[0] == pytest.approx(2.0 * (live_glide.USUAL[0] + live_glide.USUAL[1] * 0.11**2))
    true = 0.6 + 0.25 * (HERTZ[:12] / 1000.0) ** 2
    got, sure = rates(HERTZ, (np.arange(1.0, 13.0), true, np.full(12, 0.03)))
    assert got[:APART] == pytest.approx(2.0 * true[:APART], rel=0.03)
    assert (sure < 0.2 * unsure).all()
    assert (np.diff(got) > 0.0).all()
    assert 2.0 * true[4] < got[APART] < 2.0 * true[7]


@pytest.mark.parametrize(("rate", "lasts"), [(0.5, 0.3), (1.0, 1.0), (2.0, 2.0), (6.0, 1.0)])
def test_how_far_a_glide_bends_a_lead(rate, lasts):
    """The integral of the glide against the straight line from its start to its end."""
    t = np.linspace(0.0, lasts, 400)
    lead = (1.0 - np.exp(-rate * t)) / rate
    chord = lead - lead[-1] * t / lasts
    assert bends(rate, lasts) == pytest.approx(float(chord.max()), rel=0.05)
