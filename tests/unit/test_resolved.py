"""Bands of a note that is made: what it is resolved into, and what its band holds."""

from __future__ import annotations

import numpy as np
import pytest

from setwright.listening import expected
from setwright.listening import resolved as r
from setwright.listening.law import stretch

TIMES = 0.02 + np.arange(400) * 0.004
NUMBERS = np.arange(1.0, 11.0)
F0, B = 110.0, 2e-4
HERTZ = F0 * stretch(NUMBERS, B)
FALL = 0.7 + 2e-7 * HERTZ**2
PLACE, EAR, SINCE = 0.17, 0.11, 0.03
CENTS = 1200.0 / np.log(2.0)


def lead(size, own=0.25):
    """(N, M) s, by a fine sum over sixty modes of a triangle."""
    every = np.arange(1.0, 61.0)
    fall = 0.7 + 2e-7 * (F0 * stretch(every, B)) ** 2
    slope = (np.sin(every * np.pi * PLACE) / every) ** 2
    slope = size * slope / slope.sum()
    fine = np.linspace(0.0, TIMES[-1] + SINCE, 40001)
    parts = slope[:, None] * np.exp(-2.0 * fall[:, None] * fine)
    out = []
    for i in range(len(NUMBERS)):
        rise = parts.sum(axis=0) + own * parts[i]
        whole = np.append(0.0, np.cumsum(0.5 * (rise[1:] + rise[:-1]) * np.diff(fine)))
        out.append(np.interp(TIMES + SINCE, fine, whole) * (1.0 + B) / (1.0 + B * NUMBERS[i] ** 2))
    return np.array(out)


def bands(size=2e-3, split=0.0, share=0.0, noise=1e-5, seed=0):
    """(N, M) about HERTZ, from the release on."""
    late = TIMES + SINCE
    height = np.abs(np.sin(NUMBERS * np.pi * PLACE) * np.sin(NUMBERS * np.pi * EAR)) / NUMBERS
    one = height[:, None] * np.exp(-FALL[:, None] * late + 2j * np.pi * HERTZ[:, None] * lead(size))
    one = one * (1.0 + share * np.exp(2j * np.pi * HERTZ[:, None] * split / CENTS * late))
    drawn = np.random.default_rng(seed).standard_normal((2, *one.shape))
    return one + noise * (drawn[0] + 1j * drawn[1])


def resolve(cut, noise=1e-5):
    phase = np.unwrap(np.angle(cut), axis=1)
    return r.resolved(TIMES, cut, NUMBERS, HERTZ, HERTZ, phase, np.full(10, noise**2), 1e-4, 2e-3, SINCE)


def off(got):
    return CENTS * np.log(got.law.first / HERTZ[0])


def test_a_plain_note():
    got = resolve(bands())
    assert abs(off(got)) < 3.0 * CENTS * got.law.first_sd
    assert CENTS * got.law.first_sd < 0.01
    assert got.split is None
    assert got.decay == pytest.approx(FALL, rel=0.01)
    rise = np.exp(-2.0 * SINCE) * 2e-3  # about; its decays are not all alike
    assert got.glide == pytest.approx(rise, rel=0.1)
    assert got.poor < 0.001


@pytest.mark.parametrize(("split", "share"), [(1.5, 0.5), (-2.5, 0.3)])
def test_two_tones_that_beat(split, share):
    """The louder one is told, and where the other lies; one tone would be told tenths of a cent off."""
    got = resolve(bands(split=split, share=share))
    assert abs(off(got)) < 0.02
    assert CENTS * got.split == pytest.approx(split, abs=0.02)
    assert abs(off(got)) < 3.0 * CENTS * got.law.first_sd


def test_the_louder_of_two_is_the_second():
    """Made with the other way round: what is told is the louder one."""
    got = resolve(bands(split=2.0, share=1.6))
    assert off(got) == pytest.approx(2.0, abs=0.05)
    assert CENTS * got.split == pytest.approx(-2.0, abs=0.05)


def test_what_no_model_explains_is_called_poor():
    cut = bands()
    cut[0] *= 1.0 + 0.4 * np.sin(2.0 * np.pi * 3.0 * TIMES)
    assert resolve(cut).poor > 0.03


def test_what_fits_worse_than_nothing_is_not_explained_and_no_more():
    """Noise for a partial, the loudest: at most all of the bands is left over, and the rest is told all the same."""
    cut = bands()
    rng = np.random.default_rng(3)
    cut[4] = 30.0 * (rng.standard_normal(len(TIMES)) + 1j * rng.standard_normal(len(TIMES)))
    got = resolve(cut)
    assert 0.9 < got.poor <= 1.0
    assert np.all(np.isfinite(got.covariance))


def test_slow_noise_of_what_is_filtered():
    """White noise averaged over L = 5, in means of m = 20: a slow fit sees it as it was before, and a mean of m less of
    it at its ends, 1 - (L^2 - 1) / (3 L m) by the sum of its covariances."""
    rng = np.random.default_rng(4)
    white = rng.standard_normal((1, 40004)) + 1j * rng.standard_normal((1, 40004))
    filtered = np.convolve(white[0], np.full(5, 0.2), mode="valid")[None]
    assert r._slow_noise(filtered, 20)[0] == pytest.approx(1.0 - 24.0 / 300.0, rel=0.07)
    assert r._slow_noise(white, 1)[0] == pytest.approx(1.0, rel=0.05)


def test_course_of_decays_does_not_follow_one_that_lies_off():
    fall = FALL.copy()
    fall[3] *= 3.0
    b0, b1 = expected.course(HERTZ, fall, np.full(10, 1e-3))
    assert b0 == pytest.approx(0.7, rel=0.05)
    assert b1 == pytest.approx(0.2, rel=0.1)
