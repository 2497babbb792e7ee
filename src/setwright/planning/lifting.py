"""What a plate with its wedge in does once its claw is turned: it stays on the wedge, or lifts off by some amount.

No straight line leads from a plate that rests to one that floats: pitches stay where they are while the springs press
on the wedge, and fall with the tilt from where they do not. The way X by which the plate would rise is Gaussian, and
what it does rise is the greater of 0 and X, of which mean and variance are known (derived here, the normal integrals):

    E = s (phi(a) + a Phi(a)),    V = s^2 ((a^2 + 1) Phi(a) + a phi(a)) - E^2,    a = m / s

with m and s of X; its covariance with anything Gaussian is Phi(a) times that of X.
"""

from __future__ import annotations

import math

import numpy as np

from setwright.frozen import frozen
from setwright.instrument.geometry import edge_gap
from setwright.instrument.traits import Array
from setwright.physics.balance import pitches, settled_at
from setwright.planning.outlook import cents_off
from setwright.planning.scenes import fan, slopes
from setwright.planning.tracking import TILT_STEP, Expected, Picture, expected, steps

LEAST = 1e-9  # rad, no way is known better


@frozen
class Foreseen:
    """Pitches and rear gap as they should be read: cents of every string from its own pitch, then the gap [m]."""

    values: Array  # (S + 1)
    sd: Array  # (S + 1) standard uncertainties


def risen(mean: float, sd: float) -> tuple[float, float, float]:
    """What is left of a Gaussian with all below 0 put at 0.

    Args:
        mean: of it, in any unit.
        sd: its standard deviation, above 0.
    Returns: mean; variance; the share that lay above 0 [1].
    """
    a = mean / sd
    density = math.exp(-0.5 * a * a) / math.sqrt(2.0 * math.pi)
    share = 0.5 * math.erfc(-a / math.sqrt(2.0))
    first = sd * (density + a * share)
    second = sd * sd * ((a * a + 1.0) * share + a * density)
    return first, max(second - first * first, 0.0), share


def on_its_wedge(picture: Picture, wanted: Array) -> Foreseen | None:
    """Pitches and gap of a plate with its wedge in, which may rest on it or have left it.

    Args:
        picture: what is believed after a step, before anything is read.
        wanted: (S) own pitch of every string [Hz].
    Returns: what is foreseen; None where there is no wedge, or the plate has no hold on it.
    """
    if not np.isfinite(picture.settings.prop).any():
        return None
    step = steps(picture)
    states = expected(picture, fan(picture.mean, step))
    rest = settled_at(states.rig, states.rig.tilt_low)
    if rest.stiffness[0] <= 0.0:
        return None
    on = _at(states, states.rig.tilt_low, wanted)
    over = states.rig.tilt_low + TILT_STEP
    lift = -rest.contact / rest.stiffness
    rise = (_at(states, over, wanted) - on)[0] / TILT_STEP
    by, up = slopes(on, step), slopes(lift[:, None], step)[0]
    mean, way = float(lift[0]), float(states.tilt[0] - states.rig.tilt_low[0])
    if mean > 0.0 and way > TILT_STEP:  # it floats: the straight line goes through where
        up, mean = up * (way / mean), way
        rise = (_at(states, states.tilt, wanted)[0] - on[0]) / way
    held = picture.model.friction / float(rest.stiffness[0])
    both = picture.covariance @ up
    first, variance, share = risen(mean, max(math.sqrt(max(float(up @ both), 0.0) + held**2), LEAST))
    whole = np.einsum("sn,nm,sm->s", by, picture.covariance, by) + 2.0 * share * rise * (by @ both)
    return Foreseen(on[0] + rise * first, np.sqrt(np.maximum(whole + rise**2 * variance, 0.0)))


def _at(states: Expected, tilt: Array, wanted: Array) -> Array:
    """(B, S + 1) cents and gap [m] with the plate held at a tilt (B)."""
    hertz = pitches(states.rig, settled_at(states.rig, tilt))
    gap = edge_gap(states.traits, states.settings, tilt).mean(axis=-1)
    return np.column_stack([cents_off(hertz, wanted), gap])
