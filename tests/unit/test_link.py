"""The planner's end of the line protocol: real pipes, a plain instrument, and nonsense at every point."""

from __future__ import annotations

import json
import shlex
import sys

import pytest

from setwright.bench.link import BrokenLinkError, Verdict, link, started
from setwright.bench.working import RefusedError
from setwright.errors import FileFormatError, InputError, SetwrightError
from setwright.planning.guide import Advice
from setwright.practice.instrument import Practice
from setwright.practice.told import hello

GREETING = json.loads(
    """
    {"hello": "instrument", "protocol": 1, "strings": 6, "told": {"scale": 0.6477, "frets": 22, "strings": {"f":
    [329.6275569128699, 246.94165062806206, 195.99771799087463, 146.8323839587038, 110.0, 82.4068892282175], "back":
    [0.16, 0.135, 0.11, 0.085, 0.06, 0.04], "capstan": [0.0, 0.0, 0.0, 0.0, 0.0, 0.0], "dia": [0.000254,
    0.00033019999999999995, 0.00043180000000000003, 0.0006603999999999999, 0.0009143999999999999, 0.0011684], "mu0":
    [0.0003955539762007874, 0.0006686022965669291, 0.0011432670680078742, 0.0022627830394763783,
    0.0042794832892440945, 0.006824600792094489], "EA": [10134.149581949954, 17126.71279349542, 29287.692291835374,
    19862.93318062191, 24347.294370634765, 31035.833094721736], "EI": [4.08634246518177e-05, 0.00011671002714805647,
    0.00034129540903444675, 0.00015698093214242282, 0.0002358639424866958, 0.00038325422886333716]}, "nut":
    {"locked": false, "slot": [0.0015, 0.0015, 0.00155, 0.0016, 0.00165, 0.0017], "z": [0.0175, 0.0105,
    0.0034999999999999996, -0.003500000000000003, -0.010500000000000002, -0.0175]}, "fretboard": {"y": 0.0125,
    "radius_nut": 0.241, "radius_end": 0.305, "crown": 0.0011}, "neck": {"angle": 0.0, "x_mouth": 0.393, "y_mouth":
    -0.016, "lever_shim": 0.07, "pocket": 0.076, "x_joint": 0.393, "kappa0": 0.002, "h": 0.012, "EI": 300.0,
    "rod_moment": 2.0, "rod_per_turn": 1.5}, "bridge": {"pivot_x": 0.6352000000000001, "pivot_y": [0.0065, 0.0065],
    "pivot_z": [-0.028, 0.028], "pivot_lead": 0.0007, "saddle": [[0.014, 0.008735837677978156], [0.0148,
    0.009554656516105944], [0.015700000000000002, 0.0099956554104835], [0.0145, 0.0101015702619816],
    [0.015300000000000001, 0.009887074126636013], [0.016300000000000002, 0.009344273521005801]], "saddle_z": [0.026,
    0.0156, 0.0052, -0.0052, -0.0156, -0.026], "height_lead": 0.0005, "height_range": [-0.004, 0.004],
    "length_lead": 0.000794, "length_range": [-0.006, 0.008], "anchor": [[0.02, -0.03], [0.02, -0.03], [0.02,
    -0.03], [0.02, -0.03], [0.02, -0.03], [0.02, -0.03]], "clamped": false, "rear": [0.03, -0.004], "rear_z":
    [-0.03, 0.03], "deck_y": 0.0, "block_aft": [0.012, -0.04], "cavity_aft": 0.026, "block_fore": [0.0, -0.04],
    "cavity_fore": -0.03, "mass": 0.3, "cg": [0.008, -0.012]}, "springs": {"k": 3500.0, "F0": 12.0, "lfree": 0.068,
    "k_closed": 200000.0, "hooks": [[0.006, -0.038, -0.022], [0.006, -0.038, -0.011], [0.006, -0.038, 0.0], [0.006,
    -0.038, 0.011], [0.006, -0.038, 0.022]], "claw_z": [-0.022, -0.011, 0.0, 0.011, 0.022], "patterns": {"1": [2],
    "2": [1, 3], "3": [0, 2, 4], "4": [0, 1, 3, 4], "5": [0, 1, 2, 3, 4]}}, "claw": {"x_wall": 0.5502000000000001,
    "y": -0.0315, "angle": 0.0, "lead": 0.0015, "d_ref": 0.015, "d_range": [0.002, 0.035], "screw_z": [-0.018,
    0.018]}, "friction": {"knife": 0.0}, "thermal": {"T_ref": 293.15, "alpha_string": 1.15e-05, "alpha_body": 4e-06,
    "beta_E": 0.00026}, "finger": {"press": 0.5, "depth": 0.0003}, "tuner": {"take_up": 0.00146}, "gauges":
    {"pitch_sd": 0.3, "pitch_res": 0.1, "gap_sd": 5e-05, "gap_res": 5e-05, "claw_sd": 0.0001, "claw_res": 0.0001,
    "action_sd": 3e-05, "action_res": 5e-05, "relief_sd": 2e-05, "relief_res": 2.54e-05, "tuner_stop": 0.5}},
    "goal": {"rear_gap": 0.0026, "gap_tolerance": 0.00025, "cents_tolerance": 2.0, "hz": [329.6275569128699,
    246.94165062806206, 195.99771799087463, 146.8323839587038, 110.0, 82.4068892282175], "attitude": "playing"},
    "job": {"found": "09", "wanted": "10"}, "limits": {"tune": 300, "claw": 60, "read": 1500}, "minutes": {"tune":
    0.5, "claw": 1.0, "pitch": 0.1, "gap": 0.2, "claw_distance": 0.2, "wedge": 0.5, "wedge_loose": 0.1, "bar": 0.1,
    "springs": 4.0, "attitude": 0.1}}
    """
)
SERVE = f"{shlex.quote(sys.executable)} -c 'from setwright.cli.main import main; main()' practice --serve"


class Plain:
    """An instrument of few words: the verdict flat, answers spoiled at will. It knows nothing of the planner."""

    def __init__(self, first=GREETING, seed=2, spoil=None, flat=True):
        self.practice, self.flat, self.spoil = Practice(first, seed), flat, spoil or (lambda n, do, answer: answer)
        self.asked, self.lines = [], [self.spoil(0, "hello", json.dumps(first))]

    def __iter__(self):
        return self

    def __next__(self):
        if not self.lines or self.lines[0] is None:
            raise StopIteration
        return self.lines.pop(0)

    def say(self, line):
        command = json.loads(line)
        do = command.pop("do")
        self.asked.append(do)
        try:
            got = getattr(self.practice, do)(*command.values())
        except SetwrightError as error:
            answer = {"ok": False, "error": str(error)}
        else:
            name = {"pitch": "hz", "tune": "hz", "gap": "m", "claw_distance": "m"}.get(do)
            answer = {"ok": True} | ({name: got} if name else {})
            if do == "done":
                answer |= {"passed": got.passed} if self.flat else {"verdict": {"passed": got.passed, "cents": [0.5]}}
        self.lines.append(self.spoil(len(self.asked), do, json.dumps(answer)))


def limited(**limits):
    """A greeting whose instrument soon refuses."""
    return hello(3) | {"limits": {"tune": 300, "claw": 60, "read": 1500} | limits}


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(1, 6))
def test_through_real_pipes(seed):
    with started(f"{SERVE} {seed}") as (lines, say):
        outcome = link(lines, say)
    assert outcome.verdict.passed
    assert outcome.ended == "done"
    assert abs(outcome.verdict.gap_error) <= 2.5e-4
    assert max(abs(c) for c in outcome.verdict.cents) <= 2.0
    assert outcome.cost.tunings >= 6
    assert outcome.chance > 0.5


@pytest.mark.slow
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_known_greeting_through_real_pipes(seed, tmp_path):
    path = tmp_path / "first.json"
    path.write_text(json.dumps(GREETING), encoding="utf-8")
    with started(f"{SERVE} {seed} --told {shlex.quote(str(path))}") as (lines, say):
        assert link(lines, say).verdict.passed


@pytest.mark.slow
def test_a_plain_instrument_and_what_is_told_of_the_work():
    plain, notes = Plain(), []
    outcome = link(plain, plain.say, notes.append)
    assert outcome.verdict == Verdict(True)
    assert plain.asked[-1] == "done"
    assert plain.asked.count("tune") == outcome.cost.tunings
    assert plain.asked.count("claw") == outcome.cost.claws
    assert sum(do in ("pitch", "gap", "claw_distance") for do in plain.asked) == outcome.cost.readings
    heard = [one for note in notes if not isinstance(note, Advice) for one in note]
    assert len(heard) == len(plain.asked) - 1
    assert [one for step in outcome.steps for one in step.heard] == heard
    assert [step.advice for step in outcome.steps][1:] == [note for note in notes if isinstance(note, Advice)]
    assert outcome.steps[0].advice is None


@pytest.mark.parametrize("limits", [{"tune": 0}, {"read": 3}, {"claw": 0}, {"tune": 2}])
def test_a_refusal_ends_the_work_and_the_instrument_is_handed_back(limits):
    first = limited(**limits)
    plain = Plain(first, 3, flat=False)
    outcome = link(plain, plain.say)
    assert plain.asked[-1] == "done"
    assert outcome.ended == "refused"
    assert "limit" in outcome.reason
    assert outcome.verdict == Verdict(False, cents=(0.5,))


def test_too_many_steps_end_the_work_too(monkeypatch):
    monkeypatch.setattr("setwright.bench.guided.MOST", 3)
    plain = Plain(hello(3), 3)
    outcome = link(plain, plain.say)
    assert (outcome.ended, plain.asked[-1], outcome.verdict.passed) == ("steps used up", "done", False)
    assert "3 steps" in outcome.reason


def test_readings_of_no_possible_instrument_end_the_work():
    plain = Plain(hello(3), 3, lambda _, do, line: '{"ok": true, "hz": 9000}' if do in ("pitch", "tune") else line)
    outcome = link(plain, plain.say)
    assert (outcome.ended, plain.asked[-1]) == ("stuck", "done")
    assert "fits no instrument" in outcome.reason
    assert "the instrument answered 9000 Hz for the pitch of string 1; that can be 0 to" in outcome.reason


@pytest.mark.parametrize(
    ("do", "answer", "named"),
    [("gap", '"m": 0.045', "0.045 m for the rear gap"), ("claw_distance", '"m": -0.2', "-0.2 m for the claw distance")],
)
def test_a_reading_no_instrument_gives_is_named(do, answer, named):
    plain = Plain(hello(3), 3, lambda _, asked, line: f'{{"ok": true, {answer}}}' if asked == do else line)
    outcome = link(plain, plain.say)
    assert (outcome.ended, plain.asked[-1]) == ("stuck", "done")
    assert named in outcome.reason


def test_a_slack_string_is_brought_up_first():
    plain = Plain(limited(claw=0), 3, lambda n, _, line: '{"ok": true, "hz": 0}' if n == 2 else line)
    link(plain, plain.say)
    assert plain.asked[6] == "tune"


HELLOS = (
    None, "x", "[]", "{}", "3", '"x"', "[" * 9000, '{"hello": "instrument"}', '{"hello": "instrument", "protocol": 2}',
    '{"hello": "instrument", "protocol": 1}', '{"hello": "instrument", "protocol": 1, "told": {}}',
    json.dumps(hello(3) | {"goal": {}}), json.dumps(hello(3) | {"told": 3}), json.dumps(hello(3) | {"job": "x"}),
    json.dumps(hello(3) | {"job": {"springs": [3]}}), json.dumps(hello(3) | {"job": {"springs": True}}),
    json.dumps(hello(3))[:-1], json.dumps(hello(3)).replace("0.00025", "NaN"),
)  # fmt: skip


@pytest.mark.parametrize("line", HELLOS)
def test_nonsense_for_a_first_line(line):
    plain = Plain(hello(3), 3, lambda *_: line)
    with pytest.raises(FileFormatError) as caught:
        link(plain, plain.say)
    assert "\n" not in str(caught.value)
    assert plain.asked == []


NONSENSE = (
    None, "x", "[]", "{}", "null", '{"ok": 1}', '{"ok": "true"}', '{"hz": 196, "m": 0.002}', "[" * 9000,
    '{"ok": true, "hz": NaN, "m": NaN}', '{"ok": true', "\x00",
)  # fmt: skip
NO_NUMBER = (
    '{"ok": true}', '{"ok": true, "hz": null, "m": null}', '{"ok": true, "hz": "196", "m": "2.6"}',
    '{"ok": true, "hz": true, "m": true}', '{"ok": true, "hz": [196], "m": {}}',
    '{"ok": true, "hz": 1e999, "m": 1e999}', '{"ok": true, "hz": -3, "m": 2.6}',
)  # fmt: skip
NUMBERED = ("pitch", "gap", "claw_distance", "tune")


@pytest.mark.parametrize("line", NONSENSE)
@pytest.mark.parametrize("do", [*NUMBERED, "wedge", "done"])
def test_nonsense_for_any_answer(do, line):
    refused_at(do, line)


@pytest.mark.parametrize("line", NO_NUMBER)
@pytest.mark.parametrize("do", NUMBERED)
def test_no_usable_number_in_an_answer(do, line):
    refused_at(do, line)


VERDICTS = (
    '{"ok": true}', '{"ok": true, "verdict": null}', '{"ok": true, "verdict": 3}', '{"ok": true, "passed": 1}',
    '{"ok": true, "verdict": {"passed": "yes"}}', '{"ok": true, "passed": true, "cents": 3}',
    '{"ok": true, "passed": true, "cents": ["x"]}', '{"ok": true, "passed": true, "minutes": 1e999}',
    '{"ok": true, "passed": true, "gap_error": []}', '{"ok": true, "passed": true, "peak_cents_above_target": true}',
)  # fmt: skip


@pytest.mark.parametrize("line", VERDICTS)
def test_no_usable_verdict(line):
    refused_at("done", line)


def refused_at(do, line):
    """One sentence when this command gets this answer."""
    plain = Plain(limited(tune=1, claw=0), 3, lambda _, name, answer: line if name == do else answer)
    with pytest.raises(BrokenLinkError) as caught:
        link(plain, plain.say)
    text = str(caught.value)
    assert text.endswith(".")
    assert "\n" not in text
    assert len(text) < 250
    assert "verdict" in text or do in text
    assert plain.asked[-1] == do


@pytest.mark.parametrize("told", ['"no\\nmore   today"', "null", "[3]"])
def test_done_refused(told):
    plain = Plain(limited(tune=0), 3, lambda _, do, line: f'{{"ok":false,"error":{told}}}' if do == "done" else line)
    with pytest.raises(RefusedError, match=r"refused done: (no more today|it does not say why)"):
        link(plain, plain.say)


def test_empty_lines_are_passed_over():
    plain = Plain(limited(tune=0), 3)
    spoiled = (part for line in plain for part in ("\n", "  ", line))
    assert link(spoiled, plain.say).ended == "refused"


def test_a_whole_verdict():
    answer = {"ok": True, "verdict": {"passed": True, "gap_error": 1e-5, "cents": [1, -0.5], "minutes": 7, "more": 1}}
    plain = Plain(limited(tune=0), 3, lambda _, do, line: json.dumps(answer) if do == "done" else line)
    assert link(plain, plain.say).verdict == Verdict(True, 1e-5, (1.0, -0.5), 7.0, None)


def test_an_instrument_that_takes_no_more_commands():
    def gone(_):
        raise BrokenPipeError

    with pytest.raises(BrokenLinkError, match="takes no more commands"):
        link([json.dumps(hello(3))], gone)


def test_bytes_that_are_no_text():
    def lines():
        yield json.dumps(hello(3))
        raise UnicodeDecodeError("utf-8", b"\xff", 0, 1, "invalid")

    with pytest.raises(BrokenLinkError, match="UTF-8"):
        link(lines(), lambda _: None)


@pytest.mark.parametrize("command", ["", "  ", "'x", "/no/such/program", "/"])
def test_a_program_that_cannot_be_started(command):
    with pytest.raises(InputError), started(command):
        pass


def test_a_program_that_ends_at_once_or_says_nonsense():
    for text in ("", "print(3)", "print('[' * 9000)", "import sys; sys.stdout.buffer.write(bytes([255, 10]))"):
        with pytest.raises(FileFormatError), started(f"{shlex.quote(sys.executable)} -c {shlex.quote(text)}") as ends:
            link(*ends)


def test_a_program_that_does_not_end_is_ended(monkeypatch):
    monkeypatch.setattr("setwright.bench.link.PATIENCE", 0.1)
    with started(f"{shlex.quote(sys.executable)} -c 'import time; time.sleep(60)'") as (_, say):
        say("{}")


def springs_refused(*numbers):
    """Answers of an instrument that hangs no such number of springs."""

    def spoil(_, do, line):
        return '{"ok": false, "error": "what is springs?"}' if do == "springs" and numbers_left.pop(0) else line

    numbers_left = list(numbers)
    return spoil


@pytest.mark.slow
def test_the_way_over_the_protocol_is_that_of_fewest_claw_settings():
    plain = Plain(hello(3), 3)
    assert link(plain, plain.say).verdict.passed
    assert plain.asked.count("springs") == 2
    plain = Plain(hello(3), 3)
    assert link(plain, plain.say, fewest="minutes").verdict.passed
    assert "springs" not in plain.asked


@pytest.mark.slow
def test_an_instrument_that_takes_no_spring_off_is_balanced_with_all_of_them():
    plain = Plain(hello(3), 3, springs_refused(True))
    outcome = link(plain, plain.say)
    assert (outcome.ended, outcome.reason, outcome.verdict.passed) == ("done", "", True)
    assert plain.asked.count("springs") == 1
    patterns = hello(3)["told"]["springs"]["patterns"]
    only = hello(3)
    only["told"]["springs"]["patterns"] = {"3": patterns["3"]}
    plain = Plain(only, 3)
    assert link(plain, plain.say).ended == "done"
    assert "springs" not in plain.asked


@pytest.mark.slow
def test_a_spring_that_does_not_come_back_ends_the_work():
    plain = Plain(hello(3), 3, springs_refused(False, True))
    outcome = link(plain, plain.say)
    assert (outcome.ended, plain.asked[-1]) == ("refused", "done")
    assert outcome.reason == "the instrument refused springs: what is springs?"
