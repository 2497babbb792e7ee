"""How a floating plate answers: stiffness of strings and springs, what a turn of the claw does, the levers.

At one state of rest with the pegs fixed. All from moments at given tilts, none from a solved balance: with M the moment
at a tilt and K the stiffness, a turn that changes the moment by dM tilts the plate by -dM / K (docs/learning, L11-L14).
"""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np

from setwright.frozen import frozen
from setwright.instrument.geometry import build_rig, edge_gap, tilt_for_gap
from setwright.instrument.predict import balance_at
from setwright.instrument.prior import vary
from setwright.instrument.settings import Settings
from setwright.instrument.traits import Array, Traits
from setwright.physics.balance import Rig, at_pitch, pegs_fixed, pitches, settled_at, take
from setwright.physics.balance.moments import moments, pack
from setwright.planning.course import Goal
from setwright.planning.outlook import cents_off
from setwright.planning.scenes import FARTHEST, SILENT, fan, slopes
from setwright.planning.tracking import Picture, expected, lay_out, steps, without_wedge

CLAW_STEP = 1e-5  # m, over which what a turn of the claw does is measured
TILT_STEP = 1e-4  # rad
What = Literal[
    "stiffness ratio",
    "stiffness",
    "stiffness at pitch",
    "gap per turn",
    "gap per turn at pitch",
    "lever",
    "spring force",
    "cents per turn",
]
KINDS: tuple[What, ...] = (
    "stiffness ratio",
    "stiffness",
    "stiffness at pitch",
    "gap per turn",
    "gap per turn at pitch",
    "lever",
    "spring force",
)  # in the order of the columns; cents per turn of every string follow


@frozen
class Responses:
    """Figures of the most likely instrument, and how they answer to every unknown of the picture."""

    values: Array  # (F) KINDS, then cents per turn in of every string
    by: Array  # (F, N)
    closed: bool  # a spring of the most likely instrument is closed or slack there: no straight line leads on from it

    def sd(self, covariance: Array) -> Array:
        """(F) standard uncertainties for a covariance (N, N) of the unknowns."""
        return np.asarray(np.sqrt(np.maximum(np.einsum("fn,nm,fm->f", self.by, covariance, self.by), 0.0)))


def measured(traits: Traits, settings: Settings, rig: Rig, tilt: Array) -> Array:
    """Figures of plates at rest (docs/learning, L11-L14).

    Args:
        traits: the instruments.
        settings: theirs, claw [m].
        rig: (B) their rigs, pegs fixed.
        tilt: (B) where the plates rest [rad].
    Returns: (B, 7 + S) stiffness strings : springs [1], stiffness pegs fixed and brought back to pitch [N m/rad], rear
        gap per turn of the claw in, pegs fixed and brought back to pitch [m], lever of the strings over that of the
        springs [1], force of all springs [N], cents per turn in of every string, pegs fixed; nan for what divides by
        the pull or stiffness of slack springs.
    """
    rest = settled_at(rig, tilt)
    heard = pitches(rig, rest)
    stiff = rest.stiffness
    springs = settled_at(pegs_fixed(rig, np.full_like(rig.axial, np.nan)), tilt).stiffness  # weight counts with them
    retuned = settled_at(at_pitch(rig, np.where(heard > 0.0, heard, np.nan)), tilt).stiffness
    turn = -_moment_per_claw(traits, settings, tilt, rig.unstretched) * np.asarray(traits.claw.lead)
    rise = (_gap(traits, settings, tilt + TILT_STEP) - _gap(traits, settings, tilt - TILT_STEP)) / (2.0 * TILT_STEP)
    up, down = (pitches(rig, settled_at(rig, tilt + way)) for way in (TILT_STEP, -TILT_STEP))
    bent = cents_off(np.maximum(up, SILENT), np.maximum(down, SILENT)) / (2.0 * TILT_STEP)
    m = moments(pack(rig), rest.tilt, rest.bow)
    force, tension = m.spring_force.sum(0), m.tension.sum(0)
    with np.errstate(divide="ignore", invalid="ignore"):  # slack springs have no lever and no stiffness
        arms = -(m.tension * m.lever).sum(0) / tension, (m.spring_force * m.spring_lever).sum(0) / force
        columns = [
            (stiff - springs) / springs,
            stiff,
            retuned,
            -rise * turn / stiff,
            -rise * turn / retuned,
            arms[0] / arms[1],
            force,
        ]
        found = np.column_stack([*columns, bent * (-turn / stiff)[:, None]])
    return np.where(np.isfinite(found), found, np.nan)


def _gap(traits: Traits, settings: Settings, tilt: Array) -> Array:
    return np.asarray(edge_gap(traits, settings, tilt).mean(axis=-1))


def _moment_per_claw(traits: Traits, settings: Settings, tilt: Array, lengths: Array) -> Array:
    """(B) by how much the moment on the lower side grows per distance of the claw, plate and pegs held [N]."""
    ends = []
    for way in (CLAW_STEP, -CLAW_STEP):
        moved = replace(settings, claw=settings.claw + way)
        ends.append(settled_at(pegs_fixed(build_rig(traits, moved), lengths), tilt).contact)
    return np.asarray((ends[0] - ends[1]) / (2.0 * CLAW_STEP))


def at_end(picture: Picture, goal: Goal) -> Responses:
    """Figures of the wanted end: plate free at its gap, every string at pitch, in the attitude wanted.

    They rest on the traits alone, so they can be told before anything has been read.

    Args:
        picture: what is believed.
        goal: what is wanted.
    Returns: the figures.
    """
    step = steps(picture)
    at = fan(picture.mean, step)[:, : picture.parts]
    bound = FARTHEST * np.array([part.sd for part in picture.model.known.parts])
    traits = vary(picture.model.traits, picture.model.known, np.clip(at, -bound, bound))
    bare = replace(without_wedge(picture).settings, attitude=goal.attitude)
    bare = replace(bare, claw=np.broadcast_to(bare.claw, (len(at), 2)))
    tilt = tilt_for_gap(traits, bare, np.full(len(at), goal.gap))
    done = balance_at(traits, bare, goal.hertz, tilt).settings
    rig = build_rig(traits, done)
    return _found(measured(traits, done, rig, tilt), step, rig, tilt)


def as_it_stands(picture: Picture) -> Responses:
    """Figures of the present state, wherever the plate rests now.

    Args:
        picture: what is believed.
    Returns: the figures.
    """
    step = steps(picture)
    at = fan(picture.mean, step)
    traits, settings, rig = lay_out(picture, at)
    tilt = expected(picture, at).tilt
    return _found(measured(traits, settings, rig, tilt), step, rig, tilt)


def _found(values: Array, step: Array, rig: Rig, tilt: Array) -> Responses:
    """Figures from those at a fan; the first member is the most likely instrument."""
    one, here = take(rig, slice(0, 1)), settled_at(take(rig, slice(0, 1)), tilt[:1])
    rate = moments(pack(one), here.tilt, here.bow).spring_rate[:, 0]
    closed = not np.array_equal(rate, one.rate[0, one.present[0] > 0.0])
    return Responses(values[0], slopes(values, step), closed)
