"""The drawings: well-formed, escaped, finite, to scale, the same every time, and told without colour."""

import math
import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest

from setwright.errors import InputError
from setwright.sheets import ink
from setwright.sheets.board import LEFT, along, cut, numbers, parted
from setwright.sheets.clearance import ClearanceSheet, Reach, draw_clearance
from setwright.sheets.heights import Dimension, HeightsSheet, Hollow, Line, View, draw_heights
from setwright.sheets.notes import NotesSheet, Strip, draw_notes
from setwright.sheets.sheet_room import DRAWN

NASTY = 'A<b>&"c"\'#\x07\ud800 ñ'
SVG = "{http://www.w3.org/2000/svg}"
SCALE = 0.648
TAGS = ("svg", "title", "desc", "style", "rect", "text", "path")
# distance nut to fret, 17.817-rule of equal temperament worked by hand for 648 mm: L - L / 2^(n/12), n = 1, 5, 12, 22
HAND = {1: 36.37, 5: 162.56, 12: 324.0, 22: 466.16}
FRET_X = tuple(SCALE - SCALE / 2 ** (n / 12) for n in range(1, 23))


def strip(**changes):
    base = Strip("1  .010", (1.0,) * 22, (2.0,) * 22, (), "octave at 12: +1.0 ± 2.0 c", "leave the saddle", 0)
    return replace(base, **changes)


def notes(*strips, **changes):
    return replace(NotesSheet("Title", "Wren", "as found", SCALE, FRET_X, strips or (strip(),)), **changes)


def line(rise=0.0):
    crowns = tuple(-0.25e-3 * math.sin(math.pi * n / 21) for n in range(22))
    return Line(crowns, 0.2e-3, 0.65, 4e-3 + rise, (0.1e-3,) * 22)


def heights(**changes):
    view = View(
        "1  .010",
        line(),
        line(5e-4),
        (Dimension(1, "0.40 ± 0.10 mm"), Dimension(12, "1.60 mm")),
        Hollow((1, 17), 8, "relief"),
    )
    return replace(HeightsSheet("Title", "Wren", "after the plan", SCALE, FRET_X, (view,)), **changes)


def reach(clearance=0.2e-3):
    return Reach("1  .010", (clearance,) * 22, (0.1e-3,) * 22, tuple(range(1, 23)), ("clean up to 0.8 N", "stays"))


def clearance(*strips, **changes):
    base = ClearanceSheet("Title", "Wren", "as found", "1.2 N", SCALE, FRET_X, strips or (reach(),))
    return replace(base, **changes)


ALL = {
    "notes": (draw_notes, notes(strip(), strip(saddle=1, remedy="saddle back 1/2 turn", before=(3.0,) * 22))),
    "heights": (draw_heights, heights()),
    "clearance": (draw_clearance, clearance(reach(), replace(reach(-0.2e-3), dies=((7, 150.0), (8, 150.0))))),
}


@pytest.fixture(params=ALL)
def drawing(request):
    draw, sheet = ALL[request.param]
    return draw(sheet), draw, sheet


def words(svg):
    return [one.text for one in ET.fromstring(svg.encode()).iter(f"{SVG}text")]


def paths(svg, weight=None):
    return [
        [tuple(map(float, pair)) for pair in re.findall(r"(-?[\d.]+) (-?[\d.]+)", one.get("d"))]
        for one in ET.fromstring(svg.encode()).iter(f"{SVG}path")
        if weight is None or one.get("stroke-width") == ink.place(weight)
    ]


def test_a_drawing_is_well_formed_and_says_what_it_is(drawing):
    root = ET.fromstring(drawing[0].encode())
    assert root.tag == f"{SVG}svg"
    assert root.get("viewBox").split()[2] + "mm" == root.get("width")
    assert root.find(f"{SVG}title").text
    assert "1:2" in root.find(f"{SVG}desc").text
    assert not {e.tag for e in root.iter()} - {f"{SVG}{t}" for t in TAGS}


def test_a_drawing_is_the_same_every_time(drawing):
    svg, draw, sheet = drawing
    assert draw(sheet) == svg


def test_every_place_is_finite_and_on_the_paper(drawing):
    svg = drawing[0]
    assert not re.search(r"\b(nan|inf)\b", svg)
    width, height = map(float, ET.fromstring(svg.encode()).get("viewBox").split()[2:])
    for path in paths(svg):
        assert all(0.0 <= x <= width and 0.0 <= y <= height for x, y in path)
    for one in ET.fromstring(svg.encode()).iter(f"{SVG}text"):
        assert 0.0 <= float(one.get("x")) <= width
        assert 0.0 <= float(one.get("y")) <= height


def test_what_people_write_is_escaped(drawing):
    _, draw, sheet = drawing
    svg = draw(replace(sheet, title=NASTY, instrument=NASTY, when=NASTY))
    assert "<b>" not in svg
    assert "\x07" not in svg
    assert any(text.startswith('A<b>&"c"\'# ñ') for text in words(svg))


def test_frets_stand_where_they_stand():
    for draw, sheet in ((draw_notes, notes()), (draw_clearance, clearance())):
        upright = {p[0][0] for p in paths(draw(sheet)) if len(p) == 2 and p[0][0] == p[1][0]}
        for millimetres in HAND.values():
            assert min(abs(x - LEFT - millimetres / 2) for x in upright) < 0.011
        assert min(abs(x - LEFT - 324.0) for x in upright) < 0.011  # the scale length itself, 1:2


def test_crowns_stand_where_they_stand():
    ticks = {p[0][0] for p in paths(draw_heights(heights()), ink.HEAVY) if len(p) == 2 and p[0][0] == p[1][0]}
    for millimetres in HAND.values():
        assert min(abs(x - LEFT - millimetres / 2) for x in ticks) < 0.011


def test_a_long_scale_is_drawn_smaller_and_says_so():
    svg = draw_notes(notes(scale=0.864, fret_x=tuple(0.864 * x / SCALE for x in FRET_X)))
    assert "along the neck 1:3" in svg
    assert any(abs(p[0][0] - LEFT - 144.0) < 0.011 for p in paths(svg))


def test_a_band_is_as_wide_as_the_uncertainty():
    svg = draw_notes(notes(strip(half_width=(2.5,) * 22)))
    band = next(p for p in paths(svg) if len(p) == 44)
    per_cent = float(re.search(r"1 c drawn ([\d.]+) mm", svg)[1])
    assert band[-1][1] - band[0][1] == pytest.approx(2 * 2.5 * per_cent, abs=0.02)
    slot = ET.fromstring(svg.encode()).findall(f"{SVG}rect")[1]
    assert float(slot.get("height")) == pytest.approx(4.0 * per_cent, abs=0.01)


def test_heights_are_stretched_by_the_factor_told():
    svg = draw_heights(heights())
    stretch = float(re.search(r"heights (\d+) times", svg)[1])
    string = next(p for p in paths(svg, ink.HEAVY) if p[-1][0] > 350.0 and p[0][0] == LEFT and len(p) == 2)
    assert string[0][1] - string[1][1] == pytest.approx(3.8 * stretch / 2, abs=0.02)


@pytest.mark.parametrize(("saddle", "tip"), [(1, 1.0), (-1, -1.0)])
def test_the_saddles_way_is_an_arrow_and_a_word(saddle, tip):
    svg = draw_notes(notes(strip(saddle=saddle, remedy="saddle moves")))
    heads = [p for p in paths(svg) if len(p) == 3]
    assert len(heads) == 1
    assert (heads[0][0][0] - heads[0][1][0]) * tip > 0.0
    assert "saddle moves" in words(svg)


def test_nothing_is_told_by_the_accent_alone():
    # without its colours the drawing says the same: accent marks come with an arrow head and a word
    for svg in (draw(sheet) for draw, sheet in ALL.values()):
        accents = svg.count(f'fill="{ink.ACCENT}"') + svg.count(f'stroke="{ink.ACCENT}"')
        assert accents == 3 * sum("saddle back" in text for text in words(svg))  # words, shaft, head


def test_where_it_touches_stand_a_cross_and_the_word():
    svg = draw_clearance(clearance(reach(-0.2e-3)))
    assert "touches 1" in words(svg)
    clean = draw_clearance(clearance(reach(0.2e-3)))
    assert not any(text.startswith("touches ") for text in words(clean))
    assert len(paths(svg, ink.HEAVY)) - len(paths(clean, ink.HEAVY)) == 44  # two strokes for each cross


def test_a_dimension_without_room_has_its_arrows_outside():
    roomy, tight = ink.upright(10.0, 30.0, 10.0, "2 mm"), ink.upright(10.0, 30.0, 29.0, "0.1 mm", "end")
    assert roomy.count("<path") == tight.count("<path") == 4
    assert 'text-anchor="end"' in tight
    inside = [float(y) for y in re.findall(r"10 ([\d.]+)", roomy)]
    assert min(inside) == 10.0
    assert max(inside) == 30.0
    assert min(float(y) for y in re.findall(r"10 ([\d.]+)", tight)) < 29.0


def test_the_first_dimension_does_not_cross_the_nut():
    svg = draw_heights(heights())
    first, twelfth = (re.search(f"<text ([^>]*)>{words}", svg)[1] for words in ("0.40", "1.60"))
    assert "end" not in first
    assert 'text-anchor="end"' in twelfth


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_a_number_that_is_none_is_refused(value):
    with pytest.raises(InputError, match="finite"):
        ink.place(value)
    with pytest.raises(InputError, match="finite"):
        draw_notes(notes(strip(octave="x", cents=(1.0,) * 21 + (-1.0,), half_width=(value,) * 22)))


def test_places_are_short():
    assert [ink.place(v) for v in (-0.001, 12.0, 1.239, 0.5)] == ["0", "12", "1.24", "0.5"]


def test_frets_out_of_order_are_refused():
    for frets in ((), (0.1, 0.1), (0.2, 0.1), (0.7,)):
        with pytest.raises(InputError, match="in order"):
            along(SCALE, frets)


def test_crowded_numbers_leave_some_out_and_long_words_are_cut():
    close = along(SCALE, [0.005 * n for n in range(1, 37)])
    assert len(numbers(close, 0.0)) < 30
    assert cut("a long name of an instrument", 10.0, 3.0) == "a lon…"
    assert cut("short", 100.0, 3.0) == "short"
    tall = clearance(Reach("1", (0.1,) * 22, (0.0,) * 22, (1,) * 22, ()))
    assert "clearance 1 times" in draw_clearance(tall)
    steep = replace(line(), saddle=0.2)
    assert "heights 1 times" in draw_heights(heights(views=(View("1", steep, None, (), None),)))


def test_every_drawing_lies_on_its_own_paper(drawing):
    svg, _, _ = drawing
    root = ET.fromstring(svg.encode())
    ground = next(one for one in root if one.tag != f"{SVG}title" and one.tag not in (f"{SVG}desc", f"{SVG}style"))
    assert ground.tag == f"{SVG}rect"  # before every mark, as large as the sheet: it reads on dark pages too
    assert (ground.get("width"), ground.get("height")) == tuple(root.get("viewBox").split()[2:])
    assert ground.get("fill") == ink.PAPER


def test_bends_that_die_are_marked_over_their_fret_and_told_where_the_bend_changes():
    dies = ((7, 150.0), (8, 150.0), (9, 100.0), (21, 75.0))
    svg = draw_clearance(clearance(replace(reach(), dies=dies)))
    assert [w for w in words(svg) if re.fullmatch(r"\d+ c", w)] == ["150 c", "100 c", "75 c"]
    bars = [p for p in paths(svg, ink.HEAVY) if len(p) == 2 and p[0][1] == p[1][1] and 2.0 < p[1][0] - p[0][0] < 4.0]
    where = [LEFT + 1e3 * FRET_X[fret - 1] / 2 for fret, _ in dies]
    assert [0.5 * (a[0] + b[0]) for a, b in bars[:4]] == pytest.approx(where, abs=0.02)
    assert len(bars) == 5  # and the one beside the words that say what it means
    assert any("a bend from there dies" in w for w in words(svg))
    assert not any("a bend from there dies" in w for w in words(draw_clearance(clearance())))


@pytest.mark.parametrize("paper", DRAWN)
@pytest.mark.parametrize("count", [4, 6, 8, 12])
@pytest.mark.parametrize("scale", [0.55, 0.648, 0.70, 0.864, 0.914])
def test_no_letter_of_a_drawing_for_paper_is_printed_below_seven_points(paper, count, scale):
    room, fret_x = DRAWN[paper], tuple(scale * x / SCALE for x in FRET_X)
    view = replace(heights().views[0], now=replace(line(), saddle_x=scale), before=replace(line(5e-4), saddle_x=scale))
    for draw, sheet in (
        (draw_notes, notes(*(strip(half_width=(20.0,) * 22),) * count, scale=scale, fret_x=fret_x)),
        (draw_heights, heights(scale=scale, fret_x=fret_x, views=(view, *(replace(view, hollow=None),) * (count - 1)))),
    ):
        svg = draw(sheet, room)
        width, high = (float(one) for one in re.search(r'width="([\d.]+)mm" height="([\d.]+)mm"', svg).groups())
        share = min(1.0, room.width / width, room.height / high)
        least = min(float(one) for one in re.findall(r'font-size="([\d.]+)"', svg))
        assert share * least * 72.0 / 25.4 >= 6.99, (draw, share)
        assert "1:2" in draw(sheet) or scale > 0.72  # where it is not printed it is as large as ever


def test_words_of_a_low_gap_stand_under_the_crowns():
    crowns = (0.0,) * 22
    flat = Line(crowns, 0.2e-3, 0.65, 0.8e-3, (0.0,) * 22)
    view = View("1", flat, None, (Dimension(1, "low"), Dimension(22, "high")), Hollow((1, 17), 8, "relief"))
    tall = replace(view, now=replace(flat, saddle=3e-3))
    places = {}
    for name, one in (("low", view), ("tall", tall)):
        svg = draw_heights(heights(views=(one,)))
        (nut,) = {p[0] for p in paths(svg, ink.HEAVY) if p[0][0] == pytest.approx(LEFT) and p[1][0] > 300.0}
        found = re.findall(r'<text x="[\d.]+" y="([\d.]+)"[^>]*>(low|high|relief)<', svg)
        places[name] = {word: float(y) - nut[1] for y, word in found}
    assert places["tall"]["high"] < places["tall"]["low"]
    assert places["tall"]["relief"] > places["tall"]["low"] > 0.0


def test_words_that_do_not_fit_go_on_below():
    assert parted("one two three", 100.0, 3.0) == ("one two three", "")
    first, second = parted("one two three four", 9 * 0.52 * 3.0, 3.0)
    assert (first, second) == ("one two", "three four")
    assert parted("a" * 20, 5.2 * 3.0, 3.0) == ("a" * 10, "a" * 10)
