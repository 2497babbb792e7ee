"""setwright shop take-in: known instruments, copies, new ones, and what is refused at the counter."""

import tomllib

from setwright.records.documents import document
from setwright.records.edits import get
from setwright.records.rows import Visit
from setwright.records.shop import open_shop

NEW = (
    "--bridge", "two-post knife edge", "--name", "Redshank", "--owner", "Cy Reed", "--contact", "by post",
    "--set", "instrument.scale=25 1/2 in", "--set", "found.strings=10 13 17 26w 36w 46w",
)  # fmt: skip


def job_of(weir, visit):
    with open_shop(weir) as shop, shop.reading() as work:
        return tomllib.loads(document(work, get(work, Visit, visit).job_file).decode())


def test_a_known_instrument_comes_as_its_last_visit_left_it(ask, data, kestrel, weir):
    ask("log", "--visit", kestrel, "did", "springs", "4")
    ask("shop", "hand-back", kestrel)
    home = data("shop", "visit", kestrel)["instrument"]["id"]
    added = data("shop", "take-in", home[-8:], "--wish", "Buzzes.", "--set", "found.rear_gap=2.4", "--by", "Bo")
    assert (added["known"], added["visit"]["number"], added["visit"]["wish"]) == (True, 2, "Buzzes.")
    found = job_of(weir, added["visit"]["id"])["found"]
    assert found["strings"] == [".010", ".013", ".017", ".026w", ".036w", ".046w"]
    assert (found["springs"], found["bridge"], found["rear_gap"]) == (4, "floating", "2.4 mm")
    assert "string_height" not in found
    code, out, _ = ask("shop", "take-in", home, "--set", "found.springs=3", "--unit", "in")
    assert code == 0
    assert out.startswith("Visit 3 of Kestrel, which was here before.\n")
    assert ask("next", "--visit", added["visit"]["id"])[0] == 0


def test_a_new_instrument_and_one_like_it(ask, data, weir):
    first = data("shop", "take-in", *NEW)
    assert first["known"] is False
    assert data("shop", "owner", first["owner"])["owner"]["contact"] == "by post"
    words = ("--like", first["instrument"], "--name", "Greenshank", "--set", "found.strings=9 11 16 24w 32w 42w")
    second = data("shop", "take-in", *words)
    assert second["instrument"] != first["instrument"]
    assert [one["name"] for one in data("shop", "instruments")["instruments"]] == ["Greenshank", "Redshank"]


def test_what_is_refused_at_the_counter_leaves_nothing(ask, data, weir):
    for words, said in (
        ((), "name an INSTRUMENT"), (("abcdefgh", *NEW), "name an INSTRUMENT"), (("abcdefgh",), "no instrument"),
        ((*NEW, "--set", "found.depth=3 mm"), "WHAT is one of"), ((*NEW, "--set", "wish"), "is not WHAT=VALUE"),
        ((*NEW, "--set", "found.rear_gap=900 mm"), "found.rear_gap: "),
        ((*NEW, "--set", "found.springs=many"), "found.springs: "),
        (("--bridge", "none such", *NEW[2:]), "kind of bridge"),
        (("--bridge", NEW[1]), "is empty"),
    ):  # fmt: skip
        code, out, err = ask("shop", "take-in", *words)
        assert (code, out) == (2, ""), words
        assert said in " ".join(err.split())
    assert data("shop", "instruments")["instruments"] == []
    wide = (*NEW, "--set", "found.rear_gap=14 mm")
    assert ask("shop", "take-in", *wide)[0] == 2
    assert ask("shop", "take-in", *wide, "--sure", "found.rear_gap")[0] == 0
