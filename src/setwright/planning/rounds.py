"""The way there: in which order and to which pitches the strings are set, and how many tunings that takes.

The unstretched length of every string is fixed by the wanted end state, so each string can be set once to a predicted
interim pitch and all land together. What the state is after some strings have been set depends only on which, not on the
order: 2**S states serve all orders, and the order with the lowest peak is a shortest path through them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from setwright.instrument.geometry import build_rig, edge_gap, tilt_for_gap
from setwright.instrument.predict import balance_at, tune, tune_at
from setwright.instrument.prior import draw, vary
from setwright.instrument.settings import Settings
from setwright.instrument.traits import Array, Traits
from setwright.physics.balance import (
    Equilibrium,
    Rig,
    equilibrium,
    pegs_fixed,
    pitches,
    repeat,
    unstretched_lengths,
)
from setwright.physics.pitch import cents
from setwright.planning.solve import as_batch
from setwright.planning.targets import Problem

HEARD = 0.3  # cents, standard uncertainty of a heard pitch
GAUGED = 0.05e-3  # m, of a read gap
WORST = -9000.0  # cents, a slack string


@dataclass(frozen=True)
class Path:
    """An order of strings and the pitches to set them to."""

    order: tuple[int, ...]  # 0 = thinnest
    hertz: tuple[float, ...]
    peak: float  # cents over its final pitch that any string reaches
    stress: float  # largest share of a breaking load


@dataclass(frozen=True)
class Outcome:
    """What following a path gives over many instruments that this one may be."""

    tunings: float
    claw_settings: float
    first: float  # share inside every tolerance after the first round
    second: float
    gap_error: Array  # (n) m after the first round
    pitch_error: Array  # (n, S) cents after the first round


def over(hertz: Array, wanted: Array) -> Array:
    """Cents above the wanted pitch; very low where a string is slack.

    Args:
        hertz: (..., S) [Hz], 0 when slack.
        wanted: (S) [Hz].
    Returns: (..., S) [cents].
    """
    heard = hertz > 0.0
    return np.where(heard, cents(np.where(heard, hertz, 1.0), wanted), WORST)


def path(problem: Problem, settings: Settings, start: Array) -> Path:
    """Order with the lowest peak, and its interim pitches, from given pegs to the settings' own.

    Args:
        problem: the job; the most likely wanted instrument is used.
        settings: unbatched, pegs as they shall end, wedge as it is while tuning.
        start: (S) unstretched lengths before; nan where the string is slack or not on [m].
    Returns: the path.
    """
    traits, wanted = problem.wanted, problem.targets.hertz
    count = traits.string_count
    subsets = (np.arange(2**count)[:, None] >> np.arange(count)) & 1
    rig = repeat(build_rig(traits, settings), 2**count)
    rig = pegs_fixed(rig, np.where(subsets == 1, settings.unstretched, start))
    state = equilibrium(rig)
    heard = pitches(rig, state)
    peak = over(heard, wanted).max(axis=1)
    order, high = _lowest_peak(peak, count)
    hertz, seen, now = [], [0], 0
    for string in order:
        now |= 1 << string
        seen.append(now)
        hertz.append(float(heard[now, string]))
    load = (state.tension / traits.strings.breaking)[seen].max()
    return Path(tuple(order), tuple(hertz), high, float(load))


def _lowest_peak(peak: Array, count: int) -> tuple[list[int], float]:
    """Order of strings whose worst moment is lowest; among equals the thickest string first."""
    full = 2**count - 1
    best = np.full(2**count, np.inf)
    last = np.full(2**count, -1)
    best[0] = -np.inf
    for subset in range(1, 2**count):
        for string in range(count):
            if subset >> string & 1:
                value = max(best[subset ^ (1 << string)], peak[subset])
                if value <= best[subset]:
                    best[subset], last[subset] = value, string
    order, at = [], full
    while at:
        order.append(int(last[at]))
        at ^= 1 << int(last[at])
    return order[::-1], float(best[full])


def _hold(rig: Rig, pegs: Array, string: int, hertz: Array) -> tuple[Equilibrium, Array]:
    """A person turns one peg until its string sounds as wanted; the others stay. Returns state and all pegs."""
    held = pegs.copy()
    held[:, string] = np.nan
    tuned = replace(pegs_fixed(rig, held), hertz=_only(pegs.shape, string, hertz))
    state = equilibrium(tuned)
    pegs = pegs.copy()
    pegs[:, string] = unstretched_lengths(tuned, state)[:, string]
    return state, pegs


def _only(shape: tuple[int, ...], string: int, hertz: Array) -> Array:
    out = np.full(shape, np.nan)
    out[:, string] = hertz
    return out


def practise(
    problem: Problem, settings: Settings, prop: float, start: Array, way: Path, samples: int, seed: int
) -> Outcome:
    """Follow a path on instruments drawn from what is known, learn from gap and pitches, correct once, and count.

    Args:
        problem: the job.
        settings: unbatched end state, no wedge.
        prop: rear gap of the wedge while tuning, nan without [m].
        start: (S) pegs before [m].
        way: the path.
        samples: number of instruments n [1].
        seed: of the randomness [1].
    Returns: the outcome.
    """
    rng = np.random.default_rng(seed)
    deviations = draw(problem.known, samples, rng)
    traits = vary(problem.wanted, problem.known, deviations, wanted=True)
    wanted = problem.targets.hertz
    many = as_batch(settings, samples)
    rig = build_rig(traits, replace(many, prop=np.full(samples, prop)))
    pegs = np.tile(start, (samples, 1))
    for string, hertz in zip(way.order, way.hertz, strict=True):
        slip = problem.limits.tuner_error * rng.standard_normal(samples)
        _, pegs = _hold(rig, pegs, string, hertz * 2.0 ** (slip / 1200.0))
    free = pegs_fixed(build_rig(traits, many), pegs)
    state = equilibrium(free)
    gap, out = _reads(traits, many, free, state, wanted)
    goal = _goal(problem, settings)
    good = _inside(problem, gap - goal, out)
    if problem.targets.mode != "floating":
        again = np.ones_like(good)  # nothing moves but the neck: a touch on the pegs ends it
    elif good.all():
        again = good
    else:
        again = _correct(problem, many, deviations, pegs, gap, out, rng)
    second = good | again
    rounds = float(1.0 + np.mean(~good) + np.mean(~second))
    return Outcome(len(wanted) * rounds, rounds, float(good.mean()), float(second.mean()), gap - goal, out)


def _goal(problem: Problem, settings: Settings) -> float:
    tilt = equilibrium(pegs_fixed(build_rig(problem.wanted, settings), settings.unstretched)).tilt
    if problem.targets.gap is not None and problem.targets.mode == "floating":
        return problem.targets.gap
    return float(edge_gap(problem.wanted, settings, tilt).mean())


def _reads(traits: Traits, settings: Settings, rig: Rig, state: Equilibrium, wanted: Array) -> tuple[Array, Array]:
    return edge_gap(traits, settings, state.tilt).mean(axis=-1), over(pitches(rig, state), wanted)


def _inside(problem: Problem, gap_error: Array, out: Array) -> Array:
    fits = (np.abs(out) <= problem.targets.pitch_tolerance).all(axis=1)
    if problem.targets.mode == "floating":
        fits &= np.abs(gap_error) <= problem.targets.gap_tolerance
    return np.asarray(fits)


def _correct(
    problem: Problem, settings: Settings, deviations: Array, pegs: Array, gap: Array, out: Array,
    rng: np.random.Generator,
) -> Array:
    """A second round: learn by regression over the ensemble, set the claw once more, set each string once more."""
    wanted = problem.targets.hertz
    n = len(gap)
    truth = vary(problem.wanted, problem.known, deviations, wanted=True)
    read = np.column_stack([gap + GAUGED * rng.standard_normal(n), out + HEARD * rng.standard_normal(out.shape)])
    steady = (read[:, 1:] > WORST / 2).all(axis=1)
    if np.count_nonzero(steady) < 3 * read.shape[1]:
        return np.zeros(n, dtype=bool)
    centred, shift = read - read[steady].mean(axis=0), deviations - deviations[steady].mean(axis=0)
    gain = np.linalg.lstsq(centred[steady], shift[steady], rcond=1e-9)[0]
    believed = deviations[steady].mean(axis=0) + np.where(steady[:, None], centred, 0.0) @ gain
    guess = vary(problem.wanted, problem.known, believed, wanted=True)
    goal = problem.targets.gap if problem.targets.gap is not None else float(np.mean(gap))
    heard = np.where(steady[:, None], wanted * 2.0 ** (read[:, 1:] / 1200.0), wanted)
    seen = tune_at(guess, settings, heard, tilt_for_gap(guess, settings, read[:, 0]))
    ends = balance_at(guess, settings, wanted, tilt_for_gap(guess, settings, np.full(n, goal)))
    step = problem.limits.claw_step * float(problem.wanted.claw.lead)
    turned = settings.claw + np.round((ends.settings.claw - settings.claw) / step) * step
    moved = replace(settings, claw=turned)
    final_pegs = tune(guess, moved, wanted, start=ends.state.tilt).settings.unstretched
    plan_rig, true_rig = build_rig(guess, moved), build_rig(truth, moved)
    planned, real = seen.settings.unstretched, pegs
    for string in range(len(wanted))[::-1]:
        planned = planned.copy()
        planned[:, string] = final_pegs[:, string]
        fixed = pegs_fixed(plan_rig, planned)
        heard_at = np.maximum(pitches(fixed, equilibrium(fixed))[:, string], 20.0)
        slip = problem.limits.tuner_error * rng.standard_normal(n)
        _, real = _hold(true_rig, real, string, heard_at * 2.0 ** (slip / 1200.0))
    free = pegs_fixed(true_rig, real)
    gap2, out2 = _reads(truth, moved, free, equilibrium(free), wanted)
    return _inside(problem, gap2 - goal, out2) & steady
