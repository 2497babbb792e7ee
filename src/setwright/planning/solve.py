"""Continuous settings of a whole batch of branches at once: pivots, saddles, attitude, claw, pegs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, replace
from typing import Any

import numpy as np

from setwright.frozen import frozen
from setwright.instrument.fan import fret_places, nut_places, string_scales
from setwright.instrument.geometry import (
    across,
    edge_gap,
    saddle_contact,
    tilt_for_gap,
    tilt_limits,
)
from setwright.instrument.predict import Balanced, balance_at, relief, string_heights, tune_at
from setwright.instrument.settings import Settings
from setwright.instrument.traits import Array, Mask, Traits
from setwright.physics.balance import Equilibrium, pegs_fixed, pitches, settled_at, unstretched_lengths
from setwright.physics.frets import drop, fret_position, saddle_share
from setwright.physics.neck import bow_for_relief
from setwright.physics.pitch import CENTS_PER_LOG, cents
from setwright.physics.strings import tension_at_pitch
from setwright.planning.choices import Choice, shim_totals
from setwright.planning.clean import kept_clean, lowest_heights
from setwright.planning.octave import saddles_for_octave
from setwright.planning.targets import Problem, Targets, spring_mask
from setwright.telling import Tell, each, untold, within

ROUNDS = 6
ALONG_ROUNDS = 2  # of these, how many move the saddles along too
ROD_STEP = 1 / 16  # turn
HARDLY = 1.0  # cents, an octave error for which no saddle is moved along
UNASKED = 2.5  # cents, the same where octaves were neither read nor asked for
ROOM = 0.15e-3  # m, left between a saddle and the end of its room where the pivots are placed for it
PRELOAD_MARGIN = 1.15  # a decked plate is pressed down by this much more than the wanted bend needs
GAPS = (0.3e-3, 8e-3)  # m, where a rear gap for a wanted up-bend is looked for
HALVINGS = 12  # of that
STEPS = (1 / 4, 1 / 8, 1 / 16, 1 / 32)  # turns a hand can set
SHARED = ("attitude", "temperature")  # settings that never carry a batch axis


@frozen
class Solved:
    """Settings of C branches, claw and pegs included, and the state they give."""

    settings: Settings  # fields (C, ...)
    tilt: Array  # (C) wanted, rad
    reached: Mask  # (C) whether some claw position balances
    state: Equilibrium  # (C) strings at pitch, plate at the wanted tilt; stiffness with every string retuned
    wanted_heights: Array | None  # (C, S) m


def _each(settings: Settings, change: Callable[[Array], Array]) -> Settings:
    """Settings with every array changed alike."""
    arrays: dict[str, Any] = {f.name: getattr(settings, f.name) for f in fields(settings) if f.name not in SHARED}
    changed: dict[str, Any] = {name: change(np.asarray(value)) for name, value in arrays.items()}
    return replace(settings, **changed)


def as_batch(settings: Settings, count: int) -> Settings:
    """The same settings C times, every field with a batch axis.

    Args:
        settings: unbatched.
        count: C [1].
    Returns: fields (C, ...).
    """
    return _each(settings, lambda value: np.array(np.broadcast_to(value, (count, *value.shape))))


def one_of(settings: Settings, index: int) -> Settings:
    """One branch of batched settings.

    Args:
        settings: fields (C, ...).
        index: which [1].
    Returns: unbatched.
    """
    return _each(settings, lambda value: np.asarray(value[index]))


def start_settings(problem: Problem, branches: list[Choice]) -> Settings:
    """Settings of every branch before anything continuous is solved.

    Args:
        problem: the job.
        branches: C choices.
    Returns: fields (C, ...).
    """
    settings = as_batch(problem.found.settings, len(branches))
    totals = np.array([shim_totals(b.shims) for b in branches])
    springs = settings.springs
    if problem.traits.bridge.knife_edge:
        springs = np.stack([spring_mask(problem.traits, b.springs) for b in branches])
    block = np.full(len(branches), np.nan)
    prop = np.full(len(branches), np.nan)
    return replace(
        settings, strip=totals[:, 0], wedge_shim=totals[:, 1], flat=totals[:, 2], springs=springs, block=block,
        prop=prop, attitude=problem.targets.attitude,
    )  # fmt: skip


def wanted_tilt(traits: Traits, settings: Settings, targets: Targets, gap: Array | None) -> Array:
    """Tilt the plate shall rest at.

    Args:
        traits: with the wanted strings.
        settings: fields (C, ...).
        targets: what is wanted.
        gap: (C) rear gap where it is not given by the targets [m].
    Returns: (C) [rad].
    """
    low, high = tilt_limits(traits, settings)
    if targets.mode == "fixed":
        return np.zeros_like(low)
    if targets.mode in ("decked", "dive-only"):
        return low
    goal = gap if targets.gap is None else np.full_like(low, targets.gap)
    if goal is None:
        return np.clip(np.zeros_like(low), low, high)
    return np.clip(tilt_for_gap(traits, settings, goal), low, high)


def place_hardware(
    problem: Problem, settings: Settings, moved: Mask, gap: Array | None = None, along: bool = True,
    tell: Tell = untold,
) -> tuple[Settings, Array, Array | None]:  # fmt: skip
    """Rod, pivots and saddles for the wanted relief, attitude, heights and octaves, strings at pitch.

    Args:
        problem: the job.
        settings: fields (C, ...).
        moved: (C) whether pivots and rod may move.
        gap: (C) rear gap where the targets leave it open [m].
        along: whether the saddles move along the strings too [1].
        tell: takes the share of the work that is done.
    Returns: settings, tilt (C) [rad], wanted heights (C, S) [m] or None.
    """
    traits, targets = problem.wanted, problem.targets
    tilt = wanted_tilt(traits, settings, targets, gap)
    goal: Array | None = None
    for turn, _ in each(tell, range(ROUNDS)):
        settings = _place_pivots(traits, settings, targets, moved, turn)
        tilt = wanted_tilt(traits, settings, targets, gap)
        if targets.sets_heights:
            state = tune_at(traits, settings, targets.hertz, tilt).state
            goal, aim = _height_goal(problem, settings, state)
            now = string_heights(traits, settings, tilt, state.bow, (targets.height_fret,))[..., 0]
            saddle_x, _ = saddle_contact(traits, settings, tilt)
            share = saddle_share(fret_places(traits, [targets.height_fret])[..., 0], nut_places(traits), saddle_x)
            rise = settings.saddle_rise + (aim - now) / (share * np.cos(tilt)[:, None])
            settings = replace(settings, saddle_rise=rise)
        if along and problem.octave_bias is not None and turn >= ROUNDS - ALONG_ROUNDS:
            settings = saddles_for_octave(problem, settings, tilt)
    return settings, tilt, goal


def set_rod(problem: Problem, settings: Settings, tilt: Array) -> Settings:
    """Rod turned in whole steps for the wanted relief at pitch, where it is out by more than half its tolerance.

    The response is that of the instrument's traits; the step says to read and not to count.

    Args:
        problem: the job.
        settings: fields (C, ...).
        tilt: (C) [rad].
    Returns: settings with `rod` (C).
    """
    wanted, traits = problem.targets.relief, problem.wanted
    if wanted is None:
        return settings
    low, read, high = (fret_position(traits.fretboard.scale, n) for n in (wanted.hold[0], wanted.read, wanted.hold[1]))
    bow = tune_at(traits, settings, problem.targets.hertz, tilt).state.bow
    out = relief(traits, bow, wanted.hold[0], wanted.read, wanted.hold[1]) - wanted.value
    goal = bow_for_relief(wanted.value, low, read, high, traits.neck.joint_x)
    turns = (bow - goal) * traits.neck.bending / traits.neck.rod_per_turn
    turns = np.round(turns / ROD_STEP) * ROD_STEP
    return replace(settings, rod=settings.rod + np.where(np.abs(out) > 0.5 * wanted.tolerance, turns, 0.0))


def _height_goal(problem: Problem, settings: Settings, state: Equilibrium) -> tuple[Array, Array]:
    """Heights wanted and aimed at; they differ where a given height has to rise a little to stay clean."""
    t = problem.targets
    if t.clean is None:
        assert t.heights is not None
        goal = _on_arc(problem, settings, state, np.broadcast_to(t.heights, settings.saddle_rise.shape))
        return goal, goal
    lowest = lowest_heights(problem, settings, state)
    flat = lowest if t.heights is None else np.broadcast_to(t.heights, lowest.shape)
    return kept_clean(problem, _on_arc(problem, settings, state, flat), lowest)


def _on_arc(problem: Problem, settings: Settings, state: Equilibrium, flat: Array) -> Array:
    """Heights as they are; with a wanted saddle radius the inner strings follow the arc through the outer ones."""
    traits, targets = problem.wanted, problem.targets
    if targets.radius is None:
        return flat
    now = string_heights(traits, settings, state.tilt, state.bow, (targets.height_fret,))[..., 0]
    x, y = saddle_contact(traits, settings, state.tilt)
    share = saddle_share(fret_places(traits, [targets.height_fret])[..., 0], nut_places(traits), x)
    level = y + (flat - now) / share  # saddle tops if every string had its own wanted height
    z = traits.bridge.saddle_z
    arc = drop(targets.radius, z[0]) - drop(targets.radius, z)
    ends = level[..., [0, -1]]
    wanted = across(ends, z[[0, -1]], z) + arc
    return np.asarray(now + (wanted - y) * share)


def _place_pivots(traits: Traits, settings: Settings, targets: Targets, moved: Mask, turn: int) -> Settings:
    """Pivots where a level plate has the wanted gap; from there as far as the saddles' room asks for.

    Without a wanted gap they go where the saddles stand in the middle of their room.
    """
    if not moved.any():
        return settings
    b = traits.bridge
    if targets.gap is not None and targets.mode in ("floating", "blocked"):
        if turn == 0 or targets.level:
            lift = targets.gap - edge_gap(traits, settings, np.zeros(len(moved))).mean(axis=-1)
        else:
            # at a fixed gap the saddle rises with the pivot by 1 - saddle aft / rear aft only
            over = np.maximum(settings.saddle_rise - (b.height_range[..., 1] - ROOM), 0.0).max(axis=-1)
            under = np.maximum(b.height_range[..., 0] + ROOM - settings.saddle_rise, 0.0).max(axis=-1)
            lift = (over - under) / (1.0 - b.saddle_aft.mean() / b.rear_aft)
    elif not targets.sets_heights:
        lift = np.zeros(len(moved))
    else:
        lift = (settings.saddle_rise - b.height_range.mean(axis=-1)).mean(axis=-1)
    rise = settings.pivot_rise + np.where(moved, lift, 0.0)[:, None]
    low, high = b.pivot_range[..., 0] - b.pivot_y, b.pivot_range[..., 1] - b.pivot_y
    return replace(settings, pivot_rise=np.clip(rise, low, high))


def needed_preload(traits: Traits, settings: Settings, targets: Targets, tilt: Array) -> Array:
    """Moment a decked plate must press with so that no single string lifts it under the wanted bend.

    Args:
        traits: with the wanted strings.
        settings: fields (C, ...).
        targets: what is wanted.
        tilt: (C) [rad].
    Returns: (C) [N m].
    """
    tuned = tune_at(traits, settings, targets.hertz, tilt)
    rig, state = tuned.rig, tuned.state
    up = targets.hertz * 2.0 ** (targets.holds_bend / 1200.0)
    pull = tension_at_pitch(up, state.length, rig.unit_mass, rig.axial, rig.bending) - state.tension
    return np.asarray((pull * -state.lever).max(axis=1) * PRELOAD_MARGIN)


def set_balance(problem: Problem, settings: Settings, tilt: Array) -> tuple[Settings, Balanced]:
    """Claw and pegs for a tilt; a decked plate keeps its claw when it presses hard enough already.

    Args:
        problem: the job.
        settings: fields (C, ...).
        tilt: (C) [rad].
    Returns: settings and the balance.
    """
    traits, targets = problem.wanted, problem.targets
    if targets.mode in ("fixed", "blocked"):
        tuned = tune_at(traits, settings, targets.hertz, tilt)
        return tuned.settings, Balanced(tuned.settings, np.ones(len(tilt), dtype=bool), tuned.state)
    if targets.mode == "floating":
        balanced = balance_at(traits, settings, targets.hertz, tilt)
        return balanced.settings, balanced
    needed = needed_preload(traits, settings, targets, tilt)
    balanced = balance_at(traits, settings, targets.hertz, tilt, needed)
    held = tune_at(traits, settings, targets.hertz, tilt)
    enough = held.state.contact >= needed
    claw = np.where(enough[:, None], settings.claw, balanced.settings.claw)
    final = tune_at(traits, replace(settings, claw=claw), targets.hertz, tilt)
    return final.settings, Balanced(final.settings, balanced.reached | enough, final.state)


def up_bend_at(traits: Traits, settings: Settings, hertz: Array, tilt: Array, string: int) -> Array:
    """Cents the arm can pull a string up from a tilt, strings at pitch there.

    Args:
        traits: with the wanted strings.
        settings: fields (C, ...).
        hertz: (S) [Hz].
        tilt: (C) [rad].
        string: index, 0 = thinnest [1].
    Returns: (C) [cents].
    """
    tuned = tune_at(traits, settings, hertz, tilt)
    rig = pegs_fixed(tuned.rig, unstretched_lengths(tuned.rig, tuned.state))
    top = pitches(rig, settled_at(rig, rig.tilt_low))[:, string]
    return np.asarray(cents(np.maximum(top, 1e-3), hertz[string]))


def gap_for_up_bend(problem: Problem, settings: Settings, moved: Mask, tell: Tell = untold) -> Array:
    """Smallest rear gap from which the wanted up-bend can be had, by halving.

    Args:
        problem: the job; its targets leave the gap open and want an up-bend.
        settings: fields (C, ...).
        moved: (C) whether the pivots may move.
        tell: takes the share of the work that is done.
    Returns: (C) [m]; the end of the range where it cannot be had.
    """
    bend = problem.targets.up_bend
    assert bend is not None
    low, high = (np.full(len(moved), g) for g in GAPS)
    for _, mine in each(tell, range(HALVINGS)):
        middle = 0.5 * (low + high)
        placed, tilt, _ = place_hardware(problem, settings, moved, middle, along=False, tell=mine)
        short = up_bend_at(problem.wanted, placed, problem.targets.hertz, tilt, bend.string) < bend.cents
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return high


def solve(problem: Problem, branches: list[Choice], tell: Tell = untold) -> Solved:
    """Solve every branch exactly, before rounding to what a hand can set.

    Args:
        problem: the job as found.
        branches: C choices.
        tell: takes the share of the work that is done.
    Returns: the solution.
    """
    moved = np.array([b.pivots for b in branches])
    settings = start_settings(problem, branches)
    targets = problem.targets
    gap: Array | None = None
    if targets.mode == "floating" and targets.gap is None and targets.up_bend is not None and not targets.level:
        gap = gap_for_up_bend(problem, settings, moved, within(tell, 0.0, 0.6))
    if targets.mode == "blocked" and targets.gap is None and np.isfinite(problem.found.settings.block):
        gap = np.full(len(branches), float(problem.found.settings.block))
    settings, tilt, _ = place_hardware(problem, settings, moved, gap, along=False, tell=within(tell, 0.6, 0.75))
    settings = set_rod(problem, settings, tilt)
    settings, tilt, goal = place_hardware(problem, settings, moved, gap, tell=within(tell, 0.75, 0.95))
    settings = _with_block(problem, settings, tilt)
    settings, balanced = set_balance(problem, settings, tilt)
    return Solved(settings, tilt, balanced.reached, balanced.state, goal)


def _with_block(problem: Problem, settings: Settings, tilt: Array) -> Settings:
    """Blocked at the wanted gap; where none is given, at that of the tilt chosen."""
    if problem.targets.mode != "blocked":
        return settings
    gap = problem.targets.gap
    stands = edge_gap(problem.wanted, settings, tilt).mean(axis=-1)
    return replace(settings, block=stands if gap is None else np.full_like(settings.block, gap))


def to_steps(value: Array, found: Array, lead: Array, step: float) -> Array:
    """A screw's place rounded so that the way from where it was found is whole steps of a turn.

    Args:
        value: (...) wanted [m].
        found: (...) as found [m].
        lead: () [m per turn].
        step: what a hand sets [turns].
    Returns: (...) [m].
    """
    turns = (value - found) / lead
    return np.asarray(found + np.round(turns / step) * step * lead)


def rounded(problem: Problem, solved: Solved, moved: Mask, tell: Tell = untold) -> tuple[Solved, float]:
    """The solution as hands can set it: pivots first, then saddles, then the claw, each allowing for the last.

    The claw of a floating bridge comes to rest by ear, so it stays exact.

    Args:
        problem: the job.
        solved: exact solution.
        moved: (C) whether the pivots moved.
        tell: takes the share of the work that is done.
    Returns: the rounded solution and the claw's step [turns].
    """
    traits, found, limits = problem.wanted, problem.found.settings, problem.limits
    b = traits.bridge
    settings = solved.settings
    goal_gap = edge_gap(traits, settings, solved.tilt).mean(axis=-1)
    pivots = to_steps(settings.pivot_rise, found.pivot_rise, b.pivot_lead, limits.screw_step)
    settings = replace(settings, pivot_rise=np.where(moved[:, None], pivots, settings.pivot_rise))
    frozen = np.zeros_like(moved)
    settings, tilt, goal = place_hardware(problem, settings, frozen, goal_gap, tell=within(tell, 0.0, 0.8))
    up = 0.0 if problem.targets.clean is None else 0.499 * limits.screw_step * b.height_lead  # never into a buzz
    saddles = to_steps(settings.saddle_rise + up, found.saddle_rise, b.height_lead, limits.screw_step)
    along = to_steps(settings.saddle_back, found.saddle_back, b.length_lead, limits.screw_step)
    least = HARDLY if problem.found.octave is not None or problem.targets.octave_tolerance is not None else UNASKED
    hardly = np.abs(along - found.saddle_back) * CENTS_PER_LOG / string_scales(traits) < least
    along = np.where(hardly, found.saddle_back, along)
    settings = replace(settings, saddle_rise=saddles, saddle_back=along)
    tilt = wanted_tilt(traits, settings, problem.targets, goal_gap)
    settings, balanced = set_balance(problem, settings, tilt)
    step = limits.claw_step
    if problem.targets.mode == "floating":
        step = claw_step(problem, settings, balanced.state)
    if problem.targets.mode in ("decked", "dive-only"):
        tighter = settings.claw - 0.499 * step * traits.claw.lead
        snug = to_steps(tighter, found.claw, traits.claw.lead, step)
        same = np.abs(settings.claw - found.claw) < 1e-9
        settings = replace(settings, claw=np.where(same, found.claw, snug))
    return replace(solved, settings=settings, tilt=tilt, wanted_heights=goal, state=balanced.state), step


def claw_step(problem: Problem, settings: Settings, state: Equilibrium) -> float:
    """Largest step of the claw whose rounding stays well inside the tolerance of the gap, strings at pitch.

    Args:
        problem: the job.
        settings: fields (C, ...).
        state: balanced, strings at pitch.
    Returns: [turns].
    """
    traits = problem.wanted
    lead = float(traits.claw.lead)
    rate = (settings.springs * traits.springs.rate).sum(axis=-1)
    arm = np.abs(traits.springs.hook_up).mean()
    per_turn = lead * rate * arm / np.maximum(state.stiffness, 1e-3) * abs(float(traits.bridge.rear_aft))
    worst = float(np.min(per_turn)) if per_turn.size else 0.0
    for step in STEPS:
        if step <= problem.limits.claw_step and 0.5 * step * worst < 0.4 * problem.targets.gap_tolerance:
            return step
    return STEPS[-1]
