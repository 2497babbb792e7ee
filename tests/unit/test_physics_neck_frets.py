"""Neck and frets: figures worked by hand, shapes."""

import numpy as np
import pytest

from setwright.physics import frets, neck

SCALE = 0.648


def test_bow_by_hand():
    """Six strings of 75 N at 8 mm: 3.6 N m; rod 2 N m + half a turn of 1 N m; EI 100: (3.6 - 2.5)/100 + 0.001."""
    assert neck.bow([75.0] * 6, 0.5, 0.001, 0.008, 2.0, 1.0, 100.0) == pytest.approx(0.012, rel=1e-12)
    assert neck.bow(np.full((7, 6), 75.0), np.zeros(7), 0.001, 0.008, 2.0, 1.0, 100.0).shape == (7,)


def test_bent_neck_by_hand():
    """Bow 0.004 1/m, joint at 0.4 m: nut up 0.32 mm, forward 0.004 x 0.4 x 8 mm = 12.8 um; nothing beyond the joint."""
    assert neck.bent_height([0.0, 0.4, 0.5], 0.4, 0.004) == pytest.approx([0.32e-3, 0.0, 0.0])
    assert neck.bent_shift([0.0, 0.4, 0.5], 0.4, 0.004, 0.008) == pytest.approx([12.8e-6, 0.0, 0.0])


def test_relief_is_zero_at_its_stops_and_on_the_straight_part():
    assert neck.relief(0.1, [0.1, 0.3], 0.3, 0.4, 0.004) == pytest.approx([0.0, 0.0], abs=1e-18)
    assert neck.relief(0.42, 0.44, 0.46, 0.4, 0.004) == 0.0


def test_wedge_turns_by_its_length():
    assert neck.wedge_angle(0.5e-3, 0.076) == pytest.approx(0.5 / 76.0)
    assert neck.strip_angle(-0.5e-3, 0.07) < 0.0


def test_fret_positions_by_the_divisor():
    """The old rule: each fret takes 1/17.817154 of what remains. 5e-9 of the scale: its eight digits, 24 times."""
    remaining, places = 1.0, []
    for _ in range(24):
        remaining -= remaining / 17.817153745
        places.append(1.0 - remaining)
    assert frets.fret_position(1.0, np.arange(1, 25)) == pytest.approx(places, abs=5e-9)
    assert frets.fret_position(SCALE, 12.0) == pytest.approx(0.324, rel=1e-14)
    assert frets.fret_position(SCALE, 0.0) == 0.0


def test_share_of_the_saddle():
    """0.50, 0.63, 0.72 at frets 12, 17, 22 (trade table, two digits)."""
    got = frets.saddle_share(frets.fret_position(SCALE, [12, 17, 22]), 0.0, SCALE)
    assert got == pytest.approx([0.50, 0.63, 0.72], abs=5e-3)


def test_drop_of_a_board():
    """R 241.3 mm (9.5 in), 21 mm out: 241.3 - sqrt(241.3^2 - 441) = 0.91554 mm. A 100 m radius keeps its digits."""
    assert frets.drop(0.2413, 0.021) == pytest.approx(0.91554e-3, abs=1e-8)
    assert frets.drop(100.0, 0.021) == pytest.approx(0.021**2 / 200.0, rel=1e-7)


def test_compound_board():
    """254 mm at the nut, 406.4 mm at fret 22: half-way along the board 330.2 mm."""
    end = frets.fret_position(SCALE, 22.0)
    assert frets.board_radius([0.0, end / 2.0, end], end, 0.254, 0.4064) == pytest.approx([0.254, 0.3302, 0.4064])


def test_crown_and_string_height_by_hand():
    """Line from 13.2 mm at the nut to 17 mm at the saddle passes fret 12 at 15.1 mm; board 12.5 + crown 1.1 mm with
    a drop of 0.91554 mm at 21 mm out: crown at 12.68446 mm, height 2.41554 mm."""
    crown = frets.crown_height(12.0, 0.021, SCALE, 22.0, 0.2413, 0.2413, 0.0125, 1.1e-3)
    assert crown == pytest.approx(12.68446e-3, abs=1e-8)
    nut, saddle = np.array([0.0, 13.2e-3, 0.017]), np.array([SCALE, 17e-3, 0.025])
    y, z = frets.string_at(SCALE / 2.0, nut, saddle)
    assert (y, z) == pytest.approx((15.1e-3, 0.021))
    height = frets.string_height(SCALE / 2.0, crown, nut, saddle)
    assert height == pytest.approx(2.41554e-3, abs=1e-8)
    rise = frets.saddle_rise_for_height(1.6e-3, SCALE / 2.0, crown, nut, saddle)
    assert rise == pytest.approx(-2.0 * 0.81554e-3, abs=2e-8)


def test_strings_and_frets_broadcast():
    nut, saddle = np.zeros((4, 6, 1, 3)), np.broadcast_to([SCALE, 0.01, 0.0], (4, 6, 1, 3))
    x = frets.fret_position(SCALE, np.arange(1, 23))
    assert frets.string_height(x, np.zeros(22), nut, saddle).shape == (4, 6, 22)


def test_level_turns():
    """0.5 mm lead: 0.3 mm up is 0.6 turn on both; with the treble screw 0.1 mm high: 0.5 and 0.7 turn."""
    assert frets.level_turns(0.3e-3, 0.5e-3) == pytest.approx([0.6, 0.6])
    assert frets.level_turns(0.3e-3, 0.5e-3, 0.1e-3) == pytest.approx([0.5, 0.7])
    assert frets.level_turns(np.zeros((3, 6)), 0.5e-3).shape == (3, 6, 2)


def test_turns_a_hand_can_make():
    made, left = frets.whole_steps([0.60, -0.30, 0.0], 0.125)
    assert made.tolist() == [0.625, -0.25, 0.0]
    assert left == pytest.approx([-0.025, -0.05, 0.0])
    assert frets.whole_steps(0.60, 1.0 / 16.0)[0] == 0.625


def test_stops():
    reached, missing = frets.within([0.5e-3, 2e-3, -2e-3], [-1e-3, 1.5e-3])
    assert reached == pytest.approx([0.5e-3, 1.5e-3, -1e-3])
    assert missing == pytest.approx([0.0, 0.5e-3, -1e-3])


def test_radius_across_the_saddles_shows_the_odd_one():
    """Six strings on 305 mm; raise the third by 0.2 mm: it stands out as the highest off the circle."""
    z = np.linspace(-0.026, 0.026, 6)
    y = 0.017 - (0.305 - np.sqrt(0.305**2 - z**2))
    radius, off = frets.radius_across(z, y)
    assert radius == pytest.approx(0.305, rel=1e-9)
    assert np.abs(off).max() < 1e-12
    y[2] += 0.2e-3
    _, off = frets.radius_across(z, y)
    assert off.argmax() == 2
    both, _ = frets.radius_across(z, np.stack([y, y - 0.001]))
    assert both[0] == pytest.approx(both[1])
