"""The rig: everything the potential energy of a knife-edge bridge depends on, and nothing else.

All positions are relative to the pivot line, in the plane of its own z: x towards the bridge end, y up. Moving points
are given as (aft, up) with the plate level. B is the batch axis, S strings, K spring places. SI units.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from setwright.frozen import frozen, replace

Array = NDArray[np.float64]


@frozen
class Rig:
    """One bridge with its strings, springs and neck, in one state of all its screws."""

    nut_x: Array  # (B, S) m, string's centre line at the nut, neck without bow
    nut_y: Array  # (B, S) m
    nut_x_per_bow: Array  # (B,) or (B, S) m2, forward shift of the nut, or of what stands for it, per curvature
    nut_y_per_bow: Array  # (B,) or (B, S) m2
    saddle_aft: Array  # (B, S) m, string's centre line at the saddle
    saddle_up: Array  # (B, S) m
    aside: Array  # (B, S) m, nut z minus saddle z
    dead: Array  # (B, S) m, string beyond nut and saddle that shares the tension
    unstretched: Array  # (B, S) m; nan where the string is off or held at a pitch
    hertz: Array  # (B, S) Hz, where the string is held at a pitch by retuning; nan elsewhere
    unit_mass: Array  # (B, S) kg/m, unstretched
    axial: Array  # (B, S) N
    bending: Array  # (B, S) N m2
    hook_aft: Array  # (B, K) m
    hook_up: Array  # (B, K) m
    claw_x: Array  # (B, K) m
    claw_y: Array  # (B, K) m
    slant: Array  # (B, K) m, claw z minus hook z
    present: Array  # (B, K) 1 where a spring hangs
    rate: Array  # (B, K) N/m
    initial: Array  # (B, K) N
    free: Array  # (B, K) m
    closed_rate: Array  # (B, K) N/m
    weight_x: Array  # (B,) N, weight of the plate along x
    weight_y: Array  # (B,) N
    centre_aft: Array  # (B,) m
    centre_up: Array  # (B,) m
    bow_free: Array  # (B,) 1/m, curvature without string load
    bow_stiffness: Array  # (B,) N m3, neck bending stiffness times bent length
    tilt_low: Array  # (B,) rad, contact below
    tilt_high: Array  # (B,) rad, contact above

    @property
    def batch(self) -> int:
        """B."""
        return int(self.tilt_low.shape[0])


STRING_FIELDS = (
    "nut_x",
    "nut_y",
    "saddle_aft",
    "saddle_up",
    "aside",
    "dead",
    "unstretched",
    "hertz",
    "unit_mass",
    "axial",
    "bending",
)
SPRING_FIELDS = (
    "hook_aft",
    "hook_up",
    "claw_x",
    "claw_y",
    "slant",
    "present",
    "rate",
    "initial",
    "free",
    "closed_rate",
)


def _fields(rig: Rig) -> list[tuple[str, Array]]:
    return [(name, getattr(rig, name)) for name in Rig.__match_args__]


def take(rig: Rig, index: NDArray[np.intp] | NDArray[np.bool_] | slice) -> Rig:
    """Return the rigs of some batch members.

    Args:
        rig: (B) rigs.
        index: (n) indices, (B) mask, or a slice (which copies nothing) [1].
    Returns: the chosen rigs.
    """
    return replace(rig, **{name: value[index] for name, value in _fields(rig)})


def repeat(rig: Rig, times: int) -> Rig:
    """Return the batch repeated as a whole: member b of repetition r stands at r * B + b.

    Args:
        rig: (B) rigs.
        times: how often [1].
    Returns: (times * B) rigs.
    """

    def again(value: Array) -> Array:
        return np.tile(value, (times, *(1,) * (value.ndim - 1)))

    return replace(rig, **{name: again(value) for name, value in _fields(rig)})


def at_pitch(rig: Rig, hertz: Array) -> Rig:
    """Return the rig with every string held at a pitch: a technician retunes it whenever the plate moves.

    Args:
        rig: (B) rigs.
        hertz: (B, S) or (S) first partials [Hz].
    Returns: the rig with `unstretched` free.
    """
    wanted = np.broadcast_to(np.asarray(hertz, dtype=np.float64), rig.axial.shape)
    return replace(rig, hertz=wanted, unstretched=np.full_like(rig.axial, np.nan))


def pegs_fixed(rig: Rig, unstretched: Array) -> Rig:
    """Return the rig with every peg left alone: the unstretched length of every string is given.

    Args:
        rig: (B) rigs.
        unstretched: (B, S) or (S) unstretched lengths, warm as the rig is [m]; nan takes a string off.
    Returns: the rig with `hertz` free.
    """
    length = np.broadcast_to(np.asarray(unstretched, dtype=np.float64), rig.axial.shape)
    return replace(rig, unstretched=length, hertz=np.full_like(rig.axial, np.nan))
