"""The instrument's end of the line protocol: every command, every refusal, and that chance comes from the seed."""

from __future__ import annotations

import json
import math

import pytest

from setwright.bench.training import serve_practice
from setwright.cli.main import run
from setwright.errors import FileFormatError, InputError
from setwright.practice.instrument import Practice
from setwright.practice.serve import serve
from setwright.practice.told import hello

EVERY = (
    {"do": "pitch", "string": 3}, {"do": "tune", "string": 3, "hz": 190.0}, {"do": "claw", "turns": -0.25},
    {"do": "gap"}, {"do": "claw_distance"}, {"do": "wedge", "m": 0.0009}, {"do": "wedge_loose"},
    {"do": "wedge", "m": None}, {"do": "bar", "rad": 0.05}, {"do": "springs", "n": 4},
    {"do": "attitude", "is": "flat"}, {"do": "done"},
)  # fmt: skip
ANSWERS = ("hz", "hz", None, "m", "m", None, "loose", None, None, None, None, "verdict")
KEYS = {
    "told": {
        "strings": {"f", "back", "capstan", "dia", "mu0", "EA", "EI"},
        "nut": {"locked", "slot", "z"},
        "fretboard": {"y", "radius_nut", "radius_end", "crown"},
        "neck": {
            "angle", "x_mouth", "y_mouth", "lever_shim", "pocket", "x_joint", "kappa0", "h", "EI", "rod_moment",
            "rod_per_turn",
        },
        "bridge": {
            "pivot_x", "pivot_y", "pivot_z", "pivot_lead", "saddle", "saddle_z", "height_lead", "height_range",
            "length_lead", "length_range", "anchor", "clamped", "rear", "rear_z", "deck_y", "block_aft", "cavity_aft",
            "block_fore", "cavity_fore", "mass", "cg",
        },
        "springs": {"k", "F0", "lfree", "k_closed", "hooks", "claw_z", "patterns"},
        "claw": {"x_wall", "y", "angle", "lead", "d_ref", "d_range", "screw_z"},
        "friction": {"knife"},
        "thermal": {"T_ref", "alpha_string", "alpha_body", "beta_E"},
    },
    "goal": {"rear_gap", "gap_tolerance", "cents_tolerance", "hz", "attitude"},
    "job": {"found", "wanted"},
    "limits": {"tune", "claw", "read"},
}  # fmt: skip


def talk(lines, seed=4, first=None):
    said = []
    over = serve_practice(seed, lines, said.append, first)
    return [json.loads(line) for line in said], over


def asked(commands, seed=4):
    return talk([json.dumps(one) for one in commands], seed)


@pytest.mark.parametrize("seed", range(8))
def test_the_first_line_has_every_part_of_the_protocol(seed):
    first = hello(seed)
    assert (first["hello"], first["protocol"], first["strings"]) == ("instrument", 1, 6)
    for part in ("goal", "job", "limits"):
        assert set(first[part]) == KEYS[part]
    for part, names in KEYS["told"].items():
        assert set(first["told"][part]) == names
    assert first["told"]["nut"]["z"][0] > 0.0 > first["told"]["nut"]["z"][-1]
    assert 1.6e-3 <= first["goal"]["rear_gap"] <= 3.2e-3


def test_every_command_has_its_answer():
    (first, *answers), over = asked(EVERY)
    assert over
    assert first == json.loads(json.dumps(hello(4)))
    for command, key, answer in zip(EVERY, ANSWERS, answers, strict=True):
        assert set(answer) == {"ok", key} - {None}, command
        assert answer["ok"] is True
    verdict = answers[-1]["verdict"]
    assert set(verdict) == {
        "passed", "gap_error", "cents", "counts", "readings", "minutes", "peak_cents_above_target",
    }  # fmt: skip
    assert len(verdict["cents"]) == 6
    assert verdict["counts"] == {"tune": 1, "claw": 1}
    assert verdict["readings"] == 4
    # by hand: pitch .1, tune .5, claw 1, gap .2, claw distance .2, wedge .5, loose .1, wedge .5, bar .1, springs 4, .1
    assert verdict["minutes"] == pytest.approx(7.3)


NONSENSE = (
    "", "x", "[]", "{}", '{"do": 3}', '{"do": "fly"}', '{"do": "pitch"}', '{"do": "gap", "more": 1}', "[" * 5000,
    '{"do": "pitch", "string": 9}', '{"do": "pitch", "string": 0}', '{"do": "pitch", "string": "1"}',
    '{"do": "pitch", "string": true}', '{"do": "pitch", "string": 1.5}', '{"do": "tune", "string": 1, "hz": NaN}',
    '{"do": "tune", "string": 1, "hz": 1e999}', '{"do": "tune", "string": 1, "hz": -3}',
    '{"do": "tune", "string": 1, "hz": null}', '{"do": "claw", "turns": Infinity}', '{"do": "claw", "turns": 19}',
    '{"do": "claw", "turns": 100}', '{"do": "wedge", "m": 1}', '{"do": "wedge", "m": "thick"}', '{"do": "wedge_loose"}',
    '{"do": "bar", "rad": 9}', '{"do": "springs", "n": 7}', '{"do": "springs", "n": true}',
    '{"do": "springs", "n": []}', '{"do": "attitude", "is": "hung"}', '{"do": "attitude", "is": [1]}',
    '{"do": "x' + "x" * 20000 + '"}',
)  # fmt: skip


def test_nonsense_gets_one_sentence_and_is_no_end():
    (_, *answers), over = talk([*NONSENSE, '{"do": "gap"}'])
    assert not over
    assert len(answers) == len(NONSENSE)  # the empty line is passed over
    assert all(not one["ok"] and one["error"].endswith(".") and "\n" not in one["error"] for one in answers[:-1])
    assert answers[-1]["ok"]


def test_refusals_cost_nothing():
    (_, *answers), _ = talk([*NONSENSE, '{"do": "done"}'])
    verdict = answers[-1]["verdict"]
    assert (verdict["minutes"], verdict["readings"], verdict["counts"]) == (0.0, 0, {"tune": 0, "claw": 0})


def test_limits_are_kept():
    first = hello(4)
    first["limits"] = {"tune": 1, "claw": 0, "read": 1}
    said = []
    lines = ['{"do":"tune","string":1,"hz":300}'] * 2 + ['{"do":"claw","turns":-0.1}'] + ['{"do":"gap"}'] * 2
    serve(first, Practice(first, 4), [*lines, '{"do":"done"}'], said.append)
    answers = [json.loads(one) for one in said[1:]]
    assert [one["ok"] for one in answers] == [True, False, False, True, False, True]
    assert "limit of 1 commands that tune" in answers[1]["error"]


def test_nothing_follows_done():
    practice = Practice(hello(4), 4)
    practice.done()
    with pytest.raises(InputError, match="handed back"):
        practice.gap()


def test_the_same_seed_says_the_same_and_another_does_not():
    assert asked(EVERY, 7) == asked(EVERY, 7)
    assert asked(EVERY, 7)[0][1:] != asked(EVERY, 8)[0][1:]


def test_told_from_a_file(tmp_path):
    first = hello(11)
    path = tmp_path / "first.json"
    path.write_text(json.dumps(first), encoding="utf-8")
    said, _ = talk(['{"do":"gap"}'], 2, str(path))
    assert said[0] == json.loads(json.dumps(first))
    assert said[1]["ok"]


@pytest.mark.parametrize("content", ["", "[]", "{", "{}", '{"told": 3, "goal": {}}'])
def test_a_file_that_is_no_first_line_is_refused(tmp_path, content):
    path = tmp_path / "first.json"
    path.write_text(content, encoding="utf-8")
    with pytest.raises(FileFormatError):
        talk([], 2, str(path))


def test_other_refusals(tmp_path):
    with pytest.raises(InputError, match="seed"):
        talk([], -1)
    with pytest.raises(InputError, match="No such file"):
        talk([], 1, str(tmp_path / "none.json"))
    first = hello(4)
    del first["told"]["bridge"]["cg"]
    with pytest.raises(FileFormatError, match="cg"):
        Practice(first, 4)
    first = hello(4)
    del first["told"]["thermal"]["beta_E"]
    with pytest.raises(FileFormatError, match="beta_E"):
        Practice(first, 4)
    first = hello(4)
    first["told"]["strings"]["EA"][2] = math.nan
    with pytest.raises(FileFormatError, match=r"strings\.EA\[2\]"):
        Practice(first, 4)
    first = hello(4)
    first["goal"]["attitude"] = "hung"
    with pytest.raises(FileFormatError, match="hung"):
        Practice(first, 4)
    first = hello(4)
    first["told"]["springs"]["k"] = 30.0
    with pytest.raises(InputError, match="none of"):
        Practice(first, 4)


def test_the_command_serves(monkeypatch, capsys):
    monkeypatch.setattr("sys.stdin", ['{"do":"gap"}\n'])
    assert run(["practice", "--serve", "4"]) == 0
    out = capsys.readouterr().out.splitlines()
    assert json.loads(out[0])["protocol"] == 1
    assert json.loads(out[1])["ok"]
