"""Forces, moments and ranges drawn: the polygon closes, arms and bands are as long as they are, slack runs off."""

import math
from dataclasses import replace

import pytest

from setwright.errors import InputError
from setwright.sheets import ink
from setwright.sheets.dimensions import RESTS, WIDTH
from setwright.sheets.ranges import Range, RangesSheet, Reach, draw_ranges
from setwright.sheets.triangle import Balance, BalanceSheet, Force, draw_balance
from tests.unit.drawn import paths, rects, sound, words

NASTY = 'A<b>&"c"\'#\x07\ud800 ñ'
LONG = "W" * 300


def force(name, x, y, moment, half=0.2, stop=False):
    return Force(name, x, y, moment, half, "460 N", "10.2 mm", "+4.70 ± 0.20 N m", stop)


STRINGS, SPRINGS = force("strings", -460.0, -10.0, 4.7), force("springs", -120.0, 6.0, -4.7, 0.0)
WEIGHT = force("weight", 0.0, -2.5, -0.01)
BODY = force("body", 0.0, 22.0, 0.7, stop=True)
FLOATING = Balance((STRINGS, SPRINGS))
DECKED = Balance((STRINGS, replace(SPRINGS, x=-140.0, moment=-5.4), WEIGHT, BODY))


def called(name):
    return Balance((replace(STRINGS, name=name), SPRINGS))


def balance(**changes):
    base = BalanceSheet("Kestrel", "Kestrel", "mm", False, DECKED, FLOATING, "580 N", 0.5, 0.1, "Left over: 0.00 N m.")
    return replace(base, **changes)


ALL = {
    "floating": balance(),
    "decked": balance(before=FLOATING, after=DECKED, slot=None),
    "left-handed": balance(mirrored=True),
    "inches": balance(system="inch"),
    "nothing as found, no band": balance(before=None, left_half_width=0.0),
    "strings alone": balance(before=None, after=Balance((STRINGS,))),
    "steep": balance(before=None, after=Balance((replace(STRINGS, y=-300.0), replace(SPRINGS, y=-200.0)))),
    "very strong": balance(after=Balance((replace(STRINGS, x=-40000.0), SPRINGS))),
    "long names": balance(title=LONG, instrument=LONG, pivot_told=LONG, left_told=LONG, after=called(LONG)),
    "no names": balance(title="", instrument="", pivot_told="", left_told="", after=called("")),
    "nasty": balance(title=NASTY, instrument=NASTY),
}  # fmt: skip


@pytest.mark.parametrize("one", ALL.values(), ids=ALL)
def test_every_balance_is_sound(one):
    svg = draw_balance(one)
    sound(svg)
    assert draw_balance(one) == svg
    assert "<b>" not in svg


def shafts(svg):
    """Tip and middle of the foot of every ink arrow."""
    heads = [p for p in paths(svg, colour=ink.INK) if len(p) == 3]
    return [head[0] for head in heads]


def test_the_polygon_closes():
    # drawn corner by corner in broken line: it ends where it begins
    svg = draw_balance(balance())
    closed = [p for p in paths(svg, ink.THIN, dashed=True) if len(p) == len(DECKED.forces) + 2]
    assert len(closed) == 2
    for polygon in closed:
        assert polygon[0] == polygon[-1]
    per_mm = 10.0  # 600 N on 105 mm
    x = [p[0] - closed[0][0][0] for p in closed[0]]
    assert x[1:3] == pytest.approx([-460.0 / per_mm, -600.0 / per_mm], abs=0.0101)


def test_the_pivot_takes_what_the_forces_leave_and_moments_what_a_stop_takes():
    assert FLOATING.pivot == pytest.approx((580.0, 4.0))
    assert FLOATING.left_over == pytest.approx(0.0)
    assert DECKED.left_over == pytest.approx(-0.71)


def test_a_force_stands_on_its_arm():
    svg = draw_balance(balance(before=None))
    assert "Forces on their arms, 1:1" in words(svg)
    arms = [p for p in paths(svg, ink.THIN, dashed=False) if len(p) == 2 and abs(p[0][0] - p[1][0]) < 5.0]
    long = sorted(math.dist(*p) for p in arms)
    # moment over force, by hand: 4.7 N m / 460.1 N and 4.7 N m / 120.1 N
    for want in (10.21, 39.12):
        assert min(abs(one - want) for one in long) < 0.015


def test_forces_are_as_long_as_the_scale_of_forces_says():
    svg = draw_balance(balance(before=None))
    assert "600 N of force, a mark each 100 N" in words(svg)
    bar = next(
        p for p in paths(svg, ink.HEAVY) if len(p) == 2 and p[0][0] == 6.0 and p[0][1] == p[1][1] and p[1][0] > 40.0
    )
    tips = shafts(svg)
    feet = [p[0] for p in paths(svg, ink.HEAVY) if len(p) == 2]
    per_mm = 600.0 / (bar[1][0] - bar[0][0])
    lengths = [math.dist(a, b) * per_mm for a in tips for b in feet]
    for want in (460.1, 120.2, 580.0):
        assert min(abs(one - want) for one in lengths) < 0.2


def test_pounds_are_pounds_force():
    # 10 lbf is 44.482 N (ISO 80000-4): at 10 N to the millimetre 4.448 mm, too close, so every 20 lbf
    svg = draw_balance(balance(system="inch", before=None))
    told = next(one for one in words(svg) if "lbf" in one and "mark" in one)
    assert told == "120 lbf of force, a mark each 20 lbf"
    bar = next(
        p for p in paths(svg, ink.HEAVY) if len(p) == 2 and p[0][0] == 6.0 and p[0][1] == p[1][1] and p[1][0] > 40.0
    )
    assert bar[1][0] - bar[0][0] == pytest.approx(120 * 4.4482216 / 10.0, abs=0.011)


def test_what_is_left_over_is_a_band_in_its_slot():
    svg = draw_balance(balance(before=None))
    slot = rects(svg)[0]
    bands = [p for p in paths(svg, ink.THIN) if len(p) == 4]
    widths = [max(x for x, _ in p) - min(x for x, _ in p) for p in bands]
    assert slot[2] / (2 * 0.1) == pytest.approx(max(widths) / (2 * 0.5), abs=0.2)
    assert "left over" in words(svg)
    assert rects(draw_balance(balance(slot=None))) == []


def test_a_flat_polygon_is_drawn_once_more_and_says_how_much_taller():
    assert any(one.startswith("heights ") for one in words(draw_balance(balance(before=None))))
    assert not any(one.startswith("heights ") for one in words(draw_balance(ALL["steep"])))
    assert any("From the left end on" in one for one in words(draw_balance(balance(mirrored=True))))


def ranges(*strings, **changes):
    usual = Range("1  E4", Reach(-7.5, 0.5, 0.0, 0.0), Reach(-9.9, 1.7, 0.93, 0.12), "down 990 c", "up 93 c")
    base = RangesSheet("Kestrel", "Kestrel", strings or (usual,), ("As found: up until the rear edge meets the body.",))
    return replace(base, **changes)


def one_range(**changes):
    return replace(ranges().ranges[0], **changes)


SLACK = one_range(
    after=Reach(-math.inf, 0.0, 1.8, 0.2), before=Reach(-math.inf, 0.0, 0.0, 0.0), down_told="down until slack"
)
WISHED = one_range(wished=0.75, verdict="in its slot", met=True)
RANGES = {
    "usual": ranges(),
    "slack": ranges(SLACK, SLACK),
    "wished": ranges(SLACK, WISHED, replace(WISHED, verdict="outside", met=False), replace(WISHED, verdict="")),
    "eight strings": ranges(*[SLACK] * 8),
    "nothing as found": ranges(one_range(before=None)),
    "nothing at all": ranges(one_range(before=None, after=Reach(0.0, 0.0, 0.0, 0.0))),
    "very far": ranges(one_range(after=Reach(-40.0, 3.0, 12.0, 1.0))),
    "long names": ranges(
        one_range(name=LONG, up_told=LONG, down_told=LONG), title=LONG, instrument=LONG, stops=(LONG,)
    ),
    "no names": ranges(one_range(name="", up_told="", down_told=""), title="", instrument="", stops=()),
    "nasty": ranges(one_range(name=NASTY), title=NASTY, instrument=NASTY),
}


@pytest.mark.parametrize("one", RANGES.values(), ids=RANGES)
def test_every_range_is_sound(one):
    svg = draw_ranges(one)
    sound(svg)
    assert draw_ranges(one) == svg
    assert "<b>" not in svg


def semitone(svg):
    """Millimetres to a semitone, and where rest is."""
    ticks = sorted(
        p[0][0] for p in paths(svg, ink.THIN, dashed=False) if len(p) == 2 and abs(p[1][1] - p[0][1] - 1.4) < 0.011
    )
    rest = next(p[0][0] for p in paths(svg, ink.THIN, dashed=False) if len(p) == 2 and p[1][1] - p[0][1] > 10.0)
    return (ticks[-1] - ticks[0]) / (len(ticks) - 1), rest


def test_a_range_ends_where_it_ends():
    svg = draw_ranges(ranges())
    per, rest = semitone(svg)
    after = next(p for p in paths(svg, ink.HEAVY) if len(p) == 2 and p[0][1] == p[1][1])
    assert [(x - rest) / per for x, _ in after] == pytest.approx([-9.9, 0.93], abs=0.005)
    before = next(p for p in paths(svg, ink.THIN, dashed=True) if p[0][1] == p[1][1])
    assert [(x - rest) / per for x, _ in before] == pytest.approx([-7.5, 0.0], abs=0.005)
    bands = [p for p in paths(svg, ink.THIN) if len(p) == 4]
    widths = sorted((max(x for x, _ in p) - min(x for x, _ in p)) / per for p in bands)
    assert widths == pytest.approx([0.24, 3.4], abs=0.005)


def test_a_string_that_goes_slack_runs_off_with_an_arrow_and_a_word():
    svg = draw_ranges(ranges(SLACK))
    assert len([p for p in paths(svg) if len(p) == 3]) == 2
    assert "down until slack" in words(svg)
    assert not [p for p in paths(draw_ranges(ranges())) if len(p) == 3]


def test_a_wished_up_bend_is_a_slot_open_to_the_right():
    svg = draw_ranges(ranges(WISHED))
    per, rest = semitone(svg)
    (slot,) = rects(svg)
    assert (slot[0] - rest) / per == pytest.approx(0.75, abs=0.005)
    assert slot[0] + slot[2] > rest + per
    assert slot[0] + slot[2] < WIDTH
    assert "in its slot" in words(svg)
    assert paths(svg, ink.HEAVY, colour=RESTS)
    outside = draw_ranges(ranges(replace(WISHED, verdict="outside", met=False)))
    assert "outside" in words(outside)
    assert not paths(outside, ink.HEAVY, colour=RESTS)


def test_numbers_that_are_none_are_refused():
    with pytest.raises(InputError, match="finite"):
        draw_ranges(ranges(one_range(after=Reach(-1.0, 0.0, 1.0, math.nan))))
    with pytest.raises(InputError, match="finite"):
        draw_balance(balance(before=None, left_half_width=math.nan))
