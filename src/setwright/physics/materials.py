"""Materials of strings: density, stiffness, strength and what warmth does to them.

Music wire. Density 7806 kg/m3 is what the unit weights published for plain steel strings imply (22 gauges, 7804 to
7810); textbooks print 7800 to 7850. Young's modulus is taken as 200 GPa, the figure of the trade's published string
calculations. EN 10270-1 gives 206 GPa and general material tables 190 GPa; the choice moves a bend, a vibrato throw
or a stiffness by up to 5 %, so it carries a standard uncertainty of 6 GPa (a rectangular spread over 190 to 210 GPa,
JCGM 100, 4.3.7).
"""

from __future__ import annotations

import math
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike

from setwright.frozen import frozen
from setwright.physics._ranges import Array, choose, require

MUSIC_WIRE_DENSITY = 7806.0  # kg/m3
MUSIC_WIRE_DENSITY_UNCERTAINTY = 10.0  # kg/m3, standard
MUSIC_WIRE_MODULUS = 200e9  # Pa
MUSIC_WIRE_MODULUS_UNCERTAINTY = 6e9  # Pa, standard
STRING_EXPANSION = 1.15e-5  # 1/K, linear expansion of carbon steel (from memory)
MODULUS_FALL = 2.6e-4  # 1/K, relative fall of the Young's modulus of carbon steel near room temperature (from memory)

INCH = 0.0254  # m
KSI = 6.894757293168e6  # Pa, 1000 lbf/in2


@frozen
class WrapMaterial:
    """A metal the wrap of a wound string is made of."""

    density: float  # kg/m3
    uncertainty: float  # kg/m3, standard


# Handbook densities of the alloys in use (from memory); the spread covers plating thickness and alloy within each name.
WRAPS = MappingProxyType(
    {
        "nickel-plated steel": WrapMaterial(7900.0, 50.0),
        "nickel": WrapMaterial(8900.0, 30.0),
        "stainless steel": WrapMaterial(7750.0, 100.0),
        "bronze": WrapMaterial(8800.0, 80.0),
    }
)

# ASTM A228 music wire, tensile strength by diameter: (inch, minimum ksi, maximum ksi), read in a wire merchant's public
# copy of the table. That copy prints 255 as the maximum at 0.036 in, below the minimum: a misprint, left out here.
# fmt: off
A228 = (
    (0.004, 439, 485), (0.005, 426, 471), (0.006, 415, 459), (0.007, 407, 449), (0.008, 399, 441), (0.009, 393, 434),
    (0.01, 387, 428), (0.011, 382, 422), (0.012, 377, 417), (0.013, 373, 412), (0.014, 369, 408), (0.015, 365, 404),
    (0.016, 362, 400), (0.018, 356, 393), (0.02, 350, 387), (0.022, 345, 382), (0.024, 341, 377), (0.026, 337, 373),
    (0.028, 333, 368), (0.03, 330, 365), (0.032, 327, 361), (0.034, 324, 358), (0.036, 321, math.nan),
    (0.038, 318, 352), (0.04, 315, 349), (0.042, 313, 346), (0.045, 309, 342), (0.048, 306, 339), (0.051, 303, 335),
    (0.055, 300, 331), (0.059, 296, 327), (0.063, 293, 324), (0.067, 290, 321), (0.072, 287, 317), (0.076, 284, 314),
    (0.08, 282, 312), (0.085, 279, 308), (0.09, 276, 305), (0.095, 274, 303), (0.1, 271, 300), (0.102, 270, 299),
    (0.107, 268, 296), (0.11, 267, 295), (0.112, 266, 294), (0.121, 263, 290), (0.125, 261, 288), (0.13, 259, 286),
    (0.135, 258, 285), (0.14, 256, 283), (0.145, 254, 281), (0.15, 253, 279), (0.156, 251, 277), (0.162, 249, 275),
    (0.177, 245, 270), (0.192, 241, 267), (0.207, 238, 264), (0.225, 235, 260), (0.25, 230, 255),
)
# fmt: on

_TABLE = np.array(A228)
_WIRE = (A228[0][0] * INCH, A228[-1][0] * INCH)


def music_wire_strength(diameter: ArrayLike, bound: str = "minimum") -> Array:
    """Tensile strength of music wire of a diameter: ASTM A228, exact at the diameters of the table.

    Between two diameters the strength is taken as linear in the logarithm of the diameter; at the table's spacing that
    departs from a power law between the two by less than 0.1 %.

    Args:
        diameter: (...) [m] of the wire; for a wound string of its core
        bound: "minimum" or "maximum" of the standard's range

    Returns:
        (...) [Pa] tensile strength.

    Valid range: 0.004 to 0.250 in, the table's own.

    Raises:
        RangeError: for a diameter outside the table or another bound.
    """
    d = require("wire diameter", diameter, *_WIRE, "m")
    column = _TABLE[:, 1 if choose("bound of strength", bound, ("minimum", "maximum")) == "minimum" else 2]
    known = ~np.isnan(column)
    strength: Array = KSI * np.interp(np.log(d), np.log(_TABLE[known, 0] * INCH), column[known])
    return strength
