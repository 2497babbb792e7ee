"""The running log: every kind of step and of answer in words."""

from __future__ import annotations

import numpy as np
import pytest

from setwright.bench.working import Cost, Heard
from setwright.cli.advice_words import todo
from setwright.cli.work_log import Judged, Log, advice_lines, heard_lines, verdict_lines
from setwright.planning.guide import Advice

STEPS = (
    (Advice("tune", "", string=5, hertz=82.41), "Tune string 6 to 82.41 Hz (E2)"),
    (Advice("claw", "", turns=0.25), "Turn both claw screws in 1/4 turn"),
    (Advice("claw", "", turns=-2.18), "Turn both claw screws out 2 3/16 turns"),
    (Advice("wedge", "", gap=0.0026), "Put the wedge under the rear edge, rear gap 2.60 mm"),
    (Advice("wedge", ""), "Take the wedge out"),
    (Advice("read", "", strings=(0, 2)), "Hear strings 1, 3, read what else tells"),
    (Advice("read", "", strings=(4,)), "Hear string 5, read what else tells"),
    (Advice("read", "", claw=True), "Read the claw distance again"),
    (Advice("attitude", ""), "Lay the instrument as it will be played and checked"),
    (Advice("done", ""), "Done"),
)


@pytest.mark.parametrize(("advice", "words"), STEPS)
def test_a_step_in_words(advice, words):
    assert todo(advice, "mm") == words


def test_how_sure_a_step_is():
    advice = Advice(
        "claw", "by what was heard", turns=1.0, turns_sd=0.05, chance=0.42, gap_now=0.0025, gap_sd=0.0001,
        cents=np.array([0.5, -12.0]), cents_sd=np.array([0.3, 2.0]),
    )  # fmt: skip
    text = " ".join(" ".join(advice_lines(advice, "mm", 7)).split())
    assert text.startswith("7 Turn both claw screws in 1 turn ± 1/8 why By what was heard.")
    # 1.96 standard uncertainties by hand: .098 turns, .196 mm, 3.9 cents
    assert "The turns ± 0.10; everything inside as it stands: 42 in 100; rear gap 2.5 ± 0.2 mm;" in text
    assert "string 2 is furthest off, −12 ± 4 c." in text


def test_what_was_heard():
    answers = (
        Heard("pitch", 1, None, 329.63), Heard("pitch", 2, None, 0.0), Heard("tune", 3, 196.0, 196.02),
        Heard("gap", answer=0.0026), Heard("gap", answer=0.00255), Heard("claw_distance", answer=0.015),
        Heard("claw", given=0.25), Heard("bar", given=0.05),
    )  # fmt: skip
    text = " ".join(" ".join(heard_lines(answers, "mm")).split())
    assert text == (
        "heard String 1 329.63 Hz (E4); string 2 slack; string 3 now 196.02 Hz (G3); rear gap 2.60 and 2.55 mm; "
        "claw 15.0 mm."
    )
    assert heard_lines(answers[-2:], "mm") == []
    same = tuple(Heard("claw_distance", answer=0.02025) for _ in range(4))
    for count, said in ((2, "twice alike"), (3, "three times alike"), (4, "4 times alike")):
        assert heard_lines(same[:count], "mm")[0].endswith(f"Claw 20.2 mm, {said}.")


def test_a_slack_string_that_was_tuned():
    assert heard_lines((Heard("tune", 3, 196.0, 0.0),), "mm") == ["    heard  String 3 now slack."]


def test_the_log_counts_the_steps():
    said = []
    log = Log(said.append, "mm")
    for one in ((Heard("gap", answer=0.0),), Advice("wedge", "so"), (Heard("wedge"),), Advice("done", "so")):
        log.tell(one)
    assert [text[:4] for text in said] == [" 0  ", " 1  ", " 2  "]


def test_the_least_an_instrument_says_at_the_end():
    lines = verdict_lines(Judged(True, None, None, None, None), "done", "", Cost(1, 1, 2), "mm")
    assert [line.split() for line in lines[2:]] == [
        ["verdict", "passed"],
        ["asked", "1", "tuning,", "1", "setting", "of", "the", "claw,", "2", "readings"],
    ]
