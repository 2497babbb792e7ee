"""How well anything can know the first partial of a note in white noise: the Cramer-Rao bound.

The model is the sum of partials of the practice instrument's sound. Free are f0, B, the size of the glide, and height,
phase and decay of every partial; the course of the glide is known and the same for all (`own_rise` is left out). Kay,
Fundamentals of Statistical Signal Processing: Estimation Theory (1993), section 3.9 (from memory): for samples s(theta)
in noise of variance v, information is J^T J / v with J the derivative of the samples.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from setwright.practice.sound import Array, Glide, Partials, Pluck, fading, glide_of, partials_of

CENTS = 1200.0 / np.log(2.0)
FAINT = 1e-6  # of the loudest; fainter partials tell nothing and only spoil the matrix


def _path(pluck: Pluck, lead: Array, times: Array, n: float) -> Array:
    """Turns of partial n [1] with the glide's integral of unit size given."""
    stiff = pluck.inharmonicity
    hertz = n * pluck.fundamental * np.sqrt(1.0 + stiff * n * n)
    follow = (1.0 + stiff) / (1.0 + stiff * n * n)
    turns: Array = hertz * (times + follow * lead)
    return turns


def _lead(glide: Glide, count: int, rate: float) -> Array:
    size = 0.5 * glide.size * glide.decay
    lead: Array = size.sum() - fading(count, 2.0 / (glide.decay * rate), size)
    return lead


def sensitivities(pluck: Pluck, partials: Partials, glide: Glide) -> Array:
    """Derivative of the samples (N, 3 + 3 P) by ln f0, B, the glide's relative size, then of each partial ln of its
    height, phase and 1 / decay. Heights in `partials` are the samples' own."""
    count = round(pluck.rate * pluck.seconds)
    times = np.arange(count) / pluck.rate
    lead = _lead(glide, count, pluck.rate)
    loudest = np.abs(partials.height).max()
    common = np.zeros((count, 3))
    own = []
    for n, (height, phase, decay) in enumerate(zip(partials.height, partials.phase, partials.decay, strict=True), 1):
        if abs(height) < FAINT * loudest:
            continue
        turns = _path(pluck, lead, times, n)
        fall = height * np.exp(-times / decay)
        sine = fall * np.sin(2.0 * np.pi * turns + phase)
        cosine = fall * np.cos(2.0 * np.pi * turns + phase)
        stiff, square = pluck.inharmonicity, n * n
        hertz = n * pluck.fundamental * np.sqrt(1.0 + stiff * square)
        follow = (1.0 + stiff) / (1.0 + stiff * square)
        by_stiff = 0.5 * square / (1.0 + stiff * square) * turns
        by_stiff = by_stiff + hertz * lead * (1.0 - square) / (1.0 + stiff * square) ** 2
        common += 2.0 * np.pi * cosine[:, None] * np.stack([turns, by_stiff, hertz * follow * lead], axis=1)
        own += [sine, cosine, -times * sine]
    return np.concatenate([common, np.stack(own, axis=1)], axis=1)


def bound_of(slopes: Array, variance: float, stiff: float, gliding: bool) -> float:
    """Least standard deviation of ln f1, f1 = f0 sqrt(1 + B), in cents, from the derivatives of the samples."""
    keep = [i for i in range(slopes.shape[1]) if np.any(slopes[:, i]) and (gliding or i != 2)]
    gradient = np.zeros(slopes.shape[1])
    gradient[:2] = 1.0, 0.5 / (1.0 + stiff)
    some = slopes[:, keep]
    scale = np.linalg.norm(some, axis=0)
    information = (some / scale).T @ (some / scale) / variance
    direction = gradient[keep] / scale
    return float(CENTS * np.sqrt(direction @ np.linalg.solve(information, direction)))


def bound(pluck: Pluck, variance: float, gain: float = 1.0) -> float:
    """Least standard deviation of the first partial [cents] of a note whose partials are `partials_of` times a gain, in
    white noise of a variance, over the whole note from its release."""
    whole = partials_of(pluck)
    raised = replace(whole, height=gain * whole.height)
    slopes = sensitivities(pluck, raised, glide_of(pluck))
    return bound_of(slopes, variance, pluck.inharmonicity, gliding=pluck.glide > 0.0)
