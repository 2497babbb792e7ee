"""Readings that are asked about, and the slip that is named. Spans are common practice, no source."""

import math

import pytest

from setwright.errors import InputError, QuestionableError
from setwright.metrology import QUANTITIES, doubt, quantity_named, question
from setwright.units import KINDS, READERS


def asked(quantity, text):
    written = READERS[quantity_named(quantity).kind](text, "")
    question(quantity, written.si, "string 1", written)


@pytest.mark.parametrize(
    ("quantity", "text"),
    [
        ("relief", ".010 in"),
        ("relief", "0 mm"),
        ("relief", "30 thou"),
        ("string_height", "5/64"),
        ("string_height", "1.6 mm"),
        ("scale_length", "25.5 in"),
        ("scale_length", "34 in"),
        ("fretboard_radius", "9.5 in"),
        ("string_diameter", ".009 in"),
        ("string_diameter", ".130 in"),
        ("spring_rate", "20 lb/in"),
        ("string_tension", "16.2 lb"),
        ("shim_angle", "0.5°"),
        ("temperature", "68 F"),
        ("humidity", "45 %"),
        ("pitch", "B0"),
        ("octave_error", "-4 c"),
        ("unit_mass", "0.000395 kg/m"),
    ],
)
def test_usual_readings_pass(quantity, text):
    asked(quantity, text)


@pytest.mark.parametrize(
    ("quantity", "text", "slip"),
    [
        ("relief", ".05 in", r"did you mean \.005 in \(a lost zero\)"),
        ("relief", "100 thou", r"did you mean \.010 in \(a zero too many\)"),
        ("first_fret_clearance", "1.5 thou", r"did you mean \.015 in \(a lost zero\)"),
        ("first_fret_clearance", ".0015 in", r"did you mean \.015 in \(a zero too many\)"),
        ("string_height", "5/32", r"did you mean 5/64 \(32nds for 64ths\)"),
        ("string_height", "1/64", r"did you mean 1/32 \(64ths for 32nds\)"),
        ("string_height", "1.6 cm", r"did you mean 1\.6 mm \(cm for mm\)"),
        ("string_height", "16 mm", r"did you mean 1\.6 mm \(a decimal point"),
        ("string_tension", "16 N", r"did you mean 16 lb \(N for lb\)"),
        ("spring_rate", "20 N/mm", r"did you mean 20 lb/in \(N/mm for lb/in\)"),
        ("shim_angle", "0.06 rad", r"did you mean 0\.06 deg \(rad for deg\)"),
        ("temperature", "68 C", r"did you mean 68 F \(C for F\)"),
        ("temperature", "20 F", r"did you mean 20 C \(F for C\)"),
        ("temperature", "250 K", "check the number and its unit"),
        ("octave_error", "70 c", "check the number and its unit"),
        ("relief", "-0.1 mm", "check the number and its unit"),
        ("unit_mass", "0.05 kg/m", r"did you mean 0\.005 kg/m"),
    ],
)
def test_unlikely_readings_are_asked_about(quantity, text, slip):
    with pytest.raises(QuestionableError, match=slip) as caught:
        asked(quantity, text)
    message = str(caught.value)
    assert message.startswith(f"string 1: {quantity.replace('_', ' ')} of {text} is possible but unlikely")
    assert "\n" not in message


@pytest.mark.parametrize(
    ("quantity", "text", "slip"),
    [
        ("string_height", "2 in", r"did you mean 2 mm \(in for mm\)"),
        ("relief", "10 in", r"did you mean \.010 in \(in for thou\)"),
        ("scale_length", "25.5 mm", r"did you mean 25\.5 in \(mm for in\)"),
        ("scale_length", "25.5 cm", r"did you mean 25\.5 in \(cm for in\)"),
        ("fretboard_radius", "12 mm", r"did you mean 12 in \(mm for in\)"),
        ("shim_angle", "0.5 rad", r"did you mean 0\.5 deg \(rad for deg\)"),
        ("pitch", "440 kHz", r"did you mean 440 Hz \(kHz for Hz\)"),
        ("unit_mass", "0.395 kg/m", r"did you mean 0\.395 g/m \(kg/m for g/m\)"),
        ("temperature", "100 C", r"did you mean 100 F \(C for F\)"),
        ("humidity", "120 %", "check the number and its unit"),
    ],
)
def test_impossible_readings_are_refused(quantity, text, slip):
    with pytest.raises(InputError, match=slip) as caught:
        asked(quantity, text)
    assert not isinstance(caught.value, QuestionableError)
    assert f"{quantity.replace('_', ' ')} of {text} is impossible" in str(caught.value)


def test_without_the_written_form_every_slip_is_tried():
    with pytest.raises(QuestionableError, match=r"^relief of 1\.27 mm .* did you mean \.005 in \(a lost zero\)\?$"):
        question("relief", 0.05 * 0.0254)
    with pytest.raises(QuestionableError, match="did you mean 68 F"):
        question("temperature", 273.15 + 68.0)


def test_doubt_gives_the_reason_or_nothing():
    assert doubt("relief", 0.25e-3) is None
    assert "usually 0 mm to 0.76 mm" in (doubt("relief", 2e-3) or "")


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_what_is_not_finite_is_refused(value):
    with pytest.raises(InputError, match="fret 8: a relief of"):
        question("relief", value, "fret 8")


def test_an_unknown_quantity_is_refused_with_the_names():
    with pytest.raises(InputError, match=r"here: there is no quantity called 'glow'; there are: relief, string_height"):
        question("glow", 1.0, "here")
    with pytest.raises(InputError, match=r"^there is no quantity"):
        quantity_named("glow")


@pytest.mark.parametrize("entry", QUANTITIES.values(), ids=QUANTITIES)
def test_spans_lie_within_each_other(entry):
    assert entry.kind in KINDS
    assert entry.possible[0] <= entry.usual[0] <= entry.typical[0] < entry.typical[1]
    assert entry.typical[1] <= entry.usual[1] <= entry.possible[1]
    for value in (*entry.usual, *entry.typical):
        assert doubt(entry.name, value) is None
