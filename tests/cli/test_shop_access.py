"""setwright shop role, pin, pair, benches, shut-out, audit: all of it without the browser."""

from __future__ import annotations

import io

import pytest

from setwright.bench import network, pairing
from setwright.bench.pairing import let_in
from setwright.bench.signin import check_try, is_pin, worker_named
from setwright.cli import shop_access
from setwright.cli.access_words import SENTENCES, event_words
from setwright.records.access import pin_of
from setwright.records.audit import Event
from setwright.records.shop import open_shop


@pytest.fixture
def typed(monkeypatch):
    """What comes through a pipe."""
    return lambda text: monkeypatch.setattr("sys.stdin", io.StringIO(text))


@pytest.fixture
def people(ask, weir):
    """Mara and Bo work here."""
    for name in ("Mara", "Bo"):
        assert ask("shop", "add-person", name)[0] == 0
    return str(weir)


def test_what_the_command_takes_for_granted_is_what_the_bench_says():
    assert (shop_access.MINUTES, shop_access.PORT) == (pairing.MINUTES, network.PORT)


def test_roles_are_given_and_the_last_lead_stays(ask, data, people):
    assert ask("shop", "role", "mara", "lead")[1] == "Mara is a lead, without a PIN.\n"
    assert {one["name"]: one["role"] for one in data("shop", "people")["people"]} == {
        "Bo": "technician",
        "Mara": "lead",
    }
    assert ask("shop", "people")[1].splitlines()[1].split()[:4] == ["Mara", "lead", "no", "PIN"]
    for words in (("role", "Mara", "technician"), ("person-left", "Mara")):
        code, _, err = ask("shop", *words)
        assert code == 2
        assert "Mara is the only lead" in err
    assert data("shop", "role", "Bo", "lead", "--by", "Mara")["person"]["role"] == "lead"
    assert ask("shop", "person-left", "Mara")[0] == 0
    assert ask("shop", "role", "Nobody", "lead")[0] == 2
    assert ask("shop", "role", "Bo", "owner")[0] == 2


@pytest.mark.slow
def test_a_pin_comes_from_a_pipe_and_stands_nowhere(ask, data, people, typed, weir):
    typed("482913\n")
    code, out, _ = ask("shop", "pin", "Mara", "--by", "Mara")
    assert (code, out) == (0, "Mara is a technician, with a PIN.\n")
    assert data("shop", "people")["people"][1]["pin_set"]
    with open_shop(weir) as shop, shop.reading() as work:
        kept = pin_of(work, worker_named(people, "Mara").id)
    assert kept.startswith("$argon2id$")
    assert is_pin(kept, "482913")
    for wrong in ("482914", "", "48291", "x", "4829130000000"):
        assert not is_pin(kept, wrong)
    assert not is_pin("damaged", "482913")
    assert b"482913" not in b"".join(one.read_bytes() for one in weir.glob("shop.sqlite*"))
    assert check_try(people, worker_named(people, "Mara").id, "482913").name == "Mara"
    assert ask("shop", "pin", "Mara", "--take-away")[1] == "Mara is a technician, without a PIN.\n"


@pytest.mark.parametrize(
    "pin", ["", "\n", "12345\n", "123456\n", "000000\n", "1234567890123\n", "48 2913\n", "abcdef\n"]
)
def test_a_pin_that_is_none_is_refused(ask, people, typed, pin):
    typed(pin)
    code, _, err = ask("shop", "pin", "Mara")
    assert code == 2
    assert "digits" in err
    assert not worker_named(people, "Mara").pin


def test_a_pin_is_typed_twice_unseen(ask, people, monkeypatch):
    asked = []
    monkeypatch.setattr("sys.stdin", type("Terminal", (io.StringIO,), {"isatty": lambda self: True})())
    monkeypatch.setattr("click.prompt", lambda text, **how: asked.append(how) or "482913")
    assert ask("shop", "pin", "Bo")[0] == 0
    assert (asked[0]["hide_input"], bool(asked[0]["confirmation_prompt"])) == (True, True)


def test_a_bench_is_let_in_listed_and_shut_out(ask, data, people):
    assert ask("shop", "benches")[1] == "No bench was ever let in.\n"
    code, out, _ = ask("shop", "pair", "--address", "192.168.1.7", "--by", "Mara", "--minutes", "3")
    assert code == 0
    address = out.splitlines()[1]
    assert address.startswith("https://192.168.1.7:8400/pair/")
    assert "within 3 minutes" in out
    assert let_in(people, address.rpartition("/")[2], "tablet at the window") is not None
    assert let_in(people, address.rpartition("/")[2], "another") is None
    way = data("shop", "pair", "--address", "https://bench.local:9000")
    assert way["address"].startswith("https://bench.local:9000/pair/")
    assert let_in(people, way["address"].rpartition("/")[2], "screen") is not None
    assert [one["name"] for one in data("shop", "benches")["benches"]] == ["screen", "tablet at the window"]
    assert "let in" in ask("shop", "benches")[1]
    assert "by Mara" in ask("shop", "benches")[1]
    assert ask("shop", "shut-out", "screen")[1] == "screen is shut out.\n"
    assert data("shop", "shut-out", "tablet at the window", "--by", "Mara")["bench"]["name"] == "tablet at the window"
    assert ask("shop", "benches")[1].count("shut out") == 2
    assert ask("shop", "shut-out", "screen")[0] == 2
    for wrong in (("--address", "http://x"), ("--minutes", "0"), ("--minutes", "61"), ("--port", "0")):
        assert ask("shop", "pair", *wrong)[0] == 2


def test_without_a_network_the_address_has_to_be_named(ask, people, monkeypatch):
    monkeypatch.setattr(pairing, "own_addresses", tuple)
    code, _, err = ask("shop", "pair")
    assert code == 2
    assert "name the address" in err
    monkeypatch.setattr(pairing, "own_addresses", lambda: ("10.0.0.7",))
    assert "https://10.0.0.7:8400/pair/" in ask("shop", "pair")[1]


def test_the_code_is_drawn_for_whoever_looks_and_the_fingerprint_told(ask, people, monkeypatch, weir):
    drawn = []
    monkeypatch.setattr("sys.stdout.isatty", lambda: True, raising=False)
    monkeypatch.setattr(shop_access, "_draw", drawn.append)
    pytest.importorskip("cryptography")
    made = network.certificate(weir, ("10.0.0.7",))
    out = ask("shop", "pair", "--address", "10.0.0.7")[1]
    assert drawn == [out.splitlines()[1]]
    assert made.fingerprint in out.replace("\n", "")


def test_what_happened_is_listed(ask, data, people, typed):
    assert ask("shop", "role", "Mara", "lead", "--by", "Bo")[0] == 0
    typed("482913\n")
    ask("shop", "pin", "Mara")
    events = data("shop", "audit")["events"]
    assert [one["event"] for one in events] == ["PIN set", "role changed", "added", "added"]
    assert (events[1]["who"], events[1]["about"], events[1]["words"]) == ("Bo", "Mara", "from technician to lead")
    out = ask("shop", "audit", "--last", "2")[1]
    assert "changed a role: Mara, from technician to lead" in out
    assert "noted as working" not in out
    assert ask("shop", "add-owner", "Ada Lark", "--by", "Bo")[0] == 0
    owner = data("shop", "owners")["owners"][0]["id"]
    ask("shop", "edit-owner", owner, "--contact", "by post", "--by", "Mara")
    changes = data("shop", "audit")["changes"]
    assert [(one["who"], one["table"], one["fields"]) for one in changes] == [
        ("Mara", "owner", ["contact"]), ("Bo", "owner", []),
    ]  # fmt: skip
    out = ask("shop", "audit")[1]
    assert "owner: contact" in out
    assert "by post" not in out  # what stood there is nobody's business here


def test_a_shop_where_nothing_happened_says_so(ask, weir):
    assert ask("shop", "audit")[1] == "Nothing happened yet.\n"


def test_every_event_has_its_words():
    said = event_words(Event("x", "", "new kind", "Mara", "", "Mara", "more"))
    assert said == "new kind: more"
    assert all(event_words(Event("x", "", one, "", "", "", "")) == words for one, words in SENTENCES.items())
