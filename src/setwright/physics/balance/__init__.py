"""Knife-edge balance: potential energy of strings, springs, plate and neck, and what follows from its minimum."""

from setwright.physics.balance.claw import ClawAnswer, claw_for_tilt, with_claw_shift
from setwright.physics.balance.equilibrium import Equilibrium, equilibrium, settled_at
from setwright.physics.balance.ranges import (
    Swing,
    bent,
    broken,
    friction_band,
    lengths_at,
    lifting_bend,
    pitches,
    swing,
    unstretched_lengths,
)
from setwright.physics.balance.rig import SPRING_FIELDS, STRING_FIELDS, Array, Rig, at_pitch, pegs_fixed, repeat, take

__all__ = [
    "SPRING_FIELDS",
    "STRING_FIELDS",
    "Array",
    "ClawAnswer",
    "Equilibrium",
    "Rig",
    "Swing",
    "at_pitch",
    "bent",
    "broken",
    "claw_for_tilt",
    "equilibrium",
    "friction_band",
    "lengths_at",
    "lifting_bend",
    "pegs_fixed",
    "pitches",
    "repeat",
    "settled_at",
    "swing",
    "take",
    "unstretched_lengths",
    "with_claw_shift",
]
