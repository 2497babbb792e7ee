"""Plate and claw of many instruments this one may be, each where it was read."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from setwright.instrument.geometry import tilt_for_gap, tilt_limits
from setwright.instrument.predict import balance_at, tune_at
from setwright.instrument.settings import Settings
from setwright.instrument.traits import Array, Traits
from setwright.planning.found import AsFound, found_tilt


def tilts_as_found(found: AsFound, traits: Traits, settings: Settings, rng: np.random.Generator) -> Array:
    """Tilt of each instrument as found: the gap as read, within its uncertainty.

    Args:
        found: the job.
        traits: (B) instruments, the most likely one first.
        settings: (B) as found.
        rng: source of randomness.
    Returns: (B) [rad].
    """
    problem = found.problem
    gaps = [r for r in problem.found.readings if r.quantity == "rear gap"]
    if problem.found.mode != "floating" or not gaps:
        return np.array(np.broadcast_to(found_tilt(traits, settings, problem), len(settings.claw)))
    off = gaps[0].sd * rng.standard_normal(len(settings.claw))
    off[0] = 0.0
    low, high = tilt_limits(traits, settings)
    return np.clip(tilt_for_gap(traits, settings, gaps[0].value + off), low, high)


def as_read(found: AsFound, traits: Traits, settings: Settings, tilt: Array) -> Settings:
    """Pegs as found, and the claw shifted to where the plate rests as it was read.

    That the plate stood as it was read is better known than any spring; the shift stands for the springs' error. A
    plate that was read resting on the body keeps its claw unless it would have lifted.

    Args:
        found: the job.
        traits: (B) instruments.
        settings: (B) as found.
        tilt: (B) as read [rad].
    Returns: (B) settings.
    """
    hertz = found.problem.found.hertz
    assert hertz is not None
    tuned = tune_at(traits, settings, hertz, tilt)
    if found.problem.found.mode in ("fixed", "blocked"):
        return tuned.settings
    balanced = balance_at(traits, settings, hertz, tilt)
    free = (tuned.state.contact < 0.0) | (found.problem.found.mode == "floating")
    lifted = np.logical_and(balanced.reached, free)
    return replace(tuned.settings, claw=np.where(lifted[:, None], balanced.settings.claw, settings.claw))
