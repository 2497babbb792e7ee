"""How a step is put into the journal: every kind of it comes back from the journal as done."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from setwright.bench.at_hand import Deed, asked, at_hand, deeds_of
from setwright.bench.journals import keep
from setwright.bench.next_step import Next
from setwright.planning.guide import Advice
from setwright.planning.plan import Amount, Step
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
    ],
)
def test_advice_has_the_words_of_the_journal(advice: Advice, words: str) -> None:
    (deed,) = deeds_of(Next("balance", advice=advice))
    assert deed.words(amount_of(deed, "mm")) == words


def test_what_is_read_is_no_deed() -> None:
    read = Next("balance", advice=Advice("read", "", strings=(0, 2)), gauges=True)
    assert deeds_of(read) == ()
    assert asked(read) == ("pitch string 1", "pitch string 3", "rear gap", "claw distance")
    assert asked(Next("balance", advice=Advice("read", "", strings=(1,)))) == ("pitch string 2",)
    assert asked(Next("hardware", step=Step("neck off", ""))) == ()
    assert deeds_of(Next("done")) == ()
