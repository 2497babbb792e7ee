"""setwright link: exit codes, where the log goes, what the protocol's own output carries."""

from __future__ import annotations

import json
import shlex
import subprocess
import sys

import pytest

from setwright.practice.instrument import Practice
from setwright.practice.told import hello

SERVE = f"{shlex.quote(sys.executable)} -c 'from setwright.cli.main import main; main()' practice --serve 3"


class Piped:
    """Standard input and output of the command with a practice instrument behind them."""

    def __init__(self, first, seed=3):
        self.practice, self.lines, self.sent = Practice(first, seed), [json.dumps(first) + "\n"], []

    def __iter__(self):
        return self

    def __next__(self):
        if not self.lines:
            raise StopIteration
        return self.lines.pop(0)

    def write(self, text):
        command = json.loads(text)
        self.sent.append(command["do"])
        limit = {"ok": False, "error": "no more of that."}
        if command["do"] == "done":
            answer = {"ok": True, "verdict": {"passed": False, "gap_error": -3e-4, "cents": [1.0], "minutes": 3.0}}
        elif command["do"] == "pitch":
            answer = {"ok": True, "hz": self.practice.pitch(command["string"])}
        elif command["do"] in ("gap", "claw_distance"):
            answer = {"ok": True, "m": getattr(self.practice, command["do"])()}
        else:
            answer = limit
        self.lines.append(json.dumps(answer) + "\n")

    def flush(self):
        pass


@pytest.fixture
def piped(monkeypatch):
    ends = Piped(hello(3))
    monkeypatch.setattr("sys.stdin", ends)
    monkeypatch.setattr("setwright.cli.link.send_line", ends.write)
    return ends


def test_the_log_goes_aside_and_the_code_says_not_passed(ask, piped):
    code, out, err = ask("link")
    assert code == 3
    assert out == ""
    assert "As found" in err
    assert " 1  Put the wedge under the rear edge" in err
    assert "not passed" in err
    assert "−0.30 mm off" in err
    assert "refused wedge: no more of that." in err
    assert piped.sent[-1] == "done"


def test_quiet_says_nothing(ask, piped):
    assert ask("link", "--quiet") == (3, "", "")


def test_inches(ask, piped):
    assert "rear gap .094 in\n" in ask("link", "--units", "inch")[2]


def test_the_protocol_is_all_that_standard_output_carries(ask, monkeypatch):
    monkeypatch.setattr("sys.stdin", [json.dumps(hello(3)) + "\n"])
    code, out, err = ask("link")
    assert code == 2
    assert [json.loads(line) for line in out.splitlines()] == [{"do": "pitch", "string": 1}]
    assert "went silent" in err


def test_a_greeting_that_is_none(ask, monkeypatch):
    monkeypatch.setattr("sys.stdin", ["good morning\n"])
    code, out, err = ask("link")
    assert (code, out) == (2, "")
    assert "no JSON" in err


def test_json_needs_a_program(ask):
    code, out, _ = ask("link", "--json")
    assert code == 2
    assert "--run" in json.loads(out)["error"]["message"]


def strings_count_from_1(steps):
    """What was advised is what was asked over the protocol, whose strings count from 1."""
    compared = 0
    for advice, heard in ((step["advice"], step["heard"]) for step in steps):
        if advice is not None and advice["do"] == "tune":
            assert advice["string"] == heard[0]["string"]
        elif advice is not None and advice["do"] == "read":
            assert advice["strings"] == [one["string"] for one in heard if one["do"] == "pitch"]
        else:
            continue
        compared += 1
    assert compared > 5


@pytest.mark.slow
def test_a_program_with_log_and_verdict(ask):
    code, out, err = ask("link", "--run", SERVE)
    assert (code, err) == (0, "")
    assert "AT THE END" in out
    assert "Done" in out
    assert max(len(line) for line in out.splitlines()) <= 80
    code, quiet, _ = ask("link", "--run", SERVE, "--quiet")
    assert code == 0
    assert out.endswith(quiet)
    assert "heard" not in quiet


@pytest.mark.slow
def test_a_spring_comes_off_and_on_over_the_protocol(ask):
    code, out, _ = ask("link", "--run", SERVE, "--fewest", "claw settings", "--json")
    assert code == 0
    heard = [one for step in json.loads(out)["link"]["steps"] for one in step["heard"]]
    assert [one["given"] for one in heard if one["do"] == "springs"] == [2, 3]


@pytest.mark.slow
def test_a_program_as_json(ask):
    code, out, _ = ask("link", "--run", SERVE, "--json")
    document = json.loads(out)
    assert code == 0
    assert (document["document"], document["version"]) == ("link", 1)
    link = document["link"]
    assert link["verdict"]["passed"] is True
    assert link["ended"] == "done"
    assert link["steps"][0]["advice"] is None
    assert {one["do"] for one in link["steps"][0]["heard"]} == {"pitch", "gap", "claw_distance"}
    assert link["steps"][-1]["advice"]["do"] == "done"
    strings_count_from_1(link["steps"])
    assert sum(one["do"] == "tune" for step in link["steps"] for one in step["heard"]) == link["cost"]["tunings"]


@pytest.mark.parametrize("words", ["link", "practice --serve 3"])
def test_a_reader_that_has_gone_is_no_crash(words):
    """Standard output is a pipe nobody reads; one sentence at most, no traceback."""
    program = [sys.executable, "-c", "from setwright.cli.main import main; main()", *words.split()]
    with subprocess.Popen(
        program, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as child:
        child.stdout.close()
        child.stdin.write(json.dumps(hello(3)) + "\n")
        child.stdin.close()
        err = child.stderr.read()
    assert "Traceback" not in err
    assert "Exception ignored" not in err
    assert child.returncode in (2, 141)
