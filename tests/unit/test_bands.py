"""Bands cut out of sounds that are known: amplitude, phase, neighbours, noise, glide."""

from __future__ import annotations

import numpy as np
import pytest

from setwright.listening.bands import _smooth, band, gliding_band, prepared

RATE, COUNT = 8000.0, 8000
TIMES = np.arange(COUNT) / RATE
SPACING = 100.0


def ready(samples, spacing=SPACING):
    return prepared(samples, RATE, spacing)


@pytest.mark.parametrize("hertz", [100.0, 303.37, 2999.9])
@pytest.mark.parametrize("off", [0.0, 1.3])
def test_a_cosine_gives_its_amplitude_and_phase(hertz, off):
    """a exp(i p), turning by what the band's middle is off. The squared Hann window's second moment is 0.020 of its
    length squared (own integral of cos^4), 4 periods long: at 1.3 Hz and the half bin the middle is rounded by, its
    gain has fallen by (2 pi 1.8)^2 0.020 (0.04)^2 / 2, 0.2 %; 0.1 % is left to what folds back."""
    bands = ready(0.7 * np.cos(2.0 * np.pi * hertz * TIMES + 0.9))
    got = band(bands, hertz - off)
    want = 0.7 * np.exp(1j * (0.9 + 2.0 * np.pi * off * bands.times))
    assert np.abs(got - want).max() < 0.7 * 3e-3


@pytest.mark.parametrize("away", [1, 2, 5, -1])
def test_neighbours_are_rejected(away):
    bands = ready(np.cos(2.0 * np.pi * (1000.0 + away * SPACING) * TIMES))
    assert np.abs(band(bands, 1000.0)).max() < 0.006


def test_times_lie_inside_the_sound():
    bands = ready(np.zeros(COUNT))
    half = 2.0 / SPACING
    assert bands.times[0] == pytest.approx(half, abs=1.0 / SPACING)
    assert bands.times[-1] == pytest.approx(TIMES[-1] - half, abs=1.0 / SPACING)
    assert np.diff(bands.times).max() <= 0.5 / SPACING + 1e-12


def test_noise_of_a_sample_and_of_a_slow_fit():
    """White noise of variance 1: a band holds 4 density (2 for a real sound's half of a line, squared), and a mean over
    it varies by `effective` over what as many independent samples would. Of 1000 draws, to 10 %."""
    rng = np.random.default_rng(3)
    one, mean = [], []
    for _ in range(1000):
        bands = ready(rng.standard_normal(1600), 50.0)
        got = band(bands, 1000.0)
        one.append(np.mean(np.abs(got) ** 2))
        mean.append(np.abs(np.mean(got)) ** 2 * len(got))
    assert np.mean(one) == pytest.approx(4.0 * bands.density, rel=0.05)
    assert np.mean(mean) / np.mean(one) == pytest.approx(bands.effective, rel=0.1)


def test_a_glide_is_taken_along():
    """A gliding cosine heard along its glide is the steady one turned by its own glide; a plain band bends it."""
    size, rate = 0.006, 3.0
    early = size * (1.0 - np.exp(-rate * TIMES)) / rate
    steady, gliding = (np.cos(2.0 * np.pi * 1000.0 * (TIMES + e) + 0.4) for e in (0.0, early))
    bands = ready(gliding)
    ahead = np.exp(2j * np.pi * 1000.0 * size * (1.0 - np.exp(-rate * bands.times)) / rate)
    want = band(ready(steady), 1000.0) * ahead
    got = gliding_band(bands, 1000.0, early)
    assert np.abs(got - want).max() < 1e-4
    assert np.abs(band(bands, 1000.0) - want).max() > 0.01


def test_without_a_glide_both_are_the_same():
    samples = np.random.default_rng(1).standard_normal(COUNT)
    bands = ready(samples)
    assert gliding_band(bands, 517.3, np.zeros(COUNT)) == pytest.approx(band(bands, 517.3), abs=0.02)


def test_a_sound_too_short_has_no_samples_left():
    assert len(prepared(np.ones(9), RATE, 1.0).times) <= 3


def test_sizes_have_small_factors():
    for number in (1, 7, 97, 1000, 12347, 99991):
        size = _smooth(number)
        assert number <= size <= 1.2 * number + 1
        left = size
        for prime in (2, 3, 5):
            while left % prime == 0:
                left //= prime
        assert left == 1
