"""Partials numbered and followed: wrong peaks, few of them, decays, glides."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from setwright.listening import partials
from setwright.listening.law import stretch
from setwright.listening.partials import LOW, MOST, _decays, _glide_expected, ahead, followed, numbered
from setwright.listening.spectrum import Coarse, Peaks, coarse_pitch, peaks_of

CENTS = 1200.0 / np.log(2.0)
RATE = 16000.0
F0, B = 110.0, 2e-4


def peaks_at(hertz, amplitude=None):
    hertz = np.asarray(hertz, dtype=float)
    order = np.argsort(hertz)
    amplitude = np.ones(len(hertz)) if amplitude is None else np.asarray(amplitude, dtype=float)
    return Peaks(hertz[order], amplitude[order], np.full(len(hertz), 1e-3))


def string(count, first=1):
    return F0 * stretch(np.arange(first, count + 1.0), B)


def coarse(f0=F0, shape=1e-4):
    return Coarse(f0, shape, 1.0, 0.0)


def note(seconds=1.5, glide=0.0, count=10, noise=1e-3, fall=1.5):
    """Partials of equal part in the tension, that die away alike, with noise of a fixed seed."""
    times = np.arange(int(seconds * RATE)) / RATE
    early = glide * (1.0 - np.exp(-2.0 * fall * times)) / (2.0 * fall)
    n = np.arange(1.0, count + 1.0)[:, None]
    follow = (1.0 + B) / (1.0 + B * n**2)
    sound = (np.cos(2.0 * np.pi * F0 * stretch(n, B) * (times + follow * early) + n**2) / n).sum(axis=0)
    return sound * np.exp(-fall * times) + noise * np.random.default_rng(0).standard_normal(len(times))


def ringing(samples, early=None):
    peaks = peaks_of(samples, RATE, 3000.0)
    return followed(samples, RATE, peaks, coarse_pitch(peaks), early)


def test_numbers_of_a_stiff_string():
    """A start 4 cents flat and half as stiff: partial 16 lies a tenth of a spacing off it, found all the same."""
    numbers, hertz = numbered(peaks_at(string(16)), coarse(F0 * np.exp(-4.0 / CENTS)))
    assert list(numbers) == list(range(1, 17))
    assert hertz == pytest.approx(string(16))


def test_peaks_between_partials_are_no_partials():
    wrong = F0 * np.array([1.3, 2.5, 4.6, 5.4])
    numbers, hertz = numbered(peaks_at([*string(8), *wrong]), coarse())
    assert list(numbers) == list(range(1, 9))
    assert hertz == pytest.approx(string(8))


def test_missing_partials_leave_their_numbers_out():
    numbers, _ = numbered(peaks_at(np.delete(string(12), [0, 5])), coarse())
    assert list(numbers) == [2, 3, 4, 5, 7, 8, 9, 10, 11, 12]


def test_the_low_ones_and_those_that_tell_most_are_kept():
    amplitude = np.ones(40)
    amplitude[:LOW] = 0.01
    amplitude[9] = 1e-4
    numbers, _ = numbered(peaks_at(string(40), amplitude), coarse(F0, B))
    assert len(numbers) == MOST
    assert list(numbers[:LOW]) == list(range(1, LOW + 1))
    assert 10 not in numbers
    assert numbers[-1] == 40


def test_no_peaks_and_no_partials():
    numbers, hertz = numbered(peaks_at([]), coarse())
    assert len(numbers) == len(hertz) == 0
    numbers, _ = numbered(peaks_at([1.5 * F0]), coarse())
    assert len(numbers) == 0


def test_one_partial_is_not_followed():
    samples = note(count=1)
    peaks = peaks_at([F0 * np.sqrt(1.0 + B)])
    assert followed(samples, RATE, peaks, coarse()) is None


def test_too_short_to_be_followed():
    peaks = peaks_at(string(6))
    assert followed(note(seconds=0.06), RATE, peaks, coarse()) is None
    assert followed(note(seconds=0.4), RATE, peaks, coarse()) is not None


def test_partials_of_a_steady_string():
    got = ringing(note())
    assert list(got.numbers) == list(range(1, 11))
    assert np.abs(CENTS * np.log(got.hertz / string(10))).max() < 0.05
    assert got.decay[:6] == pytest.approx(1.5, rel=0.05)
    assert abs(got.glide) < 4.0 * got.glide_sd + 0.02
    assert abs(CENTS * np.log(got.law.first / string(1)[0])) < 0.02


def test_amplitudes_and_noise():
    """Amplitude 1 / n, fallen by the time the first samples lie at; the band holds the noise's own part."""
    got = ringing(note(noise=0.01))
    fallen = got.amplitude * got.numbers
    assert fallen == pytest.approx(fallen[0], rel=0.05)
    assert 0.9 < fallen[0] < 1.0
    twice = ringing(note(noise=0.02))
    assert np.median(twice.noise) == pytest.approx(2.0 * np.median(got.noise), rel=0.15)


def test_a_glide_is_found_and_its_end_is_the_strings():
    """Twenty cents, with the partials heard along the glide found first."""
    size = np.expm1(20.0 / CENTS)
    samples = note(glide=size)
    first = ringing(samples)
    times = np.arange(len(samples)) / RATE
    second = followed(samples, RATE, peaks_at(string(10)), coarse(), ahead(first, times))
    start = 2.0 / F0  # s, half the filter: where the first sample lies
    assert second.glide == pytest.approx(20.0 * np.exp(-3.0 * start), rel=0.05)
    assert abs(CENTS * np.log(second.law.first / string(1)[0])) < 0.3
    assert second.glide_rate == pytest.approx(3.0, rel=0.1)
    assert second.left == pytest.approx(20.0 * np.exp(-3.0 * (1.5 - start)), abs=0.1)


def test_ahead_is_the_integral_of_the_glide():
    got = ringing(note(glide=0.01))
    times = np.linspace(0.0, 1.0, 20001)
    rise = sum(k * np.exp(-r * times) for k, r in zip(got.sizes, got.rates, strict=True))
    whole = np.concatenate([[0.0], np.cumsum(0.5 * (rise[1:] + rise[:-1]) * np.diff(times))])
    assert ahead(got, times) == pytest.approx(whole, abs=1e-9)


def test_decays_are_read_above_the_noise():
    """One band that falls into its noise at a third: its decay is that of the part above. Limits hold for one that
    grows."""
    times = np.arange(400) * 0.005
    noise = np.full(3, 1e-4)
    levels = np.array([np.exp(-0.8 * times), np.maximum(np.exp(-8.0 * times), 0.005), 0.2 * np.exp(0.5 * times)])
    got = _decays(times, levels, noise)
    assert got[:2] == pytest.approx([0.8, 8.0], rel=0.02)
    assert got[2] == 0.05


def test_parts_of_a_glide():
    """Shares for places of a pickup: one that stands over the second partial's node gives it a larger part, and the
    sine is taken out again. Rates are twice the amplitudes'; a faint partial's is that of its neighbours."""
    numbers = np.arange(1, 5)
    amplitude = np.tile(np.array([1.0, 0.5, 0.3, 1e-3])[:, None], (1, 50))
    decay = np.array([1.0, 2.0, 3.0, 40.0])
    rates, shares = _glide_expected(numbers, F0 * numbers, amplitude, decay, np.full(4, 1e-6))
    assert rates == pytest.approx([2.0, 4.0, 6.0, 6.0])
    assert shares.sum(axis=1) == pytest.approx(1.0)
    near = np.array([1.0, 0.5, 0.3, 1e-3]) ** 2 / np.sin(0.06 * np.pi * numbers) ** 2
    assert shares[1][:2] / near[:2] == pytest.approx((shares[1] / near)[0], rel=1e-9)
    faint, _ = _glide_expected(numbers, F0 * numbers, amplitude, decay, np.full(4, 1e3))
    assert faint == pytest.approx(2.0 * decay)


@pytest.mark.parametrize("poor", [0.001, 0.03, 0.5])
def test_what_is_not_explained_is_told_half_way_down_what_is_left(poor, monkeypatch):
    """Nothing left over: what amplitudes and phases say. Half of all: what the phases say, half of the glide that is
    left taken off, the other half counted to the band. Between the two both count."""
    real = partials.resolved
    got = []

    def pretended(*given):
        got.append(replace(real(*given), poor=poor))
        return got[-1]

    monkeypatch.setattr(partials, "resolved", pretended)
    samples = note(glide=3e-3)
    peaks = peaks_of(samples, RATE, 3000.0)
    one = followed(samples, RATE, peaks, coarse_pitch(peaks), None, 0.03)
    phases = followed(samples, RATE, peaks, coarse_pitch(peaks))
    both = got[0].law
    end = phases.law.first * np.exp(0.5 * phases.left / CENTS)
    assert phases.left > 0.01
    if poor < 0.01:
        assert (one.law.first, one.law.first_sd) == (pytest.approx(both.first), pytest.approx(both.first_sd))
    elif poor > 0.1:
        assert CENTS * np.log(one.law.first / end) == pytest.approx(0.0, abs=0.1 * phases.left)
        assert CENTS * one.law.first_sd > 0.45 * phases.left
    else:
        assert CENTS * np.log(one.law.first / np.sqrt(end * both.first)) == pytest.approx(0.0, abs=0.1 * phases.left)
        assert one.law.first_sd > 0.5 * np.log(end / both.first)


def test_what_no_fit_explains_is_told_from_the_phases(monkeypatch):
    monkeypatch.setattr(partials, "resolved", lambda *_: None)
    samples = note(glide=3e-3)
    peaks = peaks_of(samples, RATE, 3000.0)
    one = followed(samples, RATE, peaks, coarse_pitch(peaks), None, 0.03)
    assert one.poor == 1.0
    assert abs(CENTS * np.log(one.law.first / string(1)[0])) < 2.0 * CENTS * one.law.first_sd
