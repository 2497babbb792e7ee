"""Handbook beams: simply supported, bent by a couple at one end or at both.

Roark's Formulas for Stress and Strain, table 8.1 (from memory), integrated again in the tests. Deflection counts away
from the chord through the supports; places count from the end WITHOUT the couple.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from setwright.physics._ranges import Array, require
from setwright.physics.neck import MOMENT

SPAN = (0.01, 3.0, "m")
BENDING = (1.0, 1e4, "N m2")


def _unit(moment: ArrayLike, span: ArrayLike, bending: ArrayLike) -> Array:
    """M L^2 / EI."""
    length = require("span", span, *SPAN)
    size: Array = require("couple", moment, *MOMENT) * length**2 / require("bending stiffness", bending, *BENDING)
    return size


def mid_two_couples(moment: ArrayLike, span: ArrayLike, bending: ArrayLike) -> Array:
    """Deflection at mid-span under equal couples at both ends, M L^2 / (8 EI): a neck under its strings, relief at mid.

    Args:
        moment: (...) [N m] each couple
        span: (...) [m] between the supports
        bending: (...) [N m2] EI

    Returns:
        (...) [m]

    Valid range: couple within 500 N m, span 10 mm to 3 m, EI 1 to 10 000 N m2.

    Raises:
        RangeError: outside it.
    """
    return _unit(moment, span, bending) / 8.0


def mid_one_couple(moment: ArrayLike, span: ArrayLike, bending: ArrayLike) -> Array:
    """Deflection at mid-span under a couple at one end, M L^2 / (16 EI).

    Args:
        moment: (...) [N m] the couple
        span: (...) [m] between the supports
        bending: (...) [N m2] EI

    Returns:
        (...) [m]

    Valid range: as `mid_two_couples`.

    Raises:
        RangeError: outside it.
    """
    return _unit(moment, span, bending) / 16.0


def greatest_one_couple(moment: ArrayLike, span: ArrayLike, bending: ArrayLike) -> tuple[Array, Array]:
    """Greatest deflection under a couple at one end, M L^2 / (9 sqrt(3) EI), and where: L / sqrt(3).

    Args:
        moment: (...) [N m] the couple
        span: (...) [m] between the supports
        bending: (...) [N m2] EI

    Returns:
        (...) [m] deflection, and (...) [m] its place from the end without the couple.

    Valid range: as `mid_two_couples`.

    Raises:
        RangeError: outside it.
    """
    place: Array = require("span", span, *SPAN) / np.sqrt(3.0)
    deflection: Array = _unit(moment, span, bending) / (9.0 * np.sqrt(3.0))
    return deflection, place


def deflection_one_couple(x: ArrayLike, moment: ArrayLike, span: ArrayLike, bending: ArrayLike) -> Array:
    """Deflection anywhere under a couple at one end, M x (L^2 - x^2) / (6 EI L).

    Args:
        x: (...) [m] from the end without the couple
        moment: (...) [N m] the couple
        span: (...) [m] between the supports
        bending: (...) [N m2] EI

    Returns:
        (...) [m]

    Valid range: x between the supports; else as `mid_two_couples`.

    Raises:
        RangeError: outside it.
    """
    share = require("x over span", require("x", x, 0.0, *SPAN[1:]) / require("span", span, *SPAN), 0.0, 1.0, "")
    deflection: Array = _unit(moment, span, bending) * share * (1.0 - share**2) / 6.0
    return deflection
