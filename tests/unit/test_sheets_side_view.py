"""The side view: places to scale, bands and slots as wide as what they stand for, words beside every mark."""

import math
import re
from dataclasses import replace

import pytest

from setwright.errors import InputError
from setwright.sheets import ink
from setwright.sheets.details import Detail, Level, draw_details
from setwright.sheets.dimensions import EDGE, RESTS, WIDTH, Pen, Window, fit, largest, lines, scale_words, table, wide
from setwright.sheets.side_bridge import Beside, Body, Cord, Posture, Turn
from setwright.sheets.side_view import Bow, SideSheet, draw_side
from tests.unit.drawn import over_each_other, paths, rects, sound, words

NASTY = 'A<b>&"c"\'#\x07\ud800 ñ'
LONG = "W" * 300
SCALE = 0.648
PIVOT, WALL = 0.635, 0.550


def posture(gap=2.6e-3, claw=15e-3, rise=6e-3):
    tilt = (gap - (rise - 3.8e-3)) / 0.031  # rear edge 31 mm behind the pivot, 3.8 mm below it: by hand, small angle

    def turned(aft, up):
        return PIVOT + aft * math.cos(tilt) - up * math.sin(tilt), rise + aft * math.sin(tilt) + up * math.cos(tilt)

    board = tuple((0.02 * i, 10e-3 + 1e-4 * i) for i in range(24))
    cords = tuple(
        Cord(f"string {n}", (0.0, 11e-3), (PIVOT + x, 14e-3 + y), turned(x, 0.0), turned(0.0205, -0.03))
        for n, x, y in ((1, 0.014, 0.0), (6, 0.016, 5e-4))
    )
    plate = (turned(-4e-3, -3e-3), (PIVOT + 0.031, gap), turned(31e-3, 0.0), turned(-4e-3, 0.0))
    block = (turned(0.0, -3.8e-3), turned(0.0, -0.04), turned(0.0125, -0.04), turned(0.0125, -3.8e-3))
    return Posture(board, ((0.46, 12.3e-3), (0.46, -15e-3), (0.39, -16e-3)), cords, (PIVOT, rise), plate, block,
                   turned(6e-3, -0.038), (WALL + claw, -0.031), "3 springs")  # fmt: skip


BODY = Body(
    mouth=(0.39, -0.016),
    pocket=((0.39, -0.016), (0.466, -0.016), (0.466, 0.0)),
    opening=(PIVOT - 0.03, PIVOT + 0.0265),
    depth=-0.046,
    deck=0.0,
    wall=(WALL, -0.031),
    travel=((WALL + 2e-3, -0.031), (WALL + 34e-3, -0.031)),
)
GAP = Level("e  over body top", 0.0, 2.6e-3, 2e-4, (2.35e-3, 2.85e-3), "0.00 mm", "2.6 ± 0.2 mm", "2.60 ± 0.25 mm")
STRING = Level("string 1", 1.9e-3, 1.6e-3, 4e-4, (1.35e-3, 1.85e-3), "1.90 mm", "1.6 ± 0.4 mm", "1.60 ± 0.25 mm")
SHIM = Level("strip", 0.0, 0.762e-3, 0.0, None, "0.00 mm", "0.76 mm", "")
TURNS = (
    Turn("shim", "strip shim in: 0.76 mm", "0.76 mm", "in"),
    Turn("rod", "truss rod tighter 1/4 turn", "tighter 1/4 turn", "tighter"),
    Turn("pivot", "pivot screws up 2 turns", "up 2 turns", "up"),
    Turn("saddle", "saddle 1 down 1/8 turn", "saddle 1 down 1/8 turn", "down", 0),
    Turn("saddle", "saddle 6 up 1/4 turn", "saddle 6 up 1/4 turn", "up", 1),
    Turn("saddle", "saddle 3 up 1/4 turn", "up 1/4 turn", "up"),
    Turn("length", "saddle 2 forward 1 turn", "forward 1 turn", "forward"),
    Turn("claw", "claw screws out 1 3/4 turns", "out 1 3/4 turns", "out"),
)


def sheet(**changes):
    bow = tuple((0.036 + 0.02 * i, -2e-4 * math.sin(math.pi * i / 21)) for i in range(22))
    base = SideSheet(
        title="Kestrel",
        instrument="Kestrel",
        system="mm",
        mirrored=False,
        scale=SCALE,
        scale_told="scale 648 mm",
        fret=(0.324, 11.5e-3),
        fret_told="fret 12",
        angle_told="Neck angle 0.62°.",
        body=BODY,
        before=posture(1e-4, 12.5e-3, 4e-3),
        after=posture(),
        beside=(
            Beside("string 1", "12.9 mm", "14.0 ± 0.5 mm", "up", (PIVOT + 0.014, 0.0), (PIVOT + 0.014, 14e-3), 5e-4),
            Beside("pivot", "4.0 mm", "6.0 mm", "up", (PIVOT, 0.0), (PIVOT, 6e-3), 0.0),
            Beside("claw", "12.5 mm", "15.0 ± 2.0 mm", "claw", (WALL, -0.031), (WALL + 15e-3, -0.031), 2e-3),
            Beside("rear gap", "", "", "up", (PIVOT + 0.031, 0.0), (PIVOT + 0.031, 2.6e-3), 4e-5),
        ),
        bow=Bow(bow, bow, (2e-5,) * 22, "Relief 0.20 mm."),
        details=(Detail("Rear gap", (GAP,)), Detail("Strings over fret 12", (STRING, STRING)), Detail("Shim", (SHIM,))),
        turns=TURNS,
    )
    return replace(base, **changes)


NAMELESS = (Turn("rod", "", "", ""),)
FIXED = {
    "body": replace(BODY, opening=None, wall=None, travel=None),
    "before": replace(posture(), block=(), hook=None, claw=None),
    "after": replace(posture(), block=(), hook=None, claw=None),
    "beside": sheet().beside[:1],
    "turns": TURNS[3:6],
    "details": sheet().details[1:2],
}
ALL = {
    "whole": sheet(),
    "left-handed": sheet(mirrored=True),
    "in inches": sheet(system="inch"),
    "nothing as found": sheet(before=None, bow=Bow((), sheet().bow.after, (0.0,) * 22, "")),
    "nothing to turn": sheet(turns=()),
    "claw in, saddles back": sheet(turns=(replace(TURNS[-1], way="in"), replace(TURNS[-2], way="back"))),
    "fixed": sheet(**FIXED),
    "long turns": sheet(turns=(*TURNS, replace(TURNS[-1], words="treble claw screw out 1 3/4 ± 3 1/8 turns and more"))),
    "long names": sheet(title=LONG, instrument=LONG, angle_told=LONG),
    "no names": sheet(title="", instrument="", scale_told="", fret_told="", angle_told="", turns=NAMELESS),
}  # fmt: skip


@pytest.mark.parametrize("one", ALL.values(), ids=ALL)
def test_every_side_view_is_sound(one):
    svg = draw_side(one)
    sound(svg)
    assert draw_side(one) == svg


def test_what_people_write_is_escaped():
    svg = draw_side(sheet(title=NASTY, instrument=NASTY))
    sound(svg)
    assert "<b>" not in svg
    assert 'A<b>&"c"\'# ñ' in words(svg)


def bridge_plate(svg):
    """Corners of the plate after the work in the larger of its two views, and the body top there."""
    plates = [p for p in paths(svg, ink.HEAVY) if len(p) == 5 and p[0] == p[-1]]
    plate = max(plates, key=lambda p: abs(p[1][0] - p[0][0]))
    tops = [p for p in paths(svg, ink.THIN) if len(p) == 2 and p[0][1] == p[1][1] and p[0][0] in (EDGE, WIDTH - EDGE)]
    return plate, max(p[0][1] for p in tops if abs(p[0][1] - plate[1][1]) < 10.0)


@pytest.mark.parametrize("gap", [0.4e-3, 2.6e-3, 4.1e-3])
@pytest.mark.parametrize("mirrored", [False, True])
def test_the_rear_gap_is_drawn_to_scale(gap, mirrored):
    svg = draw_side(sheet(after=posture(gap), mirrored=mirrored, before=None))
    assert "The bridge, 1:1" in words(svg)
    plate, top = bridge_plate(svg)
    assert top - plate[1][1] == pytest.approx(1e3 * gap, abs=0.0101)
    assert abs(plate[1][0] - plate[2][0]) < 1.0  # the rear edge stands over its own corner


def test_claw_wall_and_travel_stand_where_they_stand():
    svg = draw_side(sheet())
    upright = [p for p in paths(svg, ink.HEAVY) if len(p) == 2 and p[0][0] == p[1][0]]
    wall = next(p for p in upright if abs(abs(p[0][1] - p[1][1]) - 12.0) < 0.011)
    claw = next(p for p in upright if abs(abs(p[0][1] - p[1][1]) - 6.4) < 0.011)
    assert claw[0][0] - wall[0][0] == pytest.approx(15.0, abs=0.0101)
    before = next(p for p in paths(svg, ink.THIN, dashed=True) if abs(abs(p[0][1] - p[1][1]) - 6.4) < 0.011)
    assert before[0][0] - wall[0][0] == pytest.approx(12.5, abs=0.0101)
    thin = [p for p in paths(svg, ink.THIN, dashed=False) if len(p) == 2 and p[0][0] == p[1][0]]
    ends = sorted(p[0][0] - wall[0][0] for p in thin if abs(abs(p[0][1] - p[1][1]) - 3.2) < 0.011)
    assert ends == pytest.approx([2.0, 34.0], abs=0.0101)


def test_the_whole_is_drawn_at_the_scale_it_tells():
    svg = draw_side(sheet())
    assert "The whole, 1:5" in words(svg)
    nut = min(p[0][0] for p in paths(svg, ink.HEAVY) if len(p) == 24)
    lines_up = [p[0][0] for p in paths(svg, ink.THIN) if len(p) == 2 and p[0][0] == p[1][0]]
    assert any(abs(x - nut - 648.0 / 5.0) < 0.0101 for x in lines_up)


def test_a_left_handed_instrument_is_turned_over_and_its_words_are_not():
    right, left = (
        draw_side(sheet(details=(), turns=TURNS[2:3])),
        draw_side(sheet(mirrored=True, details=(), turns=TURNS[2:3])),
    )
    plate, turned = bridge_plate(right)[0], bridge_plate(left)[0]
    assert [WIDTH - x for x, _ in turned] == pytest.approx([x for x, _ in plate], abs=0.011)
    assert sorted(words(left)) == sorted(words(right))


def test_a_long_bridge_is_drawn_smaller_and_says_so():
    far = replace(BODY, wall=(0.40, -0.031), travel=((0.402, -0.031), (0.43, -0.031)))
    after = replace(posture(), claw=(0.415, -0.031))
    svg = draw_side(sheet(body=far, after=after, before=None, beside=()))
    assert "The bridge, 1:2" in words(svg)
    sound(svg)


def test_a_band_is_as_wide_as_the_uncertainty():
    svg = draw_side(sheet())
    areas = [p for p in paths(svg, ink.THIN) if len(p) == 4]
    widths = {round(max(x for x, _ in p) - min(x for x, _ in p), 2) for p in areas}
    heights = {round(max(y for _, y in p) - min(y for _, y in p), 2) for p in areas}
    assert 4.0 in widths  # the claw, ± 2 mm at 1:1
    assert 1.0 in heights  # the string, ± 0.5 mm at 1:1
    assert any(abs(h - 2.0) < 0.021 for h in heights)  # the gap, ± 0.2 mm at 5:1


def test_bow_and_details_are_enlarged_by_the_factor_told():
    svg = draw_side(sheet())
    stretch = int(re.search(r"heights (\d+) times", " ".join(words(svg)))[1])
    bow = next(p for p in paths(svg, ink.HEAVY) if len(p) == 22)
    deepest = 2e-4 * math.sin(math.pi * 10 / 21)
    assert max(y for _, y in bow) - min(y for _, y in bow) == pytest.approx(1e3 * deepest * stretch / 5.0, abs=0.0101)


def test_a_slot_is_as_wide_as_its_tolerance_and_the_line_lies_where_it_lies():
    marks, _ = draw_details((Detail("Rear gap", (GAP,)),), 0.0)
    svg = ink.page(WIDTH, 100.0, "x", "y", marks)
    assert "Rear gap, 5:1" in words(svg)
    slot = rects(svg)[0]
    assert slot[3] == pytest.approx(0.5 * 5.0, abs=0.011)
    ground, now = (p for p in paths(svg, ink.HEAVY) if len(p) == 2 and p[0][1] == p[1][1])
    assert ground[0][1] - now[0][1] == pytest.approx(2.6 * 5.0, abs=0.0101)
    found = next(p for p in paths(svg, ink.THIN, dashed=True))
    assert found[0][1] == ground[0][1]
    assert slot[1] < now[0][1] < slot[1] + slot[3]


@pytest.mark.parametrize(
    ("change", "word", "foot"),
    [
        ({}, "in its slot", True),
        ({"half_width": 3e-4}, "not surely in", False),
        ({"now": 3.2e-3}, "outside", False),
        ({"slot": None, "stop": "on its stop"}, "on its stop", True),
    ],
)
def test_whether_it_rests_is_a_word_and_a_shape(change, word, foot):
    marks, _ = draw_details((Detail("Rear gap", (replace(GAP, **change),)),), 0.0)
    svg = ink.page(WIDTH, 100.0, "x", "y", marks)
    assert word in words(svg)
    assert len({"in its slot", "not surely in", "outside", "on its stop"} & set(words(svg))) == 1
    assert bool(paths(svg, ink.HEAVY, colour=RESTS)) is foot


def test_without_slot_and_stop_nothing_is_said_of_resting():
    marks, _ = draw_details((Detail("Shim", (SHIM,)),), 0.0)
    assert not any("slot" in word or "outside" in word for word in words(ink.page(WIDTH, 100.0, "x", "y", marks)))


def test_more_details_than_fit_go_into_another_row():
    many = (Detail("Strings", (STRING, STRING, STRING)), Detail("Shims", (SHIM, SHIM)))
    marks, y = draw_details(many, 0.0)
    svg = ink.page(WIDTH, y, "x", "y", marks)
    assert over_each_other(svg) == []
    assert words(svg).count("after") == 2


def test_every_turn_is_an_arrow_and_words():
    svg = draw_side(sheet())
    heads = [p for p in paths(svg, colour=ink.ACCENT) if len(p) == 3]
    # pivot, two saddles and claw in the drawing; all but the rod again in the list
    assert len(heads) == 4 + 7
    told = words(svg)
    assert all(turn.words in told for turn in TURNS)
    assert told.count("up 2 turns") == told.count("out 1 3/4 turns") == 1


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("way", ["in", "out"])
def test_the_claws_arrow_points_where_the_claw_goes(way, mirrored):
    svg = draw_side(
        sheet(turns=(replace(TURNS[-1], way=way, words=f"claw {way}", short=f"{way} 1 turn"),), mirrored=mirrored)
    )
    heads = [p for p in paths(svg, colour=ink.ACCENT) if len(p) == 3]
    towards_bridge = (1.0 if way == "out" else -1.0) * (-1.0 if mirrored else 1.0)
    assert len(heads) == 2
    assert all((head[0][0] - head[1][0]) * towards_bridge > 0.0 for head in heads)


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_a_number_that_is_none_is_refused(value):
    bands = sheet().beside[0], sheet().beside[2]
    for one in (
        sheet(fret=(0.3, value)),
        sheet(beside=(replace(bands[0], half_width=value),)),
        sheet(beside=(replace(bands[1], half_width=value),)),
        sheet(details=(Detail("Shim", (replace(SHIM, half_width=value),)),)),
    ):
        with pytest.raises(InputError, match="finite"):
            draw_side(one)


def test_words_are_cut_to_their_room_and_broken_into_lines():
    assert fit("short", 50.0) == "short"
    cut = fit(LONG, 50.0)
    assert cut.endswith("…")
    assert wide(cut) <= 50.0
    assert fit("x", 0.1) == "…"
    assert fit("", 10.0) == ""
    broken = lines("a few words that do not fit into one line", 40.0)
    assert " ".join(broken) == "a few words that do not fit into one line"
    assert all(wide(one) <= 40.0 for one in broken)
    assert lines("", 10.0) == []


def test_a_table_leaves_out_empty_rows_and_sets_a_row_heavier_only_whole():
    out, y = table(0.0, [("", ["a", "b"]), ("found", ["", ""]), ("after", ["1 mm", "2 mm"])])
    assert y == pytest.approx(2 * 5.2)
    assert sum("600" in one for one in out) == 2
    out, _ = table(0.0, [("after", ["1 mm", "15.44 ± 0.23 mm"] * 2)])
    assert not any("600" in one for one in out)


def test_a_drawing_without_a_name_begins_with_what_it_shows():
    assert any(one.startswith("From the bass side.") for one in words(draw_side(sheet(instrument=""))))
    assert any(one.startswith("Kestrel: from the bass side.") for one in words(draw_side(sheet())))


def test_scales():
    assert [scale_words(s) for s in (0.2, 1.0, 20.0)] == ["1:5", "1:1", "20:1"]
    assert largest((2.0, 1.0, 0.5), 0.1, 120.0) == 1.0
    assert largest((2.0, 1.0, 0.5), 1.0, 120.0) == 0.5
    assert Window(0.5, 10.0, 0.02, 30.0, 2.0).at((0.51, 0.01)) == pytest.approx((30.0, 50.0))


def test_a_dimension_of_no_length_has_no_arrows_and_short_faces_no_strokes():
    assert Pen().upright(10.0, 5.0, 5.0) == ""
    assert Pen().hatch((0.0, 0.0), (1.0, 0.0)) == []
