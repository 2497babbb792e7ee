"""Stiffness of strings.

H. Fletcher, "Normal vibration frequencies of a stiff piano string", J. Acoust. Soc. Am. 36, 203 (1964): B and the
clamped factor (the latter from memory). J. A. Kemp, SN Applied Sciences 2:636 (2020), doi 10.1007/s42452-020-2391-2
(abstract read). Table of B for plain steel: computed for E = 200 GPa, 648 mm, with chart unit weights, not published.
"""

import numpy as np

from setwright.physics import strings
from setwright.physics.pitch import cents, note_frequency, note_number

INCH = 0.0254
ROWS = (
    (0.009, "E4", 1.078e-5),
    (0.010, "E4", 1.331e-5),
    (0.011, "B3", 2.869e-5),
    (0.013, "B3", 4.006e-5),
    (0.016, "G3", 9.633e-5),
    (0.017, "G3", 1.087e-4),
)


def coefficient(gauge, note, modulus=200e9):
    d = gauge * INCH
    tension = strings.plain_unit_mass(d) * (2.0 * 0.648 * note_frequency(note_number(note))) ** 2
    return strings.inharmonicity(tension, 0.648, strings.plain_bending(d, modulus))


def test_plain_steel(judged):
    """0.1 %: four printed digits (0.05 %) and unit weights from a chart with four digits (0.015 %)."""
    want = np.array([row[2] for row in ROWS])
    got = [coefficient(g, n) for g, n, _ in ROWS]
    wrong = [coefficient(g, n, 206e9) for g, n, _ in ROWS]
    source = "B = pi^3 E d^4 / (64 T L^2), E = 200 GPa, 648 mm, chart unit weights"
    judged("B of plain steel strings", want, got, 1e-3 * want, "1", source, "DERIVED", wrong=wrong)


def test_low_b_of_a_bass(judged):
    """About 100 cents at partial 10 stopped at fret 12 means B = 0.001225 there and 0.000306 open; at fret 21, 100
    cents at partial 6. 3 cents: "about"."""
    tension, mass, axial = 160.0, 0.049, 4e5
    length = 0.864
    bending = 0.000306 * tension * length**2 / np.pi**2
    sharp = []
    for fret, number in ((12, 10), (21, 6)):
        free = length * 2.0 ** (-fret / 12.0)
        ideal = strings.partial(1.0, tension, free, mass, axial, 0.0) * number
        sharp.append(cents(strings.partial(number, tension, free, mass, axial, bending), ideal))
    open_string = cents(
        strings.partial(10.0, tension, length, mass, axial, bending),
        10.0 * strings.partial(1.0, tension, length, mass, axial, 0.0),
    )
    source = "Kemp (2020), SN Appl. Sci. 2:636, abstract: about 100 cents"
    judged("sharpness of stopped partials", [100.0, 100.0], sharp, 3.0, "cent", source, "READ", wrong=[open_string] * 2)


def test_clamped_factor(judged):
    """B = 1e-4: 1 + 0.02/pi + 0.0004/pi^2 = 1.0064067262 by hand."""
    got = strings.end_factor(1e-4, "clamped")
    judged("clamped factor at B = 1e-4", 1.0064067262, got, 1e-9, "1", "Fletcher (1964)", "MEMORY", wrong=1.0)
