"""What a string is made of: mass, stiffness and breaking load from its measures.

Unit mass is of the UNSTRETCHED string. A wound string takes axial and bending stiffness from its core.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from setwright.errors import RangeError
from setwright.physics import materials
from setwright.physics._ranges import Array, choose, require

DIAMETER = (5e-5, 1e-2, "m")
DENSITY = (500.0, 25000.0, "kg/m3")
MODULUS = (1e8, 5e11, "Pa")
TENSION = (0.0, 5e3, "N")
SHAPES = ("round", "hex")
ROUND_WRAP_PACKING = float(np.pi / 4.0)  # one layer of round wire, turns touching


def plain_unit_mass(diameter: ArrayLike, density: ArrayLike = materials.MUSIC_WIRE_DENSITY) -> Array:
    """Mass per unstretched metre of a plain string, density x pi d^2 / 4.

    Args:
        diameter: (...) [m]
        density: (...) [kg/m3]

    Returns:
        (...) [kg/m]

    Valid range: diameter 0.05 to 10 mm, density 500 to 25 000 kg/m3.

    Raises:
        RangeError: outside it.
    """
    return require("density", density, *DENSITY) * core_area(diameter)


def plain_axial(diameter: ArrayLike, modulus: ArrayLike = materials.MUSIC_WIRE_MODULUS) -> Array:
    """Axial stiffness of a plain string, E pi d^2 / 4.

    Args:
        diameter: (...) [m]
        modulus: (...) [Pa] Young's modulus

    Returns:
        (...) [N]

    Valid range: diameter 0.05 to 10 mm, modulus 0.1 to 500 GPa.

    Raises:
        RangeError: outside it.
    """
    return require("Young's modulus", modulus, *MODULUS) * core_area(diameter)


def plain_bending(diameter: ArrayLike, modulus: ArrayLike = materials.MUSIC_WIRE_MODULUS) -> Array:
    """Bending stiffness of a plain string, E pi d^4 / 64.

    Args:
        diameter: (...) [m]
        modulus: (...) [Pa] Young's modulus

    Returns:
        (...) [N m2]

    Valid range: diameter 0.05 to 10 mm, modulus 0.1 to 500 GPa.

    Raises:
        RangeError: outside it.
    """
    return core_bending(diameter, "round", modulus)


def core_area(core: ArrayLike, shape: str = "round") -> Array:
    """Cross-section of a core wire: pi d^2 / 4, or sqrt(3)/2 s^2 for a hexagon of width s across the flats.

    Args:
        core: (...) [m] diameter, or width across the flats
        shape: "round" or "hex"

    Returns:
        (...) [m2]

    Valid range: 0.05 to 10 mm.

    Raises:
        RangeError: outside it or for another shape.
    """
    factor = np.pi / 4.0 if choose("core shape", shape, SHAPES) == "round" else np.sqrt(0.75)
    area: Array = factor * require("diameter", core, *DIAMETER) ** 2
    return area


def core_axial(core: ArrayLike, shape: str = "round", modulus: ArrayLike = materials.MUSIC_WIRE_MODULUS) -> Array:
    """Axial stiffness EA of the core of a wound string; the wrap carries no pull.

    Args:
        core: (...) [m] diameter, or width across the flats
        shape: "round" or "hex"
        modulus: (...) [Pa] Young's modulus of the core

    Returns:
        (...) [N]

    Valid range: core 0.05 to 10 mm, modulus 0.1 to 500 GPa.

    Raises:
        RangeError: outside it or for another shape.
    """
    return require("Young's modulus", modulus, *MODULUS) * core_area(core, shape)


def core_bending(core: ArrayLike, shape: str = "round", modulus: ArrayLike = materials.MUSIC_WIRE_MODULUS) -> Array:
    """Bending stiffness EI of a core: I = pi d^4 / 64, or 5 sqrt(3)/144 s^4 for a hexagon (the same about every axis).

    That a wound string bends like its core: Fletcher, J. Acoust. Soc. Am. 36, 203 (1964); Kemp, SN Appl. Sci. 2:636
    (2020), doi 10.1007/s42452-020-2391-2.

    Args:
        core: (...) [m] diameter, or width across the flats
        shape: "round" or "hex"
        modulus: (...) [Pa] Young's modulus of the core

    Returns:
        (...) [N m2]

    Valid range: core 0.05 to 10 mm, modulus 0.1 to 500 GPa.

    Raises:
        RangeError: outside it or for another shape.
    """
    factor = np.pi / 64.0 if choose("core shape", shape, SHAPES) == "round" else 5.0 * np.sqrt(3.0) / 144.0
    stiffness: Array = factor * require("Young's modulus", modulus, *MODULUS) * require("core", core, *DIAMETER) ** 4
    return stiffness


def wound_unit_mass(
    core: ArrayLike,
    overall: ArrayLike,
    wrap_density: ArrayLike,
    shape: str = "round",
    packing: ArrayLike = ROUND_WRAP_PACKING,
    core_density: ArrayLike = materials.MUSIC_WIRE_DENSITY,
) -> Array:
    """Mass per unstretched metre of a wound string: core plus a wrap that fills a share of the ring around it.

    Derived here: the ring reaches from the circle the wrap lies on (the core, or the corners of a hexagon) to the
    overall diameter. One layer of round wire with touching turns fills pi/4 of it exactly but for the pitch of the
    helix (below 0.5 %). Real strings depart by some 5 % (flattened wrap, tin, unknown core): a measured unit mass
    goes first.

    Args:
        core: (...) [m] diameter, or width across the flats
        overall: (...) [m] diameter over the wrap
        wrap_density: (...) [kg/m3]
        shape: "round" or "hex"
        packing: (...) [1] share of the ring that is metal
        core_density: (...) [kg/m3]

    Returns:
        (...) [kg/m]

    Valid range: the overall diameter above the core (its corners), packing 0.4 to 1.

    Raises:
        RangeError: outside it or for another shape.
    """
    area = core_area(core, shape)
    seat = np.asarray(core, dtype=np.float64) * (1.0 if shape == "round" else 2.0 / np.sqrt(3.0))
    outer = require("overall diameter", overall, *DIAMETER)
    if np.any(outer <= seat):
        raise RangeError("overall diameter is not above the core (across its corners): check which is which.")
    fill = require("packing", packing, 0.4, 1.0, "")
    ring = np.pi / 4.0 * (outer**2 - seat**2)
    mass: Array = require("core density", core_density, *DENSITY) * area
    wrap: Array = require("wrap density", wrap_density, *DENSITY) * fill * ring
    return np.asarray(mass + wrap)


def stress(tension: ArrayLike, core: ArrayLike, shape: str = "round") -> Array:
    """Tensile stress in a string: tension over the section of its core.

    Args:
        tension: (...) [N]
        core: (...) [m] diameter (of the string when plain), or width across the flats
        shape: "round" or "hex"

    Returns:
        (...) [Pa]

    Valid range: tension 0 to 5000 N, core 0.05 to 10 mm.

    Raises:
        RangeError: outside it or for another shape.
    """
    return require("tension", tension, *TENSION) / core_area(core, shape)


def breaking_load(core: ArrayLike, shape: str = "round") -> Array:
    """Least load that breaks a music-wire core: ASTM A228 minimum strength times its section, no nick, no kink.

    Args:
        core: (...) [m] diameter, or width across the flats (strength read at that size)
        shape: "round" or "hex"

    Returns:
        (...) [N]

    Valid range: 0.004 to 0.250 in.

    Raises:
        RangeError: outside it or for another shape.
    """
    return materials.music_wire_strength(core) * core_area(core, shape)


def breaking_margin(tension: ArrayLike, breaking: ArrayLike) -> Array:
    """Share of the breaking load in use, T / breaking load: 1 breaks.

    Args:
        tension: (...) [N]
        breaking: (...) [N] breaking load

    Returns:
        (...) [1]

    Valid range: tension 0 to 5000 N, breaking load 1 to 50 000 N.

    Raises:
        RangeError: outside it.
    """
    return require("tension", tension, *TENSION) / require("breaking load", breaking, 1.0, 5e4, "N")
