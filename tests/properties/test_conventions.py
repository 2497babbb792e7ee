"""Conventions: linear, blind to what they cannot see, there and back again."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from setwright.instrument import neckshape as ns
from setwright.instrument.conventions import Observed, convert, fit_shape, height_way, relative_readings, relief_way
from setwright.metrology.reading import Convention, Place, Reading
from setwright.physics.frets import fret_position
from setwright.physics.neck import relief

SCALE = 0.6477
joints = st.integers(12, 20)
leans = st.floats(-1.0, 1.0)


def board(joint):
    return ns.Board(SCALE, float(fret_position(SCALE, joint)), 0.65, 22)


@st.composite
def stops(draw):
    low, read, high = sorted(draw(st.sets(st.integers(1, 22), min_size=3, max_size=3)))
    return low, high, read


@st.composite
def bending_stops(draw):
    """Reliefs that see the bow well: from the first frets across the middle."""
    return draw(st.integers(1, 3)), draw(st.integers(14, 22)), draw(st.integers(5, 10))


@given(joints, stops(), st.floats(-0.02, 0.02))
def test_an_even_bow_reads_as_the_neck_model_says(joint, where, bow):
    low, high, read = where
    b = board(joint)
    shape = ns.NeckShape(b, np.array([bow, 0.0, 1e-3, 5e-3]), np.zeros((4, 4)))
    a, c, e = (fret_position(SCALE, n) for n in (low, read, high))
    assert_allclose(ns.relief_under(shape, (low, high), read).value, relief(a, c, e, b.joint_x, bow), atol=1e-15)


@given(joints, leans, stops())
def test_a_neck_whose_bow_keeps_its_sense_never_reads_the_other_way(joint, lean, where):
    row = ns.line_row(board(joint), where[0], where[1], where[2])
    assert row[0] + lean * row[1] >= -1e-15
    assert row[2] == row[3] == 0.0


@given(joints, st.floats(0.05e-3, 0.8e-3), bending_stops(), bending_stops())
def test_there_and_back(joint, value, one, other):
    """With a lean known to be small the conversion undoes itself."""
    b = board(joint)
    there = convert(_reading(value, one), relief_way(*one[:1], other[1], other[2]), b, lean=1e-3).known
    back = convert(_reading(there.value, (one[0], *other[1:])), relief_way(*one), b, lean=1e-3).known
    assert_allclose(back.value, value, rtol=1e-3)


def _reading(value, where):
    return Reading("relief", value, "", 1e-5, Place(), Convention(where[0], where[1], where[2]))


@given(joints, bending_stops(), bending_stops(), st.floats(1e-6, 1e-4), st.floats(0.05, 1.0), st.floats(0.1e-3, 0.6e-3))
def test_the_band_is_never_narrower_than_the_gauge_converted(joint, one, other, u, lean, value):
    b = board(joint)
    seen = fit_shape(b, [Observed(relief_way(*one), value, u)], lean)
    known = ns.relief_under(seen.shape, other[:2], other[2])
    row = [ns.line_row(b, w[0], w[1], w[2]) for w in (one, other)]
    assert known.standard_uncertainty >= u * row[1][0] / row[0][0] * (1.0 - 1e-4)
    assert_allclose(known.value, value * row[1][0] / row[0][0], rtol=1e-4)


@given(joints, leans, bending_stops(), bending_stops())
def test_relative_readings_divide_out(joint, lean, one, other):
    b = board(joint)
    forth = relative_readings(b, [relief_way(*one)], relief_way(*other), lean)
    assert_allclose(forth * relative_readings(b, [relief_way(*other)], relief_way(*one), lean), 1.0, rtol=1e-12)


@given(joints, st.floats(-0.01, 0.01), st.integers(1, 22))
def test_height_change_is_linear_and_a_difference_of_heights(joint, change, fret):
    b = board(joint)
    before = np.array([0.012, 0.001, 0.4e-3, 4e-3])
    after = before + change * np.eye(4)[0]
    low, high = (ns.height_under(ns.NeckShape(b, m, np.zeros((4, 4))), fret).value for m in (before, after))
    assert_allclose(ns.height_changes(b, change, [fret])[0], high - low, atol=1e-15)


@given(joints, st.floats(1e-3, 2.5e-3), st.sampled_from([12, 14, 17, 22]), st.sampled_from([12, 14, 17, 22]))
def test_heights_with_a_capo_are_lower_than_open_ones(joint, value, read, other):
    """The capo takes the nut's clearance away, seen or not."""
    asked = Reading("string_height", value, "", 1e-4, Place(read))
    opened, closed = (convert(asked, height_way(other, capo), board(joint)).known for capo in (None, 1))
    assert closed.value < opened.value
