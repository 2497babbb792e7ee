"""The course of a pitch up to now, from the phases of a string's partials, while it glides, rests or is turned.

A partial's phase in cycles over its frequency is the time by which it runs ahead of a steady string, its lead:

    lead_n(t) = p_n + t (x + b_n B' + d_n) + c_n sum over g of k_g S_g(t)                                     (L1)
    b_n = n^2 / (2 (1 + B n^2)),   c_n = (1 + B) / (1 + B n^2)

x and B' are what pitch and stiffness differ by from where they were taken to be, d_n what the partial departs from the
law by, S_g the integrals of shapes a course is made of: exponentials since the onset for a glide, bends at moments just
past for a peg that is turned. All is linear and Gaussian. How strong glides, turns and departures are is not known:
every strength of a grid is tried and counts by its evidence (MacKay, Neural Computation 4, 415, 1992, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from setwright.listening import live_glide

Array = NDArray[np.float64]

CENT = float(np.log(2.0)) / 1200.0
ANY_PITCH = 0.06  # relative, how far the pitch may be from where it is looked for
USUAL_B, ANY_B = 3e-4, 1e-3  # of a string before anything is heard, and its spread
DEPARTURES = (  # relative, of a partial from the law, and of the first: 0.01, 0.1, 1 and 9 cents
    (7e-6, 7e-6), (7e-5, 7e-5), (7e-4, 7e-4), (5e-3, 5e-3), (7e-5, 2e-3), (7e-4, 2e-3),
)  # fmt: skip
TURNING = DEPARTURES[1:4]  # the same while a peg is turned
UNLIKELY = 0.01  # chance of a strength, under which it is not tried again at once
WHOLE = 2.0  # times the spread of its parts over places of the pluck, what each may be off: its size is not known
PEG, PEG_SHARE = (6.0, 12.0, 25.0), 0.17  # 1/s, at which the end of a turn dies away; of its strength, each of them
SLACK = 2  # parts of a glide whose rates are not taken as known
GLIDES = (0.5, 4.0, 16.0)  # cents, at the onset
TURNS = (4.0, 20.0, 70.0, 250.0)  # cents/s, by which the speed of a peg changes from one bend to the next
FASTEST = 300.0  # cents/s, of a peg
OWN = (0.25, 0.2)  # of a part of a glide, how much more of it the partial takes that makes it, and its spread
ODD = 4.0  # logarithm of the odds against a first partial that alone departs
WIDER, LEFT_OUT = 1.5, 0.004  # 1 and cents, for what L1 leaves out (measured on practice recordings)


@dataclass(frozen=True)
class Shapes:
    """What a course is made of: exponentials since an onset, or bends. G shapes."""

    rates: Array  # (R) [1/s]; empty for bends
    onset: float  # s
    bends: Array  # (G) [s], latest first, the first one now; empty for a glide
    unsure: Array  # (U) 1/s, standard uncertainties of the first rates; of a glide G is R + U

    def leads(self, times: Array) -> Array:
        """Integrals of the shapes.

        Args:
            times: (K) [s]
        Returns: (K, G) [s] for relative rises of 1, or of 1/s for bends.
        """
        since = times[:, None]
        if len(self.bends):
            gap = np.minimum(since - self.bends, 0.0)
            gap[:, 0] = times - self.bends[0]
            return np.asarray(np.where(np.arange(len(self.bends)) == 0, 0.5, -0.5) * gap**2)
        since = since - self.onset
        falls = np.exp(-self.rates * since)
        whole, some = (1.0 - falls) / self.rates, slice(0, len(self.unsure))
        bent = (since * falls[:, some] - whole[:, some]) / self.rates[some]  # by the rate
        return np.concatenate([whole, bent], axis=1)

    def rises(self, time: float) -> Array:
        """The shapes themselves.

        Args:
            time: [s]
        Returns: (G) relative rise for each.
        """
        if len(self.bends):
            gap = np.minimum(time - self.bends, 0.0)
            gap[0] = time - self.bends[0]
            return np.asarray(np.where(np.arange(len(gap)) == 0, gap, -gap))
        since = time - self.onset
        falls = np.exp(-self.rates * since)
        return np.concatenate([falls, -since * falls[: len(self.unsure)]])


@dataclass(frozen=True)
class Heard:
    """Phases as heard at K moments, N partials."""

    times: Array  # (K) [s]
    cycles: Array  # (K, N) phases
    amplitude: Array  # (K, N); 0 where a partial is not used
    noise: Array  # (N) variance of what stands at right angles in a sample, as a slow fit sees it


@dataclass(frozen=True)
class String:
    """Where the string is taken to be."""

    numbers: Array  # (N)
    fundamental: float  # Hz
    inharmonicity: float

    @property
    def hertz(self) -> Array:
        """(N) Hz of its partials by the law f_n = n f0 sqrt(1 + B n^2)."""
        n = self.numbers
        return np.asarray(n * self.fundamental * np.sqrt(1.0 + self.inharmonicity * n * n))


@dataclass(frozen=True)
class Course:
    """The pitch up to a moment. Relative figures are logarithms."""

    time: float  # s, the moment
    hertz: float  # first partial at that moment
    sd: float  # cents
    slope: float  # cents/s at that moment
    slope_sd: float
    settled: float  # Hz, first partial once its glide is over
    settled_sd: float  # cents
    left: float  # cents of glide that is left
    left_sd: float
    string: String  # where it was taken to be
    found: String  # where it was found, at that moment
    shapes: Shapes
    starts: Array  # (N) s, p_n
    slants: Array  # (N) x + b_n B' + d_n
    parts: Array  # (N, G) c_n k_g
    off: Array  # (K, N) what is left at right angles, as an amplitude
    likely: NDArray[np.intp]  # strengths that count

    def cycles(self, times: Array) -> Array:
        """Phases expected.

        Args:
            times: (K) [s]
        Returns: (K, N) [cycles]
        """
        lead = self.starts + times[:, None] * self.slants + self.shapes.leads(times) @ self.parts.T
        return np.asarray(self.string.hertz * (times[:, None] + lead))

    def rise(self, time: float) -> float:
        """First partial at another moment over that now [cents].

        Args:
            time: [s]
        """
        return float((self.shapes.rises(time) - self.shapes.rises(self.time)) @ self.parts[0]) / CENT


def glide_since(onset: float, string: String, heard: Heard | None = None, turned: bool = False) -> Shapes:
    """Shapes of a glide: parts of the tension, each falling as its partial is heard to.

    Args:
        onset: [s]
        string: whose it is
        heard: its partials so far
        turned: whether it is not a pluck it began with, but the end of a turn of the peg, which is over soon
    """
    hertz = live_glide.NUMBERS * string.fundamental * np.sqrt(1.0 + string.inharmonicity * live_glide.NUMBERS**2)
    told = None
    if heard is not None:
        told = (string.numbers, *live_glide.decays(heard.times, heard.amplitude, heard.noise, string.hertz))
    rates, unsure = live_glide.rates(hertz, told)
    rates = np.append(rates, PEG) if turned else rates
    return Shapes(rates, onset, np.empty(0), unsure[:SLACK])


def bends_before(now: float, span: float, apart: float) -> Shapes:
    """Shapes of a turn of the peg: its speed may change at these moments.

    Args:
        now: [s]
        span: [s] back to the first of them
        apart: [s] between them
    """
    back = np.arange(max(int(span / apart), 1), dtype=np.float64)
    return Shapes(np.empty(0), 0.0, now - apart * back, np.empty(0))


def course(heard: Heard, string: String, shapes: Shapes, now: float, likely: NDArray[np.intp] | None = None) -> Course:
    """Fit of L1, over all strengths of glide or turn and of departures.

    Args:
        heard: the phases
        string: where it is taken to be
        shapes: what its course is made of
        now: [s] the moment its pitch is asked for
        likely: which strengths are tried; None: all
    Returns: its course.
    """
    n, stiff = string.numbers, string.inharmonicity
    follows = (1.0 + stiff) / (1.0 + stiff * n * n)
    bent = 0.5 * n * n / (1.0 + stiff * n * n)
    hertz = string.hertz
    since = heard.times - now
    lead = heard.cycles / hertz - heard.times[:, None]
    weight = (2.0 * np.pi * hertz * heard.amplitude) ** 2 / heard.noise
    columns = np.concatenate([since[:, None], shapes.leads(heard.times)], axis=1)  # (K, Q)
    total = np.maximum(weight.sum(axis=0), 1e-300)
    mean_lead = (weight * lead).sum(axis=0) / total
    mean = weight.T @ columns / total[:, None]  # (N, Q)
    by = weight.T[:, :, None] * columns  # (N, K, Q)
    squares = (
        by.transpose(0, 2, 1) @ columns - total[:, None, None] * mean[:, :, None] * mean[:, None]
    )  # about the means
    into = _into(follows, bent, columns.shape[1], _owned(shapes, len(n)))
    flat = into.transpose(1, 0, 2).reshape(into.shape[1], -1)
    matrix = (into @ squares).transpose(1, 0, 2).reshape(flat.shape) @ flat.T
    pull = flat @ ((weight * (lead - mean_lead)).T @ columns).ravel()
    rises = shapes.rises(now)
    here, settled = _asked(into, rises), _asked(into, np.zeros(len(rises)))
    asks = np.stack([here, _speed(into, shapes, now), settled, here - settled])
    means, sds, doubts = _priors(len(n), shapes, stiff)
    tried = np.arange(len(doubts)) if likely is None else likely
    at, value, variance, chance = _mixed(matrix, pull, (means[tried], sds[tried], doubts[tried]), asks)
    each = (at @ flat).reshape(len(n), -1)  # (N, Q) slant and parts of every partial
    starts = mean_lead - (mean * each).sum(axis=1)
    off = 2.0 * np.pi * hertz * heard.amplitude * (lead - starts - columns @ each.T)
    shape = max(stiff + float(at[1]), 0.0)
    first = float(hertz[0] / n[0] / np.sqrt(1.0 + stiff * n[0] ** 2) * np.sqrt(1.0 + stiff) * (1.0 + value[0]))
    found = String(n, first / float(np.sqrt(1.0 + shape)), shape)
    sds = np.sqrt(WIDER**2 * variance + np.array([LEFT_OUT * CENT, 0.0, LEFT_OUT * CENT, 0.0]) ** 2) / CENT
    return Course(
        now, first, float(sds[0]), float(value[1]) / CENT, float(sds[1]),
        first * (1.0 + float(value[2] - value[0])), float(sds[2]), float(value[3]) / CENT, float(sds[3]),
        string, found, shapes, starts - now * each[:, 0], each[:, 0], each[:, 1:], off, tried[chance > UNLIKELY],
    )  # fmt: skip


def _owned(shapes: Shapes, count: int) -> int:
    """Of how many partials their own part of a glide is found."""
    return 0 if len(shapes.bends) else min(live_glide.APART, count)


def _into(follows: Array, bent: Array, width: int, owned: int) -> Array:
    """(N, P, Q) from the unknowns (x, B', d_n, k_g, own of the first partials) to the columns of every partial."""
    count, parts = len(follows), width - 1
    out = np.zeros((count, 2 + count + parts + owned, width))
    number = np.arange(count)
    out[:, 0, 0] = 1.0
    out[:, 1, 0] = bent
    out[number, 2 + number, 0] = 1.0
    for g in range(parts):
        out[:, 2 + count + g, 1 + g] = follows
    for k in range(owned):
        out[k, 2 + count + parts + k, 1 + k] = follows[k]
    return out


def _asked(into: Array, rises: Array) -> Array:
    """(P) by which the unknowns raise the first partial now."""
    return np.asarray(into[0] @ np.concatenate([[1.0], rises]))


def _speed(into: Array, shapes: Shapes, now: float) -> Array:
    """(P) the same for its speed [1/s]."""
    step = 1e-4
    rate = (shapes.rises(now) - shapes.rises(now - step)) / step
    return np.asarray(into[0] @ np.concatenate([[0.0], rate]))


def _priors(count: int, shapes: Shapes, stiff: float) -> tuple[Array, Array, Array]:
    """For every strength tried: (O, P) what the unknowns are expected at, their standard uncertainties, and (O) how
    unlikely it is beforehand, as a logarithm."""
    turned, slack = len(shapes.bends) > 0, len(shapes.unsure)
    parts = len(shapes.bends) or len(shapes.rates)
    means, sds, doubts, strengths = _usual(count, parts, slack, _owned(shapes, count), turned)
    means, sds = means.copy(), sds.copy()
    means[:, 1] = USUAL_B - stiff
    first = 2 + count + parts
    sds[:, first : first + slack] = np.outer(strengths, live_glide.SHARE[:slack] * shapes.unsure)
    return means, sds, doubts


@lru_cache(maxsize=64)
def _usual(count: int, parts: int, slack: int, owned: int, turned: bool) -> tuple[Array, Array, Array, Array]:
    """The same, for a string of no stiffness and rates as known as can be, and (O) the strengths."""
    means, sds, doubts, strengths = [], [], [], []
    for strength in TURNS if turned else GLIDES:
        for departs, first in TURNING if turned else DEPARTURES:
            mean = np.zeros(2 + count + parts + slack + owned)
            sd = np.empty_like(mean)
            sd[0], sd[1], sd[2 : 2 + count] = ANY_PITCH, ANY_B, departs
            sd[2] = first
            if turned:
                sd[2 + count :] = strength * CENT
                sd[2 + count] = FASTEST * CENT
            else:
                some, more = slice(2 + count, 2 + count + parts), np.full(parts - len(live_glide.SHARE), PEG_SHARE)
                mean[some] = strength * CENT * np.append(live_glide.SHARE, more)
                sd[some] = strength * CENT * np.append(WHOLE * live_glide.SHARE_SD, more)
                some = slice(2 + count + parts + slack, None)
                mean[some] = OWN[0] * strength * CENT * live_glide.SHARE[:owned]
                sd[some] = OWN[1] * strength * CENT * live_glide.SHARE[:owned]
            means.append(mean)
            sds.append(sd)
            doubts.append(ODD if first > departs else 0.0)
            strengths.append(strength * CENT)
    return np.array(means), np.array(sds), np.array(doubts), np.array(strengths)


def _mixed(
    matrix: Array, pull: Array, priors: tuple[Array, Array, Array], asks: Array
) -> tuple[Array, Array, Array, Array]:
    """(P) unknowns, (A) what is asked of them and (A) its variance, strengths counted by their evidence, (O) that."""
    means, sds, doubts = priors
    information = 1.0 / sds**2
    size = matrix.shape[0]
    every = matrix[None] + information[:, :, None] * np.eye(size)
    scale = 1.0 / np.sqrt(np.diag(matrix) + information)
    inverse = np.linalg.inv(every * scale[:, :, None] * scale[:, None])
    spread = inverse * scale[:, :, None] * scale[:, None]
    right = pull + information * means
    at = (spread @ right[:, :, None])[:, :, 0]
    sign, log = np.linalg.slogdet(inverse)
    evidence = 0.5 * (
        (right * at).sum(axis=1)
        - (information * means**2).sum(axis=1)
        + np.log(information).sum(axis=1)
        + np.where(sign > 0, log, -np.inf)
        + 2.0 * np.log(scale).sum(axis=1)
    )
    evidence -= doubts
    chance = np.exp(evidence - evidence.max())
    chance /= chance.sum()
    values = at @ asks.T  # (O, A)
    value = chance @ values
    variance = (asks * (asks @ spread)).sum(axis=2)
    return chance @ at, value, chance @ (variance + (values - value) ** 2), chance
