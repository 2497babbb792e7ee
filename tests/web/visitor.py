"""A browser without eyes: it keeps cookies, and sends forms with the token of the page it has seen."""

from __future__ import annotations

import html
import re
from typing import Any

from starlette.applications import Starlette
from starlette.testclient import TestClient

from setwright.bench.pairing import invite
from setwright.bench.signin import worker_named

TOKEN = re.compile(r'name="token" value="([^"]+)"')


def beside(first: TestClient) -> TestClient:
    """Another browser at the same bench, with cookies of its own; the loop that answers is that of the first, which is
    open: each request would begin one for itself."""
    other = TestClient(first.app, base_url=str(first.base_url))
    other.portal = first.portal
    return other


class Visitor:
    """Loads pages and sends their forms."""

    def __init__(self, client: TestClient) -> None:
        self.client = client
        self.token = ""

    def get(self, path: str, **more: Any) -> Any:
        """Load a page, following where it leads."""
        answer = self.client.get(path, **more)
        found = TOKEN.search(answer.text) if answer.headers.get("content-type", "").startswith("text/html") else None
        if found:
            self.token = html.unescape(found[1])
        return answer

    def post(self, path: str, data: dict[str, Any] | None = None, **more: Any) -> Any:
        """Send a form; the answer is that of the form itself, 303 where it was taken."""
        if not self.token:
            self.get("/who")
        more.setdefault("follow_redirects", False)
        return self.client.post(path, data={"token": self.token, **(data or {})}, **more)

    def sign(self, name: str = "Mara") -> Visitor:
        """Say who is at this browser."""
        assert self.post("/who", {"name": name}).status_code == 303
        return self


def words(answer: Any) -> str:
    """What a page says, without its marks, in one line."""
    body = re.sub(r"<(script|style|svg)\b.*?</\1>", " ", answer.text, flags=re.DOTALL)
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", body)).split())


NETWORK = "https://bench.test:8400"
HOSTS = ("bench.test", "localhost", "127.0.0.1", "[::1]")
PINS = {"Mara": "482913", "Bo": "730164"}


class Network:
    """A shop in its network: makes browsers that were let in or not, at which somebody signed in or not."""

    def __init__(self, shop: str, app: Starlette, first: TestClient) -> None:
        self.shop = shop
        self.app = app
        self.first = first

    def stranger(self) -> Visitor:
        """A browser nobody let in."""
        return Visitor(beside(self.first))

    def way_in(self, minutes: int = 5) -> str:
        """The path of a way in for one bench."""
        return invite(self.shop, NETWORK, "Mara", minutes).address.removeprefix(NETWORK)

    def let_in(self, name: str = "tablet") -> Visitor:
        """A browser that was let in, at which nobody signed in."""
        visitor, way = self.stranger(), self.way_in()
        assert visitor.get(way).status_code == 200
        assert visitor.post(way, {"name": name}).status_code == 303
        return visitor

    def person(self, name: str) -> str:
        """The id of somebody who works here."""
        found = worker_named(self.shop, name)
        assert found is not None
        return found.id

    def sign_in(self, visitor: Visitor, name: str, pin: str | None = None) -> Any:
        """Type a PIN at a browser that was let in."""
        visitor.get(f"/who?person={self.person(name)}")
        answer = visitor.post("/who", {"person": self.person(name), "pin": PINS[name] if pin is None else pin})
        visitor.token = ""
        return answer

    def signed(self, name: str, bench: str = "tablet") -> Visitor:
        """A browser that was let in, at which somebody signed in."""
        visitor = self.let_in(bench)
        assert self.sign_in(visitor, name).status_code == 303
        return visitor
