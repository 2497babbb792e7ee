"""Fanned frets: places against lines drawn by hand, each string's own law, straight boards to the last bit."""

from __future__ import annotations

from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest

from setwright.errors import ContradictionError, FileFormatError, QuestionableError, RangeError
from setwright.instrument.assemble import assemble, untouched
from setwright.instrument.fan import crossings, fan_at_bridge, fret_places, nut_places, slopes, string_scales
from setwright.instrument.files import instrument_from_bytes
from setwright.instrument.geometry import build_rig, crowns, nut_contact, saddle_contact
from setwright.instrument.neckshape import SADDLE, board_of, centre_board, line_row, stop_points
from setwright.instrument.predict import predict, relief, string_heights, tune_at
from setwright.instrument.prior import Uncertain, prior, vary
from setwright.instrument.string_sets import gauge
from setwright.instrument.traits import array
from setwright.physics.frets import fret_crossing, fret_slope

INCH = 0.0254
EIGHT = [gauge(t) for t in (".009", ".011", ".016", ".024w", ".034w", ".046w", ".059w", ".074w")]
HERTZ = array([329.63, 246.94, 196.0, 146.83, 110.0, 82.41, 61.74, 46.25])
FAN = '{ treble = "25.5 in", bass = "27 in", square = 7 }'
TEXT = """[instrument]
name = "t"
strings = 8
scale = SCALE
frets = 24
[bridge]
kind = "fixed, six saddles"
string_spread = "73.5 mm"
MORE
[nut]
string_spread = "48 mm"
"""
EXAMPLES = Path(__file__).parents[2] / "examples"


def made(scale=FAN, more="", kind=None):
    text = TEXT.replace("SCALE", scale).replace("MORE", more)
    if kind is not None:
        text = text.replace("fixed, six saddles", kind)
    return assemble(instrument_from_bytes(text.encode(), "t.instrument.toml"), EIGHT).traits


FANNED, PLAIN = made(), made('"25.5 in"')
STILL = untouched(FANNED)
ZERO = array(0.0)


def drawn(fret, string, compensated=True, square=7):
    """x where a string crosses a fret: both drawn through two points, met by Cramer's rule; everything by hand.

    Outer strings 48 mm apart at the nut, 73.5 mm at the bridge, scales 25.5 and 27 in; the square fret is at one x on
    both, and the nut's middle is x = 0.
    """
    q, still = 1.0 - 0.5 ** (fret / 12.0), 1.0 - 0.5 ** (square / 12.0)
    treble, bass = 25.5 * INCH, 27.0 * INCH
    apart = (bass - treble) * still  # treble nut ahead of bass nut, so that they meet at the square fret
    start = (apart / 2.0, -apart / 2.0)
    half = [0.024 + q * (0.03675 - 0.024)] * 2
    a = (start[0] + q * treble, -half[0])
    b = (start[1] + q * bass, half[1])
    share = string / 7.0
    nut = (start[0] + share * (start[1] - start[0]), -0.024 + share * 0.048)
    far = (start[0] + treble + share * (start[1] + bass - start[0] - treble), -0.03675 + share * 0.0735)
    if compensated:
        aft = float(FANNED.bridge.pivot_x + FANNED.bridge.saddle_aft[string])
        far = (aft, far[1])
    # fret: a + t (b - a); string: nut + u (far - nut)
    m = np.array([[b[0] - a[0], nut[0] - far[0]], [b[1] - a[1], nut[1] - far[1]]])
    t = np.linalg.solve(m, [nut[0] - a[0], nut[1] - a[1]])[0]
    return a[0] + t * (b[0] - a[0])


@pytest.mark.parametrize("string", range(8))
@pytest.mark.parametrize("fret", [1, 5, 7, 12, 24])
def test_crowns_lie_where_lines_drawn_by_hand_meet(fret, string):
    x, _ = crowns(FANNED, STILL, ZERO, ZERO, [fret])
    assert x[string, 0] == pytest.approx(drawn(fret, string), abs=1e-9)


def test_the_drawing_would_notice_another_square_fret():
    x, _ = crowns(FANNED, STILL, ZERO, ZERO, [12])
    assert abs(x[0, 0] - drawn(12, 0, square=9)) > 5e-4


def test_the_nut_is_a_slanted_line_through_the_middle_and_the_square_fret_is_square():
    nut = nut_places(FANNED)
    assert nut[0] == pytest.approx(0.5 * 1.5 * INCH * (1.0 - 2.0 ** (-7 / 12)), rel=1e-12)
    assert nut == pytest.approx(-nut[::-1])
    assert np.ptp(fret_places(FANNED, [7])[:, 0]) < 1e-12
    assert (np.diff(fret_places(FANNED, [1])[:, 0]) < 0).all()
    assert (np.diff(fret_places(FANNED, [24])[:, 0]) > 0).all()
    x, _ = nut_contact(FANNED, STILL, ZERO)
    assert x == pytest.approx(nut, abs=1e-15)


def test_every_string_has_equal_temperament_on_its_own_scale():
    own = np.linspace(25.5, 27.0, 8) * INCH
    assert string_scales(FANNED)[:] == pytest.approx(own, rel=1e-12)
    nut = nut_places(FANNED)
    numbers = np.arange(1, 25)
    x = crossings(FANNED, numbers, nut, nut + own)  # saddles without compensation
    assert x - nut[:, None] == pytest.approx(own[:, None] * (1.0 - 2.0 ** (-numbers / 12.0)), rel=1e-12)


def test_saddles_follow_the_fan_and_the_strings_ends_follow_them():
    due = nut_places(FANNED) + string_scales(FANNED)
    straight = made('"26.25 in"')
    compensation = straight.bridge.pivot_x + straight.bridge.saddle_aft - 26.25 * INCH
    assert FANNED.bridge.pivot_x + FANNED.bridge.saddle_aft == pytest.approx(due + compensation, abs=1e-12)
    tail = FANNED.bridge.anchor_aft - FANNED.bridge.saddle_aft
    assert tail == pytest.approx(straight.bridge.anchor_aft - straight.bridge.saddle_aft, abs=1e-12)
    typed = made(more='anchor_aft = "14 mm"')
    assert typed.bridge.anchor_aft == pytest.approx(np.full(8, 0.014))


def test_a_fan_of_none_is_a_straight_board_to_the_last_bit():
    one, other = made('{ treble = "25.5 in", bass = "25.5 in", square = 9 }'), PLAIN
    assert not one.fanned
    assert not other.fanned
    still = untouched(one)
    tuned = [tune_at(t, still, HERTZ, 0.0) for t in (one, other)]
    for f in fields(tuned[0].rig):
        assert np.array_equal(getattr(tuned[0].rig, f.name), getattr(tuned[1].rig, f.name), equal_nan=True), f.name
    got = [
        (
            *crowns(t, still, ZERO, s.state.bow, range(1, 25)),
            *stop_points(t, still, s.state.bow, 0.002, 0.0, 15, 1e-4),
            string_heights(t, still, s.state.tilt, s.state.bow, (1, 12, 24)),
        )
        for t, s in zip((one, other), tuned, strict=True)
    ]
    assert all(np.array_equal(a, b) for a, b in zip(*got, strict=True))
    assert board_of(one, 3) == board_of(other, 3)
    assert centre_board(other) == board_of(other, 1)


def test_straight_frets_are_the_fret_rule_itself():
    x = fret_places(PLAIN, range(1, 25))
    assert x.shape == (1, 24)
    assert np.array_equal(x[0], PLAIN.fretboard.scale * -np.expm1(-np.arange(1.0, 25.0) * (np.log(2.0) / 12.0)))
    assert np.array_equal(nut_places(PLAIN), np.zeros(8))
    assert np.array_equal(string_scales(PLAIN), [PLAIN.fretboard.scale])


def test_a_vanishing_fan_reaches_the_straight_board():
    nearly = replace(PLAIN, fretboard=replace(PLAIN.fretboard, fan=array(1e-9), square=array(7.0)))
    assert nearly.fanned
    rigs = [build_rig(t, STILL) for t in (nearly, PLAIN)]
    assert rigs[0].nut_y_per_bow == pytest.approx(np.full((1, 8), rigs[1].nut_y_per_bow[0]), rel=1e-8)
    tuned = [tune_at(t, STILL, HERTZ, 0.0) for t in (nearly, PLAIN)]
    assert tuned[0].state.tension == pytest.approx(tuned[1].state.tension, rel=1e-8)
    assert tuned[0].state.bow == pytest.approx(tuned[1].state.bow, rel=1e-8)
    for one, other in zip(
        (*crowns(nearly, STILL, ZERO, array(0.01), [1, 12, 24]), *stop_points(nearly, STILL, array(0.01), 0.002)),
        (*crowns(PLAIN, STILL, ZERO, array(0.01), [1, 12, 24]), *stop_points(PLAIN, STILL, array(0.01), 0.002)),
        strict=True,
    ):
        assert one == pytest.approx(other, abs=1e-9)


def test_the_nut_in_the_rig_moves_with_the_bow_as_the_neck_does():
    """The balance has the nut as a straight line in the bow; the geometry of the neck says the same of each."""
    rig = build_rig(FANNED, STILL)
    y0 = nut_contact(FANNED, STILL, ZERO)[1]
    y1 = nut_contact(FANNED, STILL, array(0.01))[1]
    assert rig.nut_y_per_bow.shape == (1, 8)
    assert 0.01 * rig.nut_y_per_bow[0] == pytest.approx(y1 - y0, abs=1e-8)
    assert np.ptp(y1 - y0) > 2e-5  # the slanted nut does not rise evenly


def test_both_pictures_of_the_stops_agree():
    bow = array(0.012)
    x, y = stop_points(FANNED, STILL, bow)
    crown_x, crown_y = crowns(FANNED, STILL, ZERO, bow, range(1, 25))
    assert x[:, 1:] == pytest.approx(crown_x, abs=2e-6)
    assert y[:, 1:] == pytest.approx(crown_y, abs=2e-6)
    nut_x, nut_y = nut_contact(FANNED, STILL, bow)
    assert x[:, 0] == pytest.approx(nut_x)
    assert y[:, 0] == pytest.approx(nut_y)


def test_second_mode_lifts_the_slanted_nut_by_its_own_place():
    """second J^2 (xi^3/3 - xi^2/2), xi = (J - x)/J, at the nut of each string; by hand."""
    plain = stop_points(FANNED, STILL, array(0.01))[1][:, 0]
    lifted = stop_points(FANNED, STILL, array(0.01), 0.004)[1][:, 0]
    joint = float(FANNED.neck.joint_x)
    xi = 1.0 - nut_places(FANNED) / joint
    assert lifted - plain == pytest.approx(0.004 * joint**2 * (xi**3 / 3.0 - xi**2 / 2.0), rel=1e-9)


@pytest.mark.parametrize("string", [1, 4, 8])
def test_the_board_of_a_string_tells_its_heights(string):
    """`line_row` counts from the nut of that string: heights with a bow match those of the whole geometry."""
    bow = 0.01
    board = board_of(FANNED, string)
    got = string_heights(FANNED, STILL, ZERO, array(bow), (1, 7, 12, 24))[string - 1]
    flat = string_heights(FANNED, STILL, ZERO, ZERO, (1, 7, 12, 24))[string - 1]
    rows = line_row(board, 0, SADDLE, [1, 7, 12, 24])
    assert got - flat == pytest.approx(rows[:, 0] * bow, abs=2e-6)


def test_relief_is_told_along_the_centre_line():
    centre = centre_board(FANNED)
    assert centre.nut_x == 0.0
    assert centre.scale == pytest.approx(26.25 * INCH)
    assert relief(FANNED, array(0.012), 1, 8, 17) == pytest.approx(line_row(centre, 1, 17, 8)[0] * 0.012)
    assert relief(FANNED, array(0.012), 1, 8, 17) == pytest.approx(
        relief(made('"26.25 in"'), array(0.012), 1, 8, 17), rel=1e-12
    )


def test_a_batch_of_boards_is_each_board_by_itself():
    part = Uncertain("nut.z", "spread", "nut.z", None, "factor", 0.01, "m", "typed")
    more = Uncertain("fretboard.scale", "scale", "fretboard.scale", None, "offset", 1e-3, "m", "typed")
    known, by = prior((part, more)), np.array([[0.0, 0.0], [0.01, 1e-3]])
    many = vary(FANNED, known, by)
    x, y = crowns(many, STILL, np.zeros(2), np.full(2, 0.01), [1, 12])
    rig = build_rig(many, STILL)
    for i in range(2):
        one = vary(FANNED, known, by[i])
        a, b = crowns(one, STILL, ZERO, array(0.01), [1, 12])
        assert x[i] == pytest.approx(a)
        assert y[i] == pytest.approx(b)
        assert rig.nut_y_per_bow[i] == pytest.approx(build_rig(one, STILL).nut_y_per_bow[0])


def test_prediction_of_a_fanned_board_holds_together():
    state = tune_at(FANNED, STILL, HERTZ, 0.0)
    got = predict(FANNED, state.settings)
    assert got.pitch == pytest.approx(HERTZ, rel=1e-6)
    length = np.hypot(
        saddle_contact(FANNED, STILL, ZERO)[0] - nut_contact(FANNED, STILL, array(float(state.state.bow[0])))[0],
        FANNED.bridge.saddle_z - FANNED.nut.z,
    )
    assert state.state.length[0] == pytest.approx(length, rel=1e-4)
    assert np.diff(state.state.length[0]) == pytest.approx(np.full(7, 1.5 * INCH / 7), abs=2e-3)


REFUSED = {
    "bass shorter": ('{ treble = "27 in", bass = "25.5 in", square = 7 }', "", ContradictionError, "no fan"),
    "too wide": ('{ treble = "24 in", bass = "32 in", square = 7 }', "", ContradictionError, "at most 25 %"),
    "no square": ('{ treble = "24 in", bass = "25 in" }', "", FileFormatError, "square is missing"),
    "square no fret": ('{ treble = "24 in", bass = "25 in", square = 40 }', "", FileFormatError, "0 to 36"),
    "square a length": ('{ treble = "24 in", bass = "25 in", square = "7" }', "", FileFormatError, "whole number"),
    "unknown word": ('{ treble = "24 in", base = "25 in", square = 7 }', "", FileFormatError, "did you mean 'bass'"),
    "no unit": ('{ treble = 25.5, bass = "27 in", square = 7 }', "", FileFormatError, "no unit"),
    "a list": ('["25.5 in", "27 in"]', "", FileFormatError, "not a list"),
    "an unusual scale": ('{ treble = "20 in", bass = "22 in", square = 7 }', "", QuestionableError, "usual"),
    "too steep": ('{ treble = "27 in", bass = "33 in", square = 24 }', "", ContradictionError, "slant of a fret"),
    "square saddles": (FAN, 'saddle_aft = "0 mm"', ContradictionError, "off the fan"),
}


@pytest.mark.parametrize(("scale", "more", "error", "words"), REFUSED.values(), ids=REFUSED)
def test_fans_that_cannot_be_are_refused_in_one_sentence(scale, more, error, words):
    with pytest.raises(error, match=words) as caught:
        made(scale, more)
    assert "t.instrument.toml, line" in str(caught.value)


def test_a_knife_edge_asks_for_the_saddles_of_a_fan():
    with pytest.raises(ContradictionError, match=r"write bridge\.saddle_aft"):
        made(kind="two-post knife edge")
    places = 16.0 + 1e3 * fan_at_bridge(1.5 * INCH, 7, np.linspace(-0.03675, 0.03675, 8))
    listed = ", ".join(f'"{one:.2f} mm"' for one in places)
    traits = made(more=f"saddle_aft = [{listed}]", kind="two-post knife edge")
    assert traits.bridge.knife_edge
    assert traits.fanned
    assert 1e3 * traits.bridge.saddle_aft == pytest.approx(places, abs=0.006)
    rest = tune_at(traits, replace(untouched(traits), springs=np.ones(5)), HERTZ, 0.0)
    assert np.isfinite(rest.state.stiffness).all()
    with pytest.raises(ContradictionError, match="one for each string"):
        made(more='saddle_aft = "16 mm"', kind="two-post knife edge")


def test_ranges_of_the_lines():
    with pytest.raises(RangeError, match="slant"):
        fret_slope(24, 0.2, 0, 0.035, 0.05)
    with pytest.raises(RangeError, match="fan"):
        fret_slope(1, -0.01, 0, 0.035, 0.05)
    with pytest.raises(RangeError, match="nut to saddle"):
        fret_crossing(0.1, 0.1, 0.0, 0.0, 0.05, 0.0)
    assert slopes(PLAIN, [0, 12]) == pytest.approx([0.0, 0.0])
