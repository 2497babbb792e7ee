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
class There:
    """The model at a state. over and late: where there are two tones."""

    bands: Complex  # (N, J) H10
    over: Complex  # (N, J) v_n
    late: Array  # (J) t' [s]


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
    log = _first_tone(problem, state)
    if problem.kind != "one":
        log = log + np.log1p(second(problem, state)[0])
    return log


def _first_tone(problem: Problem, state: State) -> Complex:
    """(N, J) logarithm of the first tone."""
    parts, many = problem.parts, len(problem.parts.expected)
    k, q = state.shared[:many], state.shared[many]
    lead = k @ parts.shapes + (q * k[parts.member])[:, None] * parts.own
    turn = 2.0 * np.pi * problem.hertz * problem.follows
    log = state.local[:, 1:] * (problem.times - problem.times.mean())
    log += state.local[:, :1]
    log.imag += turn[:, None] * lead
    return np.asarray(log)


def there(problem: Problem, state: State) -> There:
    """H10 itself, and the second tone it was made with.

    Args:
        problem: what is to be explained.
        state: the parameters.
    Returns: the model there.
    """
    log = _first_tone(problem, state)
    np.minimum(log.real, 50.0, out=log.real)
    bands = np.exp(log)
    if problem.kind == "one":
        return There(bands, np.empty((0, 0), dtype=np.complex128), np.empty(0))
    over = second(problem, state)[0]
    return There(bands * (1.0 + over), over, _late(problem, state))


def model(problem: Problem, state: State) -> Complex:
    """H10 itself.

    Args:
        problem: what is to be explained.
        state: the parameters.
    Returns: (N, J).
    """
    return there(problem, state).bands


def second(problem: Problem, state: State) -> tuple[Complex, Array, Array]:
    """The second tone over the first.

    Args:
        problem: of a kind with two tones.
        state: the parameters.
    Returns: (N, J) v_n; (N) d_n over d, and its derivative by the place.
    """
    two = dict(zip(NAMES[problem.kind], state.shared[len(problem.parts.expected) + 1 :], strict=True))
    late = _late(problem, state)
    share, slope = shares_of(problem, state)
    turns = (problem.hertz * share * two["split"])[:, None] * late
    over = np.exp(two["share"] - two["loss"] * late + 1j * (two["turn"] + 2.0 * np.pi * turns))
    return np.asarray(over), share, slope


def shares_of(problem: Problem, state: State) -> tuple[Array, Array]:
    """How far the tones of every partial lie apart.

    Args:
        problem: of a kind with two tones.
        state: the parameters.
    Returns: (N) d_n over d, and its derivative by the place.
    """
    if problem.kind == "pulled":
        return pulled(problem.numbers, float(state.shared[-1]))
    return np.ones(len(problem.numbers)), np.zeros(len(problem.numbers))


def _late(problem: Problem, state: State) -> Array:
    """(J) time from the release, lengthened by the glide [s]."""
    many = len(problem.parts.expected)
    early = state.shared[many + 1 + NAMES[problem.kind].index("early")]
    return np.asarray(problem.times + problem.since + early + state.shared[:many] @ problem.parts.shapes)


def power(bands: Complex) -> Array:
    """What bands carry.

    Args:
        bands: (N, J).
    Returns: (N, J) their squares.
    """
    return np.asarray(bands.real**2 + bands.imag**2)


def weights(problem: Problem, bands: Complex) -> Array:
    """One over variance: noise, and what the model leaves out.

    Args:
        problem: what is to be explained.
        bands: (N, J) of the model.
    Returns: (N, J).
    """
    return np.asarray(1.0 / (problem.noise[:, None] + problem.misfit[:, None] ** 2 * power(bands)))


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
