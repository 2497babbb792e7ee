"""Coarse look at a ringing note: its spectral peaks, and which fundamental and inharmonicity explain them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

LOWEST, HIGHEST = 25.0, 1600.0  # Hz, fundamentals looked for
ABOVE = 5.0  # times the noise amplitude, from which a peak counts
MOST_PEAKS = 60
SPAN = 31  # bins over which the noise floor is taken, times the window's main lobe
GRID = 6.0  # cents between fundamentals tried
STRETCHES = np.concatenate([[0.0], np.geomspace(3e-5, 6e-3, 13)])  # B tried
WORTH = 0.5  # of the best share, from which on another fundamental is worth a second look
LOW = 1600.0  # Hz, up to which peaks are looked at once more by themselves: there stiffness matters least
FEWEST = 4  # peaks for it
HALVED = 2  # of the best whose lower octave is looked at too
WITHIN = 0.03  # of f0, how near a peak must lie to its partial


@dataclass(frozen=True)
class Peaks:
    """Peaks of a spectrum, strongest first kept, lowest first in order."""

    hertz: Array
    amplitude: Array  # of a sinusoid
    floor: Array  # noise amplitude there


@dataclass(frozen=True)
class Coarse:
    """The fundamental and inharmonicity that explain the peaks."""

    fundamental: float  # Hz
    inharmonicity: float
    share: float  # of the peaks' weight that is explained
    rival: float  # share of the next best fundamental that is no neighbour


def peaks_of(samples: Array, rate: float, highest: float) -> Peaks:
    """Spectral peaks above the noise.

    Args:
        samples: (N) of the ringing part.
        rate: [Hz].
        highest: frequency up to which is looked [Hz].
    Returns: the peaks.
    """
    count = len(samples)
    size = 1 << (2 * count - 1).bit_length()
    window = np.hanning(count) ** 2
    spectrum = np.abs(np.fft.rfft((samples - samples.mean()) * window, size)) * 2.0 / window.sum()
    step = rate / size
    top = min(int(highest / step), len(spectrum) - 2)
    level = spectrum[: top + 2]
    width = max(SPAN * (size // count), 15)
    floor = _floor(level, width)
    middle = level[1:-1]
    found = np.flatnonzero((middle > level[:-2]) & (middle >= level[2:]) & (middle > ABOVE * floor[1:-1])) + 1
    found = found[found * step > 0.5 * LOWEST]
    found = np.sort(found[np.argsort(level[found])[::-1][:MOST_PEAKS]])
    left, here, right = (np.log(np.maximum(level[found + k], 1e-300)) for k in (-1, 0, 1))
    shift = 0.5 * (left - right) / (left - 2.0 * here + right)
    return Peaks((found + shift) * step, np.exp(here - 0.25 * (left - right) * shift), floor[found])


def _floor(level: Array, width: int) -> Array:
    """Median of the level around every bin, between medians of pieces."""
    pieces = max(len(level) // width, 1)
    edges = np.linspace(0, len(level), pieces + 1).astype(int)
    middle = 0.5 * (edges[:-1] + edges[1:])
    many = np.diff(edges)
    each = np.arange(many.max())
    inside = np.minimum(edges[:-1, None] + each, len(level) - 1)
    ordered = np.sort(np.where(each < many[:, None], level[inside], np.inf), axis=1)
    piece = np.arange(pieces)
    median = 0.5 * (ordered[piece, (many - 1) // 2] + ordered[piece, many // 2])
    return np.asarray(np.interp(np.arange(len(level)), middle, np.maximum(median, 1e-300)))


def coarse_pitch(peaks: Peaks, about: float | None = None) -> Coarse | None:
    """Fundamental and inharmonicity that explain the peaks best, without octave errors.

    Every fundamental of a grid is scored by the weight of the peaks that lie at its partials, less the partials that
    are missing between them. A fundamental an octave low explains all peaks too, but every other of its partials is
    missing; one an octave high leaves every other peak unexplained.

    Args:
        peaks: from `peaks_of`.
        about: the pitch expected, tried within a semitone only [Hz].
    Returns: the best; None without peaks.
    """
    found = coarse_pitches(peaks, about, 1)
    return found[0] if found else None


def coarse_pitches(peaks: Peaks, about: float | None = None, most: int = 6) -> list[Coarse]:
    """The same, the best and those that come after it.

    With many partials of a stiff string no B of the grid fits them all, and a fundamental with fewer of them may come
    first. So those that explain the low peaks by themselves follow, and the lower octave of the best.

    Args:
        peaks: from `peaks_of`.
        about: the pitch expected, tried within a semitone only [Hz].
        most: how many [1].
    Returns: the best first; none without peaks.
    """
    out = _ranked(peaks, about, most)
    if most == 1 or not out:
        return out
    low = peaks.hertz < LOW
    if FEWEST <= low.sum() < len(low):
        out += _ranked(Peaks(peaks.hertz[low], peaks.amplitude[low], peaks.floor[low]), about, HALVED)
    if about is None:
        out += [replace(one, fundamental=0.5 * one.fundamental, inharmonicity=0.25 * one.inharmonicity)
                for one in out[:HALVED] if one.fundamental > 2.0 * LOWEST]  # fmt: skip
    return [out[0], *(replace(one, share=_share(peaks, one)) for one in out[1:])]


def _share(peaks: Peaks, one: Coarse) -> float:
    """Share of the weight of all peaks a fundamental explains, less half that of missing partials."""
    return float(_scores(peaks.hertz[None] / one.fundamental, weights_of(peaks), one.inharmonicity)[0])


def _ranked(peaks: Peaks, about: float | None, most: int) -> list[Coarse]:
    """Fundamentals by the share of the peaks' weight they explain."""
    if len(peaks.hertz) == 0:
        return []
    weight = weights_of(peaks)
    low, high = (LOWEST, HIGHEST) if about is None else (about / 1.06, about * 1.06)
    grid = low * 2.0 ** (np.arange(0.0, 1200.0 * np.log2(high / low) + GRID, GRID) / 1200.0)
    ratio = peaks.hertz / grid[:, None]
    scores = np.array([_scores(ratio, weight, float(stretch)) for stretch in STRETCHES])
    best = scores.max(axis=0)
    out: list[Coarse] = []
    for _ in range(most):
        at = int(np.argmax(best))
        if out and best[at] < WORTH * out[0].share:
            break
        away = np.abs(np.log2(grid / grid[at])) > 0.04
        rival = float(best[away].max()) if away.any() else 0.0
        stretch = float(STRETCHES[int(np.argmax(scores[:, at]))])
        out.append(Coarse(float(grid[at]), stretch, float(best[at]), rival))
        best = np.where(away, best, -np.inf)
        if not away.any():
            break
    return out


def weights_of(peaks: Peaks) -> Array:
    """How much every peak counts.

    Args:
        peaks: from `peaks_of`, at least one.
    Returns: (N) [1].
    """
    weight = np.log(peaks.amplitude / peaks.floor / ABOVE) + 0.5
    return np.asarray(weight * np.sqrt(peaks.amplitude / peaks.amplitude.max()))


def _scores(ratio: Array, weight: Array, stretch: float) -> Array:
    """(G) score of every fundamental; where far less is explained than by the best of them, not more than its score.

    A peak lies off its partial by at least what its number lies off a whole one, so most need no second look.

    ratio: (G, N) of the peaks to the fundamentals, n sqrt(1 + B n^2).
    """
    flat = ratio.ravel()
    root = flat.astype(np.float32)
    if stretch > 0.0:
        root *= root
        root *= np.float32(4.0 * stretch)
        root += np.float32(1.0)
        np.sqrt(root, out=root)
        root -= np.float32(1.0)
        root *= np.float32(0.5 / stretch)
        np.sqrt(root, out=root)
    number = np.rint(root)
    root -= number
    np.abs(root, out=root)
    near_one = root < np.float32(3.0 * WITHIN)
    near_one &= number >= np.float32(1.0)
    at = np.flatnonzero(near_one)
    row, column = np.divmod(at, len(weight))
    which = number[at].astype(np.float64)
    off = np.abs(flat[at] - which * np.sqrt(1.0 + stretch * which**2))
    near = np.where(off < WITHIN * 3, np.exp(-0.5 * (off / WITHIN) ** 2), 0.0)
    explained = np.bincount(row, near * weight[column], len(ratio)) / weight.sum()
    hit = np.zeros(ratio.shape)
    hit[row, column] = np.where(near > 0.1, which, 0.0)
    score, worth = explained - 0.5, explained > WORTH * explained.max()
    score[worth] = explained[worth] - 0.5 * _missing(hit[worth])
    more = ~worth & (explained > WORTH * score[worth].max(initial=0.0))
    score[more] = explained[more] - 0.5 * _missing(hit[more])
    return np.asarray(score)


def _missing(hit: Array) -> Array:
    """(G) share of the partials up to the highest that is hit of which there is no peak.

    hit: (G, N) which partial a peak is, 0 for none; peaks stand in order, so numbers never fall.
    """
    found = (hit[:, :1] > 0.0).sum(axis=1) + (hit[:, 1:] > np.maximum.accumulate(hit, axis=1)[:, :-1]).sum(axis=1)
    top = hit.max(axis=1, initial=0.0)
    return np.asarray(np.maximum(top - found, 0) / np.maximum(top, 1))
