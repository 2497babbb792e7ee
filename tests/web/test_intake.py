"""Taking in through the page: good, bad and hostile."""

from __future__ import annotations

import html
import re

import pytest

from setwright.bench.day import day_of
from setwright.bench.shop import find_instruments, job_in, show_visit
from tests.web.visitor import Visitor, words

GOOD = {
    "what": "new:two-post knife edge", "owner": "Ada Lark", "contact": "0151 0", "wish": "Lower, and it shall float.",
    "unit": "mm", "instrument.name": "Whinchat", "instrument.scale": "25 1/2 in", "instrument.radius": "305",
    "found.strings": "10 13 17 26w 36w 46w", "found.bridge": "decked", "found.claw.treble": "12.5",
    "found.rear_gap": "0", "found.height.treble": "1.9", "found.height.bass": "2.2 mm", "found.relief": ".009 in",
    "want.bridge": "floating", "want.rear_gap": "2.6 ± 0.25",
}  # fmt: skip
HOSTILE = '"><script>alert(1)</script>#&\u202e' + "ä" * 250


def test_an_instrument_is_taken_in_with_what_was_typed(visitor: Visitor, shop: str) -> None:
    answer = visitor.post("/take-in", GOOD)
    assert answer.status_code == 303
    visit = answer.headers["location"].rpartition("/")[2]
    job, journal = job_in(shop, visit)
    assert (job.title, job.wish, len(journal.entries)) == ("Whinchat", GOOD["wish"], 0)
    assert job.instrument.given["instrument", "radius"][0].si == pytest.approx(0.305)
    assert job.found.string_height is not None
    # between the outer strings on a straight line: docs/file-formats.md
    heights = [one.si for one in job.found.string_height.amounts]
    assert heights == pytest.approx([1.9e-3 + i * 0.3e-3 / 5 for i in range(6)])
    assert job.found.claw_distance is not None
    assert [one.si for one in job.found.claw_distance] == pytest.approx([12.5e-3] * 2)
    assert job.want.rear_gap is not None
    assert (job.want.rear_gap.si, job.want.rear_gap.band) == pytest.approx((2.6e-3, 0.25e-3))
    shown = show_visit(shop, visit)
    assert shown.owner is not None
    assert (shown.owner.name, shown.owner.contact) == ("Ada Lark", "0151 0")
    assert "Whinchat is taken in." in words(visitor.get(answer.headers["location"]))
    assert "Whinchat is taken in." not in words(visitor.get(answer.headers["location"]))  # said once


@pytest.mark.parametrize(("typed", "handed"), [("", "right"), ("right", "right"), ("left", "left")])
def test_a_left_handed_instrument_is_said_at_the_counter(visitor: Visitor, shop: str, typed: str, handed: str) -> None:
    answer = visitor.post("/take-in", GOOD | {"instrument.handed": typed})
    assert answer.status_code == 303
    visit = answer.headers["location"].rpartition("/")[2]
    assert job_in(shop, visit)[0].instrument.handed == handed
    assert "left-handed" in words(visitor.get("/take-in"))


def test_bare_numbers_have_the_unit_of_the_form_and_typed_units_go_first(visitor: Visitor, shop: str) -> None:
    typed = GOOD | {
        "unit": "in",
        "instrument.radius": "12",
        "found.height.treble": "5/64",
        "found.claw.treble": "12.5 mm",
    }
    typed |= {"found.height.bass": ".080", "want.rear_gap": "2.6 mm"}
    visit = visitor.post("/take-in", typed).headers["location"].rpartition("/")[2]
    job, _ = job_in(shop, visit)
    assert job.found.string_height is not None
    assert [job.found.string_height.amounts[i].si for i in (0, -1)] == pytest.approx([5 / 64 * 0.0254, 0.08 * 0.0254])
    assert job.instrument.given["instrument", "radius"][0].si == pytest.approx(12 * 0.0254)


def test_everything_wrong_is_said_at_once_and_nothing_typed_is_lost(visitor: Visitor, shop: str) -> None:
    before = len(day_of(shop).visits)
    typed = GOOD | {"found.height.treble": "19", "instrument.scale": "65 mm", "found.relief": "small", "wish": HOSTILE}
    answer = visitor.post("/take-in", typed)
    assert answer.status_code == 422
    said = words(answer)
    assert "'19 mm' is outside what is possible" in said
    assert "'65 mm' is outside what is possible" in said
    assert "'small' is not a number with a unit" in said
    values = {name: html.unescape(value) for name, value in re.findall(r'name="([^"]+)" value="([^"]*)"', answer.text)}
    for key in ("instrument.name", "found.strings", "found.height.treble", "instrument.scale", "owner"):
        assert values[key] == typed[key]
    assert html.escape(HOSTILE, quote=False).replace('"', "&#34;") in answer.text
    assert "<script>alert" not in answer.text
    assert re.search(r'id="found\.height\.treble"[^>]*aria-invalid="true"', answer.text)
    assert len(day_of(shop).visits) == before


def test_an_unlikely_value_is_asked_about_and_taken_when_it_is_confirmed(visitor: Visitor) -> None:
    typed = GOOD | {"found.height.treble": "4.9", "found.height.bass": "5.0"}
    answer = visitor.post("/take-in", typed)
    assert answer.status_code == 422
    assert "possible but unlikely" in words(answer)
    assert 'name="sure" value="found.height.treble"' in answer.text
    one = visitor.post("/take-in", typed | {"sure": "found.height.treble"})
    assert 'value="found.height.treble" checked' in one.text  # what was confirmed stays so
    assert one.status_code == 422
    both = {"sure": ["found.height.treble", "found.height.bass"]}
    assert visitor.post("/take-in", typed | both).status_code == 303


def test_an_empty_form_says_what_is_needed(visitor: Visitor) -> None:
    answer = visitor.post("/take-in", {})
    said = words(answer)
    assert answer.status_code == 422
    for needed in ("Name in the shop is empty", "Scale length is empty", "Strings that are on is empty", "not chosen"):
        assert needed in said


def test_one_that_was_here_before_comes_again_and_one_like_it_is_another(visitor: Visitor, shop: str) -> None:
    kestrel = next(one for one in find_instruments(shop) if one.name == "Kestrel")
    page = visitor.get(f"/take-in?known={kestrel.id}")
    assert f'value="known:{kestrel.id}" selected' in page.text
    again = visitor.post("/take-in", {"what": f"known:{kestrel.id}", "found.strings": "9 11 16 24w 32w 42w"})
    shown = show_visit(shop, again.headers["location"].rpartition("/")[2])
    assert (shown.instrument.id, shown.visit.number) == (kestrel.id, 2)
    typed = {"what": f"like:{kestrel.id}", "instrument.name": 'Kestrel "two"', "found.strings": "9 11 16 24w 32w 42w"}
    other = show_visit(shop, visitor.post("/take-in", typed).headers["location"].rpartition("/")[2])
    assert other.instrument.id != kestrel.id
    assert other.instrument.name == 'Kestrel "two"'
    job, _ = job_in(shop, other.visit.id)
    assert job.instrument.given["neck", "pocket"][0].si == pytest.approx(0.076)  # as in kestrel.instrument.toml


def test_one_that_is_not_in_the_short_list_can_be_chosen_by_its_page(
    visitor: Visitor, shop: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("setwright.web.pages.intake.MOST", 0)
    dunlin = next(one for one in find_instruments(shop) if one.name == "Dunlin")
    page = visitor.get(f"/take-in?known={dunlin.id[-8:]}")
    assert f'value="known:{dunlin.id}" selected' in page.text
    assert 'value=".010 .013 .017 .026w .036w .046w"' in page.text  # as its last visit left it
    assert f'value="like:{dunlin.id}" selected' in visitor.get(f"/take-in?like={dunlin.id}").text
    assert 'value="known:' not in visitor.get("/take-in?known=zzzz").text


def test_the_same_typed_twice_is_two_instruments(visitor: Visitor, shop: str) -> None:
    both = [visitor.post("/take-in", GOOD).headers["location"].rpartition("/")[2] for _ in range(2)]
    assert len({show_visit(shop, one).instrument.id for one in both}) == 2


@pytest.mark.parametrize("what", ["known:zzzz", "like:", "known:../../etc", "new:nonsense", "new:", "x", "like:\x00"])
def test_what_is_no_instrument_is_refused_in_words(visitor: Visitor, what: str) -> None:
    answer = visitor.post("/take-in", GOOD | {"what": what})
    assert answer.status_code == 422
    assert 'class="wrong"' in answer.text
    assert visitor.get("/take-in?known=zzzz&like=%00").status_code == 200


@pytest.mark.parametrize(
    "text",
    ["\x00", "\ud800".encode("utf-8", "surrogatepass").decode("utf-8", "replace"), '"""', "\\", "]\n[job]", HOSTILE],
)
def test_text_of_people_is_data_in_every_box(visitor: Visitor, text: str) -> None:
    for key in GOOD:
        answer = visitor.post("/take-in", GOOD | {key: text})
        assert answer.status_code in (303, 422), key
        assert "<script>alert" not in answer.text
