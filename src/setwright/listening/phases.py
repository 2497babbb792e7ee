"""Phases of all partials of a note explained together: a frequency for each, one glide for all.

With a string's tension all its partials move by the same ratio 1 + e(t), and e falls as amplitudes do (Kirchhoff and
Carrier: tension rises with the mean square of the slope), so at twice the rates at which the partials themselves decay:

    phase_n(t) = p_n + 2 pi f_n (t + sum over g of k_g S_g(t)),    S_g(t) = (1 - exp(-r_g t)) / r_g         (H1)

f_n is the frequency partial n settles at. The amplitudes over time are left free; what is compared is the part of every
band that stands at right angles to what is expected, so a phase is weighted by amplitude over noise.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

ROUNDS = 6
SMOOTH = 0.06  # s over which an amplitude is taken to change little
BLOCKS = 8  # pieces of the note whose pulls are compared for what the model leaves out
FOLLOWED = 4.0  # times the noise, down to which a phase is followed from sample to sample
SLIGHT = 1e-3  # of the greatest, the least a part of the glide is expected at
FEW = 5  # samples that are followed in any case
STILL = 1e-4  # cycles; a smaller step of every phase ends the rounds


@dataclass(frozen=True)
class Phases:
    """What the phases say."""

    hertz: Array  # (N) settled frequencies
    glide: Array  # (G) k, relative
    covariance: Array  # (N + G, N + G) of hertz and glide, what the model leaves out included
    plain: Array  # (N + G, N + G) by the noise alone
    amplitude: Array  # (N, M)
    phase: Array  # (N, M) rad, of the model in its band
    misfit: Array  # (N) residual over expected noise, 1 where the model is whole
    chi2: float  # of all residuals and of what was expected


def explained(
    times: Array, bands: Complex, middle: Array, start: Array, noise: Array, rates: Array, expected: Array, loose: float
) -> Phases:
    """Fit of H1 by Gauss-Newton.

    Args:
        times: (M) [s].
        bands: (N, M) about `middle`.
        middle: (N) [Hz].
        start: (N) frequencies to start at [Hz].
        noise: (N) variance of the noise in one of the two parts of a sample, as a slow fit sees it.
        rates: (G) r_g [1/s].
        expected: (G) what k are expected at, relative; all 0: nothing is expected.
        loose: standard uncertainty of each over its expectation, the part common to all left out.
    Returns: the fit.
    """
    count, glides = len(bands), len(rates)
    shapes = (1.0 - np.exp(-rates[:, None] * times)) / rates[:, None] if glides else np.zeros((0, len(times)))
    size = 2 * count + glides
    origin = times.mean()
    width = max(int(SMOOTH / (times[1] - times[0])) | 1, 3)
    used = np.ones(size, dtype=bool)
    prior = _prior(2 * count, expected, loose)
    at = _unrolled(times, origin, bands, middle, start, noise, shapes, prior)
    for _ in range(ROUNDS):
        phase = _phase(times, origin, middle, start, at, shapes)
        turned = bands * np.exp(-1j * phase)
        amplitude = smoothed(turned.real, width)
        matrix, pull, _ = _normal(times, origin, start, amplitude, turned.imag, noise, shapes)
        step = _step(matrix + prior, pull - prior @ at, at, count, used)
        at = at + step
        if np.abs(step[:count]).max() + np.abs(step[count : 2 * count]).max() * (times[-1] - origin) < STILL:
            break
    phase = _phase(times, origin, middle, start, at, shapes)
    turned = bands * np.exp(-1j * phase)
    amplitude = smoothed(turned.real, width)
    matrix, _, pulls = _normal(times, origin, start, amplitude, turned.imag, noise, shapes)
    matrix = matrix + prior
    inverse = _inverse(matrix, used)
    plain = inverse
    ends = pulls.sum(axis=0)
    spread = inverse @ ((pulls - ends / len(pulls)).T @ (pulls - ends / len(pulls))) @ inverse
    spread *= len(pulls) / max(len(pulls) - 2, 1)
    misfit = np.mean(turned.imag**2, axis=1) / noise
    keep = np.arange(count, size)
    return Phases(
        start + at[count : 2 * count],
        at[2 * count :],
        _larger(plain, spread)[np.ix_(keep, keep)],
        plain[np.ix_(keep, keep)],
        amplitude,
        phase,
        misfit,
        float((turned.imag**2 / noise[:, None]).sum() + at @ prior @ at),
    )


def _step(matrix: Array, pull: Array, at: Array, count: int, used: NDArray[np.bool_]) -> Array:
    """Gauss-Newton's step; a glide that would turn negative is left out for good (tension only rises)."""
    while True:
        some = np.flatnonzero(used)
        scale = 1.0 / np.sqrt(np.diag(matrix)[some])
        part = matrix[np.ix_(some, some)] * np.outer(scale, scale)
        step = np.zeros(len(at))
        step[some] = scale * np.linalg.solve(part + 1e-10 * np.eye(len(some)), scale * pull[some])
        after = at + step
        glides = np.flatnonzero(used[2 * count :]) + 2 * count
        if not len(glides) or after[glides].min() >= 0.0:
            step[~used] = -at[~used]
            return step
        worst = glides[int(np.argmin(after[glides]))]
        used[worst] = False
        step[~used] = -at[~used]
        pull = pull - matrix[:, worst] * -at[worst]


def _unrolled(
    times: Array,
    origin: float,
    bands: Complex,
    middle: Array,
    start: Array,
    noise: Array,
    shapes: Array,
    prior: Array,
) -> Array:
    """Where to start: phases followed from sample to sample while a band stands well above its noise."""
    count = len(bands)
    loud = np.abs(bands) > FOLLOWED * np.sqrt(noise)[:, None]
    loud = np.logical_and.accumulate(loud, axis=1)
    loud[:, :FEW] = True
    angle = np.unwrap(np.angle(bands), axis=1) / (2.0 * np.pi) - (start - middle)[:, None] * times
    weight = np.where(loud, np.abs(bands), 0.0)
    matrix, pull, _ = _normal(times, origin, start, weight, 2.0 * np.pi * weight * angle, noise, shapes)
    used = np.ones(len(matrix), dtype=bool)
    return _step(matrix + prior, pull, np.zeros(len(matrix)), count, used)


def _inverse(matrix: Array, used: NDArray[np.bool_]) -> Array:
    """Inverse over what is used, 0 elsewhere."""
    out = np.zeros_like(matrix)
    some = np.ix_(used, used)
    scale = 1.0 / np.sqrt(np.maximum(np.diag(matrix)[used], 1e-300))
    out[some] = np.linalg.inv(matrix[some] * np.outer(scale, scale) + 1e-12 * np.eye(len(scale)))
    out[some] *= np.outer(scale, scale)
    return out


def _prior(first: int, expected: Array, loose: float) -> Array:
    """(P, P) information: parts of the glide stand to each other about as expected, their common size free."""
    out = np.zeros((first + len(expected),) * 2)
    if len(expected) > 1 and expected.sum() > 0.0:
        weight = 1.0 / (loose * np.maximum(expected, SLIGHT * expected.max())) ** 2
        toward = weight * expected
        out[first:, first:] = np.diag(weight) - np.outer(toward, toward) / (toward @ expected)
    return out


def _phase(times: Array, origin: float, middle: Array, start: Array, at: Array, shapes: Array) -> Array:
    """(N, M) model phase in every band [rad]."""
    count = len(middle)
    hertz = start + at[count : 2 * count]
    cycles = at[:count, None] + (start - middle)[:, None] * times + at[count : 2 * count, None] * (times - origin)
    return np.asarray(2.0 * np.pi * (cycles + hertz[:, None] * (at[2 * count :] @ shapes)))


def _normal(
    times: Array, origin: float, start: Array, amplitude: Array, across: Array, noise: Array, shapes: Array
) -> tuple[Array, Array, Array]:
    """Normal matrix, pull, and the pull of every block of time (K, P)."""
    count, glides = len(start), len(shapes)
    size = 2 * count + glides
    weight = (2.0 * np.pi) ** 2 * amplitude**2 / noise[:, None]
    right = 2.0 * np.pi * amplitude * across / noise[:, None]
    since = times - origin
    number = np.arange(count)
    matrix = np.zeros((size, size))
    matrix[number, number] = weight.sum(axis=1)
    matrix[number, count + number] = matrix[count + number, number] = (weight * since).sum(axis=1)
    matrix[count + number, count + number] = (weight * since**2).sum(axis=1)
    if glides:
        own, moved = weight @ shapes.T, (weight * since) @ shapes.T
        matrix[:count, 2 * count :] = own * start[:, None]
        matrix[count : 2 * count, 2 * count :] = moved * start[:, None]
        matrix[2 * count :, : 2 * count] = matrix[: 2 * count, 2 * count :].T
        matrix[2 * count :, 2 * count :] = (shapes * ((start**2) @ weight)) @ shapes.T
    edges = np.linspace(0, len(times), BLOCKS + 1).astype(int)
    pulls = np.zeros((BLOCKS, size))
    for k, (a, b) in enumerate(itertools.pairwise(edges)):
        pulls[k, :count] = right[:, a:b].sum(axis=1)
        pulls[k, count : 2 * count] = (right[:, a:b] * since[a:b]).sum(axis=1)
        if glides:
            pulls[k, 2 * count :] = shapes[:, a:b] @ (start @ right[:, a:b])
    return matrix, pulls.sum(axis=0), pulls


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
    count = values.shape[1]
    half = width // 2
    low = np.maximum(np.arange(count) - half, 0)
    high = np.minimum(np.arange(count) + half + 1, count)
    return np.asarray((total[:, high] - total[:, low]) / (high - low))
