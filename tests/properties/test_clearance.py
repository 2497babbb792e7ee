"""Clearance: scaling, monotonicity, envelopes, closed forms against the map."""

import numpy as np
from hypothesis import assume, given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from setwright.physics import clearance as cl
from setwright.physics.frets import drop, fret_position

SCALE = 0.648
X = np.concatenate([[0.0], fret_position(SCALE, np.arange(1, 23))])
plucks = st.floats(0.02, 0.17)
swings = st.floats(0.0, 2e-3)
bows = st.floats(-0.01, 0.02)
saddles = st.floats(2e-3, 8e-3)
pulls = st.sampled_from(["away", "towards", "either"])
shares = st.floats(0.0, 1.0)


def heights(bow, seed=0):
    y = cl.crown_line(X, X[16], bow, single=2e-5 * np.random.default_rng(seed).standard_normal(23))
    y[0] += 0.4e-3
    return y


@given(shares, st.floats(0.01, 0.99), pulls)
def test_dip_stays_between_rest_and_amplitude(u, place, pulled):
    got = cl.dip(u, place, pulled)
    assert 0.0 <= got <= 1.0
    assert_allclose(cl.dip(1.0 - u, place, "towards"), cl.dip(u, place, "away"), atol=1e-12)
    assert_allclose(cl.dip(u, 1.0 - place, "towards"), cl.dip(u, place, "away"), atol=1e-12)


@given(st.floats(0.01, 3.5), st.floats(0.05, 0.95), st.floats(0.2, 0.9), st.floats(40.0, 150.0))
def test_force_and_amplitude_invert(force, place, length, tension):
    assert_allclose(cl.pluck_force(cl.pluck_amplitude(force, place, length, tension), place, length, tension), force)


@given(bows, saddles, plucks, swings, pulls, st.integers(0, 99))
def test_lift_and_slope_of_the_whole_neck_change_nothing(bow, saddle, pluck, swing, pulled, seed):
    """A straight line added to nut, crowns and saddle alike."""
    y = heights(bow, seed)
    plain = cl.clearance_map(X, y, SCALE, saddle, pluck, swing, pulled)
    moved = cl.clearance_map(X, y + 0.01 - 0.02 * X, SCALE, saddle + 0.01 - 0.02 * SCALE, pluck, swing, pulled)
    ahead = np.isfinite(plain)
    assert_allclose(moved[ahead], plain[ahead], atol=1e-15)


@given(bows, saddles, plucks, swings, pulls, st.floats(0.0, 1e-3))
def test_harder_is_never_clearer_and_a_higher_saddle_always_is(bow, saddle, pluck, swing, pulled, more):
    y = heights(bow)
    now = cl.least(cl.clearance_map(X, y, SCALE, saddle, pluck, swing, pulled)).clearance
    assert cl.least(cl.clearance_map(X, y, SCALE, saddle, pluck, swing + more, pulled)).clearance <= now
    assert cl.least(cl.clearance_map(X, y, SCALE, saddle + more, pluck, swing, pulled)).clearance >= now


@given(bows, saddles, plucks, swings, pulls, st.floats(0.0, 0.3e-3), st.integers(0, 99))
def test_least_rise_meets_the_margin(bow, saddle, pluck, swing, pulled, margin, seed):
    y = heights(bow, seed)
    rise = cl.rise_to_clear(cl.clearance_map(X, y, SCALE, saddle, pluck, swing, pulled), X, SCALE, margin).clearance
    after = cl.clearance_map(X, y, SCALE, saddle + rise, pluck, swing, pulled)
    assert_allclose(cl.least(after).clearance, margin, atol=1e-14)


@given(bows, st.floats(5e-3, 9e-3), plucks, pulls)
def test_hardest_pluck_just_touches(bow, saddle, pluck, pulled):
    y = heights(bow)
    rest = cl.clearance_map(X, y, SCALE, saddle, pluck, 0.0, pulled)
    assume(cl.least(rest).clearance > 0.0)
    swing = cl.hardest_pluck(rest, X, SCALE, pluck, pulled=pulled).clearance
    assume(swing < 0.02)
    assert_allclose(cl.least(cl.clearance_map(X, y, SCALE, saddle, pluck, swing, pulled)).clearance, 0.0, atol=1e-14)


@given(bows, saddles, plucks, st.floats(0.0, 1e-3), st.floats(0.0, 0.2e-3), st.integers(0, 99))
def test_cut_crowns_clear(bow, saddle, pluck, swing, margin, seed):
    y = heights(bow, seed)
    cut = cl.crown_cut(cl.clearance_map(X, y, SCALE, saddle, pluck, swing), X, SCALE, margin)
    assert (cut >= 0.0).all()
    assert cut[0] == 0.0
    assert cl.least(cl.clearance_map(X, y - cut, SCALE, saddle, pluck, swing)).clearance >= margin - 1e-14


@given(st.floats(0.0, 0.03), st.floats(0.1, 0.4), st.floats(0.2, 0.5), st.floats(50.0, 120.0), st.floats(1.0, 100.0))
def test_bends_are_even_in_direction_and_rise(d, behind, speaking, tension, stiff):
    axial = tension * (4.0 * (behind + speaking) / speaking + stiff)
    args = (behind, speaking, behind + speaking, tension, axial)
    up = cl.bend_rise(d, *args)
    assert_allclose(cl.bend_rise(-d, *args), up)
    assert cl.bend_rise(d + 1e-3, *args) > up


@given(st.floats(0.15, 0.6), st.floats(-0.02, 0.02), st.floats(-0.025, 0.025), st.floats(-0.02, 0.02), saddles)
def test_bend_mirrors_across_the_board(radius, z, saddle_z, d, saddle):
    y, r, along = heights(0.005), np.full(23, radius), z + (saddle_z - z) * X / SCALE
    here = cl.bend_map(X, y, r, along, np.array([SCALE, saddle, saddle_z]), d)
    there = cl.bend_map(X, y, r, -along, np.array([SCALE, saddle, -saddle_z]), -d)
    finite = np.isfinite(here)
    assert_allclose(there[finite], here[finite], atol=1e-15)


@given(st.integers(1, 20), st.floats(-0.02, 0.02), st.floats(-0.02, 0.02), st.floats(0.1e-3, 1e-3))
def test_radius_for_a_bend_clears_and_a_rounder_one_does_not(fret, z, d, room):
    s = (X[fret + 1 :] - X[fret]) / (SCALE - X[fret])
    rest = room * (0.2 + s)
    saddle_z = z * 1.2
    radius = float(cl.radius_for_bend(rest, s, z, saddle_z, d))
    assume(0.051 < radius < 99.0)

    def clear(r):
        at, bent = z + s * (saddle_z - z), z + d + s * (saddle_z - z - d)
        lost = (1.0 - s) * (drop(r, z + d) - drop(r, z)) - (drop(r, bent) - drop(r, at))
        return (rest - lost).min()

    assert clear(radius) >= -1e-12
    assert clear(0.99 * radius) < 0.0


@given(st.floats(0.1, 1.0), st.floats(0.01, 0.15))
def test_sagitta_and_radius_invert(radius, chord):
    assume(chord < 1.7 * radius)
    assert_allclose(cl.radius_from_sagitta(chord, cl.sagitta(radius, chord)), radius, rtol=1e-9)


@given(st.floats(0.18, 0.4), st.floats(0.0, 0.2), st.floats(-0.025, 0.025), st.floats(-0.01, 0.01))
def test_on_a_round_board_a_gauge_along_the_centre_line_sees_its_radius(radius, x, z, slant):
    """And a slanted one sees R / cos^2 of the slant within the board, at most 0.02 % more at 0.01."""
    assert_allclose(cl.radius_square_to_string(x, z, 0.0, 0.46, radius, radius), radius, rtol=1e-12)
    seen = cl.radius_square_to_string(x, z, slant, 0.46, radius, radius)
    assert radius * (1.0 - 1e-12) <= seen <= radius * (1.0 + 1.1 * slant**2 + 1e-12)


@given(st.floats(0.03, 0.07), st.lists(st.floats(2e-4, 3e-3), min_size=2, max_size=8))
def test_equal_gaps_are_equal(spread, wires):
    wire = np.array(wires)
    assume(spread > 1.2 * wire.sum())
    z = cl.string_places(spread, wire, "gaps")
    gaps = np.diff(z) - 0.5 * (wire[1:] + wire[:-1])
    assert_allclose(gaps, gaps[0], rtol=1e-9)
    assert_allclose([z[0], z[-1]], [-0.5 * spread, 0.5 * spread], rtol=1e-12)
