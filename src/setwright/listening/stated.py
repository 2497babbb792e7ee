"""What a fit of a note says, and how sure it is: noise, what the model leaves out, what no fit can tell."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from setwright.listening import fitting, tones
from setwright.listening.expected import SMALLEST, Start
from setwright.listening.law import Law, fitted
from setwright.listening.tones import Problem, State

Array = NDArray[np.float64]

BEGIN = 0.05  # s over which a glide is told
UNTOLD = 8e-4  # of the glide that is left at the end, the standard uncertainty for what its course does not tell
LATE = 0.05  # of it, the same for every s of it that comes before the first that is heard
UNFALLEN = 0.006  # of it, the same where none of the glide has fallen, with the square of the share that is left
BY_PLACE = 0.04  # of it, the same where heights do not tell its parts, times the square of how far these may be off
WIDER = 1.09  # times what noise and eight blocks of time tell, which are few: Student's t of six to the normal
TOLD = 60.0  # times the noise, the energy of a partial under which its phase may have been lost
STRAYS = 0.02  # relative, from which on a frequency is lost
LEAKS = 3e-4  # of the loudest partial, what of it is left in the band of another
NONE = 0.5  # relative misfit from which on a partial is none
LOST = 0.03  # relative, what its frequency is then known to
PARTED = (0.88, 0.80)  # times the standard uncertainty, two tones that turned often against each other, or but once
FEWEST_TURNS = 0.08  # under which they are known no worse
MOST_STRAINED = 9.0  # where it gives way by more, it is what was expected that is wrong, and not the fit
STRAINED = 1.4  # times the strain of what was known before, the square of what it adds for them
COHERENT = 2.0  # times what is left over of a partial, as a phase that moves over the note
HARDLY_FALLEN = 6  # power of the share of a glide that is left, by which two tones may have been taken for it
UNEXPLAINED = 1.5  # times, where something is left over that two tones do not explain
MUCH = 0.01  # of the bands left over, at which that doubles
DEPARTS = 4.0  # times its uncertainty, from which on a first partial lies off the law
FOLLOWS_LESS = 0.003  # of the glide, what a partial that lies off the law may be off for its sake
TURNED = 0.05  # turns of two tones against each other, from which on they are told from one
BY_DECAY = 0.1  # of the glide, for a decay times the length of the note that is off by one
FIRST_UNHEARD = (0.011, 0.0004)  # of the glide left, and of it all, the same where the first partial is not heard
USUAL_GLIDE = 0.002  # relative, 3 cents (common practice, no source)
LOUDEST = 6  # partials in which a second tone is looked for
WORTH = 8.0  # times the noise, from which it is
BLOCKS = 8  # pieces of the note whose pulls are compared for what the model leaves out


@dataclass(frozen=True)
class Resolved:
    """What the note is found to be. N partials."""

    hertz: Array  # (N)
    covariance: Array  # (N, N) of their relative errors
    law: Law
    decay: Array  # (N) 1/s
    noise: Array  # (N) variance of one part of it, of a sample of the bands given
    glide: float  # relative, mean of the first `BEGIN` of the part used
    glide_sd: float
    glide_rate: float  # 1/s, there
    left: float  # relative, at the end
    poor: float  # what the model leaves over, of the bands
    split: float | None  # relative distance of the second tone of the first partial


@dataclass(frozen=True)
class Fit:
    """A fit that has ended."""

    problem: Problem
    state: State
    cost: float
    common: float = 0.0  # relative, by how much all partials differ between places that explain them as well


def beyond_noise(fit: Fit) -> float:
    """How much more is left over than noise, at most in one of the loudest partials [1]."""
    problem = fit.problem
    power = np.abs(tones.model(problem, fit.state)) ** 2
    off = np.abs(problem.bands - tones.model(problem, fit.state)) ** 2
    loud = np.argsort(power.sum(axis=1))[::-1][:LOUDEST]
    return float((off.mean(axis=1) / (2.0 * problem.noise))[loud].max())


def poorness(fit: Fit) -> float:
    """Root mean square of what is left over beyond noise, over the bands' own [1]."""
    problem = fit.problem
    bands = tones.model(problem, fit.state)
    heard = (np.abs(problem.bands) ** 2).sum(axis=1)
    off = (np.abs(problem.bands - bands) ** 2).sum(axis=1) - 2.0 * problem.noise * bands.shape[1]
    left = np.clip(off, 0.0, heard)  # what fits worse than nothing is not explained, and no more
    return float(np.sqrt(left.sum() / max(float(heard.sum()), 1e-300)))


def _covariance(fit: Fit) -> Array:
    """Of all parameters, four of every partial and the common ones; what the model leaves out included."""
    problem, one = fit.problem, fitting.normal(fit.problem, fit.state)
    information, _ = tones.prior(problem)
    count, common = len(problem.numbers), len(one.shared)
    matrix = np.zeros((4 * count + common,) * 2)
    at = 4 * np.arange(count)
    for first in (at, at + 2):
        matrix[first, first], matrix[first + 1, first + 1] = one.own[0], one.own[2]
        matrix[first, first + 1] = matrix[first + 1, first] = one.own[1]
    tie = fitting.in_order(one.tie).reshape(common, -1)
    matrix[4 * count :, : 4 * count], matrix[: 4 * count, 4 * count :] = tie, tie.T
    matrix[4 * count :, 4 * count :] = one.shared + information
    scale = 1.0 / np.sqrt(np.maximum(np.diag(matrix), 1e-20 * np.diag(matrix).max()))
    both = np.outer(scale, scale)
    inverse = np.linalg.inv(matrix * both + 1e-13 * np.eye(len(scale))) * both
    since = problem.times - problem.times.mean()
    pulls, by = [], fitting.slopes(problem, fit.state, tones.there(problem, fit.state))
    for a, b in pairwise(np.linspace(0, len(since), BLOCKS + 1).astype(int)):
        mine = fitting.in_order(fitting.by_itself(one.pulls[:, a:b], since[a:b])).ravel()
        pulls.append(np.append(mine, fitting.pulled_by(problem, by, one.pulls, int(a), int(b))))
    even = np.array(pulls) - np.mean(pulls, axis=0)
    spread = inverse @ (even.T @ even) @ inverse * (BLOCKS / (BLOCKS - 2.0))
    wider = np.sqrt(np.maximum(np.diag(spread) / np.maximum(np.diag(inverse), 1e-300), 1.0))
    return np.asarray(inverse * np.outer(wider, wider))


def _departing(problem: Problem, hertz: Array, relative: Array, law: Law, glide: float) -> Law:
    """The band of a first partial that lies off the law.

    A body that pulls it takes part of its energy, so that it follows the glide by less than H3 says. A magnet pulls one
    direction of swing: as long as the two have not turned against each other, what is heard lies between them.
    """
    if problem.numbers[0] != 1.0:
        return law
    off = float(np.log(hertz[0] / law.fundamental) - 0.5 * np.log1p(law.inharmonicity))
    if abs(off) < DEPARTS * np.sqrt(relative[0, 0]):
        return law
    more = FOLLOWS_LESS * abs(glide)
    if problem.kind == "one" and abs(off) * hertz[0] * problem.times[-1] < TURNED:
        more = float(np.hypot(more, np.sqrt(0.5) * off))
    return replace(law, first_sd=float(np.hypot(law.first_sd, more)))


def _without_glide(problem: Problem, state: State, hertz: Array, covariance: Array) -> tuple[Array, Array, float]:
    """Frequencies and covariance as far as there may be no glide that is heard, and how likely that is.

    None and one of the usual size are as likely before; what is heard decides, by the ratio of densities at 0 (Dickey,
    Ann. Math. Statist. 42, 204, 1971, from memory). Without one all else is what it is given that size, linearly.
    """
    count, many = len(problem.numbers), len(problem.parts.expected)
    size = float(state.shared[:many].sum())
    tie = covariance[:, 4 * count : 4 * count + many].sum(axis=1)
    variance = float(tie[4 * count : 4 * count + many].sum())
    if variance <= 0.0:
        return hertz, covariance, 0.0
    odds = USUAL_GLIDE / np.sqrt(2.0 * np.pi * variance) * np.exp(-0.5 * max(size, 0.0) ** 2 / variance)
    none = float(odds / (1.0 + odds))
    tie = tie / variance
    less = none * variance - none * (1.0 - none) * size**2
    moved = none * size * tie[4 * np.arange(count) + 3] / (2.0 * np.pi)
    return hertz - moved, covariance - less * np.outer(tie, tie), none


def stated(fit: Fit, start: Start) -> Resolved:
    """What a fit says.

    Args:
        fit: of one tone in each partial, or of two.
        start: what was known of the string before.
    Returns: what the note is, and how sure that is.
    """
    problem, state = fit.problem, fit.state
    count, many = len(problem.numbers), len(problem.parts.expected)
    covariance = _covariance(fit)
    moved = state.local[:, 1].imag / (2.0 * np.pi)
    strays = np.abs(moved) > STRAYS * problem.hertz
    hertz = problem.hertz + np.where(strays, 0.0, moved)
    scale = 2.0 * np.pi * hertz
    at = 4 * np.arange(count) + 3
    hertz, covariance, none = _without_glide(problem, state, hertz, covariance)
    relative = covariance[np.ix_(at, at)] / np.outer(scale, scale)
    k = (1.0 - none) * state.shared[:many]
    whole, left = float(k.sum()), float(k @ problem.parts.left)
    fall = np.sqrt(np.maximum(np.diag(covariance)[at - 2][:3].min(), 0.0))  # 1/s, how well decays are known
    common = [_untold(problem, whole, left), fit.common, BY_DECAY * whole * fall * problem.times[-1]]
    if problem.numbers[0] != 1.0:
        common += [FIRST_UNHEARD[0] * left, FIRST_UNHEARD[1] * whole]
    split = None
    if problem.kind != "one":
        split, share = float(state.shared[many + 4]), float(np.exp(state.shared[many + 1]))
        wide = _parted(fit, abs(split))
        if share > 1.0:  # the second is the louder one
            hertz = hertz * (1.0 + split * tones.second(problem, state)[1])
            split = -split
        common.append(left * _standing(whole, left) ** HARDLY_FALLEN)
    else:
        wide = min(_strain(fit), MOST_STRAINED)
    bare = WIDER**2 * relative
    relative = bare + sum(min(abs(one), LOST) ** 2 for one in common)
    relative = relative + np.diag(_by_itself(problem, state, strays, scale) ** 2)
    if problem.kind == "one" and beyond_noise(fit) > WORTH:
        relative = (UNEXPLAINED * (1.0 + poorness(fit) / MUCH)) ** 2 * relative
    law = fitted(problem.numbers, hertz, relative, start.stiffness)
    if wide > 1.0:  # the law weighs partials by what is heard of each, and all are known worse by as much
        alone = fitted(problem.numbers, hertz, bare, start.stiffness)
        law = _widened(law, np.sqrt(wide - 1.0) * alone.first_sd, np.sqrt(wide - 1.0) * alone.fundamental_sd)
    law = _departing(problem, hertz, relative, law, whole)
    some = 4 * count + np.arange(many)
    sd = float(np.sqrt(max(covariance[np.ix_(some, some)].sum(), 0.0)))
    lead = np.interp(BEGIN, np.append(0.0, problem.times), np.append(0.0, k @ problem.parts.shapes))
    begun = float(lead) / BEGIN  # mean rise over the first of it, the integral being the lead
    rate = max(2.0 * (1.0 - begun / max(whole, SMALLEST)) / BEGIN, 1e-3)
    return Resolved(
        hertz, relative, law, -state.local[:, 1].real, start.wide * problem.noise, begun, sd, rate, left,
        poorness(fit), split,
    )  # fmt: skip


def _widened(law: Law, first: float, fundamental: float) -> Law:
    """The same, known worse by relative standard uncertainties of its own."""
    sds = (float(np.hypot(law.first_sd, first)), float(np.hypot(law.fundamental_sd, fundamental)))
    return replace(law, first_sd=sds[0], fundamental_sd=sds[1])


def _standing(whole: float, left: float) -> float:
    """Share of a glide that is left at the end."""
    return float(np.clip(abs(left) / max(abs(whole), SMALLEST), 0.0, 1.0))


def _untold(problem: Problem, whole: float, left: float) -> float:
    """Relative, what the course of a glide does not tell of where it settles: the less of it, the farther it fell."""
    course = UNTOLD + LATE * problem.times[0] + UNFALLEN * _standing(whole, left) ** 2
    return float(np.hypot(course, BY_PLACE * problem.parts.loose**2)) * left


def _by_itself(problem: Problem, state: State, strays: NDArray[np.bool_], scale: Array) -> Array:
    """(N) relative standard uncertainties every partial has by itself: its phase lost, the loudest partial heard in its
    band, what is left over of it moving over the note."""
    told = (np.abs(tones.model(problem, state)) ** 2).sum(axis=1) / (2.0 * problem.noise)
    lost = np.where((told < TOLD) | strays | (problem.misfit > NONE), LOST, 0.0)
    loud = np.abs(problem.bands).max(axis=1)
    leaks = LEAKS * loud.max() / np.maximum(loud, 1e-30)
    chance = problem.noise * np.sqrt(
        problem.slow / (tones.power(problem.bands) ** 2).sum(axis=1)
    )  # of a misfit squared
    over = COHERENT * np.sqrt(np.clip(problem.misfit**2 - chance, 0.0, NONE**2))
    return np.asarray(np.sqrt(lost**2 + (leaks**2 + over**2) / (scale * problem.times[-1]) ** 2))


def _strain(fit: Fit) -> float:
    """How far what was known before had to give way, over what it gives way by itself: the square of Birge's ratio
    (Phys. Rev. 40, 207, 1932, from memory)."""
    information, toward = tones.prior(fit.problem)
    off = fit.state.shared - toward
    return float(off @ information @ off) / (len(off) - 1.0)


def _parted(fit: Fit, split: float) -> float:
    """What the covariance of two tones is too small by: the less, the more they turned against each other."""
    turns = split * fit.problem.hertz[0] * fit.problem.times[-1]
    least, once = PARTED
    wide = least**2 + (once / max(turns, FEWEST_TURNS)) ** 2
    return float(wide * (1.0 + STRAINED * _strain(fit)) * (1.0 + poorness(fit) / MUCH) ** 2)
