"""How a step is put into the journal: every kind of it comes back from the journal as done."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from setwright.bench.at_hand import AtHand, Deed, ToRead, at_hand, claw_told, deeds_of, to_read
from setwright.bench.foretold import Foretold, Peg
from setwright.bench.journals import keep
from setwright.bench.next_step import Next, Standing
from setwright.cli.step import amount_words
from setwright.instrument.jobfile import read_job
from setwright.planning.guide import Advice
from setwright.planning.plan import Amount, Step
from setwright.web.pages.step import card_of, table_of
from setwright.web.step_drawing import amount_of, drawing_of, standing_drawing

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
HELD = {
    "kestrel-float": 10, "dunlin-heavier": 5, "lapwing-pull": 3, "plover-dive": 3, "wigeon-reradius": 2,
    "curlew-low": 2, "sanderling-lower": 3,
}  # fmt: skip


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for path in EXAMPLES.glob("*.toml"):
        shutil.copy(path, tmp_path)
    return tmp_path


@pytest.mark.slow
@pytest.mark.parametrize("name", HELD)
def test_hardware_said_as_shown_is_done(folder: Path, name: str) -> None:
    job = str(folder / f"{name}.job.toml")
    done = []
    for _ in range(30):
        found = at_hand(job)
        if found.next.kind != "hardware":
            break
        assert found.next.step is not None
        done.append(found.next.step.key)
        drawing_of(found, "inch")
        for deed in found.deeds:
            keep(job, [deed.words(amount_of(deed, "inch"))])
        assert standing_drawing(found) == ""
    assert len(done) == len(set(done)) >= HELD[name], done  # no step comes twice
    assert found.next.kind in ("balance", "strings")


def test_words_of_deeds() -> None:
    deed = Deed("both claw screws", "claw", ("in", "out"), "turns", 0.625)
    assert deed.words("5/8 turn") == "did claw in 5/8 turn"
    assert deed.words("5/8 turn", "out") == "did claw out 5/8 turn"
    assert deed.words("5/8 turn", "sideways") == "did claw in 5/8 turn"
    assert Deed("wedge", "wedge out").words() == "did wedge out"
    wedge = Deed("gap", "wedge in", (), "length", 2.6e-3, "at", ", props")
    assert wedge.words("2.6 mm") == "did wedge in at 2.6 mm, props"


@pytest.mark.parametrize(
    ("step", "words"),
    [
        (Step("relief", "", (Amount("truss rod", 0.125, "turns", "tighter"),)), "did rod tighter 1/8 turn"),
        (Step("block", "", (Amount("rear gap", 2.6e-3, "length", "to"),)), "did wedge in at 2.60 mm, blocks"),
        (Step("shim", "", (Amount("flat shim", 5.08e-4, "thou", "take out"),)), "did flat shim out .020 in"),
        (Step("claw", "", (Amount("bass claw screw", 1.0, "turns", "out"),)), "did claw bass out 1 turn"),
        (Step("pivots", "", (Amount("treble pivot screw", 0.5, "turns", "up"),)), "did pivot treble up 1/2 turn"),
        (Step("lengths", "", (Amount("string 4", 1.5, "turns", "back"),)),
         "did saddle length string 4 back 1 1/2 turns"),
        (Step("strings on", ""), "did strings changed"),
        (Step("neck off", ""), "did step neck off"),
    ],
)  # fmt: skip
def test_hardware_has_the_words_of_the_journal(step: Step, words: str) -> None:
    (deed,) = deeds_of(Next("hardware", step=step))
    assert deed.words(amount_of(deed, "mm")) == words


@pytest.mark.parametrize(
    ("advice", "words"),
    [
        (Advice("tune", "", 2, 196.004), "did tune string 3 to 196.00 Hz"),
        (Advice("claw", "", turns=-0.625), "did claw out 5/8 turn"),
        (Advice("claw", "", turns=0.001), "did claw in 1/32 turn"),
        (Advice("wedge", "", gap=2.4e-3), "did wedge in at 2.40 mm, props"),
        (Advice("wedge", ""), "did wedge out"),
        (Advice("attitude", ""), "did attitude playing"),
        (Advice("springs", "", springs=(1, 3), hung=3), "did springs 2"),
    ],
)
def test_advice_has_the_words_of_the_journal(advice: Advice, words: str) -> None:
    (deed,) = deeds_of(Next("balance", advice=advice))
    assert deed.words(amount_of(deed, "mm")) == words


def test_what_is_read_is_no_deed() -> None:
    read = Next("balance", advice=Advice("read", "", strings=(0, 2)), gauges=True)
    assert deeds_of(read) == ()
    assert to_read(read, None).needed == ("pitch string 1", "pitch string 3", "rear gap", "claw distance")
    assert to_read(Next("balance", advice=Advice("read", "", strings=(1,))), None) == ToRead(("pitch string 2",))
    assert to_read(Next("balance", advice=Advice("read", "", claw=True)), None) == ToRead(("claw distance",))
    assert to_read(Next("hardware", step=Step("neck off", "")), None) == ToRead()
    assert deeds_of(Next("done")) == ()


EVERY = tuple(f"pitch string {i}" for i in range(1, 7))


@pytest.mark.parametrize(
    ("cents", "gap", "heard", "told", "needed", "offered"),
    [
        # the gap is not sure: it alone is asked for, however the strings stand
        ((5.0,) * 6, 2.2e-3, True, True, ("rear gap",), (*EVERY, "claw distance")),
        ((0.0,) * 6, 2.2e-3, True, False, ("rear gap", "claw distance"), EVERY),
        # the gap is sure and two strings are not
        ((0.0, 1.9, 0.0, 0.0, 0.0, -5.0), 2.4e-3, True, True, ("pitch string 2", "pitch string 6", "rear gap"),
         (*EVERY[:1], *EVERY[2:5], "claw distance")),
        # everything is sure
        ((0.0,) * 6, 2.4e-3, True, True, ("rear gap",), (*EVERY, "claw distance")),
        # a string was not heard since something was changed
        ((0.0,) * 6, 2.4e-3, False, False, (*EVERY, "rear gap", "claw distance"), ()),
        ((0.0,) * 6, 2.4e-3, False, True, (*EVERY, "rear gap"), ("claw distance",)),
    ],
)  # fmt: skip
def test_strings_are_asked_for_again_only_where_they_are_what_is_not_sure(
    cents: tuple[float, ...], gap: float, heard: bool, told: bool, needed: tuple[str, ...], offered: tuple[str, ...]
) -> None:
    goal = SimpleNamespace(gap=2.4e-3, gap_tolerance=0.25e-3, pitch_tolerance=2.0)
    course: Any = SimpleNamespace(goal=goal, heard=(True,) * 5 + (heard,))
    standing = Standing(cents, (0.3,) * 6, gap, 0.05e-3, 0.5)
    advice = Advice("read", "", strings=tuple(range(6)))
    found = Next("balance", advice=advice, gauges=True, standing=standing)
    assert to_read(found, course, told) == ToRead(needed, offered)


@pytest.mark.parametrize(
    ("lines", "told"),
    [
        ([], False),
        (["read claw distance treble = 16.4 mm"], True),
        (["read claw distance treble = 16.4 mm", "did tune string 1 to 293.66 Hz", "read rear gap = 2.4 mm"], True),
        (["read claw distance treble = 16.4 mm", "did claw in 1/4 turn"], False),
        (["did claw in 1/4 turn", "read claw distance bass = 16.4 mm", "did springs 3"], True),
    ],
)
def test_the_claw_distance_is_told_until_the_claw_is_turned(folder: Path, lines: list[str], told: bool) -> None:
    job = str(folder / "dunlin-heavier.job.toml")
    for line in lines:
        keep(job, [line])
    assert claw_told(at_hand(job).last[::-1]) == told


@pytest.mark.parametrize(
    ("needed", "huge", "what"),
    [
        (("rear gap",), "read the rear gap", ""),
        (("rear gap", "claw distance"), "read the rear gap", "and the claw distance"),
        (("pitch string 2", "rear gap"), "hear string 2", "and read the rear gap"),
        (("pitch string 2", "pitch string 5"), "hear strings 2, 5", ""),
        ((*EVERY, "rear gap", "claw distance"), "hear every string", "and read the rear gap and the claw distance"),
    ],
)
def test_a_step_of_reading_is_headed_by_what_it_asks_for(needed: tuple[str, ...], huge: str, what: str) -> None:
    found = replace(_found(Advice("read", "", strings=tuple(range(6)))), read=ToRead(needed))
    card = card_of(found, "mm")
    assert (card.huge, card.what) == (huge, what)
    assert card.title == f"{huge} {what}".strip().capitalize()


def _found(advice: Advice, **more: object) -> AtHand:
    job = read_job(EXAMPLES / "dunlin-heavier.job.toml")
    found = Next("balance", advice=advice, wanted=(293.66, 220.0, 174.61, 130.81, 98.0, 73.42), **more)
    return AtHand(job, found, 0, (), deeds_of(found), 440.0)


@pytest.mark.parametrize(
    ("advice", "title", "huge", "what"),
    [
        (Advice("wedge", "", gap=2.4e-3), "The wedge", "2.40 mm", "rear gap on the wedge"),
        (Advice("wedge", ""), "The wedge", "wedge out", ""),
        (Advice("claw", "", turns=-0.625, turns_sd=0.1), "Both claw screws", "out 5/8 turn", ""),
        (
            Advice("springs", "", springs=(0, 4), place=2, hung=3),
            "The springs that hang then",
            "one spring off",
            "the middle one; 2 hang then",
        ),
        (
            Advice("springs", "", springs=(0, 1, 4), place=3, hung=4),
            "The springs that hang then",
            "one spring off",
            "that at place 4 from the treble side; 3 hang then",
        ),
        (
            Advice("springs", "", springs=(0, 2), place=2, hung=1),
            "The springs that hang then",
            "the spring on again",
            "2 hang then",
        ),
        (Advice("attitude", ""), "", "Lay the instrument as it will be played and checked", ""),
        (Advice("tune", "", 5, 73.42), "", "string 6 to D2", "73.42 Hz"),
        (Advice("done", "", chance=0.99), "", "Done", ""),
    ],
)
def test_every_advice_has_its_amount_and_its_drawing(advice: Advice, title: str, huge: str, what: str) -> None:
    found = _found(advice)
    card = card_of(found, "mm")
    assert (card.huge, card.what) == (huge, what)
    if advice.do == "springs":
        assert "Protect your eyes" in card.cautions[0]
    drawing = drawing_of(found, "mm")
    assert f"<title>{title}</title>" in drawing if title else drawing == ""


@pytest.mark.parametrize(
    ("step", "ink"),
    [
        (Step("block", "Block it", (Amount("rear gap", 2.6e-3, "length", "to"),)), "2.60 mm"),
        (Step("claw", "Turn", (Amount("both claw screws", 1.0, "turns", "in"),)), "in 1 turn"),
        (Step("hang springs", "Hook", (Amount("places 1, 3, 5, counted from the treble side", 3.0, "count"),)), ">5<"),
        (Step("shim", "Take", (Amount("wedge shim", 5.08e-4, "thou", "take out"),)), "wedge shim .020 in"),
        (Step("relief", "Turn", (Amount("truss rod", 0.125, "turns", "looser"),)), "looser 1/8 turn"),
        (Step("neck off", "Take the neck off"), ""),
    ],
)
def test_every_hardware_step_has_its_drawing(step: Step, ink: str) -> None:
    found = Next("hardware", step=step)
    job = read_job(EXAMPLES / "kestrel-float.job.toml")
    drawing = drawing_of(AtHand(job, found, 0, (), deeds_of(found), 440.0), "inch" if step.key == "shim" else "mm")
    assert (ink in drawing) if ink else drawing == ""


def test_a_peg_far_off_is_told_by_its_pitch_and_a_near_one_by_its_way() -> None:
    far = replace(_found(Advice("tune", "", 5, 73.42)), peg=Peg(5, -900.0, 2.0, 0.0, 0.0, 1.0, 4e-3))
    assert card_of(far, "mm").huge == "string 6 to D2"
    near = replace(far, peg=Peg(5, -30.0, 2.0, 0.0, 0.0, 1.0, 1.6e-4))
    card = card_of(near, "mm")
    assert card.huge == "string 6 up 30 c"
    assert card.what == "to D2, 73.42 Hz"
    assert card.aside == "About 1/8 turn of a button geared 15 : 1."
    hair = replace(far, peg=Peg(5, 0.4, 2.0, 0.0, 0.0, 1.0, -1e-6))
    assert card_of(hair, "mm").huge == "string 6 down 0.4 c"
    assert card_of(hair, "mm").aside.startswith("Less than 1/32 turn")
    assert 'class="lean"' in drawing_of(near, "mm")


def test_one_line_for_each_string_that_is_believed_to_stand_somewhere() -> None:
    standing = Standing((1.0,) * 6, (0.5,) * 6, 2.4e-3, 1e-4, 0.5)
    told = Foretold((2.0,) * 6, (0.7,) * 6, 2.5e-3, 1e-4)
    found = replace(_found(Advice("claw", "", turns=0.1), standing=standing), foretold=told)
    assert standing_drawing(found).count("<rect x=") == 1 + 12
    rows = table_of(found, "mm")
    assert rows[0] == ("string 1", "+1.0 ± 1.0 c", "+2.0 ± 1.4 c")
    assert rows[6] == ("rear gap", "2.4 ± 0.2 mm", "2.5 ± 0.2 mm")
    assert rows[7] == ("all inside", "50 in 100", "")


@pytest.mark.parametrize(
    ("value", "half_width", "said", "typed"),
    [(0.1875, 0.2, "about 1/4 turn looser", "1/4 turn"), (0.1875, 0.02, "3/16 turn looser", "3/16 turn"),
     (0.03, 0.3, "about 1/8 turn looser", "1/8 turn"), (0.001, None, "1/32 turn looser", "1/32 turn")],
)  # fmt: skip
def test_card_drawing_and_journal_tell_one_number_of_turns(
    value: float, half_width: float | None, said: str, typed: str
) -> None:
    one = Amount("truss rod", value, "turns", "looser", half_width)
    step = Step("relief", "Truss rod", (one,))
    deed = deeds_of(Next("hardware", step))[0]
    assert amount_words(one, "mm") == said
    assert amount_of(deed, "mm") == typed
    assert deed.words(typed) == f"did rod looser {typed}"
