"""The range checker and the refusals of every physics function that has a condition of its own."""

import numpy as np
import pytest

from setwright.errors import RangeError
from setwright.physics import construction, frets, materials, neck, pitch, pulls, springs, strings
from setwright.physics._ranges import choose, require


def test_value_inside_comes_back_as_float64():
    got = require("length", [1, 2], 0.0, 3.0, "m")
    assert got.dtype == np.float64
    assert got.tolist() == [1.0, 2.0]
    assert require("length", 3.0, 0.0, 3.0, "m").shape == ()
    assert require("nothing", [], 0.0, 1.0, "m").size == 0


@pytest.mark.parametrize(
    ("value", "says"),
    [
        (4.0, r"length is 4 m; allowed is 0 to 3 m: check the value and its unit\."),
        (-1e-9, r"length is -1e-09 m; allowed"),
        (np.nan, r"length is not a number; allowed is 0 to 3 m"),
        (np.inf, r"length is inf m; allowed"),
        ([[1.0, 2.0], [3.0, 9.0]], r"length is 9 m at index 1, 1; allowed"),
        ([1.0, np.nan], r"length is not a number at index 1; allowed"),
    ],
)
def test_refusal_names_value_place_and_range(value, says):
    with pytest.raises(RangeError, match=says):
        require("length", value, 0.0, 3.0, "m")


def test_no_trailing_blank_without_a_unit():
    with pytest.raises(RangeError, match=r"share is 2; allowed is 0 to 1: check"):
        require("share", 2.0, 0.0, 1.0, "")


def test_words():
    assert choose("ends", "pinned", ("pinned", "clamped")) == "pinned"
    with pytest.raises(RangeError, match=r"ends is 'loose'; allowed is 'pinned' or 'clamped': use one of these"):
        choose("ends", "loose", ("pinned", "clamped"))


REFUSED = {
    "slack string too low for its stiffness": lambda: strings.tension_at_pitch(1.0, 0.1, 1e-3, 1e5, 1e-3),
    "pitch that overstretches": lambda: strings.tension_at_pitch(5000.0, 1.0, 1e-3, 1e3, 0.0),
    "stretch beyond a half": lambda: strings.tension_from_stretch(2.0, 1.0, 1e4),
    "tension beyond a half of EA": lambda: strings.unstretched_for_tension(1.0, 60.0, 100.0),
    "no tension, no inharmonicity": lambda: strings.inharmonicity(0.0, 0.6, 1e-5),
    "clamped factor beyond its series": lambda: strings.end_factor(0.02, "clamped"),
    "unknown ends": lambda: strings.end_factor(0.001, "loose"),
    "unknown reference of EA": lambda: strings.pitch_shift(0.0, 0.0, 50.0, 1e4, 0.7, 0.6, "per inch"),
    "pitch shift of a slack string": lambda: strings.pitch_shift(0.0, 0.0, 0.0, 1e4, 0.7, 0.6),
    "nan length": lambda: strings.tension_from_stretch(np.nan, 1.0, 1e4),
    "unknown core": lambda: construction.core_area(1e-3, "square"),
    "core thicker than the string": lambda: construction.wound_unit_mass(1e-3, 0.9e-3, 7900.0),
    "hexagon whose corners pass the wrap": lambda: construction.wound_unit_mass(1e-3, 1.1e-3, 7900.0, "hex"),
    "packing above one": lambda: construction.wound_unit_mass(0.4e-3, 1e-3, 7900.0, packing=1.1),
    "diameter in millimetres": lambda: construction.plain_unit_mass(0.25),
    "wire too thick for the table": lambda: construction.breaking_load(7e-3),
    "unknown bound": lambda: materials.music_wire_strength(1e-3, "typical"),
    "bend of a right angle": lambda: pulls.bend_cents(1.5, 50.0, 1e4),
    "no tension to bend": lambda: pulls.bend_force(0.1, 0.0, 1e4),
    "capstan beyond sense": lambda: pulls.tension_behind(50.0, 4.0),
    "overstretched behind the nut": lambda: pulls.unstretched_over_nut(400.0, 0.6, 0.1, 1e3, 1.0),
    "overstretched before the nut": lambda: pulls.tension_over_nut(0.1, 0.6, 0.1, 1e4, 0.0),
    "closed coil softer than open": lambda: springs.force(0.1, 1e3, 10.0, 0.05, 500.0),
    "negative spring length": lambda: springs.energy(-0.1, 1e3, 10.0, 0.05, 1e6),
    "nan spring": lambda: springs.stiffness(np.nan, 1e3, 10.0, 0.05, 1e6),
    "spring index below three": lambda: springs.rate_from_coil(8e10, 1e-3, 2e-3, 50.0),
    "shim in millimetres": lambda: neck.strip_angle(0.5, 0.07),
    "wedge without a pocket": lambda: neck.wedge_angle(0.5e-3, 0.0),
    "angle in degrees": lambda: neck.line_rise(1.0, 0.25),
    "rotation of nan": lambda: neck.rotate(np.nan, 0.0, 0.0, 0.0, 0.01),
    "bow beyond sense": lambda: neck.bow([5000.0] * 6, 0.0, 0.0, 0.02, 0.0, 0.0, 50.0),
    "relief read outside the stops": lambda: neck.relief(0.1, 0.05, 0.3, 0.39, 0.003),
    "relief read beyond the stops": lambda: neck.relief(0.1, 0.35, 0.3, 0.39, 0.003),
    "relief stops in the wrong order": lambda: neck.relief(0.3, 0.3, 0.1, 0.39, 0.003),
    "relief on the straight part": lambda: neck.bow_for_relief(1e-4, 0.4, 0.45, 0.5, 0.39),
    "fret 40": lambda: frets.fret_position(0.65, 40.0),
    "scale in inches": lambda: frets.fret_position(25.5, 12.0),
    "radius shrinks away": lambda: frets.board_radius(0.6, 0.45, 0.3, 0.1),
    "off the edge of the circle": lambda: frets.drop(0.05, 0.049),
    "fret beyond the saddle": lambda: frets.saddle_share(0.7, 0.0, 0.65),
    "saddle on the nut": lambda: frets.saddle_share(0.0, 0.0, 0.05),
    "target at the nut": lambda: frets.saddle_rise_for_height(1e-3, 0.0, 0.0, [0.0, 0.0, 0.0], [0.65, 0.0, 0.0]),
    "no lead": lambda: frets.screw_turns(1e-3, 0.0),
    "step of nothing": lambda: frets.whole_steps(1.0, 0.0),
    "stops in the wrong order": lambda: frets.within(0.0, [1e-3, -1e-3]),
    "two strings make no circle": lambda: frets.radius_across([0.0, 0.01], [0.0, 0.0]),
    "one number makes no circle": lambda: frets.radius_across(0.0, 0.0),
    "strings on one line": lambda: frets.radius_across([-0.01, 0.0, 0.01], [0.0, 0.0, 0.0]),
    "hollow saddles": lambda: frets.radius_across([-0.01, 0.0, 0.01], [3e-4, 0.0, 3e-4]),
    "strings on one spot": lambda: frets.radius_across([0.0, 0.0, 0.0], [0.0, 0.1, 0.2]),
    "no frequency": lambda: pitch.cents(0.0, 440.0),
    "twenty octaves": lambda: pitch.ratio_from_cents(24000.0),
    "A4 at 300": lambda: pitch.note_frequency(69.0, 300.0),
    "not a note": lambda: pitch.note_number("H2"),
    "note without octave": lambda: pitch.note_number("E"),
    "name of a fraction": lambda: pitch.note_name(64.5),
    "name out of range": lambda: pitch.note_name(200),
    "nan heard": lambda: pitch.nearest_note(np.nan),
}


@pytest.mark.parametrize("what", REFUSED)
def test_refused_in_one_sentence(what):
    with pytest.raises(RangeError) as caught:
        REFUSED[what]()
    text = str(caught.value)
    assert text.endswith(".")
    assert "\n" not in text
    assert 40 < len(text) < 220
