"""Sound as it comes in: thinned out, its latest second kept, its loudness in short frames, its partials cut out."""

from __future__ import annotations

import itertools
from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from setwright.listening.live_course import String
from setwright.listening.spectrum import Coarse, Peaks, coarse_pitch

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

THINNED = 8000.0  # Hz, the least rate sound is thinned to
KEPT = 0.42  # of the thinned rate, up to which it is used
LASTS = 1.0  # s of sound kept
FRAME = 0.004  # s
STEADY = 0.5  # s over which the constant part is taken
HIGHEST = 3600.0  # Hz up to which partials are looked for
LOW_BAND = 1000.0  # Hz, the same where a low string's many partials would not be told apart by number
UNCLEAR = 0.5  # share of the peaks' weight, under which that band is tried
LOBE = 8  # bins a strong peak's side lobes reach
LEAST_PEAK = 0.006  # of a stronger peak so near
QUIETEST = 20.0  # percent of the bins, between peaks
OVER = 4.0  # times that, from which a peak counts
PIECE = 31  # bins over which the floor is taken
MOST_PEAKS = 60
HIGHER = 0.88  # of the share a fundamental explains, from which one that is a multiple of it is preferred
FLOORED = 0.7  # of the level between peaks, what is given as their noise
RAYLEIGH = -float(np.log(1.0 - QUIETEST / 100.0))  # of the mean power of noise, its power at that percentile
NEAR = 0.2  # of a number, how near a peak must lie to it
LOOSE, STIFF_SPREAD = 1e-3, 3e-4  # relative error of a strong peak; of B, before peaks are weighed
MOST_PARTIALS = 16
MISTAKES = (1.0, 0.5, 2.0, 1 / 3, 3.0, 1.5, 2 / 3)  # what a first look may have taken a pitch for
LOW_NUMBERS = 16.0
PERIODS, SHORTEST = 3.0, 0.045  # of the note, and s: how long the window is a partial is cut out by
HOPS = 4  # in one such window


class Thinned:
    """A stream of samples thinned out by a whole number, after a low pass, without its constant part."""

    def __init__(self, rate: float) -> None:
        """rate: of the samples [Hz]."""
        self.by = max(int(rate // THINNED), 1)
        self.rate = rate / self.by
        width = 10 * self.by
        reach = np.arange(-width, width + 1)
        taps = np.sinc(reach * 0.92 / self.by) * np.kaiser(2 * width + 1, 7.0)
        self.taps = taps / taps.sum() if self.by > 1 else np.ones(1)
        self.late = (len(self.taps) - 1) / 2 / rate  # s
        self.waiting: Array = np.empty(0)
        self.constant: float | None = None

    def push(self, block: Array) -> Array:
        """More samples in, those that are ready out.

        Args:
            block: (N) samples
        Returns: (M) of the thinned stream, `late` behind.
        """
        if not len(block):
            return np.empty(0)
        if self.constant is None:
            self.constant = float(block[: max(len(block) // 2, 1)].mean())
            self.waiting = np.full(len(self.taps) - 1, self.constant)
        joined = np.concatenate([self.waiting, block])
        ready = (len(joined) - len(self.taps)) // self.by + 1
        if ready <= 0:
            self.waiting = joined
            return np.empty(0)
        out = sliding_window_view(joined, len(self.taps))[:: self.by][:ready] @ self.taps
        self.waiting = joined[ready * self.by :]
        share = min(len(out) / (STEADY * self.rate), 1.0)
        self.constant += share * (float(out.mean()) - self.constant)
        return np.asarray(out - self.constant)


class Kept:
    """The latest second of thinned sound, and the power of its frames."""

    def __init__(self, rate: float, start: float) -> None:
        """rate: of the thinned sound [Hz]. start: time of its first sample [s]."""
        self.rate, self.start = rate, start
        self.frame = max(round(FRAME * rate), 1)
        self.most = round(LASTS * rate)
        self.count = 0  # samples seen
        self.samples: Array = np.empty(0)
        self.powers: deque[float] = deque(maxlen=int(LASTS / FRAME))

    def add(self, frame: Array) -> None:
        """One more frame."""
        self.samples = np.concatenate([self.samples[-self.most :], frame])
        self.count += len(frame)
        self.powers.append(float(np.mean(frame**2)))

    @property
    def now(self) -> float:
        """Time at the end of what was seen [s]."""
        return self.time(self.count)

    def time(self, sample: float) -> float:
        """Time of a sample [s]."""
        return self.start + sample / self.rate

    def between(self, first: float, last: float) -> Array:
        """Sound between two times [s], as far as it is kept."""
        begin = self.count - len(self.samples)
        a, b = (round((t - self.start) * self.rate) - begin for t in (first, last))
        return self.samples[max(a, 0) : max(b, 0)]


def peaks_in(samples: Array, rate: float, highest: float) -> Peaks:
    """Spectral peaks of a short piece in which partials may stand so close that little noise is seen between them.

    Args:
        samples: (N)
        rate: [Hz]
        highest: [Hz]
    Returns: the peaks; `floor` is the level between them.
    """
    count = len(samples)
    size = 2 << (2 * count - 1).bit_length()
    window = np.hanning(count) ** 2
    level = np.abs(np.fft.rfft((samples - samples.mean()) * window, size)) * 2.0 / window.sum()
    step = rate / size
    level = np.maximum(level[: min(int(highest / step), len(level) - 2) + 2], 1e-300)
    edges = np.linspace(0, len(level), max(len(level) // (PIECE * (size // count)), 1) + 1).astype(int)
    quiet = [np.percentile(level[a:b], QUIETEST) for a, b in itertools.pairwise(edges)]
    floor = np.interp(np.arange(len(level)), 0.5 * (edges[:-1] + edges[1:]), quiet)
    middle = level[1:-1]
    found = np.flatnonzero((middle > level[:-2]) & (middle >= level[2:]) & (middle > OVER * floor[1:-1])) + 1
    reach = LOBE * size // count
    found = np.array(
        [i for i in found if i * step > 12.5 and level[i] > LEAST_PEAK * level[max(i - reach, 0) : i + reach].max()],
        dtype=int,
    )
    found = np.sort(found[np.argsort(level[found])[::-1][:MOST_PEAKS]])
    left, here, right = (np.log(level[found + k]) for k in (-1, 0, 1))
    shift = 0.5 * (left - right) / (left - 2.0 * here + right)
    return Peaks((found + shift) * step, np.exp(here - 0.25 * (left - right) * shift), FLOORED * floor[found])


@dataclass(frozen=True)
class Look:
    """A string as first seen."""

    string: String  # its first partials
    share: float  # of the peaks' weight it explains
    noise: float  # variance of white noise in a sample that would stand as high as what is between the peaks


def first_look(samples: Array, rate: float, about: float | None = None) -> Look | None:
    """Which string sounds, from its first tenth of a second.

    Args:
        samples: (N)
        rate: [Hz]
        about: what it was taken for, which or a simple multiple or part of which it is [Hz]
    Returns: it; None where there is no tone.
    """
    highest = min(KEPT * rate, HIGHEST)
    peaks = peaks_in(samples, rate, highest)
    best = coarse_pitch(peaks, about)
    if best is not None and best.share < UNCLEAR and about is None:
        low = peaks.hertz < LOW_BAND
        other = coarse_pitch(Peaks(peaks.hertz[low], peaks.amplitude[low], peaks.floor[low]))
        if other is not None and other.share > best.share:
            best = other
    best = None if best is None else _settled(peaks, best.fundamental)
    if best is None:
        return None
    f0, shape = _refined(peaks, best)
    numbers = np.arange(1.0, MOST_PARTIALS + 1.0)
    inside = numbers * np.sqrt(1.0 + shape * numbers**2) * f0 < KEPT * rate
    inside[0] = True
    window = np.hanning(len(samples)) ** 2
    between = float(np.median(peaks.floor)) / FLOORED
    noise = 0.25 * between**2 / RAYLEIGH * float(window.sum() ** 2 / (window**2).sum())
    return Look(String(numbers[inside], f0, shape), best.share, noise)


def _settled(peaks: Peaks, about: float) -> Coarse | None:
    """The best of a pitch, its simple multiples and parts, by its lowest partials alone; high ones rather than low."""
    low = peaks.hertz < LOW_NUMBERS * about
    some = Peaks(peaks.hertz[low], peaks.amplitude[low], peaks.floor[low])
    found = [one for one in (coarse_pitch(some, about * ratio) for ratio in MISTAKES) if one is not None]
    best = max((one.share for one in found), default=0.0)
    if best <= 0.0:  # none explains more than it leaves out
        return None
    return max((one for one in found if one.share > HIGHER * best), key=lambda one: one.fundamental)


def _refined(peaks: Peaks, coarse: Coarse) -> tuple[float, float]:
    """Fundamental [Hz] and stiffness by least squares over the peaks near the partials, from the lowest up."""
    f0, shape = coarse.fundamental, coarse.inharmonicity
    for top in (6.0, 12.0, 20.0):
        ratio = peaks.hertz / f0
        root = np.sqrt((np.sqrt(1.0 + 4.0 * shape * ratio**2) - 1.0) / (2.0 * shape)) if shape > 0.0 else ratio
        number = np.rint(root)
        near = (number >= 1.0) & (number <= top) & (np.abs(root - number) < NEAR)
        if near.sum() < 3:
            continue
        n, y = number[near], np.log(peaks.hertz[near] / number[near])
        weight = peaks.amplitude[near] * n / peaks.amplitude[near].max()
        by = np.column_stack([np.ones(len(n)), 0.5 * n**2 / (1.0 + shape * n**2)])
        off = y - np.log(f0) - 0.5 * np.log1p(shape * n**2)
        held = by.T @ (by * weight[:, None] ** 2) + np.diag([0.0, (LOOSE / STIFF_SPREAD) ** 2])
        step = np.linalg.solve(held, by.T @ (weight**2 * off))
        f0, shape = f0 * float(np.exp(np.clip(step[0], -0.01, 0.01))), float(np.clip(shape + step[1], 0.0, 0.02))
    return f0, shape


@dataclass(frozen=True)
class Comb:
    """Windows that cut the partials of one string out of the sound."""

    string: String
    long: float  # s
    cuts: Complex  # (L, N)

    def at(self, samples: Array) -> Complex:
        """Amplitudes of the partials in the middle of some sound.

        Args:
            samples: (L)
        Returns: (N); a cosine of amplitude a and phase p gives a exp(i p).
        """
        return np.asarray(samples @ self.cuts)


def comb_for(string: String, rate: float, long: float) -> Comb:
    """A comb for a string.

    Args:
        string: it
        rate: [Hz]
        long: [s] of the window
    """
    count = max(round(long * rate), 8)
    window = np.hanning(count + 2)[1:-1] ** 2
    since = (np.arange(count) - 0.5 * (count - 1)) / rate
    turn = np.exp(-2j * np.pi * np.outer(since, string.hertz))
    return Comb(string, count / rate, turn * (2.0 * window / window.sum())[:, None])


def window_for(hertz: float) -> float:
    """How long a window cuts a note's partials out cleanly [s].

    Args:
        hertz: its pitch [Hz]
    """
    return max(PERIODS / hertz, SHORTEST)


def noise_through(power: float, long: float, rate: float) -> float:
    """Variance of white noise in one of the two parts of an amplitude cut out of it.

    Args:
        power: variance of a sample
        long: [s] of the window
        rate: [Hz]
    """
    count = max(round(long * rate), 8)
    window = np.hanning(count + 2)[1:-1] ** 2
    return float(2.0 * power * (window**2).sum() / window.sum() ** 2)


SLOW = HOPS / 1.944  # variance of a slow fit over that of independent windows; 1.944: noise bandwidth of the window
