"""Least squares of H10 (`tones`): normal equations, and damped steps to where it explains the bands best.

Every partial has four parameters of its own that nothing else ties to those of the others, so they are solved for in
terms of the common ones.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from setwright.listening.tones import (
    NAMES,
    OWN_RANGE,
    RANGE,
    Problem,
    State,
    There,
    log_model,
    model,
    power,
    prior,
    shares_of,
    there,
    weights,
)

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

BY_LOGS = 2  # first rounds that go by logarithms, which no whole turn leads astray
TRIES = 6  # dampings of one step
HOLDS = 2  # times more of it is held within what can be
LOG_MISFIT = 1e-3  # relative, the least a logarithm is trusted to


@dataclass(frozen=True)
class Normal:
    """Normal equations: those of every partial by itself, the common ones, and what ties them."""

    own: tuple[Array, Array, Array]  # (N) sums of weight, times t, times t^2
    tie: Complex  # (2, P, N) to height (real) and phase, and to what either gains in time
    shared: Array  # (P, P)
    pull_own: Complex  # (2, N) the same of what pulls
    pull_shared: Array  # (P)
    pulls: Complex  # (N, J) weight times relative residual


@dataclass(frozen=True)
class Slopes:
    """Derivatives of the logarithm of H10 by the common parameters, as the few things that many of them share.

    By a part of the glide: `lead` times its shape, and i `own` for the partials in it. By q: i `mine`. By a parameter
    of the second tone: `size` times `some`, times t' where it is `timed`.
    """

    lead: Complex  # (N, J) by the time a glide gains
    own: Array  # (N, J)
    mine: Array  # (N, J)
    some: Complex  # (N, J) v_n / (1 + v_n)
    late: Array  # (J) t' [s]
    size: Complex  # (R, N)
    timed: NDArray[np.int64]  # (R) 1 or 0


def slopes(problem: Problem, state: State, at: There) -> Slopes:
    """Derivatives of the logarithm of H10 by the common parameters.

    Args:
        problem: what is to be explained.
        state: where they are taken.
        at: the model there.
    Returns: them.
    """
    parts, many = problem.parts, len(problem.parts.expected)
    k, q = state.shared[:many], state.shared[many]
    turn = 2.0 * np.pi * problem.hertz * problem.follows
    own, mine = (turn * q)[:, None] * parts.own, (turn * k[parts.member])[:, None] * parts.own
    lead = np.repeat(1j * turn[:, None], len(problem.times), axis=1)
    if problem.kind == "one":
        none = np.empty((0, len(turn)), dtype=np.complex128)
        return Slopes(lead, own, mine, at.over, at.late, none, np.empty(0, dtype=np.int64))
    loss, split = state.shared[many + 3], state.shared[many + 4]
    share, slope = shares_of(problem, state)
    some = at.over / (1.0 + at.over)
    one, turns = np.ones(len(turn)), 2j * np.pi * problem.hertz * share
    size = np.array([one, 1j * one, -one, turns, turns * split - loss])  # as in NAMES
    timed = np.array([0, 0, 1, 1, 0])
    lead += size[4][:, None] * some
    if problem.kind == "pulled":
        size = np.append(size, [2j * np.pi * problem.hertz * slope * split], axis=0)
        timed = np.append(timed, 1)
    return Slopes(lead, own, mine, some, at.late, size, timed)


def pulled_by(problem: Problem, by: Slopes, pulls: Complex, begin: int = 0, end: int | None = None) -> Array:
    """What pulls at the common parameters.

    Args:
        problem: what is to be explained.
        by: derivatives.
        pulls: (N, J) weight times relative residual.
        begin: the first of the times that count [1].
        end: the one after the last; None: to the end.
    Returns: (P).
    """
    parts, at = problem.parts, slice(begin, end)
    pulls, across = pulls[:, at], pulls[:, at].imag
    along = (by.lead[:, at].conj() * pulls).real.sum(axis=0)
    own = np.bincount(parts.member, (by.own[:, at] * across).sum(axis=1), len(parts.expected))
    out = np.append(parts.shapes[:, at] @ along + own, (by.mine[:, at] * across).sum())
    if not len(by.size):
        return out
    some = by.some[:, at].conj() * pulls
    by_time = np.stack([some.sum(axis=1), some @ by.late[at]])
    return np.append(out, (by.size.conj() * by_time[by.timed]).real.sum(axis=1))


def normal(problem: Problem, state: State, by_logs: bool = False, at: There | None = None) -> Normal:
    """Normal equations of relative residuals.

    Args:
        problem: what is to be explained.
        state: where they are taken.
        by_logs: whether residuals are those of logarithms.
        at: the model there, where it is at hand.
    Returns: them.
    """
    at = at or there(problem, state)
    by, bands = slopes(problem, state, at), at.bands
    if by_logs and problem.logs is not None and problem.seen is not None:
        heard = np.where(problem.seen, power(problem.bands), power(bands))
        weight = heard / (problem.noise[:, None] + np.maximum(problem.misfit, LOG_MISFIT)[:, None] ** 2 * heard)
        off = np.where(problem.seen, problem.logs - log_model(problem, state), problem.bands / _some(bands) - 1.0)
        pulls = weight * off
    else:
        even = weights(problem, bands)
        weight = even * power(bands)
        pulls = (problem.bands - bands) * bands.conj() * even
    since = problem.times - problem.times.mean()
    tie, shared = _tied(problem, by, weight, since)
    return Normal(
        (weight.sum(axis=1), weight @ since, weight @ since**2),
        tie,
        shared,
        by_itself(pulls, since),
        pulled_by(problem, by, pulls),
        pulls,
    )


def _tied(problem: Problem, by: Slopes, weight: Array, since: Array) -> tuple[Complex, Array]:
    """(2, P, N) what ties the common parameters to those of every partial, and (P, P) their own normal matrix.

    Every part of the glide is the same lead times a shape in time, so sums over partials come before those over parts.
    """
    parts, many = problem.parts, len(problem.parts.expected)
    shapes, common = parts.shapes, many + 1 + len(by.size)
    belongs = (parts.member == np.arange(many)[:, None]).astype(np.float64)  # (G, N)
    lead, own, mine = weight * by.lead, weight * by.own, weight * by.mine
    tie = np.empty((2, common, len(weight)), dtype=np.complex128)
    one, late = tie
    one[:many] = shapes @ lead.T + 1j * belongs * own.sum(axis=1)
    late[:many] = (shapes * since) @ lead.T + 1j * belongs * (own @ since)
    one[many], late[many] = 1j * mine.sum(axis=1), 1j * (mine @ since)
    shared = np.zeros((common, common))
    cross = belongs @ (own * by.lead.imag) @ shapes.T
    alone = np.diag(belongs @ (own * by.own).sum(axis=1))
    along = (lead.real * by.lead.real + lead.imag * by.lead.imag).sum(axis=0)
    shared[:many, :many] = (shapes * along) @ shapes.T + cross + cross.T + alone
    shared[many, :many] = (by.mine * lead.imag).sum(axis=0) @ shapes.T + belongs @ (by.mine * own).sum(axis=1)
    shared[many, many] = (by.mine * mine).sum()
    if len(by.size):
        _tie_second(by, weight, since, tie, (belongs, shapes), shared)
    shared[:many, many:] = shared[many:, :many].T
    return tie, shared


def _tie_second(
    by: Slopes, weight: Array, since: Array, tie: Complex, parts: tuple[Array, Array], shared: Array
) -> None:
    """The same of the second tone's parameters, put where they belong: sums over t' to the power 0, 1 and 2 do."""
    (one, late), (belongs, shapes) = tie, parts
    first = len(shared) - len(by.size)
    timed, size, back = by.timed, by.size, by.size.conj()
    heavy = weight * by.some
    to_time = np.stack([np.ones(len(by.late)), by.late, by.late**2])  # (3, J)
    one[first:] = size * (to_time[:2] @ heavy.T)[timed]
    late[first:] = size * ((to_time[:2] * since) @ heavy.T)[timed]
    square = to_time @ (heavy.real * by.some.real + heavy.imag * by.some.imag).T  # (3, N)
    shared[first:, first:] = (size[:, None] * back * square[timed[:, None] + timed]).real.sum(axis=2)
    light = heavy.conj()
    own, mine = (to_time[:2] @ (light * some).T for some in (by.own, by.mine))
    mixed = (back @ (light * by.lead)).real * to_time[timed]
    shared[first:, : first - 1] = mixed @ shapes.T - (back * own[timed]).imag @ belongs.T
    shared[first:, first - 1] = shared[first - 1, first:] = -(back * mine[timed]).imag.sum(axis=1)


def _some(bands: Complex) -> Complex:
    """The same, nowhere so small that it cannot be divided by."""
    return np.asarray(np.where(np.abs(bands) < 1e-100, 1e-100, bands))


def by_itself(pulls: Complex, since: Array) -> Complex:
    """What pulls at a partial's own parameters.

    Args:
        pulls: (N, J) weight times relative residual.
        since: (J) [s] from the middle.
    Returns: (2, N) height (real) and phase; growth and frequency (as 1/s).
    """
    return np.stack([pulls.sum(axis=1), pulls @ since])


def in_order(own: Complex) -> Array:
    """What belongs to partials' own parameters, as the code of their covariance orders them.

    Args:
        own: (2, ..., N) as `by_itself` gives it.
    Returns: (..., N, 4) height, growth, phase, frequency.
    """
    return np.stack([own[0].real, own[1].real, own[0].imag, own[1].imag], axis=-1)


def cost_of(problem: Problem, state: State) -> float:
    """Twice the negative logarithm of how likely the bands are, but for a constant.

    Args:
        problem: what is to be explained.
        state: the parameters.
    Returns: [1].
    """
    return _whole(problem, state, prior(problem), model(problem, state))


def _whole(problem: Problem, state: State, before: tuple[Array, Array], bands: Complex) -> float:
    weight = weights(problem, bands)
    cost = _off(problem, state, before, bands, weight) - 2.0 * float(np.log(weight).sum())
    return cost if np.isfinite(cost) else np.inf


def _off(problem: Problem, state: State, before: tuple[Array, Array], bands: Complex, weight: Array) -> float:
    """Squares of what the bands of the model leave over, by given weights, and of what was known before."""
    information, toward = before
    off = state.shared - toward
    with np.errstate(over="ignore", invalid="ignore"):
        cost = float((power(problem.bands - bands) * weight).sum() + off @ information @ off)
    return cost if np.isfinite(cost) else np.inf


@cache
def _limits(kind: str, many: int) -> tuple[Array, Array]:
    """What common parameters can be at least and at most."""
    some = [(-np.inf, np.inf)] * many + [OWN_RANGE, *(RANGE[name] for name in NAMES[kind])]
    low, high = np.array(some).T
    return low, high


def _within(problem: Problem, at: Array, matrix: Array, pull: Array) -> Array:
    """Common parameters after a step, held within what they can be; what is held moves the others no more."""
    low, high = _limits(problem.kind, len(problem.parts.expected))
    new = at + np.linalg.solve(matrix, pull)
    free = np.ones(len(at), dtype=bool)
    for _ in range(HOLDS):
        free &= (new > low) & (new < high)
        new = np.clip(new, low, high)
        if free.all():
            break
        off = np.where(free, 0.0, new - at)
        new[free] = at[free] + np.linalg.solve(matrix[np.ix_(free, free)], (pull - matrix @ off)[free])
    return np.clip(new, low, high)


def _stepped(problem: Problem, state: State, one: Normal, damping: float, before: tuple[Array, Array]) -> State:
    """A damped step of Gauss and Newton; the partials' own parameters are solved for in terms of the common ones."""
    information, toward = before
    shared = one.shared + information
    w0, w1, w2 = one.own
    up = 1.0 + damping
    determinant = np.maximum(w0 * w2 * up * up - w1 * w1, 1e-12 * w0 * w2 + 1e-300)
    i0, i1, i2 = w2 * up / determinant, -w1 / determinant, w0 * up / determinant

    def solved(x: Complex) -> Complex:
        return np.stack([i0 * x[0] + i1 * x[1], i1 * x[0] + i2 * x[1]])

    tied = solved(one.tie)
    rest = shared + damping * np.diag(np.diag(shared))
    for mine, whole in zip(tied, one.tie, strict=True):
        rest -= (mine @ whole.conj().T).real
    pull = one.pull_shared - information @ (state.shared - toward)
    pull -= (tied * one.pull_own[:, None].conj()).real.sum(axis=(0, 2))
    scale = 1.0 / np.sqrt(np.diag(shared) + 1e-300)
    even = 1e-12 * np.diag(1.0 / scale**2)
    new = _within(problem, state.shared, rest + even, pull)
    local = solved(one.pull_own - (new - state.shared) @ one.tie)
    return State(state.local + local.T, new)


def solve(
    problem: Problem, state: State, rounds: int = 10, damping: float = 1e-4, enough: float = 1e-3
) -> tuple[State, float]:
    """Least squares by damped steps (Levenberg, Marquardt), the first ones by logarithms where these are given.

    Args:
        problem: what is to be explained.
        state: where to start.
        rounds: steps at most [1].
        damping: at the first step [1].
        enough: gain of the cost that ends the steps [1].
    Returns: the best, and its cost.
    """
    logs = BY_LOGS if problem.logs is not None and problem.kind == "one" else 0
    before = prior(problem)
    at = there(problem, state)
    for turn in range(rounds):
        one = normal(problem, state, turn < logs, at)
        weight = weights(problem, at.bands)  # a step is right for weights that stay
        cost, gained = _off(problem, state, before, at.bands, weight), 0.0
        for _ in range(TRIES):
            new = _stepped(problem, state, one, damping, before)
            ahead = there(problem, new)
            less = _off(problem, new, before, ahead.bands, weight)
            if turn < logs or less <= cost + 1e-9:
                gained = np.inf if turn < logs else cost - less
                state, at = new, ahead
                damping = 0.1 * damping if damping > 1e-8 else 0.0
                break
            damping = max(10.0 * damping, 1e-4)
        if gained < enough:
            break
    return state, _whole(problem, state, before, at.bands)
