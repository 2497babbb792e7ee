"""setwright shop: owners, instruments and people, added and edited; edits of what another bench has changed."""

import json

import pytest

from setwright.bench import owners
from setwright.errors import InputError, StaleEditError


def test_an_owner_is_added_found_shown_and_edited(ask, data, weir):
    assert ask("shop", "owners")[1] == "There is no owner in this shop yet.\n"
    code, out, _ = ask(
        "shop", "add-owner", "Ada Lark", "--contact", "3 Weir Lane", "--note", "left-handed", "--by", "Bo"
    )
    assert code == 0
    assert "Ada Lark" in out
    id = data("shop", "owners", "--find", "WEIR ada")["owners"][0]["id"]
    assert ask("shop", "owners", "--find", "wren")[1] == "There is no owner with 'wren'.\n"
    assert ask("shop", "owners")[1].splitlines()[1].split() == ["Ada", "Lark", "3", "Weir", "Lane", "0", id[-8:]]
    edited = data("shop", "edit-owner", id[-8:], "--contact", "by post", "--based-on", "1")["owner"]
    assert (edited["version"], edited["contact"], edited["note"]) == (2, "by post", "left-handed")
    assert "sought" not in edited
    code, _, err = ask("shop", "edit-owner", id, "--contact", "by phone", "--based-on", "1")
    assert code == 2
    assert "contact is 'by post' there and 'by phone' here" in " ".join(err.split())
    assert (
        json.loads(ask("shop", "edit-owner", id, "--contact", "x", "--based-on", "1", "--json")[1])["error"]["kind"]
        == "stale edit"
    )
    code, _, err = ask("shop", "edit-owner", id, "--name", "x", "--based-on", "9")
    assert "there is no version 9 yet, the newest is 2" in " ".join(err.split())
    assert data("shop", "owner", id)["owner"]["contact"] == "by post"
    assert ask("shop", "edit-owner", id, "--name", " ")[0] == 2
    assert data("shop", "edit-owner", id)["owner"]["version"] == 2
    assert "setwright shop owners lists what there is" in " ".join(ask("shop", "owner", "zzzz")[2].split())


def test_stale_values_are_held_for_a_page(weir):
    owner = owners.add_owner(str(weir), "Ada Lark")
    owners.edit_owner(str(weir), owner.id, 1, "Bo", name="Ada Larke")
    with pytest.raises(StaleEditError) as refused:
        owners.edit_owner(str(weir), owner.id, 1, "Cy", name="Ada Lerk")
    assert (refused.value.theirs, refused.value.ours) == ({"name": "Ada Larke"}, {"name": "Ada Lerk"})
    with pytest.raises(InputError, match="sought of an owner is not for changing"):
        owners.edit_owner(str(weir), owner.id, sought="x")


def test_an_instrument_is_known_before_it_comes(ask, data, kestrel):
    owner = data("shop", "add-owner", "Cy Reed")["owner"]["id"]
    words = ("--owner", owner, "--name", "Second Kestrel", "--serial", "K-77", "--colour", "sand")
    added = data("shop", "add-instrument", "kestrel.instrument.toml", *words)["instrument"]
    assert (added["name"], added["owner"], added["file_name"]) == ("Second Kestrel", owner, "kestrel.instrument.toml")
    code, out, _ = ask("shop", "owner", owner[-8:])
    assert code == 0
    assert "INSTRUMENTS\n  Second Kestrel  K-77" in out
    edited = data("shop", "edit-instrument", added["id"], "--owner", "", "--model", "two", "--based-on", "1")
    assert (edited["instrument"]["owner"], edited["instrument"]["version"]) == (None, 2)
    code, out, _ = ask("shop", "instrument", added["id"])
    assert code == 0
    assert "It never came in" in out
    assert "owner        not known" in out
    code, out, _ = ask("shop", "edit-instrument", added["id"], "--maker", "Weir Lane Bench")
    assert "maker        Weir Lane Bench" in out
    assert ask("shop", "instruments", "--find", "k-77 sand two")[1].count("Second Kestrel") == 1
    assert ask("shop", "edit-instrument", added["id"], "--owner", "abcdefgh")[0] == 2


def test_a_new_instrument_file_is_for_visits_to_come(ask, data, kestrel, tmp_path):
    shown = data("shop", "visit", kestrel)
    text = (tmp_path / "kestrel.instrument.toml").read_text()
    (tmp_path / "measured.toml").write_text(text.replace("10.4 mm ± 0.3 mm", "10.6 mm ± 0.1 mm"))
    id = shown["instrument"]["id"]
    assert data("shop", "edit-instrument", id, "--file", "measured.toml")["instrument"]["file_name"] == "measured.toml"
    assert data("shop", "visit", kestrel)["visit"] == shown["visit"]
    for name, said in (
        ("none.toml", "cannot be read"),
        ("broken.toml", "not valid TOML"),
        ("big.toml", "more than 1000000 bytes"),
    ):
        (tmp_path / "broken.toml").write_text("[instrument")
        (tmp_path / "big.toml").write_bytes(b"#" * 1_000_001)
        for words in (("add-instrument", name), ("edit-instrument", id, "--file", name)):
            code, out, err = ask("shop", *words)
            assert (code, out) == (2, "")
            assert said in err
    assert len(data("shop", "instruments")["instruments"]) == 1


def test_people_come_and_go(ask, data, weir):
    assert ask("shop", "people")[1] == "Nobody is noted as working here yet.\n"
    code, out, _ = ask("shop", "add-person", "Bo Hale")
    assert code == 0
    assert out.startswith("Bo Hale works here since 20")
    first = data("shop", "add-person", "bo hale")["person"]
    data("shop", "add-person", "Cy")
    assert [one["name"] for one in data("shop", "people")["people"]] == ["Bo Hale", "Cy"]
    assert "since" in ask("shop", "people")[1]
    code, out, _ = ask("shop", "person-left", first["id"][-8:], "--by", "Cy")
    assert code == 0
    assert " until " in out
    for who in ("Bo Hale", "", "xyzw"):
        code, _, err = ask("shop", "person-left", who)
        assert code == 2
        assert "works here; setwright shop people" in " ".join(err.split())
    assert [one["name"] for one in data("shop", "people")["people"]] == ["Cy"]
