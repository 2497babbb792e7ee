"""Springs that come off or come beside: one unknown shared by all that is read while they hang, and gone after."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from setwright.bench.guided import as_found, wanting
from setwright.planning import explaining, scenes, tracking
from setwright.planning.explaining import explained
from setwright.planning.scenes import FREE, Scene, Seen
from setwright.planning.touched import ANY_TILT
from setwright.planning.unlike import Others, hung, others_of, shift_of, uneven
from tests.judges.twin import Twin, until_the_claw

AT_PITCH = 5  # seed of a twin found at pitch
SPREAD = 0.03
CLAW_READ, BALANCE = 1e-4, 0.002


@pytest.mark.parametrize("first", range(1, 6))
@pytest.mark.parametrize("now", range(1, 6))
def test_the_share_is_the_spread_of_the_difference_of_two_means(first, now):
    """Means over spring numbers 0 to n - 1: the weights written out, their difference squared and added."""
    weights = [np.where(np.arange(5) < count, 1.0 / count, 0.0) for count in (first, now)]
    expected = SPREAD * np.sqrt(((weights[0] - weights[1]) ** 2).sum())
    assert uneven(first, now) == pytest.approx(expected, abs=1e-12)


def test_no_springs_are_like_any():
    assert uneven(0, 3) == uneven(3, 0) == 0.0


@pytest.fixture(scope="module")
def found():
    """A twin as found: picture with one scene, three springs hung."""
    twin = Twin(AT_PITCH)
    return as_found(twin.job, twin).picture


def with_springs(picture, count):
    places = picture.model.traits.springs.patterns[count]
    springs = np.zeros(picture.settings.springs.size)
    springs[list(places)] = 1.0
    return replace(picture.settings, springs=springs)


def test_the_shift_takes_the_whole_moment_away(found):
    """With the claw moved by it the springs' moment is, in a straight line, none: against wide differences."""
    at = np.append(found.mean, found.tilt)
    scene = Scene(found.settings, found.now, 0, (), scenes.OPEN, found.tilt)
    marks = found.marks
    shift = shift_of(found.model, scene, at, marks, 1e-5)

    def moment(springs, claw):
        there = at.copy()
        there[-2] += claw
        one = replace(scene, settings=replace(scene.settings, springs=springs))
        return float(scenes.shown(found.model, one, there[None], *marks)[0, -1])

    hangs = scene.settings.springs
    whole = moment(hangs, 0.0) - moment(np.zeros_like(hangs), 0.0)
    slope = (moment(hangs, 1e-3) - moment(hangs, -1e-3)) / 2e-3
    assert shift == pytest.approx(abs(whole / slope), rel=1e-2)


def test_another_number_of_springs_is_one_unknown_more_and_the_first_number_none(found):
    fewer = tracking.changed(found, with_springs(found, 2))
    assert [one.count for one in fewer.others] == [2]
    assert fewer.unlike == len(found.mean)
    assert fewer.covariance[-1, -1] == fewer.others[0].sd ** 2 > 0.0
    again = tracking.changed(fewer, with_springs(found, 3))
    assert again.unlike is None
    np.testing.assert_array_equal(again.mean, fewer.mean)
    back = tracking.changed(again, with_springs(found, 2))
    assert back.others == fewer.others
    both = tracking.changed(back, with_springs(found, 5))
    assert [one.count for one in both.others] == [2, 5]
    assert others_of(both.others, both.settings) == 1
    assert hung(both.settings) == 5


def test_what_they_pull_otherwise_stands_for_a_claw_elsewhere_only_while_they_hang(found):
    fewer = tracking.changed(found, with_springs(found, 2))
    mean = fewer.mean.copy()
    mean[-1] = 2e-4
    moved = replace(fewer, mean=mean)
    noted = float(found.settings.claw.mean() + found.mean[found.claw])
    assert tracking.lay_out(moved, mean[None])[1].claw.mean() == pytest.approx(noted + 2e-4)
    again = tracking.changed(moved, with_springs(found, 3))
    assert tracking.lay_out(again, again.mean[None])[1].claw.mean() == pytest.approx(noted)


def test_no_unknown_comes_of_springs_that_are_slack_or_of_none(found):
    slack = replace(found, settings=replace(found.settings, claw=np.full(2, 0.06)))  # the hook line 43 mm too near
    assert tracking.changed(slack, with_springs(slack, 2)).others == ()
    none = replace(found.settings, springs=np.zeros_like(found.settings.springs))
    assert tracking.changed(found, none).others == ()


# ---- a made-up linear case ------------------------------------------------------------------------------------------

BALANCES = (0, 0, 1, 1, 1, 0)  # by scene: 1 where a spring is off
ALL = tuple(range(len(BALANCES)))


@pytest.fixture
def linear(found, monkeypatch):
    """Six scenes of rows that are straight in all unknowns, made up; three of them share a spring's absence."""
    rng = np.random.default_rng(7)
    parts, pegs = found.parts, len(found.now)
    known = found.model.known
    springs = (found.settings, with_springs(found, 2))
    rows, made, levers = {}, [], 0.3 * rng.standard_normal(parts)
    for i, off in enumerate(BALANCES):
        seen = (Seen("rear gap", 1e-4 * rng.standard_normal(), 5e-5), Seen("claw", 1e-4, CLAW_READ))
        by = np.zeros((3, parts + pegs + 2))
        by[0, -1], by[1, -2] = 0.03, 1.0
        by[2, :parts] = levers * (1.0 + 0.05 * rng.standard_normal(parts))
        by[2, -2:] = 400.0, -2.0
        made.append(Scene(springs[off], found.now, 0, seen, FREE, 0.0))
        rows[i] = by
    rows["order"] = made

    def shown_together(model, some, at, marks):
        places = [next(i for i, one in enumerate(rows["order"]) if one is scene) for scene in some]
        return [a @ rows[i].T for i, a in zip(places, at, strict=True)]

    monkeypatch.setattr(scenes, "shown_together", shown_together)
    monkeypatch.setattr(explaining, "_settled", keeping_scenes(explaining._settled))
    size = len(found.mean) + 1
    covariance = np.eye(size) * 1e-4
    picture = replace(
        found, scenes=tuple(made), lines=(None,) * len(made), answer=None, others=(Others(2, 3e-4),), pressed=(),
        mean=np.append(found.mean, 0.0), covariance=covariance, settings=springs[1], tilt=0.0,
    )  # fmt: skip
    prior = replace(picture.model.known, mean=np.zeros(parts), covariance=np.diag([p.sd**2 for p in known.parts]))
    return replace(picture, model=replace(picture.model, known=prior)), rows


def keeping_scenes(settled):
    """The last scene keeps its name, by which the made-up rows are found."""

    def after(picture, *rest):
        update = settled(picture, *rest)
        return replace(update, picture=replace(update.picture, scenes=picture.scenes))

    return after


def by_hand(picture, rows, some=ALL, shared=True):
    """Conditional Gaussian in covariance form: mean, covariance of d, claw, u; u as a moment shared, or as noise."""
    parts, pegs, count = picture.parts, len(picture.now), len(picture.scenes)
    sd = [np.sqrt(np.diag(picture.model.known.covariance)), [tracking.CLAW_PLACE], [picture.others[0].sd]]
    sd = np.concatenate([*sd, np.full(count, ANY_TILT)])
    h, y, r = [], [], []
    for i in some:
        scene = picture.scenes[i]
        for k, by in enumerate(rows[i]):
            row = np.zeros(len(sd))
            row[:parts], row[parts] = by[:parts], by[parts + pegs]
            unlike = BALANCES[i] * 400.0 if k == 2 else 0.0
            row[parts + 1] = unlike if shared else 0.0
            row[parts + 2 + i] = by[-1]
            h.append(row)
            y.append(scene.seen[k].value if k < 2 else 0.0)
            noise = scene.seen[k].sd if k < 2 else max(picture.model.friction, scenes.FINEST_MOMENT)
            r.append(noise if shared else np.hypot(noise, unlike * picture.others[0].sd))
    h, prior = np.array(h), np.diag(sd**2)
    gain = prior @ h.T @ np.linalg.inv(h @ prior @ h.T + np.diag(np.square(r)))
    return gain @ y, prior - gain @ h @ prior


def test_all_scenes_of_a_spring_off_share_one_unknown(linear):
    picture, rows = linear
    after = explained(picture).picture
    mean, covariance = by_hand(picture, rows)
    parts = picture.parts
    some = [*range(parts), after.claw, after.claw + 1]
    scale = np.sqrt(np.diag(covariance))[: parts + 2]
    np.testing.assert_allclose((after.mean[some] - mean[: parts + 2]) / scale, 0.0, atol=1e-5)
    got = after.covariance[np.ix_(some, some)]
    np.testing.assert_allclose((got - covariance[: parts + 2, : parts + 2]) / np.outer(scale, scale), 0.0, atol=1e-5)
    assert covariance[parts + 1, parts + 1] < 0.99 * picture.others[0].sd ** 2  # the case tells something of it


def test_taken_as_noise_of_every_scene_it_would_be_averaged_away(linear):
    """What is wrong with an allowance for each scene: the balance of all of them together comes out too sure."""
    picture, rows = linear
    picture = replace(picture, others=(Others(2, 1e-4),))
    moment = np.zeros(picture.parts + 2 + len(picture.scenes))
    moment[: picture.parts] = np.mean([rows[i][2, : picture.parts] for i in (2, 3, 4)], axis=0)
    moment[picture.parts] = 400.0
    shared, noise = (moment @ by_hand(picture, rows, (2, 3, 4), way)[1] @ moment for way in (True, False))
    unlike = (400.0 * picture.others[0].sd) ** 2
    assert shared > 0.8 * unlike
    assert noise < 0.5 * unlike


# ---- on a twin ------------------------------------------------------------------------------------------------------


def test_a_spring_off_is_carried_through_the_work_of_a_twin():
    twin = Twin(AT_PITCH)
    picture = until_the_claw(twin, wanting(twin.job, "claw settings"))[0].picture
    assert picture.answer is not None
    assert [one.count for one in picture.others] == [2]
    assert picture.answer.unlikes.shape == (1,)
    assert picture.unlike is None  # all hang again
    assert picture.answer.whole.shape == (picture.parts + len(picture.pegs) + 1 + 1 + len(picture.scenes),)
    left = np.sqrt(picture.covariance[-1, -1]) / picture.others[0].sd
    assert 0.5 < left <= 1.0 + 1e-9  # one number of springs alone tells little of it
    turned = tracking.turned(picture, 1.0)
    lead = float(picture.model.traits.claw.lead)
    grown = turned.covariance[picture.claw, picture.claw] - picture.covariance[picture.claw, picture.claw]
    assert grown == pytest.approx((tracking.CLAW_SLIP * lead) ** 2)
    assert turned.covariance[-1, -1] == picture.covariance[-1, -1]


# ---- strings that go on stretching ----------------------------------------------------------------------------------


def brought_up(picture, string, by):
    """A picture in which a string was found flat by so many cents, and is up now."""
    pegs = list(picture.pegs)
    pegs[string] = replace(pegs[string], cents=pegs[string].cents - by)
    now = list(picture.now)
    now[string] = len(pegs)
    return replace(picture, pegs=(*pegs, picture.pegs[string]), now=tuple(now))


def test_strings_that_were_brought_up_stretch_in_the_minutes_a_spring_takes(found):
    picture = brought_up(found, 4, 500.0)
    after = tracking.changed(picture, with_springs(found, 2))
    place, count = found.parts + 4, len(picture.pegs)
    assert after.now == (0, 1, 2, 3, count, 5)
    assert after.pegs[count] == replace(picture.pegs[picture.now[4]], after=picture.now[4])
    assert after.mean[place] - picture.mean[place] == tracking.STRETCH
    assert after.covariance[place, place] - picture.covariance[place, place] == pytest.approx(tracking.STRETCH_SD**2)
    others = [i for i in range(len(picture.mean)) if i != place]
    np.testing.assert_array_equal(after.mean[others], picture.mean[others])
    wedge = replace(picture.settings, prop=np.array(2.6e-3))
    assert tracking.changed(picture, wedge).now == picture.now  # a moment, not minutes


def test_strings_found_at_pitch_are_taken_to_hold(found):
    assert tracking.changed(found, with_springs(found, 2)).now == found.now


def test_strings_that_were_brought_up_have_stretched_by_the_first_setting_of_the_claw(found):
    picture = brought_up(found, 4, 500.0)
    after = tracking.turned(picture, -1.0)
    place, count = found.parts + 4, len(picture.pegs)
    assert after.now == (0, 1, 2, 3, count, 5)
    assert after.pegs[count].after == picture.now[4]
    assert after.mean[place] - picture.mean[place] == tracking.STRETCH
    assert after.covariance[place, place] - picture.covariance[place, place] == pytest.approx(tracking.STRETCH_SD**2)
    assert tracking.turned(after, 0.5).now == after.now  # most of it is over by the second
    assert tracking.turned(found, -1.0).now == found.now


def test_where_a_spring_was_off_a_stretch_is_not_counted_twice(found):
    picture = tracking.changed(brought_up(found, 4, 500.0), with_springs(found, 2))
    assert tracking.turned(picture, -1.0).now == picture.now


def test_a_stretch_is_learned_beside_the_peg_it_goes_on_from(linear):
    """A string heard before and after, its pitch nothing but its peg: peg and stretch by hand."""
    picture, rows = linear
    string, before, after, sd = 4, 6000.0, 5996.5, 0.4
    first = picture.now[string]
    pegs = (*picture.pegs, replace(picture.pegs[first], after=first))
    pegs = tuple(replace(peg, cents=5990.0) if i == first else peg for i, peg in enumerate(pegs))
    moved = list(picture.now)
    moved[string] = len(picture.pegs)
    made = []
    for i, scene in enumerate(picture.scenes):
        heard = Seen("pitch", 2.0 ** ((before, after)[i > 2] / 1200.0), sd, string)
        seen = (heard, *scene.seen)
        made.append(replace(scene, seen=seen, pegs=tuple(moved) if i > 2 else picture.now))
        rows[i] = np.vstack([np.eye(len(rows[i][0]))[picture.parts + string], rows[i]])
    picture = replace(picture, scenes=tuple(made), pegs=pegs, now=tuple(moved))
    rows["order"] = made
    got = explained(picture).picture
    assert got.answer is not None
    prior = np.array([5990.0, tracking.STRETCH]), np.diag([tracking.LOOSE**2, tracking.STRETCH_SD**2])
    h = np.array([[1.0, 0.0]] * 3 + [[1.0, 1.0]] * 3)
    y = np.array([before] * 3 + [after] * 3)
    information = np.linalg.inv(prior[1]) + h.T @ h / sd**2
    mean = np.linalg.solve(information, np.linalg.solve(prior[1], prior[0]) + h.T @ y / sd**2)
    assert got.answer.pegs[[first, -1]] == pytest.approx(mean, abs=1e-3)
    place = picture.parts + string
    assert got.mean[place] == pytest.approx(mean.sum(), abs=1e-3)
    assert got.covariance[place, place] == pytest.approx(np.linalg.inv(information).sum(), rel=1e-3)
