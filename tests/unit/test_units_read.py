"""What the readers take and refuse. Expected values are written out by hand from the definitions of the units."""

import subprocess
import sys

import pytest

from setwright.errors import InputError, UnitError
from setwright.units import (
    KINDS,
    READERS,
    note_name,
    note_number,
    read_angle,
    read_cents,
    read_force,
    read_length,
    read_pitch,
    read_ratio,
    read_temperature,
    read_toleranced,
    read_turns,
    unit_size,
)
from setwright.units.written import clean

MM = 1e-3

LENGTHS = [  # written, mm, unit, step in mm
    ('2.5/32"', 1.984375, "in", 0.396875),
    ("2.5⁄32 in", 1.984375, "in", 0.396875),
    ("2.25/32 in", 1.7859375, "in", 0.1984375),
    ("2.3/32 in", 1.825625, "in", 0.079375),
    ("5/64", 1.984375, "in", 0.396875),
    ("3/32", 2.38125, "in", 0.79375),
    ("1 3/8", 34.925, "in", 3.175),
    ("1 3/8 in", 34.925, "in", 3.175),
    ('1-3/8"', 34.925, "in", 3.175),
    ("1–3/8”", 34.925, "in", 3.175),
    ("⅜", 9.525, "in", 3.175),
    ("½ in", 12.7, "in", 12.7),
    ("25½″", 647.7, "in", 12.7),
    ("25 1/2 in.", 647.7, "in", 12.7),
    ('.010"', 0.254, "in", 0.0254),
    (".010''", 0.254, "in", 0.0254),
    (",010 in", 0.254, "in", 0.0254),
    ("0,010 in", 0.254, "in", 0.0254),
    ("0.010 in", 0.254, "in", 0.0254),
    ("10 thou", 0.254, "thou", 0.0254),
    ("10 thousandths", 0.254, "thou", 0.0254),
    ("1.6 mm", 1.6, "mm", 0.1),
    ("1,6 mm", 1.6, "mm", 0.1),
    ("1.6mm", 1.6, "mm", 0.1),
    ("1.600 MM", 1.6, "mm", 0.001),
    ("5. mm", 5.0, "mm", 1.0),
    ("0.16 cm", 1.6, "cm", 0.1),
    ("25.5 inches", 647.7, "in", 2.54),
    ("0.648 m", 648.0, "m", 1.0),
    ("250 μm", 0.25, "µm", 0.001),
    ("2 ft", 609.6, "ft", 304.8),
    ("−1.6 mm", -1.6, "mm", 0.1),
    ("+ 1.6 mm", 1.6, "mm", 0.1),
    ("1/2 mm", 0.5, "mm", 0.5),
    ("1e-3 m", 1.0, "m", 1.0),
    ("3/32 in + .003", 2.45745, "in", 0.0254),
    ('3/32" − .0015"', 2.34315, "in", 0.00254),
    ("1\u202f1/16\u00a0in", 26.9875, "in", 1.5875),
]


@pytest.mark.parametrize(("text", "mm", "unit", "step"), LENGTHS)
def test_lengths(text, mm, unit, step):
    got = read_length(text)
    assert got.si == pytest.approx(mm * MM, rel=1e-12)
    assert got.resolution_si == pytest.approx(step * MM, rel=1e-12)
    assert (got.unit, got.text) == (unit, text)


def test_a_decimal_is_converted_exactly_once():
    assert read_length("1.6 mm").si == 0.0016
    assert read_length("25.5 in").si == 0.6477
    assert str(read_length("-0 mm").si) == "0.0"


def test_a_fraction_is_marked_as_one():
    assert read_length("5/64").as_fraction
    assert not read_length(".010 in").as_fraction
    assert not read_length("3/32 in + .003").as_fraction


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("10", "no unit; add one of mm, in, thou"),
        ("1.5", "no unit"),
        ("3/4", "without a unit"),
        ("1 1/2", "without a unit"),
        ("5/128", "without a unit"),
        ("10 mil", "thousandth of an inch"),
        ("10 MILS", "write thou or mm"),
        ("5'", "feet"),
        ("10 furlongs", "use one of mm, in, thou"),
        ("5 M", "not a unit of length"),
        ("5 c", "not a unit of length"),
        ("1,600 mm", "1.600 or 1600"),
        ("25,500 mm", "25.500 or 25500"),
        ("1,234.5 mm", "1.234 or 1234"),
        ("10 N", "not a unit of length"),
    ],
)
def test_lengths_that_are_asked_about(text, words):
    with pytest.raises(UnitError, match=words) as caught:
        read_length(text, "relief")
    assert str(caught.value).startswith("relief: ")
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "nothing is written"),
        ("   ", "nothing is written"),
        ("mm", "not a number"),
        ("NaN mm", "not a number"),
        ("inf mm", "not a number"),
        ("1/0 in", "divides by zero"),
        ("2 5/4 in", "one or more after the whole"),
        ("1/8-1/4 in", "more than one number"),
        ("1.234,5 mm", "more than one number"),
        ("2-3 mm", "more than one number"),
        ("1e999 mm", "too large"),
        ("1e99999 mm", "exponent"),
        ("٣ mm", "cannot be read"),
        ("3² mm", "cannot be read"),
        ("⅑ in", "cannot be read"),
        ("1" * 61 + " mm", "too long"),
    ],
)
def test_what_is_no_length(text, words):
    with pytest.raises(InputError, match=words):
        read_length(text)


@pytest.mark.parametrize(
    ("text", "turns", "step"),
    [
        ("3/8 turn", 0.375, 0.125),
        ("-1 1/4 turns", -1.25, 0.25),
        ("−1¼ turns", -1.25, 0.25),
        ("+0.5 turn", 0.5, 0.1),
        ("2 turns", 2.0, 1.0),
        ("1 TURN", 1.0, 1.0),
        ("no turn", 0.0, 0.125),
    ],
)
def test_turns(text, turns, step):
    got = read_turns(text)
    assert (got.si, got.resolution_si, got.unit) == (turns, step, "turn")


@pytest.mark.parametrize(
    ("text", "positive", "turns"),
    [
        ("1/8 turn out", "in", -0.125),
        ("1/8 turn in", "in", 0.125),
        ("1/8 turn out", "out", 0.125),
        ("1/4 turn tighter", "tighter", 0.25),
        ("1/4 turn loose", "tighter", -0.25),
        ("2 turns up", "down", -2.0),
        ("1/2 turn counter-clockwise", "clockwise", -0.5),
        ("1/2 turn cw", "clockwise", 0.5),
        ("-1/8 turn", "in", -0.125),
    ],
)
def test_turns_with_a_direction(text, positive, turns):
    assert read_turns(text, "claw", positive).si == turns


@pytest.mark.parametrize(
    ("text", "positive", "words"),
    [
        ("1/8 turn out", "", "none is defined here"),
        ("1/8 turn up", "in", "in or out, not 'up'"),
        ("-1/8 turn out", "in", "a sign and a direction"),
        ("1/8 turn sideways", "in", "not a direction"),
        ("3/8", "in", "no unit"),
        ("45°", "in", "not a unit of turns"),
        ("1/8 turn out please", "in", "not a unit of turns"),
    ],
)
def test_turns_that_are_asked_about(text, positive, words):
    with pytest.raises(UnitError, match=words):
        read_turns(text, "claw", positive)


def test_a_positive_direction_must_exist():
    with pytest.raises(InputError, match="is not a direction; there are: in, out, up"):
        read_turns("1/8 turn", "", "sideways")


@pytest.mark.parametrize("text", ["-4 c", "−4 cents", "-4 CENTS", "-4 ct", "-4¢", "- 4c"])
def test_cents(text):
    got = read_cents(text)
    assert (got.si, got.unit, got.resolution_si) == (-4.0, "c", 1.0)


@pytest.mark.parametrize(
    ("kind", "text", "si", "unit"),
    [
        ("force", "73 N", 73.0, "N"),
        ("force", "1 lbs", 4.4482216152605, "lb"),
        ("force", "7.3 kgf", 71.588545, "kgf"),
        ("rate", "3.5 N/mm", 3500.0, "N/mm"),
        ("rate", "3.5 N / mm", 3500.0, "N/mm"),
        ("rate", "20 lbf/in", 3502.5367049295273, "lb/in"),
        ("angle", "0.5 deg", 0.008726646259971648, "deg"),
        ("angle", "0.5°", 0.008726646259971648, "deg"),
        ("angle", "0.5º", 0.008726646259971648, "deg"),
        ("angle", "9 mrad", 0.009, "mrad"),
        ("angle", "30'", 0.008726646259971648, "arcmin"),
        ("angle", "1° 30′", 0.026179938779914945, "deg"),
        ("angle", "-1° 30'", -0.026179938779914945, "deg"),
        ("angle", "-0° 30'", -0.008726646259971648, "deg"),
        ("temperature", "20 C", 293.15, "C"),
        ("temperature", "20 ℃", 293.15, "C"),
        ("temperature", "-40 °F", 233.15, "F"),
        ("temperature", "20 deg C", 293.15, "C"),
        ("temperature", "293.15 K", 293.15, "K"),
        ("mass", "0.3 kg", 0.3, "kg"),
        ("mass", "300 g", 0.3, "g"),
        ("mass", "16 oz", 0.45359237, "oz"),
        ("unit mass", "0.000395 kg/m", 0.000395, "kg/m"),
        ("unit mass", "0.395 g/m", 0.000395, "g/m"),
        ("ratio", "15 %", 0.15, "%"),
        ("ratio", "15 percent", 0.15, "%"),
        ("ratio", "40 ppm", 4e-5, "ppm"),
        ("pitch", "440 Hz", 440.0, "Hz"),
        ("pitch", "0.44 khz", 440.0, "kHz"),
    ],
)
def test_other_kinds(kind, text, si, unit):
    got = READERS[kind](text, "")
    assert got.si == pytest.approx(si, rel=1e-12)
    assert got.unit == unit


@pytest.mark.parametrize("kind", KINDS)
def test_a_bare_number_is_refused_in_every_kind(kind):
    with pytest.raises(UnitError, match=r"spot: '10' has no unit; add one of") as caught:
        READERS[kind]("10", "spot")
    assert all(unit in str(caught.value) for unit in KINDS[kind].sizes)


@pytest.mark.parametrize(
    ("reader", "text", "words"),
    [
        (read_force, "7.3 kg", "kg is a mass; write kgf"),
        (read_force, "16 KG", "kg is a mass"),
        (read_temperature, "20 deg", "which scale"),
        (read_temperature, "20°", "which scale"),
        (read_ratio, "0.15", "no unit"),
        (read_pitch, "-10 c", "cents need a note"),
        (read_pitch, "E", "no octave"),
        (read_pitch, "Bb", "no octave"),
        (read_pitch, "H2", "B natural in some countries"),
        (read_pitch, "E4 10 c", "sharp or flat"),
        (read_pitch, "E4 -10", "no unit"),
        (read_cents, "4 hz", "not a unit of cents"),
    ],
)
def test_units_that_are_asked_about(reader, text, words):
    with pytest.raises(UnitError, match=words):
        reader(text, "string 1")


@pytest.mark.parametrize(
    ("reader", "text", "words"),
    [
        (read_temperature, "-300 C", "below absolute zero"),
        (read_angle, "1° 60'", "60 or more minutes"),
        (read_pitch, "0 Hz", "positive number"),
        (read_pitch, "-5 Hz", "positive number"),
        (read_pitch, "E4 -1300 c", "more than an octave"),
    ],
)
def test_values_that_cannot_be(reader, text, words):
    with pytest.raises(InputError, match=words):
        reader(text)


def test_spellings_of_a_note():
    assert read_pitch("e4").si == read_pitch("E 4").si == read_pitch("E4 +0 c").si
    assert read_pitch("B♭2").si == read_pitch("Bb2").si == read_pitch("A#2").si
    assert read_pitch("F♯3").si == read_pitch("Gb3").si
    assert read_pitch("Cb4").si == pytest.approx(read_pitch("B3").si, rel=1e-15)
    assert read_pitch("A4-1200c").si == pytest.approx(220.0, rel=1e-15)


def test_the_reference_pitch_scales_the_notes():
    assert read_pitch("A4", reference=432.0).si == 432.0
    assert read_pitch("440 Hz", reference=432.0).si == 440.0
    with pytest.raises(InputError, match="outside 380 to 500"):
        read_pitch("A4", reference=44.0)


def test_the_resolution_of_a_note_is_a_semitone_or_the_cents_written():
    assert read_pitch("A4").resolution_si == pytest.approx(26.1638, abs=1e-4)
    assert read_pitch("A4 -0.5 c").resolution_si == pytest.approx(0.02541, abs=1e-4)


def test_note_names_and_numbers():
    assert note_name(57) == "A4"
    assert (note_name(46), note_name(46, flats=True)) == ("A#3", "Bb3")
    assert note_number(440.0) == 57.0
    assert note_number(220.0) == 45.0
    for number in (-1, 120):
        with pytest.raises(InputError, match="outside 0 to 119"):
            note_name(number)
    for hertz in (0.0, -1.0, float("nan"), float("inf")):
        with pytest.raises(InputError, match="cannot be named"):
            note_number(hertz)


TOLERANCED = [  # written, kind, value, half width; SI
    ("2.6 mm ± 0.25 mm", "length", 2.6e-3, 0.25e-3),
    ("2.6 ± 0.25 mm", "length", 2.6e-3, 0.25e-3),
    ("2.6 +/- 0.25 mm", "length", 2.6e-3, 0.25e-3),
    ("2.6 +- 0.25 mm", "length", 2.6e-3, 0.25e-3),
    ("3/32 ± 1/64", "length", 2.38125e-3, 0.396875e-3),
    ("3/32 in ± 2 thou", "length", 2.38125e-3, 0.0508e-3),
    (".010 to .012 in", "length", 0.2794e-3, 0.0254e-3),
    ("1.6 mm", "length", 1.6e-3, None),
    ("0 to 10 c", "cents", 5.0, 5.0),
    ("-4 ± 2 c", "cents", -4.0, 2.0),
    ("20 ± 2 C", "temperature", 293.15, 2.0),
    ("68 ± 9 F", "temperature", 293.15, 5.0),
    ("440 ± 1 Hz", "pitch", 440.0, 1.0),
    ("A4 ± 2 c", "pitch", 440.0, 0.508602),
    ("A4 -1200 c ± 2 c", "pitch", 220.0, 0.254301),
    ("A4", "pitch", 440.0, None),
    ("1 ± 1/8 turns", "turns", 1.0, 0.125),
]


@pytest.mark.parametrize(("text", "kind", "value", "half"), TOLERANCED)
def test_toleranced(text, kind, value, half):
    written, tolerance = read_toleranced(text, kind)
    assert written.si == pytest.approx(value, rel=1e-9)
    assert written.text == text
    assert tolerance is None if half is None else tolerance == pytest.approx(half, rel=2e-5)


@pytest.mark.parametrize(
    ("text", "kind", "error", "words"),
    [
        ("2.6 mm ± 0.25", "length", UnitError, "'0.25' has no unit"),
        ("± 2 mm", "length", InputError, "lacks a number"),
        ("2 mm ±", "length", InputError, "lacks a number"),
        ("2 mm ± 0 mm", "length", InputError, "not greater than zero"),
        ("2 ± -1 c", "cents", InputError, "not greater than zero"),
        (".014 in +.001/-.002", "length", InputError, "unequal tolerances"),
        ("10 to 0 c", "cents", InputError, "does not rise"),
        ("5 to 5 c", "cents", InputError, "does not rise"),
        ("0 to 10", "cents", UnitError, "no unit"),
        ("1 mm", "colour", InputError, "no kind of quantity called 'colour'"),
    ],
)
def test_tolerances_that_are_refused(text, kind, error, words):
    with pytest.raises(error, match=words):
        read_toleranced(text, kind, "height")


def test_a_reference_pitch_serves_a_toleranced_note():
    assert read_toleranced("A4 ± 2 c", "pitch", reference=432.0)[0].si == 432.0


def test_sizes_of_units():
    assert unit_size("length", "in") == 0.0254
    with pytest.raises(InputError, match="is not a unit of force; there are: N, lb"):
        unit_size("force", "mm")
    with pytest.raises(InputError, match="no kind of quantity"):
        unit_size("colour", "mm")


def test_clean_keeps_what_is_plain():
    assert clean(" 1½ ″ ") == '1 1/2 "'
    assert clean("½") == "1/2"


def test_the_package_is_cheap_to_import():
    code = "import sys, setwright.units, setwright.metrology; sys.exit('numpy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
