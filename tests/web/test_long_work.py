"""Long work beside the pages: how far it is, called off on one page and so on all, begun again when asked."""

from __future__ import annotations

import html
import re
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest

from setwright.bench.journals import InShop, keep
from setwright.bench.plans import plan_job
from setwright.errors import CalledOffError
from setwright.telling import untold
from setwright.web.memory import Going, Memory, Off
from setwright.web.pages import plan, sheet
from tests.web.visitor import Visitor, words

ADDRESS = re.compile(r'action="([^"]+/work/[0-9a-f]{32})"')
BACK = re.compile(r'name="back" value="([^"]+)"')


class TestMemory:
    def test_long_work_tells_how_far_it_is_and_waits_for_its_turn(self) -> None:
        memory, ready, half = Memory(), threading.Event(), threading.Event()

        def make(tell: Callable[[float], None]) -> int:
            tell(0.5)
            half.set()
            ready.wait(5)
            return 7

        with ThreadPoolExecutor(1) as workers:
            memory.go_on("key", make, workers)
            assert half.wait(5)
            first, second = memory.go_on("key", make, workers), memory.go_on("other", make, workers)
            assert isinstance(first, Going)
            assert isinstance(second, Going)
            assert (first.share, second.share) == (0.5, None)
            assert first.seconds >= 0.0
            assert first.name != second.name
            ready.set()
            assert memory.get("key", lambda: 0) == memory.get("other", lambda: 0) == 7

    def test_work_that_is_called_off_ends_at_its_next_word_and_leaves_nothing(self) -> None:
        memory, begun, on, ended, made = Memory(), threading.Event(), threading.Event(), threading.Event(), []

        def make(tell: Callable[[float], None]) -> int:
            made.append(1)
            begun.set()
            on.wait(5)
            try:
                tell(0.5)
            finally:
                ended.set()
            return 7

        with ThreadPoolExecutor(1) as workers:
            going = memory.go_on("key", make, workers)
            assert begun.wait(5)
            waiting: list[BaseException] = []

            def wait() -> None:
                try:
                    memory.get("key", lambda: 0)
                except CalledOffError as error:
                    waiting.append(error)

            other = threading.Thread(target=wait)
            other.start()
            time.sleep(0.02)
            memory.call_off(going.name, "Mara")
            assert memory.go_on("key", make, workers) == Off(going.name, "Mara")  # on all pages, and it is not begun
            on.set()
            assert ended.wait(5)
            other.join(5)
            assert len(waiting) == 1
            assert not memory.known("key")
            memory.allow(going.name)
            again = memory.go_on("key", lambda tell: 8, workers)
            assert isinstance(again, Going)
            assert memory.get("key", lambda: 0) == 8
            assert made == [1]
            memory.call_off(going.name)  # it is there already
            assert memory.known("key")
            memory.call_off("none")
            memory.allow("none")

    def test_work_that_waits_for_its_turn_is_called_off_before_it_begins(self) -> None:
        memory, on, made = Memory(1), threading.Event(), []
        with ThreadPoolExecutor(1) as workers:
            workers.submit(on.wait, 5)
            names = []
            for key in "ab":
                names.append(memory.go_on(key, lambda tell: made.append(1), workers).name)
                memory.call_off(names[-1])
            assert isinstance(memory.go_on("b", lambda tell: 0, workers), Off)
            assert isinstance(memory.go_on("a", lambda tell: 5, workers), Going)  # so many are remembered as called off
            on.set()
            assert memory.get("a", lambda: 0) == 5
        assert made == []

    def test_all_work_ends_as_the_bench_stops(self) -> None:
        memory, begun, on = Memory(), threading.Event(), threading.Event()

        def make(tell: Callable[[float], None]) -> int:
            begun.set()
            on.wait(5)
            return 7  # it told nothing more: even so it is not kept

        with ThreadPoolExecutor(1) as workers:
            memory.go_on("key", make, workers)
            assert begun.wait(5)
            memory.stop()
            on.set()
            with pytest.raises(CalledOffError):
                memory.get("key", lambda: 0)


class Held:
    """Work that stands still until it may go on, in place of the bench's own."""

    def __init__(self, own: Callable[..., Any], share: float) -> None:
        self.own, self.share = own, share
        self.there, self.on, self.calls, self.ended = threading.Event(), threading.Event(), 0, threading.Event()

    def __call__(self, *given: Any, tell: Callable[[float], None], **more: Any) -> Any:
        self.calls += 1
        tell(self.share)
        self.there.set()
        self.on.wait(20)
        try:
            return self.own(*given, tell=tell, **more)
        finally:
            self.ended.set()


def send(visitor: Visitor, answer: Any, do: str) -> Any:
    """Press a button of a page that waits."""
    address, back = ADDRESS.search(answer.text), BACK.search(answer.text)
    assert address is not None
    assert back is not None
    return visitor.post(address[1], {"do": do, "back": html.unescape(back[1])})


def comes(visitor: Visitor, path: str, said: str) -> Any:
    """The page, once it says something."""
    for _ in range(300):
        answer = visitor.get(path)
        if said in words(answer):
            return answer
        time.sleep(0.1)
    raise AssertionError(f"{path} never said {said!r}")


@pytest.mark.slow
class TestPages:
    def test_a_plan_is_called_off_for_all_and_begun_again_by_one(
        self, browsers: Callable[[], Visitor], visits: dict[str, str], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        held = Held(plan_job, 0.5)
        monkeypatch.setattr(plan, "plan_job", held)
        mara, bo = browsers().sign("Mara"), browsers().sign("Bo")
        path = f"/visit/{visits['kestrel-float']}/plan"
        mara.get(path)
        assert held.there.wait(10)
        for one in (mara, bo):
            answer = one.get(path)
            assert "40 % is done." in words(answer)  # half of the planning
            assert '<progress max="1" value="0.400"' in answer.text
            assert '<noscript><meta http-equiv="refresh"' in answer.text
            assert "Call it off" in words(answer)
        sent = send(bo, answer, "off")
        assert (sent.status_code, sent.headers["location"]) == (303, path)
        for one in (mara, bo):
            answer = one.get(path)
            assert answer.status_code == 200
            assert "“The plan is being worked out” was called off by Bo. Nothing of it is kept" in words(answer)
            assert "refresh" not in answer.text
            assert 'data-reload="soon"' not in answer.text
            assert "Begin again" in words(answer)
        held.on.set()
        assert held.ended.wait(10)  # by its next telling
        assert "called off" in words(mara.get(path))
        assert held.calls == 1
        assert send(mara, answer, "begin").headers["location"] == path
        assert "Strip shim .030 in, 3 springs, pivots moved" in words(comes(bo, path, "What would narrow it most"))
        assert held.calls == 2
        assert send(bo, answer, "off").status_code == 303  # it is there already: nothing to call off
        assert "What would narrow it most" in words(bo.get(path))

    def test_what_changes_begins_by_itself(
        self, visitor: Visitor, visits: dict[str, str], shop: str, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        held = Held(plan_job, 0.1)
        monkeypatch.setattr(plan, "plan_job", held)
        visit = visits["sanderling-lower"]
        path = f"/visit/{visit}/plan"
        send(visitor, visitor.get(path), "off")
        held.on.set()
        assert "Begin again" in words(visitor.get(path))
        visitor.client.cookies.set("setwright_units", "inch")  # another plan than the one nobody wanted
        assert "is being worked out" in words(visitor.get(path))
        comes(visitor, path, "wanted")
        keep(InShop(shop, visit), ["note so it is still for millimetres"])
        visitor.client.cookies.set("setwright_units", "mm")
        assert "Begin again" in words(visitor.get(path))

    def test_drawings_of_a_sheet_are_called_off(
        self, visitor: Visitor, visits: dict[str, str], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        held = Held(sheet.drawings_of_job, 0.25)
        monkeypatch.setattr(sheet, "drawings_of_job", held)
        path = f"/visit/{visits['kestrel-float']}/sheet?drawn=1&case=C+17"
        visitor.get(path)
        assert held.there.wait(10)
        answer = visitor.get(path)
        assert "25 % is done." in words(answer)
        held.on.set()
        sent = send(visitor, answer, "off")
        assert sent.headers["location"] == path
        answer = comes(visitor, path, "Called off")
        assert "To the sheet without drawings" in words(answer)
        assert "called off" not in words(visitor.get(path.partition("?")[0]))  # the plain one stands for itself
        assert send(visitor, answer, "begin").headers["location"] == path
        answer = comes(visitor, path, "C 17")
        assert "checked> Drawings to scale" in answer.text
        assert held.calls == 2

    @pytest.mark.parametrize("back", ["https://elsewhere.test/", "//elsewhere.test", "/settings", "", "/visit/x\r\ny"])
    def test_the_way_back_stays_with_the_visit(self, visitor: Visitor, visits: dict[str, str], back: str) -> None:
        here = f"/visit/{visits['kestrel-float']}"
        for do in ("off", "begin", "else"):
            sent = visitor.post(f"{here}/work/{'0' * 32}", {"do": do, "back": back})
            assert (sent.status_code, sent.headers["location"]) == (303, here)

    def test_no_visit_no_work(self, visitor: Visitor) -> None:
        assert visitor.post("/visit/zzzzzzzzz/work/x", {"do": "off"}).status_code == 404


def test_nobody_need_listen() -> None:
    untold(0.5)
