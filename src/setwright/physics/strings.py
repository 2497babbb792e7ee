"""Strings: how they pull and at what pitch. What they are made of is in `construction`, offered here too.

Unit mass is of the UNSTRETCHED string and mass is conserved: stretched by lam = 1 + T/EA the string weighs unit_mass
/ lam per metre. "Pitch" is the first partial. Tension is Hooke's law on the unstretched length, T = EA (lam - 1). A
string is "locked" when the nut clamps it, "clamped" when it ends at the saddle.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from setwright.physics._ranges import Array, choose, require
from setwright.physics.construction import TENSION as TENSION
from setwright.physics.construction import breaking_load as breaking_load
from setwright.physics.construction import breaking_margin as breaking_margin
from setwright.physics.construction import core_area as core_area
from setwright.physics.construction import core_axial as core_axial
from setwright.physics.construction import core_bending as core_bending
from setwright.physics.construction import plain_axial as plain_axial
from setwright.physics.construction import plain_bending as plain_bending
from setwright.physics.construction import plain_unit_mass as plain_unit_mass
from setwright.physics.construction import stress as stress
from setwright.physics.construction import wound_unit_mass as wound_unit_mass
from setwright.physics.pitch import FREQUENCY

LENGTH = (1e-3, 5.0, "m")
PART = (0.0, 5.0, "m")
TAUT = (1e-6, 5e3, "N")
UNIT_MASS = (1e-6, 1.0, "kg/m")
AXIAL = (1.0, 1e8, "N")
BENDING = (0.0, 10.0, "N m2")
STRAIN = 0.5  # greatest stretch accepted; steel breaks near 0.015, nylon near 0.25
ENDS = ("pinned", "clamped", "clamped-pinned")
END_SLOPE = {"pinned": 0.0, "clamped": 2.0 / np.pi, "clamped-pinned": 1.0 / np.pi}  # k in 1 + k sqrt(B) + k^2 B


def tension_from_stretch(length: ArrayLike, unstretched: ArrayLike, axial: ArrayLike) -> Array:
    """Tension of a string of known unstretched length, T = EA (length / unstretched - 1), zero when slack.

    Args:
        length: (...) [m] of the whole path that shares one tension
        unstretched: (...) [m] of the same piece of string
        axial: (...) [N] EA

    Returns:
        (...) [N]

    Valid range: lengths 1 mm to 5 m, stretch up to a half.

    Raises:
        RangeError: outside it.
    """
    pull = require("string length", length, *LENGTH) / require("unstretched length", unstretched, *LENGTH) - 1.0
    strain = require("stretch", np.maximum(pull, 0.0), 0.0, STRAIN, "")
    tension: Array = require("axial stiffness", axial, *AXIAL) * strain
    return tension


def unstretched_for_tension(length: ArrayLike, tension: ArrayLike, axial: ArrayLike) -> Array:
    """Unstretched length that gives a tension, length / (1 + T/EA); the inverse of `tension_from_stretch`.

    Args:
        length: (...) [m] of the whole path
        tension: (...) [N]
        axial: (...) [N] EA

    Returns:
        (...) [m]

    Valid range: length 1 mm to 5 m, tension 0 to 5000 N, stretch up to a half.

    Raises:
        RangeError: outside it.
    """
    return require("string length", length, *LENGTH) / (1.0 + _strain(tension, axial))


def _strain(tension: ArrayLike, axial: ArrayLike) -> Array:
    """Stretch T/EA, checked."""
    pull = require("tension", tension, *TENSION) / require("axial stiffness", axial, *AXIAL)
    return require("stretch T/EA", pull, 0.0, STRAIN, "")


def whole_path(
    speaking: ArrayLike, behind_nut: ArrayLike, behind_saddle: ArrayLike, locked: ArrayLike, clamped: ArrayLike
) -> Array:
    """Length of string that shares the stretch: the speaking part and what can slide in from behind nut and saddle.

    Args:
        speaking: (...) [m]
        behind_nut: (...) [m] from nut to tuner, cut off by a locked nut
        behind_saddle: (...) [m] from saddle to anchor, cut off by a clamping saddle
        locked: (...) [1] true when the nut clamps the string
        clamped: (...) [1] true when the string ends at the saddle

    Returns:
        (...) [m]

    Valid range: speaking 1 mm to 5 m, the others 0 to 5 m.

    Raises:
        RangeError: outside it.
    """
    front = np.where(locked, 0.0, require("string behind the nut", behind_nut, *PART))
    rear = np.where(clamped, 0.0, require("string behind the saddle", behind_saddle, *PART))
    total: Array = require("speaking length", speaking, *LENGTH) + front + rear
    return total


def inharmonicity(tension: ArrayLike, speaking_length: ArrayLike, bending: ArrayLike) -> Array:
    """Inharmonicity coefficient B = pi^2 EI / (T L^2), for a round wire pi^3 E d^4 / (64 T L^2).

    Fletcher, J. Acoust. Soc. Am. 36, 203 (1964); Fletcher and Rossing, Physics of Musical Instruments, 2nd ed., 2.18.

    Args:
        tension: (...) [N]
        speaking_length: (...) [m]
        bending: (...) [N m2] EI

    Returns:
        (...) [1]

    Valid range: tension above 1e-6 N, length 1 mm to 5 m, EI 0 to 10 N m2.

    Raises:
        RangeError: outside it.
    """
    t, length = require("tension", tension, *TAUT), require("speaking length", speaking_length, *LENGTH)
    coefficient: Array = np.pi**2 * require("bending stiffness", bending, *BENDING) / (t * length**2)
    return coefficient


def end_factor(coefficient: ArrayLike, ends: str = "pinned") -> Array:
    """What the ends of a stiff string do to all its partials: 1 + k sqrt(B) + k^2 B.

    "pinned": k = 0. "clamped": k = 2/pi, Fletcher, J. Acoust. Soc. Am. 36, 203 (1964) (from memory). "clamped-pinned"
    (clamped at nut or fret, pinned at the saddle): k = 1/pi, the form of Anderson and Beausoleil, J. Acoust. Soc. Am.
    156(1), 683 (2024), 1 + b + (1 + pi^2 q^2 / 2) b^2 for partial q with b = sqrt(B) / pi, divided by sqrt(1 + B q^2).

    Args:
        coefficient: (...) [1] inharmonicity B
        ends: "pinned", "clamped" or "clamped-pinned"

    Returns:
        (...) [1]

    Valid range: pinned any B; else B up to 0.01, as the series leaves out higher powers of sqrt(B).

    Raises:
        RangeError: outside it or for other ends.
    """
    slope = END_SLOPE[choose("ends", ends, ENDS)]
    if slope == 0.0:
        return np.ones_like(require("inharmonicity", coefficient, 0.0, 1e12, ""))
    root = slope * np.sqrt(require("inharmonicity of a clamped string", coefficient, 0.0, 0.01, ""))
    factor: Array = 1.0 + root + root**2
    return factor


def partial(
    number: ArrayLike,
    tension: ArrayLike,
    speaking_length: ArrayLike,
    unit_mass: ArrayLike,
    axial: ArrayLike,
    bending: ArrayLike,
    ends: str = "pinned",
) -> Array:
    """Frequency of a partial, f_n = (n / 2L) sqrt(T lam / mu) sqrt(1 + B n^2) x end factor, lam = 1 + T/EA.

    Fletcher (1964), with the mass of the unstretched string conserved (derived here).

    Args:
        number: (...) [1] n, 1 for the first partial
        tension: (...) [N]
        speaking_length: (...) [m] L
        unit_mass: (...) [kg/m] mu, per unstretched metre
        axial: (...) [N] EA
        bending: (...) [N m2] EI
        ends: "pinned", "clamped" or "clamped-pinned"

    Returns:
        (...) [Hz]

    Valid range: n 1 to 100, tension above 1e-6 N, stretch up to a half, clamped ends B up to 0.01.

    Raises:
        RangeError: outside it.
    """
    n = require("number of the partial", number, 1.0, 100.0, "")
    length, mass = require("speaking length", speaking_length, *LENGTH), require("unit mass", unit_mass, *UNIT_MASS)
    b = inharmonicity(tension, length, bending)
    speed = np.sqrt(np.asarray(tension, dtype=np.float64) * (1.0 + _strain(tension, axial)) / mass)
    frequency: Array = n / (2.0 * length) * speed * np.sqrt(1.0 + b * n**2) * end_factor(b, ends)
    return frequency


def first_partial(
    tension: ArrayLike,
    speaking_length: ArrayLike,
    unit_mass: ArrayLike,
    axial: ArrayLike,
    bending: ArrayLike,
    ends: str = "pinned",
) -> Array:
    """Pitch of a string: `partial` with n = 1.

    Args:
        tension: (...) [N]
        speaking_length: (...) [m]
        unit_mass: (...) [kg/m] per unstretched metre
        axial: (...) [N] EA
        bending: (...) [N m2] EI
        ends: "pinned", "clamped" or "clamped-pinned"

    Returns:
        (...) [Hz]

    Valid range: as `partial`.

    Raises:
        RangeError: outside it.
    """
    return partial(1.0, tension, speaking_length, unit_mass, axial, bending, ends)


def tension_at_pitch(
    frequency: ArrayLike, speaking_length: ArrayLike, unit_mass: ArrayLike, axial: ArrayLike, bending: ArrayLike
) -> Array:
    """Tension that gives a first partial: the exact inverse of `first_partial` with pinned ends.

    Derived here: 4 L^2 f^2 mu = (T + b)(1 + T/EA), b = pi^2 EI / L^2, is a quadratic in T; its positive root is taken
    in the form without cancellation, T = 2 EA (q - b) / (EA + b + sqrt((EA - b)^2 + 4 EA q)), q = 4 L^2 f^2 mu.

    Args:
        frequency: (...) [Hz]
        speaking_length: (...) [m]
        unit_mass: (...) [kg/m] per unstretched metre
        axial: (...) [N] EA
        bending: (...) [N m2] EI

    Returns:
        (...) [N]

    Valid range: frequency 0.1 to 100 000 Hz and above that of the slack string's own stiffness; tension to 5000 N.

    Raises:
        RangeError: outside it.
    """
    f, length = require("frequency", frequency, *FREQUENCY), require("speaking length", speaking_length, *LENGTH)
    ea, ei = require("axial stiffness", axial, *AXIAL), require("bending stiffness", bending, *BENDING)
    q = (2.0 * length * f) ** 2 * require("unit mass", unit_mass, *UNIT_MASS)
    b = np.pi**2 * ei / length**2
    tension = 2.0 * ea * (q - b) / (ea + b + np.sqrt((ea - b) ** 2 + 4.0 * ea * q))
    require("stretch for this pitch", tension / ea, -1.0, STRAIN, "")
    return require("tension for this pitch", tension, *TAUT)


def pitch_shift(
    path_change: ArrayLike,
    speaking_change: ArrayLike,
    tension: ArrayLike,
    axial: ArrayLike,
    path: ArrayLike,
    speaking: ArrayLike,
    axial_per: str = "unstretched",
) -> Array:
    """First-order pitch change when the path grows: d ln f = (EA/(2T) + c) dp / path - dL / speaking (derived here).

    c = 1 when EA belongs to the unstretched length, as everywhere in this module: half from the tension, half from
    the mass per metre. c = 1/2 when EA is taken per stretched length, as simple vibrato and bend formulas do; the two
    differ by less than 1 % of the shift on steel. Bending stiffness is left out.

    Args:
        path_change: (...) [m] dp, growth of the whole path
        speaking_change: (...) [m] dL, growth of the speaking length
        tension: (...) [N] before the change
        axial: (...) [N] EA
        path: (...) [m] whole path that shares the stretch
        speaking: (...) [m] speaking length
        axial_per: "unstretched" or "stretched" length

    Returns:
        (...) [1] relative change of frequency; times `pitch.CENTS_PER_LOG` in cents.

    Valid range: changes up to 50 mm, tension above 1e-6 N, lengths 1 mm to 5 m.

    Raises:
        RangeError: outside it.
    """
    dp = require("path change", path_change, -0.05, 0.05, "m")
    dl = require("change of the speaking length", speaking_change, -0.05, 0.05, "m")
    t = require("tension", tension, *TAUT)
    constant = 1.0 if choose("axial_per", axial_per, ("unstretched", "stretched")) == "unstretched" else 0.5
    gain = 0.5 * require("axial stiffness", axial, *AXIAL) / t + constant
    shift: Array = gain * dp / require("path", path, *LENGTH) - dl / require("speaking length", speaking, *LENGTH)
    return shift


def static_tension_published(unit_weight: ArrayLike, scale: ArrayLike, frequency: ArrayLike) -> Array:
    """Tension as the trade's charts compute it, T = UW (2 L f)^2 / 386.4, in the charts' own units.

    The string makers' published form: no stretch, no stiffness; 386.4 in/s2 is the acceleration of gravity.

    Args:
        unit_weight: (...) [lb/in]
        scale: (...) [in]
        frequency: (...) [Hz]

    Returns:
        (...) [lbf]

    Valid range: unit weight 1e-7 to 0.05 lb/in, scale 1 to 100 in, frequency 0.1 to 100 000 Hz.

    Raises:
        RangeError: outside it.
    """
    weight = require("unit weight", unit_weight, 1e-7, 0.05, "lb/in")
    length, f = require("scale length", scale, 1.0, 100.0, "in"), require("frequency", frequency, *FREQUENCY)
    tension: Array = weight * (2.0 * length * f) ** 2 / 386.4
    return tension
