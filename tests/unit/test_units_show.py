"""What is printed, pinned. Not validation: the forms are our own house style."""

import math

import pytest

from setwright.errors import InputError
from setwright.units import (
    places_for,
    show_angle,
    show_band,
    show_cents,
    show_force,
    show_length,
    show_pitch,
    show_turns,
    show_value,
    unit_for,
)

INCH = 0.0254
NAN, INF = math.nan, math.inf


@pytest.mark.parametrize(
    ("uncertainty", "places"),
    [(0.2, 1), (0.25, 2), (0.10, 1), (0.14, 2), (0.3, 1), (0.97, 1), (0.996, 0), (12.0, 0), (40.0, -1), (3.1e-5, 5)],
)
def test_places_the_uncertainty_allows(uncertainty, places):
    assert places_for(uncertainty) == places


@pytest.mark.parametrize(
    ("m", "u", "text"),
    [
        (1.6e-3, None, "1.6 mm"),
        (0.648, None, "648 mm"),
        (0.254e-3, None, "0.25 mm"),
        (1.6e-3, 0.25e-3, "1.60 mm"),
        (1.64e-3, 0.3e-3, "1.6 mm"),
        (0.6483, 40e-3, "650 mm"),
        (-1.6e-3, None, "−1.6 mm"),
        (-1e-9, None, "0 mm"),
        (-1e-5, 0.3e-3, "0.0 mm"),
    ],
)
def test_millimetres(m, u, text):
    assert show_length(m, "mm", u) == text
    assert show_length(m, "inch", u, "mm") == text


@pytest.mark.parametrize(
    ("inches", "u", "style", "text"),
    [
        (0.010, None, "auto", ".010 in"),
        (0.010, None, "thou", ".010 in"),
        (0.0102, 0.0003, "thou", ".0102 in"),
        (0.0102, 0.03, "thou", ".010 in"),
        (0.31, 0.3, "thou", ".3 in"),
        (-0.010, None, "auto", "−.010 in"),
        (-1e-6, None, "auto", ".000 in"),
        (25.5, None, "thou", "25.5 in"),
        (0.5, None, "thou", ".500 in"),
        (25.5, None, "auto", "25 1/2 in"),
        (25.0, None, "auto", "25 in"),
        (3 / 32, None, "auto", "3/32 in"),
        (3 / 32 + 0.003, None, "fraction", "3/32 in + .003"),
        (3 / 32 - 0.003, None, "fraction", "3/32 in − .003"),
        (-3 / 32 - 0.003, None, "fraction", "−3/32 in − .003"),
        (-3 / 32 + 0.003, None, "fraction", "−3/32 in + .003"),
        (3 / 32 + 0.003, 0.004, "fraction", "3/32 in"),
        (3 / 32 + 0.003, 0.0003, "fraction", "3/32 in + .0030"),
        (3 / 32 + 0.0003, None, "fraction", "3/32 in"),
        (5 / 64, 0.02, "fraction", "3/32 in"),
        (0.9, 2.0, "fraction", "7/8 in"),
        (0.005, None, "fraction", ".005 in"),
        (-0.005, None, "fraction", "−.005 in"),
        (0.0001, None, "fraction", "0 in"),
        (-0.0001, None, "fraction", "0 in"),
        (5 / 64, None, "height", "2.5/32 in"),
        (4 / 64, None, "height", "2/32 in"),
        (5 / 64 + 0.002, None, "height", "2.5/32 in + .002"),
    ],
)
def test_inches(inches, u, style, text):
    assert show_length(inches * INCH, "inch", None if u is None else u * INCH, style) == text


@pytest.mark.parametrize(
    ("turns", "step", "text"),
    [
        (1.375, 1 / 8, "1 3/8 turns"),
        (0.375, 1 / 8, "3/8 turn"),
        (0.05, 1 / 8, "no turn"),
        (-0.05, 1 / 8, "no turn"),
        (1.0, 1 / 8, "1 turn"),
        (-1.0, 1 / 8, "−1 turn"),
        (2.0, 1 / 8, "2 turns"),
        (-1.25, 1 / 8, "−1 1/4 turns"),
        (0.3, 1 / 16, "5/16 turn"),
        (0.34, 1 / 3, "1/3 turn"),
        (1.4, 1.0, "1 turn"),
    ],
)
def test_turns(turns, step, text):
    assert show_turns(turns, step) == text


@pytest.mark.parametrize("step", [0.0, -0.125, 0.3, 2.0, 1 / 65, 1e-3])
def test_a_step_is_one_over_a_whole_number(step):
    with pytest.raises(InputError, match="one over a whole number"):
        show_turns(1.0, step)


def test_other_kinds():
    assert show_cents(-4.04) == "−4 c"
    assert show_cents(-0.01) == "0 c"
    assert show_cents(4.0, signed=True) == "+4 c"
    assert show_cents(-0.01, signed=True) == "0 c"
    assert show_cents(-4.26, 0.3) == "−4.3 c"
    assert show_force(72.06, "inch") == "16.2 lb"
    assert show_force(72.06) == "72.1 N"
    assert show_force(72.06, "mm", 4.0) == "72 N"
    assert show_angle(math.radians(0.5)) == "0.5°"
    assert show_angle(math.radians(0.5), math.radians(0.1)) == "0.5°"
    assert show_value(3500.0, "rate") == "3.5 N/mm"
    assert show_value(293.15, "temperature", "inch") == "68 °F"
    assert show_value(0.3, "mass") == "0.3 kg"
    assert show_value(0.155, "ratio") == "15.5 %"
    assert show_value(1.25, "turns") == "1.25 turn"
    assert show_value(1.6e-3, "length") == "1.6 mm"
    assert show_value(0.000395, "unit mass") == "0.3950 g/m"
    assert show_value(0.0, "unit mass") == "0 g/m"
    assert show_value(0.000395, "unit mass", "mm", 3e-6) == "0.395 g/m"


def test_pitches():
    assert show_pitch(329.63) == "329.63 Hz"
    assert show_pitch(329.63, 0.4) == "329.6 Hz"
    assert show_pitch(440.0, note=True) == "A4"
    assert show_pitch(440.0 * 2 ** (-10 / 1200), note=True) == "A4 −10 c"
    assert show_pitch(440.0 * 2 ** (10 / 1200), 1.0, note=True) == "A4 +10 c"
    assert show_pitch(440.0 * 2 ** (1 / 12), note=True, flats=True) == "Bb4"
    assert show_pitch(432.0, note=True, reference=432.0) == "A4"


def test_bands():
    assert show_band(2.6e-3, 0.2e-3, "length") == "2.6 ± 0.2 mm"
    assert show_band(2.6e-3, 0.25e-3, "length") == "2.60 ± 0.25 mm"
    assert show_band(0.094 * INCH, 0.010 * INCH, "length", "inch") == ".094 ± .010 in"
    assert show_band(-4.0, 1.0, "cents") == "−4 ± 1 c"
    assert show_band(-0.2, 1.0, "cents") == "0 ± 1 c"
    assert show_band(293.15, 2.0, "temperature") == "20 ± 2 °C"
    assert show_band(293.15, 5.0, "temperature", "inch") == "68 ± 9 °F"
    assert show_band(math.radians(0.5), math.radians(0.1), "angle") == "0.5 ± 0.1°"


@pytest.mark.parametrize("bad", [NAN, INF, -INF])
def test_what_is_not_finite_is_not_printed(bad):
    for call in (show_length, show_turns, show_cents, show_force, show_angle):
        with pytest.raises(InputError, match="finite number"):
            call(bad)
    with pytest.raises(InputError, match="finite number"):
        show_band(bad, 1.0, "cents")


@pytest.mark.parametrize("bad", [NAN, INF, 0.0, -1.0])
def test_an_uncertainty_is_greater_than_zero(bad):
    for call in (
        lambda: show_length(1e-3, "mm", bad),
        lambda: show_cents(1.0, bad),
        lambda: show_force(1.0, "mm", bad),
        lambda: show_band(1.0, bad, "cents"),
        lambda: show_pitch(440.0, bad, note=True),
        lambda: places_for(bad),
    ):
        with pytest.raises(InputError, match="greater than zero"):
            call()


def test_unknown_words_are_refused():
    with pytest.raises(InputError, match="not a system of units"):
        unit_for("length", "furlong")  # type: ignore[arg-type]
    with pytest.raises(InputError, match="not a way to print"):
        show_length(1e-3, "mm", style="roman")  # type: ignore[arg-type]
    with pytest.raises(InputError, match="no kind of quantity"):
        unit_for("colour")
