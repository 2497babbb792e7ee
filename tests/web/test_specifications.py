"""House specifications through their pages."""

from __future__ import annotations

import html
import re

import pytest

from setwright.bench.history import capability
from setwright.bench.house import show_specification, specifications_of, specify, text_of
from setwright.bench.shop import show_visit
from setwright.errors import StaleEditError
from tests.web.visitor import Visitor, words

HOSTILE = '"><script>alert(1)</script><img src=x onerror=alert(1)>#&{{7*7}}'
LINES = "rear gap = 2.6 mm ± 0.25 mm\r\noctave error string 1 = at most 2 c, source: what most ears let pass\r\n"


def made(visitor: Visitor, name: str = "house", text: str = LINES, note: str = "") -> str:
    answer = visitor.post("/specifications", {"name": name, "text": text, "note": note})
    assert answer.status_code == 303, words(answer)
    return str(answer.headers["location"])


class TestList:
    def test_where_there_is_none_it_says_what_it_is(self, visitor: Visitor) -> None:
        said = words(visitor.get("/specifications"))
        assert "There is none yet" in said
        assert "string height every string at fret 12" in said

    def test_the_example_can_be_kept_as_it_stands(self, visitor: Visitor, shop: str) -> None:
        found = re.search(r"<pre[^>]*>(.*?)</pre>", visitor.get("/specifications").text, re.DOTALL)
        assert found is not None
        made(visitor, text=html.unescape(found[1]))
        assert len(show_specification(shop, "house").items) == 5

    def test_a_new_one_is_kept_and_listed(self, visitor: Visitor, shop: str) -> None:
        path = made(visitor, note="to begin with")
        one = show_specification(shop, "house")
        assert path == f"/specification/{one.id}"
        assert (one.number, one.who, one.note, len(one.items)) == (1, "Mara", "to begin with", 2)
        said = words(visitor.get("/specifications"))
        assert "version 1, 2 things" in said
        assert "to begin with" in said
        shown = words(visitor.get(path))
        for part in ("rear gap 2.6 mm ± 0.25 mm the shop's own", "at most 2 c what most ears let pass", "by Mara"):
            assert part in shown, part
        visitor.client.cookies.set("setwright_units", "inch")
        shown = words(visitor.get(path))
        assert "rear gap 2.6 mm ± 0.25 mm .093 in to .112 in the shop's own" in shown  # 2.35 and 2.85 mm
        assert "at most 2 c what most ears let pass" in shown

    @pytest.mark.parametrize(
        ("name", "text", "said"),
        [
            ("", LINES, "is empty"), ("x", "", "Nothing is specified"), ("x", "rear gap", "Line 1:"),
            ("x", "rear gap = 2.6 mm ± 0.25 mm\nrelief = soft", "Line 2:"), ("x" * 1001, LINES, "on one line"),
            ("x", "rear gap = 3 mm to 2 mm", "does not rise"), ("x", "rear gap = 2.6 mm ± 0.25 mm\n" * 1001, "1000"),
        ],
    )  # fmt: skip
    def test_what_cannot_be_kept_is_said_and_stays(
        self, visitor: Visitor, shop: str, name: str, text: str, said: str
    ) -> None:
        answer = visitor.post("/specifications", {"name": name, "text": text, "note": "why so"})
        assert answer.status_code == 422
        assert said in words(answer)
        assert 'value="why so"' in answer.text
        assert html.escape(text.strip())[:40] in answer.text
        assert specifications_of(shop) == ()

    def test_a_name_there_is_already_begins_no_second_one(self, visitor: Visitor, shop: str) -> None:
        made(visitor)
        answer = visitor.post("/specifications", {"name": "house", "text": LINES})
        assert answer.status_code == 409
        assert "There is a specification of that name already" in words(answer)
        assert len(specifications_of(shop)) == 1

    def test_names_are_data(self, visitor: Visitor) -> None:
        text = f"rear gap = 2.6 mm ± 0.25 mm, source: {HOSTILE}"
        for answer in (visitor.get(made(visitor, HOSTILE, text, HOSTILE)), visitor.get("/specifications")):
            assert answer.status_code == 200
            assert "<script>alert" not in answer.text
            assert "<img src=x" not in answer.text
            assert "{{7*7}}" in html.unescape(answer.text)


class TestVersions:
    def test_the_next_begins_with_what_there_is_and_alters_nothing(self, visitor: Visitor, shop: str) -> None:
        path = made(visitor)
        first = show_specification(shop, "house")
        page = visitor.get(path)
        assert html.escape(text_of(first.items), quote=False) in html.unescape(page.text)
        assert "becomes version 2" in words(page)
        answer = visitor.post(path, {"text": "rear gap = 2.4 mm ± 0.2 mm", "note": "lower"})
        assert answer.status_code == 303
        assert show_specification(shop, first.id) == first
        second = show_specification(shop, "house")
        assert (second.number, second.note, second.items[0].written) == (2, "lower", "2.4 mm ± 0.2 mm")
        assert "version 2" in words(visitor.get(answer.headers["location"]))
        older = words(visitor.get(path))
        assert "This is an older version" in older
        assert "2.6 mm ± 0.25 mm" in older
        assert "Next version" not in older
        assert "before it: version 1" in words(visitor.get("/specifications"))

    def test_from_an_older_one_none_is_made(self, visitor: Visitor, shop: str) -> None:
        path = made(visitor)
        specify(shop, "house", "rear gap = 2.4 mm ± 0.2 mm")
        answer = visitor.post(path, {"text": "rear gap = 2.2 mm ± 0.2 mm"})
        assert answer.status_code == 409
        assert "Version 2 has come already" in words(answer)
        assert "rear gap = 2.2 mm ± 0.2 mm" in answer.text
        assert len(specifications_of(shop)) == 2

    def test_what_cannot_be_kept_is_said(self, visitor: Visitor, shop: str) -> None:
        path = made(visitor)
        answer = visitor.post(path, {"text": "rear gap = 9", "note": "why so"})
        assert answer.status_code == 422
        assert "rear gap = 9" in answer.text
        assert 'value="why so"' in answer.text
        assert len(specifications_of(shop)) == 1

    @pytest.mark.parametrize("id", ["zzzz", "x", "%00", "a" * 300])
    def test_what_is_not_there_is_said(self, visitor: Visitor, id: str) -> None:
        assert visitor.get(f"/specification/{id}").status_code == 404
        assert visitor.post(f"/specification/{id}", {"text": LINES}).status_code == 404
        assert visitor.post(f"/specification/{id}/visit", {"visit": "x 1"}).status_code == 404


class TestVisits:
    def test_an_open_visit_is_held_to_it_and_to_none(self, visitor: Visitor, shop: str, visits: dict[str, str]) -> None:
        path, id = made(visitor), visits["dunlin-heavier"]
        one = show_specification(shop, "house")
        assert f'value="{id} 1"' in visitor.get(path).text
        assert visitor.post(f"{path}/visit", {"visit": f"{id} 1", "deed": "this"}).status_code == 303
        assert show_visit(shop, id).visit.specification == one.id
        assert "is held to house, version 1" in words(visitor.get(path))
        assert visitor.post(f"{path}/visit", {"visit": f"{id} 2", "deed": "none"}).status_code == 303
        assert show_visit(shop, id).visit.specification is None
        assert capability(shop, "house")[0] == one

    @pytest.mark.parametrize("chosen", ["", "x", "x 1", "{id}", "{id} x", "{id} 999999999999", HOSTILE])
    def test_no_visit_no_deed(self, visitor: Visitor, visits: dict[str, str], shop: str, chosen: str) -> None:
        path, id = made(visitor), visits["dunlin-heavier"]
        answer = visitor.post(f"{path}/visit", {"visit": chosen.replace("{id}", id)})
        assert answer.status_code == 422
        assert show_visit(shop, id).visit.specification is None

    def test_one_that_changed_meanwhile_is_left(self, visitor: Visitor, visits: dict[str, str], shop: str) -> None:
        path, id = made(visitor), visits["dunlin-heavier"]
        second = visitor.post("/specifications", {"name": "other", "text": LINES}).headers["location"]
        assert visitor.post(f"{path}/visit", {"visit": f"{id} 1"}).status_code == 303
        answer = visitor.post(f"{second}/visit", {"visit": f"{id} 1"})
        assert answer.status_code == 409
        assert show_visit(shop, id).visit.specification == show_specification(shop, "house").id


def test_the_bench_keeps_no_version_made_from_an_older_one(shop: str) -> None:
    assert specify(shop, "house", LINES, after=0).number == 1
    with pytest.raises(StaleEditError, match="already; look at it"):
        specify(shop, "house", LINES, after=0)
    assert specify(shop, "house", LINES, after=1).number == 2
    assert len(specifications_of(shop)) == 2
