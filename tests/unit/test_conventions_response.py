"""What tension and rod do to relief and heights; the stops handed to the clearance; boards that cannot be."""

import dataclasses

import numpy as np
import pytest

from setwright.errors import InputError, RangeError
from setwright.instrument import neckshape as ns
from setwright.instrument.geometry import saddle_contact
from setwright.instrument.predict import string_heights
from setwright.physics import clearance as cl
from setwright.physics.frets import fret_position
from tests.judges.usual import usual_settings, usual_traits

SCALE = 0.6477
BOARD = ns.Board(SCALE, float(fret_position(SCALE, 16)), 0.6495, 22)


def test_heavier_strings_by_hand():
    """100 N more at 12 mm over a neck of 300 N m2: 0.004 1/m. On 0.3907 m of bending neck the nut goes up 0.305 mm,
    fret 12 (66.8 mm before the joint) 0.0089 mm: the 12th gains 0.305 (1 - 323.85/649.5) - 0.0089 = 0.1442 mm."""
    change = ns.bow_change(100.0, 0.012, 300.0)
    assert change == pytest.approx(0.004, rel=1e-12)
    assert ns.bow_change(-100.0, 0.012, 300.0) == pytest.approx(-0.004, rel=1e-12)
    assert ns.height_changes(BOARD, change, [12]) == pytest.approx([0.1442e-3], abs=2e-7)
    assert ns.height_changes(BOARD, change).shape == (22,)
    assert ns.height_changes(BOARD, change, capo=1).shape == (21,)
    assert ns.bow_change([0.0, 50.0], 0.012, 300.0) == pytest.approx([0.0, 0.002])
    assert ns.height_changes(BOARD, [0.0, 0.002]).shape == (2, 22)


def test_the_twelfth_falls_at_most_about_17_to_21_times_the_relief():
    """The trade's bound: 1.66 of a relief held at 1 and the last, 2.14 of one held at 1 and 17, both read at 8, for
    a neck that bends evenly up to fret 16."""
    fall = ns.height_changes(BOARD, -0.004, [12])[0]
    assert fall / ns.relief_change(BOARD, -0.004, (1, 22), 8) == pytest.approx(1.7, abs=0.05)
    assert fall / ns.relief_change(BOARD, -0.004, (1, 17), 8) == pytest.approx(2.1, abs=0.05)


def test_height_changes_follow_the_forward_model():
    """Against predict's string heights of the usual instrument at two bows: 1 % (it also shifts the nut forward)."""
    traits, settings = usual_traits(), usual_settings()
    tilt = np.array([0.0])
    frets = (1, 5, 12, 17, 22)
    low, high = (string_heights(traits, settings, tilt, np.array([b]), frets)[0, 0] for b in (0.010, 0.014))
    got = ns.height_changes(ns.board_of(traits, 1), 0.004, frets)
    assert got == pytest.approx(high - low, rel=0.01, abs=1e-6)


def test_stops_agree_with_predicted_heights():
    """Open-string row of the clearance map at rest = predict's heights, but for the crowns' forward shift (1e-6 m)."""
    traits, settings = usual_traits(), usual_settings()
    bow, tilt = np.array([0.014]), np.array([0.0])
    x, y = ns.stop_points(traits, settings, bow)
    saddle_x, saddle_y = saddle_contact(traits, settings, tilt)
    assert x.shape == y.shape == (1, 6, 23)
    pairs = cl.clearance_map(x, y, saddle_x, saddle_y, 0.12, 0.0)
    frets = tuple(range(1, 23))
    assert pairs[0, :, 0, 1:] == pytest.approx(string_heights(traits, settings, tilt, bow, frets)[0], abs=1e-6)


def test_stops_of_a_batch_with_single_frets_and_fall_away():
    traits, settings = usual_traits(), usual_settings()
    bow = np.array([0.010, 0.012, 0.014])
    single = np.zeros(22)
    single[6] = 0.1e-3
    x, y = ns.stop_points(traits, settings, bow)
    _, high = ns.stop_points(traits, settings, bow, single=single, fall_from=16, fall=0.3e-3)
    assert x.shape == (3, 6, 23)
    assert (high - y)[..., 7] == pytest.approx(np.full((3, 6), 0.1e-3), abs=1e-9)
    assert (high - y)[..., 22] == pytest.approx(np.full((3, 6), -0.3e-3), abs=1e-9)
    assert (high - y)[..., :7] == pytest.approx(np.zeros((3, 6, 7)), abs=1e-12)
    _, falling = ns.stop_points(traits, settings, bow, fall_from=0, fall=0.3e-3)
    assert (falling - y)[..., 22] == pytest.approx(np.full((3, 6), -0.3e-3), abs=1e-9)
    _, lean = ns.stop_points(traits, settings, bow, second=0.004)
    nut = 0.004 * 0.393**2 * (1.0 / 3.0 - 0.5)
    assert (lean - y)[..., 0] == pytest.approx(np.full((3, 6), nut), abs=1e-9)
    wide = dataclasses.replace(traits, fretboard=dataclasses.replace(traits.fretboard, crown=np.full(3, 0.0012)))
    assert ns.stop_points(wide, settings, bow)[1].shape == (3, 6, 23)
    with pytest.raises(InputError, match="cannot fall away from fret 22"):
        ns.stop_points(traits, settings, bow, fall_from=22)


def test_a_rod_is_as_uncertain_as_its_guess_until_it_is_turned():
    guess = ns.rod_response(-0.005)
    assert guess.standard_uncertainty == 0.005
    learned = ns.learn_rod(guess, 0.25, -0.002, 0.0001)
    assert learned.per_turn == pytest.approx(-0.008, rel=0.02)
    assert learned.standard_uncertainty == pytest.approx(0.0004, rel=0.01)
    again = ns.learn_rod(learned, -0.25, 0.002, 0.0001)
    assert again.standard_uncertainty == pytest.approx(0.0004 / np.sqrt(2.0), rel=0.01)


def test_a_turn_moves_the_bow_and_widens_it():
    shape = ns.NeckShape(BOARD, np.array([0.015, 0.0, 0.45e-3, 4.6e-3]), np.diag([1e-8, 0.0, 0.0, 0.0]))
    turned = ns.turn_rod(shape, ns.rod_response(-0.008, 0.001), 0.25)
    before, after = (ns.relief_under(s, (1, 17), 8) for s in (shape, turned))
    per_bow = before.value / 0.015
    assert after.value == pytest.approx(0.013 * per_bow)
    assert after.standard_uncertainty == pytest.approx(np.hypot(1e-4, 0.25e-3) * per_bow)
    assert ns.height_under(turned, 12).value < ns.height_under(shape, 12).value


@pytest.mark.parametrize(("per_turn", "u"), [(float("nan"), None), (0.0, None), (-0.005, 0.0), (-0.005, float("inf"))])
def test_a_rod_response_needs_an_uncertainty(per_turn, u):
    with pytest.raises(InputError, match="rod response"):
        ns.rod_response(per_turn, u)


@pytest.mark.parametrize(
    ("turns", "change", "u"), [(0.0, 0.0, 1e-4), (0.25, float("nan"), 1e-4), (0.25, -0.002, 0.0), (0.25, -0.002, -1.0)]
)
def test_nothing_is_learned_from_nothing(turns, change, u):
    with pytest.raises(InputError, match=r"nothing is learned|standard uncertainty greater than zero"):
        ns.learn_rod(ns.rod_response(-0.005), turns, change, u)


@pytest.mark.parametrize(
    "bad", [(0.1, 0.05, 0.1, 22), (SCALE, 0.7, 0.65, 22), (SCALE, 0.39, 0.65, 0), (SCALE, 0.39, 0.4, 22)]
)
def test_boards_that_cannot_be(bad):
    with pytest.raises(InputError, match=r"cannot be|does not go with"):
        ns.Board(*bad)


def test_refused_lines():
    shape = ns.NeckShape(BOARD, np.zeros(4), np.eye(4))
    with pytest.raises(InputError, match="hold fret 1"):
        ns.relief_under(shape, (0, 17), 8)
    with pytest.raises(InputError, match="in order"):
        ns.line_row(BOARD, 5, 17, 5)
    with pytest.raises(InputError, match="in order"):
        ns.line_row(BOARD, 1, 8, 8)
    with pytest.raises(InputError, match="does not have"):
        ns.height_under(shape, 23)
    with pytest.raises(InputError, match="string 7 does not exist"):
        ns.board_of(usual_traits(), 7)
    with pytest.raises(RangeError, match="tensions"):
        ns.bow_change(1e5, 0.012, 300.0)
