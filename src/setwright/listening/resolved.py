"""One note resolved: one tone in each partial or two that beat, and how sure what is told of them is."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from setwright.listening import plucked, tones
from setwright.listening.beats import SHARE, seconds
from setwright.listening.expected import (
    PARTS,
    SMALLEST,
    Start,
    candidates,
    decays_of,
    first_decays,
    likely_decays,
    parts_of,
)
from setwright.listening.law import Law, fitted
from setwright.listening.tones import Parts, Problem, State

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

LONGEST = 160  # times at most into which a note is gathered
SHORTEST = 0.008  # s of one of them
CLEAR = 20.0  # times the noise power, down to which a phase is followed from time to time
FEWEST_SEEN = 10  # times a phase must be followed for, else the first fit tells better where it goes
BEGIN = 0.05  # s over which a glide is told
FEWEST = 10  # times over which noise is looked for
FILTER = 4.0  # periods of the partials' distance over which a band is filtered
ROUGH, FINE = 1e-3, 1e-5  # relative misfit of a partial: at first, and at least
UNTOLD = 0.002  # of the glide that is left at the end, the standard uncertainty for what its course does not tell
BY_PLACE = 0.04  # of it, the same where heights do not tell the parts of a glide, times how far these may be off
WIDER = (
    1.09  # times the standard uncertainties of eight blocks of time, which are few: Student's t of six to the normal
)
TOLD = 60.0  # times the noise, the energy of a partial under which its phase may have been lost
STRAYS = 0.02  # relative, from which on a frequency is lost
LEAKS = 3e-4  # of the loudest partial, what of it is left in the band of another
NONE = 0.5  # relative misfit from which on a partial is none
SLIGHT_GAIN = 0.03  # of twice the logarithm of how likely places are, that ends the steps of a fit
LOST = 0.03  # relative, what its frequency is then known to
UNPARTED = (0.002, 0.02, -1.5)  # of the distance of two tones, to which each is known: at best, over 1 s, power of time
COHERENT = 2.0  # times what is left over of a partial, as a phase that moves over the note
HARDLY_FALLEN = 6  # power of the share of a glide that is left, by which two tones may have been taken for it
UNEXPLAINED = 3.0  # times, where something is left over that two tones do not explain
MUCH = 0.01  # of the bands left over, at which that doubles
DEPARTS = 4.0  # times its uncertainty, from which on a first partial lies off the law
FOLLOWS_LESS = 0.003  # of the glide, what a partial that lies off the law may be off for its sake
TURNED = 0.05  # turns of two tones against each other, from which on they are told from one
BY_DECAY = 0.2  # of the glide, for a decay times the length of the note that is off by one
FIRST_UNHEARD = (0.03, 0.001)  # of the glide left, and of it all, the same where the first partial is not heard
USUAL_GLIDE = 0.002  # relative, 3 cents (common practice, no source)
BLOCKS = 8  # pieces of the note whose pulls are compared for what the model leaves out
CENT = np.log(2.0) / 1200.0
LOOK = 3e-3  # relative misfit while it is looked for
LOOKED = 10  # rounds from every start
WORTHY = 3  # second tones of each kind that are tried
EXPLAINS = 0.25  # of what one tone leaves over in the loudest partials, the least a second one must, to first order
TURNS, PLACED = 6, 2  # times decays and glide are found anew, and how often with all places
ENOUGH = 10.0  # gain of twice the logarithm of how likely all is that ends it
LOUDEST = 6  # partials in which it is looked for
WORTH = 8.0  # times the noise, from which a second tone is looked for
LEAST_SPLIT = 0.05 * CENT  # relative; nearer tones are one
DOUBT = 100.0  # by how much two tones must be likelier than one, as twice the logarithm
BEATS = 0.05  # of the bands, the most two tones may leave over
HOPE = 0.7  # of what one tone leaves over in the loudest partials, the most two may to be fitted in all
FAINTEST = 0.02  # of the first tone, the least a second one is told
LESS = 0.3  # of what one tone leaves over, the same


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
class _Fit:
    problem: Problem
    state: State
    cost: float
    common: float = 0.0  # relative, by how much all partials differ between places that explain them as well


def resolved(
    times: Array, cut: Complex, numbers: Array, middle: Array, hertz: Array, phase: Array, noise: Array,
    stiffness: float, glide: float, since: float,
) -> Resolved | None:  # fmt: skip
    """Explain the bands of a note by one tone in each partial, and by two.

    Args:
        times: (M) [s] from the start of the part used.
        cut: (N, M) bands about `middle`.
        numbers: (N) of the partials [1].
        middle: (N) [Hz].
        hertz: (N) where they settle, about [Hz].
        phase: (N, M) rad, of a first fit.
        noise: (N) variance of one part of the noise as a slow fit sees it.
        stiffness: B, about [1].
        glide: relative, about.
        since: from the release to the start of the part used [s].
    Returns: what the note is; None where no fit stays finite.
    """
    start = _gathered(times, cut, numbers, middle, hertz, phase, noise, stiffness, glide, since)
    single = _single(start)
    if single is None:
        return None
    one = _told(single, start)
    if _left(single) < WORTH:
        return one
    double = _double(start, single)
    if double is None or not _beats(single, double):
        return one
    two = _told(double, start)
    return two if two.split is not None and abs(two.split) >= LEAST_SPLIT else one


def _gathered(
    times: Array, cut: Complex, numbers: Array, middle: Array, hertz: Array, phase: Array, noise: Array,
    stiffness: float, glide: float, since: float,
) -> Start:  # fmt: skip
    """Bands turned by the first fit, averaged over short times, and turned back."""
    step = times[1] - times[0]
    wide = max(int(max(SHORTEST, times[-1] / LONGEST) / step), 1)
    count = len(times) // wide
    some = (cut * np.exp(-1j * phase))[:, : count * wide].reshape(len(cut), count, wide).mean(axis=2)
    t = times[: count * wide].reshape(count, wide).mean(axis=1)
    bent = phase - 2.0 * np.pi * (hertz - middle)[:, None] * times
    turn = np.array([np.interp(t, times, row) for row in bent])
    variance = noise / wide
    seen = np.logical_and.accumulate(np.abs(some) ** 2 > 2.0 * CLEAR * variance[:, None], axis=1)
    seen &= (seen.sum(axis=1) >= FEWEST_SEEN)[:, None]
    logs = np.log(np.maximum(np.abs(some), 1e-30)) + 1j * (np.unwrap(np.angle(some), axis=1) + turn)
    law = fitted(numbers, hertz, np.diag(np.full(len(hertz), 1e-12)), stiffness)
    shape = law.inharmonicity
    follows = (1.0 + shape) / (1.0 + shape * numbers**2)
    empty = Parts(np.empty((0, 0)), np.empty((0, 0)), np.empty(0, dtype=np.int64), np.empty(0), 0.5, np.empty(0))
    problem = Problem(
        t, some * np.exp(1j * turn), numbers, hertz, follows, variance, np.full(len(hertz), ROUGH), empty, since,
        logs=logs, seen=seen, slow=int(np.ceil(FILTER / (law.fundamental * step * wide))),
    )  # fmt: skip
    return Start(problem, shape, law.fundamental, max(glide, SMALLEST), wide)


def _begun(problem: Problem, decay: Array) -> State:
    """Heights, phases and decays to start from, with the glide that is expected."""
    expected = problem.parts.expected
    state = State(np.stack([0.0 * decay, -decay], axis=1).astype(complex), np.append(expected, tones.OWN))
    bands = tones.model(problem, state)
    weight = np.abs(bands)
    turned = problem.bands * bands.conj() / np.maximum(weight, 1e-300)
    height = turned.sum(axis=1) / np.maximum(weight.sum(axis=1), 1e-300)
    local = state.local.copy()
    local[:, 0] = np.log(np.where(height == 0.0, 1e-30, height))
    return State(local, state.shared)


def _left_over(start: Start, problem: Problem, state: State) -> Problem:
    """Noise from how what is left over jumps from time to time, misfit from what is left over besides."""
    bands = tones.model(problem, state)
    off = problem.bands - bands
    noise = np.clip(_slow_noise(off, problem.slow), 1e-24, np.maximum(start.problem.noise, 1e-24))
    power = np.abs(bands) ** 2
    more = (power * (np.abs(off) ** 2 - 2.0 * noise[:, None])).sum(axis=1) / np.maximum((power**2).sum(axis=1), 1e-300)
    return replace(problem, noise=noise, misfit=np.sqrt(np.maximum(0.5 * more, FINE**2)))


def _slow_noise(off: Complex, slow: int) -> Array:
    """(N) variance of one part of the noise of a time, as a slow fit sees it: neighbours in time are filtered alike, so
    what jumps is looked at between means over `slow` of them."""
    slow = max(min(slow, off.shape[1] // FEWEST), 1)
    count = off.shape[1] // slow
    mean = off[:, : count * slow].reshape(len(off), count, slow).mean(axis=2)
    return np.asarray((np.abs(mean[:, 2:] - mean[:, :-2]) ** 2).mean(axis=1) * (slow / 4.0))


def _single(start: Start) -> _Fit | None:
    """One tone in each partial: places tried with the whole glide in one, its parts loosened, places tried again."""
    problem = start.problem
    decays, glide = first_decays(problem), start.glide
    many = min(PARTS, len(problem.numbers))
    fit = begun = None
    for turn in range(2):
        tried = []
        for place in candidates(start, decays):
            one = replace(problem, parts=parts_of(start, decays, place, glide, many if turn else 1))
            if begun is None:
                at = _begun(one, likely_decays(problem.hertz, decays[0], decays[1]))
            else:
                at = State(begun.local, np.append(one.parts.expected, begun.shared[-1]))
            state, cost = tones.solve(one, at, rounds=8, enough=SLIGHT_GAIN)
            if np.isfinite(cost):
                tried.append((cost, place, state))
        if not tried:
            return None
        _, place, state = min(tried, key=lambda each: each[0])
        glide = max(float(state.shared[:-1].sum()), SMALLEST)
        parts = parts_of(start, decays, place, glide, many)
        begun = state if turn else State(state.local, np.append(parts.expected, state.shared[-1]))
        one = replace(problem, parts=parts, logs=None, seen=None)
        begun, _ = tones.solve(one, begun)
        one = _left_over(start, one, begun)
        fit = _Fit(one, begun, tones.cost_of(one, begun), _apart(problem, tried))
        problem = replace(problem, noise=one.noise, misfit=one.misfit, logs=None, seen=None)
        decays = decays_of(fit.problem, fit.state)
        glide = max(float(begun.shared[:-1].sum()), SMALLEST)
    assert fit is not None
    return fit


def _apart(problem: Problem, tried: list[tuple[float, plucked.Place, State]]) -> float:
    """Relative standard deviation of all partials together over places, each by how likely it is.

    What the model leaves out bends a band slowly: of that only so many readings count as there are blocks of time.
    """
    cost = np.array([each[0] for each in tried])
    power = np.abs(problem.bands) ** 2
    left = problem.misfit[:, None] ** 2 * power
    heavy = power / (problem.noise[:, None] + left) * problem.hertz[:, None] ** 2
    share = float((heavy * left / (problem.noise[:, None] + left)).sum() / heavy.sum())
    count = (1.0 - share) + share * BLOCKS / len(problem.times)  # of readings that do not say the same
    likely = np.exp(-0.5 * count * (cost - cost.min()))
    likely = likely / likely.sum()
    power = (power / problem.noise[:, None]).sum(axis=1) * problem.hertz**2
    shift = np.array([(each[2].local[:, 1].imag / problem.hertz) @ power for each in tried])
    shift = shift / (2.0 * np.pi * power.sum())
    return float(np.sqrt(likely @ (shift - likely @ shift) ** 2))


def _begun_with(problem: Problem, shared: Array, logs: Complex, seen: NDArray[np.bool_]) -> State:
    """What of every partial explains the logarithms of the bands best with given common parameters."""
    bare = State(np.zeros((len(problem.numbers), 2), dtype=complex), shared)
    model = tones.log_model(problem, bare)
    rest = logs - model.real - 1j * np.unwrap(model.imag, axis=1)
    first = np.arange(len(problem.times)) < FEWEST_SEEN
    seen = np.where(seen.any(axis=1, keepdims=True), seen, first)
    weight = np.where(seen, np.abs(problem.bands) ** 2, 0.0) + 1e-30
    weight = weight / weight.sum(axis=1, keepdims=True)
    since = problem.times - problem.times.mean()
    middle, centre = weight @ since, (weight * rest).sum(axis=1)
    from_middle = since - middle[:, None]
    slope = (weight * from_middle * (rest - centre[:, None])).sum(axis=1) / (weight * from_middle**2).sum(axis=1)
    return State(np.stack([centre - slope * middle, slope], axis=1), shared)


def _some(problem: Problem, few: NDArray[np.int64]) -> Problem:
    """The same with few partials."""
    parts = replace(problem.parts, own=problem.parts.own[few], member=problem.parts.member[few])
    return replace(
        problem, bands=problem.bands[few], numbers=problem.numbers[few], hertz=problem.hertz[few],
        follows=problem.follows[few], noise=problem.noise[few], misfit=problem.misfit[few], parts=parts,
        logs=None, seen=None,
    )  # fmt: skip


def _left(fit: _Fit) -> float:
    """How much more is left over than noise, at most in one of the loudest partials [1]."""
    problem = fit.problem
    power = np.abs(tones.model(problem, fit.state)) ** 2
    off = np.abs(problem.bands - tones.model(problem, fit.state)) ** 2
    loud = np.argsort(power.sum(axis=1))[::-1][:LOUDEST]
    return float((off.mean(axis=1) / (2.0 * problem.noise))[loud].max())


def _poorness(fit: _Fit) -> float:
    """Root mean square of what is left over beyond noise, over the bands' own [1]."""
    problem = fit.problem
    bands = tones.model(problem, fit.state)
    heard = (np.abs(problem.bands) ** 2).sum(axis=1)
    off = (np.abs(problem.bands - bands) ** 2).sum(axis=1) - 2.0 * problem.noise * bands.shape[1]
    left = np.clip(off, 0.0, heard)  # what fits worse than nothing is not explained, and no more
    return float(np.sqrt(left.sum() / max(float(heard.sum()), 1e-300)))


def _double(start: Start, single: _Fit) -> _Fit | None:
    """Two tones in each partial: looked for in the loudest partials from several starts, then fitted in all.

    Not where they leave over more than `HOPE` of what one tone leaves in the loudest.
    """
    decays = decays_of(single.problem, single.state)
    places = candidates(start, decays)
    if not places:
        return None
    place = places[0]
    whole = float(single.state.shared[: len(single.problem.parts.expected)].sum())
    parts = parts_of(start, decays, place, max(whole, SMALLEST), 1)
    rough = np.full(len(decays[0]), LOOK)
    problem = replace(single.problem, parts=parts, misfit=rough, logs=None, seen=None)
    energy = (np.abs(problem.bands) ** 2).sum(axis=1)
    few = np.sort(np.argsort(energy)[::-1][:LOUDEST])
    base = State(single.state.local[few], np.array([max(whole, SMALLEST), tones.OWN]))
    single_few = _Fit(_some(single.problem, few), State(single.state.local[few], single.state.shared), 0.0)
    less = _some(problem, few)
    worth = seconds(less, base, tones.model(single_few.problem, single_few.state), WORTHY)
    if max(one.explains for one in worth) < EXPLAINS:
        return None
    logs, seen = start.problem.logs, start.problem.seen
    assert logs is not None
    assert seen is not None
    tried = []
    for one in worth:
        two = np.array([np.log(SHARE), 0.0, one.loss, one.split, 0.0, one.place])[: len(tones.NAMES[one.kind])]
        each = replace(less, kind=one.kind)
        begun = _begun_with(each, np.append(base.shared, two), logs[few], seen[few])
        tried.append(_Fit(each, *tones.solve(each, begun, rounds=LOOKED, damping=1e-2)))
    best = min(tried, key=lambda each: each.cost)
    kind, found = best.problem.kind, best.state
    if _poorness(best) > HOPE * _poorness(single_few):
        return None
    problem = replace(problem, kind=kind, misfit=np.full(len(rough), ROUGH))
    state = _begun_with(problem, found.shared, logs, seen)
    state.local[few] = found.local
    return _doubled(start, problem, state)


def _doubled(start: Start, problem: Problem, state: State) -> _Fit:
    """Two tones fitted in all partials, with decays and places, and so the parts of the glide, as they then are.

    Decays and glide lean on each other, so this goes on until little is gained, with the place that was best so far.
    """
    state, cost = tones.solve(problem, state, rounds=15)
    many = min(PARTS, len(problem.numbers))
    fit, best = _Fit(problem, state, cost), None
    for turn in range(TURNS):
        decays, had = decays_of(fit.problem, fit.state), len(fit.problem.parts.expected)
        glide = max(float(fit.state.shared[:had].sum()), SMALLEST)
        places = candidates(start, decays)[: 4 if turn else 2]
        if best is not None and turn > PLACED:
            apart = [abs(one.plucked - best.plucked) for one in places]
            places = [places[int(np.argmin(apart))]]
        tried = []
        for place in places:
            one = replace(fit.problem, parts=parts_of(start, decays, place, glide, many))
            begin = State(fit.state.local, np.concatenate([one.parts.expected, fit.state.shared[had:]]))
            state, cost = tones.solve(one, begin, rounds=5, enough=SLIGHT_GAIN)
            tried.append((cost, place, _Fit(one, state, cost)))
        before = fit.cost
        _, best, fit = min(tried, key=lambda each: each[0])
        state, _ = tones.solve(fit.problem, fit.state, rounds=15)
        one = _left_over(start, fit.problem, state)
        fit = _Fit(one, state, tones.cost_of(one, state))
        if turn > PLACED and before - fit.cost < ENOUGH:
            break
    return fit


def _covariance(fit: _Fit) -> Array:
    """Of all parameters, four of every partial and the common ones; what the model leaves out included."""
    problem, one = fit.problem, tones.normal(fit.problem, fit.state)
    information, _ = tones.prior(problem)
    count, common = len(problem.numbers), len(one.shared)
    matrix = np.zeros((4 * count + common,) * 2)
    at = 4 * np.arange(count)
    for first in (at, at + 2):
        matrix[first, first], matrix[first + 1, first + 1] = one.own[0], one.own[2]
        matrix[first, first + 1] = matrix[first + 1, first] = one.own[1]
    tie = one.tie.reshape(common, -1)
    matrix[4 * count :, : 4 * count], matrix[: 4 * count, 4 * count :] = tie, tie.T
    matrix[4 * count :, 4 * count :] = one.shared + information
    scale = 1.0 / np.sqrt(np.maximum(np.diag(matrix), 1e-20 * np.diag(matrix).max()))
    both = np.outer(scale, scale)
    inverse = np.linalg.inv(matrix * both + 1e-13 * np.eye(len(scale))) * both
    since = problem.times - problem.times.mean()
    pulls = []
    for a, b in pairwise(np.linspace(0, len(since), BLOCKS + 1).astype(int)):
        mine = tones.by_itself(one.pulls[:, a:b], since[a:b]).ravel()
        pulls.append(np.append(mine, (one.slopes[:, :, a:b].conj() * one.pulls[:, a:b]).real.sum(axis=(1, 2))))
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


def _told(fit: _Fit, start: Start) -> Resolved:
    """What a fit says."""
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
    common = [float(np.hypot(UNTOLD, BY_PLACE * problem.parts.loose)) * left, fit.common]
    fall = np.sqrt(np.maximum(np.diag(covariance)[at - 2][:3].min(), 0.0))  # 1/s, how well decays are known
    common.append(BY_DECAY * whole * fall * problem.times[-1])
    if problem.numbers[0] != 1.0:
        common += [FIRST_UNHEARD[0] * left, FIRST_UNHEARD[1] * whole]
    relative = WIDER**2 * relative + sum(min(abs(one), LOST) ** 2 for one in common)
    bands = tones.model(problem, state)
    told = (np.abs(bands) ** 2).sum(axis=1) / (2.0 * problem.noise)
    relative = relative + np.diag(np.where((told < TOLD) | strays | (problem.misfit > NONE), LOST, 0.0) ** 2)
    loud = np.abs(problem.bands).max(axis=1)
    relative = relative + np.diag((LEAKS * loud.max() / np.maximum(loud, 1e-30) / (scale * problem.times[-1])) ** 2)
    over = np.minimum(problem.misfit, NONE)
    relative = relative + np.diag((COHERENT * over / (scale * problem.times[-1])) ** 2)
    split = None
    if problem.kind != "one":
        split, share = float(state.shared[many + 4]), float(np.exp(state.shared[many + 1]))
        if share > 1.0:  # the second is the louder one
            hertz = hertz * (1.0 + split * tones.second(problem, state)[1])
            split = -split
        standing = float(np.clip(abs(left) / max(abs(whole), SMALLEST), 0.0, 1.0))
        relative = (
            relative + (_unparted(problem.times[-1]) * split) ** 2 + min(abs(left) * standing**HARDLY_FALLEN, LOST) ** 2
        )
    elif _left(fit) > WORTH:
        relative = (UNEXPLAINED * (1.0 + _poorness(fit) / MUCH)) ** 2 * relative
    law = fitted(problem.numbers, hertz, relative, start.stiffness)
    law = _departing(problem, hertz, relative, law, whole)
    some = 4 * count + np.arange(many)
    sd = float(np.sqrt(max(covariance[np.ix_(some, some)].sum(), 0.0)))
    lead = np.interp(BEGIN, np.append(0.0, problem.times), np.append(0.0, k @ problem.parts.shapes))
    begun = float(lead) / BEGIN  # mean rise over the first of it, the integral being the lead
    rate = max(2.0 * (1.0 - begun / max(whole, SMALLEST)) / BEGIN, 1e-3)
    return Resolved(
        hertz, relative, law, -state.local[:, 1].real, start.wide * problem.noise, begun, sd, rate, left,
        _poorness(fit), split,
    )  # fmt: skip


def _unparted(lasts: float) -> float:
    """Relative to the distance of two tones, how well each is known after so many seconds."""
    least, second, power = UNPARTED
    return float(np.hypot(least, second * lasts**power))


def _beats(single: _Fit, double: _Fit) -> bool:
    """Whether two tones explain so much more than one that there are two."""
    share = double.state.shared[len(double.problem.parts.expected) + 1]
    if single.cost - double.cost < DOUBT or share < np.log(FAINTEST):
        return False
    left = _poorness(double)
    return left < BEATS and left < LESS * _poorness(single)
