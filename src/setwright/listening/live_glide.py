"""What the glide of a string is made of: the tension's parts, one for each partial, as they are heard to fall.

Tension rises with the mean square of the slope, so that every partial adds a part to it that falls twice as fast as the
partial itself (docs/physics/listening.md). How fast that is, is heard; how large the parts are beside each other is not
known before the glide is, for nobody told where the string was plucked.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

APART = 4  # partials whose parts are told apart; those above are put together:
TOGETHER = ((5, 8), (9, 16), (17, 40))  # first and last number
PLUCKS = np.linspace(0.06, 0.34, 15)  # of the length, where a string may be plucked, each as likely
BELL = 0.01  # of the length, usual width of what plucks it
USUAL = np.array([0.7, 0.3])  # 1/s, decay of a partial and what is added to it at 1 kHz, before anything is heard
SPREAD = np.array([0.5, 0.3])  # 1/s, standard uncertainty of both
OWN_WAY = 0.15  # relative, how far a partial's decay lies off the course of all
UNEVEN = 0.03  # relative, how far an amplitude lies off an even fall in any case
STRAY = 0.02  # 1/s, the least a decay is uncertain by
LEAST, MOST = 0.05, 60.0  # 1/s, decays
ROUNDS = 3  # in which partials that lie off count less
NUMBERS = np.arange(1.0, TOGETHER[-1][1] + 1.0)


def _parts() -> tuple[Array, Array, Array]:
    """(40) mean share of every partial, (7) of every part, and (7) its spread over places of the pluck."""
    n = NUMBERS
    slopes = (np.sin(np.pi * np.outer(PLUCKS, n)) / n * np.exp(-0.5 * (np.pi * BELL * n) ** 2)) ** 2
    shares = slopes / slopes.sum(axis=1, keepdims=True)
    ends = [(k, k) for k in range(1, APART + 1)] + list(TOGETHER)
    parts = np.array([shares[:, a - 1 : b].sum(axis=1) for a, b in ends])
    return shares.mean(axis=0), parts.mean(axis=1), parts.std(axis=1)


EACH, SHARE, SHARE_SD = _parts()


def decays(times: Array, amplitude: Array, noise: Array, hertz: Array) -> tuple[Array, Array]:
    """How fast partials are heard to fall.

    Args:
        times: (K) [s]
        amplitude: (K, N); 0 where a partial is not used
        noise: (N) variance of an amplitude, as a slow fit sees it
        hertz: (N) of the partials
    Returns: (N) [1/s], and their standard uncertainties [1/s].
    """
    used = amplitude > 0.0
    weight = np.where(used, 1.0 / (UNEVEN**2 + noise / np.where(used, amplitude, 1.0) ** 2), 0.0)
    y = np.log(np.where(used, amplitude, 1.0))
    total = np.maximum(weight.sum(axis=0), 1e-30)
    since = times[:, None] - (weight * times[:, None]).sum(axis=0) / total
    off = y - (weight * y).sum(axis=0) / total
    spread = np.maximum((weight * since**2).sum(axis=0), 1e-12)
    slope = (weight * since * off).sum(axis=0) / spread
    left = (weight * (off - slope * since) ** 2).sum(axis=0)
    count = used.sum(axis=0)
    wider = np.maximum(left / np.maximum(count - 2, 1), 1.0)
    return -slope, np.sqrt(wider / spread + STRAY**2)


def course(hertz: Array, decay: Array, sd: Array) -> tuple[Array, Array]:
    """The course of all decays, b0 + b1 (f / 1 kHz)^2.

    Args:
        hertz: (N) of the partials
        decay: (N) [1/s]
        sd: (N) [1/s]
    Returns: (2) b0 and b1 [1/s], and (2, 2) their covariance.
    """
    by = _by(hertz)
    usual = np.diag(1.0 / SPREAD**2)
    at, spread = USUAL, np.diag(SPREAD**2)
    weight = 1.0 / (sd**2 + (OWN_WAY * np.maximum(decay, USUAL[0])) ** 2)
    for _ in range(ROUNDS):
        spread = np.linalg.inv((by * weight) @ by.T + usual)
        at = np.maximum(spread @ ((by * weight) @ decay + usual @ USUAL), [LEAST, 0.0])
        weight = 1.0 / (sd**2 + (OWN_WAY * (at @ by)) ** 2 + (decay - at @ by) ** 2)
    return at, spread


def rates(hertz: Array, heard: tuple[Array, Array, Array] | None) -> tuple[Array, Array]:
    """How fast the parts of a glide fall: twice as fast as partials by their common course, and each as it is heard.

    Args:
        hertz: (40) of the partials
        heard: (N) numbers, (N) decays of some of them and (N) their standard uncertainties [1/s]; None: nothing
    Returns: (7) [1/s] of the first `APART` partials and of those put together, (4) standard uncertainties of the first.
    """
    at, spread = (USUAL, np.diag(SPREAD**2)) if heard is None else course(hertz[_places(heard)], *heard[1:])
    by = _by(hertz)
    each = np.clip(at @ by, LEAST, MOST)
    variance = (by * (spread @ by)).sum(axis=0) + (OWN_WAY * each) ** 2
    if heard is not None:
        some = _places(heard)
        gain = variance[some] / (variance[some] + heard[2] ** 2)
        each[some] = np.clip(each[some] + gain * (heard[1] - each[some]), LEAST, MOST)
        variance[some] *= 1.0 - gain
    whole = [float(np.exp(EACH[a - 1 : b] @ np.log(each[a - 1 : b]) / EACH[a - 1 : b].sum())) for a, b in TOGETHER]
    return 2.0 * np.concatenate([each[:APART], whole]), 2.0 * np.sqrt(variance[:APART])


def _places(heard: tuple[Array, Array, Array]) -> NDArray[np.intp]:
    return np.asarray(heard[0], dtype=np.intp) - 1


def _by(hertz: Array) -> Array:
    """(2, N) what b0 and b1 count for."""
    return np.stack([np.ones(len(hertz)), (hertz / 1000.0) ** 2])


def bends(rate: float, lasts: float) -> float:
    """By how much a glide of 1 lets the lead of a partial lie off its chord at most, within a twentieth.

    Args:
        rate: at which it falls [1/s]
        lasts: time it is heard [s]
    Returns: [s]
    """
    turned = rate * lasts
    return turned * lasts / (8.0 + 3.8 * turned + turned**2)
