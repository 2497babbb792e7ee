"""A string pulled aside, and a string dragged over a nut that grips: changes of tension that are not plain stretch."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from setwright.physics._ranges import Array, require
from setwright.physics.pitch import CENTS_PER_LOG
from setwright.physics.strings import AXIAL, LENGTH, PART, STRAIN, TAUT, TENSION

ANGLE = (-0.5, 0.5, "rad")
CAPSTAN = (-3.0, 3.0, "")


def bend_cents(angle: ArrayLike, tension: ArrayLike, axial: ArrayLike) -> Array:
    """Pitch rise of a string pulled aside so that it makes an angle with its rest line, pegs and bridge unmoved.

    Grimes, PLOS ONE 9(7) e102088 (2014): f = (1/2L) sqrt((EA + cos(a) (T - EA)) / mu), in the form that gives T at rest
    (a copy in circulation prints "T +" for "EA +"). EA is per stretched length, as there. On a floating bridge the
    plate gives way: this is the fixed-bridge value.

    Args:
        angle: (...) [rad] between bent string and rest line
        tension: (...) [N] at rest
        axial: (...) [N] EA

    Returns:
        (...) [cent]

    Valid range: angle -0.5 to 0.5 rad, tension above 1e-6 N.

    Raises:
        RangeError: outside it.
    """
    a, t = require("bend angle", angle, *ANGLE), require("tension", tension, *TAUT)
    lifted = require("axial stiffness", axial, *AXIAL) / t * (2.0 * np.sin(0.5 * a) ** 2)  # EA (1 - cos a) / T
    rise: Array = 0.5 * CENTS_PER_LOG * np.log(np.cos(a) + lifted)
    return rise


def bend_force(angle: ArrayLike, tension: ArrayLike, axial: ArrayLike) -> Array:
    """Side force that holds a bend at mid-string, F = 2 sin(a) (T + EA (1/cos(a) - 1)).

    Grimes, PLOS ONE 9(7) e102088 (2014); the factor 2 sin(a) derived here.

    Args:
        angle: (...) [rad] between bent string and rest line
        tension: (...) [N] at rest
        axial: (...) [N] EA, per stretched length

    Returns:
        (...) [N]

    Valid range: angle -0.5 to 0.5 rad, tension above 1e-6 N.

    Raises:
        RangeError: outside it.
    """
    a, t = require("bend angle", angle, *ANGLE), require("tension", tension, *TAUT)
    raised = require("axial stiffness", axial, *AXIAL) * (2.0 * np.sin(0.5 * a) ** 2) / np.cos(a)
    force: Array = 2.0 * np.sin(a) * (t + raised)
    return force


def tension_behind(tension: ArrayLike, capstan: ArrayLike) -> Array:
    """Tension behind a gripping nut at the point of slipping, T exp(capstan): the capstan law (Euler; from memory).

    capstan > 0 when the string last slid towards the tuner (it was tuned up), < 0 when it
    last slid towards the bridge (tuned down, or a bend drew string in). While it sticks, anything between the two is
    possible.

    Args:
        tension: (...) [N] of the speaking part
        capstan: (...) [1] friction coefficient times wrap angle, with the sign of the last slide

    Returns:
        (...) [N]

    Valid range: tension 0 to 5000 N, capstan -3 to 3.

    Raises:
        RangeError: outside it.
    """
    return require("tension", tension, *TENSION) * np.exp(require("capstan exponent", capstan, *CAPSTAN))


def unstretched_over_nut(
    tension: ArrayLike, front: ArrayLike, behind: ArrayLike, axial: ArrayLike, capstan: ArrayLike
) -> Array:
    """Unstretched length of a whole string whose part behind the nut pulls T exp(capstan) (derived here).

    Args:
        tension: (...) [N] of the part before the nut
        front: (...) [m] path from the nut to the bridge end
        behind: (...) [m] from nut to tuner
        axial: (...) [N] EA
        capstan: (...) [1] as `tension_behind`

    Returns:
        (...) [m]

    Valid range: as `tension_behind`; front 1 mm to 5 m, behind 0 to 5 m, stretch up to a half.

    Raises:
        RangeError: outside it.
    """
    ea = require("axial stiffness", axial, *AXIAL)
    rear = require("stretch behind the nut", tension_behind(tension, capstan) / ea, 0.0, STRAIN, "")
    strain = require("stretch", np.asarray(tension, dtype=np.float64) / ea, 0.0, STRAIN, "")
    ahead, tail = require("path before the nut", front, *LENGTH), require("string behind the nut", behind, *PART)
    total: Array = ahead / (1.0 + strain) + tail / (1.0 + rear)
    return total


def tension_over_nut(
    unstretched: ArrayLike, front: ArrayLike, behind: ArrayLike, axial: ArrayLike, capstan: ArrayLike
) -> Array:
    """Tension before a gripping nut from the unstretched length of the whole string; inverse of `unstretched_over_nut`.

    Derived here: with x = T/EA and k = exp(capstan), front/(1 + x) + behind/(1 + k x) = unstretched is a quadratic in x
    with one positive root, taken in the form without cancellation. Zero when slack.

    Args:
        unstretched: (...) [m] of the whole string
        front: (...) [m] path from the nut to the bridge end
        behind: (...) [m] from nut to tuner
        axial: (...) [N] EA
        capstan: (...) [1] as `tension_behind`

    Returns:
        (...) [N]

    Valid range: as `unstretched_over_nut`.

    Raises:
        RangeError: outside it.
    """
    ea, k = require("axial stiffness", axial, *AXIAL), np.exp(require("capstan exponent", capstan, *CAPSTAN))
    ahead, tail = require("path before the nut", front, *LENGTH), require("string behind the nut", behind, *PART)
    rest = require("unstretched length", unstretched, *LENGTH)
    spare = np.maximum(ahead + tail - rest, 0.0)
    linear = rest * (1.0 + k) - k * ahead - tail
    root = np.sqrt(linear**2 + 4.0 * k * rest * spare)
    strain = 2.0 * spare / (linear + root)
    return ea * require("stretch", strain, 0.0, STRAIN, "")
