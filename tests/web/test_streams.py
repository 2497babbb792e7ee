"""Streams and sockets of the bench app, and its words, part by part."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable
from typing import Any

import pytest
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.routing import WebSocketRoute
from starlette.testclient import TestClient
from starlette.websockets import WebSocket, WebSocketDisconnect

from setwright.bench.journals import InShop, keep
from setwright.bench.next_step import Next
from setwright.planning.guide import Advice
from setwright.planning.plan import Step
from setwright.web import live, serving
from setwright.web.app import application, bench
from setwright.web.frame import WHO
from setwright.web.live import Presence, presence
from setwright.web.security import signed
from setwright.web.words import next_words
from tests.web.conftest import ADDRESS, KEY
from tests.web.visitor import Visitor


def request_to(app: Starlette, visit: str = "", who: str = "") -> Request:
    """A request as the app gets it."""
    cookie = f"{WHO}={signed(KEY, 'who Weir Lane Bench', who)}".encode()
    scope: dict[str, Any] = {
        "type": "http", "app": app, "method": "GET", "path": "/", "headers": [(b"cookie", cookie)],
        "path_params": {"visit": visit} if visit else {}, "query_string": b"",
    }  # fmt: skip
    return Request(scope)


class TestEvents:
    @pytest.fixture(autouse=True)
    def _fast(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(live, "EVERY", 0.01)
        monkeypatch.setattr(live, "ALIVE", 0.05)

    async def heard(self, request: Request, visit: str, write: Callable[[], object], app: Starlette) -> list[str]:
        out: list[str] = []
        async for line in live._events(request, visit, presence(request)):
            out.append(line)
            if line.startswith(": here") and len(out) < 4:
                await asyncio.to_thread(write)
            if line.startswith("event: change"):
                app.state.leaving = True
        return out

    def test_a_visit_tells_where_it_stands_that_it_lives_and_that_it_changed(
        self, shop: str, visits: dict[str, str]
    ) -> None:
        app, visit = application(bench(shop, KEY)), visits["dunlin-heavier"]
        request = request_to(app, visit, "Mara")
        told = asyncio.run(
            self.heard(request, visit, lambda: keep(InShop(shop, visit), ["note", "seen"], who="Bo"), app)
        )
        assert told[0].startswith("retry:")
        kinds = [line.partition("\n")[0] for line in told[1:]]
        assert kinds[0] == "event: start"
        assert kinds[-1] == "event: change"
        assert ": here" in kinds
        first, last = (json.loads(told[i].partition("data: ")[2]) for i in (1, -1))
        assert first == f"{visit}:1:0"
        assert last == f"{visit}:1:1"
        assert presence(request).on(visit) == ("Mara",)
        assert presence(request).listening == 0

    def test_the_day_tells_of_every_open_visit(self, shop: str, visits: dict[str, str]) -> None:
        app = application(bench(shop, KEY))
        request = request_to(app)
        told = asyncio.run(
            self.heard(request, "", lambda: keep(InShop(shop, visits["knot-too-weak"]), ["note", "x"]), app)
        )
        assert f"{visits['knot-too-weak']}:1:1" in told[-1]
        assert f"{visits['dunlin-heavier']}:1:0" in told[-1]

    def test_too_many_pages_that_listen_are_told_so(self, shop: str, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(live, "MOST", 0)
        app = application(bench(shop, KEY))
        with pytest.raises(HTTPException, match="Too many pages"):
            asyncio.run(live._changes(request_to(app)))

    def test_many_looks_are_one(self) -> None:
        here, asked = Presence(), []
        for visit in ("a", "a", "b", "a"):
            here.look(visit, lambda: asked.append(1))
        assert len(asked) == 2


class TestSockets:
    @pytest.fixture
    def client(self, shop: str) -> TestClient:
        async def answer(socket: WebSocket) -> None:
            await socket.accept()
            await socket.send_text("here")
            await socket.close()

        return TestClient(application(bench(shop, KEY), [WebSocketRoute("/ear", answer)]), base_url=ADDRESS)

    def test_a_socket_of_the_benchs_own_page_is_answered(self, client: TestClient) -> None:
        with client.websocket_connect("/ear", headers={"origin": ADDRESS, "host": "127.0.0.1:8400"}) as socket:
            assert socket.receive_text() == "here"

    @pytest.mark.parametrize(
        "headers",
        [
            {"origin": "http://shop.example", "host": "127.0.0.1:8400"},
            {"origin": "http://127.0.0.1:9000", "host": "127.0.0.1:8400"},
            {"origin": "http://shop.example", "host": "shop.example"},
            {"host": "127.0.0.1:8400"},
        ],
    )
    def test_a_socket_from_elsewhere_is_refused(self, client: TestClient, headers: dict[str, str]) -> None:
        with pytest.raises(WebSocketDisconnect) as refused, client.websocket_connect("/ear", headers=headers):
            pass
        assert refused.value.code == 1008


def test_serving_prints_the_address_and_lets_pages_go(
    shop: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Any
) -> None:
    import uvicorn

    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    seen: list[uvicorn.Server] = []

    def run(self: uvicorn.Server, sockets: Any = None) -> None:
        assert sockets[0].getsockname()[0] == "127.0.0.1"
        self.handle_exit(2, None)
        seen.append(self)

    monkeypatch.setattr(uvicorn.Server, "run", run)
    said: list[str] = []
    serving.serve(shop, 0, said.append)
    assert said[0].startswith("Weir Lane Bench: http://127.0.0.1:")
    assert seen[0].should_exit
    assert seen[0].config.app.state.leaving  # type: ignore[union-attr]
    assert {"/", "/take-in"} <= {getattr(one, "path", "") for one in serving.all_pages()}


def test_the_next_step_in_one_line() -> None:
    step = Next("hardware", Step("shim", "Put shims {0.000508} in"), 2, 5)
    assert next_words(step, "inch") == "Put shims .020 in in, step 2 of 5"
    advice = Next("balance", advice=Advice("tune", "why", 0, 329.63), wanted=(329.63,))
    assert next_words(advice, "mm").startswith("Tune string 1 to 329.6")


def test_an_unclear_owner_and_a_first_visit(browsers: Callable[[], Visitor], shop: str) -> None:
    from setwright.bench.shop import find_instruments

    visitor = browsers().sign()
    kestrel = next(one.id for one in find_instruments(shop) if one.name == "Kestrel")
    assert visitor.post(f"/instrument/{kestrel}", {"version": "1", "owner": ""}).status_code == 303
    assert visitor.post(f"/instrument/{kestrel}/owner", {"name": "x"}).status_code == 409
    assert "not known" in visitor.get(f"/instrument/{kestrel}").text


def test_a_look_that_was_begun_earlier_and_ends_later_tells_nothing_old() -> None:
    here = Presence()

    def slow() -> str:
        assert here.look("visit", lambda: "after", fresh=True) == "after"
        return "before"

    assert here.look("visit", slow, fresh=True) == "after"
    assert here.look("visit", lambda: "not asked") == "after"
