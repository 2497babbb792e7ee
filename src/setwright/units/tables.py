"""The units a bench uses, kind by kind: size in SI and the spellings accepted.

Sizes are exact by definition: inch 25.4 mm and pound 0.45359237 kg (international yard and pound agreement, 1959),
standard gravity 9.80665 m/s2 (3rd CGPM, 1901); degree pi/180.
"""

from __future__ import annotations

import math
from fractions import Fraction
from types import MappingProxyType

from setwright.errors import InputError
from setwright.frozen import frozen

INCH = Fraction(254, 10_000)  # m
POUND = Fraction(45_359_237, 100_000_000)  # kg
GRAVITY = Fraction(980_665, 100_000)  # m/s2
POUND_FORCE = POUND * GRAVITY  # N
DEGREE = Fraction(math.pi / 180)  # rad, the nearest float


@frozen
class Kind:
    """One kind of quantity: its name, units with their SI size, other spellings, refusals with the reason."""

    name: str
    sizes: MappingProxyType[str, Fraction]
    spellings: MappingProxyType[str, str]
    refused: MappingProxyType[str, str]
    example: str


def _kind(
    name: str, example: str, sizes: dict[str, Fraction], spellings: dict[str, str], refused: dict[str, str]
) -> Kind:
    return Kind(name, MappingProxyType(sizes), MappingProxyType(spellings), MappingProxyType(refused), example)


_LENGTH = _kind(
    "length",
    '1.6 mm, 3/32 in, .010", 10 thou',
    {
        "mm": Fraction(1, 1000),
        "in": INCH,
        "thou": INCH / 1000,
        "cm": Fraction(1, 100),
        "m": Fraction(1),
        "µm": Fraction(1, 1_000_000),
        "ft": INCH * 12,
    },
    {
        '"': "in", "inch": "in", "inches": "in", "thous": "thou", "thousandth": "thou", "thousandths": "thou",
        "millimetre": "mm", "millimetres": "mm", "millimeter": "mm", "millimeters": "mm", "um": "µm",
        "micron": "µm", "microns": "µm", "foot": "ft", "feet": "ft",
    },
    {
        "mil": "'mil' is a thousandth of an inch to some and a millimetre to others; write thou or mm.",
        "mils": "'mils' are thousandths of an inch to some and millimetres to others; write thou or mm.",
        "'": "a single prime is feet, and easily a slip for inches; write in or ft.",
    },
)  # fmt: skip
_TURNS = _kind("turns", "3/8 turn, -1 1/4 turns", {"turn": Fraction(1)}, {"turns": "turn"}, {})
_CENTS = _kind("cents", "-4 c", {"c": Fraction(1)}, {"cent": "c", "cents": "c", "ct": "c", "¢": "c"}, {})
_FORCE = _kind(
    "force",
    "16.2 lb, 73 N, 7.3 kgf",
    {"N": Fraction(1), "lb": POUND_FORCE, "kgf": GRAVITY, "gf": GRAVITY / 1000},
    {"lbs": "lb", "lbf": "lb", "pound": "lb", "pounds": "lb", "newton": "N", "newtons": "N"},
    {"kg": "kg is a mass; write kgf for a pull, or N, or lb.", "g": "g is a mass; write gf for a pull, or N."},
)
_RATE = _kind(
    "rate",
    "3.5 N/mm, 20 lb/in",
    {
        "N/mm": Fraction(1000),
        "N/m": Fraction(1),
        "N/cm": Fraction(100),
        "lb/in": POUND_FORCE / INCH,
        "kgf/mm": GRAVITY * 1000,
        "kgf/cm": GRAVITY * 100,
    },
    {"lbf/in": "lb/in", "lbs/in": "lb/in", "lb/inch": "lb/in", "lbs/inch": "lb/in", 'lb/"': "lb/in"},
    {"kg/mm": "kg is a mass; write kgf/mm, N/mm or lb/in.", "kg/cm": "kg is a mass; write kgf/cm, N/mm or lb/in."},
)
_ANGLE = _kind(
    "angle",
    "0.5 deg, 0.5°, 9 mrad",
    {"deg": DEGREE, "mrad": Fraction(1, 1000), "rad": Fraction(1), "arcmin": DEGREE / 60},
    {"°": "deg", "degree": "deg", "degrees": "deg", "'": "arcmin"},
    {},
)
_FREQUENCY = _kind(
    "pitch",
    "440 Hz, E4, Bb2, E4 -10 c",
    {"Hz": Fraction(1), "kHz": Fraction(1000)},
    {"hertz": "Hz"},
    {"c": "cents need a note in front of them; write for instance E4 -10 c."},
)
_TEMPERATURE = _kind(
    "temperature",
    "20 C, 68 F",
    {"C": Fraction(1), "F": Fraction(5, 9), "K": Fraction(1)},
    {"°C": "C", "°F": "F", "deg C": "C", "deg F": "F", "c": "C", "f": "F", "° C": "C", "° F": "F"},
    {"deg": "degrees of which scale? write C or F.", "°": "degrees of which scale? write °C or °F."},
)
_MASS = _kind(
    "mass",
    "0.3 kg, 300 g",
    {"kg": Fraction(1), "g": Fraction(1, 1000), "mg": Fraction(1, 1_000_000), "lb": POUND, "oz": POUND / 16},
    {"lbs": "lb", "gram": "g", "grams": "g", "ounce": "oz", "ounces": "oz"},
    {},
)
_UNIT_MASS = _kind(
    "unit mass",
    "0.000395 kg/m, 0.395 g/m, 2.215e-5 lb/in",
    {"kg/m": Fraction(1), "g/m": Fraction(1, 1000), "lb/in": POUND / INCH},
    {"lbs/in": "lb/in", "lb/inch": "lb/in"},
    {},
)
_RATIO = _kind(
    "ratio",
    "15 %",
    {"%": Fraction(1, 100), "ppm": Fraction(1, 1_000_000)},
    {"percent": "%", "per cent": "%"},
    {},
)

KINDS: MappingProxyType[str, Kind] = MappingProxyType(
    {
        kind.name: kind
        for kind in (
            _LENGTH, _TURNS, _CENTS, _FORCE, _RATE, _ANGLE, _FREQUENCY, _TEMPERATURE, _MASS, _UNIT_MASS, _RATIO,
        )
    }
)  # fmt: skip


def kind_named(name: str) -> Kind:
    """The kind of that name ("length", "turns", "cents", ...). Raises InputError naming the kinds there are."""
    if name not in KINDS:
        raise InputError(f"there is no kind of quantity called {name!r}; there are: {', '.join(KINDS)}.")
    return KINDS[name]


def unit_size(kind: str, unit: str) -> float:
    """SI size of one unit of a kind (kind and unit are names; for temperature the size of one degree).

    Returns the size in the kind's SI unit. Raises InputError for an unknown kind or unit.
    """
    sizes = kind_named(kind).sizes
    if unit not in sizes:
        raise InputError(f"{unit!r} is not a unit of {kind}; there are: {', '.join(sizes)}.")
    return float(sizes[unit])
