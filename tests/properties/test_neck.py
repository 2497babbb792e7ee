"""Neck: rotations keep distances and undo, relief is linear in bow and blind to tilt."""

import numpy as np
from hypothesis import assume, given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from setwright.physics import neck

places = st.floats(0.0, 0.6)
heights = st.floats(-0.03, 0.03)
angles = st.floats(-0.05, 0.05)
bows = st.floats(-0.02, 0.02)
joints = st.floats(0.3, 0.5)


@given(places, heights, st.floats(0.3, 0.6), heights, angles)
def test_rotation_keeps_distance_and_undoes(x, y, mouth_x, mouth_y, angle):
    there = neck.rotate(x, y, mouth_x, mouth_y, angle)
    before, after = np.hypot(x - mouth_x, y - mouth_y), np.hypot(there[0] - mouth_x, there[1] - mouth_y)
    assert_allclose(after, before, rtol=1e-12, atol=1e-15)
    assert_allclose(neck.rotate(*there, mouth_x, mouth_y, -angle), (x, y), atol=1e-15)


@given(st.floats(1e-4, 2e-3), st.floats(0.05, 0.09), st.floats(0.2, 0.4))
def test_headstock_goes_down_where_the_bridge_line_goes_up(thickness, lever, reach):
    angle = neck.strip_angle(thickness, lever)
    _, nut_y = neck.rotate(0.0, 0.0125, 0.393, -0.016, angle)
    assert nut_y < 0.0125
    assert neck.line_rise(angle, reach) > 0.0
    # the turned board line, drawn on, rises as line_rise says but for the tilt of its own height over the mouth
    (x0, y0), (x1, y1) = (neck.rotate(x, -0.016, 0.393, -0.016, angle) for x in (0.0, 0.3))
    drawn = y1 + (y1 - y0) / (x1 - x0) * (0.393 + reach - x1)
    assert_allclose(drawn + 0.016, neck.line_rise(angle, reach), rtol=1e-9)


@st.composite
def stops(draw):
    a, c, b = sorted(draw(st.tuples(places, places, places)))
    assume(b - a > 0.05)
    return a, c, b


@given(stops(), joints, bows, st.floats(-2.0, 2.0))
def test_relief_is_linear_in_bow(where, joint, bow, factor):
    reading = neck.relief(*where, joint, bow)
    assert_allclose(neck.relief(*where, joint, bow * factor), factor * reading, rtol=1e-9, atol=1e-17)
    assert reading * bow >= -1e-17  # forward bow never reads as back-bow


@given(stops(), joints, bows)
def test_bow_from_relief_inverts(where, joint, bow):
    assume(neck.relief(*where, joint, 0.1) > 1e-4)
    assert_allclose(neck.bow_for_relief(neck.relief(*where, joint, bow), *where, joint), bow, rtol=1e-9, atol=1e-14)


@given(stops(), joints, st.floats(0.001, 0.02), angles)
def test_relief_does_not_see_the_tilt_of_the_neck(where, joint, bow, slope):
    """A straight line added to the neck (a shim, an angle) leaves the gap under a line on the same neck."""
    y = [float(neck.bent_height(x, joint, bow)) + slope * x for x in where]
    share = (where[1] - where[0]) / (where[2] - where[0])
    assert_allclose(y[0] + share * (y[2] - y[0]) - y[1], neck.relief(*where, joint, bow), atol=1e-15)


@given(st.lists(st.floats(0.0, 150.0), min_size=4, max_size=8), st.floats(-1.0, 1.0), st.floats(50.0, 200.0))
def test_string_pull_bows_forward_and_the_rod_back(tensions, turns, bending):
    def curve(pulls, screw):
        return neck.bow(pulls, screw, 0.0, 0.008, 2.0, 1.0, bending)

    base = curve(tensions, turns)
    assert curve([t + 1.0 for t in tensions], turns) > base
    assert curve(tensions, turns + 0.25) < base
