"""Numbers in words."""

import math

import pytest

from setwright.cli.asked import say, system_of
from setwright.cli.layout import columns, labelled, paragraph, section, spread_apart
from setwright.cli.words import chance, minutes, name_of, note, number, sentence, shim_size, signed_cents, spelled


@pytest.mark.parametrize(
    ("value", "kind", "system", "half", "text"),
    [
        (0.0026, "length", "mm", None, "2.60 mm"),
        (0.0137, "length", "mm", None, "13.7 mm"),
        (0.0026, "length", "inch", None, ".102 in"),
        (0.0137, "length", "inch", None, "35/64 in"),
        (0.0026, "length", "mm", 0.000021, "2.60 ± 0.03 mm"),
        (0.0026, "length", "mm", 1e-12, "2.60 ± 0.01 mm"),
        (0.0026, "length", "inch", 1e-9, ".102 ± .001 in"),
        (0.0016, "height", "inch", None, ".063 in"),
        (0.000508, "thou", "mm", None, ".020 in"),
        (0.625, "turns", "mm", None, "5/8 turn"),
        (0.625, "turns", "mm", 0.001, "5/8 turn"),
        (1.375, "turns", "mm", 0.2, "1 3/8 turns ± 1/4 turn"),
        (1.375, "turns", "mm", 0.03, "1 3/8 turns ± 1/8 turn"),
        (-4.0, "cents", "mm", 1.0, "−4 ± 1 c"),
        (326.0, "hertz", "mm", None, "E4 −19 c (326 Hz)"),
        (3.0, "count", "mm", None, "3"),
        (0.314159, "moment", "mm", None, "0.314 N m"),
        (0.314159, "moment", "mm", 0.02, "0.31 ± 0.02 N m"),
        (-0.5, "moment", "mm", 1e-6, "−0.50 ± 0.01 N m"),
        (0.0087, "angle", "mm", None, "0.5°"),
        (73.0, "force", "inch", None, "16.4 lb"),
        (0.53, "ratio", "mm", 0.02, "53 ± 2 %"),
        (-math.inf, "cents", "mm", 1.0, "slack"),
        (math.nan, "cents", "mm", None, "not known"),
        (2.0, "cents", "mm", math.inf, "2 c"),
    ],
)
def test_numbers(value, kind, system, half, text):
    assert number(value, kind, system, half) == text


@pytest.mark.parametrize(
    ("metres", "system", "text"),
    [(0.000508, "mm", ".020 in"), (0.0005, "mm", "0.5 mm"), (0.0005, "inch", ".020 in"), (0.001016, "mm", ".040 in")],
)
def test_a_shim_is_called_what_is_written_on_it(metres, system, text):
    assert shim_size(metres, system) == text


def test_lengths_in_braces_are_spelled_out():
    assert spelled("strip shim {0.000508}, {0.001000} short", "mm") == "strip shim .020 in, 1.00 mm short"
    assert spelled("gap {-0.000500}", "mm") == "gap −0.50 mm"
    assert spelled("nothing in braces", "inch") == "nothing in braces"


@pytest.mark.parametrize(
    ("share", "text"),
    [
        (0.0, "under 1 in 100"),
        (0.009, "under 1 in 100"),
        (0.5, "50 in 100"),
        (0.99, "99 in 100"),
        (1.0, "over 99 in 100"),
    ],
)
def test_chances_are_never_told_as_certain(share, text):
    assert chance(share) == text


def test_small_words():
    assert [minutes(v) for v in (0.5, 4.2, 30.0, 46.0)] == ["1 min", "5 min", "30 min", "45 min"]
    assert [note(v) for v in (440.0, 445.0, 82.4069)] == ["A4", "A4 +20 c", "E2"]
    assert note(442.0, 442.0) == "A4"
    assert [sentence(t) for t in ("", "a b", "A.", "x:")] == ["", "A b.", "A.", "X:"]
    assert [signed_cents(v) for v in (3.0, -math.inf, math.inf)] == ["+3", "slack", "-"]
    assert name_of("string height", "string 3 at fret 12") == "height, string 3, fret 12"
    assert name_of("up-bend", "string 3, at least") == "up-bend, string 3"
    assert name_of("rear gap", "") == "rear gap"


def test_layout_keeps_to_its_columns():
    assert paragraph("a b", 2) == ["  a b"]
    assert labelled("x", "") == []
    assert [line[:12].strip() for line in labelled("label", "word " * 40)] == ["label"] + 3 * [""]
    assert columns([("a", "10"), ("bb", "2")], right=(1,)) == ["  a   10", "  bb   2"]
    assert spread_apart("left", "right")[0] == "left" + " " * 71 + "right"
    assert spread_apart("", "")[0] == ""
    assert len(spread_apart("word " * 30, "1 min", 4)[1].lstrip()) + 4 == len(spread_apart("word " * 30, "1 min", 4)[1])
    assert section("title", []) == []
    assert section("title", ["x"]) == ["", "TITLE", "x"]


def test_units_asked_for_go_first():
    assert system_of(None, "mm") == "mm"
    assert system_of("inch", "mm") == "inch"
    assert system_of("mm", "inch") == "mm"


def test_signs_an_old_terminal_lacks_are_spelled_plainly(monkeypatch, capsys):
    import io
    import sys

    raw = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(raw, encoding="ascii"))
    say("2.60 ± 0.25 mm → −4 c, 3°, ü")
    sys.stdout.flush()
    assert raw.getvalue() == b"2.60 +/- 0.25 mm -> -4 c, 3 deg, ?\n"
