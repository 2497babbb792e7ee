"""A walk around the whole app as somebody hostile would make it, by the list of the OWASP Top Ten (2021).

Broken access control, injection, insecure design, misconfiguration, failures of identification and of logging, and
requests forged by other pages (from memory): on every route there is, so that a new page is covered by itself. Each is
refused, told to the terminal, noted in the shop, and nothing is leaked.
"""

from __future__ import annotations

import html
import io
import logging
import re
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path

import pytest
from starlette.routing import Route, WebSocketRoute
from starlette.testclient import TestClient
from starlette.websockets import WebSocketDisconnect

from setwright.bench.attachments import attach
from setwright.bench.audit import audit_of
from setwright.bench.house import specify
from setwright.bench.shop import add_job, check_shop, make_shop, show_visit
from tests.web.conftest import EXAMPLES
from tests.web.test_every_route import SCRIPT, filled
from tests.web.visitor import NETWORK, Network, Visitor, words

pytestmark = pytest.mark.slow

IMAGE = '"><img src=x onerror=alert(1)>'
LEAKS = re.compile(r"Traceback|File \"|site-packages|sqlalchemy|sqlite3|/tmp/|/home/|psycopg", re.IGNORECASE)
KINDS = re.compile(r"text/html|text/plain|text/css|text/javascript|image/|application/pdf|application/json")
ENDLESS = ("/changes",)
# a part without its end: the parser lets go of its file with itself, and the file is closed then
UNENDED = pytest.mark.filterwarnings("ignore:Exception ignored in.*SpooledTemporaryFile")


def ids(shop: str, visits: dict[str, str]) -> dict[str, str]:
    """What stands in the braces of paths, of this shop."""
    visit = visits["dunlin-heavier"]
    house = specify(shop, "house", "rear gap = 2.4 mm ± 0.2 mm", "", "Mara", 0)
    text = attach(shop, "other", "a.txt", io.BytesIO(b"text"), visit=visit)
    return {
        "visit": visit, "instrument": show_visit(shop, visit).instrument.id, "specification": house.id,
        "file": text.id, "version": "x", "name": "paper.css", "numbers": "1", "kind": "owner", "drawing": "side",
    }  # fmt: skip


def routes(app: object) -> list[tuple[str, str]]:
    """Path and method of every route that answers at once."""
    found = [one for one in app.routes if isinstance(one, Route) and not one.path.endswith(ENDLESS)]  # type: ignore[attr-defined]
    return [(one.path, method) for one in found for method in sorted((one.methods or set()) - {"HEAD"})]


def quiet(answer: object, where: str) -> None:
    """Nothing of the inside stands in an answer, and it is of a kind a browser shows as what it is."""
    status, text = answer.status_code, answer.text  # type: ignore[attr-defined]
    assert status < 500, (where, status)
    assert not LEAKS.search(text), (where, LEAKS.search(text))
    headers = answer.headers  # type: ignore[attr-defined]
    assert headers["x-content-type-options"] == "nosniff", where
    assert "default-src 'self'" in headers["content-security-policy"], where
    assert "server" not in headers, where
    if text:
        assert KINDS.match(headers.get("content-type", "")), (where, headers.get("content-type"))


def told(shop: str, part: str) -> bool:
    return any(one.event == "refused" and part in one.words for one in audit_of(shop).events)


class TestWithoutBeingLetIn:
    def test_nothing_is_answered_and_nothing_is_done(
        self, network: Network, visits: dict[str, str], caplog: pytest.LogCaptureFixture
    ) -> None:
        values, before = ids(network.shop, visits), check_shop(network.shop)
        with caplog.at_level(logging.WARNING):
            for kind, visitor in (("stranger", network.stranger()), ("nobody signed in", network.let_in())):
                visitor.get("/who")
                for path, method in routes(network.app):
                    where = filled(path, values, "x")
                    if path.startswith(("/static", "/pair")) or where == "/who":
                        continue
                    answer = visitor.client.request(
                        method, where, data={"token": visitor.token, "name": "x"} if method == "POST" else None,
                        follow_redirects=False,
                    )  # fmt: skip
                    away = kind != "stranger" and method == "GET"
                    assert answer.status_code == (303 if away else 403), (kind, where)
                    assert "Weir Lane" not in answer.text
                    if away:
                        assert answer.headers["location"].startswith("/who?to=/")
                    else:
                        quiet(answer, where)
        assert "refused: " in caplog.text
        assert told(network.shop, "not let in")
        assert told(network.shop, "Nobody is signed in")
        assert check_shop(network.shop).entries == before.entries

    def test_no_socket_and_no_stream_either(self, network: Network, visits: dict[str, str]) -> None:
        visitor = network.stranger()
        sockets = [one.path for one in network.app.routes if isinstance(one, WebSocketRoute)]
        assert sockets
        for path in sockets:
            where = f"wss://bench.test:8400{filled(path, visits | {'visit': visits['knot-too-weak']}, 'x')}"
            with (
                pytest.raises(WebSocketDisconnect),
                visitor.client.websocket_connect(where, headers={"origin": NETWORK}),
            ):
                pass
        for path in ("/changes", f"/visit/{visits['knot-too-weak']}/changes"):
            assert visitor.client.get(path).status_code == 403

    @pytest.mark.parametrize("value", ["x", "A" * 43, "'; --", "é", "\x7f", "x" * 8000, "a=b; setwright_sitting=c"])
    def test_invented_secrets_are_nobodys(self, network: Network, value: str) -> None:
        visitor = network.stranger()
        answer = visitor.client.get("/", headers={b"cookie": b"setwright_bench=" + value.encode()})
        assert answer.status_code == 403
        quiet(answer, value)


class TestOthers:
    def test_what_another_shop_calls_its_own_is_nothing_here(
        self, network: Network, visits: dict[str, str], tmp_path: Path
    ) -> None:
        other = str(tmp_path / "other")
        make_shop(other, "Other Bench")
        visit = add_job(other, str(EXAMPLES / "kestrel-float.job.toml"), owner="Cy Reed").added.visit.id
        theirs = ids(other, {"dunlin-heavier": visit})
        ours, mara = ids(network.shop, visits), network.signed("Mara")
        mara.get("/settings")
        walked = 0
        for path, method in routes(network.app):
            named = [one for one in ("visit", "instrument", "specification", "file") if f"{{{one}}}" in path]
            for one in named:
                where = filled(path, ours | {one: theirs[one]}, "x")
                answer = mara.client.get(where) if method == "GET" else mara.post(where, {"name": "x", "words": "x"})
                assert answer.status_code == 404, where
                assert "Reed" not in answer.text
                quiet(answer, where)
                walked += 1
        assert walked > 20

    @pytest.mark.parametrize(
        "up",
        ["../../../../etc/passwd", "..%2f..%2f..%2fetc%2fpasswd", "%2e%2e/%2e%2e/etc/passwd", "....//etc/passwd",
         "..%5c..%5cwindows", "%2fetc%2fpasswd", "..%c0%af..%c0%afetc", "%252e%252e%252fetc", "shop.sqlite",
         "bench-tls.key",
         "..%2fbench-tls.key", "%00", "paper.css%00.html", "~root", "file:%2f%2f%2fetc%2fpasswd"],
    )  # fmt: skip
    def test_no_path_leads_out(self, network: Network, visits: dict[str, str], up: str) -> None:
        values, mara = ids(network.shop, visits), network.signed("Mara")
        for path, method in routes(network.app):
            if "{" not in path:
                continue
            for brace in set(re.findall(r"\{(\w+)", path)) - {"version"}:  # any run of the bench is a version
                where = path
                for name in re.findall(r"\{(\w+)", path):
                    where = where.replace(f"{{{name}}}", up if name == brace else values.get(name, "x"))
                if method == "GET":
                    answer = mara.client.get(where, follow_redirects=False)
                    assert answer.status_code in (303, 400, 403, 404, 405, 422), where
                    assert "root:" not in answer.text
                    assert "PRIVATE KEY" not in answer.text
                    assert "SQLite format" not in answer.text
                    quiet(answer, where)

    def test_a_file_somebody_attached_is_handed_out_as_nothing_a_browser_runs(
        self, network: Network, visits: dict[str, str]
    ) -> None:
        mara = network.signed("Mara")
        page = f"<html><script>alert(1)</script>{SCRIPT}</html>".encode()
        for name in ("a.html", "a.svg", "a.mjs", "a\r\nset-cookie: x=1.html", "../../a.html", '"; x="', "é\u202e.html"):
            try:
                kept = attach(network.shop, "other", name, io.BytesIO(page), visit=visits["dunlin-heavier"])
            except Exception as error:
                assert type(error).__name__ in ("InputError", "FileFormatError"), error  # noqa: PT017
                continue
            answer = mara.client.get(f"/file/{kept.id}")
            assert answer.headers["content-type"].split(";")[0] not in (
                "text/html", "image/svg+xml", "text/javascript", "application/xhtml+xml", "text/xml",
            ), name  # fmt: skip
            assert answer.headers["content-disposition"].startswith("attachment"), name
            assert "set-cookie" not in answer.headers


class Fields(HTMLParser):
    """The forms of a page, each with where it goes and what stands in its fields."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.forms: list[tuple[str, str, dict[str, str], set[str]]] = []
        self._in: tuple[str, str, dict[str, str], set[str]] | None = None
        self._area = self._select = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note a form and its fields."""
        said = {name: value or "" for name, value in attrs}
        if tag == "form":
            self._in = (said.get("action", ""), said.get("method", "get").lower(), {}, set())
            self.forms.append(self._in)
        if self._in is None or ("name" not in said and tag != "option"):
            return
        _, _, values, typed = self._in
        if tag == "input" and said.get("type") not in ("file", "checkbox", "radio"):
            values[said["name"]] = said.get("value", "")
            typed.add(said["name"])
        elif tag == "button" and said.get("value"):
            values.setdefault(said["name"], said["value"])
            typed.add(said["name"])
        elif tag in ("textarea", "select"):
            values.setdefault(said["name"], "")
            typed.add(said["name"])
            self._area, self._select = (said["name"], "") if tag == "textarea" else ("", said["name"])
        elif tag == "option" and self._select and ("selected" in said or not values.get(self._select)):
            values[self._select] = said.get("value", "")

    def handle_data(self, data: str) -> None:
        """What stands in a field of several lines."""
        if self._in is not None and self._area:
            self._in[2][self._area] += data

    def handle_endtag(self, tag: str) -> None:
        """The end of a form or a field."""
        if tag == "form":
            self._in = None
        if tag == "textarea":
            self._area = ""
        if tag == "select":
            self._select = ""


def pages(visitor: Visitor, app: object, values: dict[str, str]) -> Iterator[tuple[str, str]]:
    """Every page that shows itself, and its text."""
    for path, method in routes(app):
        if method == "GET" and not path.startswith(("/static", "/pair")):
            answer = visitor.client.get(filled(path, values, "x"))
            if answer.status_code == 200 and answer.headers["content-type"].startswith("text/html"):
                yield filled(path, values, "x"), answer.text


def clean(text: str, where: str) -> None:
    """No text somebody typed has become markup."""
    assert SCRIPT not in text, where
    assert "<img src=x" not in text, where
    assert not re.search(r"<[^>]*\son\w+=", re.sub(r'"[^"]*"', '""', text)), where
    assert 'href="javascript:' not in text.lower(), where


def test_script_in_every_field_of_every_form_of_every_page_stays_text(network: Network, visits: dict[str, str]) -> None:
    values, mara = ids(network.shop, visits), network.signed("Mara")
    sent = kept = 0
    for hostile in (SCRIPT, IMAGE, "javascript:alert(1)"):
        for where, text in list(pages(mara, network.app, values)):
            clean(text, where)
            for action, method, fields, typed in Fields(text).forms:
                goes = html.unescape(action) or where
                if goes == "/who/leave" or (goes, fields.get("deed")) in (("/people", "left"), ("/people", "pin")):
                    continue
                for name in typed - {"token"}:
                    data = fields | {name: hostile}
                    if method == "get":
                        answer = mara.client.get(goes, params=data)
                    else:
                        mara.get(where)
                        answer = mara.post(goes, data | {"token": mara.token}, follow_redirects=True)
                    assert answer.status_code < 500, (goes, name)
                    clean(answer.text, f"{goes} {name}")
                    sent += 1
    for where, text in pages(mara, network.app, values):
        clean(text, where)
        kept += html.escape(SCRIPT, quote=False) in text or html.escape(SCRIPT) in text
    assert sent > 100
    assert kept >= 3  # it was taken somewhere, and stands there as text


class TestForgedRequests:
    def test_no_form_is_taken_without_the_token_of_this_browser(
        self, network: Network, visits: dict[str, str], caplog: pytest.LogCaptureFixture
    ) -> None:
        values = ids(network.shop, visits)
        mara, bo = network.signed("Mara"), network.signed("Bo", "screen")
        bo.get("/settings")
        before = check_shop(network.shop)
        with caplog.at_level(logging.WARNING):
            for path, method in routes(network.app):
                if method != "POST" or path.startswith("/pair"):
                    continue
                where = filled(path, values, "x")
                for token in ("", "x", bo.token, "é" * 20, None):
                    data = {"name": "x", "words": "x"} | ({} if token is None else {"token": token})
                    answer = mara.client.post(where, data=data, follow_redirects=False)
                    assert answer.status_code == 403, where
                    quiet(answer, where)
        assert "another browser" in caplog.text
        assert told(network.shop, "another browser")
        assert check_shop(network.shop).entries == before.entries

    @pytest.mark.parametrize(
        "headers",
        [{"origin": "https://elsewhere.test"}, {"origin": "null"}, {"origin": "http://bench.test:8400"},
         {"origin": "https://bench.test:9999"}, {"origin": "https://bench.test.elsewhere.test:8400"},
         {"origin": "https://["}, {"origin": ""}, {"sec-fetch-site": "cross-site"}, {"sec-fetch-site": "same-site"}],
    )  # fmt: skip
    def test_no_form_of_another_page_is_taken_whatever_it_carries(
        self, network: Network, visits: dict[str, str], headers: dict[str, str]
    ) -> None:
        values, mara = ids(network.shop, visits), network.signed("Mara")
        mara.get("/settings")
        for path, method in routes(network.app):
            if method == "POST":
                answer = mara.post(filled(path, values, "x"), {"name": "x"}, headers=headers)
                assert answer.status_code == 403, path
                assert "from elsewhere" in answer.text
        assert told(network.shop, "from elsewhere")

    @pytest.mark.parametrize(
        "host",
        ["elsewhere.test", "bench.test.elsewhere.test", "", "bench.test@elsewhere.test", "10.0.0.9:8400",
         "bench.test:8400:1",
         "[::1", "bench.test/", "xn--bench-.test", "127.0.0.1.nip.test", "BENCH.TEST.",
         "bench.test\t", "a, bench.test"],
    )  # fmt: skip
    def test_no_other_name_of_this_machine_is_answered(self, network: Network, host: str) -> None:
        mara = network.signed("Mara")
        for path in ("/", "/who", "/settings"):
            answer = mara.client.get(path, headers={"host": host})
            assert answer.status_code == 403, host
            assert "Weir" not in answer.text

    def test_forwarded_names_and_methods_change_nothing(self, network: Network, visits: dict[str, str]) -> None:
        stranger, mara = network.stranger(), network.signed("Mara")
        forged = {
            "x-forwarded-host": "elsewhere.test", "x-forwarded-for": "127.0.0.1", "forwarded": "for=127.0.0.1",
            "x-forwarded-proto": "http", "x-original-url": "/settings", "x-rewrite-url": "/settings",
            "x-http-method-override": "POST", "x-real-ip": "127.0.0.1",
        }  # fmt: skip
        assert stranger.client.get("/", headers=forged).status_code == 403
        answer = mara.client.get("/settings", headers=forged)
        assert answer.status_code == 200
        assert "elsewhere.test" not in answer.text + str(answer.headers)
        for method in ("PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "CONNECT", "PROPFIND", "HACK"):
            assert mara.client.request(method, "/settings").status_code in (403, 405), method


class TestWhereItLeads:
    TO = (
        "https://elsewhere.test", "//elsewhere.test", "/\\elsewhere.test", "\\\\elsewhere.test", "/\t/elsewhere.test",
        "javascript:alert(1)", "/%0d%0aset-cookie:x=1", "/x\r\nset-cookie: x=1", "https:elsewhere.test",
        "///elsewhere.test",
        "/\n/elsewhere.test", " //elsewhere.test", "/./\\elsewhere.test", "http:///elsewhere.test", "@elsewhere.test",
        "\x00//elsewhere.test", "/..//elsewhere.test", "/" + "a" * 5000,
    )  # fmt: skip

    @pytest.mark.parametrize("to", TO)
    def test_after_the_sign_in_only_to_a_page_of_the_bench(self, network: Network, to: str) -> None:
        visitor = network.let_in()
        page = visitor.get("/who", params={"to": to, "person": network.person("Bo")})
        assert "elsewhere.test" not in re.sub(r'"/[^"]*"', "", page.text.replace("to=/", ""))
        answer = visitor.post("/who", {"person": network.person("Bo"), "pin": "730164", "to": to})
        assert answer.status_code == 303
        self.own(answer.headers["location"])
        assert "x=1" not in answer.headers.get("set-cookie", "")

    @pytest.mark.parametrize("to", TO)
    def test_on_the_machine_too(self, visitor: Visitor, to: str) -> None:
        answer = visitor.post("/who", {"name": "Mara", "to": to})
        assert answer.status_code == 303
        self.own(answer.headers["location"])

    def own(self, location: str) -> None:
        assert location.startswith("/")
        assert not location.startswith(("//", "/\\"))
        assert location.isascii()
        assert location.isprintable()


class TestSizes:
    def test_nothing_larger_than_its_page_allows_comes_in(self, network: Network, visits: dict[str, str]) -> None:
        values, mara = ids(network.shop, visits), network.signed("Mara")
        mara.get("/settings")
        large = b"x" * 41_000_000
        for path, method in routes(network.app):
            if method != "POST" or path.startswith("/pair"):
                continue
            where = filled(path, values, "x")
            head = {"content-length": str(10**12), "content-type": "application/x-www-form-urlencoded"}
            answer = mara.client.post(where, content=b"token=x", headers=head, follow_redirects=False)
            assert answer.status_code in (400, 413), where
            head = {"content-type": "application/x-www-form-urlencoded"}
            pieces = (large[i : i + 1_000_000] for i in range(0, len(large), 1_000_000))  # no length is told
            answer = mara.client.post(where, content=pieces, headers=head, follow_redirects=False)
            assert answer.status_code in (403, 413), where
            quiet(answer, where)
        assert told(network.shop, "larger than")

    @UNENDED
    def test_what_is_no_upload_is_refused_in_a_sentence(self, network: Network, visits: dict[str, str]) -> None:
        values, mara = ids(network.shop, visits), network.signed("Mara")
        mara.get("/settings")
        token = b'--x\r\nContent-Disposition: form-data; name="token"\r\n\r\n' + mara.token.encode() + b"\r\n"
        part = (
            b'--x\r\nContent-Disposition: form-data; name="photo"; filename="%s"\r\nContent-Type: image/jpeg\r\n\r\n%s'
        )
        bodies = (
            b"", b"--x", b"--x--", b"no boundary", token, token + b"--x--\r\n", token + part % (b"a.jpg", b""),
            token + part % (b"a.jpg", b"\xff\xd8\xff\xe0") + b"\r\n--x--\r\n",
            token + part % (b"../../a.jpg", b"<script>") + b"\r\n--x--\r\n",
            token + part % (b"a\x00b.jpg", b"\x89PNG\r\n\x1a\n" + b"\xff" * 99) + b"\r\n--x--\r\n",
            token + part % (b"\xff\xfe.wav", b"RIFF\xff\xff\xff\xffWAVEfmt ") + b"\r\n--x--\r\n",
            token + part.replace(b"image/jpeg", b"text/\xff") % (b"x" * 5000, b"GIF89a") + b"\r\n--x--\r\n",
            b"\xff" * 2000, token * 1200 + b"--x--\r\n",
        )  # fmt: skip
        for path, method in routes(network.app):
            if method != "POST" or path.startswith("/pair") or path in ("/who/leave", "/who"):
                continue
            where = filled(path, values, "x")
            for kind in (
                "multipart/form-data; boundary=x",
                "multipart/form-data",
                "multipart/form-data; boundary=\xe9",
            ):
                for body in bodies:
                    head = {b"content-type": kind.encode("latin-1")}
                    answer = mara.client.post(where, content=body, headers=head, follow_redirects=False)
                    quiet(answer, where)
                    assert answer.status_code in (200, 303, 400, 403, 404, 409, 413, 415, 422), where


def test_a_fault_is_told_to_the_terminal_and_to_nobody_else(
    network: Network, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    mara = network.signed("Mara")

    def broken(*_: object) -> None:
        raise RuntimeError("secret /home/mara/weir")

    monkeypatch.setattr("setwright.web.pages.access.workers_of", broken)
    client = TestClient(network.app, base_url=NETWORK, raise_server_exceptions=False, cookies=mara.client.cookies)
    answer = client.get("/people")
    assert answer.status_code == 500
    assert "secret" not in answer.text
    assert not LEAKS.search(answer.text)
    assert "secret" in caplog.text


def test_refusals_fill_neither_the_terminal_nor_the_shop(network: Network, caplog: pytest.LogCaptureFixture) -> None:
    stranger = network.stranger()
    for number in range(60):
        assert stranger.client.get(f"/x{number}").status_code == 403
    rows = [one for one in audit_of(network.shop).events if one.event == "refused"]
    assert len(rows) == 5
    assert "more of this kind" in rows[0].words
    assert caplog.text.count("not let in") == 5
    assert stranger.client.get("/pair/secret-of-somebody").status_code == 404
    assert "secret-of-somebody" not in caplog.text


def test_no_page_lets_a_browser_guess(network: Network, visits: dict[str, str]) -> None:
    """Names of the form fields that are secret never come back, in any answer."""
    mara = network.signed("Mara")
    mara.get("/pin")
    answer = mara.post("/pin", {"old": "31415926", "pin": "271828", "again": "271829"})
    assert answer.status_code == 422
    for typed in ("31415926", "271828", "271829"):
        assert typed not in answer.text
    assert words(answer)
