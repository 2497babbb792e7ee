"""The way there: in which order and to which pitches the strings are set, and how many tunings that takes.

The unstretched length of every string is fixed by the wanted end state, so each string can be set once to a predicted
interim pitch and all land together. What the state is after some strings have been set depends only on which, not on
the order: 2**S states serve all orders, and the order with the lowest peak is a shortest path through them.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from setwright.frozen import frozen
from setwright.instrument.geometry import build_rig, claw_axis, edge_gap, tilt_for_gap, with_lengths
from setwright.instrument.predict import tune_at
from setwright.instrument.prior import vary
from setwright.instrument.settings import Settings
from setwright.instrument.traits import Array, Mask, Traits
from setwright.physics.balance import (
    Equilibrium,
    Rig,
    claw_for_tilt,
    equilibrium,
    pegs_fixed,
    pitches,
    repeat,
    settled_at,
    unstretched_lengths,
)
from setwright.physics.pitch import cents
from setwright.planning.found import found_tilt
from setwright.planning.solve import as_batch
from setwright.planning.targets import Problem
from setwright.telling import Tell, each, untold, within

HEARD = 0.3  # cents, standard uncertainty of a heard pitch
FINEST = 1 / 32  # turn, as finely as a claw screw can be set while listening; common practice, no source
LEAD = 2  # index of the string listened to while the claw comes to rest
WORST = -9000.0  # cents, a slack string
SILENT = 1.0  # Hz, below which a string hangs slack


@frozen
class Path:
    """An order of strings and the pitches to set them to."""

    order: tuple[int, ...]  # 0 = thinnest
    hertz: tuple[float, ...]
    peak: float  # cents over its final pitch that any string reaches
    stress: float  # largest share of a breaking load


@frozen
class Outcome:
    """What following a path gives over n instruments that this one may be."""

    traits: Traits  # (n) the instruments
    settings: Settings  # (n) as left after the first round, claw and pegs included
    rest: Equilibrium  # (n) state of rest with these pegs
    gap: Array  # (n) m
    off: Array  # (n, S) cents from the wanted pitch
    good: Mask  # (n) inside gap and pitch tolerances after the first round
    touched: Array  # (n) strings touched up after it
    again: Mask  # (n) inside after the touching up
    claw_settings: float

    @property
    def first(self) -> float:
        """Share inside the tolerances after the first round."""
        return float(self.good.mean())

    @property
    def second(self) -> float:
        """Share inside after touching up the strings that were off."""
        return float(self.again.mean())

    @property
    def tunings(self) -> float:
        """Expected tunings; who is still outside goes round once more with every string."""
        count = self.off.shape[1]
        return float(count + self.touched.mean() + count * (1.0 - self.again.mean()))


def over(hertz: Array, wanted: Array) -> Array:
    """Cents above the wanted pitch; very low where a string is slack.

    Args:
        hertz: (..., S) [Hz], 0 when slack.
        wanted: (S) [Hz].
    Returns: (..., S) [cents].
    """
    heard = hertz > SILENT
    return np.where(heard, cents(np.where(heard, hertz, 1.0), wanted), WORST)


def path(problem: Problem, settings: Settings, start: Array) -> Path:
    """Order with the lowest peak, and its interim pitches, from given pegs to the settings' own.

    Args:
        problem: the job; the most likely wanted instrument is used.
        settings: unbatched, pegs as they shall end, wedge as it is while tuning.
        start: (S) unstretched lengths before, as in settings; nan where the string is slack or not on [m].
    Returns: the path.
    """
    traits, wanted = problem.wanted, problem.targets.hertz
    count = traits.string_count
    subsets = (np.arange(2**count)[:, None] >> np.arange(count)) & 1
    rig, before = build_rig(traits, settings), build_rig(traits, replace(settings, unstretched=start)).unstretched
    rig = pegs_fixed(repeat(rig, 2**count), np.where(subsets == 1, rig.unstretched, before))
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
    """Order of strings whose worst moment, the start included, is lowest; among equals the thinnest string first."""
    full = 2**count - 1
    best = np.full(2**count, np.inf)
    last = np.full(2**count, -1)
    best[0] = peak[0]
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


@frozen
class Hand:
    """How a way is gone: wedge, first claw setting, pegs before, and whether the claw is brought to rest by ear."""

    prop: float  # m, rear gap of the wedge while tuning; nan: none
    claw: Array  # (2) m, while tuning
    start: Array  # (S) m, pegs before, as in settings
    by_ear: bool  # after tuning the claw is turned until string LEAD sounds as wanted


def turned_out(problem: Problem, settings: Settings, deviations: Array) -> tuple[Traits, Settings]:
    """The hardware of a plan on n instruments that this one may be.

    Args:
        problem: the job.
        settings: unbatched end state.
        deviations: (n, P) of the instruments.
    Returns: the instruments and their settings. The rod is turned until the relief reads as it should, so that a
        stiffer neck gets more turns.
    """
    traits = vary(problem.wanted, problem.known, deviations, wanted=True)
    many = as_batch(settings, len(deviations))
    return traits, replace(many, rod=settings.rod * traits.neck.bending / problem.wanted.neck.bending)


def practise(
    problem: Problem, settings: Settings, hand: Hand, way: Path, deviations: Array, seed: int, tell: Tell = untold
) -> Outcome:
    """Follow a way on n instruments: tune along the path, bring the claw to rest, touch up what is off.

    Args:
        problem: the job.
        settings: unbatched end state.
        hand: how the way is gone.
        way: order and pitches.
        deviations: (n, P) of the instruments.
        seed: of hand and ear [1].
        tell: takes the share of the work that is done.
    Returns: the outcome.
    """
    rng = np.random.default_rng(seed)
    n, wanted = len(deviations), problem.targets.hertz
    traits, many = turned_out(problem, settings, deviations)
    many = replace(many, claw=np.tile(hand.claw, (n, 1)), prop=np.full(n, hand.prop))
    rig = build_rig(traits, replace(many, unstretched=_pegs_before(problem, hand, deviations)))
    pegs = rig.unstretched
    strings = list(zip(way.order, way.hertz, strict=True))
    for (string, hertz), _ in each(within(tell, 0.0, 0.5), strings):
        slip = problem.limits.tuner_error * rng.standard_normal(n)
        _, pegs = _hold(rig, pegs, string, hertz * 2.0 ** (slip / 1200.0))
    many = replace(many, prop=np.full(n, np.nan))
    tell(0.5)
    if hand.by_ear:
        many = _claw_by_ear(problem, traits, many, pegs, hand, rng)
    tell(0.6)
    rig = build_rig(traits, many)
    rest = equilibrium(
        pegs_fixed(rig, pegs), start=tilt_for_gap(traits, many, np.asarray(_gap_goal(problem, settings)))
    )
    gap = edge_gap(traits, many, rest.tilt).mean(axis=-1)
    off = over(pitches(pegs_fixed(rig, pegs), rest), wanted)
    goal = _gap_goal(problem, settings)
    good = _inside(problem, gap - goal, off)
    touched, again = _touch_up(problem, traits, many, pegs, off, good, goal, rng, within(tell, 0.65, 1.0))
    settled = with_lengths(traits, many, pegs)
    return Outcome(traits, settled, rest, gap, off, good, touched, again, 2.0 if hand.by_ear else 1.0)


def _pegs_before(problem: Problem, hand: Hand, deviations: Array) -> Array:
    """Pegs of every instrument before tuning, as in settings: at the found pitches; nan where strings start slack."""
    found = problem.found
    if np.isnan(hand.start).any() or found.hertz is None:
        return np.tile(hand.start, (len(deviations), 1))
    traits = vary(problem.traits, problem.known, deviations)
    settings = as_batch(found.settings, len(deviations))
    return tune_at(traits, settings, found.hertz, found_tilt(traits, settings, problem)).settings.unstretched


def _gap_goal(problem: Problem, settings: Settings) -> float:
    if problem.targets.gap is not None and problem.targets.mode == "floating":
        return problem.targets.gap
    rest = equilibrium(build_rig(problem.wanted, settings))
    return float(edge_gap(problem.wanted, settings, rest.tilt).mean())


def _claw_by_ear(
    problem: Problem, traits: Traits, many: Settings, pegs: Array, hand: Hand, rng: np.random.Generator
) -> Settings:
    """Turn the claw until the leading string sounds as wanted, as finely as a hand and an ear can."""
    lead = _lead(problem)
    rig = pegs_fixed(build_rig(traits, many), pegs)
    wanted = problem.targets.hertz[lead] * 2.0 ** (HEARD * rng.standard_normal(len(pegs)) / 1200.0)
    tilt = tilt_for_gap(traits, many, np.full(len(pegs), hand.prop))
    for _ in range(6):  # secant on the tilt at which the leading string sounds as wanted, pegs fixed
        ahead = 1e-4
        now = np.maximum(pitches(rig, settled_at(rig, tilt))[:, lead], 1.0)
        then = np.maximum(pitches(rig, settled_at(rig, tilt + ahead))[:, lead], 1.0)
        slope = np.minimum((then - now) / ahead, -1.0)
        tilt = tilt + np.clip((wanted - now) / slope, -0.02, 0.02)
    tilt = np.clip(tilt, rig.tilt_low, rig.tilt_high)
    axis_x, axis_y = (np.broadcast_to(np.asarray(a)[..., None], rig.claw_x.shape) for a in claw_axis(traits))
    shift = claw_for_tilt(rig, tilt, axis_x, axis_y).shift
    finest = FINEST * np.asarray(traits.claw.lead)
    slip = finest * rng.uniform(-0.5, 0.5, len(pegs))
    claw = np.clip(many.claw + (shift + slip)[:, None], *traits.claw.travel)
    return replace(many, claw=claw)


def _lead(problem: Problem) -> int:
    """String that answers the plate most: its pitch shows the claw best."""
    return min(LEAD, problem.wanted.string_count - 1)


def _inside(problem: Problem, gap_error: Array, off: Array) -> Mask:
    fits = np.asarray((np.abs(off) <= problem.targets.pitch_tolerance).all(axis=1))
    if problem.targets.mode == "floating":
        fits = fits & (np.abs(gap_error) <= problem.targets.gap_tolerance)
    return fits


def _touch_up(
    problem: Problem,
    traits: Traits,
    many: Settings,
    pegs: Array,
    off: Array,
    good: Mask,
    goal: float,
    rng: np.random.Generator,
    tell: Tell,
) -> tuple[Array, Mask]:
    """Set once more every string that is off by more than half the tolerance, on the instruments that need it."""
    wanted = problem.targets.hertz
    rig = build_rig(traits, many)
    poor = ~good[:, None] & (np.abs(off) > 0.5 * problem.targets.pitch_tolerance)
    for string, _ in each(tell, range(len(wanted))[::-1]):
        slip = problem.limits.tuner_error * rng.standard_normal(len(good))
        _, tuned = _hold(rig, pegs, string, wanted[string] * 2.0 ** (slip / 1200.0))
        pegs = np.where(poor[:, string, None], tuned, pegs)
    fixed = pegs_fixed(rig, pegs)
    rest = equilibrium(fixed, start=tilt_for_gap(traits, many, np.full(len(good), goal)))
    gap = edge_gap(traits, many, rest.tilt).mean(axis=-1)
    return poor.sum(axis=1), good | _inside(problem, gap - goal, over(pitches(fixed, rest), wanted))
