"""The next step of a floating balance: every branch, on a picture of an exact twin; amounts against the twin itself."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from scipy.optimize import least_squares
from scipy.stats import norm

from setwright.instrument.geometry import tilt_for_gap
from setwright.instrument.predict import balance_at, predict
from setwright.instrument.traits import array
from setwright.planning import guide, outlook, tracking
from setwright.planning.course import Course
from setwright.planning.explaining import read
from setwright.planning.guide import next_step
from setwright.planning.scenes import FREE, Scene, Seen
from setwright.planning.touching import FAR_PULLED, Few, by_hand, fewest
from setwright.planning.tracking import Picture, begin, most_likely
from tests.judges.twin import Twin

GOAL = replace(Twin(5).job.goal, gap=2.6e-3)
IN_MINUTES = replace(GOAL, fewest="minutes")  # no spring comes off before the claw is set
HEARD, UNHEARD = (True,) * 6, (False,) * 6
TINY = 1e-8


def picture_of(cents=0.0, *, sure=TINY, turned=0.0, prop=None, gap=None) -> Picture:
    """The nominal instrument floating at the goal, then its claw out by turns and every string off by cents.

    sure: share of the prior's standard uncertainty that is left.
    """
    twin = Twin(5)
    traits, noted = twin.job.traits, twin.job.settings
    tilt = float(tilt_for_gap(traits, noted, array(GOAL.gap if gap is None else gap)))
    done = balance_at(traits, noted, GOAL.hertz, tilt).settings
    hertz = GOAL.hertz * 2.0 ** (np.broadcast_to(cents, 6) / 1200.0)
    settings = replace(done, claw=done.claw + turned * float(traits.claw.lead), prop=array(np.nan))
    picture = begin(traits, twin.known, settings, hertz, 0.002, tilt)
    picture = replace(picture, covariance=picture.covariance * sure**2)
    return tracking.changed(picture, replace(settings, prop=array(np.nan if prop is None else prop)))


def course_of(picture, **known) -> Course:
    usual = {"heard": HEARD, "gap_read": 3, "claw_read": 3, "free": True, "claws": 2}
    return Course(picture=picture, goal=known.pop("goal", GOAL), **(usual | known))


# ---- beliefs --------------------------------------------------------------------------------------------------------


def test_where_it_stands_is_what_the_forward_model_says():
    picture = picture_of(np.array([3.0, -1.0, 0.0, 5.0, 2.0, -4.0]))
    now = outlook.here(course_of(picture))
    traits, settings, _ = tracking.lay_out(picture, picture.mean[None])
    seen = predict(traits, settings, start=picture.tilt)
    np.testing.assert_allclose(now.cents, 1200 * np.log2(seen.pitch[0] / GOAL.hertz), atol=1e-6)
    assert now.gap == pytest.approx(float(np.mean(seen.rear_gap)), abs=1e-9)


def test_chances_of_a_wide_belief_lie_between_none_and_all():
    now = outlook.here(course_of(picture_of(sure=3e-3)))
    assert 0.0 < now.chance < 1.0
    assert now.chance <= min(now.pitch_chance, now.gap_chance)


def heard_as(course, seen) -> Course:
    """The course with readings of the present state noted, its picture left as it is."""
    picture = course.picture
    scene = Scene(picture.settings, picture.now, picture.turns, seen, FREE, picture.tilt)
    return replace(course, picture=replace(picture, scenes=(scene,), fresh=False))


def test_a_pitch_just_heard_lies_between_model_and_ear():
    """Inverse-variance mean of the model with what it leaves out and of two readings (JCGM 100, 4.2.3 and 5.1.2)."""
    course = course_of(picture_of())
    model = outlook.here(course).cents
    off, own, left_out = np.array([1.0, 1.4]), 0.1, 0.4
    hertz = GOAL.hertz[2] * 2.0 ** ((model[2] + off) / 1200.0)
    seen = tuple(Seen("pitch", float(f), float(np.hypot(own, left_out)), 2, own=own) for f in hertz)
    now = outlook.here(heard_as(course, seen))
    weights = np.array([1.0 / left_out**2, 2.0 / own**2])
    assert now.cents[2] - model[2] == pytest.approx(weights @ [0.0, off.mean()] / weights.sum(), abs=1e-3)
    assert now.stated[2] == pytest.approx(weights.sum() ** -0.5, rel=1e-3)
    np.testing.assert_allclose(np.delete(now.apart, 2), 0.0)
    assert now.sd[2] == pytest.approx(np.hypot(now.stated[2], outlook.WANDERS))


@pytest.mark.parametrize(("own", "sd"), [(0.0, 0.4), (0.1, 1200.0)])
def test_neither_a_pitch_without_a_share_of_its_own_nor_one_set_aside_speaks_for_the_string(own, sd):
    course = course_of(picture_of())
    seen = (Seen("pitch", float(GOAL.hertz[1]) * 1.002, sd, 1, own=own),)
    now = outlook.here(heard_as(course, seen))
    np.testing.assert_array_equal(now.apart, 0.0)


def test_what_was_heard_before_something_was_changed_says_nothing_of_now():
    course = course_of(picture_of())
    seen = (Seen("pitch", float(GOAL.hertz[1]) * 1.0005, 0.4, 1, own=0.1),)
    heard = heard_as(course, seen)
    assert outlook.here(heard).apart[1] != 0.0
    changed = replace(heard, picture=replace(heard.picture, fresh=True))
    np.testing.assert_array_equal(outlook.here(changed).apart, 0.0)


def test_a_string_that_stands_apart_from_the_model_is_touched_up():
    course = course_of(picture_of())
    apart = np.array([0.0, 0.0, 3.0, 0.0, 0.0, 0.0])
    assert fewest(course, np.zeros(6)).strings == ()
    assert fewest(course, np.zeros(6), apart).strings == (2,)


def test_the_end_is_where_the_balance_of_the_most_likely_instrument_says():
    picture = picture_of(turned=0.75)
    end = outlook.end_state(course_of(picture))
    assert end.claw_out == pytest.approx(-0.75, abs=1e-3)
    tilt = tilt_for_gap(most_likely(picture), picture.settings, array(GOAL.gap))
    done = balance_at(most_likely(picture), picture.settings, GOAL.hertz, tilt)
    np.testing.assert_allclose(end.lengths, done.settings.unstretched, rtol=1e-9)


def test_the_end_is_known_as_well_as_the_instrument():
    wide, narrow = (outlook.end_state(course_of(picture_of(sure=s))).claw_sd for s in (1e-2, 1e-3))
    assert wide == pytest.approx(10.0 * narrow, rel=0.05)


def test_gap_at_pitch_is_the_goal_where_the_claw_is_right():
    assert outlook.gap_at_pitch(course_of(picture_of()))[0] == pytest.approx(GOAL.gap, abs=1e-6)
    assert outlook.gap_at_pitch(course_of(picture_of(turned=0.25)))[0] > GOAL.gap + 1e-4


def test_the_pitch_of_a_string_whose_peg_alone_is_right():
    """With every peg at the end's length the strings sound as wanted; with one alone the others pull as they are."""
    picture = picture_of(-50.0)
    course = course_of(picture)
    end = outlook.end_state(course)
    all_right = outlook.sounding(picture, end.lengths[None])[0]
    assert np.abs(1200 * np.log2(all_right / GOAL.hertz)).max() < 1.0  # the claw stands where it has to
    there, off = outlook.each_at(course, end.lengths)
    assert np.all(there > GOAL.hertz)  # the others still slack: the plate lies lower
    traits, settings, _ = tracking.lay_out(picture, picture.mean[None])
    for i in range(6):
        pegs = settings.unstretched[0].copy()
        now = predict(traits, settings, start=picture.tilt).pitch[0, i]
        pegs[i] = end.lengths[i]
        alone = predict(traits, replace(settings, unstretched=pegs[None]), start=picture.tilt).pitch[0, i]
        assert there[i] == pytest.approx(alone, rel=1e-9)
        assert off[i] == pytest.approx(1200 * np.log2(now / alone), abs=1e-6)


# ---- steps ----------------------------------------------------------------------------------------------------------


def test_another_attitude_comes_first():
    advice = next_step(course_of(picture_of(), goal=replace(GOAL, attitude="on its back")))
    assert advice.do == "attitude"


def test_all_inside_is_done():
    advice = next_step(course_of(picture_of()))
    assert advice.do == "done"
    assert advice.chance == 1.0
    assert np.abs(advice.cents).max() < 0.1
    assert advice.gap_now == pytest.approx(GOAL.gap, abs=1e-5)
    assert advice.gap_sd < 1e-5
    assert advice.cents_sd.max() < 1.0


def test_strings_not_heard_since_are_heard():
    heard = (True, False, True, True, False, True)
    advice = next_step(course_of(picture_of(), heard=heard))
    assert (advice.do, advice.strings) == ("read", (1, 4))


def test_a_string_far_too_slack_is_not_listened_to():
    off = np.array([0.0, 0.0, 0.0, 0.0, 0.0, -guide.WORTH_HEARING - 300.0])
    advice = next_step(course_of(picture_of(off), heard=UNHEARD))
    assert advice.do == "read"
    assert 5 not in advice.strings


def test_a_decked_plate_gets_its_wedge_at_the_gap():
    advice = next_step(course_of(picture_of(-500.0, turned=-3.0), free=False, claws=0))
    assert (advice.do, advice.gap) == ("wedge", GOAL.gap)


def test_on_the_wedge_a_slack_string_is_tuned_without_hearing_the_rest():
    picture = picture_of(np.array([0, 0, 0, -500.0, 0, 0]), turned=-3.0, prop=GOAL.gap)
    advice = next_step(course_of(picture, free=False, claws=0, heard=UNHEARD))
    assert (advice.do, advice.string) == ("tune", 3)
    assert abs(1200 * np.log2(advice.hertz / GOAL.hertz[3])) < GOAL.peak


def test_on_the_wedge_the_thickest_string_comes_first():
    picture = picture_of(-500.0, turned=-3.0, prop=GOAL.gap)
    assert next_step(course_of(picture, free=False, claws=0)).string == 5


def test_with_the_strings_up_everything_is_heard_then_the_claw_is_turned_out():
    end = end_pitches()
    picture = picture_of(end, turned=-3.0, prop=GOAL.gap)
    assert next_step(course_of(picture, free=False, claws=0, heard=UNHEARD)).do == "read"
    advice = next_step(course_of(picture, free=False, claws=0, goal=IN_MINUTES))
    assert advice.do == "claw"
    assert advice.turns == pytest.approx(-3.0, abs=0.3)  # 3 turns too tight: 3 turns out


def end_pitches():
    """Cents of the strings on the wedge with the final pegs: next to nothing, the neck follows a little."""
    picture = picture_of(0.0, turned=-3.0, prop=GOAL.gap)
    there, _ = outlook.each_at(course_of(picture), outlook.end_state(course_of(picture)).lengths)
    return 1200 * np.log2(there / GOAL.hertz)


def test_an_unsure_claw_goes_out_beyond_the_likely_place():
    """At least a part of its standard uncertainty, so that the plate surely floats."""
    picture = picture_of(end_pitches(), turned=-3.0, prop=GOAL.gap, sure=0.02)
    course = course_of(picture, free=False, claws=0, goal=IN_MINUTES)
    advice, end = next_step(course), outlook.end_state(course)
    assert advice.do == "claw"
    assert -advice.turns >= end.claw_out + 0.99 * guide.LEAST * end.claw_sd
    assert advice.turns_sd == pytest.approx(end.claw_sd, rel=1e-6)


def test_a_plate_that_left_the_wedge_gets_it_taken_out():
    picture = picture_of(prop=GOAL.gap - 5e-4)
    advice = next_step(course_of(picture, claws=1))
    assert (advice.do, advice.gap) == ("wedge", None)


def test_nearly_off_the_wedge_it_is_taken_out_where_no_string_jumps():
    picture = picture_of(turned=-0.05, prop=GOAL.gap)
    advice = next_step(course_of(picture, claws=1, free=False))
    assert (advice.do, advice.gap) == ("wedge", None)


def test_still_hard_on_the_wedge_the_claw_goes_on():
    picture = picture_of(end_pitches(), turned=-3.0, prop=GOAL.gap)
    assert guide._sharp_without_wedge(course_of(picture)) > GOAL.peak
    assert next_step(course_of(picture, claws=1, free=False)).do == "claw"


def test_a_floating_plate_far_off_gets_its_gap_read_then_the_claw():
    picture = picture_of(-30.0, turned=1.0)
    assert next_step(course_of(picture, claws=1, gap_read=0)).do == "read"
    advice = next_step(course_of(picture, claws=1))
    assert advice.do == "claw"
    end = outlook.end_state(course_of(picture))
    assert advice.turns == pytest.approx(-end.claw_out, abs=1e-6)
    assert advice.turns > 0.0  # it went out too far: in again


def test_a_string_off_by_a_tone_and_more_comes_up_before_the_claw():
    off = np.array([0.0, 0.0, -600.0, 0.0, 0.0, 0.0])
    for turned in (0.0, 1.5):
        advice = next_step(course_of(picture_of(off, turned=turned), claws=1))
        assert (advice.do, advice.string) == ("tune", 2)


def test_one_string_off_is_touched_up():
    off = np.array([0.0, 0.0, 0.0, 0.0, 6.0, 0.0])
    advice = next_step(course_of(picture_of(off)))
    assert (advice.do, advice.string) == ("tune", 4)
    assert advice.left == 1.0
    assert abs(1200 * np.log2(advice.hertz / GOAL.hertz[4])) < 1.0


def seen_with(course, **beliefs) -> outlook.View:
    """The course as a step is decided by it, some of its beliefs others than they are."""
    seen = outlook.View(course)
    seen.__dict__["now"] = replace(outlook.here(course), **beliefs)
    return seen


NONE = Few((), np.zeros(6), True)


def test_all_inside_by_a_hair_is_read_once_more_then_done():
    """Beliefs too wide to be sure, nothing to touch up."""
    seen = seen_with(course_of(picture_of(0.9, sure=2e-3)), pitch_chance=0.98, gap_chance=0.98)
    assert guide._touch(seen, NONE, 1.0).do == "read"
    often = seen_with(replace(seen.course, gap_read=99), pitch_chance=0.98, gap_chance=0.98)
    assert guide._touch(often, NONE, 1.0).do == "done"


def test_a_gap_that_may_be_outside_is_read_longer_than_pitches():
    course = course_of(picture_of(0.9), gap_read=guide.READ_AGAIN)
    assert guide._touch(seen_with(course, pitch_chance=1.0, gap_chance=0.98), NONE, 1.0).do == "read"
    assert guide._touch(seen_with(course, pitch_chance=1.0, gap_chance=1.0), NONE, 1.0).do == "done"


def test_a_gap_that_stays_unlikely_takes_the_claw():
    course = course_of(picture_of(turned=0.3), gap_read=99)
    advice = guide._touch(seen_with(course, pitch_chance=1.0, gap_chance=0.1), NONE, 0.1)
    assert (advice.do, round(advice.turns, 2)) == ("claw", 0.3)


def test_where_the_claw_cannot_be_set_finer_the_strings_bring_pitches_and_gap_in():
    picture = picture_of(np.array([0.0, 0.0, 0.0, 3.0, 0.0, 0.0]))
    course = course_of(picture, gap_read=99)
    advice = guide._touch(seen_with(course, pitch_chance=1.0, gap_chance=0.1), NONE, 0.1)
    assert (advice.do, advice.string) == ("tune", 3)
    quiet = course_of(picture_of(0.05), gap_read=99)
    assert guide._touch(seen_with(quiet, pitch_chance=1.0, gap_chance=0.1), NONE, 0.1).do == "done"


def limits_of(shown):
    """Pitches and gap off, in tolerances."""
    return np.append(shown[:-1] / GOAL.pitch_tolerance, (shown[-1] - GOAL.gap) / GOAL.gap_tolerance)


def lengths_of(course):
    return tracking.lay_out(course.picture, course.picture.mean[None])[1].unstretched[0]


def by_own_cents(course, lengths):
    """Tolerances every string's own pitch rises by when it is pulled by 1e-5 of its length."""
    many = np.tile(lengths, (7, 1))
    many[range(1, 7), range(6)] *= 1.0 - 1e-5
    shown = outlook.shown_with(course, many)[:, :-1]
    return np.diagonal(shown[1:] - shown[0]) / GOAL.pitch_tolerance


MARGIN = np.full(6, 0.8)
NEARBY = [(3.0, 0.0, 0.5, 1.0, -0.5, 0.0), (1.9, -1.8, 0.5, 0.2, -1.0, 1.5), (4.0, 4.3, 3.7, 4.6, 4.0, 4.4)]


@pytest.mark.parametrize("off", NEARBY, ids=str)
def test_by_hand_strings_go_where_least_squares_on_the_forward_model_puts_them(off):
    """scipy.optimize.least_squares on the model itself, not in straight lines, over the same strings."""
    course = course_of(picture_of(np.array(off)))
    few = by_hand(outlook.View(course), MARGIN)
    lengths, chosen = lengths_of(course), list(few.strings)
    assert few.enough
    assert chosen

    def missed(pull):
        many = lengths.copy()
        many[chosen] *= 1.0 - pull * 1e-5
        return limits_of(outlook.shown_with(course, many[None])[0])

    own = by_own_cents(course, lengths)[chosen]

    def weighed(pull):
        return np.append(missed(pull), FAR_PULLED * own * pull)

    best = least_squares(weighed, np.zeros(len(chosen)), x_scale=0.1, diff_step=1e-3)
    np.testing.assert_allclose((1.0 - few.lengths / lengths)[chosen] * 1e5, best.x, atol=0.02)
    after = np.abs(limits_of(outlook.shown_with(course, few.lengths[None])[0]))
    alone = ~np.isin(range(6), chosen)
    assert np.all(after[:-1][alone] + MARGIN[alone] / GOAL.pitch_tolerance <= 1.02)
    assert np.all(after <= 1.02)


def test_by_hand_strings_far_off_first_go_where_they_end():
    course = course_of(picture_of(np.array([40.0, 0.0, 0.0, 40.0, 0.0, 0.0])))
    few = by_hand(outlook.View(course), MARGIN)
    assert few.strings == tuple(range(6))
    np.testing.assert_array_equal(few.lengths, outlook.end_state(course).lengths)


def test_by_hand_nothing_is_set_where_all_are_inside():
    few = by_hand(outlook.View(course_of(picture_of(0.05))), MARGIN)
    assert few.strings == ()
    assert few.enough


def test_a_plate_that_strings_at_pitch_would_pull_off_is_read_before_it_is_touched_and_left_when_likely():
    course = course_of(picture_of(0.9), gap_read=2)
    few = Few((2,), lengths_of(course), False)
    assert guide._balanced(seen_with(course, chance=0.8), few).do == "read"
    assert guide._balanced(seen_with(course, chance=0.95), few).do == "done"
    often = replace(course, gap_read=guide.MOST_READ)
    assert guide._balanced(seen_with(often, chance=0.8), few).do == "tune"
    assert guide._balanced(seen_with(often, chance=0.8), NONE).do == "done"
    off = course_of(picture_of(8.0), gap_read=2)
    assert guide._balanced(seen_with(off, chance=0.8), few).do == "tune"
    assert guide._balanced(seen_with(off, chance=0.8), NONE).do == "read"


def test_where_pitches_stay_unlikely_the_worst_string_is_set():
    off = np.array([0.0, 1.9, 0.0, 0.0, 0.0, 0.0])
    course = course_of(picture_of(off), gap_read=99)
    advice = guide._touch(seen_with(course, pitch_chance=0.2, gap_chance=0.98), NONE, 1.0)
    assert (advice.do, advice.string) == ("tune", 1)
    assert advice.hertz == pytest.approx(GOAL.hertz[1], rel=1e-5)


def test_of_several_the_thickest_that_is_off_comes_first():
    off = np.array([9.0, 0.0, 0.0, 9.0, 0.0, 0.0])
    course = course_of(picture_of(off))
    few = fewest(course, np.zeros(6))
    assert guide._touch(seen_with(course, pitch_chance=0.0), few, 1.0).string == max(few.strings)


def test_where_all_have_been_set_the_one_farthest_off_comes_again():
    course = course_of(picture_of(np.array([0.3, 0.0, 0.0, 0.8, 0.0, 0.0])))
    few = Few((0, 3), outlook.end_state(course).lengths, True)
    advice = guide._touch(seen_with(course, pitch_chance=0.0), few, 1.0)
    assert (advice.do, advice.string) == ("tune", 3)


def test_a_turn_in_at_the_end_sharpens():
    course = course_of(picture_of())
    cents = guide._rise(course, outlook.end_state(course))
    traits, settings, _ = tracking.lay_out(course.picture, course.picture.mean[None])
    tight = replace(settings, claw=settings.claw - 0.25 * float(traits.claw.lead))
    seen = predict(traits, tight, start=course.picture.tilt)
    assert 0.25 * cents == pytest.approx((1200 * np.log2(seen.pitch[0] / GOAL.hertz)).max(), abs=0.1)
    assert guide._spare(course, outlook.end_state(course)) == pytest.approx(guide.ROOM * GOAL.peak / cents)


def turned_and_doubted(kind, scene):
    """The plate on its wedge, the claw turned once, something of it set aside; and the scenes before and after."""
    picture = picture_of(turned=-3.0, prop=GOAL.gap)
    scenes = tuple(Scene(picture.settings, picture.now, turns, (), FREE, picture.tilt) for turns in (0, 1))
    doubt = tracking.Doubt(kind, scene, 0.0, 0.0, 5.0)
    return replace(picture, scenes=scenes, turns=1, fresh=False, doubts=(doubt,))


@pytest.mark.parametrize(("kind", "scene"), [("turn", 1), ("claw", 1)])
def test_a_claw_whose_turns_and_distance_do_not_fit_is_read_again_before_anything_else(kind, scene):
    picture = turned_and_doubted(kind, scene)
    advice = next_step(course_of(picture, claws=1, claw_read=1, heard=UNHEARD, free=False))
    assert (advice.do, advice.claw, advice.strings) == ("read", True, ())
    assert "do not fit each other" in advice.why
    assert not next_step(course_of(picture, claws=1, claw_read=guide.CLAW_READ, heard=UNHEARD, free=False)).claw


@pytest.mark.parametrize(("kind", "scene"), [("turn", 0), ("claw", 0), ("rear gap", 1), ("pitch", 1)])
def test_what_else_does_not_fit_asks_for_no_reading_of_the_claw(kind, scene):
    picture = turned_and_doubted(kind, scene)
    assert not next_step(course_of(picture, claws=1, claw_read=1, heard=UNHEARD, free=False)).claw


def test_a_claw_turned_long_before_is_not_read_again():
    picture = turned_and_doubted("turn", 1)
    later = replace(picture, scenes=(*picture.scenes, picture.scenes[1]))
    assert not next_step(course_of(later, claws=1, claw_read=1, heard=UNHEARD, free=False)).claw


# ---- the fewest strings ---------------------------------------------------------------------------------------------


def tuned_by_hand(traits, settings, chosen, tilt):
    """Cents and gap after the chosen strings are brought to pitch: Newton on `predict`, lengths as unknowns."""
    lengths = settings.unstretched[0].copy()
    chosen = list(chosen)

    def off(many):
        seen = predict(traits, replace(settings, unstretched=many), start=tilt)
        return 1200 * np.log2(np.maximum(seen.pitch, 1.0) / GOAL.hertz), np.mean(seen.rear_gap, axis=-1)

    step = 1e-7
    for _ in range(4):
        many = np.tile(lengths, (len(chosen) + 1, 1))
        many[range(1, len(chosen) + 1), chosen] += step
        cents, gap = off(many)
        if not chosen:
            break
        slope = (cents[1:, chosen] - cents[0, chosen]).T / step
        lengths[chosen] -= np.linalg.solve(slope, cents[0, chosen])
    cents, gap = off(lengths[None])
    return cents[0], float(gap[0]), lengths


OFFS = [
    (0.5, 0.0, -0.5, 0.3, 0.0, 0.1),
    (0.0, 0.0, 0.0, 6.0, 0.0, 0.0),
    (4.0, 0.0, 0.0, 0.0, -7.0, 0.0),
    (-4.0, 3.0, -4.0, 3.0, -4.0, 3.0),
]


@pytest.mark.parametrize("off", OFFS, ids=str)
def test_the_fewest_strings_are_those_of_trying_all_sets(off):
    """Every set of up to as many strings, tuned on the forward model; gap and pitches inside as the docstring says."""
    picture = picture_of(np.array(off))
    margin = np.full(6, 0.4)
    few = fewest(course_of(picture), margin)
    traits, settings, _ = tracking.lay_out(picture, picture.mean[None])
    good = []
    for size in range(len(few.strings) + 1):
        for chosen in combinations(range(6), size):
            cents, gap, lengths = tuned_by_hand(traits, settings, chosen, picture.tilt)
            kept = np.where(np.isin(range(6), chosen), 0.0, margin)
            if np.all(np.abs(cents) + kept <= GOAL.pitch_tolerance) and abs(gap - GOAL.gap) <= 0.9 * GOAL.gap_tolerance:
                good.append((chosen, lengths))
    assert few.enough == bool(good)
    if few.enough:
        assert {len(chosen) for chosen, _ in good} == {len(few.strings)}
        by_hand = dict(good)[few.strings]
        np.testing.assert_allclose(few.lengths, by_hand, atol=2e-9)


def test_where_no_set_is_enough_all_are_named():
    few = fewest(course_of(picture_of(turned=3.0)), np.zeros(6))
    assert not few.enough
    assert few.strings == tuple(range(6))


def test_a_reading_that_is_taken_in_does_not_upset_a_floating_plate():
    """One more hearing of an instrument that stands as believed leaves it done."""
    picture = picture_of()
    picture = replace(picture, covariance=picture.covariance / TINY**2)
    seen = tuple(Seen("pitch", float(f), 0.3, i) for i, f in enumerate(GOAL.hertz))
    gaps = tuple(Seen("rear gap", GOAL.gap, 5e-5) for _ in range(8))
    after = read(picture, (*seen, *gaps))
    assert after.free
    assert next_step(course_of(after.picture)).do in ("done", "read")


# ---- chances --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("dimensions", [1, 2, 5, 7, 9])
def test_normal_points_have_the_moments_and_tails_of_a_normal_density(dimensions):
    """Zero mean, unit variances, no correlation; shares inside one and two standard deviations by scipy.stats."""
    points = outlook.normal_points(outlook.DRAWS, dimensions)
    assert points.shape == (outlook.DRAWS, dimensions)
    np.testing.assert_allclose(points.mean(axis=0), 0.0, atol=1e-12)
    np.testing.assert_allclose(
        np.atleast_2d(np.cov(points.T)), np.eye(dimensions), atol=0.03 if dimensions < 9 else 0.09
    )
    for width in (1.0, 2.0):
        whole = (2.0 * norm.cdf(width) - 1.0) ** dimensions
        assert np.all(np.abs(points) < width, axis=1).mean() == pytest.approx(whole, abs=0.015)


@pytest.mark.parametrize(("off", "sd"), [(0.0, 1e-4), (2e-4, 1e-4), (-3e-4, 5e-5), (1e-4, 1e-3)])
def test_the_chance_of_a_gap_is_that_of_a_normal_density_within_the_tolerance(off, sd):
    low, high = (norm.cdf((side * GOAL.gap_tolerance - off) / sd) for side in (-1.0, 1.0))
    assert outlook.within(off, sd, GOAL.gap_tolerance) == pytest.approx(high - low, abs=1e-9)
    assert outlook.within(0.0, 0.0, GOAL.gap_tolerance) == 1.0


# ---- hearing only what the next step rests on -----------------------------------------------------------------------

JUST_SET = (False, False, False, False, False, True)  # string 6


def test_after_a_string_another_that_is_surely_off_is_set_unheard():
    off = np.array([0.0, 0.0, 0.0, 5.0, 0.0, 0.0])
    advice = next_step(course_of(picture_of(off), heard=JUST_SET))
    assert (advice.do, advice.string) == ("tune", 3)


def known_to(sd) -> Picture:
    """Every string but the fourth at its pitch, the pegs known to so many cents and all else well."""
    picture = picture_of(np.array([0.0, 0.0, 0.0, 5.0, 0.0, 0.0]))
    covariance = picture.covariance.copy()
    pegs = range(picture.parts, picture.claw)
    covariance[pegs, pegs] = sd**2
    return replace(picture, covariance=covariance)


def test_strings_are_heard_where_one_is_not_known_well_enough_to_be_left_alone():
    most = np.sqrt((GOAL.pitch_tolerance / guide.CLEAR) ** 2 - outlook.WANDERS**2)
    assert next_step(course_of(known_to(0.5 * most), heard=JUST_SET)).do == "tune"
    advice = next_step(course_of(known_to(2.0 * most), heard=JUST_SET))
    assert (advice.do, advice.strings) == ("read", (0, 1, 2, 3, 4))


def test_a_string_that_may_well_be_inside_is_heard_before_it_is_set_again():
    off = np.array([0.0, 0.0, 0.0, 1.1 * GOAL.pitch_tolerance, 0.0, 0.0])
    advice = next_step(course_of(picture_of(off), heard=JUST_SET))
    assert (advice.do, advice.strings) == ("read", (0, 1, 2, 3, 4))


@pytest.mark.parametrize(
    "known", [{"heard": UNHEARD}, {"heard": JUST_SET, "free": False}], ids=["claw turned", "not found free"]
)
def test_the_rest_is_heard_where_no_string_was_just_set_on_a_plate_that_floats(known):
    off = np.array([0.0, 0.0, 0.0, 5.0, 0.0, 0.0])
    assert next_step(course_of(picture_of(off), **known)).do == "read"


def test_on_a_wedge_the_rest_is_heard_once_the_claw_was_turned():
    picture = picture_of(np.array([0.0, 0.0, 0.0, 5.0, 0.0, 0.0]), turned=-3.0, prop=GOAL.gap)
    assert next_step(course_of(picture, heard=JUST_SET)).do == "read"
