"""Which branches of the search hold, which fail and why, and in which order the good ones stand."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from setwright.instrument.geometry import build_rig, edge_gap
from setwright.instrument.predict import tune
from setwright.instrument.settings import Settings
from setwright.instrument.traits import Array
from setwright.physics.balance import Equilibrium
from setwright.planning.choices import MINUTES, Choice
from setwright.planning.plan import Rejected
from setwright.planning.solve import Solved, one_of, up_bend_at
from setwright.planning.targets import Problem, Shim

STABLE = 0.5  # N m/rad, least stiffness with every string retuned that still counts as standing
LEAN = 0.05  # rad, a lean of the plate that counts as much as a saddle at the end of its room
NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight")


@dataclass(frozen=True)
class Branch:
    """One branch that holds."""

    choice: Choice
    label: str
    settings: Settings  # unbatched, rounded to what a hand can set, pegs at pitch
    tilt: float
    state: Equilibrium  # unbatched index kept as a batch of one
    minutes: float
    claw_step: float
    wanted_heights: Array | None


def label(problem: Problem, choice: Choice) -> str:
    """Name of a branch in the trade's words, lengths left to the faces as metres in braces.

    Args:
        problem: the job.
        choice: the branch.
    Returns: e.g. "strip shim {0.000508}, 3 springs, pivots moved".
    """
    parts = [_pocket(problem.found.shims, choice.shims)]
    if problem.traits.bridge.knife_edge:
        parts.append(f"{choice.springs} springs" if choice.springs != 1 else "1 spring")
        parts.append("pivots moved" if choice.pivots else "pivots as found")
    return ", ".join(parts)


def _pocket(found: tuple[Shim, ...], shims: tuple[Shim, ...]) -> str:
    if shims == found:
        return "pocket as found"
    if not shims:
        return "shims taken out"
    names = [f"{s.kind} shim {{{s.thickness:.6f}}}" for s in shims]
    return " and ".join(names)


def weigh(problem: Problem, branches: list[Choice], solved: Solved, step: float) -> tuple[list[Branch], list[Rejected]]:
    """Split the solved branches into those that hold, best first, and those that fail, nearest miss first.

    Args:
        problem: the job as found.
        branches: C choices.
        solved: their rounded solution.
        step: of the claw [turns].
    Returns: the good branches and the rejected ones.
    """
    faults = _faults(problem, branches, solved)
    good, bad = [], []
    for i, choice in enumerate(branches):
        name = label(problem, choice)
        mine = [(float(miss[i]), text(i)) for miss, text in faults if miss[i] > 0.0]
        if mine:
            worst = max(mine)
            bad.append(Rejected(name, worst[1], worst[0]))
            continue
        good.append(_branch(problem, choice, name, one_of(solved.settings, i), solved, i, step))
    good.sort(key=lambda b: (b.minutes, _off_centre(problem, b)))
    bad.sort(key=lambda r: r.miss)
    return good, bad


def _branch(
    problem: Problem, choice: Choice, name: str, settings: Settings, solved: Solved, i: int, step: float
) -> Branch:
    tuned = tune(problem.wanted, settings, problem.targets.hertz, start=float(solved.tilt[i]))
    found = problem.found.settings
    saddles = int(np.count_nonzero(np.abs(settings.saddle_rise - found.saddle_rise) > 1e-9))
    minutes = choice.minutes(problem) + MINUTES["saddle"] * saddles
    minutes += MINUTES["claw"] if np.any(np.abs(settings.claw - found.claw) > 1e-9) else 0.0
    goal = None if solved.wanted_heights is None else solved.wanted_heights[i]
    return Branch(choice, name, tuned.settings, float(tuned.state.tilt[0]), tuned.state, minutes, step, goal)


def _off_centre(problem: Problem, branch: Branch) -> float:
    """How far saddles, claw and plate stand from the middle of their room, as shares."""
    b, claw = problem.wanted.bridge, problem.wanted.claw
    saddles = np.abs(branch.settings.saddle_rise - b.height_range.mean(axis=-1)) / np.ptp(b.height_range, axis=-1)
    out = float(saddles.mean())
    if b.knife_edge:
        out += abs(branch.tilt) / LEAN
        out += float(abs(branch.settings.claw.mean() - claw.travel.mean()) / np.ptp(claw.travel))
    return out


def _faults(problem: Problem, branches: list[Choice], solved: Solved):  # type: ignore[no-untyped-def]
    """Pairs of (C) misses, in units of what is allowed, and the sentence for member i."""
    traits, targets, s = problem.wanted, problem.targets, solved.settings
    b = traits.bridge
    faults = []
    low = b.height_range[..., 0] - s.saddle_rise
    high = s.saddle_rise - b.height_range[..., 1]
    slack = 1e-6
    faults.append((_above(low.max(axis=1) - slack, 1e-3), lambda i: _saddle(low[i], "bottom", "lower")))
    faults.append((_above(high.max(axis=1) - slack, 1e-3), lambda i: _saddle(high[i], "top", "raise")))
    load = (solved.state.tension / traits.strings.breaking).max(axis=1)
    string = (solved.state.tension / traits.strings.breaking).argmax(axis=1)
    limit = problem.limits.stress
    faults.append(
        (_above(load - limit, 0.05), lambda i: f"string {string[i] + 1} at pitch carries {load[i]:.0%} of its breaking "
         f"load, more than the {limit:.0%} allowed: a thinner string or a lower pitch is needed")
    )  # fmt: skip
    if targets.heights is not None and solved.wanted_heights is not None:
        faults.append(_height_fault(problem, solved))
    if b.knife_edge and targets.mode != "fixed":
        faults += _balance_faults(problem, branches, solved)
    return faults


def _above(value: Array, unit: float) -> Array:
    return np.asarray(np.maximum(value, 0.0) / unit)


def _saddle(miss: Array, end: str, verb: str) -> str:
    string = int(np.argmax(miss))
    others = int(np.count_nonzero(miss > 1e-6)) - 1
    more = f" (and {others} more)" if others else ""
    return f"saddle of string {string + 1}{more} is at its {end} {{{miss[string]:.6f}}} short of the wanted height"


def _height_fault(problem: Problem, solved: Solved):  # type: ignore[no-untyped-def]
    from setwright.instrument.predict import string_heights

    t = problem.targets
    got = string_heights(problem.wanted, solved.settings, solved.tilt, solved.state.bow, (t.height_fret,))[..., 0]
    off = np.abs(got - solved.wanted_heights).max(axis=1) - t.height_tolerance
    return _above(off, t.height_tolerance), lambda i: "the screws cannot be set finely enough for the wanted heights"


def _balance_faults(problem: Problem, branches: list[Choice], solved: Solved):  # type: ignore[no-untyped-def]
    traits, targets, s = problem.wanted, problem.targets, solved.settings
    claw = traits.claw
    faults = []
    near, far = claw.travel[0] - s.claw.min(axis=1), s.claw.max(axis=1) - claw.travel[1]

    def count(i: int) -> str:
        n = branches[i].springs
        return f"{NUMBERS[n]} spring{'s' if n != 1 else ''}"

    if targets.mode != "blocked":
        faults.append(
            (np.where(solved.reached, 0.0, 1e3), lambda i: f"{count(i)} cannot balance this set at any claw position")
        )
        faults.append(
            (np.where(solved.reached, _above(near, 1e-3), 0.0), lambda i: f"{count(i)} cannot hold this set there: claw at "
             f"its inner end, {{{near[i]:.6f}}} short; more or stronger springs, or lighter strings, would")
        )  # fmt: skip
        faults.append(
            (np.where(solved.reached, _above(far, 1e-3), 0.0), lambda i: f"{count(i)} pull too hard for this set: claw would "
             f"stand {{{far[i]:.6f}}} beyond the end of its screws; fewer or softer springs would do")
        )  # fmt: skip
        pull, closed = _spring_states(problem, s, solved.tilt)
        shut = (closed & (s.springs > 0)).any(axis=1)
        faults.append((np.where(shut & solved.reached, 1.0, 0.0), lambda i: f"{count(i)} would hang closed at rest, where a "
                       "spring is stiff or slack and the bar has no travel"))  # fmt: skip
    if targets.mode == "floating":
        k = solved.state.stiffness
        faults.append(
            (_above(STABLE - k, 1.0), lambda i: f"{count(i)} let the plate run away on retuning (stiffness brought back to "
             f"pitch {k[i]:+.1f} N m/rad, must be above {STABLE:.1f}): every string brought up lets the rest fall further")
        )  # fmt: skip
        b = traits.bridge
        if targets.gap is not None:
            gap = edge_gap(traits, s, solved.tilt).mean(axis=-1)
            off = np.abs(gap - targets.gap) - targets.gap_tolerance
            faults.append((_above(off, 1e-3), lambda i: f"the plate's stops keep the rear gap at {{{gap[i]:.6f}}}"))
        if targets.level and targets.gap is not None:
            lean = np.abs(edge_gap(traits, s, solved.tilt) - edge_gap(traits, s, 0.0 * solved.tilt)).max(axis=1)
            faults.append((_above(lean - targets.gap_tolerance, 1e-3), lambda i: "a level plate cannot have this rear gap "
                           "with the pivots where they are"))  # fmt: skip
        del b
    if targets.up_bend is not None:
        bend = targets.up_bend
        up = up_bend_at(traits, s, targets.hertz, solved.tilt, bend.string)
        short = bend.cents - targets.up_bend_tolerance - up
        faults.append(
            (_above(short, 50.0), lambda i: f"the plate meets the body after {up[i]:.0f} c of string {bend.string + 1}, "
             f"wanted {bend.cents:.0f} c: a larger rear gap or higher pivots would do")
        )  # fmt: skip
    return faults


def _spring_states(problem: Problem, settings: Settings, tilt: Array) -> tuple[Array, Array]:
    """Span of every spring over its closed length (C, K), and whether it is closed."""
    rig = build_rig(problem.wanted, settings)
    cos, sin = np.cos(tilt)[:, None], np.sin(tilt)[:, None]
    x = rig.claw_x - (rig.hook_aft * cos - rig.hook_up * sin)
    y = rig.claw_y - (rig.hook_aft * sin + rig.hook_up * cos)
    over = np.sqrt(x * x + y * y + rig.slant**2) - rig.free
    return over, over < 0.0
