"""Frets: self-similarity of the fret rule, round trips of heights and turns, the fitted radius."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from setwright.physics import frets

scales = st.floats(0.5, 0.9)
numbers = st.integers(0, 23)
radii = st.floats(0.15, 0.6)


@given(scales, numbers)
def test_an_octave_up_halves_what_remains(scale, fret):
    left = scale - frets.fret_position(scale, fret)
    assert_allclose(scale - frets.fret_position(scale, fret + 12), left / 2.0, rtol=1e-12)
    assert frets.fret_position(scale, fret + 1) > frets.fret_position(scale, fret)


@given(radii, st.floats(-0.03, 0.03))
def test_the_board_is_a_circle(radius, z):
    fall = frets.drop(radius, z)
    assert_allclose((radius - fall) ** 2 + z**2, radius**2, rtol=1e-12)
    assert fall >= 0.0
    assert fall == frets.drop(radius, -z)


@given(scales, st.integers(1, 22), radii, radii, st.floats(-0.026, 0.026))
def test_crown_lies_between_the_two_radii(scale, fret, near, far, z):
    got = frets.crown_height(fret, z, scale, 22, near, far, 0.0125, 1e-3)
    bounds = sorted(0.0135 - frets.drop(r, z) for r in (near, far))
    assert bounds[0] - 1e-12 <= got <= bounds[1] + 1e-12


def up(move):
    return np.array([0.0, move, 0.0])


@st.composite
def strings(draw):
    """Nut and saddle contact of one string, and the crown of one fret below it."""
    scale = draw(scales)
    nut = np.array([0.0, draw(st.floats(0.012, 0.014)), draw(st.floats(-0.018, 0.018))])
    saddle = np.array([scale + draw(st.floats(-0.002, 0.006)), draw(st.floats(0.013, 0.02)), 1.45 * nut[2]])
    return float(frets.fret_position(scale, draw(st.integers(1, 22)))), draw(st.floats(0.01, 0.0135)), nut, saddle


@given(strings(), st.floats(0.0, 4e-3))
def test_raising_the_saddle_as_told_meets_the_target(string, target):
    x, y, nut, saddle = string
    rise = frets.saddle_rise_for_height(target, x, y, nut, saddle)
    assert_allclose(frets.string_height(x, y, nut, saddle + up(rise)), target, atol=1e-15)


@given(strings(), st.floats(-1e-3, 1e-3))
def test_saddle_and_nut_share_a_rise(string, move):
    x, y, nut, saddle = string
    height = frets.string_height(x, y, nut, saddle)
    by_saddle = frets.string_height(x, y, nut, saddle + up(move)) - height
    by_nut = frets.string_height(x, y, nut + up(move), saddle) - height
    assert_allclose(by_saddle + by_nut, move, atol=1e-15)
    assert_allclose(by_saddle, move * frets.saddle_share(x, nut[0], saddle[0]), atol=1e-15)


@given(st.floats(-5.0, 5.0), st.sampled_from([1.0 / 16.0, 0.125, 0.25]), st.floats(3e-4, 1.6e-3))
def test_steps_turns_and_travel_agree(turns, step, lead):
    made, left = frets.whole_steps(turns, step)
    assert abs(left) <= step / 2.0 + 1e-12
    assert_allclose(made + left, turns, atol=1e-12)
    assert (made / step) % 1.0 == 0.0
    assert_allclose(frets.screw_turns(frets.screw_rise(turns, lead), lead), turns, atol=1e-12)


@given(st.floats(-3e-3, 3e-3), st.floats(3e-4, 1e-3), st.floats(-1e-3, 1e-3))
def test_level_turns_leave_the_saddle_level(rise, lead, uneven):
    treble, bass = frets.level_turns(rise, lead, uneven) * lead
    assert_allclose((treble + bass) / 2.0, rise, atol=1e-15)
    assert_allclose(uneven + treble - bass, 0.0, atol=1e-15)


@given(st.floats(-0.02, 0.02), st.floats(-0.01, 0.0), st.floats(0.0, 0.01))
def test_stops_hold(place, low, high):
    reached, missing = frets.within(place, [low, high])
    assert low <= reached <= high
    assert_allclose(reached + missing, place, atol=1e-15)


@given(st.floats(0.15, 0.6), st.integers(3, 8), st.floats(-0.005, 0.005), st.floats(0.0, 0.03))
def test_radius_is_found_wherever_the_circle_lies(radius, count, aside, lift):
    z = np.linspace(-0.026, 0.026, count)
    y = lift + np.sqrt(radius**2 - (z - aside) ** 2) - radius
    found, off = frets.radius_across(z, y)
    assert_allclose(found, radius, rtol=1e-7)
    assert np.abs(off).max() < 1e-9


fans = st.just(0.0) | st.floats(1e-15, 0.05)  # m; at most 45 degrees whatever fret is square, no mere round-off
squares = st.integers(0, 20)


def fan_x(fret, z, scale, fan, square, near=0.04, far=0.06):
    """x of fret n at z, from its line."""
    return frets.fret_position(scale, fret) + z * frets.fret_slope(fret, fan, square, near, far)


@given(scales, fans, squares, st.floats(-0.5, 0.5))
def test_every_place_across_has_frets_in_order_and_its_own_octave(scale, fan, square, share):
    """Along a line that spreads with the strings q is the same for every string: its own scale, its own half way."""
    n = np.arange(0, 25)
    width = 0.04 + 0.02 * frets.fret_position(1.0, n)
    x = fan_x(n, share * width, scale, fan, square)
    assert (np.diff(x) > 0.0).all()
    own = scale + share * fan
    assert_allclose(x - x[0], frets.fret_position(own, n), rtol=1e-9, atol=1e-12)
    assert_allclose(x[12] - x[0], own / 2.0, rtol=1e-9)


@given(scales, fans, squares, numbers, st.floats(-0.03, 0.03))
def test_treble_mirrors_bass(scale, fan, square, fret, z):
    """About the fret's place on the centre line: as much ahead on one side as behind on the other."""
    centre = frets.fret_position(scale, fret)
    ahead, behind = (fan_x(fret, side * z, scale, fan, square) - centre for side in (1.0, -1.0))
    assert_allclose(ahead, -behind, atol=1e-15)
    slope = frets.fret_slope(fret, fan, square, 0.04, 0.06)
    ends = (0.01, 0.5 * z, 0.01 + scale, z)
    other = (0.01, -0.5 * z, 0.01 + scale, -z)
    assert_allclose(
        frets.fret_crossing(centre, slope, *ends), frets.fret_crossing(centre, -slope, *other), rtol=1e-12, atol=1e-15
    )


@given(scales, fans, squares)
def test_the_square_fret_is_square_and_slants_grow_from_it(scale, fan, square):
    slope = frets.fret_slope(np.arange(0, 25), fan, square, 0.04, 0.06)
    assert abs(slope[square]) < 1e-15
    assert (np.diff(slope) >= 0.0).all()


@given(scales, st.floats(-0.9, 0.9), st.floats(-0.02, 0.02), st.floats(-0.03, 0.03), st.floats(0.1, 0.9))
def test_a_crossing_lies_on_both_lines(scale, slope, nut_z, saddle_z, share):
    place = share * scale
    x = frets.fret_crossing(place, slope, 0.0, nut_z, scale, saddle_z)
    z = nut_z + x / scale * (saddle_z - nut_z)
    assert_allclose(x, place + slope * z, atol=1e-12)
