"""Amplitude and phase of all partials of a note in one model: each one tone or two that beat, one glide for all.

    ln z_n(t) = a_n + l_n t + 2 pi i f_n c_n (sum over g of k_g S_g(t) + q k_n S_n(t)) + ln(1 + v_n(t))     (H10)
    v_n(t) = s exp(i psi - D t' + 2 pi i f_n d_n t'),   d_n = d for all, or d (sin(n pi x) / (n sin(pi x)))^2

a_n and l_n are complex: height and phase, decay and what the frequency lies off f_n. The second tone is the string's
other direction of swing, t' the time since the release, lengthened by the glide. A bridge that gives way more in one
direction parts all partials by the same ratio d; the magnet of a pickup at x, a point of negative stiffness, by a ratio
that goes as sin(n pi x)^2 / n^2 (first order, the share of a mode's stiffness energy at a point). Both directions were
let go at the same moment, so psi is about 0; when that was is known to some milliseconds. D is the difference of their
decays, next to nothing for a magnet. The common parameters are few, so a turn of the two against each other far less
than whole is told from a single tone, as far as amplitudes fall exponentially.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

NAMES: dict[str, tuple[str, ...]] = {
    "one": (),
    "alike": ("share", "turn", "loss", "split", "early"),
    "pulled": ("share", "turn", "loss", "split", "early", "place"),
}
LIKELY = {  # before anything is heard: middle and standard uncertainty; common practice, no source
    "share": (-0.8, 0.7),  # ln s
    "turn": (0.0, 0.03),  # rad, psi: both were let go together; when that was, `early` says
    "loss": (0.0, 1.0),  # 1/s, D
    "split": (0.0, 2.5e-3),  # relative, d
    "early": (0.0, 5e-3),  # s, by which the release was earlier than it is heard to be
    "place": (0.2, 0.12),  # of the length, x
}
PULLED_LOSS = 0.05  # 1/s, the standard uncertainty of D where a magnet pulls: it takes no energy
RANGE = {"share": (-6.0, 1.0), "turn": (-8.0, 8.0), "loss": (-8.0, 8.0), "split": (-6e-3, 6e-3), "early": (-0.02, 0.02),
         "place": (0.02, 0.49)}  # fmt: skip
OWN, OWN_SD, OWN_RANGE = 0.25, 0.2, (0.0, 0.55)  # q, see `phases`
SLIGHT = 1e-3  # of the greatest, the least a part of the glide is expected at
BY_LOGS = 2  # first rounds that go by logarithms, which no whole turn leads astray
TRIES = 6  # dampings of one step
LOG_MISFIT = 1e-3  # relative, the least a logarithm is trusted to


@dataclass(frozen=True)
class Parts:
    """The glide, in G parts. A part has several partials in it that fall at rates of their own."""

    shapes: Array  # (G, J) S_g [s]
    own: Array  # (N, J) [s] what of its part is a partial's own
    member: NDArray[np.int64]  # (N) in which part it is
    expected: Array  # (G) k expected, relative
    loose: float  # standard uncertainty of each over its expectation; the common size is free
    left: Array  # (G) share of a part that is left at the last of the times


@dataclass(frozen=True)
class Problem:
    """What is to be explained. N partials, J times."""

    times: Array  # (J) [s] from the start of the part used
    bands: Complex  # (N, J) about `hertz`
    numbers: Array  # (N)
    hertz: Array  # (N) [Hz]
    follows: Array  # (N) c_n
    noise: Array  # (N) variance of one of the two parts of the noise
    misfit: Array  # (N) relative, what the model leaves out, of one part
    parts: Parts
    since: float  # s from the release to the first of the times
    kind: str = "one"
    logs: Complex | None = None  # (N, J) logarithms of the bands, unwrapped
    seen: NDArray[np.bool_] | None = None  # (N, J) where these can be trusted
    slow: int = 1  # times over which noise is correlated


@dataclass(frozen=True)
class State:
    """Where a fit stands."""

    local: Complex  # (N, 2) a_n at the middle of the times, l_n [1/s]
    shared: Array  # (P) k (G), q, then NAMES of the kind


@dataclass(frozen=True)
class Normal:
    """Normal equations: those of every partial by itself, the common ones, and what ties them."""

    own: tuple[Array, Array, Array]  # (N) sums of weight, times t, times t^2
    tie: Array  # (P, N, 4)
    shared: Array  # (P, P)
    pull_own: Array  # (N, 4)
    pull_shared: Array  # (P)
    slopes: Complex  # (P, N, J)
    pulls: Complex  # (N, J) weight times relative residual


def pulled(numbers: Array, place: float) -> tuple[Array, Array]:
    """How much of the first partial's pull by a magnet every partial has.

    Args:
        numbers: (N) of the partials [1].
        place: of the magnet [of the length].
    Returns: (N) [1] and its derivative by the place.
    """
    turn = np.pi * numbers * place
    wave, first = np.sin(turn), np.sin(np.pi * place)
    share = (wave / (numbers * first)) ** 2
    slope = 2.0 * np.pi * (wave * np.cos(turn) / (numbers * first**2) - share * np.cos(np.pi * place) / first)
    return share, slope


def log_model(problem: Problem, state: State) -> Complex:
    """H10 for every partial and time.

    Args:
        problem: what is to be explained.
        state: the parameters.
    Returns: (N, J) logarithm of the bands.
    """
    parts, many = problem.parts, len(problem.parts.expected)
    since_middle = problem.times - problem.times.mean()
    k, q = state.shared[:many], state.shared[many]
    lead = k @ parts.shapes + (q * k[parts.member])[:, None] * parts.own
    turn = 2j * np.pi * (problem.hertz * problem.follows)[:, None]
    log = state.local[:, :1] + state.local[:, 1:] * since_middle + turn * lead
    if problem.kind != "one":
        log = log + np.log1p(second(problem, state)[0])
    return np.asarray(log)


def model(problem: Problem, state: State) -> Complex:
    """H10 itself.

    Args:
        problem: what is to be explained.
        state: the parameters.
    Returns: (N, J).
    """
    log = log_model(problem, state)
    return np.asarray(np.exp(np.minimum(log.real, 50.0) + 1j * log.imag))


def second(problem: Problem, state: State) -> tuple[Complex, Array, Array]:
    """The second tone over the first.

    Args:
        problem: of a kind with two tones.
        state: the parameters.
    Returns: (N, J) v_n; (N) d_n over d, and its derivative by the place.
    """
    two = dict(zip(NAMES[problem.kind], state.shared[len(problem.parts.expected) + 1 :], strict=True))
    late = _late(problem, state)
    if problem.kind == "pulled":
        share, slope = pulled(problem.numbers, two["place"])
    else:
        share, slope = np.ones(len(problem.numbers)), np.zeros(len(problem.numbers))
    turns = (problem.hertz * share * two["split"])[:, None] * late
    over = np.exp(two["share"] - two["loss"] * late + 1j * (two["turn"] + 2.0 * np.pi * turns))
    return np.asarray(over), share, slope


def _late(problem: Problem, state: State) -> Array:
    """(J) time from the release, lengthened by the glide [s]."""
    many = len(problem.parts.expected)
    early = state.shared[many + 1 + NAMES[problem.kind].index("early")]
    return np.asarray(problem.times + problem.since + early + state.shared[:many] @ problem.parts.shapes)


def weights(problem: Problem, bands: Complex) -> Array:
    """One over variance: noise, and what the model leaves out.

    Args:
        problem: what is to be explained.
        bands: (N, J) of the model.
    Returns: (N, J).
    """
    power = np.abs(bands) ** 2
    return np.asarray(1.0 / (problem.noise[:, None] + problem.misfit[:, None] ** 2 * power))


def _slopes(problem: Problem, state: State) -> Complex:
    """(P, N, J) derivative of the logarithm of H10 by every common parameter."""
    parts, many = problem.parts, len(problem.parts.expected)
    k, q = state.shared[:many], state.shared[many]
    turn = 2j * np.pi * problem.hertz * problem.follows
    by = np.empty((len(state.shared), *problem.bands.shape), dtype=np.complex128)
    by[:many] = turn[:, None] * parts.shapes[:, None]
    by[parts.member, np.arange(len(turn))] += (turn * q)[:, None] * parts.own
    by[many] = (turn * k[parts.member])[:, None] * parts.own
    if problem.kind != "one":
        over, share, slope = second(problem, state)
        loss, split = state.shared[many + 3], state.shared[many + 4]
        late = _late(problem, state)
        some = over / (1.0 + over)
        by[many + 1], by[many + 2], by[many + 3] = some, 1j * some, -late * some
        by[many + 4] = 2j * np.pi * (problem.hertz * share)[:, None] * late * some
        by[many + 5] = (2j * np.pi * (problem.hertz * share)[:, None] * split - loss) * some
        by[:many] += by[many + 5] * parts.shapes[:, None]
        if problem.kind == "pulled":
            by[many + 6] = 2j * np.pi * (problem.hertz * slope * split)[:, None] * late * some
    return by


def normal(problem: Problem, state: State, by_logs: bool = False, bands: Complex | None = None) -> Normal:
    """Normal equations of relative residuals.

    Args:
        problem: what is to be explained.
        state: where they are taken.
        by_logs: whether residuals are those of logarithms.
        bands: (N, J) of the model there, where they are at hand.
    Returns: them.
    """
    by = _slopes(problem, state)
    if bands is None:
        bands = model(problem, state)
    if by_logs and problem.logs is not None and problem.seen is not None:
        power = np.where(problem.seen, np.abs(problem.bands), np.abs(bands)) ** 2
        weight = power / (problem.noise[:, None] + np.maximum(problem.misfit, LOG_MISFIT)[:, None] ** 2 * power)
        off = np.where(problem.seen, problem.logs - log_model(problem, state), problem.bands / _some(bands) - 1.0)
    else:
        weight = weights(problem, bands) * np.abs(bands) ** 2
        off = problem.bands / _some(bands) - 1.0
    since = problem.times - problem.times.mean()
    heavy = by * weight
    flat = by.reshape(len(by), -1)
    one, late = heavy.sum(axis=2), heavy @ since
    pulls = weight * off
    return Normal(
        (weight.sum(axis=1), weight @ since, weight @ since**2),
        np.stack([one.real, late.real, one.imag, late.imag], axis=2),
        (heavy.reshape(len(by), -1) @ flat.conj().T).real,
        by_itself(pulls, since),
        (flat.conj() @ pulls.ravel()).real,
        by,
        pulls,
    )


def _some(bands: Complex) -> Complex:
    """The same, nowhere so small that it cannot be divided by."""
    return np.asarray(np.where(np.abs(bands) < 1e-100, 1e-100, bands))


def by_itself(pulls: Complex, since: Array) -> Array:
    """What pulls at a partial's own parameters.

    Args:
        pulls: (N, J) weight times relative residual.
        since: (J) [s] from the middle.
    Returns: (N, 4) height, decay (growth), phase, frequency (as 1/s).
    """
    one, late = pulls.sum(axis=1), pulls @ since
    return np.stack([one.real, late.real, one.imag, late.imag], axis=1)


def prior(problem: Problem) -> tuple[Array, Array]:
    """What is known of the common parameters before.

    Args:
        problem: what is to be explained.
    Returns: (P, P) information, (P) where it pulls to.
    """
    expected = problem.parts.expected
    many, names = len(expected), NAMES[problem.kind]
    out, toward = np.zeros((many + 1 + len(names),) * 2), np.zeros(many + 1 + len(names))
    if many > 1:
        weight = 1.0 / (problem.parts.loose * np.maximum(expected, SLIGHT * expected.max())) ** 2
        pull = weight * expected
        out[:many, :many] = np.diag(weight) - np.outer(pull, pull) / (pull @ expected)
    out[many, many], toward[many] = 1.0 / OWN_SD**2, OWN
    for i, name in enumerate(names, many + 1):
        sd = PULLED_LOSS if (problem.kind, name) == ("pulled", "loss") else LIKELY[name][1]
        toward[i], out[i, i] = LIKELY[name][0], 1.0 / sd**2
    return out, toward


def cost_of(problem: Problem, state: State) -> float:
    """Twice the negative logarithm of how likely the bands are, but for a constant.

    Args:
        problem: what is to be explained.
        state: the parameters.
    Returns: [1].
    """
    bands = model(problem, state)
    weight = weights(problem, bands)
    cost = _off(problem, state, prior(problem), bands, weight) - 2.0 * float(np.log(weight).sum())
    return cost if np.isfinite(cost) else np.inf


def _off(problem: Problem, state: State, before: tuple[Array, Array], bands: Complex, weight: Array) -> float:
    """Squares of what the bands of the model leave over, by given weights, and of what was known before."""
    information, toward = before
    off = state.shared - toward
    with np.errstate(over="ignore", invalid="ignore"):
        cost = float((np.abs(problem.bands - bands) ** 2 * weight).sum() + off @ information @ off)
    return cost if np.isfinite(cost) else np.inf


def _within(problem: Problem, shared: Array) -> Array:
    """Common parameters held within what they can be."""
    many = len(problem.parts.expected)
    shared[many] = np.clip(shared[many], *OWN_RANGE)
    for i, name in enumerate(NAMES[problem.kind], many + 1):
        shared[i] = np.clip(shared[i], *RANGE[name])
    return shared


def _stepped(problem: Problem, state: State, one: Normal, damping: float, before: tuple[Array, Array]) -> State:
    """A damped step of Gauss and Newton; the partials' own parameters are solved for in terms of the common ones."""
    information, toward = before
    shared = one.shared + information
    w0, w1, w2 = one.own
    up = 1.0 + damping
    determinant = np.maximum(w0 * w2 * up * up - w1 * w1, 1e-12 * w0 * w2 + 1e-300)
    i0, i1, i2 = w2 * up / determinant, -w1 / determinant, w0 * up / determinant

    def solved(x: Array) -> Array:
        a, b, c, d = (x[..., i] for i in range(4))
        return np.stack([i0 * a + i1 * b, i1 * a + i2 * b, i0 * c + i1 * d, i1 * c + i2 * d], axis=-1)

    count = len(shared)
    tied = solved(one.tie).reshape(count, -1)
    rest = shared + damping * np.diag(np.diag(shared)) - tied @ one.tie.reshape(count, -1).T
    pull = one.pull_shared - information @ (state.shared - toward) - tied @ one.pull_own.ravel()
    scale = 1.0 / np.sqrt(np.diag(shared) + 1e-300)
    step = scale * np.linalg.solve(rest * np.outer(scale, scale) + 1e-12 * np.eye(count), scale * pull)
    new = _within(problem, state.shared + step)
    local = solved(one.pull_own - np.tensordot(new - state.shared, one.tie, 1))
    return State(state.local + local[:, :2] + 1j * local[:, 2:], new)


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
    bands = model(problem, state)
    for turn in range(rounds):
        one = normal(problem, state, turn < logs, bands)
        weight = weights(problem, bands)  # a step is right for weights that stay
        cost, gained = _off(problem, state, before, bands, weight), 0.0
        for _ in range(TRIES):
            new = _stepped(problem, state, one, damping, before)
            there = model(problem, new)
            less = _off(problem, new, before, there, weight)
            if turn < logs or less <= cost + 1e-9:
                gained = np.inf if turn < logs else cost - less
                state, bands = new, there
                damping = 0.1 * damping if damping > 1e-8 else 0.0
                break
            damping = max(10.0 * damping, 1e-4)
        if gained < enough:
            break
    return state, cost_of(problem, state)
