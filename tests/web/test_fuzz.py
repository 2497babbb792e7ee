"""Anything at all, on every route with every method: no answer is a fault of the bench.

The app has no schema of its addresses; its routes are walked instead, and the fields are those its own source names,
so that new pages and new fields are covered by themselves. Requests go straight to the application, as a server that
checks nothing would hand them on.
"""

from __future__ import annotations

import asyncio
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.applications import Starlette
from starlette.routing import Route

import setwright.web
from setwright.bench.shop import held
from tests.web.test_every_route import SCRIPT, filled
from tests.web.test_security_walk import LEAKS, UNENDED, ids, routes
from tests.web.visitor import Network

pytestmark = pytest.mark.slow

SOURCES = sorted(Path(setwright.web.__file__).parent.rglob("*.py"))
NAMED = re.compile(r"""(?:text|texts|ticked|number|file|query_params\.get)\(\s*f?["']([\w. -]+)["']""")
FIELDS = sorted({name for source in SOURCES for name in NAMED.findall(source.read_text("utf-8"))} | {"token", "to"})
METHODS = ("GET", "POST", "HEAD", "PUT", "DELETE", "OPTIONS", "TRACE", "", "get", "\xff")
HOSTILE = (
    "", "0", "-1", "1e400", "-0.0", "nan", "inf", "9" * 400, "1/0", "0x10", "٣", "½", "2.4 mm", "1 2/3 turn", "\x00",
    "a\x00b", "\ud800", "\ufeff", "\u202e", "é" * 3000, SCRIPT, "%", "%zz", "%00", "%ff%fe", "../../etc/passwd",
    "{0.004}", "{}", "{{7*7}}", "\r\nset-cookie: x=1", "\n", "'; DROP TABLE visit; --", "read", "did", "strike #1",
    "known:x", "new:x", "2999-13-45", "on", "owner", "lead", "left", "role", "add", "came", "[" * 500, "(" * 500,
    "0." + "0" * 300 + "1", "=", "#", ",,,", "±", "E4 -3 c",
)  # fmt: skip
HEADERS = (
    b"accept", b"accept-encoding", b"accept-language", b"content-length", b"content-type", b"cookie", b"range",
    b"referer", b"if-none-match", b"if-modified-since", b"x-forwarded-for", b"transfer-encoding", b"sec-fetch-site",
    b"upgrade", b"expect",
)  # fmt: skip
LIMITS = settings(
    max_examples=700, deadline=None, derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow, HealthCheck.data_too_large],
)  # fmt: skip

texts = st.one_of(st.sampled_from(HOSTILE), st.text(max_size=40), st.integers().map(str), st.floats().map(str))
raw = st.one_of(texts.map(lambda text: text.encode("utf-8", "surrogatepass")), st.binary(max_size=60))
pairs = st.lists(st.tuples(st.one_of(st.sampled_from(FIELDS), st.text(max_size=8)), raw), max_size=8)
headers = st.lists(st.tuples(st.sampled_from(HEADERS), st.binary(max_size=40)), max_size=3)


class Direct:
    """The application without a server before it: what is asked reaches it as it is."""

    def __init__(self, app: Starlette, cookies: dict[str, str], token: str) -> None:
        self.app = app
        self.loop = asyncio.new_event_loop()
        self.cookie = "; ".join(f"{name}={value}" for name, value in cookies.items()).encode()
        self.token = token

    def ask(
        self, method: str, path: str, query: bytes, body: bytes, more: list[tuple[bytes, bytes]]
    ) -> tuple[int, list[tuple[bytes, bytes]], bytes]:
        """Status, headers and body of the answer; 599 where there was none."""
        given = {name for name, _ in more}
        usual = [(b"host", b"bench.test:8400"), (b"cookie", self.cookie)]
        scope: dict[str, Any] = {
            "type": "http", "asgi": {"version": "3.0", "spec_version": "2.3"}, "http_version": "1.1", "method": method,
            "scheme": "https", "path": path, "raw_path": quote(path, errors="replace").encode(), "query_string": query,
            "root_path": "", "headers": [one for one in usual if one[0] not in given] + more,
            "client": ("192.168.1.9", 4000), "server": ("bench.test", 8400),
        }  # fmt: skip
        return self.loop.run_until_complete(self._asked(scope, body))

    async def _asked(self, scope: dict[str, Any], body: bytes) -> tuple[int, list[tuple[bytes, bytes]], bytes]:
        came = [{"type": "http.request", "body": body, "more_body": False}]
        sent: list[Any] = []

        async def receive() -> Any:
            return came.pop(0) if came else {"type": "http.disconnect"}

        async def send(message: Any) -> None:
            sent.append(message)

        try:
            await asyncio.wait_for(self.app(scope, receive, send), 120)
        except Exception as error:
            return 599, [], repr(error).encode()
        start = next(one for one in sent if one["type"] == "http.response.start")
        content = b"".join(one.get("body", b"") for one in sent if one["type"] == "http.response.body")
        return start["status"], start["headers"], content


@pytest.fixture
def direct(network: Network) -> Iterator[Direct]:
    """A lead who is signed in, and a token of theirs."""
    mara = network.signed("Mara")
    mara.get("/settings")
    made = Direct(network.app, dict(mara.client.cookies.items()), mara.token)
    with held(network.shop):
        yield made
    made.loop.close()


def asked(app: Starlette, values: dict[str, str]) -> st.SearchStrategy[tuple[str, str]]:
    """Methods and addresses: mostly those there are, with what is there in their braces, and sometimes anything."""
    there = [
        (method, filled(path, values, "x"))
        for path, method in routes(app)
        if set(re.findall(r"\{(\w+)", path)) <= values.keys() and not path.startswith("/static")
    ]
    likely = st.integers(0, len(there) - 1).map(there.__getitem__)
    anything = st.tuples(st.sampled_from(METHODS), paths(app, values))
    return st.integers(0, 3).flatmap(lambda chance: likely if chance else anything)


def paths(app: Starlette, values: dict[str, str]) -> st.SearchStrategy[str]:
    """Addresses of the routes, with what is there in their braces, and with anything."""
    found = [one.path for one in app.routes if isinstance(one, Route) and not one.path.endswith("/changes")]
    kept = st.sampled_from(found)
    real = kept.map(lambda path: filled(path, values, "x"))
    wild = st.tuples(kept, texts).map(lambda both: filled(both[0], {}, both[1]))
    mixed = st.tuples(kept, st.sampled_from(sorted(values)), texts).map(
        lambda all_: filled(all_[0], values | {all_[1]: all_[2]}, all_[2])
    )
    return st.one_of(real, wild, mixed, texts.map(lambda text: f"/{text}"), texts)


def body_of(kind: str, token: str, fields: list[tuple[str, bytes]]) -> tuple[bytes, bytes]:
    """A body of a kind, with its content type."""
    if kind == "form":
        said = "&".join(f"{quote(name, errors='replace')}={quote(value)}" for name, value in fields)
        return f"token={quote(token)}&{said}".encode(), b"application/x-www-form-urlencoded"
    if kind == "parts":
        parts = [("token", token.encode()), *fields]
        lines = b"".join(
            b'--x\r\nContent-Disposition: form-data; name="%s"%s\r\n\r\n%s\r\n'
            % (name.encode("utf-8", "replace"), b'; filename="a"' if i % 3 == 2 else b"", value)
            for i, (name, value) in enumerate(parts)
        )
        return lines + b"--x--\r\n", b"multipart/form-data; boundary=x"
    return b"".join(value for _, value in fields), b"application/json"


def test_the_fields_of_the_app_are_found() -> None:
    assert {"words", "pin", "person", "name", "count", "text", "recheck"} <= set(FIELDS)
    assert len(FIELDS) > 40


@UNENDED
def test_no_request_is_answered_with_a_fault(direct: Direct, network: Network, visits: dict[str, str]) -> None:
    values = ids(network.shop, visits)
    statuses: dict[int, int] = {}

    @LIMITS
    @given(
        asked(network.app, values), pairs, pairs,
        st.sampled_from(("form", "form", "form", "parts", "parts", "other")),
        st.sampled_from((True, True, True, False)), headers,
    )  # fmt: skip
    def ask(
        what: tuple[str, str], query: list[tuple[str, bytes]], fields: list[tuple[str, bytes]], kind: str, own: bool,
        more: list[tuple[bytes, bytes]],
    ) -> None:  # fmt: skip
        method, path = what
        if path in ("/who/leave", "/pin", "/people", "/who", "/benches") and method == "POST":
            own = False  # or the one who asks would be signed out; tests/web/test_signin.py posts these
        said = "&".join(f"{quote(name, errors='replace')}={quote(value)}" for name, value in query).encode()
        body, content_type = body_of(kind, direct.token if own else "x", fields)
        usual = [(b"content-type", content_type)] if b"content-type" not in dict(more) else []
        status, head, content = direct.ask(method, path, said, body, usual + more)
        statuses[status] = statuses.get(status, 0) + 1
        text = content.decode("utf-8", "replace")
        assert status < 500, (method, path, status, text[:500])
        assert SCRIPT not in text
        assert not LEAKS.search(text), (path, LEAKS.search(text))
        assert not any(name.lower() == b"set-cookie" and b"x=1" in value for name, value in head)
        assert all(b"\r" not in value and b"\n" not in value and b"\0" not in value for _, value in head)

    ask()
    reached = {status: count for status, count in statuses.items() if status in (200, 303, 404, 405, 422)}
    assert reached.get(200, 0) > 50, statuses  # it reached pages,
    assert reached.get(303, 0) + reached.get(422, 0) > 50, statuses  # and what takes forms,
    assert reached.get(404, 0) > 20, statuses  # and what is not there


COOKIES = (
    b"\xff\xfe", b"a", b"=", b";;;", b"setwright_seat=\xff", b"setwright_bench=" + b"x" * 9000,
    b'setwright_bench="\\400"', b"setwright_units=\x00",
)  # fmt: skip
VALUES = (b"", b"\xff", b"\x00", b"http://[", b"-1", b"9" * 300, b"bytes=0-1,2-3,-9", b"a;b;c=", b"*")


def test_no_cookie_is_a_fault(direct: Direct) -> None:
    for cookie in COOKIES:
        for path in ("/", "/who", "/settings", "/pair/x"):
            status, _, content = direct.ask("GET", path, b"", b"", [(b"cookie", cookie)])
            assert status in (403, 404), (cookie, content[:300])


def test_no_header_is_a_fault(direct: Direct) -> None:
    for name in (b"host", b"origin", b"content-length", b"content-type", b"range", b"accept-encoding"):
        for value in VALUES:
            for method in ("GET", "POST"):
                status, _, content = direct.ask(method, "/settings", b"", b"units=mm", [(name, value)])
                assert status < 500, (name, value, content[:300])
