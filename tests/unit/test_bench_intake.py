"""Taking in at the bench, without its page: what becomes a file, and what is said of the rest."""

from __future__ import annotations

from pathlib import Path

import pytest

from setwright.bench.intake import BOXES, Intake, NotTakenError, patterns, take_in
from setwright.bench.owners import add_instrument
from setwright.bench.shop import job_in, make_shop, show_visit
from setwright.errors import InputError

TYPED = {"instrument.name": "Whinchat", "instrument.scale": "648 mm", "found.strings": "10 13 17 26w 36w 46w"}
KIND = "two-post knife edge"
SIX = "fixed, six saddles"


@pytest.fixture
def shop(tmp_path: Path) -> str:
    make_shop(str(tmp_path / "shop"), "Weir Lane Bench")
    return str(tmp_path / "shop")


def doubts(shop: str, **given: object) -> dict[str, str]:
    """What is said of each box."""
    with pytest.raises(NotTakenError) as refused:
        take_in(shop, Intake(**{"source": "new", "pattern": KIND, "typed": TYPED, **given}))  # type: ignore[arg-type]
    assert str(refused.value)
    return {key: doubt.words for key, doubt in refused.value.doubts.items()}


def test_every_pattern_can_be_taken_in_with_three_things_typed(shop: str) -> None:
    for kind, about in patterns().bridges:
        strings = "45w 65w 85w 105w" if "bass" in kind else TYPED["found.strings"]
        typed = TYPED | {"found.strings": strings, "instrument.scale": "34 in" if "bass" in kind else "648 mm"}
        added = take_in(shop, Intake("new", typed, pattern=kind))
        assert about
        assert job_in(shop, added.visit.id)[0].instrument.bridge.name == kind


def test_a_fanned_scale_is_written_in_words(shop: str) -> None:
    typed = TYPED | {"instrument.scale": "25.5 to 27, 7 square"}
    added = take_in(shop, Intake("new", typed, pattern=SIX, unit="in"))
    fan = job_in(shop, added.visit.id)[0].instrument.fan
    assert fan is not None
    assert (fan.treble, fan.bass, fan.square) == pytest.approx((25.5 * 0.0254, 27 * 0.0254, 7))
    assert "no fan" in doubts(shop, typed=TYPED | {"instrument.scale": "27 in to 25 1/2 in, 7"})["instrument.scale"]


def test_what_contradicts_is_said_of_the_whole_or_of_its_box(shop: str) -> None:
    found = doubts(shop, pattern=SIX, typed=TYPED | {"found.springs": "3", "found.claw.treble": "12 mm"})
    assert all(words for words in found.values())
    assert set(found) <= {*BOXES, ""}


def test_a_number_that_is_none_and_one_side_of_a_pair_are_named(shop: str) -> None:
    found = doubts(
        shop, typed=TYPED | {"found.springs": "three", "found.claw.bass": "lots", "found.claw.treble": "12 mm"}
    )
    assert "'three'" in found["found.springs"]
    assert "'lots'" in found["found.claw.bass"]
    assert "found.claw.treble" not in found


def test_notes_with_their_cents_and_a_standard_tuning(shop: str) -> None:
    added = take_in(shop, Intake("new", TYPED | {"found.tuning": "E4 -10 c, B3 G3 D3 A2 E2"}, pattern=KIND))
    tuning = job_in(shop, added.visit.id)[0].found.tuning
    assert tuning[0].si == pytest.approx(329.6276 * 2 ** (-10 / 1200), rel=1e-6)  # E4 by equal temperament, A4 440 Hz
    standard = take_in(shop, Intake("new", TYPED | {"found.tuning": "Standard".lower()}, pattern=KIND))
    assert len(job_in(shop, standard.visit.id)[0].found.tuning) == 6


def test_a_wish_too_long_and_an_instrument_that_is_not_there(shop: str) -> None:
    assert "10001 letters" in doubts(shop, wish="x" * 10_001)["wish"]
    with pytest.raises(InputError, match="no instrument"):
        take_in(shop, Intake("known", TYPED, instrument="zzzz"))


def test_the_owner_gets_a_contact_only_where_none_is_known(shop: str) -> None:
    for contact in ("0151 1", "0151 2"):
        added = take_in(shop, Intake("new", TYPED, pattern=KIND, owner="Ada Lark", contact=contact))
    owner = show_visit(shop, added.visit.id).owner
    assert owner is not None
    assert owner.contact == "0151 1"


def test_one_like_another_keeps_its_file_but_for_the_name(shop: str) -> None:
    raw = b'[instrument]\r\nname = "Wren" # as told\r\nscale = "648 mm"\r\n[bridge]\r\nkind = "fixed, six saddles"\r\n'
    wren = add_instrument(shop, "wren.instrument.toml", raw=raw)
    added = take_in(
        shop, Intake("like", wish="a\x7fb\\", typed=TYPED | {"instrument.name": '\u00c4 "x" \\'}, instrument=wren.id)
    )
    assert show_visit(shop, added.visit.id).instrument.name == '\u00c4 "x" \\'
    assert job_in(shop, added.visit.id)[0].wish == "a\x7fb\\"
    inline = b'instrument = { name = "Wren", scale = "648 mm" }\nbridge = { kind = "fixed, six saddles" }\n'
    odd = add_instrument(shop, "odd.instrument.toml", raw=inline)
    with pytest.raises(InputError, match="cannot be copied"):
        take_in(shop, Intake("like", TYPED, instrument=odd.id))
    lines = b'[instrument]\nname = """Wren\nbird"""\nscale = "648 mm"\n[bridge]\nkind = "fixed, six saddles"\n'
    try:
        long = add_instrument(shop, "long.instrument.toml", raw=lines)
    except InputError:
        return  # a name on two lines is not taken in the first place
    with pytest.raises(InputError, match="cannot be copied"):
        take_in(shop, Intake("like", TYPED, instrument=long.id))
