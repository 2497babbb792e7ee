"""The set-up sheet as PDF: everything is on it, on one page for each part, the same bytes each time, tagged.

The judge is pypdf, a reader of its own; the marks asked for are those of ISO 32000-1, 14.7 and 14.8 (tagged PDF) and of
ISO 14289-1 (PDF/UA-1), 5 and 7.1, from memory.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
import subprocess
import sys
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
import typst
from pypdf import PdfReader

from setwright.errors import InputError
from setwright.sheets import sheet_typ
from setwright.sheets.qr import QUIET, qr_drawing
from setwright.sheets.sheet import PAPERS, PARTS, Drawing, Group, Line, Mark, Paper, Row, SheetData, day, render
from setwright.sheets.sheet_room import COLUMNS, INSET, ROOM, SIZES, SLOT, USUAL, WIDTHS, _fits, flat
from setwright.sheets.sheet_typ import printable
from tests.unit.sheet_material import FULL, ODD, SHEET, pages_of, rows, squeezed, texts

pytestmark = pytest.mark.slow

ROOT = Path(__file__).parents[2]
EMPTY = SheetData("", "", datetime(1970, 1, 1))
LONG = " ".join(["Kupfer-Ænderström"] * 16) + " " + "W" * 28
CROWDED = replace(
    FULL,
    groups=rows(8),
    settings=tuple(Line(f"Screw {i}", "1/8 turn in") for i in range(40)),
    notes=tuple(f"Note {i}: {LONG}" for i in range(30)),
    done=tuple(f"Work {i}: {LONG}" for i in range(30)),
)
CASES = {
    "full": FULL, "empty": EMPTY, "bare": SHEET, "eight strings": replace(FULL, groups=rows(8)),
    "four strings": replace(FULL, groups=rows(4)), "crowded": CROWDED,
    "long": replace(FULL, instrument=LONG, owner="W" * 300, case="9" * 60, who=LONG, shop=LONG, wish=LONG),
    "odd": replace(FULL, instrument=ODD, owner=ODD, wish=ODD, done=(ODD,) * 3, shop=ODD, strings=ODD),
}  # fmt: skip


@pytest.fixture(scope="module")
def full() -> bytes:
    return render(FULL)


def test_everything_of_the_data_can_be_taken_out_again(full: bytes) -> None:
    owner, shop, tag = (squeezed(page) for page in pages_of(full))
    lists = ("title", "groups", "settings", "parts", "notes", "shop_cautions", "climate", "gauges", "link", "about")
    for text in texts(replace(FULL, **{name: "" if isinstance(getattr(FULL, name), str) else () for name in lists})):
        if text not in (FULL.strings, FULL.tuning, FULL.bridge):
            assert squeezed(text) in owner, text
    on_shop = ("groups", "settings", "parts", "notes", "recommended", "not_done", "shop_cautions", "climate", "gauges",
               "instrument", "owner", "case", "about", "strings", "tuning", "who")  # fmt: skip
    for name in on_shop:
        for text in texts(getattr(FULL, name)):
            assert squeezed(text) in shop, text
    for text in (FULL.case, FULL.instrument, FULL.owner, FULL.strings, FULL.tuning, FULL.bridge, FULL.short, FULL.shop):
        assert squeezed(text) in tag, text
    for page in (owner, shop, tag):
        assert squeezed("25 Feb 2027") in page
    assert squeezed("24 Nov 2026 to 25 Nov 2026") in owner


def test_a_figure_that_is_not_there_is_not_found(full: bytes) -> None:
    assert squeezed("X4 +9.1 ± 1.1 c") not in squeezed("".join(pages_of(full)))


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("name", CASES)
def test_each_part_stays_on_its_page(name: str, paper: str) -> None:
    reader = PdfReader(io.BytesIO(render(CASES[name], "letter" if paper == "letter" else "a4")))
    sizes = [tuple(round(float(one)) for one in page.mediabox[2:]) for page in reader.pages]
    big = (612, 792) if paper == "letter" else (595, 842)  # pt: 8.5 in by 11 in; 210 mm by 297 mm (ISO 216)
    assert sizes == [big, big, (210, 298)]


@pytest.mark.parametrize("part", PARTS)
def test_a_part_can_be_had_alone(part: str) -> None:
    assert len(pages_of(render(FULL, "a4", (part,)))) == 1  # type: ignore[arg-type]


def test_what_a_crowded_page_leaves_out_is_counted() -> None:
    owner, shop, _ = pages_of(render(CROWDED))
    left = int(owner.split(" more, in the journal")[0].rsplit("and ", 1)[1])
    shown = sum(f"Work{i}:" in squeezed(owner) for i in range(30))
    assert 0 < shown == 30 - left
    assert "more, in the journal" in shop


def test_long_and_odd_text_prints_as_itself() -> None:
    odd = CASES["odd"]
    for page in pages_of(render(odd))[:2]:
        assert squeezed(page).count(squeezed(ODD)) >= 3
    long = squeezed("".join(pages_of(render(CASES["long"]))))
    assert "W" * 300 in long
    assert squeezed(LONG) in long
    assert "9" * 60 in long


def test_letters_of_other_scripts_print_as_themselves_or_by_number() -> None:
    shown = squeezed(pages_of(render(replace(SHEET, owner="Ωμέγα Жук ½ 漢字 \U0001f3b8")))[0])
    assert "ΩμέγαЖук½" in shown
    for letter, number in (("漢", "[U+6F22]"), ("字", "[U+5B57]"), ("\U0001f3b8", "[U+1F3B8]")):
        assert (letter in shown) != (number in shown), letter


@pytest.mark.parametrize(
    ("given", "printed"),
    [
        ("a\tb\r\nc", "a b c"), ("a\x00b\x07c\x7f", "abc"), ("\u202eabc\u2066", "abc"), ("\ud800x\ufdd0", "x"),
        ("  x  y ", "x y"), ("e\u0301", "é"),
    ],
)  # fmt: skip
def test_what_cannot_be_printed_is_left_out(given: str, printed: str) -> None:
    assert printable(given) == printed


def test_the_pages_are_tagged_and_say_their_language_and_title(full: bytes) -> None:
    reader = PdfReader(io.BytesIO(full))
    root = reader.trailer["/Root"]
    assert "/StructTreeRoot" in root
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert reader.metadata is not None
    assert reader.metadata.title == FULL.title
    kinds = {str(one["/S"]) for one in _elements(root["/StructTreeRoot"])}
    assert {"/H1", "/H2", "/Table", "/TH", "/TD", "/L", "/LI", "/Figure"} <= kinds
    assert b"pdfuaid:part" in root["/Metadata"].get_data()


def _elements(node: object) -> list[dict[str, object]]:
    """Elements below a node of the structure tree."""
    found = []
    stack = [node]
    while stack:
        one = stack.pop()
        one = one.get_object() if hasattr(one, "get_object") else one
        if isinstance(one, list):
            stack += one
        elif isinstance(one, dict):
            found += [one] if "/S" in one else []
            stack += [one["/K"]] if "/K" in one else []
    return found


def test_the_code_says_where_it_leads_for_who_cannot_see_it(full: bytes) -> None:
    root = PdfReader(io.BytesIO(full)).trailer["/Root"]
    figures = [one for one in _elements(root["/StructTreeRoot"]) if one["/S"] == "/Figure"]
    assert len(figures) == 3
    assert all(FULL.link in str(one["/Alt"]) for one in figures)


def test_the_same_data_give_the_same_bytes(full: bytes) -> None:
    assert render(FULL) == full
    assert render(replace(FULL, owner="Someone else")) != full


def test_another_process_in_another_zone_gives_the_same_bytes(full: bytes, tmp_path: Path) -> None:
    code = (
        "import hashlib, sys; sys.path.insert(0, sys.argv[1])\n"
        "from tests.unit.sheet_material import FULL\nfrom setwright.sheets.sheet import render\n"
        "print(hashlib.sha256(render(FULL)).hexdigest())"
    )
    for zone, language in (("Pacific/Kiritimati", "de_DE.UTF-8"), ("America/Adak", "C")):
        env = {**os.environ, "TZ": zone, "LC_ALL": language, "PYTHONHASHSEED": "7"}
        words = [sys.executable, "-c", code, str(ROOT)]
        out = subprocess.run(words, env=env, cwd=tmp_path, check=True, capture_output=True, text=True)
        assert out.stdout.strip() == hashlib.sha256(full).hexdigest()


def test_the_file_is_dated_by_the_last_entry(full: bytes) -> None:
    made = PdfReader(io.BytesIO(full)).metadata
    assert made is not None
    assert made.creation_date is not None
    assert made.creation_date.replace(tzinfo=None) == FULL.made


def test_nothing_is_told_by_colour_alone(full: bytes) -> None:
    shop = squeezed(pages_of(full)[1])
    for verdict in ("inside", "outside", "notcertain"):
        assert verdict in shop


SVG = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {} {}"><text x="5" y="9">at fret 12</text></svg>'


def test_a_drawing_has_a_page_behind_the_shop_page() -> None:
    wide, high = (Drawing(f"Neck {w}", SVG.format(w, h), "the neck from its side") for w, h in ((60, 20), (20, 60)))
    reader = PdfReader(io.BytesIO(render(replace(FULL, drawings=(wide, high)))))
    assert len(reader.pages) == 5
    assert "Neck 60" in reader.pages[2].extract_text()
    assert "at fret 12" in reader.pages[2].extract_text()
    assert "sheet 4 of 4" in reader.pages[3].extract_text()
    sides = [tuple(float(one) for one in reader.pages[i].mediabox[2:]) for i in (2, 3)]
    assert sides[0] == pytest.approx((841.89, 595.28), abs=0.1)
    assert sides[1] == pytest.approx((595.28, 841.89), abs=0.1)
    assert len(pages_of(render(replace(FULL, drawings=(wide, high)), "a4", ("owner", "tag")))) == 2


RULER = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="{w}mm" height="{h}mm" viewBox="0 0 {w} {h}">'
    '<text x="20" y="20" font-size="5">Q</text><text x="100" y="60" font-size="5">Z</text></svg>'
)


@pytest.mark.parametrize(
    ("paper", "size", "share"),
    [
        ("a4", (188.0, 274.0), 1.0),  # the largest side view, at full size on A4
        ("letter", (188.0, 250.0), 1.0),
        ("letter", (188.0, 274.0), (279.4 - 6.0 - 11.0 - 4.6) / 274.0),
        ("a4", (436.0, 252.0), (297.0 - 16.0) / 436.0),
    ],
)
def test_a_drawing_is_printed_at_its_full_size_or_the_page_says_how_much_smaller(paper, size, share) -> None:
    ruler = RULER.format(w=size[0], h=size[1])
    drawn = replace(FULL, drawings=(Drawing("Ruler", ruler, "a ruler"),))
    page = PdfReader(io.BytesIO(render(drawn, paper, ("shop",)))).pages[1]
    places = {}

    def seen(text: str, cm: list[float], tm: list[float], *_more: object) -> None:
        if text in ("Q", "Z"):
            places[text] = tm[4] * cm[0] + tm[5] * cm[2] + cm[4]

    text = page.extract_text(visitor_text=seen)
    apart = (places["Z"] - places["Q"]) * 25.4 / 72.0
    assert apart == pytest.approx(80.0 * share, abs=0.05)
    said = f"{round(100 * share)} % of its size"
    assert (said in text) == (share < 0.995)


def test_what_is_no_drawing_is_refused() -> None:
    with pytest.raises(InputError, match="a drawing cannot be set"):
        render(replace(FULL, drawings=(Drawing("Neck", "no drawing", "nothing"),)))


def test_a_guess_that_fails_is_measured(monkeypatch: pytest.MonkeyPatch) -> None:
    largest = lambda *_: {"at": 0, "sure": True}  # noqa: E731
    monkeypatch.setattr(sheet_typ, "start", largest)
    assert len(pages_of(render(CASES["eight strings"]))) == 3


def test_widths_of_letters_are_those_of_the_type() -> None:
    source = """#set text(font: ("Libertinus Serif", "DejaVu Sans Mono"), size: 100pt, number-width: "tabular")
    #let wide(one) = calc.max(measure(text(one)).width, measure(strong(one)).width)
    #context [#metadata(json("letters.json").map(one => (wide("|" + one + "|") - wide("||")).pt())) <widths>]"""
    letters = [chr(code) for code in range(32, 127)] + list(USUAL)
    files: Any = {"main.typ": source.encode(), "letters.json": json.dumps(letters).encode()}
    (found,) = json.loads(typst.query(files, "<widths>", field="value", ignore_system_fonts=True))
    for letter, true, said in zip(letters, found, (*WIDTHS, *USUAL.values()), strict=True):
        assert true - 1e-6 <= said <= true + 1.01, letter


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("letters", ["mW", "iI.", "08 ± 3", "1/8 "])
def test_a_row_that_is_said_to_take_one_line_does(paper: Paper, letters: str, monkeypatch: pytest.MonkeyPatch) -> None:
    at = SIZES.index(9.0)
    monkeypatch.setattr(sheet_typ, "start", lambda *_: {"at": at, "sure": True})
    share = (ROOM[paper][0] / SIZES[at] - SLOT) / sum(COLUMNS)
    texts: list[str] = []
    for column in COLUMNS:
        text = "x"
        while _fits(text + letters, column * share - 2.0 * INSET):
            text += letters
        texts.append(text)
    name, found, target, left, _ = texts
    full = Row(name, found, target, left, "inside", Mark(0.1, 0.2, 0.3))
    data = replace(FULL, groups=(Group("Pitch", "as it is played", (full,) * 3), *FULL.groups))
    assert flat(data, paper, at)[0] == [True] * 4
    longer = Group("P", "", (replace(full, found=found + letters),))
    assert flat(replace(data, groups=(longer,)), paper, at) == [[True, False]]
    (text,) = pages_of(render(data, paper, ("shop",)))
    kept = [squeezed(line) for line in text.splitlines()]
    for one in (name, found, target, left):
        assert sum(squeezed(one) in line for line in kept) >= 3, one


@pytest.mark.parametrize(
    ("paper", "parts", "said"),
    [
        ("a5", PARTS, "no paper called 'a5'; there are: a4, letter"),
        ("a4", ("card",), "'card' is no part of the sheet; there are: owner, shop, tag"),
        ("a4", (), "nothing is no part of the sheet"),
    ],
)
def test_unknown_papers_and_parts_are_refused(paper: str, parts: tuple[str, ...], said: str) -> None:
    with pytest.raises(InputError, match=said):
        render(FULL, paper, parts)  # type: ignore[arg-type]


def test_a_code_holds_its_link_and_a_quiet_margin() -> None:
    """Sides of a symbol: 17 + 4 versions modules; finder pattern at three corners (ISO/IEC 18004, from memory)."""
    drawing = qr_drawing("https://bench.example/1")
    side = int(drawing.split('viewBox="0 0 ')[1].split()[0])
    assert (side - 2 * QUIET - 17) % 4 == 0
    assert f"M{QUIET} {QUIET}.5h7" in drawing
    assert "<image" not in drawing


def test_squares_of_a_code_are_those_of_its_matrix() -> None:
    import segno

    drawing = qr_drawing("HELLO")
    path = drawing.split(' d="')[1].split('"')[0]
    drawn = set()
    for row in path.split("M")[1:]:
        start, _, steps = row.partition("h")
        x, y = int(start.split()[0]), int(float(start.split()[1]))
        for step in f"h{steps}".replace("m", " m").replace("h", " h").split(" "):
            if step.startswith("m"):
                x += int(step[1:])
            elif step.startswith("h"):
                drawn |= {(x + i - QUIET, y - QUIET) for i in range(int(step[1:]))}
                x += int(step[1:])
    matrix = segno.make("HELLO", error="m", micro=False).matrix
    assert drawn == {(x, y) for y, line in enumerate(matrix) for x, dark in enumerate(line) if dark}


@pytest.mark.parametrize("link", ["", "  ", "x" * 601])
def test_a_link_that_makes_no_code_is_refused(link: str) -> None:
    with pytest.raises(InputError, match="makes no QR code"):
        qr_drawing(link)


def test_days_are_written_alike_everywhere() -> None:
    assert day(datetime(2026, 3, 4)) == "4 Mar 2026"
    assert day(None) == ""
