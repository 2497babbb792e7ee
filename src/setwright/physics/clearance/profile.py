"""The neck's shape beyond a uniform bow: a second mode that leans the bow towards the nut, and fall-away."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from setwright.physics._ranges import Array, require
from setwright.physics.neck import BOW, PLACE, bent_height

JOINT = (0.05, 1.5, "m")
FALL = (-2e-3, 5e-3, "m")


def lean_height(x: ArrayLike, joint_x: ArrayLike, second: ArrayLike) -> Array:
    """What the second mode adds to `neck.bent_height`; docs (11), derived here.

    Curvature second (2 xi - 1), xi = (joint_x - x)/joint_x: `second` at the nut, -second at the joint, none on average;
    integrated twice, second joint_x^2 (xi^3/3 - xi^2/2) before the joint, 0 beyond. second = bow makes the curvature
    run from nothing at the joint to twice the bow at the nut.

    Args:
        x: (...) [m] of the point
        joint_x: (...) [m] where the bending part ends
        second: (...) [1/m] > 0 for bow concentrated towards the nut

    Returns:
        (...) [m] up > 0.

    Valid range: x -1 to 3 m, joint 0.05 to 1.5 m, second within 0.2 1/m.

    Raises:
        RangeError: outside it.
    """
    joint = require("joint x", joint_x, *JOINT)
    xi = np.maximum(joint - require("x", x, *PLACE), 0.0) / joint
    height: Array = require("second mode", second, *BOW) * joint**2 * xi**2 * (xi / 3.0 - 0.5)
    return height


def fall_away(x: ArrayLike, from_x: ArrayLike, end_x: ArrayLike, amount: ArrayLike) -> Array:
    """How much lower a crown lies where the last frets fall away: linear from a place to the last fret (derived here).

    Args:
        x: (...) [m] of the crown
        from_x: (...) [m] where the fall begins
        end_x: (...) [m] of the last fret
        amount: (...) [m] at the last fret, down > 0; < 0 is a rising tongue

    Returns:
        (...) [m] down > 0.

    Valid range: places -1 to 3 m, end at least 5 mm beyond the beginning, amount -2 to 5 mm.

    Raises:
        RangeError: outside it.
    """
    start, end = require("x where the fall begins", from_x, *PLACE), require("x of the last fret", end_x, *PLACE)
    span = require("length of the fall", end - start, 5e-3, 1.0, "m")
    share = np.clip((require("x", x, *PLACE) - start) / span, 0.0, 1.0)
    fall: Array = require("fall-away", amount, *FALL) * share
    return fall


def crown_line(
    x: ArrayLike,
    joint_x: ArrayLike,
    bow: ArrayLike,
    second: ArrayLike = 0.0,
    single: ArrayLike = 0.0,
    fall: ArrayLike = 0.0,
) -> Array:
    """Height of crowns over the line of the straight neck: docs (10), bow + second mode + single fret - fall-away.

    Args:
        x: (..., N) [m] of the crowns
        joint_x: (...) [m] where the bending part ends, broadcast to (..., N)
        bow: (...) [1/m] mean curvature, broadcast likewise
        second: (...) [1/m] second mode, broadcast likewise
        single: (..., N) [m] height of single frets off the line, high > 0
        fall: (..., N) [m] from `fall_away`, down > 0

    Returns:
        (..., N) [m]

    Valid range: as `neck.bent_height` and `lean_height`; single frets within 2 mm.

    Raises:
        RangeError: outside it.
    """
    own = require("height of a single fret", single, -2e-3, 2e-3, "m") - require("fall-away", fall, *FALL)
    line: Array = bent_height(x, joint_x, bow) + lean_height(x, joint_x, second) + own
    return line
