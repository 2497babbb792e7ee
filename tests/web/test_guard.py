"""Who is answered and who is not: hosts, origins, tokens, cookies, sizes, paths."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from starlette.requests import Request
from starlette.responses import Response
from starlette.testclient import TestClient

from setwright.bench.day import people_of
from setwright.errors import InputError, NoPlanError, StaleEditError
from setwright.web.app import application, bench, status_of
from setwright.web.routes import Form, at
from setwright.web.security import LOOPBACK, is_token, new_seat, seat_of, signed, token_of, unsigned
from tests.web.conftest import ADDRESS, KEY
from tests.web.visitor import Visitor, words

OTHER = b"o" * 32


@pytest.mark.parametrize("host", ["127.0.0.1:8400", "localhost:8400", "LOCALHOST".lower(), "[::1]:8400", "[::1]"])
def test_the_bench_answers_under_its_own_names(visitor: Visitor, host: str) -> None:
    assert visitor.client.get("/who", headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    "host",
    [
        "shop.example",
        "127.0.0.1.example:8400",
        "192.168.1.7:8400",
        "",
        "localhost.",
        "::1",
        "localhost:80:80",
        "a@localhost",
    ],
)
def test_a_name_that_only_leads_here_is_refused(visitor: Visitor, host: str) -> None:
    answer = visitor.client.get("/who", headers={"host": host})
    assert answer.status_code == 403
    assert "own name only" in answer.text
    assert "Weir Lane" not in answer.text


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"origin": ADDRESS}, 303),
        ({"origin": "http://localhost:9000"}, 403),
        ({"origin": "https://shop.example"}, 403),
        ({"origin": "null"}, 403),
        ({"sec-fetch-site": "same-origin"}, 303),
        ({"sec-fetch-site": "cross-site"}, 403),
        ({"sec-fetch-site": "same-site"}, 403),
    ],
)
def test_a_form_from_elsewhere_is_refused_whatever_it_carries(
    visitor: Visitor, headers: dict[str, str], status: int
) -> None:
    assert visitor.post("/settings", {"units": "mm"}, headers=headers).status_code == status


@pytest.mark.parametrize("token", ["", "x", "é" * 30, "A" * 100_000])
def test_a_form_without_the_token_of_its_page_changes_nothing(visitor: Visitor, shop: str, token: str) -> None:
    answer = visitor.post("/who", {"token": token, "name": "Eve"})
    assert answer.status_code == 403
    assert "another browser" in words(answer)
    assert [one.name for one in people_of(shop)] == ["Mara"]


def test_the_token_of_one_browser_does_not_serve_another(browsers: Callable[[], Visitor]) -> None:
    mara, eve = browsers().sign(), browsers()
    eve.get("/who")
    assert eve.token != mara.token
    eve.token = mara.token
    assert eve.post("/settings", {"units": "mm"}).status_code == 403


def test_a_seat_that_the_bench_did_not_give_is_not_sat_on(browsers: Callable[[], Visitor]) -> None:
    eve = browsers()
    fixed = new_seat()
    eve.client.cookies.set("setwright_seat", signed(OTHER, "seat", fixed), domain="127.0.0.1")
    eve.token = token_of(OTHER, fixed)
    answer = eve.post("/settings", {"units": "mm"})
    assert answer.status_code == 403
    assert "setwright_seat" in answer.headers["set-cookie"]  # a seat of the bench's own goes in its place


def test_cookies_stay_here_and_are_out_of_reach_of_scripts(browsers: Callable[[], Visitor]) -> None:
    answer = browsers().get("/who")
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie


def test_what_somebody_else_wrote_into_a_cookie_is_not_believed(browsers: Callable[[], Visitor]) -> None:
    eve = browsers()
    for name in ("setwright_who", "setwright_said"):
        for value in (
            "Mara",
            signed(OTHER, "who Weir Lane Bench", "Mara"),
            signed(KEY, "seat", "Mara"),
            "x" * 5000,
            ".",
            "a.b",
        ):
            eve.client.cookies.set(name, value, domain="127.0.0.1")
            answer = eve.get("/who")
            assert answer.status_code == 200
            assert "Mara" not in answer.text


def test_every_answer_carries_the_policy(visitor: Visitor, visits: dict[str, str]) -> None:
    for path in (
        "/",
        "/who",
        "/nowhere",
        f"/visit/{visits['kestrel-float']}",
        visitor.client.app.state.bench.shelf.address("paper.css"),
    ):
        answer = visitor.get(path)
        policy = answer.headers["content-security-policy"]
        assert "default-src 'self'" in policy
        assert "unsafe" not in policy
        assert "frame-ancestors 'none'" in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert "<script>" not in answer.text
        assert " style=" not in answer.text
        assert " onclick" not in answer.text
    assert visitor.get("/").headers["cache-control"] == "no-store"


@pytest.mark.parametrize(
    "path",
    ["/static/x/../../frame.py", "/static/x/..%2f..%2fapp.py", "/static/x/%2e%2e%2fapp.py", "/static//etc/passwd",
     "/static/x/app.py", "/static/x/paper.css%00", "/../../etc/passwd", "/visit/..%2f..%2fetc", "/visit/%00",
     "/visit/" + "a" * 5000, "/visit/%ff%fe"],
)  # fmt: skip
def test_no_path_leads_out(visitor: Visitor, path: str) -> None:
    assert visitor.get(path).status_code in (400, 404)


def test_a_form_larger_than_its_page_allows_is_refused_at_once(visitor: Visitor) -> None:
    answer = visitor.post("/settings", {"units": "x" * 300_000})
    assert answer.status_code == 413
    assert "256 kB" in words(answer)


def test_a_size_that_was_not_told_is_counted(visitor: Visitor) -> None:
    def parts() -> object:
        for _ in range(400):
            yield b"units=" + b"x" * 1000

    headers = {"content-type": "application/x-www-form-urlencoded"}
    answer = visitor.client.post("/settings", content=parts(), headers=headers, follow_redirects=False)
    assert answer.status_code == 413


@pytest.mark.parametrize(
    ("kind", "body"),
    [
        ("application/json", b"{}"),
        ("text/plain", b"units=mm"),
        ("", b""),
        ("multipart/form-data", b"no boundary"),
        ("multipart/form-data; boundary=x", b'--x\r\nContent-Disposition: form-data; name="a"\r\n\r\nno end'),
        ("multipart/form-data; boundary=x", b"\xff" * 1000),
        ("application/x-www-form-urlencoded", b"%zz=%ff&&&=;"),
        ("application/x-www-form-urlencoded", b"&".join(b"a=1" for _ in range(2000))),
    ],
)
def test_a_body_that_is_no_form_is_refused(visitor: Visitor, kind: str, body: bytes) -> None:
    answer = visitor.client.post("/settings", content=body, headers={"content-type": kind}, follow_redirects=False)
    assert answer.status_code in (400, 403, 413, 415)
    assert "text/html" in answer.headers["content-type"]


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "POST"])
def test_other_ways_of_asking_are_refused(visitor: Visitor, method: str) -> None:
    answer = visitor.client.request(method, "/")
    assert answer.status_code in (403, 405)


def test_only_routes_with_the_token_take_anything(visitor: Visitor) -> None:
    from starlette.routing import Route

    for route in visitor.client.app.routes:
        if isinstance(route, Route) and route.methods and route.methods - {"GET", "HEAD"}:
            assert route.endpoint.__qualname__.startswith("at."), route.path


class TestErrors:
    def client(self, shop: str, error: Exception) -> TestClient:
        def show(request: Request) -> Response:
            raise error

        app = application(bench(shop, KEY), [at("/", show)])
        return TestClient(app, base_url=ADDRESS, raise_server_exceptions=False)

    @pytest.mark.parametrize(
        ("error", "status", "said"),
        [
            (InputError("gap of {0.004} is <b>wrong</b>."), 422, "Gap of 4.00 mm is <b>wrong</b>."),
            (StaleEditError("changed by Mara", {}, {}), 409, "Changed by Mara."),
            (NoPlanError("nothing will do", (("claw {0.01}", "too short"),)), 422, "claw"),
        ],
    )
    def test_what_setwright_raises_becomes_a_page(self, shop: str, error: Exception, status: int, said: str) -> None:
        answer = self.client(shop, error).get("/")
        assert answer.status_code == status == status_of(error)
        assert said in words(answer)
        assert "<b>" not in answer.text

    def test_a_fault_tells_nothing_of_itself_to_the_reader_and_all_to_the_terminal(
        self, shop: str, caplog: pytest.LogCaptureFixture
    ) -> None:
        answer = self.client(shop, RuntimeError("secret /home/mara")).get("/")
        assert answer.status_code == 500
        assert "made a mistake here" in words(answer)
        assert "secret" not in answer.text
        assert "secret" in caplog.text


class TestSigned:
    def test_what_was_signed_comes_back(self) -> None:
        for text in ("", "Mara", "a.b", "ä€\u202e", "x" * 1000):
            assert unsigned(KEY, "who", signed(KEY, "who", text)) == text

    def test_any_other_key_purpose_or_letter_is_refused(self) -> None:
        whole = signed(KEY, "who", "Mara")
        assert unsigned(OTHER, "who", whole) is None
        assert unsigned(KEY, "seat", whole) is None
        for i in range(len(whole)):
            other = "A" if whole[i] != "A" else "B"
            assert unsigned(KEY, "who", whole[:i] + other + whole[i + 1 :]) is None
        assert unsigned(KEY, "who", None) is None
        assert unsigned(KEY, "who", "ä.b") is None

    def test_a_seat_is_22_signs_of_the_bench(self) -> None:
        seat = new_seat()
        assert seat_of(KEY, signed(KEY, "seat", seat)) == seat
        assert seat_of(KEY, signed(KEY, "seat", "short")) is None
        assert is_token(KEY, seat, token_of(KEY, seat))
        assert not is_token(KEY, None, token_of(KEY, seat))


def test_a_form_has_its_fields_in_order() -> None:
    form = Form((("a", " 1 "), ("a", "2"), ("token", "t"), ("b", "")))
    assert form.text("a") == "2"
    assert form.texts("a") == ["1", "2"]
    assert form.text("c", "other") == "other"
    assert (form.ticked("a"), form.ticked("b"), form.ticked("c")) == (True, False, False)
    assert form.typed() == {"a": "2", "b": ""}
    assert form.file("a") is None


def test_hosts_of_the_loopback_are_the_only_usual_ones() -> None:
    assert set(LOOPBACK) == {"localhost", "127.0.0.1", "[::1]"}
