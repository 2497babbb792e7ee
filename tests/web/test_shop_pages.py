"""Instruments, visits, parts and settings through their pages."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import pytest
from PIL import Image

from setwright.bench.attachments import attach, attachments_of
from setwright.bench.journals import InShop, keep
from setwright.bench.owners import instrument_in
from setwright.bench.parts import parts_of
from setwright.bench.shop import find_instruments, show_visit
from setwright.bench.visits import edit_visit
from tests.web.visitor import Visitor, words

HOSTILE = '"><script>alert(1)</script><img src=x onerror=alert(1)>#&{{7*7}}'
LONG = "Ä" * 300


@pytest.fixture
def kestrel(shop: str) -> str:
    return next(one.id for one in find_instruments(shop) if one.name == "Kestrel")


def jpeg(colour: str = "red") -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (8, 6), colour).save(out, "JPEG")
    return out.getvalue()


class TestInstruments:
    def test_all_are_listed_and_those_looked_for_are_found(self, visitor: Visitor) -> None:
        assert all(name in words(visitor.get("/instruments")) for name in ("Kestrel", "Dunlin", "Sanderling", "Knot"))
        found = words(visitor.get("/instruments?find=kest+ada"))
        assert "Kestrel" in found
        assert "Dunlin" not in found
        assert "Use fewer of them" in words(visitor.get("/instruments?find=nobody"))

    @pytest.mark.parametrize("find", ["%", "_", "'; DROP TABLE visit", "\\", HOSTILE])
    def test_signs_of_a_search_are_words_like_others(self, visitor: Visitor, find: str) -> None:
        answer = visitor.get("/instruments", params={"find": find})
        assert answer.status_code == 200
        assert "Use fewer of them" in words(answer)
        assert "<script>alert" not in answer.text

    def test_what_cannot_be_looked_for_is_said(self, visitor: Visitor) -> None:
        assert "up to 10" in words(visitor.get("/instruments", params={"find": " ".join("abcdefghijkl")}))
        assert visitor.get("/instruments?find=%00").status_code == 422

    def test_a_life_shows_visits_readings_and_what_is_open(self, visitor: Visitor, kestrel: str) -> None:
        said = words(visitor.get(f"/instrument/{kestrel}"))
        for part in ("Visit 1", "String height at fret 12", "12.5", "as found", "Ada Lark", "Visit 1 is open"):
            assert part in said, part

    def test_units_are_the_readers(self, visitor: Visitor, kestrel: str) -> None:
        assert "12.5" in words(visitor.get(f"/instrument/{kestrel}"))  # mm, as the job is written
        assert visitor.post("/settings", {"units": "inch"}).status_code == 303
        said = words(visitor.get(f"/instrument/{kestrel}"))
        assert ".492" in said  # 12.5 mm / 25.4
        assert "12.5" not in said

    def test_what_changed_by_itself_between_visits_is_said(
        self, visitor: Visitor, shop: str, visits: dict[str, str], kestrel: str
    ) -> None:
        visit = visits["kestrel-float"]
        assert "Changed by itself" not in words(visitor.get(f"/instrument/{kestrel}"))
        for said in ("read relief held at 1 and 17, read at 8 = 0.30 mm", "did rod tighter 1/8 turn",
                     "read relief held at 1 and 17, read at 8 = 0.20 mm"):  # fmt: skip
            keep(InShop(shop, visit), said.split(), who="Mara", when=datetime(2026, 1, 5, 10, 0))
        visitor.post(f"/visit/{visit}/back", {})
        again = visitor.post("/take-in", {"what": f"known:{kestrel}", "found.strings": "10 13 17 26w 36w 46w"})
        later = InShop(shop, again.headers["location"].rpartition("/")[2])
        keep(later, ["read", "relief held at 1 and 17, read at 8 = 0.45 mm"], who="Mara")
        said = words(visitor.get(f"/instrument/{kestrel}"))
        assert "Changed by itself since" in said
        # 0.45 mm found after 0.20 mm left
        assert re.search(r"relief, held 1-17 at 8 0\.2\d* ± \S+ mm 0\.45 ± \S+ mm \+0\.25 ± ", said)

    def test_what_is_known_is_changed_and_an_older_page_is_refused(
        self, visitor: Visitor, browsers: Callable[[], Visitor], shop: str, kestrel: str
    ) -> None:
        path = f"/instrument/{kestrel}"
        fields = {"version": "1", "name": "Kestrel", "maker": HOSTILE, "serial": "0042", "colour": LONG}
        assert visitor.post(path, fields).status_code == 303
        kept = instrument_in(shop, kestrel)
        assert (kept.maker, kept.serial, kept.colour, kept.version) == (HOSTILE, "0042", LONG, 2)
        page = visitor.get(path)
        assert "<script>alert" not in page.text
        assert "49" not in page.text.partition("Change what")[2].partition("maker")[2][:200]
        late = browsers().sign("Bo").post(path, fields | {"serial": "0043"})
        assert late.status_code == 409
        assert "'0042' there and '0043' here" in words(late)
        assert instrument_in(shop, kestrel).serial == "0042"

    def test_the_owner_is_changed_too(self, visitor: Visitor, kestrel: str) -> None:
        path = f"/instrument/{kestrel}"
        fields = {"version": "1", "name": "Ada Lark", "contact": "0151 22", "note": "rings first"}
        assert visitor.post(f"{path}/owner", fields).status_code == 303
        assert "Ada Lark, 0151 22" in words(visitor.get(path))
        assert visitor.post(f"{path}/owner", fields | {"note": "late"}).status_code == 409
        assert visitor.post(f"{path}/owner", fields | {"name": "", "version": "2"}).status_code == 422

    @pytest.mark.parametrize("id", ["zzzz", "a", "%2e%2e", "01m8p1b4kv184xs88sge5yvh56"])
    def test_no_instrument_is_a_page_that_says_so(self, visitor: Visitor, id: str) -> None:
        for path in (f"/instrument/{id}", f"/file/{id}", f"/visit/{id}"):
            assert visitor.get(path).status_code == 404
            assert "To the day" in words(visitor.get(path))
        assert visitor.post(f"/instrument/{id}", {"name": "x"}).status_code == 404


class TestFiles:
    def test_a_photo_is_kept_and_shown(self, visitor: Visitor, shop: str, kestrel: str) -> None:
        files = {"photo": ("C:\\pictures\\back.jpg", jpeg(), "image/jpeg")}
        assert visitor.post(f"/instrument/{kestrel}/photo", files=files).status_code == 303
        (kept,) = attachments_of(shop, instrument=kestrel)
        assert (kept.name, kept.media_type, kept.who) == ("back.jpg", "image/jpeg", "Mara")
        answer = visitor.get(f"/file/{kept.id}")
        assert answer.headers["content-type"] == "image/jpeg"
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert "sandbox" in answer.headers["content-security-policy"]
        assert Image.open(io.BytesIO(answer.content)).size == (8, 6)
        assert f"/file/{kept.id}" in visitor.get(f"/instrument/{kestrel}").text

    @pytest.mark.parametrize(
        ("name", "content"),
        [("x.jpg", b"<script>alert(1)</script>"), ("x.svg", b"<svg onload='alert(1)'/>"), ("x.jpg", b""),
         ("../../x.jpg", b"MZ\x90"), ("x.html", b"<html>"), ("x.jpg", jpeg()[:40])],
    )  # fmt: skip
    def test_what_is_no_photo_is_refused(
        self, visitor: Visitor, shop: str, kestrel: str, visits: dict[str, str], name: str, content: bytes
    ) -> None:
        for path in (f"/instrument/{kestrel}", f"/visit/{visits['kestrel-float']}"):
            answer = visitor.post(f"{path}/photo", files={"photo": (name, content, "image/jpeg")})
            assert answer.status_code == 422
            assert 'class="wrong"' in answer.text
        assert attachments_of(shop, instrument=kestrel) == ()

    def test_without_a_photo_it_says_so(self, visitor: Visitor, kestrel: str) -> None:
        assert "No photo is chosen" in words(visitor.post(f"/instrument/{kestrel}/photo", {}))

    def test_one_too_large_is_refused_before_it_is_read(self, visitor: Visitor, kestrel: str) -> None:
        answer = visitor.post(f"/instrument/{kestrel}/photo", files={"photo": ("x.jpg", jpeg() + b"0" * 26_000_000)})
        assert answer.status_code == 413

    def test_what_a_browser_could_run_is_given_as_a_file(self, visitor: Visitor, shop: str, kestrel: str) -> None:
        raw = io.BytesIO(b"<script>alert(1)</script>")
        kept = attach(shop, "other", 'plan "é".html', raw, instrument=kestrel, who="Mara")
        answer = visitor.get(f"/file/{kept.id}")
        assert answer.headers["content-type"] == "application/octet-stream"
        assert answer.headers["content-disposition"] == 'attachment; filename="plan ___.html"'
        assert answer.content == raw.getvalue()


class TestVisit:
    def test_a_visit_shows_its_journal_and_what_belongs_to_it(
        self, visitor: Visitor, shop: str, visits: dict[str, str]
    ) -> None:
        visit = visits["dunlin-heavier"]
        keep(InShop(shop, visit), ["read", "rear gap = 2.4 mm"], who="Bo")
        keep(InShop(shop, visit), ["note", HOSTILE], who="<b>&#")
        answer = visitor.get(f"/visit/{visit}")
        said = words(answer)
        assert "rear gap = 2.4 mm" in said
        assert "Ada Lark" in said
        assert "<script>alert" not in answer.text
        assert "<img src=x" not in answer.text
        assert "<b>&#" not in answer.text
        assert "49" not in said.partition("{{7*7")[0][-50:]

    def test_the_wish_is_changed_unless_it_was_changed_meanwhile(
        self, visitor: Visitor, shop: str, visits: dict[str, str]
    ) -> None:
        path = f"/visit/{visits['dunlin-heavier']}"
        assert (
            visitor.post(f"{path}/wish", {"version": "1", "wish": "Two\r\nlines", "kind": "balance"}).status_code == 303
        )
        shown = show_visit(shop, visits["dunlin-heavier"]).visit
        assert (shown.wish, shown.kind) == ("Two\nlines", "balance")
        late = visitor.post(f"{path}/wish", {"version": "1", "wish": "Other"})
        assert late.status_code == 409
        assert ">Other</textarea>" in late.text
        assert visitor.post(f"{path}/wish", {"version": "9", "wish": "Other"}).status_code == 422

    def test_it_is_handed_back_and_opened_again(self, visitor: Visitor, shop: str, visits: dict[str, str]) -> None:
        visit = visits["knot-too-weak"]
        path = f"/visit/{visit}"
        assert visitor.post(f"{path}/back", {"version": "1", "recheck": "soon"}).status_code == 422
        assert visitor.post(f"{path}/back", {"version": "1", "recheck": "1999-01-01"}).status_code == 422
        assert visitor.post(f"{path}/back", {"version": "1", "recheck": "2999-01-01"}).status_code == 303
        assert show_visit(shop, visit).visit.state == "closed"
        assert "Knot" not in words(visitor.get("/"))
        assert visitor.post(f"{path}/back", {}).status_code == 422
        assert visitor.post(f"{path}/again", {}).status_code == 303
        assert show_visit(shop, visit).visit.state == "open"

    def test_parts_are_used_and_come_back(self, visitor: Visitor, shop: str, visits: dict[str, str]) -> None:
        path = f"/visit/{visits['kestrel-float']}"
        assert visitor.post("/parts", {"deed": "new", "name": "springs, usual", "count": "5"}).status_code == 303
        (part,) = parts_of(shop)
        assert visitor.post(f"{path}/part", {"part": part.id, "count": "3", "move": "used"}).status_code == 303
        assert parts_of(shop)[0].stock == 2
        assert "3 pieces, springs, usual" in words(visitor.get(path))
        assert visitor.post(f"{path}/part", {"part": part.id, "count": "1", "move": "returned"}).status_code == 303
        assert visitor.post(f"{path}/part", {"part": part.id, "count": "9", "move": "returned"}).status_code == 422
        for count in ("", "0", "-1", "x", "99999999999", "١"):
            assert visitor.post(f"{path}/part", {"part": part.id, "count": count}).status_code == 422
        assert visitor.post(f"{path}/part", {"part": "zzzz", "count": "1"}).status_code == 422
        assert parts_of(shop)[0].stock == 3

    def test_the_air_is_noted_in_the_readers_units(self, visitor: Visitor, visits: dict[str, str]) -> None:
        path = f"/visit/{visits['kestrel-float']}"
        assert visitor.post(f"{path}/air", {"temperature": "70 F", "humidity": "45 %"}).status_code == 303
        assert "21.1 °C, 45 %" in words(visitor.get(path))  # 70 F = 21.11 C
        for air in ({"temperature": "70"}, {"humidity": "145 %"}, {}, {"temperature": HOSTILE}):
            answer = visitor.post(f"{path}/air", air)
            assert answer.status_code == 422
            assert "<script>alert" not in answer.text

    def test_the_work_of_other_visits_is_out_of_reach_by_a_short_name(self, visitor: Visitor) -> None:
        assert visitor.get("/visit/a").status_code == 404


class TestParts:
    def test_parts_come_are_counted_and_run_out(self, visitor: Visitor, shop: str) -> None:
        assert "No part is kept yet" in words(visitor.get("/parts"))
        assert visitor.post("/parts", {"deed": "new", "name": HOSTILE, "unit": "set"}).status_code == 303
        (part,) = parts_of(shop)
        assert visitor.post("/parts", {"deed": "came", "part": part.id, "count": "12"}).status_code == 303
        assert visitor.post("/parts", {"deed": "counted", "part": part.id, "count": "1"}).status_code == 303
        assert parts_of(shop)[0].stock == 1
        page = visitor.get("/")
        assert "Parts that run out" in words(page)
        assert "<script>alert" not in page.text + visitor.get("/parts").text

    @pytest.mark.parametrize(
        "fields", [{}, {"deed": "new"}, {"deed": "came", "part": "x", "count": "1"}, {"deed": "?"}]
    )
    def test_nonsense_is_refused_and_stays_typed(self, visitor: Visitor, fields: dict[str, str]) -> None:
        answer = visitor.post("/parts", fields | {"name": "  ", "unit": "set"})
        assert answer.status_code == 422


class TestSettings:
    def test_units_and_ground_are_kept_by_the_browser(self, visitor: Visitor) -> None:
        assert visitor.post("/settings", {"units": "inch", "ground": "slate"}).status_code == 303
        page = visitor.get("/settings")
        assert 'data-ground="slate"' in page.text
        assert 'value="inch" checked' in page.text
        visitor.post("/settings", {"units": "", "ground": HOSTILE})
        page = visitor.get("/settings")
        assert "data-ground" not in page.text
        assert 'name="units" value="" checked' in page.text

    def test_a_cookie_of_nonsense_is_as_none(self, visitor: Visitor) -> None:
        visitor.client.cookies.set("setwright_ground", '"><script>', domain="127.0.0.1")
        page = visitor.get("/settings")
        assert page.status_code == 200
        assert "data-ground" not in page.text


def test_edits_of_the_command_line_are_seen_at_once(visitor: Visitor, shop: str, visits: dict[str, str]) -> None:
    edit_visit(shop, visits["kestrel-float"], who="Bo", wish="From elsewhere")
    assert "From elsewhere" in words(visitor.get(f"/visit/{visits['kestrel-float']}"))
    assert Path(shop).exists()
