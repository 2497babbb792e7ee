"""Simply supported beams under end couples. Roark's Formulas for Stress and Strain, table 8.1 (from memory), each
formula also integrated from the curvature.

M = 6 N m, EI = 40 N m2, L = 0.39 m: M L^2/EI = 22.815 mm; by hand /8 = 2.851875, /16 = 1.4259375,
/(9 sqrt 3) = 1.4635830 mm at 225.1666 mm.
"""

import numpy as np
from scipy.integrate import solve_bvp

from setwright.physics import clearance as cl

ROARK = "Roark, table 8.1, end couples"
CASE = (6.0, 0.39, 40.0)


def test_printed_formulas(judged):
    """1e-9 m and 1e-7 m: the digits worked by hand."""
    greatest, place = cl.greatest_one_couple(*CASE)
    got = np.array([cl.mid_two_couples(*CASE), cl.mid_one_couple(*CASE), greatest])
    wrong = np.array([cl.mid_one_couple(*CASE), cl.mid_two_couples(*CASE), greatest])
    judged(
        "mid two couples, mid one, greatest one",
        [2.851875e-3, 1.4259375e-3, 1.4635830e-3],
        got,
        1e-9,
        "m",
        ROARK,
        "MEMORY",
        wrong=wrong,
    )
    judged("place of the greatest", 0.2251666, place, 1e-7, "m", ROARK, "MEMORY", wrong=0.39 - place)


def test_integrated(judged):
    """EI y'' = -M x/L with y = 0 at both ends, solved numerically; 1e-8 m: tolerance of the solver."""
    moment, span, bending = CASE
    grid = np.linspace(0.0, span, 41)
    solved = solve_bvp(
        lambda x, y: np.vstack([y[1], -moment / bending * x / span]),
        lambda a, b: np.array([a[0], b[0]]),
        grid,
        np.zeros((2, 41)),
        tol=1e-10,
    )
    at = np.linspace(0.05, 0.35, 13)
    got = cl.deflection_one_couple(at, *CASE)
    wrong = cl.deflection_one_couple(span - at, *CASE)
    judged("deflection under one couple", solved.sol(at)[0], got, 1e-8, "m", "EI y'' = -M x/L", "DERIVED", wrong=wrong)
    fine = np.linspace(0.0, span, 39001)
    y = solved.sol(fine)[0]
    deep, place = cl.greatest_one_couple(*CASE)
    judged(
        "greatest, by search", y.max(), deep, 1e-8, "m", "EI y'' = -M x/L", "DERIVED", wrong=cl.mid_one_couple(*CASE)
    )
    judged("its place, by search", fine[y.argmax()], place, 1e-3, "m", "EI y'' = -M x/L", "DERIVED", wrong=0.195)
    both = solved.sol(np.array([span / 2]))[0] * 2.0
    judged("both couples", both, [cl.mid_two_couples(*CASE)], 1e-8, "m", "superposition", "DERIVED")
