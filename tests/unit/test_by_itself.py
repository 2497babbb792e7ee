"""A partial by itself: bands whose frequency is known, at any rate; two ways of the same sound; what is too little."""

from __future__ import annotations

import numpy as np
import pytest

from setwright.listening import notes
from setwright.listening.by_itself import by_itself
from tests.judges.test_lawless import lawless

CENT = np.log(2.0) / 1200.0
HERTZ = 196.0
TIMES = 0.0025 * np.arange(1200)


def sounding(cents, step=0.0025, lasts=3.0, loss=1.2, speed=1.0, noise=0.0, seed=0):
    """A band about HERTZ times speed of a partial cents(t) off it that falls evenly; t in seconds of the slow one."""
    times = np.arange(0.0, lasts / speed, step)
    ahead = HERTZ * speed * np.cumsum(np.expm1(CENT * cents(speed * times))) * step
    rng = np.random.default_rng(seed)
    some = rng.standard_normal(len(times)) + 1j * rng.standard_normal(len(times))
    return np.exp(-loss * speed * times + 2j * np.pi * ahead) + noise * some


def told(*some, step=0.0025, hertz=HERTZ):
    band = sounding(*some)
    got = by_itself(band, step * np.arange(len(band)), hertz)
    assert got is not None
    return np.log(got[0] / hertz) / CENT, got[1] / CENT


def test_a_steady_partial():
    off, sd = told(lambda t: 7.0 + 0.0 * t)
    assert off == pytest.approx(7.0, abs=1e-3)
    assert sd < 0.02


def test_a_glide_that_goes_with_the_energy_is_carried_to_its_end():
    """4 cents, falling twice as fast as the amplitude; the band holds the end too."""
    off, sd = told(lambda t: 7.0 + 4.0 * np.exp(-2.4 * t))
    assert off == pytest.approx(7.0, abs=0.05)
    assert abs(off - 7.0) < 2.0 * sd
    assert sd < 0.5


def test_a_note_that_ends_loud_may_not_have_settled():
    assert told(lambda t: 0.0 * t, 0.0025, 0.4)[1] > 0.6


def test_one_that_wanders_is_known_worse():
    sure = told(lambda t: 0.0 * t)[1]
    off, sd = told(lambda t: 3.0 * np.sin(5.0 * t))
    assert sd > 0.3 > sure
    assert abs(off) < 3.0


@pytest.mark.parametrize("speed", [160.0 / 147.0, 440.0 / 441.0, 2.0])
def test_the_same_sound_faster_is_higher_by_just_as_much(speed):
    """A partial that wanders by cents and does not settle; thousandths of a cent apart, at another grid of times."""

    def wanders(t):
        return 3.0 * np.sin(4.0 * t) - 2.0 * np.exp(-t)

    slow = by_itself(sounding(wanders), 0.0025 * np.arange(1200), HERTZ)
    fast = by_itself(sounding(wanders, step=0.0021, speed=speed), 0.0021 * np.arange(1500), HERTZ * speed)
    assert slow is not None
    assert fast is not None
    assert np.log(fast[0] / slow[0] / speed) / CENT == pytest.approx(0.0, abs=0.02)
    assert fast[1] == pytest.approx(slow[1], rel=0.1)


def test_noise_is_in_the_band():
    off = [by_itself(sounding(lambda t: 0.0 * t, noise=0.02, seed=k), TIMES, HERTZ) for k in range(40)]
    ratio = np.array([np.log(one[0] / HERTZ) / one[1] for one in off if one is not None])
    assert len(ratio) == 40
    assert np.mean(np.abs(ratio) < 2.0) > 0.7  # of so few blocks


@pytest.mark.parametrize("band", [np.ones(20, dtype=complex), np.zeros(200, dtype=complex)])
def test_what_is_too_little(band):
    assert by_itself(band, TIMES, HERTZ) is None


def test_a_click_and_nothing_after_it():
    """All the energy in one moment fills too few blocks."""
    band = np.zeros(200, dtype=complex)
    band[:3] = 1.0
    assert by_itself(band, TIMES, HERTZ) is None


@pytest.mark.slow
def test_a_sound_whose_partials_are_not_followed_to_the_end_is_told_so_too(monkeypatch):
    sound = lawless(3)
    whole = notes.measure(sound)
    monkeypatch.setattr(notes, "_later", lambda *_: None)
    one = notes.measure(sound)
    assert one.first_partial is not None
    assert whole.first_partial is not None
    assert np.log(one.first_partial / whole.first_partial) / CENT == pytest.approx(0.0, abs=0.05)


@pytest.mark.slow
def test_where_too_little_is_heard_of_the_first_partial_the_law_says_what_it_can(monkeypatch):
    monkeypatch.setattr(notes, "by_itself", lambda *_: None)
    one = notes.measure(lawless(3))
    assert one.first_partial is not None
    assert one.first_partial == pytest.approx(220.0, rel=0.01)
