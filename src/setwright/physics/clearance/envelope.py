"""How far down a plucked string comes: the envelope of an ideal string released from a triangle.

d'Alembert: the released triangle swings between itself and its image turned end for end, so the swept area is a
parallelogram with corners at both ends, at the pluck and at its mirror place on the other side. Damping, stiffness and
the roundness of pick or finger only make it smaller.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from setwright.physics._ranges import Array, choose, require
from setwright.physics.strings import LENGTH, TAUT

SHARE = (0.0, 1.0, "")
PLACE = (1e-3, 0.999, "")
AMPLITUDE = (0.0, 0.02, "m")
FORCE = (0.0, 100.0, "N")
PULLED = ("away", "towards", "either")
SLOPE = 0.3  # greatest pluck force over tension; beyond it the string is no longer nearly straight


def pluck_amplitude(force: ArrayLike, place: ArrayLike, length: ArrayLike, tension: ArrayLike) -> Array:
    """Displacement at the pluck from the force there, a = F p (1 - p) L / T.

    Docs (2), derived here: the two straight parts pull back with T a / (p L) + T a / ((1 - p) L). Force and
    displacement square to the board; a pick stroke along the board has only its share in that direction.

    Args:
        force: (...) [N] square to the board
        place: (...) [1] pluck from the saddle as a share of the speaking length
        length: (...) [m] speaking length
        tension: (...) [N]

    Returns:
        (...) [m]

    Valid range: force 0 to 100 N and at most 0.3 of the tension, place 0.001 to 0.999, length 1 mm to 5 m.

    Raises:
        RangeError: outside it.
    """
    ratio = require("pluck force", force, *FORCE) / require("tension", tension, *TAUT)
    p = require("place of the pluck", place, *PLACE)
    give = p * (1.0 - p) * require("speaking length", length, *LENGTH)
    amplitude: Array = require("pluck force over tension", ratio, 0.0, SLOPE, "") * give
    return amplitude


def pluck_force(amplitude: ArrayLike, place: ArrayLike, length: ArrayLike, tension: ArrayLike) -> Array:
    """Force that holds a displacement at the pluck: the inverse of `pluck_amplitude`.

    Args:
        amplitude: (...) [m] square to the board
        place: (...) [1] pluck from the saddle as a share of the speaking length
        length: (...) [m] speaking length
        tension: (...) [N]

    Returns:
        (...) [N]

    Valid range: amplitude 0 to 20 mm, the force at most 0.3 of the tension; else as `pluck_amplitude`.

    Raises:
        RangeError: outside it.
    """
    p = require("place of the pluck", place, *PLACE)
    give = p * (1.0 - p) * require("speaking length", length, *LENGTH)
    ratio = require("pluck force over tension", require("amplitude", amplitude, *AMPLITUDE) / give, 0.0, SLOPE, "")
    force: Array = ratio * require("tension", tension, *TAUT)
    return force


def dip(share: ArrayLike, place: ArrayLike, pulled: str = "away") -> Array:
    """Lowest point the string reaches over a period at a place along it, as a share of the amplitude.

    Docs (1). Pulled "away" from the board: the mirror image of the triangle, its corner at the share `place` from the
    STOP: u/p up to u = p, (1 - u)/(1 - p) beyond. Pulled "towards" the board: the triangle itself, its corner at the
    pluck. "either": the deeper of both, for a stroke of unknown direction.

    Args:
        share: (...) [1] u, distance from the stop as a share of the speaking length
        place: (...) [1] p, pluck from the saddle as a share of the speaking length
        pulled: "away", "towards" or "either"

    Returns:
        (...) [1] 0 to 1.

    Valid range: share 0 to 1, place 0.001 to 0.999.

    Raises:
        RangeError: outside it.
    """
    u, p = require("share of the speaking length", share, *SHARE), require("place of the pluck", place, *PLACE)
    way = choose("pulled", pulled, PULLED)
    mirrored: Array = np.minimum(u / p, (1.0 - u) / (1.0 - p))
    if way == "away":
        return mirrored
    itself: Array = np.minimum((1.0 - u) / p, u / (1.0 - p))
    return itself if way == "towards" else np.maximum(mirrored, itself)
