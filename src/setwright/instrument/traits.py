"""Traits: what the instrument is. Frozen data, SI units, arrays that may carry a leading batch axis.

Frame (docs/glossary): x runs from the nut face to the bridge, y up from the body top, z from treble to bass. Plate
points are given as (aft, up) relative to the pivot with the plate level: aft = +x, up = +y. Pairs are ordered (treble,
bass), strings from the thinnest. S strings, K spring places. A field may have shape (*trailing) or (B, *trailing); the
trailing shape stands beside each field. Heights of string contacts are to the UNDERSIDE of the string.
"""

from __future__ import annotations

from dataclasses import field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from setwright.frozen import frozen

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


@frozen
class Strings:
    """One set of strings, tied to no tuning."""

    diameter: Array  # (S) m
    unit_mass: Array  # (S) kg per metre of UNSTRETCHED string
    axial: Array  # (S) N, axial stiffness EA
    bending: Array  # (S) N m2, bending stiffness EI (of the core for a wound string)
    breaking: Array  # (S) N, breaking load of the core


@frozen
class Nut:
    """Where the strings leave the neck, and what lies behind it."""

    slot: Array  # (S) m, slot bottom over the fretboard under the string
    z: Array  # (S) m
    behind: Array  # (S) m, free string between nut and tuner
    capstan: Array  # (S) friction coefficient times wrap angle
    locked: bool


@frozen
class Fretboard:
    """Scale, frets and surface, neck straight and without shim."""

    scale: Array  # () m, nominal scale length, of a fanned board that of its centre line
    height: Array  # () m, centre of the fretboard over the body top at the nut line, neck straight, no shim
    radius_nut: Array  # () m
    radius_end: Array  # () m, radius at the last fret
    crown: Array  # () m, fret height
    frets: int
    fan: Array = field(default_factory=lambda: np.asarray(0.0))  # () m, scale of the last string less the first's
    square: Array = field(default_factory=lambda: np.asarray(0.0))  # () number of the fret square to the centre line


@frozen
class Neck:
    """How the neck stands and what bends and turns it."""

    angle: Array  # () rad, built in; > 0 when the headstock tips back
    mouth_x: Array  # () m, where the pocket begins: the neck turns about (mouth_x, mouth_y)
    mouth_y: Array  # () m
    shim_lever: Array  # () m, from the mouth to a strip shim at the heel end
    pocket: Array  # () m, length of the pocket
    joint_x: Array  # () m, from here to the nut the neck bends
    free_bow: Array  # () 1/m, curvature without string load and without rod
    string_line: Array  # () m, string over the neck's neutral axis
    bending: Array  # () N m2
    rod_moment: Array  # () N m, of the rod as found
    rod_per_turn: Array  # () N m per turn, tighter > 0


@frozen
class Bridge:
    """The plate with its pivots, saddles and stops."""

    knife_edge: bool  # False: fixed, the plate cannot tilt
    clamped: bool  # strings end at the saddle
    pivot_x: Array  # () m
    pivot_y: Array  # (2) m, pivot line over the body top
    pivot_z: Array  # (2) m
    pivot_lead: Array  # () m per turn
    pivot_range: Array  # (2) m, lowest and highest pivot line over the body top
    saddle_aft: Array  # (S) m, string contact
    saddle_up: Array  # (S) m
    saddle_z: Array  # (S) m
    height_lead: Array  # () m per turn
    height_range: Array  # (2) m, relative to the saddle as described
    length_lead: Array  # () m per turn
    length_range: Array  # (2) m
    anchor_aft: Array  # (S) m, string end on the plate
    anchor_up: Array  # (S) m
    rear_aft: Array  # () m, bottom rear edge of the plate
    rear_up: Array  # () m
    rear_z: Array  # (2) m
    front_aft: Array  # () m, bottom front edge
    front_up: Array  # () m
    deck_y: Array  # () m, body under the plate (negative: a recess)
    block_aft_point: Array  # (2) m, (aft, up) of the block's point that meets the rear cavity wall
    cavity_aft: Array  # () m, that wall, aft of the pivot
    block_fore_point: Array  # (2) m
    cavity_fore: Array  # () m
    mass: Array  # () kg
    centre_aft: Array  # () m, centre of mass
    centre_up: Array  # () m
    knife_friction: Array  # () N m


@frozen
class Springs:
    """One spring at every place, hung or not."""

    rate: Array  # (K) N/m
    initial: Array  # (K) N, initial tension
    free: Array  # (K) m, hook to hook, closed
    closed_rate: Array  # (K) N/m, stiffness of the closed coil
    hook_aft: Array  # (K) m, hooks in the block
    hook_up: Array  # (K) m
    hook_z: Array  # (K) m
    claw_z: Array  # (K) m
    patterns: dict[int, tuple[int, ...]]  # number of springs -> places used


@frozen
class Claw:
    """What the springs hang from, and its screws."""

    wall_x: Array  # () m, cavity wall on the neck side
    y: Array  # () m, of the hook line at the wall
    angle: Array  # () rad, screw axis; > 0 when the hook line rises away from the wall
    lead: Array  # () m per turn
    travel: Array  # (2) m, least and greatest distance hook line to wall
    screw_z: Array  # (2) m


@frozen
class Thermal:
    """What warmth does to strings, springs and body."""

    reference: Array  # () K
    string_expansion: Array  # () 1/K
    body_expansion: Array  # () 1/K
    modulus_fall: Array  # () 1/K, relative fall of Young's modulus


@frozen
class Playing:
    """How the strings are held down and plucked: it belongs to the player, and the notes depend on it."""

    finger_place: Array  # () share of the way from the fret behind to the fret held
    finger_depth: Array  # () m, of the pressed string under the line over these two crowns
    pluck_place: Array  # () share of the open string, from the saddle
    pluck_force: Array  # () N, of a firm stroke, the part square to the board


def usual_playing() -> Playing:
    """A finger half way between the frets, and a firm stroke with a plectrum; common practice, no source."""
    return Playing(array(0.5), array(0.3e-3), array(0.15), array(0.4))


@frozen
class Traits:
    """The whole instrument."""

    strings: Strings
    nut: Nut
    fretboard: Fretboard
    neck: Neck
    bridge: Bridge
    springs: Springs
    claw: Claw
    thermal: Thermal
    playing: Playing = field(default_factory=lambda: usual_playing())

    @property
    def string_count(self) -> int:
        """S, the number of strings."""
        return int(self.nut.z.shape[-1])

    @property
    def fanned(self) -> bool:
        """Whether the frets are fanned: every string with a scale of its own."""
        return int(np.count_nonzero(self.fretboard.fan)) > 0


def array(value: Any) -> Array:
    """Return value as a float64 array (the one place where traits are made)."""
    return np.asarray(value, dtype=np.float64)
