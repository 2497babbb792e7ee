"""Drawings of the step at hand: where their ink lies says the amount."""

from __future__ import annotations

import itertools
import math
import re
from xml.etree import ElementTree

import pytest

from setwright.sheets.hand import Head, draw_claw, draw_heads, draw_shim, draw_springs, draw_wedge
from setwright.sheets.ink import ACCENT
from setwright.sheets.rest import HALF, WIDTH, Band, Lean, draw_bands, draw_lean, reach_of

SVG = "{http://www.w3.org/2000/svg}"
HOSTILE = 'a"<b>&#{{7*7}}'


def parsed(svg: str) -> ElementTree.Element:
    root = ElementTree.fromstring(svg)
    box = [float(one) for one in root.get("viewBox", "").split()]
    for one in root.iter(f"{SVG}text"):
        assert -1.0 <= float(one.get("x", "nan")) <= box[2] + 1.0
        assert 0.0 <= float(one.get("y", "nan")) <= box[3]
    return root


def texts(svg: str) -> list[str]:
    return [one.text or "" for one in parsed(svg).iter(f"{SVG}text")]


def points(path: str) -> list[tuple[float, float]]:
    return [(float(a), float(b)) for a, b in re.findall(r"(-?[\d.]+) (-?[\d.]+)", path)]


@pytest.mark.parametrize("turns", [0.25, -0.25, 0.625, -1.0, 2.25, 1 / 32])
def test_the_way_round_a_head_is_as_long_as_the_turns(turns: float) -> None:
    root = parsed(draw_heads("x", [Head("a", "b", turns)]))
    ring = next(iter(root.iter(f"{SVG}circle")))
    x, y = float(ring.get("cx", "")), float(ring.get("cy", ""))
    way = max((one.get("d", "") for one in root.iter(f"{SVG}path") if one.get("stroke") == ACCENT), key=len)
    angles = [math.atan2(a - x, y - b) for a, b in points(way)]
    whole = sum(math.remainder(b - a, 2.0 * math.pi) for a, b in itertools.pairwise(angles))
    assert whole == pytest.approx(2.0 * math.pi * turns, abs=0.02)


def test_more_than_three_turns_are_told_by_words_only() -> None:
    root = parsed(draw_heads("x", [Head("a", "up 9 turns", 9.0)]))
    longest = max((points(one.get("d", "")) for one in root.iter(f"{SVG}path")), key=len)
    assert len(longest) < 240
    assert "up 9 turns" in texts(draw_heads("x", [Head("a", "up 9 turns", 9.0)]))


@pytest.mark.parametrize("words", ["down 3 5/8 turns", "forward 2 7/8 turns"])
def test_long_amounts_do_not_run_into_each_other(words: str) -> None:
    svg = parsed(draw_heads("", [Head(f"string {i + 1}", words, -3.6) for i in range(6)]))
    told = [one for one in svg.iter(f"{SVG}text") if one.text == words]
    width = 4.4 * 0.66 * len(words)  # mm, of a usual family set bold
    at = sorted({float(one.get("x", "")) for one in told})
    assert len(told) == 6
    assert all(b - a > width for a, b in itertools.pairwise(at))
    assert at[0] - width / 2 > 0.0
    assert at[-1] + width / 2 < 120.0


def test_no_heads_and_words_wider_than_the_paper_are_drawn_all_the_same() -> None:
    assert parsed(draw_heads("", [])) is not None
    assert len(list(parsed(draw_heads("", [Head("a", "x" * 200, 1.0)] * 2)).iter(f"{SVG}circle"))) == 2


def test_eight_heads_stand_in_three_rows() -> None:
    svg = draw_heads(HOSTILE, [Head(f"string {i + 1}", "up 1/2 turn", 0.5) for i in range(8)])
    rows = {one.get("cy") for one in parsed(svg).iter(f"{SVG}circle")}
    assert len(rows) == 3
    assert HOSTILE in texts(draw_heads(HOSTILE, [Head(HOSTILE, HOSTILE, 0.5)]))


@pytest.mark.parametrize("mirrored", [False, True])
def test_the_claw_goes_to_its_wall_or_away(mirrored: bool) -> None:
    assert "out 5/8 turn" in texts(draw_claw("x", "out 5/8 turn", -0.625, mirrored))
    root = parsed(draw_claw("x", "in 1 turn", 1.0, mirrored))
    arrows = [points(one.get("d", "")) for one in root.iter(f"{SVG}path") if one.get("stroke") == ACCENT]
    straight = [one for one in arrows if len(one) == 2]
    assert len(straight) == 2
    assert all(b[0] > a[0] for a, b in straight)  # to the wall, which is on the right
    treble = next(float(one.get("y", "")) for one in root.iter(f"{SVG}text") if one.text == "treble")
    bass = next(float(one.get("y", "")) for one in root.iter(f"{SVG}text") if one.text == "bass")
    assert (treble > bass) == mirrored


@pytest.mark.parametrize("kind", ["strip", "wedge", "flat"])
@pytest.mark.parametrize("inward", [True, False])
def test_a_shim_is_named(kind: str, inward: bool) -> None:
    assert f"{kind} shim .030 in" in texts(draw_shim("x", kind, ".030 in", inward))


def test_a_wedge_tells_its_gap_when_it_goes_in() -> None:
    assert "2.60 mm" in texts(draw_wedge("x", "2.60 mm", True))
    assert texts(draw_wedge("x", "", False)).count("") == 0


@pytest.mark.parametrize("mirrored", [False, True])
def test_springs_hang_at_their_places(mirrored: bool) -> None:
    root = parsed(draw_springs("x", [1, 3, 5], mirrored))
    hung = sorted(one.text or "" for one in root.iter(f"{SVG}text") if one.get("fill") == ACCENT)
    assert hung == ["1", "3", "5"]
    assert texts(draw_springs("x", [6], mirrored)).count("6") == 1


@pytest.mark.parametrize(("places", "told"), [([1, 5], "3 off"), ([1, 3, 5], "3 on")])
def test_the_one_spring_that_changes_stands_out(places: list[int], told: str) -> None:
    root = parsed(draw_springs("x", places, changed=3))
    assert [one.text for one in root.iter(f"{SVG}text") if one.get("fill") == ACCENT] == [told]


BANDS = [Band("string 1", 0.0, 1.0, 1.5, 0.4, True), Band("string 2", -30.0, 2.0)]


def test_a_band_inside_its_tolerance_lies_in_the_slot() -> None:
    root = parsed(draw_bands("x", BANDS, 2.0))
    slot, *bars = [
        (float(one.get("x", "")), float(one.get("x", "")) + float(one.get("width", "")))
        for one in root.iter(f"{SVG}rect") if one.get("x")
    ]  # fmt: skip
    inside = [slot[0] - 0.01 <= a and b <= slot[1] + 0.01 for a, b in bars]
    assert inside == [True, True, False]
    assert bars[0][1] - bars[0][0] > bars[1][1] - bars[1][0]  # the less is known, the wider


def test_marks_of_a_rule_stand_apart() -> None:
    root = parsed(draw_bands("x", [Band("a", 700.0, 3.0)], 2.0))
    marks = sorted(float(one.get("x", "")) for one in root.iter(f"{SVG}text") if (one.text or "").endswith(" c"))
    assert min(b - a for a, b in itertools.pairwise(marks)) >= 13.0


LEAN = Lean(12.0, 1.0, -8.0, 3.0, 2.0)


@pytest.mark.parametrize("now", [-8.0, 12.0, 90.0, -700.0])
def test_a_string_at_its_mark_has_its_foot_in_the_slot(now: float) -> None:
    lean = Lean(now, 1.0, -8.0, 3.0, 2.0)
    root = parsed(draw_lean("x", lean))
    reach = reach_of(lean)
    assert abs(now + 4.0) <= reach
    named = {one.get("class"): one for one in root.iter() if one.get("class")}
    _, head, foot = points(named["middle"].get("d", ""))
    assert head[0] == pytest.approx(WIDTH / 2 + HALF * (now + 4.0) / reach, abs=0.01)
    assert foot[0] == pytest.approx(WIDTH / 2 + HALF * (now + 8.0 + 4.0) / reach, abs=0.01)
    left = float(named["slot"].get("x", ""))
    inside = left <= foot[0] <= left + float(named["slot"].get("width", ""))
    assert inside == (now == -8.0)
    assert named["lean"].get("data-to") == "-8.000"


def test_what_is_known_of_the_end_is_as_wide_as_the_foot() -> None:
    def width(foot: float) -> float:
        root = parsed(draw_lean("x", Lean(12.0, 1.0, -8.0, foot, 2.0)))
        path = next(one.get("d", "") for one in root.iter() if one.get("class") == "string")
        return points(path)[3][0] - points(path)[6][0]

    assert width(3.0) > 2.0 * width(0.0)
    assert width(0.0) == pytest.approx(2.0 * HALF / reach_of(LEAN), abs=0.03)
