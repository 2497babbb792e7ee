"""Readings through their page: typed, questioned, kept together, taken back."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest

from setwright.bench.journals import InShop, keep
from setwright.bench.shop import show_visit
from setwright.records.entries import live
from tests.web.visitor import Visitor, words

HOSTILE = '"><script>alert(1)</script>#&{{7*7}}'


@pytest.fixture
def page(visits: dict[str, str]) -> str:
    return f"/visit/{visits['kestrel-float']}/readings"


@pytest.fixture
def entries(shop: str, visits: dict[str, str]) -> Callable[[], list[str]]:
    """The live entries, as they were written."""

    def found() -> list[str]:
        journal = show_visit(shop, visits["kestrel-float"]).journal
        return [f"{one.verb} {one.text}" for one in live(journal.entries)]

    return found


def typed(group: str, **more: str) -> dict[str, str]:
    """A form of one group; names of fields have their blanks as underscores, after "v"."""
    fields = {f"v {name[2:].replace('_', ' ')}" if name.startswith("v_") else name: text for name, text in more.items()}
    return {"group": group, **fields}


HEIGHT = "v string height string {} at fret 12"


class TestShown:
    def test_every_place_has_what_was_found_and_what_is_wanted(self, visitor: Visitor, page: str) -> None:
        said = words(visitor.get(page))
        for part in ("1.9 mm as found", "wanted 1.60 ± 0.25 mm", "wanted 329.63 Hz ± 2 c", "12.5 mm ± 0.2 mm",
                     "String held at 1 and 17, gap over the crown of fret 8"):  # fmt: skip
            assert part in said, part

    def test_an_instrument_without_an_arm_has_no_gap(self, visitor: Visitor, visits: dict[str, str]) -> None:
        said = words(visitor.get(f"/visit/{visits['sanderling-lower']}/readings"))
        assert "Rear gap" not in said
        assert "string 8" in said

    def test_units_are_the_readers(self, visitor: Visitor, page: str) -> None:
        visitor.client.cookies.set("setwright_units", "inch")
        text = visitor.get(page).text
        assert '<option value="in" selected>' in text
        said = words(visitor.get(page))
        assert "wanted .063 ± .010 in" in said
        assert ".075 in as found" in said  # written as 1.9 mm
        assert ".492 ± .008 in as found" in said  # written as 12.5 mm ± 0.2 mm
        assert "mm as found" not in said

    def test_strings_are_named_with_their_notes(self, visitor: Visitor, page: str) -> None:
        said = words(visitor.get(page))
        assert said.count("string 1, E4") == 4  # pitch, height, octave, clearance at fret 1
        assert "string 6, E2" in said

    def test_conventions_are_chosen(self, visitor: Visitor, page: str, entries: Callable[[], list[str]]) -> None:
        asked = f"{page}?fret=17&low=1&high=15&at=7&edge=1&sides=1"
        said = words(visitor.get(asked))
        assert "Crown of fret 17" in said
        assert "Straightedge on 1 and 15, gap over the crown of fret 7" in said
        assert "treble" in said
        form = typed("relief", fret="17", low="1", high="15", at="7", edge="1", unit="thou")
        form["v relief under a straightedge on 1 and 15, read at 7"] = "8"
        answer = visitor.post(page, form)
        assert answer.status_code == 303
        assert "edge=1" in answer.headers["location"]
        assert entries() == ["read relief under a straightedge on 1 and 15, read at 7 = 8 thou"]
        assert ".008" in visitor.get(asked).text or "0.20 mm" in words(visitor.get(asked))

    @pytest.mark.parametrize("query", ["fret=99", "fret=x", "low=17&high=1", "fret=-1", "at=%F0%9F%98%80", "fret=1e9"])
    def test_a_convention_without_sense_is_said(self, visitor: Visitor, page: str, query: str) -> None:
        answer = visitor.get(f"{page}?{query}")
        assert answer.status_code == 422
        assert "Pitches" in words(answer)  # and everything else is still there

    def test_no_visit_no_page(self, visitor: Visitor) -> None:
        assert visitor.get("/visit/zzzzzzzzz/readings").status_code == 404


class TestKept:
    def test_a_whole_row_is_kept_as_it_was_typed(
        self, visitor: Visitor, page: str, entries: Callable[[], list[str]]
    ) -> None:
        rows = ("1.6", "5/64", ".070 in", "2.5/32", "1,9 mm", "1.9 ± 0.05")
        form = typed("string height", unit="mm", gauge="rule 0.5 mm")
        form |= {HEIGHT.format(i + 1): text for i, text in enumerate(rows)}
        answer = visitor.post(page, form)
        assert answer.status_code == 303
        kept = [one.partition(" = ")[2] for one in entries()]
        assert kept == [f"{text} with rule 0.5 mm" for text in
                        ("1.6 mm", "5/64", ".070 in", "2.5/32", "1,9 mm", "1.9 ± 0.05 mm")]  # fmt: skip
        said = words(visitor.get(page))
        assert "#1 to #6 are kept." in said
        assert "1.60 mm #1," in said

    def test_cents_and_hertz(self, visitor: Visitor, page: str, entries: Callable[[], list[str]]) -> None:
        form = typed("pitch", unit="c", v_pitch_string_1="-4", v_pitch_string_2="246.5 Hz", v_pitch_string_3="G3 +3 c")
        assert visitor.post(page, form).status_code == 303
        assert [one.partition(" = ")[2] for one in entries()] == ["-4 c", "246.5 Hz", "G3 +3 c"]
        assert "−4.0 c #1" in words(visitor.get(page))

    def test_who_read_it_is_noted(self, visitor: Visitor, page: str, shop: str, visits: dict[str, str]) -> None:
        visitor.post(page, typed("climate", v_temperature="21", v_humidity="45"))
        journal = show_visit(shop, visits["kestrel-float"]).journal
        assert [(one.who, one.text) for one in journal.entries] == [
            ("Mara", "temperature = 21 C"), ("Mara", "humidity = 45 %")
        ]  # fmt: skip

    def test_the_last_live_reading_is_shown(
        self, visitor: Visitor, page: str, shop: str, visits: dict[str, str]
    ) -> None:
        job = InShop(shop, visits["kestrel-float"])
        for line in ("read rear gap = 2.4 mm", "read rear gap = 2.5 mm", "strike #2: wrong side",
                     "did tune string 2 to 247 Hz, heard 247.1 Hz"):  # fmt: skip
            keep(job, [line])
        said = words(visitor.get(page))
        assert "2.40 mm #1," in said
        assert "2.50 mm #2," not in said
        assert "247.1 Hz #4," in said


class TestQuestioned:
    def test_an_unlikely_value_is_asked_about_and_nothing_is_kept(
        self, visitor: Visitor, page: str, shop: str, entries: Callable[[], list[str]]
    ) -> None:
        form = typed("string height", unit="mm") | {HEIGHT.format(1): "1.6", HEIGHT.format(2): "16"}
        answer = visitor.post(page, form)
        assert answer.status_code == 422
        said = words(answer)
        assert "did you mean 1.6 mm" in said
        assert "with the word sure" not in said
        assert 'value="16"' in answer.text  # kept in its field
        assert 'value="1.6"' in answer.text
        assert entries() == []
        form[f"sure {HEIGHT.format(2)}"] = "1"
        assert visitor.post(page, form).status_code == 303
        assert entries()[1] == "read string height string 2 at fret 12 = 16 mm sure"
        visit = page.removesuffix("/readings")
        keep(InShop(shop, visit.rpartition("/")[2]), ["note the owner is not sure"])
        for path in (page, visit):
            said = words(visitor.get(path))
            assert "= 16 mm sure" not in said
            assert "note the owner is not sure" in said

    @pytest.mark.parametrize("text", ["abc", "1.6 furlongs", "999 mm", HOSTILE, "1" * 300, "\x00", "1.6 mm\nread x"])
    def test_what_is_no_reading_is_said(
        self, visitor: Visitor, page: str, entries: Callable[[], list[str]], text: str
    ) -> None:
        answer = visitor.post(page, typed("rear gap", unit="mm", v_rear_gap=text))
        assert answer.status_code == 422
        assert "<script>alert" not in answer.text
        assert entries() == []

    def test_words_of_another_entry_cannot_come_with_a_value(
        self, visitor: Visitor, page: str, entries: Callable[[], list[str]]
    ) -> None:
        form = typed(
            "rear gap", unit="mm", v_rear_gap="2.6", gauge="calliper, slack\n2026-01-01 #9 did claw in 9 turns"
        )
        assert visitor.post(page, form).status_code == 422
        assert entries() == []

    def test_nothing_typed_and_a_group_there_is_not(self, visitor: Visitor, page: str) -> None:
        answer = visitor.post(page, typed("rear gap"))
        assert answer.status_code == 422
        assert "Nothing is typed" in words(answer)
        assert visitor.post(page, typed("knobs")).status_code == 422

    def test_one_reading_is_looked_at_while_it_is_typed(
        self, visitor: Visitor, page: str, entries: Callable[[], list[str]]
    ) -> None:
        def look(**asked: str) -> Any:
            return visitor.get(f"{page}/look", params=asked).json()

        place = "string height string 1 at fret 12"
        assert look(words=place, text="5/64", unit="mm") == {"read": "1.98 mm"}
        assert look(words="pitch string 1", text="-4", unit="c") == {"read": "−4.0 c"}
        assert look(words="pitch string 1", text="330", unit="Hz") == {"read": "330 Hz"}
        assert look(words=place, text="16", unit="mm")["ask"] is True
        assert look(words=place, text="x", unit="mm")["ask"] is False
        assert "no place" in look(words="soul", text="1", unit="mm")["wrong"]
        assert "fret 99" in look(words=place, text="1.6", fret="99")["wrong"].casefold()
        assert entries() == []


class TestTakenBack:
    def test_what_was_just_kept_is_taken_back_at_once(
        self, visitor: Visitor, page: str, entries: Callable[[], list[str]]
    ) -> None:
        form = typed("string height", unit="mm") | {HEIGHT.format(i): "1.8" for i in range(1, 7)}
        visitor.post(page, form)
        again = re.search(r'action="([^"]+/strike/[\d,]+\?to=readings)"', visitor.get(page).text)
        assert again
        answer = visitor.post(again[1])
        assert answer.headers["location"] == page
        assert entries() == []
        assert "Struck: #1, #2" in words(visitor.get(page))

    def test_any_entry_is_struck_with_its_reason(
        self, visitor: Visitor, page: str, shop: str, visits: dict[str, str]
    ) -> None:
        visitor.post(page, typed("rear gap", unit="mm", v_rear_gap="2.6"))
        path = page.replace("/readings", "/strike/1?to=step")
        assert visitor.post(path, {"reason": f"  wrong side {HOSTILE} "}).headers["location"].endswith("/step")
        journal = show_visit(shop, visits["kestrel-float"]).journal
        assert journal.entries[1].text == f"#1: wrong side {HOSTILE}"
        assert "<script>alert" not in visitor.get(page).text

    @pytest.mark.parametrize("numbers", ["99", "1,99", "x", "0", "1,,2", ",".join(["1"] * 50), "1.5", "-1", "٣"])
    def test_what_cannot_be_struck_is_said(
        self, visitor: Visitor, page: str, entries: Callable[[], list[str]], numbers: str
    ) -> None:
        visitor.post(page, typed("rear gap", unit="mm", v_rear_gap="2.6"))
        assert visitor.post(page.replace("/readings", f"/strike/{numbers}")).status_code in (404, 422)
        assert len(entries()) == 1

    def test_twice_is_once(self, visitor: Visitor, page: str) -> None:
        visitor.post(page, typed("rear gap", unit="mm", v_rear_gap="2.6"))
        path = page.replace("/readings", "/strike/1")
        assert visitor.post(path).status_code == 303
        assert visitor.post(path).status_code == 422


class TestLines:
    def test_a_note_and_what_has_no_field(self, visitor: Visitor, page: str, entries: Callable[[], list[str]]) -> None:
        path = page.replace("/readings", "/line")
        assert visitor.post(path, {"verb": "note", "words": f"buzz at fret 5 {HOSTILE}"}).status_code == 303
        assert visitor.post(path, {"verb": "did", "words": "bar down and let go"}).status_code == 303
        assert entries() == [f"note buzz at fret 5 {HOSTILE}", "did bar down and let go"]
        assert "<script>alert" not in visitor.get(page).text

    @pytest.mark.parametrize(
        ("verb", "words"),
        [("did", "claw sideways 3"), ("read", "rear gap = 2.6"), ("note", ""), ("strike", "#1: x"), ("", "x"),
         ("note", "x" * 501), ("did", "note\nread")],
    )  # fmt: skip
    def test_what_the_journal_does_not_know(
        self, visitor: Visitor, page: str, entries: Callable[[], list[str]], verb: str, words: str
    ) -> None:
        answer = visitor.post(page.replace("/readings", "/line"), {"verb": verb, "words": words})
        assert answer.status_code == 422
        assert entries() == []

    def test_what_is_unlikely_is_asked_about(
        self, visitor: Visitor, page: str, entries: Callable[[], list[str]]
    ) -> None:
        path = page.replace("/readings", "/line")
        form = {"verb": "did", "words": "claw in 9 turns"}
        answer = visitor.post(path, form)
        assert answer.status_code == 422
        assert "possible but unlikely" in words(answer)
        assert 'value="claw in 9 turns"' in answer.text
        assert visitor.post(path, form | {"sure line": "1"}).status_code == 303
        assert entries() == ["did claw in 9 turns sure"]
