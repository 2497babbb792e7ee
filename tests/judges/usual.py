"""A usual 25.5 in, six-string, two-post instrument as literals (a design example, not a measured instrument)."""

from __future__ import annotations

import numpy as np

from setwright.instrument.settings import Settings
from setwright.instrument.traits import (
    Array,
    Bridge,
    Claw,
    Fretboard,
    Neck,
    Nut,
    Springs,
    Strings,
    Thermal,
    Traits,
    array,
)

HERTZ = array([329.6275569128699, 246.94165062806206, 195.99771799087463, 146.8323839587038, 110.0, 82.4068892282175])
DIAMETER = array([0.000254, 0.0003302, 0.0004318, 0.0006604, 0.0009144, 0.0011684])
UNIT_MASS = array([0.000395554, 0.000668602, 0.001143243, 0.002262783, 0.004279483, 0.006824601])
AXIAL = array([10134.1496, 17126.7128, 29287.6923, 19862.9332, 24347.2944, 31035.8331])
BENDING = array([4.08634e-05, 1.16710e-04, 3.41295e-04, 1.56981e-04, 2.35864e-04, 3.83254e-04])
SADDLE_AFT = array([0.0140, 0.0148, 0.0157, 0.0145, 0.0153, 0.0163])
SADDLE_UP = array([0.008735838, 0.009554657, 0.009995655, 0.010101570, 0.009887074, 0.009344274])
PATTERNS = {1: (2,), 2: (1, 3), 3: (0, 2, 4), 4: (0, 1, 3, 4), 5: (0, 1, 2, 3, 4)}
HOOK_ARM = 0.038  # m, hooks below the pivot with the plate level
LEVEL_GAP = 0.0025  # m, rear gap with the plate level: pivot line 6.5 mm up, plate edge 4 mm below it


def usual_traits() -> Traits:
    """Return the instrument."""
    z = np.array([-0.022, -0.011, 0.0, 0.011, 0.022])
    places = np.ones(5)
    return Traits(
        strings=Strings(DIAMETER, UNIT_MASS, AXIAL, BENDING, breaking=array(np.full(6, 1e3))),
        nut=Nut(
            slot=array([0.0015, 0.0015, 0.00155, 0.0016, 0.00165, 0.0017]),
            z=array(np.linspace(0.0175, -0.0175, 6)),
            behind=array([0.16, 0.135, 0.11, 0.085, 0.06, 0.04]),
            capstan=array(np.zeros(6)),
            locked=False,
        ),
        fretboard=Fretboard(array(0.6477), array(0.0125), array(0.241), array(0.305), array(0.0011), 22),
        neck=Neck(
            angle=array(0.0),
            mouth_x=array(0.393),
            mouth_y=array(-0.016),
            shim_lever=array(0.07),
            pocket=array(0.076),
            joint_x=array(0.393),
            free_bow=array(0.002),
            string_line=array(0.012),
            bending=array(300.0),
            rod_moment=array(2.0),
            rod_per_turn=array(1.5),
        ),
        bridge=_bridge(),
        springs=Springs(
            rate=array(3500.0 * places),
            initial=array(12.0 * places),
            free=array(0.068 * places),
            closed_rate=array(2e5 * places),
            hook_aft=array(0.006 * places),
            hook_up=array(-HOOK_ARM * places),
            hook_z=array(z),
            claw_z=array(z),
            patterns=PATTERNS,
        ),
        claw=Claw(
            wall_x=array(0.5502),
            y=array(-0.0315),
            angle=array(0.0),
            lead=array(0.0015),
            travel=array([0.002, 0.035]),
            screw_z=array([-0.018, 0.018]),
        ),
        thermal=Thermal(array(293.15), array(1.15e-5), array(4e-6), array(2.6e-4)),
    )


def _bridge() -> Bridge:
    return Bridge(
        knife_edge=True,
        clamped=False,
        pivot_x=array(0.6352),
        pivot_y=array([0.0065, 0.0065]),
        pivot_z=array([-0.028, 0.028]),
        pivot_lead=array(0.0007),
        pivot_range=array([0.002, 0.012]),
        saddle_aft=SADDLE_AFT,
        saddle_up=SADDLE_UP,
        saddle_z=array([0.026, 0.0156, 0.0052, -0.0052, -0.0156, -0.026]),
        height_lead=array(0.0005),
        height_range=array([-0.004, 0.004]),
        length_lead=array(0.000794),
        length_range=array([-0.006, 0.008]),
        anchor_aft=array(np.full(6, 0.02)),
        anchor_up=array(np.full(6, -0.03)),
        rear_aft=array(0.03),
        rear_up=array(-0.004),
        rear_z=array([-0.03, 0.03]),
        front_aft=array(-0.012),
        front_up=array(-0.004),
        deck_y=array(0.0),
        block_aft_point=array([0.012, -0.04]),
        cavity_aft=array(0.026),
        block_fore_point=array([0.0, -0.04]),
        cavity_fore=array(-0.03),
        mass=array(0.3),
        centre_aft=array(0.008),
        centre_up=array(-0.012),
        knife_friction=array(0.0),
    )


def usual_settings(springs: int = 3, attitude: str = "playing") -> Settings:
    """Return settings without pegs set; claw at 15 mm."""
    present = np.zeros(5)
    present[list(PATTERNS[springs])] = 1.0
    zeros = np.zeros(6)
    return Settings(
        unstretched=array(np.full(6, np.nan)),
        claw=array([0.015, 0.015]),
        springs=array(present),
        pivot_rise=array([0.0, 0.0]),
        saddle_rise=array(zeros),
        saddle_back=array(zeros),
        strip=array(0.0),
        wedge_shim=array(0.0),
        flat=array(0.0),
        rod=array(0.0),
        slot_cut=array(zeros),
        prop=array(np.nan),
        block=array(np.nan),
        attitude=attitude,
    )


def slope_per_tilt(values: Array, tilts: Array) -> Array:
    """Straight-line slope through values read at several tilts."""
    return np.asarray(np.polyfit(tilts, values, 1)[0])
