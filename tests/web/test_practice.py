"""The practice instrument through its pages."""

from __future__ import annotations

import html
import math
import re
import time
from collections.abc import Callable
from typing import Any

import pytest

from setwright.bench import practising
from setwright.bench.shop import check_shop
from setwright.cli.words import note
from setwright.planning.guide import Advice
from setwright.web.pages import practice
from setwright.web.pages.practice import _todo
from tests.web.visitor import Visitor, words

HOSTILE = '"><script>alert(1)</script><img src=x onerror=alert(1)>#&{{7*7}}'
COUNT = re.compile(r'name="count" value="(\d+)"')


def begun(visitor: Visitor, seed: int = 7) -> str:
    visitor.get("/practice")  # which tells what was said before
    answer = visitor.post("/practice", {"seed": str(seed)})
    assert answer.status_code == 303, words(answer)
    return str(answer.headers["location"])


def do(visitor: Visitor, path: str, said: str = "") -> Any:
    found = COUNT.search(visitor.get(path).text)
    return visitor.post(path, {"words": said, "count": found[1] if found else "0"})


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """The advice alone comes to no end at once."""

    def none(seed: int) -> None:
        raise practising.InputError("not now")

    monkeypatch.setattr(practice, "alone", none)


class TestBegin:
    def test_it_says_what_it_is_for_whoever_comes_first(self, visitor: Visitor) -> None:
        said = words(visitor.get("/practice"))
        assert "A floating bridge that is out" in said
        assert "about thirty steps, five minutes" in said.lower()

    def test_a_seed_gives_the_same_instrument_and_advice_as_the_command(self, visitor: Visitor) -> None:
        first, again = (visitor.get(begun(visitor, 7)) for _ in range(2))
        assert words(first) == words(again)
        lesson = practising.begin(7)
        heard = lesson.on.take()[0]
        assert f"{heard.answer:.2f} Hz" in words(first) or f"{heard.answer:.1f} Hz" in words(first)
        advice, _ = practising.advised(lesson)
        assert advice is not None
        assert advice.do == "wedge"
        assert "Put the wedge under the rear edge" in words(first)

    def test_without_a_seed_one_is_drawn(self, visitor: Visitor) -> None:
        drawn = {words(visitor.get(visitor.post("/practice").headers["location"]))[:400] for _ in range(2)}
        assert len(drawn) == 2

    @pytest.mark.parametrize("seed", ["-1", "x", "1.5", "999999999", "٣", HOSTILE])
    def test_what_is_no_seed_is_said_and_stays(self, visitor: Visitor, seed: str) -> None:
        answer = visitor.post("/practice", {"seed": seed})
        assert answer.status_code == 422
        assert "is no seed; give a whole number" in words(answer)
        assert f'value="{html.escape(seed)}"'.replace("&#x27;", "&#39;").replace("&quot;", "&#34;") in answer.text
        assert "<script>alert" not in answer.text

    def test_one_that_was_put_away_is_said(self, visitor: Visitor) -> None:
        answer = visitor.get("/practice/x")
        assert answer.status_code == 404
        assert "was put away" in words(answer)
        assert visitor.post("/practice/x", {"words": "gap"}).status_code == 404

    def test_only_so_many_stay_on_the_bench(self, visitor: Visitor, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(practice, "MOST", 2)
        paths = [begun(visitor, 7) for _ in range(3)]
        assert [visitor.get(path).status_code for path in paths] == [404, 200, 200]


class TestWork:
    def test_what_is_advised_is_done(self, visitor: Visitor) -> None:
        path = begun(visitor)
        assert do(visitor, path).status_code == 303
        said = words(visitor.get(path))
        assert re.search(r"Tune string \d to [A-G]#?\d( [+−]\d+ c)? \d+\.\d\d Hz( \(|, its own)", said)
        assert said.count("Put the wedge under the rear edge") == 1  # among what was done

    def test_what_the_hand_does_is_drawn_and_what_was_heard_stands_in_a_table(self, visitor: Visitor) -> None:
        path = begun(visitor)
        answer = visitor.get(path)
        assert "rear gap" in answer.text.partition("<figure")[2].partition("</figure>")[0]  # the wedge
        rows = re.findall(r'<th scope="row">string (\d), ([^<]+)</th><td class="number">([^<]+) c</td>', answer.text)
        lesson = practising.begin(7)
        wanted, heard = lesson.job.goal.hertz, [one.answer for one in lesson.on.take() if one.do == "pitch"]
        assert [int(number) for number, _, _ in rows] == list(range(1, len(wanted) + 1))
        for (_, name, off), own, sounds in zip(rows, wanted, heard, strict=True):
            assert name == note(own)
            assert float(off.replace("−", "-")) == pytest.approx(1200.0 * math.log2(sounds / own), abs=0.05)
        assert f"± {1.96 * lesson.job.pitch_sd:.1f} c, in 95 of 100" in words(answer)
        do(visitor, path)
        assert 'class="lean"' in visitor.get(path).text  # the peg of the string that is tuned first

    def test_all_strings_are_asked_for_as_every_string(self) -> None:
        wanted = tuple(float(one) for one in practising.begin(7).job.goal.hertz)
        every, some = (Advice("read", "x", strings=tuple(range(count))) for count in (len(wanted), 2))
        assert _todo(every, "mm", wanted, False) == ("Hear every string", "")
        assert _todo(every, "mm", wanted, True) == ("Hear every string", "and read the rear gap and the claw distance")
        assert _todo(some, "mm", wanted, False) == ("Hear strings 1, 2", "")

    def test_something_else_is_done_and_answered(self, visitor: Visitor) -> None:
        path = begun(visitor)
        assert do(visitor, path, "gap").status_code == 303
        assert "It answers Rear gap" in words(visitor.get(path))
        assert do(visitor, path, "claw in 1/4").status_code == 303
        assert do(visitor, path, "pitch 3").status_code == 303
        said = words(visitor.get(path))
        assert "It answers String 3" in said
        assert "claw in 1/4" in said

    @pytest.mark.parametrize(
        ("typed", "said"),
        [
            ("dance", "is not understood"), ("tune 3", "is not understood"), ("tune 99 100", "strings"),
            ("tune 3 9999", "too far from that"), ("help", "stands under the field"), ("claw in 1e400", ""),
            ("x" * 81, "up to 80"), (HOSTILE, ""), ("wedge nan", ""), ("bar 900 deg", ""), ("claw in 99", ""),
        ],
    )  # fmt: skip
    def test_what_cannot_be_done_is_said_and_stays(self, visitor: Visitor, typed: str, said: str) -> None:
        path = begun(visitor)
        before = words(visitor.get(path))
        answer = do(visitor, path, typed)
        assert answer.status_code == 422, words(answer)
        assert said in words(answer)
        assert 'role="alert"' in answer.text
        assert typed in html.unescape(answer.text)
        assert "<script>alert" not in answer.text
        assert words(visitor.get(path)) == before

    def test_a_step_sent_twice_is_done_once(self, visitor: Visitor) -> None:
        path = begun(visitor)
        visitor.get(path)
        assert visitor.post(path, {"words": "", "count": "1"}).status_code == 303
        answer = visitor.post(path, {"words": "", "count": "1"})
        assert answer.status_code == 409
        assert "was done already" in words(answer)
        assert COUNT.search(answer.text)[1] == "2"  # type: ignore[index]

    def test_there_is_an_end_to_it(self, visitor: Visitor, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(practice, "DEEDS", 1)
        path = begun(visitor)
        assert do(visitor, path, "gap").status_code == 303
        answer = do(visitor, path, "gap")
        assert answer.status_code == 422
        assert "hand it over" in words(answer)

    def test_units_are_the_readers(self, visitor: Visitor) -> None:
        path = begun(visitor)
        visitor.post("/settings", {"units": "inch"})
        assert re.search(r"rear gap [^.]* in\b", words(visitor.get(path)))

    def test_nothing_of_it_is_in_the_shop(self, visitor: Visitor, shop: str) -> None:
        before = check_shop(shop)
        do(visitor, begun(visitor))
        assert check_shop(shop) == before


class TestEnd:
    @pytest.mark.usefixtures("quick")
    def test_handed_over_too_early_it_does_not_pass_and_shows_what_was_hidden(self, visitor: Visitor) -> None:
        path = begun(visitor)
        assert do(visitor, path, "done").status_code == 303
        said = words(visitor.get(path))
        assert "It did not pass" in said
        assert "What was hidden" in said
        for one in practising.hand_over(practising.begin(7)).hidden:
            assert one.what in said
        assert do(visitor, path, "gap").status_code == 409

    @pytest.mark.slow
    def test_by_the_advice_it_passes_and_costs_what_the_advice_alone_costs(self, visitor: Visitor) -> None:
        path = begun(visitor)
        seen = []
        for _ in range(60):
            answer = visitor.get(path)
            if "What was hidden" in words(answer):
                break
            seen.append(html.unescape(re.findall(r"<h1[^>]*>([^<]*)</h1>", answer.text)[0]))
            assert do(visitor, path).status_code == 303
        assert seen[-1] == "Done"
        assert any(one.endswith(", read the rear gap and the claw distance") for one in seen)
        assert "It passed" in words(visitor.get(path))
        waited(lambda: "highest over pitch" in words(visitor.get(path)))
        found = re.search(r"tunings (\d+) (\d+) settings of the claw (\d+) (\d+)", words(visitor.get(path)))
        assert found is not None
        assert found[1] == found[2]
        assert found[3] == found[4]


def waited(there: Callable[[], bool], most: float = 60.0) -> None:
    """Wait until something is there."""
    end = time.monotonic() + most
    while not there():
        assert time.monotonic() < end
        time.sleep(0.2)
