"""The history pages: what the shop's records tell, as on the command line; empty shops, and whoever means harm."""

from __future__ import annotations

import queue
import re
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from starlette.testclient import TestClient

from setwright.bench import history
from setwright.bench.demo_shop import make_demo
from setwright.bench.house import specify
from setwright.bench.journals import InShop, keep
from setwright.bench.shop import check_shop, show_visit
from setwright.bench.visits import edit_visit, hand_back
from setwright.cli import history_words
from setwright.errors import InputError
from setwright.records.edits import edit, get
from setwright.records.rows import Visit
from setwright.records.shop import open_shop
from setwright.web import summing
from setwright.web.app import application, bench
from tests.cli.made_shop import made
from tests.web.conftest import ADDRESS, KEY
from tests.web.visitor import Visitor, words

SCRIPT = "<script>alert(1)</script>"


@pytest.fixture(scope="module")
def old(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, str, str]:
    """A shop with a closed visit and an open one that two people read; its folder, the instrument, the open visit."""
    at = tmp_path_factory.mktemp("history") / "shop"
    instrument, visit = made(at)
    return str(at), instrument, visit


@pytest.fixture
def reader(old: tuple[str, str, str]) -> Iterator[Visitor]:
    """A browser at the bench of that shop."""
    app = application(bench(old[0], KEY))
    with TestClient(app, base_url=ADDRESS) as client:
        yield Visitor(client).sign()


def pictures(answer: Any) -> int:
    """How many drawings stand on a page; each is sound."""
    found = re.findall(r"<svg.*?</svg>", answer.text, re.DOTALL)
    for drawing in found:
        ElementTree.fromstring(drawing)
    return len(found)


class TestSummingUp:
    """A shop with much to sum up is so beside its pages."""

    @pytest.fixture
    def gate(self, monkeypatch: pytest.MonkeyPatch) -> Callable[[str], None]:
        """Lets the work go on one step; the work waits for it each time it tells how far it is."""
        monkeypatch.setattr(summing, "FEW", 0)
        monkeypatch.setattr(summing, "PAUSE", 0.0)
        asked: queue.Queue[str] = queue.Queue()
        true = history.sum_up

        def sum_up(at: str, tell: Callable[[int, int], None]) -> int:
            def told(done: int, of: int) -> None:
                tell(done, of)
                word = asked.get(timeout=20.0)
                if word == "disk":
                    raise InputError("the disk is full; make room.")
                if word == "fault":
                    raise RuntimeError("nobody thought of that")

            return true(at, told)

        monkeypatch.setattr(history, "sum_up", sum_up)
        return asked.put

    @pytest.fixture
    def fresh(self, tmp_path: Path) -> Iterator[tuple[Visitor, str]]:
        instrument, _ = made(tmp_path / "shop")
        with TestClient(application(bench(str(tmp_path / "shop"), KEY)), base_url=ADDRESS) as client:
            yield Visitor(client).sign(), instrument

    def until(self, visitor: Visitor, path: str, part: str) -> str:
        for _ in range(200):
            said = words(visitor.get(path))
            if part in said:
                return said
            time.sleep(0.02)
        raise AssertionError(said)

    def test_the_pages_say_how_far_it_is_and_come_when_it_is_done(
        self, fresh: tuple[Visitor, str], gate: Callable[[str], None]
    ) -> None:
        visitor, instrument = fresh
        own = f"/instrument/{instrument}/history"
        first = words(visitor.get("/history"))
        assert "The shop is being summed up" in first
        assert "Right at the first pass" not in first
        self.until(visitor, own, "0 of 1 visits, 0 %")
        assert f'href="{own}">Look again' in visitor.get(own).text
        gate("on")
        self.until(visitor, "/history", "1 of 1 visits, 100 %")
        gate("on")
        assert "being summed up" not in self.until(visitor, "/history", "Right at the first pass")
        assert "From as left at one visit" in words(visitor.get(own)) or "Nothing can be told yet" in words(
            visitor.get(own)
        )

    def test_it_is_called_off_and_gone_on_with(self, fresh: tuple[Visitor, str], gate: Callable[[str], None]) -> None:
        visitor, instrument = fresh
        own = f"/instrument/{instrument}/history"
        self.until(visitor, own, "0 of 1 visits, 0 %")
        assert visitor.post("/history", {"do": "what"}).headers["location"] == "/history"
        assert visitor.post("/history", {"do": "off", "back": own}).headers["location"] == own
        said = words(visitor.get(own))
        assert "Called off 0 of 1 visits, 0 %" in said
        assert "Go on" in said
        gate("on")  # the next time it tells, it ends
        summing._WORKERS.submit(int).result(20.0)
        assert "Called off" in words(visitor.get("/history"))
        assert visitor.post("/history", {"do": "begin", "back": "//elsewhere"}).headers["location"] == "/history"
        assert "Right at the first pass" in words(visitor.get("/history"))  # this one visit was summed up meanwhile
        visitor.post("/history", {"do": "off"})  # nothing goes on
        assert "Right at the first pass" in words(visitor.get("/history"))

    @pytest.mark.parametrize(
        ("word", "told"),
        [("disk", "The disk is full; make room."), ("fault", "the terminal of the bench says more")],
    )
    def test_what_ends_it_is_said_once_and_it_is_begun_again(
        self, fresh: tuple[Visitor, str], gate: Callable[[str], None], word: str, told: str
    ) -> None:
        visitor, _ = fresh
        visitor.get("/history")
        gate(word)
        self.until(visitor, "/history", told)
        self.until(visitor, "/history", "0 of 1 visits")
        gate("on")
        gate("on")
        self.until(visitor, "/history", "Right at the first pass")

    def test_it_ends_when_the_bench_is_stopped(
        self, fresh: tuple[Visitor, str], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(summing, "FEW", 0)
        visitor, _ = fresh
        app = visitor.client.app
        app.state.leaving = True  # type: ignore[attr-defined]
        visitor.get("/history")
        summing._WORKERS.submit(int).result(20.0)
        assert history.unsummed(app.state.bench.shop) == 1  # type: ignore[attr-defined]
        app.state.leaving = False  # type: ignore[attr-defined]
        self.until(visitor, "/history", "Right at the first pass")


class TestShop:
    def test_a_shop_without_a_closed_visit_is_told_what_it_would_take(self, visitor: Visitor) -> None:
        answer = visitor.get("/history")
        said = words(answer)
        assert answer.status_code == 200
        for part in (
            "There is no specification yet: write one",
            "No visit is closed yet",
            "A capability needs limits",
            "Nothing can be told of relief yet",
            "Two people or more read the same places twice or more",
        ):
            assert part in said, part
        assert pictures(answer) == 0

    def test_what_it_tells_is_what_the_command_line_tells(self, reader: Visitor, old: tuple[str, str, str]) -> None:
        shop = old[0]
        said = words(reader.get("/history"))
        (kind,) = history.yields(shop)
        assert history_words.share_words(kind.inside) in said
        assert history_words.spread_words(kind.rounds) in said
        assert "Floating" in said
        spec, (held,) = history.capability(shop)
        assert (spec.name, held.count) == ("house", 1)
        assert "house, version 1, as left" in said
        assert held.why in said

    def test_what_was_left_outside_is_listed_with_its_limits(
        self, visitor: Visitor, shop: str, visits: dict[str, str]
    ) -> None:
        specify(shop, "house", "rear gap = 2.6 mm ± 0.25 mm\nrelief held at 1 and 17, read at 8 = .005 in to .014 in")
        visit = visits["dunlin-heavier"]
        edit_visit(shop, visit, specification="house", who="Bo", kind="restring")
        for line in ("read rear gap = 3.40 mm ± 0.02 mm", "read relief held at 1 and 17, read at 8 = .0139 in"):
            keep(InShop(shop, visit), line.split())
        hand_back(shop, visit)
        answer = visitor.get("/history")
        said = words(answer)
        assert f'href="/visit/{visit}"' in answer.text
        assert "rear gap 3.40 ± 0.04 mm 2.35 mm to 2.85 mm outside" in said
        assert ">outside</span>" in answer.text
        assert ">not certain</span>" not in answer.text
        assert ">not certain</span>" in visitor.get("/history?unsure=1").text
        assert pictures(answer) >= 2  # shares of a kind of job
        visitor.client.cookies.set("setwright_units", "inch")
        assert re.search(r"\.13\d+ ± \.00\d+ in", words(visitor.get("/history")))

    def test_two_people_are_studied_where_an_instrument_is_chosen(
        self, reader: Visitor, old: tuple[str, str, str]
    ) -> None:
        shop, instrument, _ = old
        answer = reader.get("/history", params={"read": "string height", "instrument": instrument})
        found = history.gauges(shop, "string height", instrument)
        said = words(answer)
        assert answer.status_code == 200
        assert "6 places, 2 people, 2 trials each" in said
        assert f"{100 * found.study.of_total:.0f} %" in said
        assert "Ada, Bo" in said
        assert pictures(answer) >= 4
        answer = reader.get("/history", params={"read": "relief", "instrument": instrument})
        assert answer.status_code == 422
        assert "no two people" in words(answer).lower()
        assert "Choose the instrument" in words(reader.get("/history", params={"read": "relief"}))

    @pytest.mark.slow
    def test_the_season_of_what_is_chosen(self, reader: Visitor) -> None:
        said = words(reader.get("/history", params={"what": "rear gap"}))
        assert "Nothing can be told of rear gap yet" in said  # the later visit is not closed

    @pytest.mark.slow
    @pytest.mark.parametrize("text", [SCRIPT, "buzz", "\x00", "zzzz", "9" * 400, "'; DROP TABLE visit; --"])
    def test_what_is_not_there_is_refused_on_the_page(self, reader: Visitor, text: str) -> None:
        for field in ("what", "read", "instrument", "specification", "unsure"):
            answer = reader.get("/history", params={field: text})
            assert answer.status_code in (200, 422)
            assert SCRIPT not in answer.text
        assert reader.get("/history", params={"what": text}).status_code == 422

    def test_the_head_of_every_page_leads_here(self, visitor: Visitor) -> None:
        assert '<a href="/history">History</a>' in visitor.get("/").text
        assert 'href="/history" aria-current="page"' in visitor.get("/history").text


class TestInstrument:
    def test_what_changed_by_itself(self, reader: Visitor, old: tuple[str, str, str]) -> None:
        shop, instrument, _ = old
        answer = reader.get(f"/instrument/{instrument}/history")
        said = words(answer)
        assert answer.status_code == 200
        assert "From visit 1 (2025-01-15), as left, to visit 2 (2025-07-15), as found" in said
        since = history.since_last(shop, instrument)
        for one in since.changes:
            assert history_words.moved_words(one, "mm", not one.seen) in said
        assert "Read only now: string height at 6 places" in said
        assert f'href="/instrument/{instrument}/history"' in reader.get(f"/instrument/{instrument}").text

    def test_as_last_time_is_a_draft_to_be_taken_in_or_kept(self, reader: Visitor, old: tuple[str, str, str]) -> None:
        shop, instrument, _ = old
        answer = reader.get(f"/instrument/{instrument}/history")
        draft = history.again(shop, instrument).draft
        assert f"/take-in?known={instrument}" in answer.text
        assert "# As last time: visit 1" in words(answer)
        for file, raw in (("job", draft.job), ("instrument", draft.instrument)):
            kept = reader.get(f"/instrument/{instrument}/again/{file}")
            assert kept.content == raw
            assert kept.headers["content-disposition"].startswith("attachment; ")
        assert reader.get(f"/instrument/{instrument}/again/other").status_code == 404
        assert reader.get("/instrument/zzzzzzz/again/job").status_code == 404

    def test_one_change_alone_is_told_without_what_nobody_can_know(self, tmp_path: Path) -> None:
        instrument, visit = made(tmp_path / "shop")
        shop = str(tmp_path / "shop")
        hand_back(shop, visit)
        with TestClient(application(bench(shop, KEY)), base_url=ADDRESS) as client:
            reader = Visitor(client).sign()
            for path in (f"/instrument/{instrument}/history", "/history?what=relief"):
                said = words(reader.get(path))
                assert "July 1 +0.102 mm ± not known" in said
                assert "By one visit alone no ± is known" in said

    def test_one_visit_teaches_what_the_next_will_tell(
        self, visitor: Visitor, visits: dict[str, str], shop: str
    ) -> None:
        home = show_visit(shop, visits["kestrel-float"]).instrument.id
        said = words(visitor.get(f"/instrument/{home}/history"))
        assert "has 1 visit up to then; a change needs two" in said
        assert "Nothing can be told yet. It needs two closed visits" in said
        assert "Hand it back once" in said

    @pytest.mark.slow
    def test_drift_with_the_season(self, tmp_path: Path) -> None:
        at = tmp_path / "shop"
        instrument, visit = made(at)
        with open_shop(str(at)) as opened, opened.writing("Bo") as work:
            edit(work, get(work, Visit, visit), state="closed")
        app = application(bench(str(at), KEY))
        with TestClient(app, base_url=ADDRESS) as client:
            answer = Visitor(client).sign().get(f"/instrument/{instrument}/history")
        said = words(answer)
        assert "From as left at one visit to as found at the next." in said
        assert "rear gap July 1 +0.40" in said  # 2.6 mm left in January, 3.0 mm found in July
        assert "No trend can be told yet" in said

    @pytest.mark.slow
    def test_of_nothing_and_of_strange_visits(self, reader: Visitor, old: tuple[str, str, str]) -> None:
        assert reader.get("/instrument/zzzzzzz/history").status_code == 404
        for text in (SCRIPT, "zzzz", "\x00"):
            answer = reader.get(f"/instrument/{old[1]}/history", params={"visit": text})
            assert answer.status_code == 422
            assert "That visit is not one of this instrument" in words(answer)
            assert SCRIPT not in answer.text
        answer = reader.get(f"/instrument/{old[1]}/history", params={"visit": old[2]})
        assert answer.status_code == 200


@pytest.mark.slow
def test_a_shop_of_years_is_told_in_numbers_and_pictures(tmp_path: Path) -> None:
    at = str(tmp_path / "shop")
    make_demo(at)
    app = application(bench(at, KEY))
    with TestClient(app, base_url=ADDRESS) as client:
        answer = Visitor(client).sign().get("/history", params={"what": "pitch"})
    said = words(answer)
    held = history.capability(at)[1]
    told = [one.capability for one in held if one.capability is not None]
    assert len(told) >= 3
    for made_of in told:
        assert made_of.cpk is None or f"Cpk {history_words.index_words(made_of.cpk)}" in said
        assert f"Ppk {history_words.index_words(made_of.ppk)}" in said
        assert history_words.hundred_words(made_of.outside) in said
    for kind in history.yields(at):
        for of in (kind.rounds, kind.minutes):
            assert history_words.spread_words(of) in said
    (moved,) = (one for one in history.season(at, "pitch") if one.kind == "cents")
    assert f"{moved.visits} visits" in said
    slots = re.findall(r'viewBox="-60 -9 120 18".*?</svg>', answer.text)
    assert len(slots) == sum(one.capability is not None for one in held)
    # mean of the first limit in its slot: half the tolerance is twenty units, by hand
    first, limit = told[0].spread, next(one.limit for one in held if one.capability is told[0])
    low, high = limit.tolerance.lower, limit.tolerance.upper
    at_mean = 20.0 * (first.mean - 0.5 * (low + high)) / (0.5 * (high - low))
    assert float(re.search(r'class="line" d="M(-?[\d.]+) ', slots[0])[1]) == pytest.approx(at_mean, abs=0.06)  # type: ignore[index]


def test_looking_writes_nothing(browsers: Callable[[], Visitor], shop: str) -> None:
    before = check_shop(shop)
    visitor = browsers().sign()
    visitor.get("/history")
    after = check_shop(shop)
    assert (after.visits, after.entries) == (before.visits, before.entries)
