"""The neck: how a shim turns it in the pocket and how strings and rod bow it.

Body frame: x from nut to bridge, y up. The neck turns about the pocket's mouth; angle > 0 tips the headstock back, so
the line of the board rises at the bridge. Bow is the curvature of the neck between nut and joint, > 0 when the nut end
stands up (relief); beyond the joint the neck is straight.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from setwright.errors import RangeError
from setwright.physics._ranges import Array, require
from setwright.physics.strings import TENSION

PLACE = (-1.0, 3.0, "m")
ANGLE = (-0.2, 0.2, "rad")
SHIM = (-5e-3, 5e-3, "m")
POCKET = (0.01, 0.2, "m")
BOW = (-0.2, 0.2, "1/m")
MOMENT = (-500.0, 500.0, "N m")


def strip_angle(thickness: ArrayLike, lever: ArrayLike) -> Array:
    """Turn of the neck by a strip shim, thickness / distance from the pocket's mouth. Common practice, no source.

    The angle stands for its tangent; at 1 mm under 70 mm that is 0.01 % of it.

    Args:
        thickness: (...) [m] > 0 at the heel end; < 0 for a strip at the mouth
        lever: (...) [m] from the mouth to the strip

    Returns:
        (...) [rad] > 0 when the headstock tips back.

    Valid range: thickness -5 to 5 mm, lever 10 to 200 mm.

    Raises:
        RangeError: outside it.
    """
    t, arm = require("shim thickness", thickness, *SHIM), require("lever of the shim", lever, *POCKET)
    angle: Array = t / arm
    return angle


def wedge_angle(thickness: ArrayLike, pocket: ArrayLike) -> Array:
    """Turn of the neck by a full tapered shim, thickness at the heel end / pocket length. Common practice, no source.

    A full flat shim lifts the neck by its thickness and turns nothing.

    Args:
        thickness: (...) [m] at the heel end; < 0 when the thick end lies at the mouth
        pocket: (...) [m] length of the pocket

    Returns:
        (...) [rad] > 0 when the headstock tips back.

    Valid range: thickness -5 to 5 mm, pocket 10 to 200 mm.

    Raises:
        RangeError: outside it.
    """
    t, length = require("shim thickness", thickness, *SHIM), require("pocket length", pocket, *POCKET)
    angle: Array = t / length
    return angle


def line_rise(angle: ArrayLike, lever: ArrayLike) -> Array:
    """How far the line of the fretboard, drawn on, rises at a place beyond the mouth: lever tan(angle) (derived here).

    Args:
        angle: (...) [rad] turn of the neck
        lever: (...) [m] from the mouth to that place, towards the bridge > 0

    Returns:
        (...) [m]

    Valid range: angle -0.2 to 0.2 rad, lever -1 to 3 m.

    Raises:
        RangeError: outside it.
    """
    rise: Array = require("lever", lever, *PLACE) * np.tan(require("neck angle", angle, *ANGLE))
    return rise


def rotate(x: ArrayLike, y: ArrayLike, mouth_x: ArrayLike, mouth_y: ArrayLike, angle: ArrayLike) -> tuple[Array, Array]:
    """Where a point of the neck goes when the neck turns about the pocket's mouth (plane rotation, exact).

    Args:
        x: (...) [m] of the point before
        y: (...) [m]
        mouth_x: (...) [m] centre of the turn
        mouth_y: (...) [m]
        angle: (...) [rad] > 0 when the headstock tips back

    Returns:
        (...) [m] x and (...) [m] y after.

    Valid range: places -1 to 3 m, angle -0.2 to 0.2 rad.

    Raises:
        RangeError: outside it.
    """
    mx, my = require("mouth x", mouth_x, *PLACE), require("mouth y", mouth_y, *PLACE)
    a = require("neck angle", angle, *ANGLE)
    dx, dy = require("x", x, *PLACE) - mx, require("y", y, *PLACE) - my
    cosine, sine = np.cos(a), np.sin(a)
    return mx + dx * cosine - dy * sine, my + dx * sine + dy * cosine


def bow(
    tensions: ArrayLike,
    turns: ArrayLike,
    free_bow: ArrayLike,
    string_line: ArrayLike,
    rod_moment: ArrayLike,
    rod_per_turn: ArrayLike,
    bending: ArrayLike,
) -> Array:
    """Curvature of the neck: free_bow + (sum T string_line - rod_moment - rod_per_turn turns) / EI.

    Beam under equal end moments (elementary beam theory); the strings pull along the neck at a constant height over its
    neutral axis. Derived here for the sum of strings; what the rod does is a trait of the instrument, learned.

    Args:
        tensions: (..., S) [N] of all strings
        turns: (...) [1] of the rod from as found, tighter > 0
        free_bow: (...) [1/m] curvature without strings and rod
        string_line: (...) [m] strings over the neutral axis
        rod_moment: (...) [N m] of the rod as found
        rod_per_turn: (...) [N m] per turn, tighter > 0
        bending: (...) [N m2] EI of the neck

    Returns:
        (...) [1/m] > 0 for relief.

    Valid range: EI 1 to 10 000 N m2, moments within 500 N m, turns -10 to 10, resulting bow within 0.2 1/m.

    Raises:
        RangeError: outside it.
    """
    pull = require("tensions", tensions, *TENSION).sum(axis=-1) * require("string line", string_line, -0.05, 0.1, "m")
    per_turn = require("rod moment per turn", rod_per_turn, *MOMENT)
    rod = require("rod moment", rod_moment, *MOMENT) + per_turn * require("rod turns", turns, -10.0, 10.0, "turns")
    flexed = (pull - rod) / require("bending stiffness of the neck", bending, 1.0, 1e4, "N m2")
    return require("bow", require("free bow", free_bow, *BOW) + flexed, *BOW)


def bent_height(x: ArrayLike, joint_x: ArrayLike, bow: ArrayLike) -> Array:
    """How far bow lifts a point of the neck: bow/2 (joint_x - x)^2 before the joint, 0 beyond (elementary beam theory).

    Args:
        x: (...) [m] of the point
        joint_x: (...) [m] where the bending part ends
        bow: (...) [1/m] curvature

    Returns:
        (...) [m] up > 0.

    Valid range: places -1 to 3 m, bow within 0.2 1/m.

    Raises:
        RangeError: outside it.
    """
    reach = np.maximum(require("joint x", joint_x, *PLACE) - require("x", x, *PLACE), 0.0)
    height: Array = 0.5 * require("bow", bow, *BOW) * reach**2
    return height


def bent_shift(x: ArrayLike, joint_x: ArrayLike, bow: ArrayLike, string_line: ArrayLike) -> Array:
    """How far bow carries a point at the strings' height forward, string_line bow (joint_x - x), 0 beyond the joint.

    Derived here to first order in the slope. At the nut (x = 0) it is what bow takes off the path of every string.

    Args:
        x: (...) [m] of the point
        joint_x: (...) [m] where the bending part ends
        bow: (...) [1/m] curvature
        string_line: (...) [m] height of the point over the neutral axis

    Returns:
        (...) [m] towards the bridge > 0.

    Valid range: as `bent_height`; string line -50 to 100 mm.

    Raises:
        RangeError: outside it.
    """
    reach = np.maximum(require("joint x", joint_x, *PLACE) - require("x", x, *PLACE), 0.0)
    shift: Array = require("string line", string_line, -0.05, 0.1, "m") * require("bow", bow, *BOW) * reach
    return shift


def relief(x_a: ArrayLike, x_c: ArrayLike, x_b: ArrayLike, joint_x: ArrayLike, bow: ArrayLike) -> Array:
    """Relief: gap at a crown c under the line that lies on the crowns a and b (derived here from `bent_height`).

    Convention-free: a is where the string is held or the straightedge starts (fret 1, the nut), b where it ends (last
    fret, 17th, joint fret), c where it is read; b and c may lie beyond the joint. Equal crowns are assumed.

    Args:
        x_a: (...) [m] crown nearer the nut
        x_c: (...) [m] crown where it is read, between a and b
        x_b: (...) [m] crown nearer the bridge
        joint_x: (...) [m] where the bending part ends
        bow: (...) [1/m] curvature

    Returns:
        (...) [m] > 0 for forward bow.

    Valid range: x_a < x_b, x_a <= x_c <= x_b, places -1 to 3 m, bow within 0.2 1/m.

    Raises:
        RangeError: outside it.
    """
    a, c, b = (require(n, v, *PLACE) for n, v in (("x_a", x_a), ("x_c", x_c), ("x_b", x_b)))
    if np.any(a >= b) or np.any(c < a) or np.any(c > b):
        raise RangeError("relief is read at x_c between the stops x_a and x_b; put the frets in order from the nut.")
    share = (c - a) / (b - a)
    y_a, y_c, y_b = (bent_height(v, joint_x, bow) for v in (a, c, b))
    gap: Array = (1.0 - share) * y_a + share * y_b - y_c
    return gap


def bow_for_relief(
    relief_wanted: ArrayLike, x_a: ArrayLike, x_c: ArrayLike, x_b: ArrayLike, joint_x: ArrayLike
) -> Array:
    """Curvature that gives a relief under a convention: the inverse of `relief`, which is linear in bow.

    Args:
        relief_wanted: (...) [m]
        x_a: (...) [m] crown nearer the nut
        x_c: (...) [m] crown where it is read
        x_b: (...) [m] crown nearer the bridge
        joint_x: (...) [m] where the bending part ends

    Returns:
        (...) [1/m]

    Valid range: as `relief`; the three places must show at least 0.1 mm of relief for a bow of 0.1 1/m.

    Raises:
        RangeError: outside it, as when all three lie on the straight part.
    """
    unit = require("relief these places show for a bow of 0.1 1/m", relief(x_a, x_c, x_b, joint_x, 0.1), 1e-4, 1.0, "m")
    wanted: Array = 0.1 * require("relief", relief_wanted, -0.02, 0.02, "m") / unit
    return require("bow", wanted, *BOW)
