"""The set-up sheet through its pages."""

from __future__ import annotations

import html
import io
import re
import time
from typing import Any

import pytest
from pypdf import PdfReader

from setwright.bench.attachments import attachment_in, attachments_of
from setwright.bench.handed import mark_of_data
from setwright.bench.journals import InShop, keep
from setwright.bench.paper import Desk, sheet_of_job
from setwright.bench.shop import show_visit
from setwright.sheets.sheet import render
from tests.web.visitor import Visitor, words

HOSTILE = '"><script>alert(1)</script><img src=x onerror=alert(1)>#&{{7*7}}'
MARK = re.compile(r'name="mark" value="([0-9a-f]{64})"')


@pytest.fixture
def path(visits: dict[str, str]) -> str:
    return f"/visit/{visits['dunlin-heavier']}/sheet"


@pytest.fixture
def source(shop: str, visits: dict[str, str]) -> InShop:
    return InShop(shop, visits["dunlin-heavier"])


def mark(answer: Any) -> str:
    found = MARK.search(answer.text)
    assert found is not None
    return found[1]


class TestPreview:
    @pytest.mark.slow
    def test_drawings_are_made_beside_the_page_which_says_so_until_they_are_there(
        self, visitor: Visitor, path: str
    ) -> None:
        first = visitor.get(path, params={"drawn": "1", "case": "C 17"})
        assert "The drawings are being made" in words(first)
        assert 'data-reload="soon"' in first.text
        assert '<meta http-equiv="refresh"' in first.text  # with scripts off
        assert html.escape(f"{path}?drawn=1&case=C+17") in first.text  # a way back to the same sheet
        assert f'href="{path}"' in first.text  # and one to the sheet without them
        for _ in range(600):
            answer = visitor.get(path, params={"drawn": "1", "case": "C 17"})
            if "are being made" not in answer.text:
                break
            time.sleep(0.1)
        assert "checked> Drawings to scale" in answer.text
        assert "C 17" in words(answer)
        assert visitor.get(path, params={"drawn": "1", "case": "x" * 400}).status_code == 422

    def test_the_page_says_what_the_paper_says(self, visitor: Visitor, path: str, source: InShop) -> None:
        keep(source, ["read", "string", "height", "string", "1", "at", "fret", "12", "=", "1.6", "mm"], who="Mara")
        keep(source, ["note", "recommend: a new nut, the slots are worn"], who="Mara")
        data, said = sheet_of_job(source), words(visitor.get(path))
        for part in (data.short, data.instrument, data.strings, data.tuning, "A new nut, the slots are worn.", "Mara"):
            assert part in said, part
        for group in data.groups:
            for row in group.rows:
                assert " ".join(row.left.split()) in said, row
        assert data.measures
        assert all(one.now in said and one.before in said for one in data.measures)

    def test_what_the_desk_adds_comes_on_it(self, visitor: Visitor, path: str) -> None:
        answer = visitor.get(path, params={"case": "C 17", "recheck": "2027-02-25", "owner": "Finn", "paper": "letter"})
        said = words(answer)
        assert "C 17" in said
        assert "Finn" in said
        assert "2027-02-25" in said
        assert html.escape("all.pdf?owner=Finn&case=C+17&recheck=2027-02-25&paper=letter") in answer.text

    @pytest.mark.slow
    def test_drawings_come_behind_the_shops_page(self, visitor: Visitor, path: str) -> None:
        bare, drawn = (visitor.get(f"{path}/shop.pdf", params=ask) for ask in ({}, {"drawn": "1"}))
        count = [len(PdfReader(io.BytesIO(one.content)).pages) for one in (bare, drawn)]
        assert count[0] == 1
        assert count[1] >= 5
        assert "checked> Drawings to scale" in visitor.get(path, params={"drawn": "1"}).text

    def test_units_are_the_readers(self, visitor: Visitor, path: str) -> None:
        visitor.post("/settings", {"units": "mm"})
        assert " mm" in words(visitor.get(path))
        visitor.post("/settings", {"units": "inch"})
        assert re.search(r"\d in\b", words(visitor.get(path)))

    def test_names_are_data(self, visitor: Visitor, path: str) -> None:
        answer = visitor.get(path, params={"case": HOSTILE, "owner": "Ä" * 300})
        assert answer.status_code == 200
        assert "<script>alert" not in answer.text
        assert "<img src=x" not in answer.text
        assert HOSTILE in words(answer) or html.escape(HOSTILE, quote=True) in answer.text

    @pytest.mark.parametrize(
        ("field", "text", "said"),
        [
            ("recheck", "soon", "is no day; write it as"), ("owner", "x" * 301, "up to 300 fit"),
            ("case", "a\x00b", "cannot be printed"), ("address", "\n".join("abcdefg"), "up to 6 fit"),
            ("link", "a\nb", "cannot be printed"),
        ],
    )  # fmt: skip
    def test_what_does_not_fit_is_said(self, visitor: Visitor, path: str, field: str, text: str, said: str) -> None:
        answer = visitor.get(path, params={field: text, "case" if field != "case" else "owner": "stays"})
        assert answer.status_code == 422
        assert said in words(answer)
        assert 'value="stays"' in answer.text
        assert visitor.get(f"{path}/all.pdf", params={field: text}).status_code == 422

    def test_it_is_light(self, visitor: Visitor, path: str) -> None:
        import gzip

        assert len(gzip.compress(visitor.get(path).content)) < 20_000


class TestPaper:
    @pytest.mark.parametrize(("kind", "parts"), [("owner", ("owner",)), ("tag", ("tag",)), ("all", None)])
    def test_the_document_is_that_of_the_command(
        self, visitor: Visitor, path: str, source: InShop, kind: str, parts: Any
    ) -> None:
        answer = visitor.get(f"{path}/{kind}.pdf?case=C17&paper=letter")
        assert answer.headers["content-type"] == "application/pdf"
        assert answer.headers["content-disposition"].startswith("inline")
        data = sheet_of_job(source, desk=Desk(case="C17"))
        assert answer.content == (render(data, "letter", parts) if parts else render(data, "letter"))

    def test_it_is_saved_where_that_is_asked(self, visitor: Visitor, path: str) -> None:
        answer = visitor.get(f"{path}/tag.pdf?save=1")
        assert answer.headers["content-disposition"] == 'attachment; filename="visit-1-tag.sheet.pdf"'

    @pytest.mark.parametrize("kind", ["x", "..", "owner,shop", "%00"])
    def test_there_are_no_other_parts(self, visitor: Visitor, path: str, kind: str) -> None:
        assert visitor.get(f"{path}/{kind}.pdf").status_code == 404

    def test_names_of_other_scripts_are_printed(self, visitor: Visitor, path: str) -> None:
        answer = visitor.get(f"{path}/tag.pdf", params={"owner": HOSTILE + "Ж鳥\U0001f3b8", "case": "#[*_$"})
        assert answer.content.startswith(b"%PDF")


class TestHandingOver:
    def test_it_is_noted_and_its_document_kept(self, visitor: Visitor, path: str, source: InShop) -> None:
        seen = mark(visitor.get(f"{path}?case=C17"))
        printed = visitor.get(f"{path}/owner.pdf?case=C17").content
        assert visitor.post(path, {"kind": "owner", "case": "C17", "mark": seen}).status_code == 303
        shown = show_visit(source.shop, source.visit)
        assert [(one.kind, one.who) for one in shown.sheets] == [("owner", "Mara")]
        (kept,) = attachments_of(source.shop, source.visit)
        assert attachment_in(source.shop, kept.id)[1] == printed
        page = visitor.get(path)
        assert "Owner's page, handed over" in words(page)
        assert f"/file/{kept.id}" in page.text
        assert "handed over; the PDF is kept" in words(page)

    def test_all_three_are_three_rows_of_one_document(self, visitor: Visitor, path: str, source: InShop) -> None:
        assert visitor.post(path, {"kind": "all", "mark": mark(visitor.get(path))}).status_code == 303
        shown = show_visit(source.shop, source.visit)
        assert [one.kind for one in shown.sheets] == ["owner", "shop", "tag"]
        assert len({one.sha256 for one in shown.sheets}) == len(shown.attachments) == 1

    def test_what_was_not_seen_is_not_handed_over(self, visitor: Visitor, path: str, source: InShop) -> None:
        seen = mark(visitor.get(path))
        keep(source, ["note", "care: keep it dry"], who="Ben")
        answer = visitor.post(path, {"kind": "all", "case": "C9", "mark": seen})
        assert answer.status_code == 409
        assert "look at it again" in words(answer)
        assert 'value="C9"' in answer.text
        assert visitor.post(path, {"kind": "all"}).status_code == 409
        assert show_visit(source.shop, source.visit).sheets == ()

    @pytest.mark.parametrize("kind", ["", "x", "owner ", HOSTILE])
    def test_only_a_part_there_is(self, visitor: Visitor, path: str, source: InShop, kind: str) -> None:
        answer = visitor.post(path, {"kind": kind, "mark": mark(visitor.get(path))})
        assert answer.status_code == (303 if kind == "owner " else 422)
        assert len(show_visit(source.shop, source.visit).sheets) == (kind == "owner ")

    def test_without_the_token_nothing_is_noted(self, visitor: Visitor, path: str, source: InShop) -> None:
        seen = mark(visitor.get(path))
        assert visitor.post(path, {"kind": "all", "mark": seen, "token": "x"}).status_code == 403
        assert show_visit(source.shop, source.visit).sheets == ()


def test_the_mark_follows_what_goes_on_paper(source: InShop) -> None:
    one = mark_of_data(sheet_of_job(source, plan=False))
    assert one == mark_of_data(sheet_of_job(source, plan=False))
    assert one != mark_of_data(sheet_of_job(source, desk=Desk(case="1"), plan=False))


def test_every_job_has_a_sheet(visitor: Visitor, visits: dict[str, str]) -> None:
    for visit in visits.values():
        assert visitor.get(f"/visit/{visit}/sheet").status_code == 200
        assert visitor.get(f"/visit/{visit}/sheet/all.pdf").content.startswith(b"%PDF")
