"""Bends: pitch against displacement, clearance on round and conical boards, the radius a bend needs."""

import numpy as np
import pytest

from setwright.errors import RangeError
from setwright.physics import clearance as cl
from setwright.physics import pulls, strings
from setwright.physics.frets import board_radius, fret_position

SCALE = 0.648
X = np.concatenate([[0.0], fret_position(SCALE, np.arange(1, 23))])
TENSION, AXIAL = 72.0, 8200.0


def test_at_mid_string_it_is_the_published_bend():
    """d = 20 mm at 324 mm: the angle is atan(20/324) on both sides."""
    got = cl.bend_rise(0.02, 0.324, 0.324, 0.648, TENSION, AXIAL)
    assert got == pytest.approx(float(pulls.bend_cents(np.arctan(0.02 / 0.324), TENSION, AXIAL)), rel=1e-9)


@pytest.mark.parametrize("fret", [2, 7, 12, 17, 22])
def test_bend_by_stretching_the_string_directly(fret):
    """The house's own stretch law on the bent path: T = EA(lam - 1), mass conserved. EA per unstretched length differs
    from the bend formula's by T/EA, a cent in a hundred."""
    behind, speaking, path, d = X[fret], SCALE - X[fret], SCALE + 0.12, 0.012
    longer = path + np.hypot(behind, d) - behind + np.hypot(speaking, d) - speaking
    rest = strings.unstretched_for_tension(path, TENSION, AXIAL)
    pull = strings.tension_from_stretch(longer, rest, AXIAL)
    pitch = strings.first_partial(pull, np.hypot(speaking, d), 4e-4, AXIAL, 0.0)
    before = strings.first_partial(TENSION, speaking, 4e-4, AXIAL, 0.0)
    direct = 1200.0 * np.log2(pitch / before)
    assert cl.bend_rise(d, behind, speaking, path, TENSION, AXIAL) == pytest.approx(float(direct), rel=0.01)


def test_displacement_inverts():
    cents = np.array([0.0, 100.0, 200.0, 300.0])
    d = cl.bend_displacement(cents, X[10], SCALE - X[10], SCALE, TENSION, AXIAL)
    assert d[0] == 0.0
    assert cl.bend_rise(d, X[10], SCALE - X[10], SCALE, TENSION, AXIAL) == pytest.approx(cents, abs=1e-6)


def test_displacement_refusals():
    with pytest.raises(RangeError, match="out of reach within 40 mm"):
        cl.bend_displacement(700.0, X[12], SCALE - X[12], SCALE, 100.0, 800.0)
    with pytest.raises(RangeError, match="EA over tension"):
        cl.bend_displacement(10.0, X[12], SCALE - X[12], SCALE, 100.0, 300.0)


def board(radius=0.184, z=0.0, height=2.5e-3):
    """A straight round board, string over z, its unbent height rising to `height` at the saddle over that line."""
    drop = radius - np.sqrt(radius**2 - z**2)
    saddle = np.array([SCALE, height - drop, z])
    return np.zeros(23), np.full(23, radius), np.full(23, z), saddle


def test_a_bend_from_the_centre_costs_the_sagitta():
    """d = 20 mm on R 184 mm from fret 12: over a crown at share s the arc under the chord from d to 0 costs about
    s (1 - s) d^2 / 2R, 0.27 mm half-way. 2 %: what the flat arc leaves out, (d/R)^2 = 1.2 %."""
    y, r, z, saddle = board()
    bent = cl.bend_map(X, y, r, z, saddle, 0.02)[12]
    rest = cl.bend_map(X, y, r, z, saddle, 0.0)[12]
    s = (X[13:] - X[12]) / (SCALE - X[12])
    lost = rest[13:] - bent[13:]
    assert lost == pytest.approx(s * (1.0 - s) * 0.02**2 / (2.0 * 0.184), rel=0.02)


def test_without_a_bend_it_is_the_map_of_plucked_strings():
    y, r, z, saddle = board(z=0.02)
    drop = 0.184 - np.sqrt(0.184**2 - 0.02**2)
    pluck = (0.1, 0.4e-3)
    got = cl.bend_map(X, y, r, z, saddle, 0.0, *pluck)
    plain = cl.clearance_map(X, y - drop, SCALE, saddle[1], *pluck)
    assert got[1:] == pytest.approx(plain[1:], abs=1e-15)
    assert np.isinf(got[0]).all()


def test_by_plane_geometry_on_a_cone():
    """Points of the string written out one by one against the arc at their place."""
    y, _, _, _ = board()
    radius = board_radius(X, X[22], 0.184, 0.305)
    z, d, saddle = 0.017 + (0.026 - 0.017) * X / SCALE, -0.018, np.array([SCALE, 1.2e-3, 0.026])
    got = cl.bend_map(X, y, radius, z, saddle, d)
    for i, j in ((5, 6), (12, 17), (15, 22)):
        a = np.array([X[i], np.sqrt(radius[i] ** 2 - (z[i] + d) ** 2) - radius[i], z[i] + d])
        point = a + (saddle - a) * (X[j] - X[i]) / (SCALE - X[i])
        want = point[1] - (np.sqrt(radius[j] ** 2 - point[2] ** 2) - radius[j])
        assert got[i, j] == pytest.approx(want, abs=1e-12)


def test_saddle_rise_for_a_bend_leaves_the_margin():
    y, r, z, saddle = board(height=1.2e-3)
    d = cl.bend_displacement(200.0, X[1:], SCALE - X[1:], SCALE, TENSION, AXIAL)
    d = np.concatenate([[0.0], d])
    rise = cl.rise_to_clear(cl.bend_map(X, y, r, z, saddle, d), X, SCALE, 0.05e-3).clearance
    assert rise > 0.0
    after = cl.least(cl.bend_map(X, y, r, z, saddle + np.array([0.0, float(rise), 0.0]), d))
    assert after.clearance == pytest.approx(0.05e-3, abs=1e-15)


def test_the_radius_a_bend_needs():
    """On the radius found the bend just clears; a flat arc of a string on the centre line needs d^2/8R at most."""
    s = (X[13:] - X[12]) / (SCALE - X[12])
    rest = 0.3e-3 + 0.5e-3 * s
    radius = cl.radius_for_bend(rest, s, 0.0, 0.0, 0.03)
    by_hand = (s * (1.0 - s) * 0.03**2 / (2.0 * rest)).max()
    assert radius == pytest.approx(float(by_hand), rel=0.03)
    y, r, z, _ = board(float(radius))
    saddle = np.array([SCALE, 0.0, 0.0])
    bent = cl.bend_map(X, y, r, z, saddle, 0.03)[12, 13:]
    assert (bent + rest).min() == pytest.approx(0.0, abs=1e-9)
    assert cl.radius_for_bend(rest, s, 0.0, 0.0, 0.0) == 0.05
    assert np.isinf(cl.radius_for_bend(rest - 1e-3, s, 0.0, 0.0, 0.0))
    two = cl.radius_for_bend(rest, s, np.zeros(2), 0.0, [0.01, 0.03])
    assert two.shape == (2,)
    assert two[0] < two[1]
