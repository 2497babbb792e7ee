"""Experiments by sound alone: what may be done, what is expected of it, and when there is nothing more to tell."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from setwright.bench.guided import as_found, done_step
from setwright.instrument.prior import Prior
from setwright.instrument.traits import array
from setwright.planning import by_sound, course
from setwright.planning.by_sound import DEEPEST, Trial, next_trial, obstacle, trials
from setwright.planning.guide import next_step
from setwright.planning.tracking import Picture
from tests.judges.by_ear import by_ear, hear
from tests.judges.twin import Twin, floating_twin

SD = 0.3  # cents


@pytest.fixture(scope="module")
def afloat():
    """A twin floating at pitch, heard once."""
    twin = floating_twin(1)
    return twin, by_ear(twin.job, twin, float(twin.settings.claw.mean()), twin.gap_now())


@pytest.fixture(scope="module")
def found(afloat):
    return trials(afloat[1], SD)


def test_the_most_telling_comes_first_and_is_the_next(afloat, found):
    lefts = [one.left for one in found]
    assert lefts == sorted(lefts)
    assert next_trial(afloat[1], SD) == found[0]
    assert 0.0 < lefts[0] < 0.8
    assert lefts[0] + 0.1 < lefts[-1] < 1.0


def test_what_is_left_is_the_geometric_mean_of_the_effects(found):
    for one in found:
        shares = [e.after / e.before for e in one.effects]
        assert one.left == pytest.approx(np.exp(np.mean(np.log(shares))))
        assert max(shares) <= 1.0 + 1e-9
    assert [e.what for e in found[0].effects] == ["stiffness ratio", "gap per turn", "cents per turn", "spring rate"]


def test_at_pitch_no_string_is_brought_over_the_peak(found):
    """Half a turn in would bring the third string some 50 cents up, a quarter some 25; out is safe."""
    turns = {one.turns for one in found if one.do == "claw"}
    assert 0.5 not in turns
    assert {-0.5, -0.25, -0.125, 0.125, 0.25} <= turns


def test_with_a_lower_peak_less_is_allowed(afloat):
    now = afloat[1]
    low = replace(now, goal=replace(now.goal, peak=10.0))
    allowed = trials(low, SD)
    assert {one.turns for one in allowed if one.do == "claw"} == {-0.5, -0.25, -0.125}
    assert len(allowed) < len(trials(now, SD))
    none = replace(now, goal=replace(now.goal, peak=-20.0))
    assert all(one.do == "claw" for one in trials(none, SD))


def test_no_string_goes_deeper_than_allowed(afloat):
    twin, now = afloat
    deep = replace(now, goal=replace(now.goal, hertz=now.goal.hertz * 2.0 ** ((DEEPEST - 60.0) / 1200.0)))
    for one in trials(deep, SD):
        assert one.cents is None or one.cents > -60.0 or one.string is None
    assert twin.counts["tune"] == 0


def test_a_string_that_is_off_may_be_brought_back(afloat):
    _, now = afloat
    goal = now.goal
    off = replace(now, goal=replace(goal, hertz=goal.hertz * np.where(np.arange(6) == 2, 2.0 ** (40.0 / 1200.0), 1.0)))
    back = [one for one in trials(off, SD) if one.string == 2 and one.cents > 0.0]
    assert len(back) == 1
    assert back[0].hertz == pytest.approx(goal.hertz[2] * 2.0 ** (40.0 / 1200.0), rel=1e-3)


def test_a_sharper_tuner_is_told_more_and_friction_tells_less(afloat, found):
    _, now = afloat
    assert trials(now, 0.05)[0].left < found[0].left < trials(now, 5.0)[0].left
    rough = replace(now, picture=replace(now.picture, model=replace(now.picture.model, friction=0.1)))
    assert trials(rough, SD)[0].left > found[0].left


@pytest.mark.parametrize("trial", [0, 3])
def test_what_is_expected_is_what_comes_of_it(found, trial):
    """Readings as expected, taken in by the course: what is left within a tenth of what was foretold,
    of each aim within a quarter; slopes turn as the picture moves."""
    twin = floating_twin(1)
    now = start = by_ear(twin.job, twin, float(twin.settings.claw.mean()), twin.gap_now())
    one = found[trial]
    if one.do == "tune":
        now = course.tuned(now, one.string, twin.tune(one.string + 1, one.hertz))
    else:
        twin.claw(one.turns)
        now = course.turned(now, one.turns)
    now = hear(twin.job, twin, now)
    after = by_sound.firm(now.picture).covariance
    aims = by_sound._aims(by_sound.resting(by_sound.firm(start.picture)), now.goal)
    left = [by_sound._spread(by, after) for by in aims.by]
    assert left == pytest.approx([effect.after for effect in one.effects], rel=0.25)
    shares = [now / effect.before for now, effect in zip(left, one.effects, strict=True)]
    assert float(np.exp(np.mean(np.log(shares)))) == pytest.approx(one.left, rel=0.1)


def test_strings_not_heard_since_are_heard_first(afloat):
    now = course.turned(afloat[1], -0.25)
    assert next_trial(now, SD) == Trial("hear")


def test_an_instrument_that_is_known_tells_nothing_more(afloat):
    now = afloat[1]
    sure = replace(now.picture, covariance=now.picture.covariance * 1e-8)
    assert next_trial(replace(now, picture=sure), SD) is None


def test_an_instrument_without_a_doubtful_spring_rate_is_weighed_by_the_others(afloat):
    now = afloat[1]
    bare = without(now.picture, "springs.rate")
    names = {e.what for e in trials(replace(now, picture=bare), SD)[0].effects}
    assert names == {"stiffness ratio", "gap per turn", "cents per turn"}


def without(picture: Picture, name: str) -> Picture:
    """The picture with one trait known exactly."""
    known, place = picture.model.known, picture.model.known.index(name)
    keep = [i for i in range(len(known.parts)) if i != place]
    less = Prior(tuple(known.parts[i] for i in keep), known.mean[keep], known.covariance[np.ix_(keep, keep)])
    rows = [i for i in range(len(picture.mean)) if i != place]
    return replace(
        picture,
        model=replace(picture.model, known=less),
        mean=picture.mean[rows],
        covariance=picture.covariance[np.ix_(rows, rows)],
    )


# ---- when nothing can be told ---------------------------------------------------------------------------------------


def test_a_plate_on_its_wedge_or_on_a_stop_tells_nothing(afloat):
    now = afloat[1]
    assert obstacle(now) == ""
    wedged = course.changed(now, replace(now.picture.settings, prop=array(2.6e-3)))
    assert "stands on its wedge" in obstacle(wedged)
    blocked = course.changed(now, replace(now.picture.settings, block=array(2.6e-3)))
    assert next_trial(blocked, SD) is None
    twin = Twin(3)
    decked = as_found(twin.job, twin)
    assert "on a stop" in obstacle(decked)
    assert next_trial(decked, SD) is None


def test_springs_believed_closed_are_said_so(afloat):
    now = afloat[1]
    springs = replace(now.picture.model.traits.springs, free=np.full(5, 0.09))
    traits = replace(now.picture.model.traits, springs=springs)
    closed = replace(now, picture=replace(now.picture, model=replace(now.picture.model, traits=traits)))
    assert "closed or slack" in obstacle(closed)
    assert next_trial(closed, SD) is None


def test_on_the_way_to_the_balance_it_begins_once_the_plate_is_free():
    twin = Twin(3)
    now = as_found(twin.job, twin)
    while obstacle(now):
        now = done_step(twin.job, twin, now, next_step(now))
    assert np.isnan(now.picture.settings.prop)
    assert now.free
