"""The screws, shims, springs and strings of a plan alone: quick, for the most likely instrument, without bands."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from setwright.instrument.geometry import edge_gap
from setwright.instrument.traits import Array
from setwright.planning.bands import Ensemble, claw_needed, possible
from setwright.planning.branches import Branch
from setwright.planning.found import AsFound
from setwright.planning.plan import Step
from setwright.planning.rounds import Outcome, Path
from setwright.planning.search import pressed, that_hold, ways
from setwright.planning.steps import steps
from setwright.planning.targets import Problem
from setwright.planning.to_do import Hardware as Hardware

HARDWARE = (
    "relief", "protect", "slacken", "unblock", "strings off", "unhook", "support neck", "neck off", "shim", "neck on",
    "pivots", "hang springs", "strings on", "saddles", "lengths", "block",
)  # fmt: skip
DRAWN = 512  # instruments the claw of a decked plate is made tight for, as many as the plan takes


def hardware(found: AsFound, seed: int = 0) -> Hardware:
    """The plan's work on screws, shims, springs and strings, for the branch the most likely instrument prefers.

    Args:
        found: from `settle_found`.
        seed: of the randomness, as the plan's [1].
    Returns: the steps; their effects carry no bands.
    Raises: NoPlanError where nothing holds, with the nearest miss.
    """
    problem, good, _ = that_hold(found, seed, most=1)
    branch = good[0]
    keys: tuple[str, ...] = HARDWARE
    needed = np.array([float(branch.settings.claw.mean())])
    if problem.targets.mode in ("decked", "dive-only"):
        keys = (*HARDWARE, "claw")
        deviations = possible(problem, branch.settings, DRAWN, seed)
        branch = pressed(problem, branch, claw_needed(problem, branch, deviations))
    hands = [hand for _, hand in ways(problem, branch, needed)]
    hand = hands[-1] if np.isfinite(hands[-1].start).all() else hands[0]  # the last keeps the strings near pitch
    work = steps(problem, branch, _alone(problem, branch), hand, Path((), (), 0.0, 0.0), keys)
    gap = np.nan
    if problem.wanted.bridge.knife_edge:
        gap = float(edge_gap(problem.wanted, branch.settings, np.asarray(branch.tilt)).mean())
    return Hardware(problem, branch.settings, tuple(_bare(step) for step in work), float(gap))


def _alone(problem: Problem, branch: Branch) -> Ensemble:
    """The most likely instrument as an ensemble of one, nothing tried out on it."""
    none, nothing = np.empty(0), np.empty(0, dtype=np.bool_)
    shape = (1, problem.wanted.string_count)
    outcome = Outcome(problem.wanted, branch.settings, branch.state, none, none, nothing, none, nothing, 0.0)
    unread: Array = np.full(shape, np.nan)
    return Ensemble(np.zeros((1, len(problem.known.parts))), unread, none, none, unread, none, outcome)


def _bare(step: Step) -> Step:
    """A step without the bands nobody worked out."""
    effects = tuple(replace(one, half_width=None) for one in step.effects)
    return replace(step, effects=effects)
