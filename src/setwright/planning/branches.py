"""Which branches of the search hold, which fail and why, and in which order the good ones stand."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from setwright.frozen import frozen
from setwright.instrument.geometry import build_rig, edge_gap
from setwright.instrument.predict import string_heights, tune, tune_at
from setwright.instrument.settings import Settings
from setwright.instrument.strokes import height_at, least_clearance, saddle_rise_to_clear
from setwright.instrument.traits import Array, Mask
from setwright.physics.balance import Equilibrium
from setwright.physics.pitch import CENTS_PER_LOG
from setwright.planning.choices import MINUTES, Choice
from setwright.planning.clean import wanted_strokes
from setwright.planning.found import found_tilt
from setwright.planning.octave import octave_errors
from setwright.planning.plan import Rejected
from setwright.planning.solve import Solved, one_of, up_bend_at
from setwright.planning.targets import Problem, Shim

STABLE = 0.5  # N m/rad, least stiffness with every string retuned that still counts as standing
LEAN = 0.05  # rad, a lean of the plate that counts as much as a saddle at the end of its room
NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight")
LEAN_MINUTES = 20.0  # price of a lean of LEAN
MOST_ROD = 0.5  # turns of a truss rod in one visit; common practice, no source
A_HAIR = 1e-6  # m, beyond a stop that is still at it


@frozen
class Branch:
    """One branch that holds."""

    choice: Choice
    label: str
    settings: Settings  # unbatched, as hands can set it, pegs at pitch
    tilt: float  # rad, at rest
    state: Equilibrium  # a batch of one, strings at pitch
    minutes: float
    claw_step: float  # turns
    wanted_heights: Array | None  # (S) m


@frozen
class Fault:
    """One thing that may be wrong with each of C branches."""

    miss: Array  # (C) by how much, in units of what matters; not above zero: nothing wrong
    say: Callable[[int], str]  # the sentence for branch i


def weigh(
    problem: Problem, branches: list[Choice], solved: Solved, step: float, most: int
) -> tuple[list[Branch], list[Rejected]]:
    """Split the solved branches into those that hold, best first, and those that fail, nearest miss first.

    Args:
        problem: the job as found.
        branches: C choices.
        solved: their rounded solution.
        step: of the claw [turns].
        most: how many good ones are wanted [1].
    Returns: the good branches and the rejected ones.
    """
    faults = _faults(problem, branches, solved)
    good, bad = [], []
    for i, choice in enumerate(branches):
        mine = [(float(fault.miss[i]), fault) for fault in faults if fault.miss[i] > 0.0]
        if mine:
            miss, worst = max(mine, key=lambda pair: pair[0])
            bad.append(Rejected(label(problem, choice), worst.say(i), miss))
        else:
            cost = _minutes(problem, choice, solved, i) + _leaning(problem, solved, i)
            good.append((cost, _off_centre(problem, solved, i), i))
    bad.sort(key=lambda r: r.miss)
    return [_branch(problem, branches[i], solved, i, step) for *_, i in sorted(good)[:most]], bad


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
    return " and ".join(f"{s.kind} shim {{{s.thickness:.6f}}}" for s in shims)


def _branch(problem: Problem, choice: Choice, solved: Solved, i: int, step: float) -> Branch:
    settings = one_of(solved.settings, i)
    tuned = tune(problem.wanted, settings, problem.targets.hertz, start=float(solved.tilt[i]))
    goal = None
    if solved.wanted_heights is not None and not problem.targets.lowest:  # then the clearance is what is wanted
        goal = solved.wanted_heights[i]
    name, tilt = label(problem, choice), float(tuned.state.tilt[0])
    return Branch(choice, name, tuned.settings, tilt, tuned.state, _minutes(problem, choice, solved, i), step, goal)


def _minutes(problem: Problem, choice: Choice, solved: Solved, i: int) -> float:
    found, end = problem.found.settings, solved.settings
    saddles = int(np.count_nonzero(np.abs(end.saddle_rise[i] - found.saddle_rise) > A_HAIR))
    minutes = choice.minutes(problem) + MINUTES["saddle"] * saddles
    return minutes + (MINUTES["claw"] if np.any(np.abs(end.claw[i] - found.claw) > A_HAIR) else 0.0)


def _leaning(problem: Problem, solved: Solved, i: int) -> float:
    """What a plate leaning more than usual, or than it was found, costs in the ranking, in minutes."""
    if problem.targets.mode != "floating":
        return 0.0
    usual = max(abs(float(found_tilt(problem.traits, problem.found.settings, problem))), 0.5 * LEAN)
    if problem.found.mode != "floating":
        usual = 0.5 * LEAN
    return LEAN_MINUTES * max((abs(float(solved.tilt[i])) - usual) / LEAN, 0.0)


def _off_centre(problem: Problem, solved: Solved, i: int) -> float:
    """How far saddles, claw and plate of a branch stand from the middle of their room, as shares."""
    b, claw = problem.wanted.bridge, problem.wanted.claw
    saddles = np.abs(solved.settings.saddle_rise[i] - b.height_range.mean(axis=-1)) / np.ptp(b.height_range, axis=-1)
    out = float(saddles.mean())
    if b.knife_edge:
        out += abs(float(solved.tilt[i])) / LEAN
        out += float(abs(solved.settings.claw[i].mean() - claw.travel.mean()) / np.ptp(claw.travel))
    return out


def _over(value: Array, unit: float) -> Array:
    return np.asarray(np.maximum(value, 0.0) / unit)


def _faults(problem: Problem, branches: list[Choice], solved: Solved) -> list[Fault]:
    faults = [*_saddle_faults(problem, solved), _stress_fault(problem, solved), _rod_fault(problem, solved)]
    if problem.targets.octave_tolerance is not None and problem.octave_bias is not None:
        faults.append(_octave_fault(problem, solved))
    if solved.wanted_heights is not None:
        faults.append(_height_fault(problem, solved, solved.wanted_heights))
    if problem.targets.clean is not None:
        faults.append(_clean_fault(problem, solved))
    mode = problem.targets.mode
    if mode in ("floating", "decked", "dive-only"):
        faults += _claw_faults(problem, branches, solved)
    if mode == "floating":
        faults += _rest_faults(problem, branches, solved)
    if problem.targets.up_bend is not None and problem.wanted.bridge.knife_edge:
        faults.append(_up_bend_fault(problem, solved))
    return faults


def _saddle_faults(problem: Problem, solved: Solved) -> list[Fault]:
    room, rise = problem.wanted.bridge.height_range, solved.settings.saddle_rise
    low, high = room[..., 0] - rise - A_HAIR, rise - room[..., 1] - A_HAIR

    def say(miss: Array, end: str) -> str:
        string, others = int(np.argmax(miss)), int(np.count_nonzero(miss > 0.0)) - 1
        more = f" (and {others} more)" if others else ""
        name = f"saddle of string {string + 1}{more}"
        return f"{name} is at its {end}, {{{miss[string]:.6f}}} short of the wanted height"

    return [
        Fault(_over(low.max(axis=1), 1e-3), lambda i: say(low[i], "bottom")),
        Fault(_over(high.max(axis=1), 1e-3), lambda i: say(high[i], "top")),
    ]


def _rod_fault(problem: Problem, solved: Solved) -> Fault:
    turns = solved.settings.rod - problem.found.settings.rod
    return Fault(
        _over(np.abs(turns) - MOST_ROD, 0.25),
        lambda i: (
            f"the wanted relief would take about {abs(turns[i]):.2g} turns of the truss rod, more than {MOST_ROD:.2g}; "
            "have the neck looked at first"
        ),
    )


def _octave_fault(problem: Problem, solved: Solved) -> Fault:
    t, tuned = problem.targets, tune_at(problem.wanted, solved.settings, problem.targets.hertz, solved.tilt)
    error = octave_errors(problem.wanted, solved.settings, tuned.rig, tuned.state) + (
        0.0 if problem.octave_bias is None else problem.octave_bias
    )
    off = np.abs(error - t.octave)

    def say(i: int) -> str:
        string = int(off[i].argmax())
        short = off[i, string] * float(tuned.state.length[i, string]) / CENTS_PER_LOG
        end = "rear" if error[i, string] > t.octave else "front"
        return (
            f"saddle of string {string + 1} is at the {end} end of its travel, {{{short:.6f}}} short of its octave; "
            "a cut spring, a turned saddle or another gauge would do"
        )

    assert t.octave_tolerance is not None
    return Fault(_over(off.max(axis=1) - t.octave_tolerance, t.octave_tolerance), say)


def _stress_fault(problem: Problem, solved: Solved) -> Fault:
    load, limit = solved.state.tension / problem.wanted.strings.breaking, problem.limits.stress

    def say(i: int) -> str:
        string = int(load[i].argmax())
        return (
            f"string {string + 1} at pitch carries {load[i, string]:.0%} of its breaking load, more than the "
            f"{limit:.0%} allowed; a lower pitch or a shorter scale would do, a thinner plain string hardly"
        )

    return Fault(_over(load.max(axis=1) - limit, 0.05), say)


def _height_fault(problem: Problem, solved: Solved, wanted: Array) -> Fault:
    t = problem.targets
    got = string_heights(problem.wanted, solved.settings, solved.tilt, solved.state.bow, (t.height_fret,))[..., 0]
    off = np.abs(got - wanted).max(axis=1) - t.height_tolerance
    text = "the saddle screws cannot be set finely enough for the heights"
    return Fault(_over(off, t.height_tolerance), lambda _: text)


def _clean_fault(problem: Problem, solved: Solved) -> Fault:
    stroke, fret = problem.targets.clean, problem.targets.height_fret
    assert stroke is not None
    strokes = wanted_strokes(problem, problem.wanted, solved.settings, solved.state)
    rise = saddle_rise_to_clear(strokes)
    height, share = height_at(strokes, fret)
    short = share * rise.clearance

    def say(i: int) -> str:
        string = int(short[i].argmax())
        stop, ahead = int(rise.stop[i, string]), int(rise.ahead[i, string])
        held = f"string {string + 1}, held at fret {stop}," if stop else f"open string {string + 1}"
        return (
            f"{held} would touch fret {ahead} when struck with {stroke.force:.2g} N: it needs "
            f"{{{height[i, string] + short[i, string]:.6f}}} at fret {fret}; higher strings or a softer stroke would do"
        )

    touches = least_clearance(strokes).clearance.min(axis=1) < -A_HAIR
    return Fault(np.where(touches, _over(short.max(axis=1), problem.targets.height_tolerance), 0.0), say)


def _springs_named(choice: Choice) -> str:
    return f"{NUMBERS[choice.springs]} spring{'' if choice.springs == 1 else 's'}"


def _claw_faults(problem: Problem, branches: list[Choice], solved: Solved) -> list[Fault]:
    claw, stands = problem.wanted.claw, solved.settings.claw
    found = solved.reached
    near = np.where(found, claw.travel[0] - stands.min(axis=1) - A_HAIR, 0.0)
    far = np.where(found, stands.max(axis=1) - claw.travel[1] - A_HAIR, 0.0)
    shut = found & (_closed(problem, solved) & (solved.settings.springs > 0)).any(axis=1)
    names = [_springs_named(choice) for choice in branches]
    return [
        Fault(np.where(found, 0.0, 1e3), lambda i: f"{names[i]} cannot balance this set at any claw position"),
        Fault(
            _over(near, 1e-3),
            lambda i: (
                f"{names[i]} cannot hold this set there: the claw is at its inner end, {{{near[i]:.6f}}} short; "
                "more or stronger springs, or lighter strings, would do"
            ),
        ),
        Fault(
            _over(far, 1e-3),
            lambda i: (
                f"{names[i]} pull too hard for this set: the claw would stand {{{far[i]:.6f}}} beyond the end of its "
                "screws; fewer or softer springs would do"
            ),
        ),
        Fault(
            np.where(shut, 1.0, 0.0),
            lambda i: f"{names[i]} would hang closed or slack at rest; fewer springs would stretch them open",
        ),
    ]


def _closed(problem: Problem, solved: Solved) -> Mask:
    """(C, K) where a spring at rest is not stretched beyond its closed length."""
    rig = build_rig(problem.wanted, solved.settings)
    cos, sin = np.cos(solved.tilt)[:, None], np.sin(solved.tilt)[:, None]
    x = rig.claw_x - (rig.hook_aft * cos - rig.hook_up * sin)
    y = rig.claw_y - (rig.hook_aft * sin + rig.hook_up * cos)
    return np.asarray(np.sqrt(x * x + y * y + rig.slant**2) < rig.free)


def _rest_faults(problem: Problem, branches: list[Choice], solved: Solved) -> list[Fault]:
    traits, t, s = problem.wanted, problem.targets, solved.settings
    stiff = solved.state.stiffness
    faults = [
        Fault(
            _over(STABLE - stiff, 1.0),
            lambda i: (
                f"{_springs_named(branches[i])} let the plate run away on retuning: brought back to pitch its "
                f"stiffness is {stiff[i]:+.1f} N m/rad, must be above {STABLE:.1f}; more springs with the claw further "
                "out would do"
            ),
        )
    ]
    if t.gap is not None:
        gap = edge_gap(traits, s, solved.tilt).mean(axis=-1)
        off = np.abs(gap - t.gap) - t.gap_tolerance
        faults.append(Fault(_over(off, 1e-3), lambda i: f"the plate's stops keep the rear gap at {{{gap[i]:.6f}}}"))
    if t.gap is not None and t.level:
        lean = np.abs(edge_gap(traits, s, solved.tilt) - edge_gap(traits, s, np.zeros_like(solved.tilt))).max(axis=1)
        text = "a level plate cannot have this rear gap with the pivots where they are"
        faults.append(Fault(_over(lean - t.gap_tolerance, 1e-3), lambda _: text))
    return faults


def _up_bend_fault(problem: Problem, solved: Solved) -> Fault:
    bend = problem.targets.up_bend
    assert bend is not None
    up = up_bend_at(problem.wanted, solved.settings, problem.targets.hertz, solved.tilt, bend.string)
    short = bend.cents - problem.targets.up_bend_tolerance - up
    return Fault(
        _over(short, 50.0),
        lambda i: (
            f"the plate meets its stop after {up[i]:.0f} c of string {bend.string + 1}, wanted are {bend.cents:.0f} c; "
            "a larger rear gap or higher pivots would do"
        ),
    )
