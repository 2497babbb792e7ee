"""Neck as a beam: handbook deflections. Roark's Formulas for Stress and Strain, table 8.1, from memory, recomputed.

Equal end couples M on a span L: mid deflection M L^2 / (8 EI). One couple: mid deflection M L^2 / (16 EI), as the two
couples of the first case share it equally.
"""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from setwright.physics import neck

SOURCE = "Roark, table 8.1: M L^2/(8 EI)"


def test_equal_couples_on_the_bending_part(judged):
    """M = 6 N m, EI = 40 N m2, L = 0.39 m: 2.851875 mm by hand. 1e-9 m: arithmetic."""
    curvature = neck.bow([600.0], 0.0, 0.0, 0.01, 0.0, 0.0, 40.0)
    got = neck.relief(0.0, 0.195, 0.39, 0.39, curvature)
    wrong = neck.relief(0.0, 0.18, 0.39, 0.39, curvature)
    judged("mid deflection, equal couples", 2.851875e-3, got, 1e-9, "m", SOURCE, "MEMORY", wrong=wrong)


def test_stops_beyond_the_joint_by_integrating_the_curve(judged):
    """A line from 0.036 to 0.46 m over a neck that bends up to 0.393 m, read at 0.24 m: the slope and height of the
    board integrated numerically from the joint. 1e-8 m: tolerance of the integration."""
    joint, bow = 0.393, 0.004
    curve = solve_ivp(lambda x, y: [y[1], bow], (joint, 0.0), [0.0, 0.0], rtol=1e-11, atol=1e-14, dense_output=True)
    y_a, y_c, y_b = curve.sol(0.036)[0], curve.sol(0.24)[0], 0.0
    line = y_a + (y_b - y_a) * (0.24 - 0.036) / (0.46 - 0.036)
    got = neck.relief(0.036, 0.24, 0.46, joint, bow)
    wrong = neck.relief(0.036, 0.24, 0.393, joint, bow)
    judged("relief with a stop beyond the joint", line - y_c, got, 1e-8, "m", "y'' = bow", "DERIVED", wrong=wrong)


def test_one_couple_is_half_of_two():
    """Superposition: M L^2/(16 EI) twice is M L^2/(8 EI). Simply supported beam under one end couple, integrated."""
    couple, stiffness, span = 6.0, 40.0, 0.39
    x = np.linspace(0.0, span, 20001)
    curvature = couple / stiffness * (1.0 - x / span)
    slope = np.concatenate([[0.0], np.cumsum(0.5 * (curvature[1:] + curvature[:-1]) * np.diff(x))])
    height = np.concatenate([[0.0], np.cumsum(0.5 * (slope[1:] + slope[:-1]) * np.diff(x))])
    one = height[-1] / 2.0 - height[10000]
    assert one == pytest.approx(couple * span**2 / (16.0 * stiffness), rel=1e-6)
    assert 2.0 * one == pytest.approx(float(neck.relief(0.0, span / 2.0, span, span, couple / stiffness)), rel=1e-6)
