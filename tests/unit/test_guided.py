"""The whole balance of an instrument that answers: its first line, and the work on an exact twin."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest

from setwright.bench import guided as room
from setwright.bench.answers import Answering
from setwright.bench.guided import guided, told
from setwright.errors import FileFormatError, InputError, RangeError
from tests.judges.twin import Twin, greeting

FLAT, AT_PITCH = 0, 5  # seeds of twins found with a set some 500 cents flat, and at pitch
MORE = [pytest.param(seed, marks=pytest.mark.slow) for seed in (3, 8)]


# ---- the first line -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("wrong", [None, [], "instrument", {}, {"hello": "world"}], ids=str)
def test_what_is_no_greeting(wrong):
    with pytest.raises(FileFormatError, match="no greeting of an instrument"):
        told(wrong)


@pytest.mark.parametrize("protocol", [None, 0, 2, "1"])
def test_another_protocol_is_named(protocol):
    with pytest.raises(FileFormatError, match="protocol"):
        told(greeting() | {"protocol": protocol})


@pytest.mark.parametrize(
    ("group", "name"),
    [
        (("goal",), "hz"),
        (("goal",), "cents_tolerance"),
        (("goal",), "rear_gap"),
        (("goal",), "gap_tolerance"),
        (("told", "gauges"), "pitch_sd"),
        (("told", "gauges"), "gap_res"),
        (("told", "gauges"), "claw_sd"),
        (("told", "claw"), "d_ref"),
        ((), "goal"),
    ],
    ids=str,
)
def test_what_is_missing_is_named(group, name):
    first = greeting()
    part = first
    for step in group:
        part = part[step]
    del part[name]
    with pytest.raises(FileFormatError, match=name):
        told(first)


@pytest.mark.parametrize("attitude", ["sideways", None, 3])
def test_an_unknown_attitude_is_refused(attitude):
    first = greeting()
    first["goal"]["attitude"] = attitude
    with pytest.raises(FileFormatError, match="the first line lacks"):
        told(first)


def test_a_goal_for_other_strings_is_refused():
    first = greeting()
    first["goal"]["hz"] = first["goal"]["hz"][:5]
    with pytest.raises(FileFormatError, match=r"goal\.hz: expected 6 pitches, got 5"):
        told(first)


def test_what_is_told_is_taken_over():
    first = greeting()
    first["goal"]["attitude"] = "flat"
    first["told"]["gauges"] |= {"pitch_sd": 0.4, "gap_sd": 3e-5, "gap_res": 1e-4, "claw_sd": 1e-4, "claw_res": 1e-4}
    job = told(first)
    assert job.goal.attitude == "on its back"
    assert job.goal.gap == 2.6e-3
    np.testing.assert_array_equal(job.settings.claw, [0.017, 0.017])
    np.testing.assert_array_equal(job.settings.springs, [1, 0, 1, 0, 1])
    assert math.isnan(job.settings.prop)
    assert job.gap_sd == pytest.approx(math.sqrt(3e-5**2 + 1e-4**2 / 12.0))  # JCGM 100, F.2.2.1: a rectangle's sd
    assert job.claw_sd == pytest.approx(math.sqrt(1e-4**2 + 1e-4**2 / 12.0))
    assert job.pitch_sd == pytest.approx(math.sqrt(0.4**2 + first["told"]["gauges"]["pitch_res"] ** 2 / 12.0))


@pytest.mark.parametrize(("friction", "knife"), [({"knife": 0.005}, 0.005), ({"knife": 0.0}, room.KNIFE)])
def test_a_knife_edge_is_never_taken_as_free_of_friction(friction, knife):
    first = greeting()
    first["told"]["friction"] = friction
    assert told(first).knife == knife


@pytest.mark.parametrize(
    ("job", "patterns", "hung"),
    [
        ({"springs": 2}, None, (1, 3)),
        ({"springs": 4}, None, (0, 2, 4)),  # no such pattern: the usual three
        ({}, {"2": [1, 3], "5": [0, 1, 2, 3, 4]}, (1, 3)),
        (None, None, (0, 2, 4)),
    ],
    ids=str,
)
def test_how_many_springs_hang(job, patterns, hung):
    first = greeting() | {"job": job}
    if patterns:
        first["told"]["springs"]["patterns"] = patterns
    assert tuple(np.flatnonzero(told(first).settings.springs)) == hung


# ---- the work -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", [FLAT, AT_PITCH, *MORE])
def test_a_twin_is_brought_home(seed):
    twin = Twin(seed)
    on: Answering = twin
    heard = []
    done = guided(twin.job, on, lambda advice, course: heard.append((advice.do, course.tunings)))
    goal = twin.job.goal
    assert done.advice.do == "done"
    assert np.abs(twin.off()).max() <= goal.pitch_tolerance
    assert abs(twin.gap_now() - goal.gap) <= goal.gap_tolerance
    assert [advice.do for advice in done.steps] == [do for do, _ in heard]
    assert done.course.tunings == twin.counts["tune"] == sum(do == "tune" for do, _ in heard)
    assert done.course.claws == twin.counts["claw"]
    assert twin.peak <= 2.0 * goal.peak
    assert math.isnan(twin.settings.prop)


def test_the_work_starts_on_the_wedge_and_ends_without():
    twin = Twin(0)
    steps = guided(twin.job, twin).steps
    wedges = [step.gap for step in steps if step.do == "wedge"]
    assert wedges[0] == twin.job.goal.gap
    assert wedges[-1] is None
    first_claw = next(i for i, step in enumerate(steps) if step.do == "claw")
    assert any(step.do == "tune" for step in steps[:first_claw])


def test_a_slack_string_is_first_brought_to_where_it_is_heard():
    class Slack(Twin):
        slack = True

        def pitch(self, string):
            return 0.0 if string == 2 and self.slack else super().pitch(string)

        def tune(self, string, hz):
            self.slack = False if string == 2 else self.slack
            return super().tune(string, hz)

    twin = Slack(3)
    done = guided(twin.job, twin)
    assert done.advice.do == "done"
    assert np.abs(twin.off()).max() <= twin.job.goal.pitch_tolerance
    assert twin.counts["tune"] == done.course.tunings + 1


def test_a_string_that_falls_silent_while_read_is_left_out():
    class Mute(Twin):
        begun = tuned = mute = False

        def tune(self, string, hz):
            self.begun = self.tuned = True
            return super().tune(string, hz)

        def pitch(self, string):
            first = string == 4 and self.begun and not self.tuned and not self.mute
            self.tuned = False
            self.mute = self.mute or first
            return 0.0 if first else super().pitch(string)

    twin = Mute(5)
    assert guided(twin.job, twin).advice.do == "done"
    assert twin.mute


def test_a_string_not_heard_after_tuning_is_refused():
    class Broken(Twin):
        def tune(self, string, hz):
            super().tune(string, hz)
            return 0.0

    twin = Broken(0)
    with pytest.raises(InputError, match="not heard"):
        guided(twin.job, twin)


def test_the_wanted_attitude_is_taken_first():
    first = greeting()
    first["goal"]["attitude"] = "flat"

    class Turned(Twin):
        asked = ()

        def attitude(self, name):
            self.asked = (*self.asked, name)
            super().attitude({"flat": "on its back"}[name])

    twin = Turned(5, first)
    done = guided(twin.job, twin)
    assert twin.asked == ("flat",)
    assert done.steps[0].do == "attitude"
    assert done.advice.do == "done"
    assert np.abs(twin.off()).max() <= twin.job.goal.pitch_tolerance


def test_work_that_does_not_end_is_given_up(monkeypatch):
    monkeypatch.setattr(room, "MOST", 3)
    twin = Twin(5)
    done = guided(twin.job, twin)
    assert len(done.steps) == 3
    assert done.advice.do != "done"


NAN = float("nan")


class Lying(Twin):
    """A twin one of whose answers is nonsense."""

    what, when, nonsense = "", 0, 0.0
    asked = 0

    def _told(self, what, answer):
        self.asked += what == self.what
        return self.nonsense if what == self.what and self.asked == self.when else answer

    def pitch(self, string):
        return self._told("pitch", super().pitch(string))

    def tune(self, string, hz):
        return self._told("tune", super().tune(string, hz))

    def gap(self):
        return self._told("gap", super().gap())

    def claw_distance(self):
        return self._told("claw_distance", super().claw_distance())


@pytest.mark.parametrize(
    ("what", "when", "nonsense", "named"),
    [
        ("pitch", 1, 1e5, "100000 Hz for the pitch of string 1; that can be 0 to 13"),
        ("pitch", 3, NAN, "nan Hz for the pitch of string 3"),
        ("pitch", 2, -5.0, "-5 Hz for the pitch of string 2"),
        ("pitch", 9, "E4", "'E4' for the pitch of string"),
        ("tune", 1, 1e5, "Hz for the pitch of string 6 after it was tuned"),
        ("gap", 1, 5.0, "5 m for the rear gap; that can be -0.03 to 0.03 m"),
        ("gap", 2, None, "'None' for the rear gap; that must be one number in m"),
        ("claw_distance", 1, -0.2, "-0.2 m for the claw distance; that can be 0 to 0.1 m"),
        ("claw_distance", 4, True, "'True' for the claw distance"),
    ],
)
def test_a_nonsense_answer_is_named(what, when, nonsense, named):
    twin = Lying(3)
    twin.what, twin.when, twin.nonsense = what, when, nonsense
    with pytest.raises(InputError, match=re.escape(named)):
        guided(twin.job, twin)


@pytest.mark.parametrize("steps", [0, 2])
def test_what_physics_refuses_is_told_with_the_step_it_came_after(steps, monkeypatch):
    def refuse(*_):
        raise RangeError("tension is 9000 N; allowed is 1e-06 to 5000 N: check the value and its unit.")

    twin, said = Twin(3), []

    def say(advice, _):
        said.append(advice)
        if len(said) == steps:
            monkeypatch.setattr(room, "done_step", refuse)

    if not steps:
        monkeypatch.setattr(room, "as_found", refuse)
    where = f"step {steps}, {'wedge' if steps == 1 else 'tune'}" if steps else "the first readings"
    with pytest.raises(InputError, match=f"an answer of {where}, cannot be true, read it again: tension is 9000 N"):
        guided(twin.job, twin, say)
