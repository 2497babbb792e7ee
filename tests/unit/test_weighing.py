"""One spring off for a while: when it is advised, that it comes back, and what it tells; on exact twins."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from setwright.bench.foretold import foretold
from setwright.bench.guided import as_found, done_step, wanting
from setwright.cli.advice_words import todo
from setwright.planning import tracking, weighing
from setwright.planning.guide import LIFTED, NEAR, STAYED, next_step
from setwright.planning.outlook import view
from setwright.planning.tracking import most_likely
from setwright.planning.turned_back import LOST, expected_slips
from tests.judges.twin import Twin

FLAT, AT_PITCH = 0, 5  # seeds of twins found with a set some 500 cents flat, and at pitch
MOST = 60  # steps


def until(twin, stop, course=None):
    """Steps done until one is to be done that fits; where the work stands, all steps."""
    job = wanting(twin.job, "claw settings")
    course = as_found(job, twin) if course is None else course
    taken = []
    for _ in range(MOST):
        advice = next_step(course)
        taken.append(advice)
        if stop(advice):
            return course, taken
        course = done_step(job, twin, course, advice)
    raise AssertionError([one.do for one in taken])


def off(advice):
    return advice.do == "springs"


def moment_of(picture, count):
    """Moment of so many springs of the most likely instrument by their ends in the side view, pull times arm [N m]."""
    t, c, s = most_likely(picture), math.cos(picture.tilt), math.sin(picture.tilt)
    aft, up = float(t.springs.hook_aft[0]), float(t.springs.hook_up[0])
    hook = np.array([aft * c - up * s, aft * s + up * c])
    claw = float(picture.settings.claw.mean() + picture.mean[picture.claw])
    wall = np.array([float(t.claw.wall_x - t.bridge.pivot_x), float(t.claw.y - np.mean(t.bridge.pivot_y))])
    way = wall + np.array([claw, 0.0]) - hook
    span = float(np.hypot(*way))
    pull = float(t.springs.initial[0] + t.springs.rate[0] * (span - t.springs.free[0]))
    return count * pull * abs(float(way[0] * hook[1] - way[1] * hook[0])) / span


@pytest.mark.parametrize("seed", [FLAT, AT_PITCH])
def test_a_spring_comes_off_once_and_is_hung_again_before_the_claw_is_turned(seed):
    twin = Twin(seed)
    course, before = until(twin, off)
    assert {one.do for one in before} <= {"wedge", "tune", "read", "springs"}
    assert (before[-1].hung, before[-1].springs, before[-1].place) == (3, (0, 4), 2)
    assert todo(before[-1], "mm") == "Take one spring off, the middle one: 2 stay on"
    course = done_step(twin.job, twin, course, before[-1])
    assert weighing.is_off(course)
    assert not weighing.weighed(course)
    course, during = until(twin, off, course)
    assert (during[-1].hung, during[-1].springs, during[-1].place) == (2, (0, 2, 4), 2)
    assert todo(during[-1], "mm") == "Hang the spring again: 3 in all"
    assert "claw" not in {one.do for one in during}
    assert weighing.weighed(course)
    course, after = until(twin, lambda one: one.do == "claw", done_step(twin.job, twin, course, during[-1]))
    assert not weighing.is_off(course)
    assert "read" not in {one.do for one in after}  # what stands on the wedge has been heard there before


@pytest.mark.parametrize("seed", [FLAT, AT_PITCH, pytest.param(3, marks=pytest.mark.slow)])
def test_what_the_plate_floats_at_tells_the_claw(seed):
    """The claw's place with all springs hung is known worse before than after, and the truth lies in the band."""
    twin = Twin(seed)
    course, _ = until(twin, off)
    known = view(course).end.claw_sd
    course = done_step(twin.job, twin, course, next_step(course))
    course, _ = until(twin, lambda one: one.do == "claw", course)
    end = view(course).end
    assert end.claw_sd < 0.5 * known
    assert abs(end.claw_out - twin.claw_needed()) < 3.0 * end.claw_sd


def test_none_comes_off_where_minutes_count_nor_where_no_pattern_has_one_less():
    course, _ = until(Twin(AT_PITCH), off)
    assert weighing.worth_it(view(course))
    assert not weighing.worth_it(view(replace(course, goal=replace(course.goal, fewest="minutes"))))
    springs = course.picture.model.traits.springs
    only = replace(springs, patterns={3: springs.patterns[3]})
    model = replace(course.picture.model, traits=replace(course.picture.model.traits, springs=only))
    assert not weighing.worth_it(view(replace(course, picture=replace(course.picture, model=model))))
    assert not weighing.worth_it(view(replace(course, claws=1)))


def test_a_spring_that_is_off_goes_back_on_before_anything_else_once_the_wedge_is_out():
    twin = Twin(AT_PITCH)
    course, _ = until(twin, off)
    course = done_step(twin.job, twin, course, next_step(course))
    settings = replace(course.picture.settings, prop=np.array(np.nan))
    bare = replace(course, heard=(True,) * 6, picture=replace(course.picture, settings=settings))
    advice = next_step(bare)
    assert (advice.do, len(advice.springs)) == ("springs", 3)


def test_a_plate_that_stays_on_its_wedge_is_lifted_by_a_string_left_flat():
    twin = Twin(FLAT)
    course, _ = until(twin, off)
    course = replace(done_step(twin.job, twin, course, next_step(course)), heard=(True,) * 6, free=False)
    seen = view(course)
    low = np.flatnonzero(seen.alone[1] < -LIFTED - NEAR)
    assert low.size
    advice = next_step(course)
    assert (advice.do, advice.string) == ("tune", low[-1])
    flat = 1200.0 * np.log2(advice.hertz / seen.alone[0][low[-1]])
    assert flat == pytest.approx(-LIFTED)
    strings = []
    while advice.do == "tune":  # each once, from the thick ones on, whatever the plate does
        strings.append(advice.string)
        course = replace(done_step(twin.job, twin, course, advice), heard=(True,) * 6, free=False)
        advice = next_step(course)
    assert strings == [1, 0]
    assert (advice.do, len(advice.springs), advice.why) == ("springs", 3, STAYED)


def test_a_claw_that_is_turned_back_goes_a_little_farther():
    """What the screw loses on its way back is added where a spring was off, and only where it does turn back."""
    twin = Twin(AT_PITCH)
    course, _ = until(twin, lambda one: one.do == "claw")
    assert weighing.last_way(course) == 0.0
    course = done_step(twin.job, twin, course, next_step(course))
    lead = float(course.picture.model.traits.claw.lead)
    assert weighing.last_way(course) < -0.1 * lead
    course, steps = until(twin, lambda one: one.do in ("claw", "done"), course)
    assert steps[-1].do == "claw"
    out = view(course).end.claw_out
    assert out < 0.0
    assert -steps[-1].turns == pytest.approx(out - LOST)
    before = course.picture
    after = tracking.turned(before, steps[-1].turns)
    claw = before.claw
    assert after.mean[claw] - before.mean[claw] == pytest.approx(LOST * lead)  # it is believed to be lost, too
    assert tracking.turned(before, -steps[-1].turns).mean[claw] == before.mean[claw]  # not where it goes on
    scenes = (*before.scenes, replace(before.scenes[-1], settings=after.settings, turns=after.turns))
    assert expected_slips(scenes, after.turns, lead) == pytest.approx([0.0, 0.0, LOST * lead])
    assert expected_slips(scenes[-1:], after.turns, lead) == pytest.approx(0.0)  # no spring was off in these
    assert expected_slips((), 0, lead) == pytest.approx(0.0)
    settings = replace(course.picture.settings, claw=course.picture.settings.claw - 9.0 * lead)  # as if it had come in
    same_way = replace(course, picture=replace(course.picture, settings=settings))
    assert weighing.last_way(same_way) > 0.0


def test_springs_that_hang_otherwise_than_at_first_are_known_less_well():
    """Two of the same three springs, of 0.03 each: weights 1/2 - 1/3 twice and 1/3 once, by hand."""
    twin = Twin(AT_PITCH)
    course, _ = until(twin, off)
    picture = done_step(twin.job, twin, course, next_step(course)).picture
    share = 0.03 * math.sqrt(2 * (1 / 2 - 1 / 3) ** 2 + (1 / 3) ** 2)
    (other,) = picture.others
    lead, near = 1e-4, picture.mean.copy()
    near[picture.claw] += lead
    moved = replace(picture, mean=near)
    by_claw = (moment_of(moved, 2) - moment_of(picture, 2)) / lead
    assert other.count == 2
    assert other.sd * abs(by_claw) == pytest.approx(share * moment_of(picture, 2), rel=0.02)


def test_nothing_is_foretold_of_a_plate_that_may_lift_or_stay_and_its_return_is():
    twin = Twin(AT_PITCH)
    course, steps = until(twin, off)
    assert foretold(course, steps[-1]) is None
    course = done_step(twin.job, twin, course, steps[-1])
    course, steps = until(twin, off, course)
    told = foretold(course, steps[-1])
    assert told is not None
    done_step(twin.job, twin, course, steps[-1])
    assert told.gap == pytest.approx(twin.gap_now(), abs=1e-5)
    up = [2, 3, 4, 5]
    np.testing.assert_allclose(np.array(told.cents)[up], twin.off()[up], atol=3.0)


def test_both_ways_are_told_until_the_strings_come_up():
    twin = Twin(FLAT)
    course = as_found(twin.job, twin)
    (said,) = weighing.two_ways(course)
    assert said.startswith("chosen for fewest claw settings: ")
    assert "for fewest minutes" in said
    other = replace(course, goal=replace(course.goal, fewest="minutes"))
    assert weighing.two_ways(other)[0].startswith("chosen for fewest minutes: ")
    assert weighing.two_ways(replace(course, tunings=1)) == ()
