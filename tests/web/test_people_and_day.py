"""Who is here, the day, what is told of changes, what is remembered."""

from __future__ import annotations

import shutil
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import date
from pathlib import Path

import pytest
from starlette.routing import BaseRoute
from starlette.testclient import TestClient

from setwright.bench.day import day_of, mark_of, marks_of, people_of
from setwright.bench.due import Due, due_of
from setwright.bench.journals import InShop, keep
from setwright.bench.owners import edit_instrument, instrument_in
from setwright.bench.shop import held, make_shop, opened
from setwright.bench.visits import hand_back, open_again
from setwright.errors import InputError
from setwright.web import day
from setwright.web.app import application, bench
from setwright.web.frame import page
from setwright.web.live import GONE, Presence
from setwright.web.memory import Memory
from setwright.web.people import on_this_bench
from setwright.web.routes import at
from setwright.web.static import shelf
from tests.web.conftest import ADDRESS, KEY
from tests.web.visitor import Visitor, words


def settled(visitor: Visitor) -> str:
    """The day, once everything on it is worked out."""
    for _ in range(100):
        said = words(visitor.get("/"))
        if "being worked out" not in said.lower():
            return said
        time.sleep(0.1)
    raise AssertionError("the day was never worked out")


class TestWho:
    def test_the_first_page_asks_who_is_here_and_leads_on(self, browsers: Callable[[], Visitor]) -> None:
        new = browsers()
        assert new.client.get("/", follow_redirects=False).headers["location"] == "/who"
        assert new.client.get("/", follow_redirects=False).status_code == 303
        assert "Who is at this bench?" in words(new.get("/"))
        answer = new.post("/who", {"name": "Ada", "to": "/settings"})
        assert answer.headers["location"] == "/settings"
        assert "Ada is at this bench." in words(new.get("/settings"))

    def test_somebody_known_is_one_touch(self, browsers: Callable[[], Visitor], shop: str) -> None:
        browsers().sign("Ada")
        other = browsers()
        assert 'name="known" value="Ada"' in other.get("/who").text
        assert other.post("/who", {"known": "Ada"}).status_code == 303
        assert other.post("/who", {"known": "ADA"}).status_code == 303
        assert [one.name for one in people_of(shop)] == ["Ada"]

    def test_what_was_done_is_said_once_however_long(self, visitor: Visitor) -> None:
        assert visitor.post("/parts", {"deed": "new", "name": "🎸" * 300}).status_code == 303
        assert "🎸" * 300 + ": 0 pieces in stock." in words(visitor.get("/settings"))
        assert "in stock" not in words(visitor.get("/settings"))

    @pytest.mark.parametrize("name", ["", "   ", 'A "B"', "x" * 61, "a\nb", "\x00", "\u2028"])
    def test_no_name_is_refused_and_stays_typed(self, browsers: Callable[[], Visitor], name: str, shop: str) -> None:
        answer = browsers().post("/who", {"name": name})
        assert answer.status_code == 422
        assert 'class="wrong"' in answer.text
        assert people_of(shop) == ()

    def test_a_name_of_any_letters_is_kept_as_it_is(self, browsers: Callable[[], Visitor], shop: str) -> None:
        name = "Zoë <b>#&{{7*7}} 李"
        page = browsers().sign(name).get("/settings")
        assert [one.name for one in people_of(shop)] == [name]
        assert "<b>" not in page.text
        assert name in words(page)

    @pytest.mark.parametrize(
        "to",
        [
            "//shop.example",
            "https://shop.example",
            "/\\shop.example",
            "javascript:alert(1)",
            "",
            "/\r\nx: y",
            "/" + "a" * 400,
        ],
    )
    def test_it_leads_nowhere_else(self, browsers: Callable[[], Visitor], to: str) -> None:
        assert on_this_bench(to) == "/"
        assert browsers().post("/who", {"name": "Ada", "to": to}).headers["location"] == "/"


class TestDay:
    def test_every_open_visit_stands_with_what_is_next(self, visitor: Visitor) -> None:
        said = settled(visitor)
        for part in (
            "Kestrel",
            "step 1 of 10",
            "Dunlin",
            "Sanderling",
            "No plan exists",
            "Ada Lark",
            "Waiting, nobody's yet",
        ):
            assert part in said, part

    def test_a_visit_stands_under_whoever_wrote_last(self, visitor: Visitor, shop: str, visits: dict[str, str]) -> None:
        keep(InShop(shop, visits["dunlin-heavier"]), ["read", "rear gap = 2.4 mm"], who="Bo")
        said = settled(visitor)
        assert said.index("Bo Dunlin") < said.index("Waiting") < said.index("Kestrel")

    def test_what_is_to_be_looked_at_again_stands_there_until_it_comes_in(
        self, visitor: Visitor, shop: str, visits: dict[str, str], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        assert "To be looked at again" not in settled(visitor)
        today = date.today()
        hand_back(shop, visits["dunlin-heavier"], recheck=today, who="Bo")
        (due,) = due_of(shop, today)
        assert f"To be looked at again {due.name} , Ada Lark: {today} , today" in settled(visitor)
        assert f'href="/instrument/{due.instrument}"' in visitor.get("/").text
        now = instrument_in(shop, due.instrument)
        edit_instrument(shop, due.instrument, now.version, "Bo", name="Dunlin <b>")
        assert f"To be looked at again Dunlin <b> , Ada Lark: {today} , today" in settled(visitor)

        class Later(date):
            @classmethod
            def today(cls) -> Later:
                return cls.fromordinal(today.toordinal() + 3)

        monkeypatch.setattr(day, "date", Later)
        assert f"{today} , 3 days ago" in settled(visitor)
        open_again(shop, visits["dunlin-heavier"], who="Bo")
        assert "To be looked at again" not in settled(visitor)

    def test_the_longest_overdue_are_in_sight_and_the_rest_one_touch_away(
        self, visitor: Visitor, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        some = tuple(Due(f"i{i}", f"Kestrel {i}", "", "", "v", date(2026, 11, 1 + i), 29 - i) for i in range(7))
        monkeypatch.setattr("setwright.bench.due.due_of", lambda *_: some)
        said = settled(visitor)
        assert "Kestrel 0 : 2026-11-01 , 29 days ago" in said
        assert said.index("Kestrel 4") < said.index("and 2 more") < said.index("Kestrel 5")

    def test_an_empty_shop_teaches(self, tmp_path: Path) -> None:
        make_shop(str(tmp_path / "new"), "New <b>Bench</b>")
        with TestClient(application(bench(str(tmp_path / "new"), KEY)), base_url=ADDRESS) as client:
            page = Visitor(client).sign().get("/")
        assert "Nothing is on the bench. Take in the first instrument" in words(page)
        assert "New &lt;b&gt;Bench" in page.text

    def test_marks_are_others_after_any_writing(self, shop: str, visits: dict[str, str]) -> None:
        visit = visits["dunlin-heavier"]
        before, all_before = mark_of(shop, visit), marks_of(shop)
        keep(InShop(shop, visit), ["note", "seen"])
        assert mark_of(shop, visit) != before
        assert set(marks_of(shop)) ^ set(all_before) == {before, mark_of(shop, visit)}
        with pytest.raises(InputError, match="no visit"):
            mark_of(shop, "zzzz")

    def test_the_day_counts_what_is_there(self, shop: str) -> None:
        day = day_of(shop)
        assert (day.shop, len(day.visits), day.low, day.people) == ("Weir Lane Bench", 4, (), ())


class TestLive:
    def test_presence_forgets_who_went(self, monkeypatch: pytest.MonkeyPatch) -> None:
        here, now = Presence(), [100.0]
        monkeypatch.setattr("setwright.web.live.time.monotonic", lambda: now[0])
        here.seen("a", "Mara")
        here.seen("a", "Bo")
        here.seen("b", "")
        assert here.on("a") == ("Bo", "Mara")
        assert here.on("b") == ()
        now[0] += GONE + 1
        assert here.on("a") == ()

    def test_an_unknown_visit_has_no_changes(self, visitor: Visitor) -> None:
        assert visitor.get("/visit/zzzz/changes").status_code == 404


class TestMemory:
    def test_an_answer_is_made_once_however_many_ask(self) -> None:
        memory, made, ready = Memory(), [], threading.Event()

        def make() -> int:
            made.append(1)
            ready.wait(5)
            return 7

        found: list[int] = []
        asking = [threading.Thread(target=lambda: found.append(memory.get("key", make))) for _ in range(8)]
        for one in asking:
            one.start()
        assert not memory.known("key")
        ready.set()
        for one in asking:
            one.join(5)
        assert (found, made) == ([7] * 8, [1])
        assert memory.known("key")

    def test_what_was_raised_is_raised_again(self) -> None:
        memory, made = Memory(), []

        def make() -> int:
            made.append(1)
            raise InputError("no")

        for _ in range(3):
            with pytest.raises(InputError, match="no"):
                memory.get("key", make)
        assert made == [1]

    def test_what_was_begun_beside_the_pages_is_made_once_and_waited_for(self) -> None:
        memory, made, ready = Memory(2), [], threading.Event()

        def make() -> int:
            made.append(1)
            ready.wait(5)
            return 7

        with ThreadPoolExecutor(1) as workers:
            first = memory.begin("key", make, workers)
            time.sleep(0.02)
            again = memory.begin("key", make, workers)
            assert (first < again, 0.015 < again < 5.0, memory.known("key")) == (True, True, False)
            ready.set()
            assert memory.get("key", make) == 7
            assert made == [1]
            for key in "abcdef":  # it is forgotten, and may be begun anew
                memory.get(key, lambda: 0)
            assert memory.begin("key", make, workers) < again
            assert memory.get("key", make) == 7
            assert made == [1, 1]

    def test_what_was_raised_beside_the_pages_is_raised_where_it_is_asked_for(self) -> None:
        memory = Memory()
        with ThreadPoolExecutor(1) as workers:
            memory.begin("key", lambda: 1 // 0, workers)
            with pytest.raises(ZeroDivisionError):
                memory.get("key", lambda: 0)

    def test_the_oldest_goes_first(self) -> None:
        memory = Memory(2)
        for key in "aba":
            memory.get(key, lambda: 0)
        memory.get("c", lambda: 0)
        assert [memory.known(key) for key in "abc"] == [True, False, True]


class TestStatic:
    def test_files_are_kept_for_ever_under_their_version(self, visitor: Visitor) -> None:
        whole = visitor.client.app.state.bench.shelf
        answer = visitor.get(whole.address("paper.css"))
        assert "immutable" in answer.headers["cache-control"]
        assert answer.headers["content-encoding"] == "gzip"
        plain = visitor.get(whole.address("live.mjs"), headers={"accept-encoding": "identity"})
        assert "content-encoding" not in plain.headers
        assert plain.headers["content-type"].startswith("text/javascript")
        assert visitor.get("/static/older/paper.css").headers["cache-control"] == "no-cache"
        with pytest.raises(KeyError, match=r"nothing\.css"):
            whole.address("nothing.css")

    def test_another_file_is_another_version(self, tmp_path: Path) -> None:
        (tmp_path / "a.css").write_text("p {}")
        (tmp_path / "notes.txt").write_text("not for pages")
        first = shelf(tmp_path)
        assert set(first.files) == {"a.css"}
        (tmp_path / "a.css").write_text("p { margin: 0 }")
        assert shelf(tmp_path).version != first.version


def test_a_shop_held_open_is_the_same_for_all_and_let_go_after(shop: str) -> None:
    with held(shop) as one:
        with opened(shop) as other:
            assert other is one
        with held(shop) as again:
            assert again is one
        with opened(shop) as still:
            assert still is one
    with opened(shop) as fresh:
        assert fresh is not one


def test_a_shop_that_is_gone_is_one_sentence(shop: str, browsers: Callable[[], Visitor]) -> None:
    visitor = browsers().sign()
    shutil.move(shop, shop + "-moved")
    answer = visitor.get("/instruments")
    assert answer.status_code in (200, 422)  # the open file may still be read
    assert "Traceback" not in answer.text


class TestLater:
    def test_pages_that_take_a_while_are_waited_for(self, shop: str) -> None:
        loaded = []

        def later() -> list[BaseRoute]:
            time.sleep(0.3)
            loaded.append(1)
            return [at("/slow", lambda request: page(request, "error.html", title="Slow", words="There.", misses=()))]

        app = application(bench(shop, KEY), day.ROUTES, later)
        with TestClient(app, base_url=ADDRESS) as client:
            assert client.get("/who").status_code == 200
            assert loaded == []
            assert "There." in words(client.get("/slow"))
            assert loaded == [1]
            assert client.get("/nowhere").status_code == 404
            assert client.get("/", headers={"cookie": "a=1"}).status_code == 200

    def test_a_head_names_all_pages_before_they_are_loaded(self, shop: str, visitor: Visitor) -> None:
        with TestClient(application(bench(shop, KEY), day.ROUTES, list), base_url=ADDRESS) as client:
            early = client.get("/who").text
        for path in ("/take-in", "/instruments", "/parts", "/settings"):
            assert f'href="{path}"' in early
            assert f'href="{path}"' in visitor.get("/who").text

    def test_pages_that_cannot_be_loaded_leave_the_rest(self, shop: str, caplog: pytest.LogCaptureFixture) -> None:
        def later() -> list[BaseRoute]:
            raise ImportError("no such module")

        with TestClient(application(bench(shop, KEY), day.ROUTES, later), base_url=ADDRESS) as client:
            assert client.get("/settings").status_code == 404
            assert client.get("/who").status_code == 200
        assert "no such module" in caplog.text
