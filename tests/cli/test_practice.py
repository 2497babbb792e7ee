"""setwright practice: by itself, and with an apprentice who follows the advice or does otherwise."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import pytest
from click.testing import CliRunner

from setwright.bench.practising import begin, follow
from setwright.cli import asked
from setwright.cli.main import commands
from setwright.cli.practice import command
from setwright.instrument import settings
from setwright.planning.guide import Advice
from setwright.practice.told import hello


def lesson(*lines, seed="2", more=()):
    """What a lesson prints, and its exit code."""
    text = "".join(f"{line}\n" for line in lines)
    done = CliRunner().invoke(commands, ["practice", "--seed", seed, *more], input=text, standalone_mode=False)
    assert done.exception is None, done.exception
    return done.stdout, done.return_value


@pytest.fixture(scope="module")
def by_itself():
    done = CliRunner().invoke(commands, ["practice", "--auto", "--seed", "2"], standalone_mode=False)
    return done.stdout, done.return_value


def test_by_itself_it_shows_every_step_and_what_was_hidden(by_itself):
    out, code = by_itself
    assert code == 0
    parts = ["WANTED", " 0  As found", " 1  ", "AT THE END", "verdict    passed", "WHAT WAS HIDDEN", "spring rate"]
    places = [out.index(part) for part in parts]
    assert places == sorted(places)
    assert max(len(line) for line in out.splitlines()) <= 80
    steps = [int(n) for n in re.findall(r"^ ?(\d+)  ", out, re.MULTILINE)]
    assert steps == list(range(len(steps)))
    for step in re.split(r"^ ?\d+  ", out.partition("AT THE END")[0], flags=re.MULTILINE)[2:]:
        assert "    why    " in step
    assert re.search(r"\d+ tunings for 6 strings: \d\.\d for each\.", out)


@pytest.mark.slow
def test_by_itself_with_a_spring_off_for_a_while(ask):
    code, out, _ = ask("practice", "--auto", "--seed", 2, "--fewest", "claw settings")
    assert code == 0
    assert max(len(line) for line in out.splitlines()) <= 80
    off, on, claw = (
        out.index(one) for one in ("Take one spring off", "Hang the spring again", "Turn both claw screws")
    )
    assert off < on < claw
    assert " ".join(out.split()).count("Protect your eyes: strings and springs fly.") == 2
    code, out, _ = ask("practice", "--auto", "--seed", 2, "--fewest", "claw settings", "--json")
    advice = [step["advice"] for step in json.loads(out)["practice"]["steps"] if step["advice"]]
    springs = [(one["hung"], one["springs"]) for one in advice if one["do"] == "springs"]
    assert springs == [(3, [1, 5]), (2, [1, 3, 5])]  # places from 1


@pytest.mark.slow
def test_by_itself_as_json(ask, by_itself):
    code, out, _ = ask("practice", "--auto", "--seed", 2, "--json")
    content = json.loads(out)["practice"]
    assert code == 0
    assert content["verdict"]["passed"]
    assert content["seed"] == 2
    assert content["cost"]["tunings"] == content["verdict"]["counts"]["tune"]
    assert content["cost"]["claws"] == content["verdict"]["counts"]["claw"]
    assert content["cost"]["readings"] == content["verdict"]["readings"]
    assert f"{content['cost']['tunings']} tunings for 6 strings" in by_itself[0]
    hidden = {one["what"]: one for one in content["hidden"]}
    assert hidden["spring rate"]["told"] == pytest.approx(hello(2)["told"]["springs"]["k"])
    assert hidden["spring rate"]["true"] != hidden["spring rate"]["told"]


def test_by_itself_where_the_limits_are_too_narrow(tmp_path, ask):
    path = tmp_path / "first.json"
    path.write_text(json.dumps(hello(3) | {"limits": {"tune": 1, "claw": 1, "read": 1500}}), encoding="utf-8")
    code, out, _ = ask("practice", "--auto", "--seed", 3, "--told", path, "--units", "inch")
    assert code == 3
    assert "refused" in out
    assert "The limit of 1 commands that tune is reached" in out
    assert " in  " in out


def test_an_instrument_is_drawn_where_no_seed_is_given(ask, monkeypatch):
    monkeypatch.setattr("setwright.bench.practising.SEEDS", 4)
    monkeypatch.setattr("sys.stdin", [])
    code, out, _ = ask("practice")
    assert code == 3
    assert re.match(r"Practice instrument [123]\n", out)
    assert "not handed over" in out


@pytest.mark.slow
def test_who_follows_the_advice_needs_what_the_advice_needs():
    out, code = lesson(*[""] * 60)
    assert code == 0
    table = out.partition("BESIDE THE ADVICE")[2]
    rows = re.findall(r"^  (?:tunings|settings of the claw|minutes|passed) +(\S+) +(\S+)$", table, re.MULTILINE)
    assert len(rows) == 4
    assert all(mine == other for mine, other in rows)


@pytest.mark.slow
def test_every_command_and_what_it_shows():
    out, code = lesson(
        "help", "pitch 3", "pitch", "gap", "claw", "wedge 2.4 mm", "tune 6 77.5", "tune 5 G#2 -4 c", "claw out 1/4",
        "claw in 1 3/8", "bar", "bar up", "bar 2 deg", "wedge out", "done",
    )  # fmt: skip
    assert code == 3
    assert "type" not in out.partition("AT THE END")[0].partition("help  ")[2].replace("Type help", "")
    assert "heard  String 3 " in out
    assert re.search(r"heard  String 1 .*String 6|heard  String 1 [\s\S]*string 6", out)
    assert "heard  Rear gap " in out
    assert "heard  Claw " in out
    assert "String 6 now 77." in out
    assert re.search(r"String 5 now 103\.\d+ Hz", out)
    assert re.search(r"tunings +2 +\d+", out)
    assert re.search(r"settings of the claw +2 +\d+", out)
    assert "not passed" in out


REFUSED = (
    ("fly", "'fly' is not understood"),
    ("tune 3", "not understood"),
    ("gap now", "not understood"),
    ("pitch 9", "string 9 does not exist"),
    ("pitch 99", "no number of a string"),
    ("pitch x", "no number of a string"),
    ("tune 3 300", "too far"),
    ("tune 9 300", "no such string"),
    ("tune 3 nan", "no pitch"),
    ("tune 3 H2", "B natural"),
    ("claw in", "which way and how far"),
    ("claw 1/4", "which way and how far"),
    ("claw in 30", "takes -20 to 20 at once"),
    ("claw in 19", "turn less"),
    ("wedge", "not understood"),
    ("wedge 2.6", "has no unit"),
    ("wedge 50 mm", "does not go under"),
    ("bar 90 deg", "the bar takes"),
    ("bar far", "bar"),
)


def test_what_cannot_be_done_is_said_and_costs_nothing():
    out, _ = lesson(*(line for line, _ in REFUSED), "done")
    text = " ".join(out.split())
    for _, words in REFUSED:
        _, found, text = text.partition(words)
        assert found, words
    assert out.count("No advice") == 0
    assert re.search(r"settings of the claw +0 ", out)
    assert re.search(r"tunings +0 ", out)


def test_where_nothing_can_be_explained_the_work_goes_on(monkeypatch):
    def broken(*_):
        raise ArithmeticError("nothing fits")

    monkeypatch.setattr("setwright.bench.practising.taken_in", broken)
    out, code = lesson(
        "gap", "", "gap", "pitch 1", "claw", "bar", "tune 6 77.5", "claw in 1/8", "wedge 2.4 mm", "wedge out", "done",
    )  # fmt: skip
    assert code == 3
    assert "No advice: what was heard can no longer be explained: nothing fits" in out
    assert "there is no advice to follow" in out
    assert "String 6 now" in out
    assert re.search(r"tunings +1 ", out)


def test_a_spring_comes_off_where_nothing_is_learned_any_more():
    now = replace(begin(2), course=None)
    follow(now, Advice("springs", "", springs=(1, 3), hung=3))
    assert len(now.practice.truth.state.hung) == 2


def test_where_no_step_can_be_planned_it_is_said(monkeypatch):
    def broken(*_):
        raise ArithmeticError("no way")

    monkeypatch.setattr("setwright.bench.practising.next_step", broken)
    out, _ = lesson("gap")
    assert "No advice: no way" in out


def test_limits_reached_leave_the_lesson_as_it_stands(tmp_path):
    path = tmp_path / "first.json"
    path.write_text(json.dumps(hello(3) | {"limits": {"tune": 0, "claw": 0, "read": 1500}}), encoding="utf-8")
    out, _ = lesson("tune 6 77", "claw in 1/8", seed="3", more=["--told", str(path)])
    assert out.count("is reached") == 2
    assert "No advice" not in out


def test_what_is_typed_must_be_text():
    done = CliRunner().invoke(command, ["--seed", "2"], input=b"\xff\n")
    assert "no text" in str(done.exception)


@pytest.mark.parametrize(
    ("words", "about"),
    [
        (["--json"], "--auto"),
        (["--serve", "1", "--auto"], "--serve"),
        (["--serve", "1", "--seed", "2"], "--serve"),
        (["--serve", "1", "--json"], "--serve"),
        (["--auto", "--seed", "-1"], "seed"),
        (["--seed", "-1"], "seed"),
        (["--auto", "--seed", "1", "--told", "/no/such/file"], "No such file"),
    ],
)
def test_refusals(ask, words, about):
    code, out, err = ask("practice", *words)
    assert code == 2
    assert about in out + err


def test_the_ways_of_the_option_are_those_of_a_job():
    assert asked.FEWEST == settings.FEWEST
