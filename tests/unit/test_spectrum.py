"""Spectral peaks of sinusoids that are known, and the fundamental that explains peaks."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from setwright.listening.law import stretch
from setwright.listening.partials import surest
from setwright.listening.spectrum import (
    ABOVE,
    HIGHEST,
    LOWEST,
    MOST_PEAKS,
    Peaks,
    coarse_pitch,
    coarse_pitches,
    peaks_of,
)
from setwright.practice.sound import play
from setwright.practice.takes import BASS, string_at

RATE = 8000.0
TIMES = np.arange(4000) / RATE


def cents(one, other):
    return 1200.0 * np.log2(one / other)


def noise(sd, seed=0):
    return sd * np.random.default_rng(seed).standard_normal(len(TIMES))


def peaks_at(hertz, amplitude=1.0, floor=1e-3):
    hertz = np.asarray(hertz, dtype=float)
    return Peaks(hertz, amplitude * np.ones(len(hertz)), floor * np.ones(len(hertz)))


def string(f0, shape=1e-4, numbers=range(1, 13)):
    return f0 * stretch(np.array(list(numbers), dtype=float), shape)


def test_frequency_and_amplitude_of_sinusoids():
    """A squared Hann window's main lobe is a bell to better than a hundredth of a bin and half a percent of its height
    (own measurement on steady sinusoids; half a bin off is the worst case)."""
    hertz, height = np.array([203.3, 611.7, 1500.9]), np.array([0.3, 1.0, 0.02])
    samples = 0.5 + sum(a * np.cos(2.0 * np.pi * f * TIMES + f) for f, a in zip(hertz, height, strict=True))
    found = peaks_of(samples + noise(1e-4), RATE, 3000.0)
    near = np.argmin(np.abs(found.hertz[:, None] - hertz), axis=0)
    assert np.abs(found.hertz[near] - hertz).max() < 0.01 * RATE / len(TIMES)
    assert found.amplitude[near] == pytest.approx(height, rel=0.005)
    others = np.delete(found.amplitude, near)  # side lobes, 46.7 dB down (Harris, Proc. IEEE 66, 51, 1978, from memory)
    assert others.max() < 10.0 ** (-46.0 / 20.0)


def test_floor_is_the_median_of_the_noise():
    """Bins of white noise of variance v are Rayleigh spread, their median sqrt(v ln 2 sum w^2); a sinusoid's amplitude
    is 2 / sum w of its bin (Harris, as above). The sinusoid's main lobe fills up to a quarter of the 62 bins, which
    turns the median into the level that two thirds of the noise stay under: sqrt(ln 3 / ln 2), 1.26 times as high."""
    sd, window = 0.01, np.hanning(len(TIMES)) ** 2
    want = sd * np.sqrt(np.log(2.0) * (window**2).sum()) * 2.0 / window.sum()
    floors = [peaks_of(np.cos(2.0 * np.pi * 1000.0 * TIMES) + noise(sd, s), RATE, 3000.0).floor for s in range(20)]
    assert want < np.mean([f[0] for f in floors]) < 1.26 * want


def test_noise_alone_has_no_peaks():
    """A Rayleigh level is beyond five medians once in 2^25."""
    assert ABOVE == 5.0
    for seed in range(10):
        found = peaks_of(noise(0.1, seed), RATE, 3900.0)
        assert len(found.hertz) == 0
        assert coarse_pitch(found) is None


def test_only_what_is_asked_for_is_looked_at():
    hertz = [10.0, 500.0, 2500.0]
    samples = sum(np.cos(2.0 * np.pi * f * TIMES) for f in hertz) + noise(0.1)
    assert peaks_of(samples, RATE, 2000.0).hertz == pytest.approx([500.0], abs=0.1)


def test_the_strongest_are_kept_lowest_first():
    hertz = 100.0 + 40.0 * np.arange(80)
    height = np.where(np.arange(80) < 20, 0.05, 1.0)
    found = peaks_of(height @ np.cos(2.0 * np.pi * hertz[:, None] * TIMES + hertz[:, None] ** 2), RATE, 3900.0)
    assert len(found.hertz) == MOST_PEAKS
    assert found.hertz == pytest.approx(hertz[20:], abs=0.2)


@pytest.mark.parametrize("f0", [31.0, 82.4, 196.3, 659.0, 1318.0])
@pytest.mark.parametrize("shape", [0.0, 6e-5, 1e-3])
def test_no_octave_errors(f0, shape):
    found = coarse_pitch(peaks_at(string(f0, shape)))
    assert abs(cents(found.fundamental, f0)) < 10.0
    assert found.share > 0.9
    assert found.rival < found.share - 0.1


def test_first_partial_missing():
    found = coarse_pitch(peaks_at(string(82.4, numbers=range(2, 13))))
    assert abs(cents(found.fundamental, 82.4)) < 10.0


@pytest.mark.parametrize("faint", [0.02, 0.1])
def test_strong_even_partials_are_no_octave(faint):
    """A pickup near a node of the odd ones."""
    hertz = string(110.0)
    amplitude = np.where(np.arange(1, 13) % 2 == 0, 1.0, faint)
    found = coarse_pitch(Peaks(hertz, amplitude, np.full(12, 1e-4)))
    assert abs(cents(found.fundamental, 110.0)) < 10.0


def test_strong_odd_partials_are_no_twelfth():
    found = coarse_pitch(peaks_at(string(110.0, numbers=range(1, 14, 2))))
    assert abs(cents(found.fundamental, 110.0)) < 10.0


@pytest.mark.parametrize("about", [110.0, 220.0])
def test_the_note_told_settles_it(about):
    """The even partials of 110 Hz alone: both readings are possible, and the note told decides."""
    found = coarse_pitch(peaks_at(string(220.0, numbers=range(1, 7))), about)
    assert abs(cents(found.fundamental, about)) < 12.0
    assert about / 1.06 <= found.fundamental <= 1.07 * about


def test_inharmonicity_is_told_roughly():
    found = coarse_pitch(peaks_at(string(82.4, 4e-4, range(1, 31))))
    assert found.inharmonicity == pytest.approx(4e-4, rel=0.5)


def test_peaks_of_no_string_are_explained_by_none():
    hertz = np.sort(np.random.default_rng(4).uniform(100.0, 4000.0, 20))
    assert coarse_pitch(peaks_at(hertz)).share < 0.4


def test_range_of_fundamentals():
    assert LOWEST < 27.5  # A0 of a piano, lower than any fretted string of usual pitch; common practice, no source
    assert HIGHEST > 1318.6  # E6, fret 24 of a guitar's first string; common practice, no source


@pytest.mark.parametrize("seed", range(3))
def test_many_partials_of_a_stiff_string_are_no_octave_above(seed):
    """Fret 12 of a bass string up to 10 kHz: the grid of B is too coarse for all partials, and the octave above, which
    has fewer, fits better; the low partials by themselves say which string it is."""
    pluck = replace(string_at(BASS, 4, 12.0, 40.7), seconds=0.5, rate=27562.5, level=-15.3)
    samples = play(pluck, seed)[round(0.03 * pluck.rate) :][: round(0.35 * pluck.rate)]
    peaks = peaks_of(samples + 2e-4 * np.random.default_rng(seed).standard_normal(len(samples)), pluck.rate, 12e3)
    found = surest(peaks, coarse_pitches(peaks))
    assert abs(cents(found.fundamental, pluck.fundamental)) < 10.0
    assert found.inharmonicity == pytest.approx(pluck.inharmonicity, rel=0.1)


def test_the_lower_octave_of_the_best_is_among_those_looked_at():
    peaks = peaks_at(string(220.0))
    some = coarse_pitches(peaks)
    assert any(abs(cents(one.fundamental, 110.0)) < 20.0 for one in some)
    assert all(one.share <= some[0].share for one in some[1:])
    assert abs(cents(surest(peaks, some).fundamental, 220.0)) < 5.0
