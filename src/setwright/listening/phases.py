"""Phases of all partials of a note explained together: a frequency for each, one glide for all.

Tension rises with the mean square of the slope (Kirchhoff 1876; Carrier, Q. Appl. Math. 3, 157, 1945), so it falls as
partials do, each part of it at twice the rate at which its partial decays. A stiff string's partials follow tension
less the more stiffness holds them, and a partial that swings in one plane follows its own part half as much again:

    phase_n(t) = p_n + 2 pi f_n (t + c_n (sum over g of k_g S_g(t) + q k_n S_n(t)))                          (H1)
    S_g(t) = (1 - exp(-r_g t)) / r_g,   c_n = (1 + B) / (1 + B n^2),   q from 0 (circling) to 1/2 (in a plane)

f_n is the frequency partial n settles at. Amplitudes over time are left free; what is compared is the part of every
band that stands at right angles to what is expected, so a phase is weighted by amplitude over noise.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

ROUNDS = 6
SMOOTH = 0.06  # s over which an amplitude is taken to change little
BLOCKS = 8  # pieces of the note whose pulls are compared for what the model leaves out
FOLLOWED = 1.8  # times the noise of a slow fit, down to which a phase is followed from sample to sample
SLIGHT = 1e-3  # of the greatest, the least a part of the glide is expected at
FEW = 5  # samples that are followed in any case
STILL = 1e-4  # cycles; a smaller step of every phase ends the rounds
OWN, OWN_SD = 0.25, 0.2  # q before anything is heard
OWN_RANGE = (0.0, 0.55)


@dataclass(frozen=True)
class Bent:
    """How a glide may bend the phases. N partials, G parts."""

    rates: Array  # (G) r_g [1/s], one for every partial
    follows: Array  # (N) c_n
    expected: Array  # (G) what k are expected at, relative
    loose: float  # standard uncertainty of each over its expectation, the part common to all left out


@dataclass(frozen=True)
class Phases:
    """What the phases say."""

    hertz: Array  # (N) settled frequencies
    glide: Array  # (G) k, relative
    own: float  # q
    covariance: Array  # (N + G, N + G) of hertz and glide, what the model leaves out included
    amplitude: Array  # (N, M)
    phase: Array  # (N, M) rad, of the model in its band
    misfit: Array  # (N) residual over expected noise, 1 where the model is whole
    held: Array  # (N) share of a band that stands in the model's phase, 1 where it is followed, 0 where it is lost
    cost: float  # squares of all residuals over their noise, and of what was expected
    at: Array  # (P) where the fit ended, for the next


@dataclass(frozen=True)
class _Problem:
    times: Array
    since: Array  # from the middle
    bands: Complex
    middle: Array
    start: Array
    noise: Array
    course: Array  # (G, M) by which a unit of every k lengthens the time
    own: Array  # (N, M) by which a unit of q does
    follows: Array  # (N) how much of both a partial takes
    prior: Array  # (P, P) information
    toward: Array  # (P) what it pulls to

    @property
    def count(self) -> int:
        return len(self.start)


def explained(
    times: Array, bands: Complex, middle: Array, start: Array, noise: Array, bent: Bent, before: Array | None = None
) -> Phases:
    """Fit of H1 by Gauss-Newton.

    Args:
        times: (M) [s].
        bands: (N, M) about `middle`.
        middle: (N) [Hz].
        start: (N) frequencies to start at [Hz].
        noise: (N) variance of the noise in one of the two parts of a sample, as a slow fit sees it.
        bent: how a glide may bend the phases.
        before: where an earlier fit of the same bands ended, to start from.
    Returns: the fit.
    """
    problem = _posed(times, bands, middle, start, noise, bent)
    at = _unrolled(problem) if before is None else before
    count, width = problem.count, max(int(SMOOTH / (times[1] - times[0])) | 1, 3)
    lasts = problem.since[-1]
    for _ in range(ROUNDS):
        turned = bands * np.exp(-1j * _phase(problem, at))
        matrix, pulls = _normal(problem, smoothed(turned.real, width), turned.imag)
        pull = pulls.sum(axis=0) - problem.prior @ (at - problem.toward)
        step = _step(matrix + problem.prior, pull, at)
        at = at + step
        if np.abs(step[:count]).max() + np.abs(step[count : 2 * count]).max() * lasts < STILL:
            break
    return _said(problem, at, width)


def _posed(times: Array, bands: Complex, middle: Array, start: Array, noise: Array, bent: Bent) -> _Problem:
    rates = bent.rates[:, None]
    course = (1.0 - np.exp(-rates * times)) / rates
    own = bent.expected[:, None] * course
    prior, toward = _prior(2 * len(start), bent)
    since = times - times.mean()
    return _Problem(times, since, bands, middle, start, noise, course, own, bent.follows, prior, toward)


def _said(problem: _Problem, at: Array, width: int) -> Phases:
    count = problem.count
    phase = _phase(problem, at)
    turned = problem.bands * np.exp(-1j * phase)
    amplitude = smoothed(turned.real, width)
    matrix, pulls = _normal(problem, amplitude, turned.imag, BLOCKS)
    inverse = _inverse(matrix + problem.prior)
    even = pulls - pulls.mean(axis=0)
    spread = inverse @ (even.T @ even) @ inverse * (BLOCKS / (BLOCKS - 2.0))
    off = at - problem.toward
    keep = np.ix_(np.arange(count, len(at) - 1), np.arange(count, len(at) - 1))
    residual = turned.imag**2 / problem.noise[:, None]
    loud = np.maximum(amplitude, 0.0) ** 2
    held = (loud * turned.real).sum(axis=1) / np.maximum((loud * np.abs(turned)).sum(axis=1), 1e-300)
    cost = float(residual.sum() + off @ problem.prior @ off)
    return Phases(
        problem.start + at[count : 2 * count], at[2 * count : -1], float(at[-1]), _larger(inverse, spread)[keep],
        amplitude, phase, residual.mean(axis=1), held, cost, at,
    )  # fmt: skip


def _prior(first: int, bent: Bent) -> tuple[Array, Array]:
    """Information and place: parts of the glide stand to each other about as expected, their common size free."""
    expected = bent.expected
    out, toward = np.zeros((first + len(expected) + 1,) * 2), np.zeros(first + len(expected) + 1)
    weight = 1.0 / (bent.loose * np.maximum(expected, SLIGHT * expected.max())) ** 2
    pulls = weight * expected
    out[first:-1, first:-1] = np.diag(weight) - np.outer(pulls, pulls) / (pulls @ expected)
    out[-1, -1], toward[-1] = 1.0 / OWN_SD**2, OWN
    return out, toward


def _phase(problem: _Problem, at: Array) -> Array:
    """(N, M) model phase in every band [rad]."""
    count = problem.count
    hertz = problem.start + at[count : 2 * count]
    cycles = at[:count, None] + (problem.start - problem.middle)[:, None] * problem.times
    cycles = cycles + at[count : 2 * count, None] * problem.since
    lead = problem.follows[:, None] * (at[2 * count : -1] @ problem.course + at[-1] * problem.own)
    return np.asarray(2.0 * np.pi * (cycles + hertz[:, None] * lead))


def _normal(problem: _Problem, amplitude: Array, across: Array, blocks: int = 1) -> tuple[Array, Array]:
    """Normal matrix, and the pull of every one of so many blocks of time (K, P)."""
    count, size = problem.count, len(problem.prior)
    since, course, own = problem.since, problem.course, problem.own
    follow = (problem.start * problem.follows)[:, None]
    weight = (2.0 * np.pi * amplitude) ** 2 / problem.noise[:, None]
    right = 2.0 * np.pi * amplitude * across / problem.noise[:, None]
    number = np.arange(count)
    matrix = np.zeros((size, size))
    matrix[number, number] = weight.sum(axis=1)
    matrix[number, count + number] = matrix[count + number, number] = weight @ since
    matrix[count + number, count + number] = weight @ since**2
    heavy = weight * follow
    mine = heavy * own
    matrix[:count, 2 * count : -1], matrix[:count, -1] = heavy @ course.T, mine.sum(axis=1)
    matrix[count : 2 * count, 2 * count : -1] = (heavy * since) @ course.T
    matrix[count : 2 * count, -1] = mine @ since
    matrix[2 * count :, : 2 * count] = matrix[: 2 * count, 2 * count :].T
    matrix[2 * count : -1, 2 * count : -1] = (course * (heavy * follow).sum(axis=0)) @ course.T
    matrix[2 * count : -1, -1] = matrix[-1, 2 * count : -1] = course @ (mine * follow).sum(axis=0)
    matrix[-1, -1] = (mine * follow * own).sum()
    pulls = np.zeros((blocks, size))
    strong = right * follow
    for k, (a, b) in enumerate(pairwise(np.linspace(0, len(since), blocks + 1).astype(int))):
        pulls[k, :count] = right[:, a:b].sum(axis=1)
        pulls[k, count : 2 * count] = right[:, a:b] @ since[a:b]
        pulls[k, 2 * count : -1] = course[:, a:b] @ strong[:, a:b].sum(axis=0)
        pulls[k, -1] = (strong[:, a:b] * own[:, a:b]).sum()
    return matrix, pulls


def _step(matrix: Array, pull: Array, at: Array) -> Array:
    """Gauss-Newton's step, q kept within what it can be."""
    step = _solved(matrix, pull)
    q = float(np.clip(at[-1] + step[-1], *OWN_RANGE))
    if q != at[-1] + step[-1]:
        last = q - at[-1]
        step = np.append(_solved(matrix[:-1, :-1], pull[:-1] - matrix[:-1, -1] * last), last)
    return step


def _solved(matrix: Array, pull: Array) -> Array:
    scale = 1.0 / np.sqrt(np.maximum(np.diag(matrix), 1e-300))
    part = matrix * np.outer(scale, scale) + 1e-12 * np.eye(len(scale))
    return np.asarray(scale * np.linalg.solve(part, scale * pull))


def _unrolled(problem: _Problem) -> Array:
    """Where to start: phases followed from sample to sample while a band stands well above its noise."""
    bands = problem.bands
    loud = np.logical_and.accumulate(np.abs(bands) > FOLLOWED * np.sqrt(problem.noise)[:, None], axis=1)
    loud[:, :FEW] = True
    angle = np.unwrap(np.angle(bands), axis=1) - 2.0 * np.pi * (problem.start - problem.middle)[:, None] * problem.times
    weight = np.where(loud, np.abs(bands), 0.0)
    matrix, pulls = _normal(problem, weight, weight * angle)
    pull = pulls.sum(axis=0) + problem.prior @ problem.toward
    return _step(matrix + problem.prior, pull, np.zeros(len(matrix)))


def _inverse(matrix: Array) -> Array:
    scale = 1.0 / np.sqrt(np.maximum(np.diag(matrix), 1e-300))
    both = np.outer(scale, scale)
    return np.asarray(np.linalg.inv(matrix * both + 1e-12 * np.eye(len(scale))) * both)


def _larger(first: Array, second: Array) -> Array:
    """The first covariance, its standard uncertainties widened to those of the second where these are larger."""
    wider = np.sqrt(np.maximum(np.diag(second) / np.maximum(np.diag(first), 1e-300), 1.0))
    return np.asarray(first * np.outer(wider, wider))


def smoothed(values: Array, width: int) -> Array:
    """Moving mean over every row, its ends over what there is.

    Args:
        values: (N, M).
        width: samples, odd.
    Returns: (N, M).
    """
    total = np.cumsum(np.pad(values, ((0, 0), (1, 0))), axis=1)
    count, half = values.shape[1], width // 2
    low = np.maximum(np.arange(count) - half, 0)
    high = np.minimum(np.arange(count) + half + 1, count)
    return np.asarray((total[:, high] - total[:, low]) / (high - low))
