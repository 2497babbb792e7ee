"""setwright learned: what was told, in words and as JSON."""

from __future__ import annotations

import json
import math
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from setwright.bench.learned import Report
from setwright.cli.learned_card import gathered, learned_lines
from setwright.planning.by_sound import Effect, Trial
from setwright.planning.learned import Figure, Learned, Pair, Trait
from setwright.planning.worth import Worth

EXAMPLES = Path(__file__).parents[2] / "examples"
HARDWARE = ("did strip shim in .030 in", "did pivot up 2 turns", "did springs 3", "did step saddles")
HEARD = tuple(f"read pitch string {i} = -300 c ± 0.5 c" for i in range(1, 7))


@pytest.fixture
def job(tmp_path):
    for name in ("kestrel-float", "knot-too-weak", "plover-dive"):
        stem = name.split("-")[0]
        shutil.copy(EXAMPLES / f"{name}.job.toml", tmp_path / f"{name}.job.toml")
        shutil.copy(EXAMPLES / f"{stem}.instrument.toml", tmp_path / f"{stem}.instrument.toml")
    return tmp_path / "kestrel-float.job.toml"


def log(ask, job, *lines):
    for line in lines:
        code, _, complaint = ask("log", job, *line.split())
        assert code == 0, complaint


def test_what_a_journal_has_told(ask, job):
    log(ask, job, *HARDWARE, *HEARD, "read rear gap = 0 mm ± 0.1 mm")
    code, out, _ = ask("learned", job)
    assert code == 0
    assert out.startswith("Kestrel: decked to floating\n\nTHE BALANCE AT ITS WANTED END\n")
    for part in ("stiffness, strings over springs", "string 6 per turn in", "THE INSTRUMENT", "not told: ", " N m/rad"):
        assert part in out
    assert "By sound alone: the plate was last heard on a stop" in out
    assert "Where the finger stands" not in out
    assert max(len(line) for line in out.splitlines()) <= 80
    inch = ask("learned", job, "--units", "inch")[1]
    assert " lb" in inch
    assert " mm" not in inch
    assert max(len(line) for line in inch.splitlines()) <= 80


def test_the_same_as_json(ask, job):
    log(ask, job, *HARDWARE, *HEARD)
    document = json.loads(ask("learned", job, "--json")[1])
    assert (document["document"], document["version"]) == ("learned", 1)
    said = document["learned"]
    assert set(said) == {"learned", "worth", "by_sound", "silent", "entries", "remarks"}
    assert [one["what"] for one in said["learned"]["figures"]][:2] == ["stiffness ratio", "stiffness"]
    assert said["entries"] == len(HARDWARE) + len(HEARD)
    assert said["by_sound"] is None
    assert said["silent"]


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        ((), "still to be set"),
        (HARDWARE, "nothing has been learned yet"),
        ((*HARDWARE, *HEARD[:5]), "not every string has been heard"),
    ],
)
def test_a_journal_that_has_not_come_to_the_balance(ask, job, lines, words):
    log(ask, job, *lines)
    code, out, complaint = ask("learned", job)
    assert (code, out) == (2, "")
    assert words in complaint
    assert complaint.count("\n") == 1


def test_a_plate_that_is_not_to_float(ask, job):
    code, _, complaint = ask("learned", job.with_name("plover-dive.job.toml"))
    assert code == 2
    assert "wanted dive-only" in complaint
    assert "plate that is to float" in complaint


def test_no_plan_and_no_file(ask, job):
    code, _, complaint = ask("learned", job.with_name("knot-too-weak.job.toml"))
    assert code == 3
    assert "no plan exists" in complaint
    assert "{" not in complaint
    assert ask("learned", job.with_name("nothing.job.toml"))[0] == 2


# ---- words ----------------------------------------------------------------------------------------------------------

FIGURES = (
    Figure("stiffness ratio", None, "1", 0.7, 0.2, 0.6, 0.05),
    Figure("gap per turn at pitch", None, "m", -2e-3, 3e-4, math.nan, math.inf),
    Figure("cents per turn", 2, "cents", 60.0, 6.0, 55.0, 1.0),
)
TRAITS = (
    Trait("springs.rate", "spring rate", "N/m", 3500.0, 500.0, 3300.0, 100.0, 0.96, "told"),
    Trait("bridge.mass", "mass of the bridge", "kg", 0.3, 0.03, 0.31, 0.02, 0.5, "partly"),
    Trait("x", "a thing of no unit", "1", 0.5, 0.1, 0.4, 0.01, 0.99, "told"),
    Trait("y", "a thing known exactly", "m", 0.05, 0.0, 0.05, 0.0, 0.0, "told"),
    Trait("z", "a bare number known exactly", "N m2", 300.0, 0.0, 300.0, 0.0, 0.0, "told"),
    Trait("nut.behind[0]", "string behind the nut, string 1", "m", 0.1, 5e-3, 0.1, 5e-3, 0.0, "not told"),
    Trait("nut.behind[1]", "string behind the nut, string 2", "m", 0.1, 5e-3, 0.1, 5e-3, 0.0, "not told"),
)
LEARNED = Learned(FIGURES, (110.0, 3.0), False, TRAITS, ())


def shown(report, system="mm"):
    lines = learned_lines("A job", report, system)
    assert max(len(line) for line in lines) <= 80
    return " ".join(" ".join(lines).split())


def report(**fields):
    return replace(Report(LEARNED, None, None, "no experiment within the limits tells much more"), **fields)


def test_figures_and_traits_in_words():
    out = shown(report())
    assert "stiffness, strings over springs 0.7 ± 0.4 0.60 ± 0.10" in out
    assert "the same, brought back to pitch −2.0 ± 0.6 mm not known" in out
    assert "string 2 per turn in 60 ± 12 c 55 ± 2 c" in out
    assert "All springs pull 110 ± 6 N as it stands now." in out
    assert "spring rate 3.5 ± 1.0 N/mm 3.3 ± 0.2 N/mm" in out
    assert "mass of the bridge 0.30 ± 0.06 kg" in out
    assert "a thing of no unit 0.5 ± 0.2 0.40 ± 0.02" in out
    assert "a thing known exactly 50.0 mm 50.0 mm" in out
    assert "a bare number known exactly 300 N m2" in out
    assert "not told: string behind the nut, strings 1, 2." in out
    assert "By sound alone: no experiment within the limits tells much more." in out
    assert "With gauges: nothing; the claw's end is known to 1/8 turn." in out
    inch = shown(report(), "inch")
    assert "spring rate 20 ± 6 lb/in" in inch
    assert "All springs pull 24.7 ± 1.3 lb" in inch


def test_figures_that_are_not_known():
    closed = replace(LEARNED, closed=True, force=(math.nan, math.inf))
    out = shown(report(learned=closed))
    assert "believed closed or slack" in out
    assert "All springs pull" not in out


def test_an_instrument_of_which_all_is_told():
    told = replace(LEARNED, traits=TRAITS[:1])
    out = shown(report(learned=told))
    assert "not told" not in out
    assert "partly" not in out


def test_what_would_tell_most():
    effects = (
        Effect("stiffness ratio", 0.2, 0.1),
        Effect("gap per turn", 5e-5, 2e-5),
        Effect("cents per turn", 5.0, 2.0),
        Effect("spring rate", 0.1, 0.05),
    )
    tune = Trial("tune", 2, 185.0, -100.0, effects=effects, left=0.5)
    out = shown(report(by_sound=tune, worth=Worth("pitch", 3, 0.4, 0.1)))
    assert "With gauges: pitch of string 3 (claw from ± 25/32 turn to ± 3/16 turn)." in out
    assert "By sound alone: tune string 3 down 100 c, to 185.00 Hz, then hear all strings." in out
    assert "stiffness ratio 0.39 to 0.20; gap per turn 0.098 to 0.039 mm; cents per turn 9.8 to 3.9 c;" in out
    assert "spring rate 19.6 to 9.8 %." in out
    assert "gap per turn 0.0039 to 0.0015 in" in shown(report(by_sound=tune), "inch")
    assert "slack" not in out
    claw = Trial("claw", turns=-0.25, effects=effects)
    assert "The thread has slack: let the claw's last way before it be the same." in shown(report(by_sound=claw))
    assert "tune string 3 up 40 c, to 199.00 Hz" in shown(report(by_sound=Trial("tune", 2, 199.0, 40.0)))
    assert "turn both claw screws out 1/4 turn, then" in shown(report(by_sound=Trial("claw", turns=-0.25)))
    assert "turn both claw screws in 1/8 turn, then" in shown(report(by_sound=Trial("claw", turns=0.125)))
    assert "By sound alone: hear all strings first." in shown(report(by_sound=Trial("hear")))
    assert "With gauges: rear gap (claw" in shown(report(worth=Worth("rear gap", None, 0.4, 0.1)))


def test_pairs_and_remarks():
    pairs = (
        Pair("spring rate", "initial pull", -0.9, 150.0, -1.2, ("N/m", "N")),
        Pair("saddle height", "neck stiffness", 0.85, 4e-4, 20.0, ("m", "N m2")),
        Pair("place", "share", 0.85, 4e-4, 0.2, ("m", "1")),
    )
    out = shown(report(learned=replace(LEARNED, together=pairs), remarks=("#3 is left out, gap {0.001}",)))
    assert "spring rate with initial pull: 0.15 N/mm more of the first and 1.2 N less of the second read the" in out
    assert "(correlation −0.90)" in out
    assert "0.40 mm more of the first and 20 N m2 more of the second" in out
    assert "and 0.2 more of the second" in out
    assert out.endswith("#3 is left out, gap 1.00 mm.")


def test_labels_that_differ_in_their_string_only():
    labels = [
        "a string, string 1",
        "b",
        "a string, string 3",
        "c, string 2",
        "d of string 1 (.010)",
        "d of string 2 (.013)",
    ]
    assert gathered(labels) == ["a string, strings 1, 3", "b", "c, string 2", "d, strings 1, 2"]
