"""The first PIN of somebody: chosen by a code a lead gives, once, for a while, at any bench that was let in."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

import pytest

from setwright.bench import signin
from setwright.bench.audit import audit_of
from setwright.bench.day import person_of
from setwright.bench.pairing import let_in
from setwright.bench.signin import set_pin, worker_named
from setwright.errors import InputError
from tests.web.visitor import Network, words

pytestmark = pytest.mark.slow
NOW = datetime(2026, 11, 30, 9, 0, tzinfo=UTC)


def happened(shop: str, event: str) -> list[str]:
    return [f"{one.who} {one.about} {one.device} {one.words}" for one in audit_of(shop).events if one.event == event]


def code_for(network: Network, name: str) -> str:
    """The code a lead gives somebody, as it stands on their page."""
    mara = network.signed("Mara", "desk")
    mara.get("/people")
    answer = mara.post("/people", {"deed": "code", "person": network.person(name)})
    assert answer.status_code == 200
    found = re.search(r'class="huge turn">(\d{4}) (\d{4})<', answer.text)
    assert found
    return found[1] + found[2]


def secret_of(network: Network) -> str:
    return network.way_in().rpartition("/")[2]


def test_a_first_pin_is_chosen_by_whoever_has_the_code(network: Network) -> None:
    person_of(network.shop, "Cy")
    visitor, cy = network.let_in(), network.person("Cy")
    assert "first time" in words(visitor.get(f"/who?person={cy}"))
    code = code_for(network, "Cy")
    first = {"person": cy, "code": f"{code[:4]} {code[4:]}"}
    for pin, again, said in (
        ("12345", "12345", "6 to 12 digits"), ("123456", "123456", "first anybody would try"),
        ("987654", "987654", "first anybody"), ("777777", "777777", "first anybody"),
        ("abcdef", "abcdef", "digits"),
        ("518264", "518265", "not the same"), ("518264", "", "not the same"), ("1" * 13, "1" * 13, "digits"),
    ):  # fmt: skip
        answer = visitor.post("/who", first | {"pin": pin, "again": again})
        assert answer.status_code == 422
        assert said in words(answer)
    assert visitor.post("/who", first | {"pin": "518264", "again": "518264"}).status_code == 303
    assert worker_named(network.shop, "cy").pin  # type: ignore[union-attr]
    assert happened(network.shop, "PIN set")[0] == "Cy Cy tablet at the first sign-in"
    assert happened(network.shop, "code given") == ["Mara Cy desk for 15 minutes"]


@pytest.mark.parametrize("code", ["", "00000000", "x", "9" * 500, "'; --", "\x00", "0" * 8 + "\n"])
def test_without_the_code_nobody_takes_the_name_of_a_colleague(network: Network, code: str) -> None:
    person_of(network.shop, "Cy")
    visitor, cy = network.let_in(), network.person("Cy")
    first = {"person": cy, "pin": "518264", "again": "518264"}
    answer = visitor.post("/who", first | {"code": code})
    assert answer.status_code == 422  # none was given
    assert "no code Cy may choose a PIN by; a lead gives one" in words(answer)
    right = code_for(network, "Cy")
    assert visitor.post("/who", first | {"code": code}).status_code == 422
    assert not worker_named(network.shop, "Cy").pin  # type: ignore[union-attr]
    assert {"no code was given, or it is too old", "wrong code"} == {
        one.removeprefix(" Cy tablet ") for one in happened(network.shop, "sign-in refused")
    }
    assert visitor.post("/who", first | {"code": right}).status_code == 303


def test_a_code_serves_once_for_one_person_and_not_for_long(network: Network) -> None:
    for name in ("Cy", "Di"):
        person_of(network.shop, name)
    cy, di = network.person("Cy"), network.person("Di")
    device, _ = let_in(network.shop, secret_of(network), "tablet")  # type: ignore[misc]
    old = signin.give_code(network.shop, "Cy", "Mara").digits
    code = signin.give_code(network.shop, "Cy", "Mara", now=NOW)
    for person, digits, when in (
        (di, code.digits, NOW), (cy, code.digits, NOW + timedelta(minutes=15, seconds=1)), (cy, old, NOW)
    ):  # fmt: skip
        with pytest.raises(InputError, match="is no code"):
            signin.sign_in(network.shop, device, person, "518264", "518264", digits, when)
    signin.sign_in(network.shop, device, cy, "518264", "518264", code.digits, NOW + timedelta(minutes=14))
    with pytest.raises(InputError, match="has a PIN"):
        signin.give_code(network.shop, "Cy", "Mara")
    set_pin(network.shop, "Cy", "", "Mara")
    with pytest.raises(InputError, match="is no code"):  # it was used
        signin.sign_in(network.shop, device, cy, "518264", "518264", code.digits, NOW + timedelta(minutes=14))
    with pytest.raises(InputError, match="first PIN of a lead"):
        signin.give_code(network.shop, "Mara", "Mara")


def test_a_pin_set_on_the_machine_ends_a_code(network: Network) -> None:
    person_of(network.shop, "Cy")
    device, _ = let_in(network.shop, secret_of(network), "tablet")  # type: ignore[misc]
    code = signin.give_code(network.shop, "Cy", "Mara").digits
    set_pin(network.shop, "Cy", "640185")
    set_pin(network.shop, "Cy", "")
    with pytest.raises(InputError, match="is no code"):
        signin.sign_in(network.shop, device, network.person("Cy"), "518264", "518264", code)


def test_guessing_a_code_waits_like_guessing_a_pin(network: Network) -> None:
    person_of(network.shop, "Cy")
    visitor, cy = network.let_in(), network.person("Cy")
    code = code_for(network, "Cy")
    first = {"person": cy, "pin": "518264", "again": "518264"}
    found = [visitor.post("/who", first | {"code": f"{n:08d}"}).status_code for n in range(4)]
    assert found == [422, 422, 422, 429]
    assert visitor.post("/who", first | {"code": code}).status_code == 429  # even the right one waits


def test_a_code_lets_no_bench_in_and_stands_on_one_answer_alone(network: Network) -> None:
    person_of(network.shop, "Cy")
    code = code_for(network, "Cy")
    for secret in (code, f"code%20{network.person('Cy')}%20{code}"):
        assert network.stranger().get(f"/pair/{secret}").status_code == 404
    mara = network.signed("Mara", "screen")
    shown = mara.get("/people").text + mara.get("/audit").text + mara.get("/benches").text
    assert code not in shown
    assert f"{code[:4]} {code[4:]}" not in shown
    bo = network.signed("Bo", "other")
    bo.get("/settings")
    assert bo.post("/people", {"deed": "code", "person": network.person("Cy")}).status_code == 403
