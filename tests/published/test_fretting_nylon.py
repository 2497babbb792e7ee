"""Set-backs of 24 nylon strings.

M. B. Anderson and R. G. Beausoleil, "Classical guitar intonation and compensation: The well-tempered guitar", J.
Acoust. Soc. Am. 156(1), 683 (2024), https://pubs.aip.org/asa/jasa/article/156/1/683/3304820; text and data tables read
in the authors' public source, commit 9f6c878 (22 July 2024). READ: frequencies, R, kappa, B_0, E, set-backs, residuals.
DERIVED: cents per fret, worked out from the paper's formulas by a program apart from this project (the paper shows
them as figures only). Tolerances are half the last printed digit where nothing else is said.

Order of assumptions that meets the print: B_n = gamma_n B_0, least squares on the full error (not the closed form of
the appendix), residual over frets 0 to 12. R takes L from saddle to fret 1 and f as the note's nominal frequency.
"""

from __future__ import annotations

import numpy as np

from setwright.physics import fretting
from setwright.physics.frets import fret_position
from setwright.physics.fretting import published_model as model
from setwright.physics.pitch import note_frequency, note_number

SOURCE = "Anderson and Beausoleil (2024), J. Acoust. Soc. Am. 156(1), 683"
OWN = f"worked out apart from the formulas of {SOURCE}"
INCH, POUND_PER_INCH = 0.0254, 0.45359237 / 0.0254
FRAME = model.Frame(scale=0.650, nut_height=1e-3, saddle_height=4e-3)
NOTES = ("E4", "B3", "G3", "D3", "A2", "E2")
DISPLACEMENT = np.arange(7) * 0.5e-3
# per set, Hz at each displacement, strings 1 to 6
FREQUENCY = {
    "light": (
        (298.6, 309.2, 320.4, 330.3, 340.5, 350.5, 359.2),
        (221.8, 229.3, 238.7, 248.2, 257.2, 265.2, 271.7),
        (173.8, 183.5, 192.2, 201.1, 209.7, 218.2, 226.9),
        (133.7, 136.5, 139.2, 144.8, 148.7, 151.9, 155.3),
        (98.4, 100.8, 102.9, 105, 107.5, 109.8, 112.7),
        (71.5, 73.5, 74.8, 76.7, 79.4, 81.3, 82.6),
    ),
    "extra hard": (
        (293.8, 299.8, 307.5, 315.2, 322, 328.3, 334.7),
        (220.1, 226.1, 233.2, 238.9, 243.8, 248.5, 253.6),
        (177.7, 182.5, 188.1, 192.8, 196.9, 201.2, 206.4),
        (132.7, 135.2, 138.7, 142, 144.8, 147.3, 150.5),
        (97.7, 99.8, 101.7, 104.1, 106.1, 108.2, 110.5),
        (74.5, 76.3, 78.1, 80, 81.7, 83.5, 85.2),
    ),
    "normal": (
        (326, 331.5, 337.5, 345, 352, 357.5, 363),
        (241, 246, 252, 256, 259.5, 265, 270.5),
        (193, 197.5, 202, 206.5, 212, 215, 221),
        (144.8, 148.1, 151, 153.4, 156.6, 158.9, 160.7),
        (109.7, 112, 114, 116.6, 119, 120.5, 122.3),
        (81.9, 84.1, 85.7, 87.6, 89.7, 91.6, 93.5),
    ),
    "carbon hard": (
        (286.4, 292.2, 298.2, 303.4, 309.7, 316, 322.4),
        (218.3, 222.3, 227.9, 232.1, 236.3, 241.1, 246.3),
        (170.7, 174.4, 179.2, 183.9, 187.7, 191.4, 195),
        (130.2, 132.5, 135.5, 137.9, 140.8, 143.8, 146.7),
        (94.8, 96.8, 99, 101.2, 103.4, 105.4, 107.5),
        (73.2, 74.6, 76.5, 77.9, 79.3, 80.8, 82.6),
    ),
}
# one standard deviation of the normal set's frequencies, Hz
SIGMA = (
    (0.78, 0.76, 0.83, 0.89, 0.92, 0.93, 0.93),
    (0.6, 0.63, 0.63, 0.58, 0.71, 0.72, 0.67),
    (0.47, 0.51, 0.49, 0.57, 0.54, 0.51, 0.51),
    (0.33, 0.32, 0.36, 0.39, 0.36, 0.41, 0.4),
    (0.28, 0.27, 0.31, 0.29, 0.31, 0.29, 0.31),
    (0.18, 0.2, 0.22, 0.21, 0.22, 0.22, 0.24),
)
# note, diameter in, unit weight lb/in, R, its sigma, kappa, B_0, E GPa, saddle mm, nut mm, residual cents
STRINGS = {
    "light": (
        ("E4", 0.0275, 2.024e-05, 37.8232, 0.5472, 76.6464, 0.002352009, 13.27533, 1.95, -0.57, 0.229),
        ("B3", 0.0317, 2.729e-05, 42.5909, 0.9862, 86.1817, 0.00287493, 8.50061, 2.37, -0.64, 0.259),
        ("G3", 0.0397, 4.525e-05, 55.0474, 0.4467, 111.0947, 0.004087875, 7.29784, 3.39, -0.82, 0.339),
        ("D3", 0.028, 0.00010203, 31.3675, 1.2394, 63.7351, 0.002183774, 10.65112, 1.76, -0.47, 0.19),
        ("A2", 0.033, 0.00015347, 26.0944, 0.5471, 53.1889, 0.002351174, 5.40211, 1.83, -0.39, 0.159),
        ("E2", 0.042, 0.00028881, 28.4505, 1.0718, 57.901, 0.003122142, 3.83432, 2.4, -0.43, 0.175),
    ),
    "extra hard": (
        ("E4", 0.029, 2.243e-05, 25.8182, 0.4312, 52.6363, 0.002055422, 9.08505, 1.62, -0.39, 0.157),
        ("B3", 0.0333, 3.046e-05, 27.6663, 0.9035, 56.3326, 0.002441657, 5.6202, 1.91, -0.42, 0.169),
        ("G3", 0.0416, 4.989e-05, 29.5807, 0.5591, 60.1614, 0.003152192, 3.96833, 2.43, -0.44, 0.182),
        ("D3", 0.03, 0.00011237, 24.9806, 0.4877, 50.9612, 0.002092192, 8.17058, 1.63, -0.38, 0.152),
        ("A2", 0.036, 0.00019521, 23.744, 0.2417, 48.4879, 0.002448948, 5.26353, 1.87, -0.36, 0.145),
        ("E2", 0.045, 0.00034351, 26.6424, 0.163, 54.2848, 0.003239009, 3.72462, 2.47, -0.4, 0.165),
    ),
    "normal": (
        ("E4", 0.028, 2.092e-05, 23.6145, 0.499, 48.229, 0.001899645, 8.32841, 1.48, -0.36, 0.143),
        ("B3", 0.0322, 2.827e-05, 23.8468, 0.6697, 48.6935, 0.002195088, 4.82209, 1.69, -0.36, 0.145),
        ("G3", 0.0403, 4.679e-05, 28.8166, 0.6419, 58.6333, 0.003014654, 3.86501, 2.33, -0.43, 0.177),
        ("D3", 0.029, 0.00010754, 22.5231, 0.7701, 46.0461, 0.001922449, 7.56088, 1.49, -0.34, 0.137),
        ("A2", 0.035, 0.00018416, 23.8678, 0.7226, 48.7357, 0.002386997, 5.28023, 1.83, -0.36, 0.146),
        ("E2", 0.043, 0.00030632, 28.6108, 0.3675, 58.2217, 0.003205318, 3.90132, 2.46, -0.43, 0.177),
    ),
    "carbon hard": (
        ("E4", 0.0248, 2.8e-05, 22.2153, 0.2828, 45.4306, 0.001633001, 13.3848, 1.28, -0.34, 0.135),
        ("B3", 0.028, 3.6e-05, 23.07, 0.377, 47.1401, 0.001878078, 7.86189, 1.46, -0.35, 0.14),
        ("G3", 0.0339, 5.3e-05, 25.8021, 0.6023, 52.6041, 0.002401983, 5.55085, 1.86, -0.39, 0.158),
        ("D3", 0.029, 0.000103, 23.1004, 0.3766, 47.2007, 0.001946402, 7.42326, 1.51, -0.35, 0.14),
        ("A2", 0.036, 0.000199, 23.7838, 0.1584, 48.5676, 0.00245096, 5.37454, 1.87, -0.36, 0.146),
        ("E2", 0.046, 0.000343, 23.0795, 0.4119, 47.1589, 0.00308603, 3.09194, 2.32, -0.35, 0.143),
    ),
}
# cents at frets 1 to 12 without set-backs
PLAIN = (
    (2.472, 2.167, 2.343, 2.657, 3.043, 3.478, 3.955, 4.471, 5.024, 5.614, 6.244, 6.914),
    (2.805, 2.492, 2.72, 3.106, 3.574, 4.1, 4.676, 5.298, 5.965, 6.678, 7.437, 8.246),
    (3.659, 3.31, 3.659, 4.216, 4.882, 5.628, 6.443, 7.322, 8.266, 9.274, 10.35, 11.496),
    (2.08, 1.849, 2.02, 2.309, 2.657, 3.05, 3.478, 3.94, 4.436, 4.965, 5.528, 6.126),
    (1.793, 1.658, 1.862, 2.169, 2.53, 2.931, 3.368, 3.837, 4.339, 4.874, 5.444, 6.049),
    (2.014, 1.934, 2.228, 2.637, 3.11, 3.633, 4.2, 4.808, 5.458, 6.152, 6.89, 7.675),
    (1.745, 1.58, 1.749, 2.017, 2.337, 2.694, 3.083, 3.503, 3.951, 4.43, 4.939, 5.481),
    (1.894, 1.746, 1.958, 2.277, 2.654, 3.073, 3.529, 4.02, 4.545, 5.105, 5.7, 6.334),
    (2.082, 1.99, 2.284, 2.698, 3.179, 3.709, 4.284, 4.902, 5.563, 6.267, 7.018, 7.816),
    (1.701, 1.552, 1.727, 1.999, 2.322, 2.683, 3.075, 3.497, 3.949, 4.43, 4.943, 5.487),
    (1.668, 1.577, 1.8, 2.117, 2.487, 2.896, 3.34, 3.816, 4.325, 4.868, 5.445, 6.059),
    (1.922, 1.882, 2.195, 2.618, 3.105, 3.64, 4.219, 4.84, 5.503, 6.211, 6.964, 7.766),
    (1.601, 1.45, 1.605, 1.852, 2.146, 2.474, 2.832, 3.217, 3.629, 4.068, 4.535, 5.032),
    (1.646, 1.525, 1.716, 2.001, 2.336, 2.708, 3.112, 3.547, 4.012, 4.507, 5.034, 5.594),
    (2.023, 1.925, 2.205, 2.6, 3.059, 3.567, 4.117, 4.709, 5.341, 6.016, 6.734, 7.498),
    (1.54, 1.407, 1.568, 1.817, 2.112, 2.44, 2.798, 3.182, 3.593, 4.032, 4.498, 4.993),
    (1.668, 1.569, 1.783, 2.093, 2.454, 2.855, 3.289, 3.756, 4.254, 4.786, 5.351, 5.952),
    (2.032, 1.96, 2.263, 2.684, 3.169, 3.705, 4.285, 4.909, 5.575, 6.285, 7.041, 7.846),
    (1.491, 1.33, 1.457, 1.668, 1.923, 2.209, 2.52, 2.856, 3.216, 3.6, 4.007, 4.441),
    (1.567, 1.421, 1.576, 1.819, 2.109, 2.432, 2.785, 3.164, 3.57, 4.003, 4.463, 4.952),
    (1.782, 1.656, 1.868, 2.181, 2.548, 2.956, 3.4, 3.876, 4.386, 4.93, 5.508, 6.123),
    (1.576, 1.438, 1.6, 1.852, 2.151, 2.485, 2.848, 3.239, 3.657, 4.102, 4.576, 5.08),
    (1.67, 1.58, 1.802, 2.12, 2.49, 2.9, 3.344, 3.82, 4.33, 4.873, 5.451, 6.066),
    (1.699, 1.692, 1.995, 2.396, 2.853, 3.355, 3.897, 4.478, 5.099, 5.76, 6.463, 7.211),
)
# and with the best set-backs
SET = (
    (0.666, 0.019, -0.154, -0.208, -0.212, -0.189, -0.149, -0.096, -0.032, 0.039, 0.119, 0.207),
    (0.753, 0.023, -0.173, -0.235, -0.24, -0.214, -0.169, -0.11, -0.038, 0.044, 0.135, 0.236),
    (0.983, 0.036, -0.221, -0.304, -0.313, -0.282, -0.224, -0.147, -0.054, 0.055, 0.177, 0.314),
    (0.552, 0.015, -0.129, -0.173, -0.176, -0.157, -0.123, -0.079, -0.027, 0.033, 0.099, 0.171),
    (0.462, 0.013, -0.107, -0.145, -0.148, -0.132, -0.104, -0.067, -0.023, 0.027, 0.083, 0.144),
    (0.507, 0.017, -0.116, -0.158, -0.163, -0.146, -0.116, -0.076, -0.027, 0.029, 0.092, 0.163),
    (0.455, 0.012, -0.107, -0.143, -0.146, -0.129, -0.101, -0.065, -0.022, 0.027, 0.082, 0.141),
    (0.489, 0.014, -0.114, -0.154, -0.157, -0.14, -0.11, -0.071, -0.024, 0.029, 0.088, 0.153),
    (0.527, 0.018, -0.12, -0.165, -0.169, -0.152, -0.121, -0.079, -0.028, 0.03, 0.096, 0.169),
    (0.441, 0.012, -0.103, -0.139, -0.141, -0.125, -0.098, -0.063, -0.021, 0.026, 0.079, 0.137),
    (0.422, 0.012, -0.098, -0.132, -0.135, -0.121, -0.095, -0.061, -0.021, 0.025, 0.076, 0.132),
    (0.477, 0.017, -0.108, -0.149, -0.153, -0.138, -0.11, -0.072, -0.026, 0.027, 0.087, 0.154),
    (0.417, 0.011, -0.098, -0.131, -0.133, -0.118, -0.092, -0.059, -0.019, 0.025, 0.075, 0.128),
    (0.422, 0.012, -0.099, -0.133, -0.135, -0.12, -0.094, -0.061, -0.02, 0.025, 0.076, 0.131),
    (0.513, 0.017, -0.118, -0.16, -0.165, -0.148, -0.117, -0.076, -0.027, 0.029, 0.093, 0.164),
    (0.398, 0.01, -0.094, -0.125, -0.127, -0.113, -0.088, -0.056, -0.019, 0.024, 0.071, 0.123),
    (0.423, 0.012, -0.099, -0.133, -0.136, -0.121, -0.095, -0.061, -0.021, 0.025, 0.076, 0.133),
    (0.511, 0.018, -0.116, -0.159, -0.164, -0.148, -0.117, -0.077, -0.028, 0.029, 0.093, 0.164),
    (0.392, 0.009, -0.093, -0.124, -0.125, -0.111, -0.086, -0.055, -0.018, 0.024, 0.07, 0.12),
    (0.407, 0.01, -0.096, -0.128, -0.13, -0.115, -0.09, -0.058, -0.019, 0.025, 0.073, 0.125),
    (0.457, 0.013, -0.106, -0.143, -0.146, -0.13, -0.103, -0.066, -0.023, 0.027, 0.082, 0.143),
    (0.408, 0.011, -0.096, -0.129, -0.13, -0.116, -0.091, -0.058, -0.019, 0.025, 0.073, 0.126),
    (0.422, 0.012, -0.098, -0.133, -0.135, -0.121, -0.095, -0.061, -0.021, 0.025, 0.076, 0.133),
    (0.414, 0.015, -0.094, -0.13, -0.133, -0.12, -0.096, -0.063, -0.023, 0.024, 0.076, 0.134),
)
# mm, mm, cents to one more digit than printed
SETBACKS = (
    (1.95, -0.569, 0.2292),
    (2.372, -0.638, 0.2592),
    (3.387, -0.817, 0.339),
    (1.764, -0.474, 0.1901),
    (1.825, -0.395, 0.1591),
    (2.4, -0.427, 0.1754),
    (1.615, -0.391, 0.1568),
    (1.906, -0.418, 0.1687),
    (2.434, -0.443, 0.1822),
    (1.632, -0.379, 0.1519),
    (1.869, -0.359, 0.1455),
    (2.466, -0.399, 0.1651),
    (1.483, -0.359, 0.1434),
    (1.692, -0.362, 0.1454),
    (2.327, -0.432, 0.1772),
    (1.487, -0.343, 0.137),
    (1.827, -0.361, 0.146),
    (2.462, -0.429, 0.1766),
    (1.284, -0.339, 0.1346),
    (1.463, -0.351, 0.1402),
    (1.858, -0.39, 0.1575),
    (1.51, -0.351, 0.1405),
    (1.871, -0.36, 0.1457),
    (2.317, -0.347, 0.1435),
)
PROTOTYPE = {
    0.0: (1.731, 1.612, 1.821, 2.127, 2.487, 2.887, 3.321, 3.787, 4.286, 4.818, 5.384, 5.985),
    0.010: (2.332, 1.82, 1.956, 2.237, 2.586, 2.982, 3.415, 3.884, 4.387, 4.924, 5.497, 6.107),
}
ROWS = [row for rows in STRINGS.values() for row in rows]
NOTE = np.array([float(note_frequency(note_number(row[0]))) for row in ROWS])
DIAMETER, WEIGHT, RATE, SPREAD, KAPPA, B0, MODULUS, SADDLE, NUT, LEFT = (
    np.array([row[i] for row in ROWS]) for i in range(1, 11)
)


def best(stiffness: str = "nominal"):
    """Set-backs in mm, cents left at frets 1 to 12, and their rms over frets 0 to 12."""
    saddle, nut = model.best_setbacks(FRAME, KAPPA, B0, stiffness)
    cents = model.errors(FRAME, KAPPA, B0, saddle, nut, stiffness).cents
    return 1e3 * saddle, 1e3 * nut, cents, model.rms_with_open(cents)


def test_rate_constant_from_the_readings(judged):
    """Printed to four decimals; the table of frequencies is the one they were computed from."""
    length = FRAME.scale * 2.0 ** (-1.0 / 12.0)
    got, wrong = [], []
    for name, strings in FREQUENCY.items():
        for i, hertz in enumerate(strings):
            nominal = float(note_frequency(note_number(NOTES[i])))
            sigma = np.array(SIGMA[i]) if name == "normal" else None
            got.append(model.rate_constant(DISPLACEMENT, hertz, length, nominal, sigma))
            wrong.append(model.rate_constant(DISPLACEMENT, hertz, length, hertz[0], sigma)[0])
    rate, spread = np.array(got).T
    judged("R of 24 strings", RATE, rate, 1e-4, "1", f"{SOURCE}, tables of properties", "READ", wrong=wrong)
    judged("standard uncertainty of R", SPREAD, spread, 1e-4, "1", f"{SOURCE}, tables of properties", "READ")


def test_constants_of_the_strings(judged):
    """kappa is printed to four decimals of an R rounded to four: 2e-4. B_0 to seven digits, E to seven."""
    where = f"{SOURCE}, tables of properties"
    judged("kappa = 2R + 1", KAPPA, model.string_constant(RATE), 2e-4, "1", where, "READ", wrong=2.0 * RATE)
    radius = 0.5 * DIAMETER * INCH
    got = model.stiffness_coefficient(KAPPA, radius, FRAME.scale)
    wrong = model.stiffness_coefficient(KAPPA, 2.0 * radius, FRAME.scale)
    judged("open-string stiffness B_0", B0, got, 5e-9, "1", where, "READ", wrong=wrong)
    tension = WEIGHT * POUND_PER_INCH * (2.0 * FRAME.scale * NOTE) ** 2
    modulus = model.effective_modulus(KAPPA, tension, radius) / 1e9
    wrong = model.effective_modulus(KAPPA, tension * (647.7 / 650.0) ** 2, radius) / 1e9
    judged("effective modulus", MODULUS, modulus, 1e-4 * MODULUS, "GPa", where, "READ", wrong=wrong)


def test_prototype_string(judged):
    """kappa 51, B_0 0.00236, the string bent at the fret or 10 mm behind it; three decimals."""
    for finger, want in PROTOTYPE.items():
        frame = model.Frame(FRAME.scale, FRAME.nut_height, FRAME.saddle_height, finger)
        got = model.errors(frame, 51.0, 0.00236).cents
        wrong = model.errors(frame, 50.0, 0.00236).cents
        judged(f"prototype, d = {1e3 * finger:.0f} mm", want, got, 6e-4, "cent", OWN, "DERIVED", wrong=wrong)


def test_errors_without_setbacks(judged):
    """Three decimals."""
    got = model.errors(FRAME, KAPPA, B0).cents
    wrong = model.errors(FRAME, KAPPA, B0, stiffness="tension").cents
    judged("cents at 12 frets, no set-back", PLAIN, got, 6e-4, "cent", OWN, "DERIVED", wrong=wrong)


def test_published_setbacks(judged):
    """Printed to 0.01 mm and 0.001 cent."""
    saddle, nut, _, left = best()
    other_saddle, other_nut, _, _ = best("tension")
    where = f"{SOURCE}, tables of set-backs"
    judged("saddle set-back", SADDLE, saddle, 0.005, "mm", where, "READ", wrong=other_saddle)
    judged("nut set-back", NUT, nut, 0.005, "mm", where, "READ", wrong=1.1 * other_nut)
    without_open = left * np.sqrt(13.0 / 12.0)
    judged("residual, frets 0 to 12", LEFT, left, 0.001, "cent", where, "READ", wrong=without_open)


def test_setbacks_to_one_more_digit(judged):
    saddle, nut, cents, left = best()
    want = np.array(SETBACKS)
    judged("saddle set-back, finer", want[:, 0], saddle, 6e-4, "mm", OWN, "DERIVED", wrong=best("tension")[0])
    judged("nut set-back, finer", want[:, 1], nut, 6e-4, "mm", OWN, "DERIVED", wrong=best("tension")[1])
    judged("residual, finer", want[:, 2], left, 6e-5, "cent", OWN, "DERIVED", wrong=best("tension")[3])
    judged("cents at 12 frets, set back", SET, cents, 6e-4, "cent", OWN, "DERIVED", wrong=best("tension")[2])


def test_tension_dependent_stiffness_is_near(judged):
    """The better model takes B_n from the held string's own tension and length: set-backs within 0.05 mm of the print.

    It is told from the published one by 0.007 to 0.046 mm at the saddle, so the check can fail.
    """
    saddle, nut, _, left = best("tension")
    where = f"{SOURCE}, tables of set-backs, by stiffness of the held string's own tension"
    no_stiffness = 1e3 * model.best_setbacks(FRAME, KAPPA, 0.0 * B0)[0]
    judged("saddle set-back, better model", SADDLE, saddle, 0.05, "mm", where, "READ", wrong=no_stiffness)
    judged("nut set-back, better model", NUT, nut, 0.01, "mm", where, "READ")
    assert (left < best()[3] + 0.005).all()


def test_general_notes_are_the_better_model():
    """`fretted_notes` with the same geometry: clamped at the fret, pinned at the saddle, EI from B_0.

    The paper counts kappa per length at pitch, EA here is per unstretched length: EA + T = kappa T. The two series in
    B_n = b differ by pi^2 b^3 / 2: at b = 0.008 that is 0.005 cents.
    """
    frets = np.arange(1, 13)
    mass = WEIGHT * POUND_PER_INCH
    length = np.hypot(FRAME.scale, FRAME.saddle_height)
    tension = mass * (2.0 * length * NOTE) ** 2  # any: only the ratios EA/T and EI/T count
    bending = B0**2 * tension * length**2
    x = fret_position(FRAME.scale, frets)
    at = fretting.layout(0.0, 0.0, x, np.full(12, -FRAME.nut_height), FRAME.scale, np.full(24, FRAME.saddle_height))
    axial = (KAPPA - 1.0) * tension
    unstretched = length / (1.0 + tension / axial)
    strings = fretting.wires(mass, axial, bending, 0.0, unstretched)
    got = fretting.fretted_notes(at, strings, place=1.0, ends="clamped-pinned").cents
    want = model.errors(FRAME, KAPPA, B0, stiffness="tension").cents
    assert np.abs(got - want).max() < 5e-3
    assert np.abs(fretting.fretted_notes(at, strings, place=1.0, ends="clamped").cents - want).max() > 1.0
