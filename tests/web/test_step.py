"""The step at hand through its page: what it says, what goes into the journal, what comes next."""

from __future__ import annotations

import html
import re
from collections.abc import Callable, Sequence
from typing import Any

import pytest

from setwright.bench.at_hand import at_hand
from setwright.bench.journals import InShop, keep
from setwright.bench.shop import show_visit
from setwright.records.entries import live
from setwright.web.pages.step import HOW
from setwright.web.step_drawing import amount_of
from tests.web.visitor import Visitor, words

HARDWARE = (  # of dunlin-heavier: heavier strings, the plate floats already
    "did step protect", "did step slacken", "did step strings off", "did strings changed",
    "did saddle height string 1 down 5/8 turn", "did saddle height string 2 down 5/8 turn",
    "did saddle height string 3 down 1 turn", "did saddle height string 4 down 3/4 turn",
    "did saddle height string 5 down 3/4 turn", "did saddle height string 6 down 7/8 turn",
)  # fmt: skip
STRINGS = ("-20 c", "-10 c", "0 c", "5 c", "10 c", "20 c")


def kept(shop: str, visit: str, lines: Sequence[str]) -> None:
    for line in lines:
        keep(InShop(shop, visit), [line])


def heard(pitches: Sequence[str] = STRINGS, gap: str = "2.2 mm") -> list[str]:
    return [*(f"read pitch string {i + 1} = {one}" for i, one in enumerate(pitches)), f"read rear gap = {gap}"]


def written(answer: Any) -> dict[str, str]:
    """The hidden fields of the form of a step."""
    fields = re.findall(r'<input type="hidden" name="(do|written|group)" value="([^"]*)"', answer.text)
    return {name: html.unescape(value) for name, value in fields}


@pytest.fixture
def journal(shop: str) -> Callable[[str], list[str]]:
    """The live entries of a visit, as they were written."""
    return lambda visit: [f"{one.verb} {one.text}" for one in live(show_visit(shop, visit).journal.entries)]


@pytest.fixture
def kestrel(visits: dict[str, str]) -> str:
    return visits["kestrel-float"]


@pytest.fixture
def dunlin(visits: dict[str, str]) -> str:
    return visits["dunlin-heavier"]


class TestHardware:
    def test_one_step_is_shown_with_caution_and_what_follows(self, visitor: Visitor, kestrel: str, shop: str) -> None:
        kept(shop, kestrel, ["did step protect", "did step slacken", "did step unhook", "did step support neck",
                             "did step neck off", "did strip shim in .030 in", "did step neck on"])  # fmt: skip
        answer = visitor.get(f"/visit/{kestrel}/step")
        said = words(answer)
        for part in ("Step 8 of 10", "2 turns up", "both pivot screws", "Never turn a pivot under string or spring",
                     "At pitch, plate as it shall stand:", "height, string 1, fret 12: 1.04 → 1.62 ± 0.04 mm",
                     "Pivot height, treble side: 6.10 mm", "Written last: #7 did step neck on"):  # fmt: skip
            assert part in said, part
        assert answer.text.count("<circle") == 2  # two heads are drawn
        assert " style=" not in answer.text

    def test_a_step_without_a_picture_says_how_a_hand_goes_about_it(
        self, visitor: Visitor, kestrel: str, shop: str
    ) -> None:
        steps = ("protect", "slacken", "unhook", "support neck", "neck off")
        for key in steps:
            answer = visitor.get(f"/visit/{kestrel}/step")
            assert HOW[key] in words(answer)
            assert "<svg" not in answer.text
            kept(shop, kestrel, [f"did step {key}"])

    def test_done_as_shown_is_written_screw_by_screw(
        self, visitor: Visitor, dunlin: str, shop: str, journal: Callable[[str], list[str]]
    ) -> None:
        kept(shop, dunlin, HARDWARE[:4])
        page = f"/visit/{dunlin}/step"
        form = written(visitor.get(page))
        assert form == {"do": "did", "written": "4"}
        rows = {f"amount {i}": text for i, text in enumerate(("5/8 turn", "5/8 turn", "1 turn", "", "3/4", "7/8 turn"))}
        answer = visitor.post(page, form | rows | {"way 5": "up"})
        assert answer.status_code == 303
        assert journal(dunlin)[4:] == [
            "did saddle height string 1 down 5/8 turn", "did saddle height string 2 down 5/8 turn",
            "did saddle height string 3 down 1 turn", "did saddle height string 5 down 3/4 turn",
            "did saddle height string 6 up 7/8 turn",
        ]  # fmt: skip
        said = words(visitor.get(page))
        assert "string 4 3/4 turn down" in said  # left out
        assert "1 3/4 turns down" in said  # went the wrong way

    @pytest.mark.parametrize(
        ("before", "expected"),
        [
            ([], "did step protect"),
            (["did step protect", "did step slacken", "did step unhook", "did step support neck", "did step neck off"],
             "did strip shim in .030 in"),
            (["did strip shim in .030 in", "did step neck on"], "did pivot up 2 turns"),
            (["did strip shim in .030 in", "did step neck on", "did pivot up 2 turns"], "did springs 3"),
        ],
    )  # fmt: skip
    def test_each_kind_of_step_has_words_of_its_own(
        self, visitor: Visitor, kestrel: str, shop: str, before: list[str], expected: str,
        journal: Callable[[str], list[str]],
    ) -> None:  # fmt: skip
        kept(shop, kestrel, before)
        page = f"/visit/{kestrel}/step"
        shown = visitor.get(page)
        amount = re.search(r'name="amount 0" autocomplete="off" maxlength="40" value="([^"]*)"', shown.text)
        form = written(shown) | ({"amount 0": html.unescape(amount[1])} if amount else {})
        answer = visitor.post(page, form)
        if expected == "did springs 3" and answer.status_code == 303:
            assert journal(kestrel)[-1].startswith(("did springs", "did saddle"))
        else:
            assert journal(kestrel)[-1] == expected
        assert answer.headers["location"] == page

    def test_what_cannot_have_been_done_is_said(
        self, visitor: Visitor, dunlin: str, shop: str, journal: Callable[[str], list[str]]
    ) -> None:
        kept(shop, dunlin, HARDWARE[:4])
        page = f"/visit/{dunlin}/step"
        form = written(visitor.get(page))
        answer = visitor.post(page, form | {"amount 0": "99 turns"})
        assert answer.status_code == 422
        assert "not possible" in words(answer)
        answer = visitor.post(page, form | {"amount 0": "9 turns"})
        assert "possible but unlikely" in words(answer)
        assert 'name="sure 0"' in answer.text
        assert visitor.post(page, form | {"amount 0": "x"}).status_code == 422
        assert "Nothing of it was done" in words(visitor.post(page, form))
        assert len(journal(dunlin)) == 4
        assert visitor.post(page, form | {"amount 0": "9 turns", "sure 0": "1"}).status_code == 303

    def test_no_way_but_the_two_of_the_screw(
        self, visitor: Visitor, dunlin: str, shop: str, journal: Callable[[str], list[str]]
    ) -> None:
        kept(shop, dunlin, HARDWARE[:4])
        page = f"/visit/{dunlin}/step"
        visitor.post(page, written(visitor.get(page)) | {"amount 0": "1/8 turn", "way 0": "sideways; did springs 2"})
        assert journal(dunlin)[-1] == "did saddle height string 1 down 1/8 turn"

    def test_without_a_plan_there_is_no_step(self, visitor: Visitor, visits: dict[str, str]) -> None:
        answer = visitor.get(f"/visit/{visits['knot-too-weak']}/step")
        assert answer.status_code == 422
        assert "No step leads there" in words(answer)
        assert "springs" in words(answer)


class TestTwoBenches:
    def test_sent_twice_is_done_once(self, visitor: Visitor, dunlin: str, journal: Callable[[str], list[str]]) -> None:
        page = f"/visit/{dunlin}/step"
        form = written(visitor.get(page))
        assert visitor.post(page, form).status_code == 303
        again = visitor.post(page, form)
        assert again.status_code == 409
        assert "written to since this page was loaded" in words(again)
        assert "Slacken all strings" in words(again)  # the step as it is now
        assert journal(dunlin) == ["did step protect"]

    def test_what_was_typed_is_not_lost(self, visitor: Visitor, dunlin: str, shop: str) -> None:
        kept(shop, dunlin, HARDWARE)
        page = f"/visit/{dunlin}/step"
        form = written(visitor.get(page)) | {"v pitch string 1": "-3.25"}
        kept(shop, dunlin, ["note somebody else was here"])
        answer = visitor.post(page, form)
        assert answer.status_code == 409
        assert "Typed here, and not kept: -3.25." in words(answer)

    @pytest.mark.parametrize("seen", ["", "x", "-1", "1e3", "9" * 30])
    def test_a_page_that_does_not_say_what_it_showed_is_refused(self, visitor: Visitor, dunlin: str, seen: str) -> None:
        assert visitor.post(f"/visit/{dunlin}/step", {"do": "did", "written": seen}).status_code == 422

    def test_the_step_before_is_taken_back(
        self, visitor: Visitor, dunlin: str, journal: Callable[[str], list[str]]
    ) -> None:
        page = f"/visit/{dunlin}/step"
        visitor.post(page, written(visitor.get(page)))
        again = re.search(r'action="([^"]+/strike/1\?to=step)"', visitor.get(page).text)
        assert again
        assert visitor.post(again[1]).headers["location"] == page
        assert journal(dunlin) == []
        assert "Protect the finish" in words(visitor.get(page))


class TestBalance:
    def test_the_way_is_chosen_while_either_may_be_taken(
        self, visitor: Visitor, dunlin: str, shop: str, journal: Callable[[str], list[str]]
    ) -> None:
        kept(shop, dunlin, [*HARDWARE, *heard()])
        page = f"/visit/{dunlin}/step"
        answer = visitor.get(page)
        assert "Chosen for fewest claw settings: about" in words(answer)
        assert '<button class="quiet" name="fewest" value="minutes">' in answer.text
        version = re.findall(r'name="version" value="(\d+)"', answer.text)[-1]
        way = f"/visit/{dunlin}/way"
        wrong = visitor.post(way, {"version": version, "fewest": "tears"})
        assert wrong.status_code == 422
        assert "The way may have fewest claw settings or fewest minutes; it was asked for fewest tears." in words(wrong)
        assert visitor.post(way, {"version": version, "fewest": "minutes"}).status_code == 303
        assert "Chosen for fewest minutes: about" in words(visitor.get(page))
        assert visitor.post(way, {"version": version, "fewest": "claw settings"}).status_code == 409
        assert journal(dunlin)[-1] == "read rear gap = 2.2 mm"  # which stands
        kept(shop, dunlin, ["did claw out 1/32 turn"])
        assert 'name="fewest"' not in visitor.get(page).text

    def test_every_string_is_heard_first(
        self, visitor: Visitor, dunlin: str, shop: str, journal: Callable[[str], list[str]]
    ) -> None:
        kept(shop, dunlin, HARDWARE)
        page = f"/visit/{dunlin}/step"
        shown = visitor.get(page)
        assert "Hear every string" in words(shown)
        assert "and read the rear gap and the claw distance" in words(shown)
        assert "Nothing can be worked out before every string has been heard" in words(shown)
        form = written(shown)
        assert form["do"] == "read"
        rows = {f"v pitch string {i + 1}": one.removesuffix(" c") for i, one in enumerate(STRINGS)}
        answer = visitor.post(page, form | rows | {"v rear gap": "2.2", "v claw distance bass": "16.5"})
        assert answer.status_code == 303
        assert journal(dunlin)[10:12] == ["read pitch string 1 = -20 c", "read pitch string 2 = -10 c"]
        assert journal(dunlin)[-2:] == ["read rear gap = 2.2 mm", "read claw distance bass = 16.5 mm"]

    def test_readings_that_cannot_be_are_said(
        self, visitor: Visitor, dunlin: str, shop: str, journal: Callable[[str], list[str]]
    ) -> None:
        kept(shop, dunlin, HARDWARE)
        page = f"/visit/{dunlin}/step"
        form = written(visitor.get(page))
        answer = visitor.post(page, form | {"v pitch string 1": "-900", "v pitch string 2": "3"})
        assert answer.status_code == 422
        assert "unlikely" in words(answer)
        assert 'value="-900"' in answer.text
        assert "Nothing is typed" in words(visitor.post(page, form))
        assert len(journal(dunlin)) == len(HARDWARE)

    def test_a_claw_setting_tells_what_it_will_do(
        self, visitor: Visitor, dunlin: str, shop: str, journal: Callable[[str], list[str]]
    ) -> None:
        kept(shop, dunlin, [*HARDWARE, *heard(), *heard(), *heard(gap="2.25 mm")])
        found = at_hand(InShop(shop, dunlin))
        assert found.next.advice is not None
        assert found.next.advice.do == "claw"
        answer = visitor.get(f"/visit/{dunlin}/step")
        said = words(answer)
        for part in ("Turn both claw screws", "both claw screws", "as far as is known now", "now after string 1",
                     "Turn both screws alike", "Hear every string, then read the rear gap"):  # fmt: skip
            assert part in said, part
        assert found.foretold is not None
        assert f"{found.foretold.gap * 1e3:.1f}" in said
        page = f"/visit/{dunlin}/step"
        visitor.post(page, written(answer) | {"amount 0": "1/8 turn", "way 0": "in"})
        assert journal(dunlin)[-1] == "did claw in 1/8 turn"

    def test_a_string_to_be_tuned_is_drawn_leaning(
        self, visitor: Visitor, dunlin: str, shop: str, journal: Callable[[str], list[str]]
    ) -> None:
        kept(shop, dunlin, [*HARDWARE, *heard(), *heard(), *heard(), "did claw out 1/32 turn", *heard(gap="2.4 mm")])
        kept(shop, dunlin, [*heard(("1 c",) * 5 + ("9 c",), gap="2.4 mm")] * 2)
        kept(shop, dunlin, ["did claw in 1/32 turn", *heard(("1 c",) * 5 + ("9 c",), gap="2.4 mm") * 2])
        found = at_hand(InShop(shop, dunlin))
        page = f"/visit/{dunlin}/step"
        answer = visitor.get(page)
        assert found.peg is not None, found.next.advice
        peg = found.peg
        assert re.search(rf'id="pitch" data-string="{peg.string + 1}" data-own="[\d.]+" data-to="{peg.to:.3f}"',
                         answer.text)  # fmt: skip
        assert 'class="lean"' in answer.text
        assert f"String {peg.string + 1} " in words(answer)
        assert "button geared 15 : 1" in words(answer)
        assert "Believed to sound" in words(answer)
        amount = found.deeds[0].value
        visitor.post(page, written(answer) | {"amount 0": f"{amount:.2f} Hz", "heard 0": f"{amount:.2f}"})
        assert journal(dunlin)[-1] == f"did tune string {peg.string + 1} to {amount:.2f} Hz, heard {amount:.2f} Hz"

    @pytest.mark.slow
    def test_whoever_follows_the_page_is_done_in_the_end(self, visitor: Visitor, dunlin: str, shop: str) -> None:
        kept(shop, dunlin, HARDWARE)
        page = f"/visit/{dunlin}/step"
        for _ in range(60):
            answer = visitor.get(page)
            found = at_hand(InShop(shop, dunlin))
            assert found.next.advice is not None
            if found.next.kind == "done":
                break
            stands = found.next.standing
            form = written(answer)
            if form["do"] == "read":
                for string in found.next.advice.strings:
                    off = -20.0 + 5.0 * string if stands is None else stands.cents[string]
                    form[f"v pitch string {string + 1}"] = f"{off:.2f}"
                if found.next.gauges:
                    form["v rear gap"] = "2.3" if stands is None else f"{1e3 * stands.gap:.2f}"
            else:
                value = found.deeds[0].value
                assert value is not None
                form["amount 0"] = f"{value:.2f}" if found.deeds[0].kind == "hertz" else amount_of(found.deeds[0], "mm")
            assert visitor.post(page, form).status_code == 303
        said = words(answer)
        assert "Done Gap and every pitch are inside. Strings tuned so far:" in said
        assert re.search(r"all inside (over )?9\d in 100", said)
        assert "Read it as left" in said
        assert 'class="huge rest' in answer.text
        for i in range(1, 7):
            assert re.search(rf"string {i} [+−]?[01]\.\d ± [0-2]\.\d c", said), i

    def test_the_gap_alone_is_asked_for_where_every_string_was_heard(
        self, visitor: Visitor, dunlin: str, shop: str, journal: Callable[[str], list[str]]
    ) -> None:
        kept(shop, dunlin, [*HARDWARE, *heard()])
        page = f"/visit/{dunlin}/step"
        answer = visitor.get(page)
        assert re.search(r"<h1[^>]*>Read the rear gap</h1>", answer.text)
        assert "and the claw distance" in words(answer)  # which was not read since the work began
        asked, _, offered = answer.text.partition('id="offered"')
        assert re.findall(r'data-words="([^"]*)"', asked) == [
            "rear gap", "claw distance treble", "claw distance bass"
        ]  # fmt: skip
        assert re.findall(r'data-words="([^"]*)"', offered) == [f"pitch string {i}" for i in range(1, 7)]
        assert "string 6, D2" in words(answer)
        assert visitor.post(page, written(answer) | {"v rear gap": "2.2"}).status_code == 303
        assert journal(dunlin)[-1] == "read rear gap = 2.2 mm"
        answer = visitor.get(page)
        assert "Read the rear gap" in words(answer)  # a third time
        bad = visitor.post(page, written(answer) | {"v pitch string 2": "x"})  # one that is only offered
        assert bad.status_code == 422
        assert 'id="offered" open' in bad.text
        assert visitor.post(page, written(answer) | {"v rear gap": "2.2", "v pitch string 2": "-10"}).status_code == 303
        assert journal(dunlin)[-2:] == ["read rear gap = 2.2 mm", "read pitch string 2 = -10 c"]
        assert "Turn both claw screws" in words(visitor.get(page))

    def test_strings_alone_on_an_instrument_without_an_arm(
        self, visitor: Visitor, shop: str, visits: dict[str, str], journal: Callable[[str], list[str]]
    ) -> None:
        visit = visits["sanderling-lower"]
        kept(shop, visit, ["did step protect", "did step slacken", "did step saddles", "did step lengths"])
        page = f"/visit/{visit}/step"
        answer = visitor.get(page)
        assert "String 8 to " in words(answer)
        assert "It has not been heard since" in words(answer)
        amount = re.search(r'name="amount 0" autocomplete="off" maxlength="40" value="([^"]*)"', answer.text)
        assert amount
        assert visitor.post(page, written(answer) | {"amount 0": amount[1]}).status_code == 303
        assert journal(visit)[-1] == f"did tune string 8 to {amount[1]}"
        assert "String 7 to " in words(visitor.get(page))

    def test_a_deeper_number_of_the_wrong_kind_is_said(self, visitor: Visitor, dunlin: str, shop: str) -> None:
        kept(shop, dunlin, [*HARDWARE, *heard(), *heard(), *heard(gap="2.25 mm")])
        page = f"/visit/{dunlin}/step"
        answer = visitor.post(page, written(visitor.get(page)) | {"amount 0": "2.6 mm"})
        assert answer.status_code == 422


def test_names_of_people_and_notes_are_data(visitor: Visitor, dunlin: str, shop: str) -> None:
    kept(shop, dunlin, ['note "><script>alert(1)</script>{{7*7}}'])
    text = visitor.get(f"/visit/{dunlin}/step").text
    assert "<script>alert" not in text
    assert "{{7*7}}" in text


def test_no_visit_no_step(visitor: Visitor) -> None:
    assert visitor.get("/visit/zzzzzzzzz/step").status_code == 404
    assert visitor.post("/visit/zzzzzzzzz/step", {"written": "0"}).status_code == 404
