"""Published set-up values as house specifications: every figure is accepted, its slips are asked about.

Each row: maker, quantity, figure as printed, source, how it came to us. Where slips cannot be told from other usual
values, the test says so: a tenth of any relief is a usual relief, and a double of 4.5/64 or less is a usual height.
"""

import numpy as np
import pytest

from setwright.errors import InputError
from setwright.instrument.neckshape import Board, height_changes, relief_change
from setwright.metrology import doubt, quantity_named, question
from setwright.physics.frets import fret_position
from setwright.units import READERS

GUIDE = "Fender setup guide, scribd 227401345; guitarhacking.net"
# maker, quantity, figures as printed, source, mark
PUBLISHED = (
    ("Fender guitar 7.25, 9.5-12, 15-17 in", "relief", (".012 in", ".010 in", ".008 in"), GUIDE, "READ"),
    ("Fender bass 7.25, 9.5-12, 15-17 in", "relief", (".014 in", ".012 in", ".010 in"), GUIDE, "READ"),
    ("Fender 1992 manual", "relief", (".010 in", ".015 in", ".020 in"), "manualowl.com, p. 12", "READ"),
    ("Fender P bass", "string_height", (".094 in", ".060 in"), "scribd 227401345", "READ"),
    ("Fender P bass", "first_fret_clearance", (".020 in",), "scribd 227401345", "READ"),
    ("Fender owner manual", "string_height", ("2.0 mm", "2.4 mm"), "guitar-shop.co.jp quoting the manual", "READ"),
    ("Fender", "string_height", ("5/64", "4/64", "3/64"), "Fender support page, height at 17th", "MEMORY"),
    ("Tele/Strat shop guide", "first_fret_clearance", (".020 in", ".018 in", ".016 in"), "guitarhacking.net", "READ"),
    ("StewMac", "first_fret_clearance", (".012 in", ".020 in"), "manualshive.com 1376106, p. 15", "READ"),
    ("StewMac", "relief", ("0 in", ".012 in"), "manualshive.com 1376106, p. 15", "READ"),
    ("Reverend guitar", "string_height", ("4.5/64", "4/64"), "manualshive.com 1448351, p. 2", "READ"),
    ("Reverend bass", "string_height", ("5/64", "4.5/64", "4/64"), "manualshive.com 1448351, p. 2", "READ"),
    ("Reverend", "pickup_gap", ("5/32", "6/32", "4/32"), "manualshive.com 1448351, p. 2", "READ"),
    ("Fender single coil", "pickup_gap", ("5/64", "4/64"), "Fender support", "MEMORY"),
    ("Thomann guide", "pickup_gap", ("6 mm",), "thomann.de care checklist", "READ"),
    ("anonymous repair page", "first_fret_clearance", ("0.5 mm",), "copied repair text, weak", "READ"),
    ("1960s Strat / LP", "relief", (".007 in", ".008 in", ".005 in"), "loudguitars.ca/factory-specs", "READ"),
    ("Gibson", "string_height", ("5/64", "3/64"), "trade", "MEMORY"),
    ("shims", "shim_angle", ("0.25 deg", "0.5 deg", "1.0 deg"), "trade", "MEMORY"),
)
EACH = [(quantity, text) for _, quantity, texts, _, _ in PUBLISHED for text in texts]


def si(quantity, text):
    return READERS[quantity_named(quantity).kind](text, "")


def times(text, factor):
    """The figure with its number multiplied, in the same unit."""
    number, unit = text.split()
    return f"{float(number) * factor:.6g} {unit}"


def asked(quantity, text):
    """Whether a figure is questioned or refused."""
    written = si(quantity, text)
    try:
        question(quantity, written.si, "", written)
    except InputError:
        return True
    return False


@pytest.mark.parametrize(("quantity", "text"), EACH)
def test_every_published_figure_is_accepted(quantity, text):
    assert not asked(quantity, text)


@pytest.mark.parametrize(("quantity", "text"), [e for e in EACH if "/" not in e[1] and e[1] != "0 in"])
def test_ten_times_as_much_is_asked_about(quantity, text):
    assert asked(quantity, times(text, 10.0))


@pytest.mark.parametrize(("quantity", "text"), [e for e in EACH if "/" not in e[1] and e[0] != "relief"])
def test_a_tenth_is_asked_about(quantity, text):
    """But for shim angles: a tenth of 0.5 and 1.0 degree is a thin shim that exists."""
    thin_shim = quantity == "shim_angle" and text != "0.25 deg"
    assert asked(quantity, times(text, 0.1)) != thin_shim


@pytest.mark.parametrize("text", [".012 in", ".010 in", ".020 in", ".005 in"])
def test_a_tenth_of_a_relief_cannot_be_told(text):
    """A nearly straight neck is asked for by many players: .001 in passes."""
    assert not asked("relief", times(text, 0.1))


def test_a_real_misprint_is_caught_and_named():
    """An owner manual quoted by guitar-shop.co.jp prints the relief as 0.10 in for .010 in (READ)."""
    written = si("relief", "0.10 in")
    assert "did you mean .010 in (a lost zero)" in (doubt("relief", written.si, written) or "")


def test_half_unit_slips_of_heights():
    """32nds for 64ths: 5/64 written 5/32 is caught and put right; 4.5/64 and less doubled lies within a bass's usual
    heights, so it passes: up to 3.6 mm."""
    written = si("string_height", "5/32")
    assert "did you mean 5/64 (32nds for 64ths)" in (doubt("string_height", written.si, written) or "")
    assert [asked("string_height", t) for t in ("4.5/32", "4/32", "3/32")] == [False, False, False]


@pytest.mark.parametrize("text", [".094", ".060", "2.4", "0.25"])
def test_the_right_number_in_the_wrong_unit_is_asked_about(text):
    """Inches for millimetres and the other way round."""
    unit = "mm" if text.startswith(".0") else "in"
    assert asked("string_height" if text != "0.25" else "relief", f"{text} {unit}")


def test_fractional_figures_read_through_units(judged):
    """Numbers of sixty-fourths times 25.4/64 mm by hand; 1e-9 mm: arithmetic."""
    texts = ("3/64", "4/64", "4.5/64", "5/64")
    got = np.array([si("string_height", t).si for t in texts]) * 1e3
    wrong = np.array([si("string_height", t.replace("64", "32")).si for t in texts]) * 1e3
    want = [1.190625, 1.5875, 1.7859375, 1.984375]
    source = "Fender support page (memory), Reverend, manualshive.com 1448351, p. 2 (READ): heights in 64ths"
    judged("heights printed in 64ths", want, got, 1e-9, "mm", source, "READ", wrong=wrong)
    judged("height at 17th of a P bass", 2.3876, si("string_height", ".094 in").si * 1e3, 1e-9, "mm", GUIDE, "READ")


def test_heights_fall_with_relief_as_the_trade_says(judged):
    """The 12th falls at most about 1.7 to 2.1 r when relief falls by r: held at 1 and the last, and at 1 and 17, read
    at 8, a neck bending evenly up to fret 16. 0.05: half the printed digit."""
    scale = 0.6477
    board = Board(scale, float(fret_position(scale, 16)), scale, 22)
    fall = height_changes(board, -0.004, [12])[0]
    got = [fall / relief_change(board, -0.004, (1, high), 8) for high in (22, 17)]
    wrong = [height_changes(board, -0.004, [17])[0] / relief_change(board, -0.004, (1, high), 8) for high in (22, 17)]
    judged(
        "fall of the 12th per relief", [1.7, 2.1], got, 0.05, "1", "common practice, no source", "PRACTICE", wrong=wrong
    )
