"""What a fit of a note says, and how sure it is: noise, what the model leaves out, what no fit can tell."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from setwright.listening import fitting, tones
from setwright.listening.bands import LONG
from setwright.listening.expected import LOWEST_DECAY, SMALLEST, SMOOTH, Start
from setwright.listening.law import LEAST_APART, Law, fitted
from setwright.listening.tones import Problem, State

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

BEGIN = 0.05  # s over which a glide is told
LATE = 0.17  # of the glide left at the end, over the periods of the fundamental that the note lasts
WIDER = 1.09  # times what noise and eight blocks of time tell, which are few: Student's t of six to the normal
TOGETHER = 1.07  # times what all terms come to: they were weighed where most errors lie, and a few lie farther out
LARGER = 0.85  # times the larger of two estimates of one uncertainty, which is the one that chance made too large
FEW_LENGTHS = 10.0  # filters' lengths in a note so short that the noise told of it counts once more
UNEXPLAINED = 6.0  # times what decays are not known to, where something is left over that two tones do not explain
TOLD = 60.0  # times the noise, the energy of a partial under which its phase may have been lost
STRAYS = 0.02  # relative, from which on a frequency is lost
NONE = 0.5  # relative misfit from which on a partial is none
LOST = 0.03  # relative, what its frequency is then known to
PARTED = 0.6  # over the turns of two tones against each other, what they are known worse by
FEWEST_TURNS = 0.08  # under which they are known no worse
MOST_STRAINED = 9.0  # where it gives way by more, it is what was expected that is wrong, and not the fit
GAVE_WAY = 1.3  # times what was expected gave way by beyond chance, the square of what it adds
STRAINED = 4.0  # times the strain of what was known before of two tones, the same
COHERENT = 2.5  # times what is left over of a partial and not explained, as a phase that moves over the note
HARDLY_FALLEN = 6  # power of the share of a glide that is left, by which two tones may have been taken for it
MUCH = 0.01  # of the bands left over, at which what two tones leave open doubles
DEPARTS = 4.0  # times its uncertainty, from which on a first partial lies off the law
TURNED = 0.05  # turns of two tones against each other, from which on they are told from one
FIRST_UNHEARD = (0.007, 0.0003)  # of the glide left, and of it all, the same where the first partial is not heard
USUAL_GLIDE = 0.002  # relative, 3 cents (common practice, no source)
LOUDEST = 6  # partials in which a second tone is looked for
WORTH = 8.0  # times the noise, from which it is
BLOCKS = 8  # pieces of the note whose pulls are compared for what the model leaves out
FEWEST_TO_LAW = 4  # partials from which on they can disagree with the law


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


def _covariances(fit: Fit) -> tuple[Array, Array, Array]:
    """Of all parameters, four of every partial and the common ones: by noise alone, what the model leaves out included;
    and (G, P) by how much all are off for what each decay that the glide follows is not known to."""
    problem, at = fit.problem, tones.there(fit.problem, fit.state)
    one, by = fitting.normal(problem, fit.state, at=at), fitting.slopes(problem, fit.state, at)
    information, _ = tones.prior(problem)
    count, common = len(problem.numbers), len(one.shared)
    matrix = np.zeros((4 * count + common,) * 2)
    own = 4 * np.arange(count)
    for first in (own, own + 2):
        matrix[first, first], matrix[first + 1, first + 1] = one.own[0], one.own[2]
        matrix[first, first + 1] = matrix[first + 1, first] = one.own[1]
    tie = fitting.in_order(one.tie).reshape(common, -1)
    matrix[4 * count :, : 4 * count], matrix[: 4 * count, 4 * count :] = tie, tie.T
    matrix[4 * count :, 4 * count :] = one.shared + information
    scale = 1.0 / np.sqrt(np.maximum(np.diag(matrix), 1e-20 * np.diag(matrix).max()))
    both = np.outer(scale, scale)
    inverse = np.asarray(np.linalg.inv(matrix * both + 1e-13 * np.eye(len(scale))) * both, dtype=np.float64)
    edges = np.linspace(0, len(problem.times), BLOCKS + 1).astype(int)
    pulls = np.array([_pull(problem, by, one.pulls, int(a), int(b)) for a, b in pairwise(edges)])
    even = pulls - pulls.mean(axis=0)
    spread = inverse @ (even.T @ even) @ inverse * (BLOCKS / (BLOCKS - 2.0))
    wider = np.sqrt(np.maximum(np.diag(spread) / np.maximum(np.diag(inverse), 1e-300), 1.0))
    weight = tones.weights(problem, at.bands) * tones.power(at.bands)
    return inverse, np.asarray(inverse * np.outer(wider, wider)), _by_decays(fit, by, weight, inverse)


def _pull(problem: Problem, by: fitting.Slopes, pulls: Complex, begin: int, end: int) -> Array:
    """(P) what pulls at all parameters from one time to another."""
    since = problem.times - problem.times.mean()
    mine = fitting.in_order(fitting.by_itself(pulls[:, begin:end], since[begin:end])).ravel()
    return np.append(mine, fitting.pulled_by(problem, by, pulls, begin, end))


def _by_decays(fit: Fit, by: fitting.Slopes, weight: Array, inverse: Array) -> Array:
    """(G, P) by how much all parameters are off for a standard uncertainty of each decay that the glide follows.

    A part falls at twice the rate of its partial (H1), which the fit takes for known. What a rate that is off adds to
    the phases pulls as what is left over does. Parts of partials that are not heard follow the common course of decays,
    which is known so well that they are left out.
    """
    problem, parts, times = fit.problem, fit.problem.parts, fit.problem.times
    many = len(parts.expected)
    rates = np.maximum(-np.log(np.maximum(parts.left, 1e-290)) / times[-1], 2.0 * LOWEST_DECAY)
    falls = np.maximum(np.diag(inverse)[4 * np.arange(len(problem.numbers)) + 1], 1e-12)
    off = []
    for part in np.flatnonzero(np.bincount(parts.member, minlength=many) == 1):
        rate = rates[part]
        told = 0.25 / float(falls[parts.member == part][0]) + 1.0 / (SMOOTH * rate) ** 2
        left = np.exp(-rate * times)
        bent = fit.state.shared[part] * (times * left - (1.0 - left) / rate) / rate / np.sqrt(told)
        off.append(inverse @ _pull(problem, by, weight * by.lead * bent, 0, len(times)))
    return np.array(off).reshape(-1, len(inverse))


def _departing(problem: Problem, hertz: Array, relative: Array, law: Law) -> Law:
    """The band of a first partial that lies off the law.

    A magnet pulls one direction of swing: as long as the two have not turned against each other, what is heard lies
    between them. A body pulls both. Either is as likely.
    """
    if problem.numbers[0] != 1.0 or problem.kind != "one":
        return law
    off = float(np.log(hertz[0] / law.fundamental) - 0.5 * np.log1p(law.inharmonicity))
    if abs(off) < DEPARTS * np.sqrt(relative[0, 0]) or abs(off) * hertz[0] * problem.times[-1] >= TURNED:
        return law
    return replace(law, first_sd=float(np.hypot(law.first_sd, np.sqrt(0.5) * off)))


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
    alone, covariance, off = _covariances(fit)
    moved = state.local[:, 1].imag / (2.0 * np.pi)
    strays = np.abs(moved) > STRAYS * problem.hertz
    hertz = problem.hertz + np.where(strays, 0.0, moved)
    scale = 2.0 * np.pi * hertz
    at = 4 * np.arange(count) + 3
    noise = alone[np.ix_(at, at)] / np.outer(scale, scale)
    hertz, covariance, none = _without_glide(problem, state, hertz, covariance)
    bare = covariance[np.ix_(at, at)] / np.outer(scale, scale)
    off = off[:, at] / scale
    k = (1.0 - none) * state.shared[:many]
    whole, left = float(k.sum()), float(k @ problem.parts.left)
    explained = problem.kind != "one" or beyond_noise(fit) <= WORTH
    split = None
    if problem.kind != "one":
        split, share = float(state.shared[many + 4]), float(np.exp(state.shared[many + 1]))
        if share > 1.0:  # the second is the louder one
            hertz = hertz * (1.0 + split * tones.second(problem, state)[1])
            split = -split
    heard = WIDER**2 * bare + np.diag(_by_itself(problem, state, strays, explained, scale) ** 2)
    decays = off if explained else UNEXPLAINED * off
    relative = heard + decays.T @ decays + _common(fit, whole, left)
    just = fitted(problem.numbers, hertz, heard, start.stiffness)
    wide = _wider(fit, split, _disagreeing(problem, hertz, noise, just) if explained else 1.0)
    law = _known(just, fitted(problem.numbers, hertz, relative, start.stiffness), wide)
    law = _departing(problem, hertz, relative, law)
    some = 4 * count + np.arange(many)
    sd = float(np.sqrt(max(covariance[np.ix_(some, some)].sum(), 0.0)))
    lead = np.interp(BEGIN, np.append(0.0, problem.times), np.append(0.0, k @ problem.parts.shapes))
    begun = float(lead) / BEGIN  # mean rise over the first of it, the integral being the lead
    rate = max(2.0 * (1.0 - begun / max(whole, SMALLEST)) / BEGIN, 1e-3)
    return Resolved(
        hertz, relative, law, -state.local[:, 1].real, start.wide * problem.noise, begun, sd, rate, left,
        poorness(fit), split,
    )  # fmt: skip


def _known(just: Law, whole: Law, wide: float) -> Law:
    """The law of what is heard, its variance so many times as large; what else all partials are off by added, and all
    of it made a little larger."""
    first = wide * just.first_sd**2 + max(whole.first_sd**2 - just.first_sd**2, 0.0)
    fundamental = wide * just.fundamental_sd**2 + max(whole.fundamental_sd**2 - just.fundamental_sd**2, 0.0)
    return replace(
        just, first_sd=TOGETHER * float(np.sqrt(first)), fundamental_sd=TOGETHER * float(np.sqrt(fundamental))
    )


def _common(fit: Fit, whole: float, left: float) -> float:
    """Relative variance that all partials have in common, of what a glide and its course do not tell."""
    problem = fit.problem
    some = [LATE * problem.numbers[0] / problem.hertz[0] / problem.times[-1] * left, fit.common]
    if problem.numbers[0] != 1.0:
        some += [FIRST_UNHEARD[0] * left, FIRST_UNHEARD[1] * whole]
    if problem.kind != "one":
        some.append(left * _standing(whole, left) ** HARDLY_FALLEN)
    return float(sum(min(abs(one), LOST) ** 2 for one in some))


def _standing(whole: float, left: float) -> float:
    """Share of a glide that is left at the end."""
    return float(np.clip(abs(left) / max(abs(whole), SMALLEST), 0.0, 1.0))


def _by_itself(problem: Problem, state: State, strays: NDArray[np.bool_], explained: bool, scale: Array) -> Array:
    """(N) relative standard uncertainties every partial has by itself: its phase lost, what is left over of it and not
    explained moving over the note."""
    told = tones.power(tones.model(problem, state)).sum(axis=1) / (2.0 * problem.noise)
    lost = np.where((told < TOLD) | strays | (problem.misfit > NONE), LOST, 0.0)
    if explained:
        return lost
    chance = problem.noise * np.sqrt(problem.slow / (tones.power(problem.bands) ** 2).sum(axis=1))  # of it squared
    over = COHERENT * np.sqrt(np.clip(problem.misfit**2 - chance, 0.0, NONE**2))
    return np.asarray(np.hypot(lost, over / (scale * problem.times[-1])))


def _disagreeing(problem: Problem, hertz: Array, noise: Array, law: Law) -> float:
    """Mean square by which partials lie off the law, over what noise makes of it: the square of Birge's ratio."""
    kept = law.counted
    if kept.sum() < FEWEST_TO_LAW:
        return 1.0
    number = problem.numbers[kept]
    off = np.log(hertz[kept] / number) - np.log(law.fundamental) - 0.5 * np.log1p(law.inharmonicity * number**2)
    by = np.column_stack([np.ones(len(number)), 0.5 * number**2 / (1.0 + law.inharmonicity * number**2)])
    weight = np.linalg.inv(noise[np.ix_(kept, kept)] + LEAST_APART**2 * np.eye(len(number)))
    heavy = by.T @ weight
    off = off - by @ np.linalg.solve(heavy @ by, heavy @ off)
    return float(off @ weight @ off) / (len(number) - 2.0)


def _strain(fit: Fit) -> float:
    """How far what was known before had to give way, over what it gives way by itself: the square of Birge's ratio
    (Phys. Rev. 40, 207, 1932, from memory)."""
    information, toward = tones.prior(fit.problem)
    off = fit.state.shared - toward
    return float(off @ information @ off) / (len(off) - 1.0)


def _wider(fit: Fit, split: float | None, disagreeing: float) -> float:
    """What the variance that noise and what the model leaves out make of the law is to be taken times."""
    problem = fit.problem
    span = problem.hertz[0] * problem.times[-1]
    lengths = span / problem.numbers[0] / LONG
    wide = LARGER**2 + FEW_LENGTHS / lengths + GAVE_WAY * (min(max(disagreeing, 1.0), MOST_STRAINED) - 1.0)
    if split is None:
        return float(wide + GAVE_WAY * (min(max(_strain(fit), 1.0), MOST_STRAINED) - 1.0))
    parted = (PARTED / max(abs(split) * span, FEWEST_TURNS)) ** 2
    return float(wide + (parted + STRAINED * _strain(fit)) * (1.0 + poorness(fit) / MUCH) ** 2)
