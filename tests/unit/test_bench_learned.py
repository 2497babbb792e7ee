"""What a replayed journal has told, and an experiment by sound alone put into it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from setwright.bench.data import document
from setwright.bench.guided import guided, told
from setwright.bench.learned import reported
from setwright.bench.replay import begun, replayed, taken_in
from setwright.errors import InputError
from setwright.planning.by_sound import Trial, next_trial, obstacle
from setwright.practice.instrument import Practice
from setwright.practice.told import hello
from tests.unit.test_next_step import Noting, journal, start_for

SEED = 0


@pytest.fixture(scope="module")
def worked():
    """A practice instrument brought home, and its journal."""
    first = hello(SEED)
    job = told(first)
    noting = Noting(Practice(first, SEED), job)
    guided(job, noting)
    return job, noting


def test_before_every_string_was_heard_there_is_nothing(worked):
    job, noting = worked
    with pytest.raises(InputError, match="the job: nothing has been learned yet"):
        reported(begun(start_for(job)))
    with pytest.raises(InputError, match="x: nothing has been learned yet"):
        reported(replayed(start_for(job), journal(*noting.lines[:4])), "x")


def test_an_experiment_in_the_journal_tells(worked):
    """Done as advised and written down, it narrows what it was to narrow, about as expected."""
    job, noting = worked
    balance = replayed(start_for(job), journal(*noting.lines))
    before = reported(balance)
    trial = before.by_sound
    assert trial is not None
    assert before.silent == ""
    assert trial.do in ("tune", "claw")
    done = len(noting.lines)
    if trial.do == "tune":
        noting.tune(trial.string + 1, trial.hertz)
    else:
        noting.claw(trial.turns)
    for string in range(1, 7):
        noting.pitch(string)
    after = reported(taken_in(balance, journal(*noting.lines[done:], first=done + 1)))
    cents = [i for i, one in enumerate(before.learned.figures) if one.what == "cents per turn"]
    was, now = (sum(one.learned.figures[i].after_sd ** 2 for i in cents) ** 0.5 for one in (before, after))
    effect = next(one for one in trial.effects if one.what == "cents per turn")
    assert now / was == pytest.approx(effect.after / effect.before, rel=0.1)
    assert now < was


def test_where_nothing_can_be_told_the_reason_is(worked):
    job, noting = worked
    wedge = next(i for i, line in enumerate(noting.lines) if line.startswith("did wedge in"))
    balance = replayed(start_for(job), journal(*noting.lines[: wedge + 1]))
    found = reported(balance)
    assert found.by_sound is None
    assert found.silent == obstacle(balance.course)
    assert "wedge" in found.silent


def test_with_too_dull_a_tuner_the_limits_are_the_reason(worked, monkeypatch):
    job, noting = worked
    balance = replayed(start_for(job), journal(*noting.lines))
    monkeypatch.setattr("setwright.bench.learned.usual_noise", lambda: (200.0, 1e-3, 1e-3))
    assert next_trial(balance.course, 200.0) is None
    assert "within the limits" in reported(balance).silent


def test_as_json_strings_count_from_1(worked):
    job, noting = worked
    found = reported(replayed(start_for(job), journal(*noting.lines[: noting.lines.index("did wedge out") + 20])))
    trial = Trial("tune", 0, 320.0, -50.0)
    said = document("learned", replace(found, by_sound=trial))["learned"]
    assert said["by_sound"]["string"] == 1
    assert said["learned"]["figures"][-1]["string"] == 6
