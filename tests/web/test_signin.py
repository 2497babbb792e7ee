"""In the shop's network: who is let in, who signs in, what they may do, and how all of it ends."""

from __future__ import annotations

import logging
from datetime import UTC, datetime, timedelta

import pytest
from starlette.requests import HTTPConnection
from starlette.testclient import WebSocketTestSession
from starlette.websockets import WebSocketDisconnect

from setwright.bench import pairing, signin
from setwright.bench.audit import audit_of
from setwright.bench.day import person_of
from setwright.bench.owners import edit_instrument, person_left
from setwright.bench.pairing import IDLE, LIFE, benches, invite, known, let_in, shut
from setwright.bench.shop import show_visit
from setwright.bench.signin import check_try, set_pin, set_role, wait_after, worker_named, workers_of
from setwright.errors import InputError, TooOftenError
from setwright.web.signin import DEVICE, SITTING, still_in
from tests.web.visitor import NETWORK, PINS, Network, Visitor, words

NOW = datetime(2026, 11, 30, 9, 0, tzinfo=UTC)


def happened(shop: str, event: str) -> list[str]:
    return [f"{one.who} {one.about} {one.device} {one.words}" for one in audit_of(shop).events if one.event == event]


class TestComingIn:
    def test_a_stranger_learns_nothing_of_the_shop(self, network: Network, visits: dict[str, str]) -> None:
        stranger = network.stranger()
        for path in ("/", "/who", "/settings", f"/visit/{visits['kestrel-float']}", "/instruments", "/nowhere"):
            answer = stranger.get(path)
            assert answer.status_code == 403
            assert "not let in" in words(answer)
            for told in ("Weir Lane", "Mara", "Kestrel", "Ada"):
                assert told not in answer.text

    def test_a_way_in_serves_once_whoever_looks_at_it_before(self, network: Network) -> None:
        way = network.way_in()
        first, second = network.stranger(), network.stranger()
        for one in (first, second, second):
            assert one.get(way).status_code == 200
        assert second.post(way, {"name": "tablet"}).status_code == 303
        assert first.post(way, {"name": "thief"}).status_code == 404
        assert "was used" in words(network.stranger().get(way))
        assert [one.name for one in benches(network.shop)] == ["tablet"]

    def test_an_old_way_in_and_an_invented_one_lead_nowhere(self, network: Network) -> None:
        old = invite(network.shop, NETWORK, now=datetime.now(UTC) - timedelta(minutes=6)).address
        for path in (old.removeprefix(NETWORK), "/pair/x", "/pair/" + "A" * 32, "/pair/%00", "/pair/" + "a" * 3000):
            assert network.stranger().get(path).status_code == 404

    def test_a_name_that_is_none_uses_nothing_up(self, network: Network) -> None:
        way, visitor = network.way_in(), network.stranger()
        visitor.get(way)
        for name in ("", " ", "x" * 61, "a\nb", "\x00"):
            assert visitor.post(way, {"name": name}).status_code == 422
        assert visitor.post(way, {"name": "<b>tablet</b>"}).status_code == 303
        assert "<b>" not in network.signed("Mara", "screen").get("/benches").text

    def test_two_at_the_same_time_are_one(self, network: Network) -> None:
        secret = network.way_in().rpartition("/")[2]
        assert let_in(network.shop, secret, "a") is not None
        assert let_in(network.shop, secret, "b") is None
        assert happened(network.shop, "way in refused")

    def test_what_the_browser_keeps_stays_with_it(self, network: Network) -> None:
        visitor, way = network.stranger(), network.way_in()
        visitor.get(way)
        cookie = visitor.post(way, {"name": "tablet"}).headers["set-cookie"].lower()
        for word in ("httponly", "secure", "samesite=strict", "path=/"):
            assert word in cookie
        cookies = network.sign_in(visitor, "Bo").headers.get_list("set-cookie")
        assert len(cookies) == 2
        for one in cookies:
            assert {"httponly", "secure", "samesite=strict"} <= set(one.lower().split("; "))

    def test_a_bench_that_is_shut_out_is_out_at_once(self, network: Network) -> None:
        mara, bo = network.signed("Mara", "screen"), network.signed("Bo", "tablet")
        assert bo.get("/settings").status_code == 200
        (tablet,) = (one.id for one in benches(network.shop) if one.name == "tablet")
        mara.get("/benches")
        assert mara.post("/benches", {"deed": "shut", "bench": tablet}).status_code == 303
        assert bo.get("/settings").status_code == 403
        assert bo.post("/settings", {"units": "mm"}).status_code == 403
        assert "shut out" in words(mara.get("/benches")).lower()
        assert happened(network.shop, "bench shut out") == ["Mara tablet screen "]

    def test_a_lead_opens_a_way_in_on_the_page(self, network: Network) -> None:
        mara = network.signed("Mara")
        mara.get("/benches")
        answer = mara.post("/benches", {"deed": "invite"})
        assert answer.status_code == 200
        assert "<svg" in answer.text
        assert "AA:BB:CC" in answer.text
        way = next(word for word in words(answer).split() if word.startswith(f"{NETWORK}/pair/"))
        assert network.stranger().get(way.removeprefix(NETWORK)).status_code == 200
        assert way.rpartition("/")[2] not in mara.get("/benches").text + mara.get("/audit").text


@pytest.mark.slow
class TestSigningIn:
    def test_only_the_page_to_sign_in_is_there_before(self, network: Network, visits: dict[str, str]) -> None:
        visitor = network.let_in()
        for path in ("/", "/settings", f"/visit/{visits['kestrel-float']}"):
            answer = visitor.client.get(path, follow_redirects=False)
            assert (answer.status_code, answer.headers["location"]) == (303, f"/who?to={path}")
        assert "Mara" in words(visitor.get("/who"))
        assert visitor.post("/settings", {"units": "mm"}).status_code == 403

    def test_the_right_pin_leads_on_and_the_name_stands_beside_what_is_done(
        self, network: Network, visits: dict[str, str]
    ) -> None:
        visitor = network.let_in()
        visitor.get(f"/who?person={network.person('Bo')}&to=/settings")
        fields = {"person": network.person("Bo"), "pin": PINS["Bo"], "to": "/settings"}
        answer = visitor.post("/who", fields)
        assert (answer.status_code, answer.headers["location"]) == (303, "/settings")
        assert "Bo" in words(visitor.get("/settings"))
        visitor.client.cookies.set("setwright_who", "Mara", domain="bench.test")
        line = {"verb": "note", "words": "by the network"}
        assert visitor.post(f"/visit/{visits['dunlin-heavier']}/line", line).status_code == 303
        assert show_visit(network.shop, visits["dunlin-heavier"]).journal.entries[-1].who == "Bo"

    @pytest.mark.parametrize("pin", ["", "730165", "7301640", "٧٣٠١٦٤", "'; --", "\x00", "9" * 500])
    def test_a_wrong_pin_is_refused_and_noted(self, network: Network, pin: str) -> None:
        visitor = network.let_in()
        answer = network.sign_in(visitor, "Bo", pin)
        assert answer.status_code == 422
        assert "not the PIN of Bo" in words(answer)
        assert pin == "" or pin not in answer.text.replace('value=""', "")
        assert SITTING not in answer.headers.get("set-cookie", "")
        assert happened(network.shop, "sign-in refused") == [" Bo tablet wrong PIN"]

    def test_a_secret_of_one_bench_serves_at_no_other(self, network: Network) -> None:
        bo, other = network.signed("Bo"), network.let_in("screen")
        other.client.cookies.set(SITTING, bo.client.cookies[SITTING], domain="bench.test")
        assert other.client.get("/settings", follow_redirects=False).status_code == 303
        alone = network.stranger()
        alone.client.cookies.set(SITTING, bo.client.cookies[SITTING], domain="bench.test")
        assert alone.get("/settings").status_code == 403

    def test_names_are_new_at_every_sign_in_and_the_old_ones_are_dead(self, network: Network) -> None:
        visitor = network.let_in()
        visitor.client.cookies.set(SITTING, "fixed", domain="bench.test")
        visitor.get("/who")
        before = (visitor.token, visitor.client.cookies["setwright_seat"])
        visitor.client.cookies.delete(SITTING)
        network.sign_in(visitor, "Bo")
        first = visitor.client.cookies[SITTING]
        assert first != "fixed"
        assert visitor.client.cookies["setwright_seat"] != before[1]
        visitor.token = before[0]
        assert visitor.post("/settings", {"units": "mm"}).status_code == 403  # a form of before the sign-in
        visitor.client.cookies.set("setwright_seat", before[1], domain="bench.test", path="/")
        visitor.token = before[0]
        assert visitor.post("/settings", {"units": "mm"}).status_code == 403  # even with the browser's old name
        visitor.get("/who")
        assert visitor.post("/who/leave").status_code == 303
        visitor.client.cookies.set(SITTING, first, domain="bench.test")
        assert visitor.client.get("/settings", follow_redirects=False).status_code == 303
        visitor.client.cookies.delete(SITTING)
        network.sign_in(visitor, "Bo")
        assert visitor.client.cookies[SITTING] != first

    def test_the_first_pin_of_a_lead_is_set_on_the_machine(self, network: Network) -> None:
        person_of(network.shop, "Cy")
        set_role(network.shop, "Cy", "lead")
        visitor, cy = network.let_in(), network.person("Cy")
        assert "setwright shop pin" in words(visitor.get(f"/who?person={cy}"))
        answer = visitor.post("/who", {"person": cy, "pin": "518264", "again": "518264"})
        assert answer.status_code == 422
        assert not worker_named(network.shop, "Cy").pin  # type: ignore[union-attr]

    def test_nobody_of_another_shop_and_nobody_who_left_signs_in(self, network: Network) -> None:
        visitor, bo = network.let_in(), network.person("Bo")
        for person in ("", "x", "\x00", "a" * 26):
            assert visitor.post("/who", {"person": person, "pin": "518264", "again": "518264"}).status_code == 422
        person_left(network.shop, "Bo")
        assert visitor.post("/who", {"person": bo, "pin": PINS["Bo"]}).status_code == 422

    def test_who_left_or_lost_the_pin_is_out_at_once(self, network: Network) -> None:
        for end in (lambda: set_pin(network.shop, "Bo", ""), lambda: person_left(network.shop, "Bo")):
            set_pin(network.shop, "Bo", PINS["Bo"])
            bo = network.signed("Bo")
            end()
            assert bo.client.get("/settings", follow_redirects=False).status_code == 303

    def test_it_ends_with_the_day_and_with_idleness(self, network: Network, monkeypatch: pytest.MonkeyPatch) -> None:
        bo = network.signed("Bo")
        key, seat = bo.client.cookies[DEVICE], bo.client.cookies[SITTING]
        began = datetime.now(UTC)

        def there(after: timedelta, works: bool = True) -> bool:
            return known(network.shop, key, seat, began + after, works).sitting is not None

        assert there(IDLE - timedelta(minutes=1), works=False)
        assert there(IDLE - timedelta(minutes=1))
        assert there(2 * IDLE - timedelta(minutes=3))
        for hours in range(5, 12):
            assert there(timedelta(hours=hours))
        assert not there(LIFE + timedelta(seconds=1))
        assert happened(network.shop, "signed out") == ["Bo Bo tablet by the time"]
        network.sign_in(bo, "Bo")
        seat = bo.client.cookies[SITTING]
        assert not there(IDLE + timedelta(minutes=1))

    def test_a_page_that_only_listens_keeps_nobody_signed_in(self, network: Network) -> None:
        bo = network.signed("Bo")
        key, seat = bo.client.cookies[DEVICE], bo.client.cookies[SITTING]
        now = datetime.now(UTC)
        for minutes in range(0, 110, 10):
            assert known(network.shop, key, seat, now + timedelta(minutes=minutes), works=False).sitting is not None
        assert known(network.shop, key, seat, now + timedelta(minutes=130), works=False).sitting is None

    def test_an_open_page_hears_nothing_more_after_the_end(self, network: Network) -> None:
        bo = network.signed("Bo")
        cookies = "; ".join(f"{name}={value}" for name, value in bo.client.cookies.items()).encode()
        now = known(network.shop, bo.client.cookies[DEVICE], bo.client.cookies[SITTING])
        scope = {"type": "http", "app": network.app, "headers": [(b"cookie", cookies)], "path": "/changes",
                 "state": {"known": now}}  # fmt: skip
        request = HTTPConnection(scope)
        assert still_in(request)
        shut(network.shop, "tablet")
        assert not still_in(request)

    def test_own_pin_is_changed_with_the_one_before(self, network: Network) -> None:
        bo = network.signed("Bo")
        bo.get("/pin")
        new = {"pin": "615283", "again": "615283"}
        assert bo.post("/pin", {"old": "000000", **new}).status_code == 422
        assert bo.post("/pin", {"old": PINS["Bo"], "pin": "615283", "again": "615284"}).status_code == 422
        assert bo.post("/pin", {"old": PINS["Bo"], "pin": "111111", "again": "111111"}).status_code == 422
        assert bo.post("/pin", {"old": PINS["Bo"], **new}).status_code == 303
        assert "Your PIN is set; sign in with it." in words(bo.get("/who"))
        assert bo.client.get("/settings", follow_redirects=False).status_code == 303  # signed out everywhere
        assert network.sign_in(bo, "Bo").status_code == 422
        assert network.sign_in(bo, "Bo", "615283").status_code == 303


class TestRoles:
    LEAD_ONLY = (
        ("GET", "/people"), ("POST", "/people"), ("GET", "/benches"), ("POST", "/benches"), ("GET", "/audit"),
        ("POST", "/specifications"), ("POST", "/specification/{specification}"),
    )  # fmt: skip

    def test_these_and_no_others_are_for_leads(self, network: Network) -> None:
        found = {(method, one.path) for one in network.app.routes for method in getattr(one, "lead_only", ())}
        assert found == set(self.LEAD_ONLY)

    @pytest.mark.parametrize(("method", "path"), LEAD_ONLY)
    def test_a_technician_may_none_of_it(self, network: Network, method: str, path: str) -> None:
        bo, path = network.signed("Bo"), path.replace("{specification}", "a" * 26)
        bo.get("/settings")
        answer = bo.get(path) if method == "GET" else bo.post(path, {"name": "x", "text": "relief = 0.2 mm ± 0.1 mm"})
        assert answer.status_code == 403
        assert "Only a lead" in words(answer)
        assert any("Only a lead" in one for one in happened(network.shop, "refused"))
        assert network.stranger().get(path).status_code == 403
        mara = network.signed("Mara", "screen")
        mara.get("/settings")
        answer = mara.get(path) if method == "GET" else mara.post(path, {"name": "x", "text": "rear gap = 2 mm ± 1 mm"})
        assert answer.status_code != 403

    def test_a_technician_is_not_shown_what_is_refused(self, network: Network) -> None:
        bo, mara = network.signed("Bo"), network.signed("Mara", "screen")
        assert 'href="/people"' not in bo.get("/settings").text
        assert 'href="/people"' in mara.get("/settings").text
        assert "<textarea" not in bo.get("/specifications").text
        assert "<textarea" in mara.get("/specifications").text

    def test_a_role_that_changes_holds_at_once(self, network: Network) -> None:
        bo, mara = network.signed("Bo"), network.signed("Mara", "screen")
        mara.get("/people")
        fields = {"deed": "role", "person": network.person("Bo"), "role": "lead"}
        assert mara.post("/people", fields).status_code == 303
        assert bo.get("/people").status_code == 200
        assert mara.post("/people", {**fields, "role": "technician"}).status_code == 303
        assert bo.get("/people").status_code == 403
        assert len(happened(network.shop, "role changed")) == 3

    def test_people_are_added_lose_their_pin_and_leave(self, network: Network) -> None:
        mara = network.signed("Mara")
        mara.get("/people")
        assert mara.post("/people", {"deed": "add", "name": "Cy"}).status_code == 303
        cy = network.person("Cy")
        answer = mara.post("/people", {"deed": "role", "person": cy, "role": "lead"})
        assert answer.status_code == 422
        assert "Cy has no PIN yet" in words(answer)
        assert mara.post("/people", {"deed": "pin", "person": network.person("Bo")}).status_code == 303
        assert not worker_named(network.shop, "Bo").pin  # type: ignore[union-attr]
        assert mara.post("/people", {"deed": "left", "person": cy}).status_code == 303
        for wrong in ({"deed": "left", "person": network.person("Mara")}, {"deed": "x"}, {"deed": "add", "name": ""},
                      {"deed": "role", "person": "zzzz", "role": "lead"},
                      {"deed": "role", "person": network.person("Bo"), "role": "owner"}):  # fmt: skip
            assert mara.post("/people", wrong).status_code == 422
        assert [one.name for one in workers_of(network.shop)] == ["Bo", "Mara"]


class TestOnTheMachine:
    def test_a_pin_is_asked_of_whoever_has_one(self, visitor: Visitor, shop: str) -> None:
        set_pin(shop, "Mara", "482913")
        answer = visitor.post("/who", {"known": "mara", "to": "/settings"})
        assert answer.status_code == 200
        assert "PIN of Mara" in words(answer)
        answer = visitor.post("/who", {"known": "Mara", "pin": "000000"})
        assert (answer.status_code, "not the PIN" in words(answer)) == (422, True)
        assert visitor.post("/who", {"name": "MARA", "pin": "482913", "to": "/parts"}).headers["location"] == "/parts"
        assert "Mara" in words(visitor.get("/settings"))

    def test_with_a_lead_only_leads_lead(self, visitor: Visitor, shop: str) -> None:
        assert visitor.get("/people").status_code == 200  # no lead: whoever is at the machine
        set_role(shop, "Mara", "lead")
        assert visitor.get("/people").status_code == 200
        visitor.post("/who", {"name": "Bo"})
        assert visitor.get("/people").status_code == 403
        set_pin(shop, "Mara", "482913")
        visitor.client.cookies.clear()
        visitor.get("/who")
        visitor.post("/who", {"known": "Mara", "pin": "482913"})
        assert visitor.get("/people").status_code == 200

    def test_a_name_taken_before_its_pin_was_set_does_not_lead(self, visitor: Visitor, shop: str) -> None:
        set_role(shop, "Mara", "lead")
        assert visitor.get("/audit").status_code == 200
        set_pin(shop, "Mara", "482913")
        assert visitor.get("/audit").status_code == 403

    def test_what_was_changed_is_told_with_its_instrument(
        self, visitor: Visitor, shop: str, visits: dict[str, str]
    ) -> None:
        shown = show_visit(shop, visits["kestrel-float"])
        said = words(visitor.get("/audit"))
        assert "Kestrel, visit: added" in said
        edit_instrument(shop, shown.instrument.id, shown.instrument.version, "Mara", name="Kestrel the second")
        said = words(visitor.get("/audit"))
        assert "Mara, Kestrel the second, instrument: name" in said
        assert "Kestrel the second, visit: added" in said  # by its name of today
        assert "owner: added" in said  # owners are not named here

    def test_the_own_pin_is_set_here(self, visitor: Visitor, shop: str) -> None:
        visitor.get("/pin")
        assert visitor.post("/pin", {"pin": "482913", "again": "482913"}).status_code == 303
        assert worker_named(shop, "Mara").pin  # type: ignore[union-attr]
        assert visitor.get("/people").status_code == 200
        nobody = Visitor(type(visitor.client)(visitor.client.app, base_url=str(visitor.client.base_url)))
        nobody.get("/who")
        assert nobody.get("/pin").status_code == 404
        assert nobody.post("/pin", {"pin": "482913", "again": "482913"}).status_code == 404

    def test_nobody_is_let_in_from_elsewhere(self, visitor: Visitor, shop: str) -> None:
        visitor.get("/benches")
        answer = visitor.post("/benches", {"deed": "invite"})
        assert answer.status_code == 422
        assert "--shop-network" in words(answer)
        secret = invite(shop, NETWORK).address.rpartition("/")[2]
        assert visitor.get(f"/pair/{secret}").status_code == 404
        assert visitor.post("/benches", {"deed": "shut", "bench": "x"}).status_code == 422

    def test_who_was_here_can_leave(self, visitor: Visitor) -> None:
        visitor.get("/who")
        assert visitor.post("/who/leave").status_code == 303
        assert "Who is here?" in words(visitor.get("/settings"))


@pytest.mark.slow
class TestWaits:
    def test_waits_grow_from_half_a_minute_to_an_hour(self) -> None:
        seconds = [wait_after(count, 3).total_seconds() for count in range(13)]
        assert seconds == [0, 0, 0, 30, 60, 120, 240, 480, 960, 1920, 3600, 3600, 3600]
        assert wait_after(10**9, 3) == timedelta(hours=1)

    def test_even_the_right_pin_waits_and_waiting_is_not_made_longer(self, network: Network) -> None:
        visitor = network.let_in()
        for _ in range(3):
            assert network.sign_in(visitor, "Bo", "111222").status_code == 422
        for _ in range(3):
            answer = network.sign_in(visitor, "Bo")
            assert answer.status_code == 429
            assert "seconds" in words(answer)
        device = benches(network.shop)[0]
        bo = network.person("Bo")
        check_try(network.shop, bo, PINS["Bo"], device, datetime.now(UTC) + timedelta(seconds=31))
        assert network.sign_in(visitor, "Bo").status_code == 303  # and the right one forgets the wrong ones

    def test_a_bench_waits_too_whoever_is_tried_there(self, network: Network) -> None:
        visitor = network.let_in()
        for name in ("Cy", "Di", "Eb"):
            person_of(network.shop, name)
            set_pin(network.shop, name, "915283")
        for name in ("Cy", "Di", "Eb", "Bo", "Cy", "Di", "Eb", "Bo"):
            assert network.sign_in(visitor, name, "111222").status_code == 422
        assert network.sign_in(visitor, "Mara").status_code == 429
        assert network.sign_in(network.let_in("screen"), "Mara").status_code == 303
        set_pin(network.shop, "Mara", PINS["Mara"])
        assert network.sign_in(visitor, "Mara").status_code == 429  # a lead's new PIN does not free the bench

    def test_own_sign_ins_in_between_do_not_free_a_bench(self, network: Network) -> None:
        visitor = network.let_in()
        person_of(network.shop, "Cy")
        set_pin(network.shop, "Cy", "915283")
        for name in ("Cy", "Cy", "Mara", "Mara"):
            assert network.sign_in(visitor, name, "111222").status_code == 422
            assert network.sign_in(visitor, "Bo").status_code == 303
        set_pin(network.shop, "Cy", "915283")
        for name in ("Cy", "Cy"):
            assert network.sign_in(visitor, name, "111222").status_code == 422
        set_pin(network.shop, "Cy", "915283")
        for name in ("Cy", "Cy"):
            assert network.sign_in(visitor, name, "111222").status_code == 422
        assert network.sign_in(visitor, "Bo").status_code == 429

    @pytest.mark.slow
    def test_ten_thousand_tries_look_at_a_handful_of_pins(
        self, network: Network, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        looked: list[str] = []
        monkeypatch.setattr(signin, "is_pin", lambda kept, pin: bool(looked.append(pin)))
        device, bo = let_in(network.shop, network.way_in().rpartition("/")[2], "tablet"), network.person("Bo")
        assert device is not None
        refused = 0
        for number in range(10_000):  # one a second, for close on three hours
            with pytest.raises(InputError) as error:
                check_try(network.shop, bo, f"{number:06d}", device[0], NOW + timedelta(seconds=number))
            refused += isinstance(error.value, TooOftenError)
        assert len(looked) == 10_000 - refused
        assert 5 <= len(looked) <= 14
        with pytest.raises(TooOftenError, match="minutes"):  # and a restart forgets nothing: it stands in the shop
            check_try(network.shop, bo, PINS["Bo"], device[0], NOW + timedelta(seconds=10_000))
        # at an hour each, half of a million PINs take more than fifty years
        assert wait_after(10_000, 3) * 500_000 > timedelta(days=365 * 50)


@pytest.mark.slow
class TestSockets:
    @pytest.mark.parametrize("who", ["stranger", "let in"])
    def test_no_socket_opens_for_whoever_is_not_in(self, network: Network, visits: dict[str, str], who: str) -> None:
        visitor = network.stranger() if who == "stranger" else network.let_in()
        path = f"/visit/{visits['dunlin-heavier']}/ear"
        with (
            pytest.raises(WebSocketDisconnect) as refused,
            visitor.client.websocket_connect(f"wss://bench.test:8400{path}", headers={"origin": NETWORK}),
        ):
            pass
        assert refused.value.code == 1008

    @pytest.mark.parametrize("origin", ["https://elsewhere.test", "http://bench.test:8400", "null", "https://[", ""])
    def test_no_socket_opens_for_a_page_from_elsewhere(
        self, network: Network, visits: dict[str, str], origin: str
    ) -> None:
        bo = network.signed("Bo")
        path = f"wss://bench.test:8400/visit/{visits['dunlin-heavier']}/ear"
        with (
            pytest.raises(WebSocketDisconnect) as refused,
            bo.client.websocket_connect(path, headers={"origin": origin}),
        ):
            pass
        assert refused.value.code == 1008

    def test_a_socket_closes_after_its_bench_was_shut_out(
        self, network: Network, visits: dict[str, str], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr("setwright.web.signin.AGAIN", 0.0)
        bo = network.signed("Bo")
        path = f"wss://bench.test:8400/visit/{visits['dunlin-heavier']}/ear"
        with bo.client.websocket_connect(path, headers={"origin": NETWORK}) as socket:
            shut(network.shop, "tablet")
            socket.send_text("{}")
            with pytest.raises(WebSocketDisconnect) as closed:
                _listen(socket)
        assert closed.value.code == 1008


def _listen(socket: WebSocketTestSession) -> None:
    while True:
        socket.receive_text()


def test_a_shop_that_cannot_be_read_is_one_plain_sentence(
    network: Network, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    bo = network.signed("Bo")

    def broken(*_: object, **__: object) -> None:
        raise InputError("/home/mara/weir: the disk does not answer.")

    monkeypatch.setattr("setwright.web.signin.known", broken)
    with caplog.at_level(logging.WARNING):
        answer = bo.get("/settings")
    assert answer.status_code == 503
    assert "/home" not in answer.text
    assert "/home/mara" in caplog.text


def test_known_is_nobody_without_a_secret(shop: str) -> None:
    assert known(shop, "", "") is pairing.NOBODY


@pytest.mark.parametrize(
    ("address", "port", "base"),
    [("192.168.1.7", 8400, "https://192.168.1.7:8400"), ("https://bench.test:9000/", 8400, "https://bench.test:9000"),
     ("bench.local", 8401, "https://bench.local:8401")],
)  # fmt: skip
def test_an_address_is_taken_as_it_is_written(address: str, port: int, base: str) -> None:
    assert pairing.base_of(address, port) == base


@pytest.mark.parametrize("address", ["", "http://x", "https://a/b", "a b", "ä.test", "a\nb", "x" * 300])
def test_what_is_no_address_is_refused(address: str) -> None:
    with pytest.raises(InputError):
        pairing.base_of(address)
