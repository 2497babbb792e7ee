"""Extension springs wound with initial tension: open coil, closed coil, slack.

Three states by the length between the hooks: slack (no force), closed (coils touching; stiff, not undefined) and open
(the linear law of the catalogue). The force is continuous, the stiffness steps.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from setwright.errors import RangeError
from setwright.physics._ranges import Array, require

LENGTH = (0.0, 2.0, "m")
RATE = (1.0, 1e6, "N/m")
INITIAL = (0.0, 1e3, "N")
CLOSED_RATE = (1.0, 1e10, "N/m")


def _spring(
    length: ArrayLike, rate: ArrayLike, initial: ArrayLike, free: ArrayLike, closed_rate: ArrayLike
) -> tuple[Array, Array, Array, Array]:
    """Check a spring; return extension over the closed length, rate, initial tension and closed rate."""
    k, kc = require("spring rate", rate, *RATE), require("closed-coil rate", closed_rate, *CLOSED_RATE)
    if np.any(kc < k):
        raise RangeError("closed-coil rate is below the spring rate; a closed coil is stiffer: check both units.")
    x = require("spring length", length, *LENGTH) - require("free length", free, *LENGTH)
    return x, k, require("initial tension", initial, *INITIAL), kc


def force(length: ArrayLike, rate: ArrayLike, initial: ArrayLike, free: ArrayLike, closed_rate: ArrayLike) -> Array:
    """Pull of an extension spring with initial tension.

    Open (length >= free): F = initial + rate (length - free), EN 13906-2 (from memory). Closed: F = initial +
    closed_rate (length - free), down to zero; slack below (derived here).

    Args:
        length: (...) [m] hook to hook
        rate: (...) [N/m] of the open coil
        initial: (...) [N] initial tension, which opens the coil
        free: (...) [m] hook to hook with the coil just closed
        closed_rate: (...) [N/m] stiffness of the closed coil, hooks included

    Returns:
        (...) [N], never negative: a slack spring does not push.

    Valid range: lengths 0 to 2 m, rates 1 to 1e6 N/m (closed up to 1e10, not below the rate), initial 0 to 1000 N.

    Raises:
        RangeError: outside it.
    """
    x, k, f0, kc = _spring(length, rate, initial, free, closed_rate)
    return np.where(x >= 0.0, f0 + k * x, np.maximum(f0 + kc * x, 0.0))


def energy(length: ArrayLike, rate: ArrayLike, initial: ArrayLike, free: ArrayLike, closed_rate: ArrayLike) -> Array:
    """Energy stored in the spring: the exact integral of `force` over length, zero when slack (derived here).

    Args:
        length: (...) [m] hook to hook
        rate: (...) [N/m] of the open coil
        initial: (...) [N] initial tension
        free: (...) [m] hook to hook with the coil just closed
        closed_rate: (...) [N/m] stiffness of the closed coil

    Returns:
        (...) [J]

    Valid range: as `force`.

    Raises:
        RangeError: outside it.
    """
    x, k, f0, kc = _spring(length, rate, initial, free, closed_rate)
    closed = np.maximum(f0 + kc * np.minimum(x, 0.0), 0.0) ** 2 / (2.0 * kc)
    opened = np.maximum(x, 0.0)
    total: Array = closed + opened * (f0 + 0.5 * k * opened)
    return total


def stiffness(length: ArrayLike, rate: ArrayLike, initial: ArrayLike, free: ArrayLike, closed_rate: ArrayLike) -> Array:
    """Derivative of `force` with length; at a change of state the value of the longer side (derived here).

    Args:
        length: (...) [m] hook to hook
        rate: (...) [N/m] of the open coil
        initial: (...) [N] initial tension
        free: (...) [m] hook to hook with the coil just closed
        closed_rate: (...) [N/m] stiffness of the closed coil

    Returns:
        (...) [N/m]: rate when open, closed_rate when closed, 0 when slack.

    Valid range: as `force`.

    Raises:
        RangeError: outside it.
    """
    x, k, f0, kc = _spring(length, rate, initial, free, closed_rate)
    return np.where(x >= 0.0, k, np.where(f0 + kc * x >= 0.0, kc, 0.0))


def rate_from_coil(shear_modulus: ArrayLike, wire: ArrayLike, mean_diameter: ArrayLike, coils: ArrayLike) -> Array:
    """Rate of a close-coiled helical spring, k = G d^4 / (8 D^3 n): Wahl; EN 13906-2 (from memory).

    Args:
        shear_modulus: (...) [Pa] of the wire, 81.5 GPa for spring steel by EN 10270-1
        wire: (...) [m] wire diameter d
        mean_diameter: (...) [m] mean coil diameter D, outside diameter less one wire
        coils: (...) [1] active coils n

    Returns:
        (...) [N/m]

    Valid range: G 10 to 200 GPa, d 0.1 to 10 mm, spring index D/d 3 to 25 (thicker wire than that needs a curvature
    correction), n 1 to 1000.

    Raises:
        RangeError: outside it.
    """
    g = require("shear modulus", shear_modulus, 1e10, 2e11, "Pa")
    d = require("wire diameter", wire, 1e-4, 1e-2, "m")
    index = require("spring index D/d", require("mean coil diameter", mean_diameter, 1e-4, 0.5, "m") / d, 3.0, 25.0, "")
    rate: Array = g * d / (8.0 * index**3 * require("active coils", coils, 1.0, 1000.0, ""))
    return rate
