"""One note resolved: one tone in each partial or two that beat, and how sure what is told of them is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from setwright.listening import fitting, plucked, tones
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
from setwright.listening.law import fitted
from setwright.listening.stated import BLOCKS, LOUDEST, WORTH, Fit, Resolved, beyond_noise, poorness, stated
from setwright.listening.tones import Parts, Problem, State

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

LONGEST = 120  # times at most into which a note is gathered
SHORTEST = 0.008  # s of one of them
CLEAR = 20.0  # times the noise power, down to which a phase is followed from time to time
FEWEST_SEEN = 10  # times a phase must be followed for, else the first fit tells better where it goes
FEWEST = 10  # times over which noise is looked for
FILTER = 4.0  # periods of the partials' distance over which a band is filtered
ROUGH, FINE = 1e-3, 1e-5  # relative misfit of a partial: at first, and at least
SLIGHT_GAIN = 0.03  # of twice the logarithm of how likely places are, that ends the steps of a fit
CENT = np.log(2.0) / 1200.0
LOOK = 3e-3  # relative misfit while it is looked for
LOOKED, HOPEFUL = (4, 8), 2  # rounds from every start, and more from so many that stand best then
WORTHY = 3  # second tones of each kind that are tried
EXPLAINS = 0.25  # of what one tone leaves over in the loudest partials, the least a second one must, to first order
TURNS, PLACED = 6, 1  # times decays and glide are found anew, and how often with all places
ENOUGH = 10.0  # gain of twice the logarithm of how likely all is that ends it
LEAST_SPLIT = 0.05 * CENT  # relative; nearer tones are one
DOUBT = 100.0  # by how much two tones must be likelier than one, as twice the logarithm
BEATS = 0.05  # of the bands, the most two tones may leave over
HOPE = 0.7  # of what one tone leaves over in the loudest partials, the most two may to be fitted in all
FAINTEST = 0.02  # of the first tone, the least a second one is told
LESS = 0.3  # of what one tone leaves over, the same


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
    one = stated(single, start)
    if beyond_noise(single) < WORTH:
        return one
    double = _double(start, single)
    if double is None or not _beats(single, double):
        return one
    two = stated(double, start)
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


def _mended(problem: Problem, state: State, decay: Array) -> State:
    """The same, partials begun anew that are explained worse than by nothing: a faint one may have run away."""
    off = tones.power(problem.bands - tones.model(problem, state)).sum(axis=1)
    lost = off > tones.power(problem.bands).sum(axis=1)
    if not lost.any():
        return state
    return State(np.where(lost[:, None], _begun(problem, decay).local, state.local), state.shared)


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


def _single(start: Start) -> Fit | None:
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
            state, cost = fitting.solve(one, at, rounds=8, enough=SLIGHT_GAIN)
            if np.isfinite(cost):
                tried.append((cost, place, state))
        if not tried:
            return None
        _, place, state = min(tried, key=lambda each: each[0])
        glide = max(float(state.shared[:-1].sum()), SMALLEST)
        parts = parts_of(start, decays, place, glide, many)
        begun = state if turn else State(state.local, np.append(parts.expected, state.shared[-1]))
        one = replace(problem, parts=parts, logs=None, seen=None)
        begun, _ = fitting.solve(one, _mended(one, begun, likely_decays(problem.hertz, decays[0], decays[1])))
        one = _left_over(start, one, begun)
        fit = Fit(one, begun, fitting.cost_of(one, begun), _apart(problem, tried))
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


def _double(start: Start, single: Fit) -> Fit | None:
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
    single_few = Fit(_some(single.problem, few), State(single.state.local[few], single.state.shared), 0.0)
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
        tried.append(Fit(each, *fitting.solve(each, begun, rounds=LOOKED[0], damping=1e-2)))
    hopeful = sorted(tried, key=lambda each: each.cost)[:HOPEFUL]
    tried = [Fit(one.problem, *fitting.solve(one.problem, one.state, rounds=LOOKED[1])) for one in hopeful]
    best = min(tried, key=lambda each: each.cost)
    kind, found = best.problem.kind, best.state
    if poorness(best) > HOPE * poorness(single_few):
        return None
    problem = replace(problem, kind=kind, misfit=np.full(len(rough), ROUGH))
    state = _begun_with(problem, found.shared, logs, seen)
    state.local[few] = found.local
    return _doubled(start, problem, state)


def _doubled(start: Start, problem: Problem, state: State) -> Fit:
    """Two tones fitted in all partials, with decays and places, and so the parts of the glide, as they then are.

    Decays and glide lean on each other, so this goes on until little is gained, with the place that was best so far.
    """
    state, cost = fitting.solve(problem, state, rounds=15, enough=SLIGHT_GAIN)
    many = min(PARTS, len(problem.numbers))
    fit, best = Fit(problem, state, cost), None
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
            state, cost = fitting.solve(one, begin, rounds=5, enough=SLIGHT_GAIN)
            tried.append((cost, place, Fit(one, state, cost)))
        before = fit.cost
        _, best, fit = min(tried, key=lambda each: each[0])
        state, _ = fitting.solve(fit.problem, fit.state, rounds=15, enough=SLIGHT_GAIN)
        one = _left_over(start, fit.problem, state)
        fit = Fit(one, state, fitting.cost_of(one, state))
        if turn > PLACED and before - fit.cost < ENOUGH:
            break
    return fit


def _beats(single: Fit, double: Fit) -> bool:
    """Whether two tones explain so much more than one that there are two."""
    share = double.state.shared[len(double.problem.parts.expected) + 1]
    if single.cost - double.cost < DOUBT or share < np.log(FAINTEST):
        return False
    left = poorness(double)
    return left < BEATS and left < LESS * poorness(single)
