"""The bar test: signs as the trade knows them, amounts put in by hand, what is refused, the command."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from setwright.bench.bar_test import _floating, bar_test
from setwright.cli.bar_test import numbers
from setwright.cli.main import run
from setwright.errors import InputError
from setwright.instrument.jobfile import read_job
from setwright.physics.balance import repeat
from setwright.planning.diagnosis import bar_patterns, diagnose

EXAMPLES = Path(__file__).parents[2] / "examples"
LAPWING = EXAMPLES / "lapwing-pull.job.toml"
JOB = read_job(LAPWING)
RIG, STATE = _floating(JOB)
NOUGHT = np.zeros(6)
EACH = range(6)


def named(found, sure=("yes",)):
    return {(c.kind, c.string) for c in found.causes if c.matters in sure}


def test_a_plate_held_up_puts_all_flat():
    knife, _ = bar_patterns(RIG, STATE)
    assert (knife < 0.0).all()


def test_a_string_that_stands_sharp_puts_the_others_flat_by_less():
    _, own = bar_patterns(RIG, STATE)
    assert np.diagonal(own) == pytest.approx(np.ones(6))
    others = own[~np.eye(6, dtype=bool)]
    assert ((others > -0.5) & (others < 0.0)).all()


def test_all_flat_then_all_sharp_is_the_plate():
    like = np.array([-2.0, -3.5, -6.0, -4.5, -5.5, -6.5])
    found = diagnose(RIG, STATE, like, -like)
    assert named(found) == {("knife", None)}
    assert found.fits


def test_one_string_sharp_then_flat_is_its_slot():
    like = np.array([-1.0, -2.0, 16.0, -2.2, -2.6, -3.0])
    found = diagnose(RIG, STATE, like, -like, sd=0.3)
    assert max(found.causes, key=lambda c: c.cents).string == 3
    assert named(found, ("yes", "perhaps")) == {("slot", 3)}


@pytest.mark.parametrize("string", EACH)
def test_one_string_flat_both_ways_has_given(string):
    like = np.full(6, 0.6)
    like[string] = -9.0
    found = diagnose(RIG, STATE, like, like)
    assert named(found) == {("stretch", string + 1)}


def test_what_nothing_explains_is_said_and_nothing_is_sure():
    result = bar_test(JOB, np.full(6, 20.0), np.full(6, 20.0))
    assert not result.diagnosis.fits
    assert named(result.diagnosis) == set()
    assert any("read again" in remark for remark in result.remarks)


def test_a_cent_is_normal():
    result = bar_test(JOB, np.full(6, -0.8), np.full(6, 0.8))
    assert result.comes_back
    assert result.remedies == ()
    assert "normal" in result.remarks[0]


def test_remedies_come_in_the_order_of_the_trade():
    dive = np.array([-4.0, -7.0, -12.0, -9.0, 12.0, -30.0])
    pull = np.array([4.0, 7.0, 12.0, 9.0, -32.0, -6.0])
    words = " ".join(bar_test(JOB, dive, pull, sd=0.2).remedies)
    assert words.index("Stretch in") < words.index("behind the nut") < words.index("knife edge")


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"dive": np.zeros(5)}, "5 readings for 6 strings"),
        ({"pull": np.array([0.0, 0.0, np.nan, 0.0, 0.0, 0.0])}, "string 3 reads nan"),
        ({"dive": np.full(6, 101.0)}, "string 1 reads 101"),
        ({"sd": 0.0}, "sd is 0"),
        ({"sd": np.nan}, "sd is nan"),
        ({"tolerance": 0.0}, "tolerance is 0"),
        ({"rig": repeat(RIG, 2)}, "one floating plate"),
        ({"state": replace(STATE, contact=np.ones(1))}, "touches a stop"),
        ({"rig": replace(RIG, axial=np.ones((1, 13)))}, "13 strings are too many"),
    ],
)
def test_nonsense_is_refused(change, words):
    given = {"rig": RIG, "state": STATE, "dive": NOUGHT, "pull": NOUGHT, **change}
    with pytest.raises(InputError, match=words):
        diagnose(**given)


def test_a_decked_plate_is_refused():
    with pytest.raises(InputError, match="found decked"):
        bar_test(read_job(EXAMPLES / "kestrel-float.job.toml"), NOUGHT, NOUGHT)


def test_the_command_in_cents_and_in_hertz_says_the_same(capsys):
    before = np.array([329.6, 246.9, 196.0, 146.8, 110.0, 82.4])
    off = np.array([-3.0, -5.0, -9.0, -6.5, -8.0, -9.5])
    texts = [" ".join(f"{v:.6f}" for v in before * 2 ** (sign * off / 1200)) for sign in (0, 1, -1)]
    ways = (
        ["--before", "1 1 1 1 1 1", "--dive", "-2 -4 -8 -5.5 −7 -8.5", "--pull", "4,6,10,7.5,9,10.5"],
        ["--hertz", "--before", texts[0], "--dive", texts[1], "--pull", texts[2]],
        ["--dive", "-3 -5 -9 -6.5 -8 -9.5", "--pull", "3 5 9 6.5 8 9.5"],
    )
    said = []
    for way in ways:
        assert run(["bar-test", str(LAPWING), *way]) == 0
        said.append(capsys.readouterr().out)
    assert said[0] == said[1] == said[2]
    assert "does not come back to pitch" in said[0]
    assert "plate: knife edge, post or block" in said[0]
    assert "never let the plate snap back" in said[0]


def test_the_command_as_json_and_at_rest(capsys):
    words = ["bar-test", str(LAPWING), "--dive", "0 0 0 0 0 0", "--pull", "0 0 0 0 0 0"]
    assert run([*words, "--json"]) == 0
    given = json.loads(capsys.readouterr().out)
    assert given["document"] == "bar_test"
    assert given["bar_test"]["comes_back"] is True
    assert [c["kind"] for c in given["bar_test"]["diagnosis"]["causes"]] == ["stretch"] * 6 + ["slot"] * 6 + ["knife"]
    assert run(words) == 0
    assert ": comes back to pitch" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (["--dive", "1 two 3", "--pull", "1"], "'two' is no number"),
        (["--dive", "nan 0 0 0 0 0", "--pull", "0"], "a finite number of cents"),
        (["--dive", "0 0 0", "--pull", "0 0 0"], "3 readings for 6 strings"),
        (["--before", "0 0", "--dive", "0 0 0", "--pull", "0 0 0"], "--before has 2"),
        (["--hertz", "--dive", "110", "--pull", "110"], "--hertz needs --before"),
        (["--hertz", "--before", "5", "--dive", "110", "--pull", "110"], "15 to 1500 Hz"),
    ],
)
def test_the_command_refuses_nonsense_in_one_sentence(capsys, words, complaint):
    assert run(["bar-test", str(LAPWING), *words]) == 2
    assert complaint in capsys.readouterr().err


def test_numbers_take_either_minus_sign():
    assert numbers("−3, -4 +5", "--dive", False) == [-3.0, -4.0, 5.0]
