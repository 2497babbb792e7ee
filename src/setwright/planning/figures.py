"""What the finished balance is like, with bands from the ensemble."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from setwright.instrument.geometry import build_rig
from setwright.instrument.predict import predict, stop_names
from setwright.instrument.traits import Array
from setwright.physics.balance import (
    at_pitch,
    bent,
    broken,
    equilibrium,
    friction_band,
    lifting_bend,
    pitches,
    settled_at,
    swing,
)
from setwright.physics.pitch import cents
from setwright.planning.bands import Ensemble, spread
from setwright.planning.branches import Branch
from setwright.planning.plan import Figures
from setwright.planning.rounds import over
from setwright.planning.targets import Problem
from setwright.telling import Tell, untold

TONE = 200.0  # cents, the bend whose dip is told
BENT = 2  # index of the string that is bent
LYING = ("on its back", "upright")


def figures(problem: Problem, branch: Branch, many: Ensemble, tell: Tell = untold) -> Figures | None:
    """Figures of the finished balance.

    Args:
        problem: the job.
        branch: the plan's branch.
        many: the ensemble.
        tell: takes the share of the work that is done.
    Returns: the figures; None for a fixed bridge.
    """
    traits, settings, t = problem.wanted, branch.settings, problem.targets
    if not traits.bridge.knife_edge:
        return None
    rig = build_rig(traits, settings)
    rest = equilibrium(rig, start=branch.tilt)
    reach = swing(rig, rest)
    tell(0.0)
    up_band, down_band, stiff_band, retuned_band = _bands(many)
    tell(0.5)
    decked = t.mode in ("decked", "dive-only")
    lower, upper = stop_names(traits, settings)
    return Figures(
        stiffness=(float(rest.stiffness[0]), stiff_band),
        stiffness_retuned=(float(branch.state.stiffness[0]), retuned_band),
        up=tuple((float(v), b) for v, b in zip(reach.up[0], up_band, strict=True)),
        down=tuple((float(v), b) for v, b in zip(reach.down[0], down_band, strict=True)),
        up_stop=lower,
        down_stop=upper,
        dip=_dip(problem, branch),
        broken=_broken(problem, branch),
        drift=_drift(problem, branch),
        friction=_friction(problem, branch),
        attitude=_attitudes(problem, branch),
        preload=float(rest.contact[0]) if decked else None,
        lifts_at=tuple(float(v) for v in lifting_bend(rig, rest)[0]) if decked else None,
        tensions=tuple(float(v) for v in rest.tension[0]),
        margin=tuple(float(v) for v in rest.tension[0] / traits.strings.breaking),
    )


def _bands(many: Ensemble) -> tuple[list[float], list[float], float, float]:
    """Half widths of up-bend and dive per string, and of both stiffnesses, over the end states."""
    out = many.outcome
    rig = build_rig(out.traits, out.settings)
    reach = swing(rig, out.rest)
    heard = pitches(rig, out.rest)
    retuned = settled_at(at_pitch(rig, np.where(heard > 0.0, heard, np.nan)), out.rest.tilt).stiffness
    columns = range(reach.up.shape[1])
    return (
        [spread(reach.up[:, i]) for i in columns],
        [spread(reach.down[:, i]) for i in columns],
        spread(out.rest.stiffness),
        spread(retuned),
    )


def _dip(problem: Problem, branch: Branch) -> tuple[float, ...]:
    rig = build_rig(problem.wanted, branch.settings)
    rest = equilibrium(rig, start=branch.tilt)
    string = min(BENT, problem.wanted.string_count - 1)
    heard = over(pitches(rig, bent(rig, rest, string, TONE)), pitches(rig, rest)[0])[0]
    heard[string] = 0.0
    return tuple(float(v) for v in heard)


def _broken(problem: Problem, branch: Branch) -> tuple[float, ...]:
    """Cents every string moves when the thinnest breaks; -9000 where one goes slack."""
    rig = build_rig(problem.wanted, branch.settings)
    rest = equilibrium(rig, start=branch.tilt)
    heard = over(pitches(rig, broken(rig, rest, 0)), pitches(rig, rest)[0])[0]
    heard[0] = 0.0
    return tuple(float(v) for v in heard)


def _pitch_with(problem: Problem, branch: Branch, **changes: float | str) -> Array:
    settings = replace(branch.settings, **changes)  # type: ignore[arg-type]
    return np.asarray(predict(problem.wanted, settings, start=branch.tilt).pitch).reshape(-1)


def _drift(problem: Problem, branch: Branch) -> tuple[float, ...]:
    now = branch.settings.temperature
    warm = _pitch_with(problem, branch, temperature=now + 5.0)
    cold = _pitch_with(problem, branch, temperature=now - 5.0)
    return tuple(float(v) for v in cents(warm, cold) / 10.0)


def _friction(problem: Problem, branch: Branch) -> tuple[float, ...]:
    rig = build_rig(problem.wanted, branch.settings)
    low, high = friction_band(rig, problem.wanted.bridge.knife_friction, branch.tilt)
    return tuple(float(v) for v in cents(pitches(rig, low), pitches(rig, high))[0])


def _attitudes(problem: Problem, branch: Branch) -> tuple[tuple[str, float], ...]:
    base = _pitch_with(problem, branch, attitude="playing")
    return tuple((a, float(cents(_pitch_with(problem, branch, attitude=a), base).mean())) for a in LYING)
