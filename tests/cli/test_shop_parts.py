"""setwright shop: parts, their stock, and the air, as the bench types them."""

import pytest

from setwright.bench import climate, parts
from setwright.errors import InputError


def test_parts_come_are_counted_used_and_return(ask, data, kestrel):
    assert "no part in this shop yet" in ask("shop", "parts")[1]
    assert ask("shop", "parts", "--low")[1] == "Nothing runs out.\n"
    shim = data("shop", "add-part", "strip shim .020 in")["part"]
    assert data("shop", "add-part", "strip shim .020 in", "--unit", "box")["part"] == shim
    data("shop", "add-part", "string set .010", "--unit", "set")
    code, out, _ = ask("shop", "stock", "came", "Strip Shim .020 in", "10", "--by", "Bo")
    assert (code, out) == (0, f"strip shim .020 in: 10 in stock, counted by the piece; id {shim['id'][-8:]}.\n")
    assert data("shop", "stock", "used", shim["id"][-8:], "3", "--visit", kestrel)["part"]["stock"] == 7
    assert data("shop", "stock", "returned", shim["id"], "1", "--visit", kestrel)["part"]["stock"] == 8
    assert data("shop", "stock", "counted", shim["id"], "6")["part"]["stock"] == 6
    assert data("shop", "stock", "counted", shim["id"], "6")["part"]["stock"] == 6
    assert data("shop", "stock", "counted", shim["id"], "0")["part"]["stock"] == 0
    assert data("shop", "visit", kestrel)["parts"] == [{"name": "strip shim .020 in", "unit": "piece", "used": 2}]
    low = data("shop", "parts", "--low")["parts"]
    assert [one["name"] for one in low] == ["string set .010", "strip shim .020 in"]
    assert data("shop", "parts", "--low", "--few", "0")["parts"] == low
    assert ask("shop", "parts")[1].splitlines()[1].split()[-3:] == ["0", "set", low[0]["id"][-8:]]
    assert data("shop", "check")["problems"] == []


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("stock", "came", "nothing", "1"), "there is no part 'nothing'"),
        (("stock", "came", "shim", "0"), "is no count of parts"),
        (("stock", "came", "shim", "-4"), "no such option"),
        (("stock", "counted", "shim", "2000000"), "lies between 0 and 1000000"),
        (("stock", "used", "shim", "1"), "name it with --visit"),
        (("stock", "came", "shim", "1", "--visit", "abcd"), "or leave it out"),
        (("stock", "used", "shim", "1", "--visit", "abcdefgh"), "there is no visit 'abcdefgh'"),
        (("parts", "--few", "3"), "--few goes with --low"),
        (("add-part", " "), "name of the part is empty"),
        (("climate", "21"), "has no unit"),
        (("climate", "21 C, 45 %, 3 %"), "no reading of the air"),
        (("climate", "900 C"), "no temperature of a room"),
        (("climate", "45 %", "--visit", "abcdefgh"), "there is no visit"),
        (("climate", "--by", "Bo"), "--by goes with a reading"),
    ],
)
def test_bad_words_about_parts_and_air(ask, weir, words, said):
    assert ask("shop", "add-part", "shim")[0] == 0
    code, out, err = ask("shop", *words)
    assert (code, out) == (2, "")
    assert said.casefold() in " ".join(err.casefold().split())


def test_more_cannot_return_than_were_used(ask, kestrel):
    ask("shop", "add-part", "shim")
    ask("shop", "stock", "used", "shim", "2", "--visit", kestrel)
    code, _, err = ask("shop", "stock", "returned", "shim", "3", "--visit", kestrel)
    assert code == 2
    assert "fewer were used there" in err
    assert ask("shop", "check")[1].splitlines()[1].strip() == "part shim: the stock is -2; count it."


def test_two_parts_that_differ_in_letters_are_not_mixed_up(weir):
    for name in ("Shim", "shim"):
        parts.add_part(str(weir), name)
    assert parts.parts_came(str(weir), "shim", 2).name == "shim"
    with pytest.raises(InputError, match="2 parts are meant by 'SHIM'"):
        parts.parts_came(str(weir), "SHIM", 2)
    assert [one.stock for one in parts.parts_of(str(weir))] == [0, 2]


def test_the_air_is_kept_and_shown_in_the_readers_units(ask, data, kestrel):
    assert "Nothing is read yet" in ask("shop", "climate")[1]
    code, out, _ = ask("shop", "climate", "70", "F,", "45", "%", "--visit", kestrel, "--by", "Bo", "--units", "inch")
    assert code == 0
    assert out.split(" ", 2)[2].split() == ["70.0", "°F", "45", "%", "Bo"]
    assert ask("shop", "climate", "18 C")[0] == 0
    assert ask("shop", "climate", "40 %")[0] == 0
    kept = data("shop", "climate")["readings"]
    assert [one["temperature"] for one in kept] == [pytest.approx(294.2611), 291.15, None]
    assert [one["humidity"] for one in kept] == [0.45, None, 0.4]
    assert kept[0]["written"] == "70 F, 45 %"
    assert len(data("shop", "climate", "--visit", kestrel)["readings"]) == 1
    assert ask("shop", "climate")[1].splitlines()[1].split()[2:] == ["18.0", "°C"]
    assert climate.air_of("45 % and 21 C") == ("21 C", "45 %")


def test_counts_have_their_plural():
    said = [parts.counted(*one) for one in ((1, "piece"), (2, "piece"), (0, "set"), (3, "box"), (2, "pliers"))]
    assert said == ["1 piece", "2 pieces", "0 sets", "3 boxes", "2 pliers"]
