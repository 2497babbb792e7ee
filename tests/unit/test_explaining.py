"""Readings into the picture: derivatives, the answer of another minimiser, and that the way they come in is nothing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import least_squares

from setwright.bench.guided import guided
from setwright.instrument.geometry import tilt_limits
from setwright.instrument.traits import array
from setwright.planning import explaining, scenes, touched, tracking
from setwright.planning.course import pitch_heard
from setwright.planning.explaining import explained, read
from setwright.planning.scenes import FREE, LOWER, OPEN, UPPER, Scene, Seen, fan, shown, slopes
from setwright.planning.tracking import Picture, marks_of
from tests.judges.twin import Twin, greeting

SEED = 5  # its strings are at pitch as found


def some(twin, *, gaps=2, claws=1, strings=range(6)):
    """Readings of the twin as it stands."""
    seen = [pitch_heard(twin.job.goal, i, twin.pitch(i + 1), twin.job.pitch_sd) for i in strings]
    seen += [Seen("rear gap", twin.gap(), twin.job.gap_sd) for _ in range(gaps)]
    return tuple(seen + [Seen("claw", twin.claw_distance(), twin.job.claw_sd) for _ in range(claws)])


def begun(twin) -> Picture:
    hertz = np.array([twin.pitch(i + 1) for i in range(6)])
    noted = replace(twin.job.settings, claw=np.full(2, float(twin.settings.claw.mean())))
    low = float(tilt_limits(twin.job.traits, noted)[0])
    return tracking.begin(twin.job.traits, twin.known, noted, hertz, twin.job.knife, low)


@pytest.fixture(scope="module")
def worked() -> Picture:
    """A twin decked, on the wedge, a string tuned, let down on the claw until it floats: four scenes."""
    twin = Twin(SEED)
    picture = read(begun(twin), some(twin)).picture
    twin.wedge(2.6e-3)
    picture = tracking.changed(picture, replace(picture.settings, prop=array(2.6e-3)))
    heard = twin.tune(6, 82.0)
    picture = read(tracking.tuned(picture, 5, heard), some(twin, gaps=0, claws=0)).picture
    twin.wedge(None)
    picture = tracking.changed(picture, replace(picture.settings, prop=array(np.nan)))
    turns = twin.claw_needed()
    twin.claw(-turns)
    picture = read(tracking.turned(picture, -turns), some(twin)).picture
    heard = twin.tune(1, 329.0)
    return read(tracking.tuned(picture, 0, heard), some(twin)).picture


def unknowns(picture, index):
    """A scene's unknowns at the answer, put together by hand."""
    scene, answer = picture.scenes[index], picture.answer
    slip = answer.slips[: scene.turns + 1].sum()
    return np.concatenate([answer.deviations, answer.pegs[list(scene.pegs)], [slip, answer.tilts[index]]])


def prior_sd(picture):
    """Standard uncertainties of a scene's unknowns before any reading."""
    parts = [part.sd for part in picture.model.known.parts]
    return np.array([*parts, *[1.0] * 6, 1e-3, 1e-2])


# ---- the rows of a scene --------------------------------------------------------------------------------------------


def test_the_work_passed_a_stop_a_wedge_and_a_free_plate(worked):
    assert len(worked.scenes) == 4
    assert worked.scenes[0].stop == LOWER
    assert worked.scenes[-1].stop == FREE
    assert not worked.pressed


@pytest.mark.parametrize("index", range(4))
def test_derivatives_against_differences_of_eighth_order(worked, index):
    scene, at = worked.scenes[index], unknowns(worked, index)
    marks = marks_of(worked, scene.pegs)
    step = np.append(tracking.steps(worked), tracking.TILT_STEP)
    got = slopes(shown(worked.model, scene, fan(at, step), *marks), step)
    weights = {1: 4 / 5, 2: -1 / 5, 3: 4 / 105, 4: -1 / 280}
    wide = 0.05 * prior_sd(worked)
    way = np.diag(wide)
    other = np.zeros_like(got)
    for k, w in weights.items():
        up, down = (shown(worked.model, scene, at + sign * k * way, *marks) for sign in (1, -1))
        other += w * ((up - down) / wide[:, None]).T
    scale = prior_sd(worked)
    worst = np.abs(got - other) * scale
    assert np.all(worst <= 1e-4 * np.abs(other * scale).max(axis=1, keepdims=True))


def test_scenes_together_are_the_scenes_alone(worked):
    ats = [unknowns(worked, i)[None] for i in range(4)]
    marks = [marks_of(worked, scene.pegs) for scene in worked.scenes]
    flat = replace(worked.scenes[1], settings=replace(worked.scenes[1].settings, attitude="upright"))
    mixed = [worked.scenes[0], flat, *worked.scenes[2:]]
    together = scenes.shown_together(worked.model, mixed, ats, marks)
    for one, at, mark, got in zip(mixed, ats, marks, together, strict=True):
        np.testing.assert_allclose(got, shown(worked.model, one, at, *mark), rtol=1e-9, atol=1e-12)


def test_a_plate_on_a_stop_is_asked_for_its_tilt_a_free_one_for_its_balance(worked):
    scene, at = worked.scenes[0], unknowns(worked, 0)[None]
    marks = marks_of(worked, scene.pegs)
    _, _, rig = scenes.lay_out(worked.model, scene.settings, at[:, :-1], *marks)
    for stop, limit in ((LOWER, rig.tilt_low), (UPPER, rig.tilt_high)):
        last = shown(worked.model, replace(scene, stop=stop), at, *marks)[0, -1]
        assert last == pytest.approx(float(at[0, -1] - limit[0]))
    moment = shown(worked.model, replace(scene, stop=FREE), at, *marks)[0, -1]
    assert moment == shown(worked.model, replace(scene, stop=OPEN), at, *marks)[0, -1]
    assert abs(moment) > 0.01  # decked: the springs win


def test_rows_carry_their_uncertainties(worked):
    scene = worked.scenes[0]
    values, _ = scenes.targets(scene, 0.002)
    assert len(values) == len(scene.seen) + 1
    assert values[0] == pytest.approx(1200 * np.log2(scene.seen[0].value), rel=1e-12)
    assert values[-1] == 0.0
    for stop, least in ((FREE, 0.002), (OPEN, np.inf), (LOWER, scenes.STOP_SLACK), (UPPER, scenes.STOP_SLACK)):
        assert scenes.targets(replace(scene, stop=stop), 0.002)[1][-1] == least
    assert scenes.targets(replace(scene, stop=FREE), 0.0)[1][-1] == scenes.FINEST_MOMENT


def test_a_slack_string_counts_as_one_of_a_hertz():
    assert scenes.value_of(Seen("pitch", 0.0, 0.3)) == 0.0


# ---- the answer -----------------------------------------------------------------------------------------------------


def residuals(picture):
    """All that is missed, prior and rows, in standard uncertainties: written apart from the code under test."""
    parts, pegs, slips = picture.parts, len(picture.pegs), picture.turns + 1
    known = picture.model.known
    lead = float(picture.model.traits.claw.lead)
    centre = np.concatenate([known.mean, [p.cents for p in picture.pegs], np.zeros(slips)])
    spread = np.concatenate(
        [
            np.sqrt(np.diag(known.covariance)),
            np.full(pegs, tracking.LOOSE),
            [tracking.CLAW_PLACE],
            np.full(slips - 1, tracking.CLAW_SLIP * lead),
        ]
    )

    def missed(x):
        out = [(x[: len(centre)] - centre) / spread]
        for i, scene in enumerate(picture.scenes):
            tilt = x[len(centre) + i]
            slip = x[parts + pegs : parts + pegs + scene.turns + 1].sum()
            at = np.concatenate([x[:parts], x[parts + np.array(scene.pegs)], [slip, tilt]])
            rows = shown(picture.model, scene, at[None], *marks_of(picture, scene.pegs))[0]
            wanted = [1200 * np.log2(s.value) if s.kind == "pitch" else s.value for s in scene.seen]
            sds = [s.sd for s in scene.seen]
            last = picture.model.friction if scene.stop == FREE else scenes.STOP_SLACK
            out.append((np.array([*wanted, 0.0]) - rows) / np.array([*sds, last]))
            out.append(np.array([(tilt - scene.tilt) / touched.ANY_TILT]))
        return np.concatenate(out)

    return missed, np.concatenate([spread, np.full(len(picture.scenes), touched.ANY_TILT)])


def whole(answer):
    return np.concatenate([answer.deviations, answer.pegs, answer.slips, answer.tilts])


def sharp(monkeypatch):
    """The search carried to its end, with fresh derivatives throughout."""
    monkeypatch.setattr(explaining, "SETTLED", 1e-9)
    monkeypatch.setattr(explaining, "STALE", 0.0)
    monkeypatch.setattr(explaining, "ROUNDS", 20)


@pytest.mark.slow
def test_the_answer_is_that_of_another_minimiser(worked, monkeypatch):
    """scipy.optimize.least_squares on prior and rows: the same least sum of squares to a millionth."""
    sharp(monkeypatch)
    got = whole(explained(worked).picture.answer)
    missed, scale = residuals(worked)
    other = least_squares(missed, got + 0.05 * scale * np.cos(np.arange(len(got))), x_scale=scale, jac="3-point",
                          method="trf", xtol=1e-13, ftol=1e-13, gtol=1e-10)  # fmt: skip
    assert np.sum(missed(got) ** 2) == pytest.approx(2.0 * other.cost, rel=1e-6)
    spread = np.sqrt(np.diag(np.linalg.inv(other.jac.T @ other.jac)))
    assert np.abs((got - other.x) / spread).max() < 1e-2


def test_the_covariance_is_the_inverse_curvature_of_that_sum(worked, monkeypatch):
    sharp(monkeypatch)
    after = explained(worked).picture
    missed, scale = residuals(after)
    x = whole(after.answer)
    h = 0.01 * scale
    h[after.parts : after.parts + len(after.pegs)] = 0.5
    jac = np.stack([(missed(x + row) - missed(x - row)) / (2 * row.sum()) for row in np.diag(h)], axis=1)
    covariance = np.linalg.inv(jac.T @ jac)
    count = after.parts
    got, other = (np.sqrt(np.diag(c))[:count] for c in (after.covariance, covariance))
    np.testing.assert_allclose(got, other, rtol=2e-2)


def test_the_order_of_the_scenes_does_not_matter(worked, monkeypatch):
    sharp(monkeypatch)
    blank = replace(worked, answer=None, lines=(None,) * 4)
    one = explained(blank).picture
    order = (2, 0, 1, 3)
    other = explained(replace(blank, scenes=tuple(worked.scenes[i] for i in order))).picture
    spread = np.sqrt(np.diag(one.covariance))
    assert np.abs((one.mean - other.mean) / spread).max() < 1e-4
    np.testing.assert_allclose(np.sqrt(np.diag(other.covariance)), spread, rtol=1e-4)


def test_a_scene_read_in_two_goes_is_the_scene_read_in_one(monkeypatch):
    sharp(monkeypatch)
    twin = Twin(SEED)
    picture = begun(twin)
    seen = some(twin)
    one = read(picture, seen).picture
    first = read(picture, seen[:6]).picture
    two = read(first, seen[6:]).picture
    assert len(two.scenes) == 1
    assert two.scenes[0].seen == one.scenes[0].seen
    spread = np.sqrt(np.diag(one.covariance))
    assert np.abs((one.mean - two.mean) / spread).max() < 1e-3
    np.testing.assert_allclose(np.sqrt(np.diag(two.covariance)), spread, rtol=1e-3)


def test_the_loose_search_is_near_the_sharp_one(worked, monkeypatch):
    loose = worked.mean
    sharp(monkeypatch)
    after = explained(worked).picture
    assert np.abs((after.mean - loose) / np.sqrt(np.diag(after.covariance))).max() < 0.1


# ---- stops ----------------------------------------------------------------------------------------------------------


def test_a_decked_plate_is_heard_on_its_stop_and_presses():
    twin = Twin(SEED)
    update = read(begun(twin), some(twin))
    assert not update.free
    assert update.picture.scenes[-1].stop == LOWER
    assert len(update.picture.pressed) == 1
    moment = update.picture.pressed[0]
    low = float(tilt_limits(tracking.most_likely(update.picture), update.picture.settings)[0])
    assert update.picture.tilt == pytest.approx(low, abs=2e-3)
    assert np.count_nonzero(moment.slope) > 5


def test_a_free_plate_is_heard_free(worked):
    assert worked.scenes[-1].stop == FREE
    assert worked.scenes[-1].told


def test_a_plate_dived_to_its_upper_stop_is_found_there():
    first = greeting()
    first["told"]["bridge"]["cavity_aft"] = 0.013  # the block meets the rear wall early
    twin = Twin(SEED, first)
    picture = read(begun(twin), some(twin)).picture
    twin.claw(-6.0)
    assert twin.hertz.min() > 20.0
    update = read(tracking.turned(picture, -6.0), some(twin))
    assert update.picture.scenes[-1].stop == UPPER
    assert not update.free


@pytest.mark.parametrize(
    ("known", "turns", "over", "on_it", "where_heard", "stop"),
    [
        (True, 1, 1e-3, 100.0, 1.0, OPEN), (True, 1, -1e-4, 2.0, 1.0, OPEN), (True, 1, 5e-2, 100.0, 1.0, FREE),
        (True, 1, -1e-3, 2.0, 1.0, LOWER), (True, 0, -1e-4, 2.0, 1.0, LOWER), (False, 1, -1e-4, 2.0, 1.0, LOWER),
        (False, 0, 1e-3, 100.0, 1.0, FREE), (False, 0, 1e-3, 4.0, 1.0, FREE), (False, 0, 5e-2, 25.0, 195.0, LOWER),
    ],
    ids=["hardly off it", "perhaps off it", "well off it", "heard below it", "claw not turned since it was known",
         "near it, claw not known", "hardly off, claw not known", "explained by both", "worse where it is heard"],
)  # fmt: skip
def test_a_plate_with_its_wedge_in_is_free_only_where_the_wedge_does_not_explain_what_is_heard(
    monkeypatch, known, turns, over, on_it, where_heard, stop
):
    """known: whether it floated with a spring off before; turns: settings of the claw; over: rad by which it is heard
    to stand farther from its wedge than within three standard uncertainties; on_it, where_heard: squares missed."""
    twin = Twin(SEED)
    twin.wedge(2.6e-3)
    settings = replace(twin.job.settings, prop=array(2.6e-3))
    picture = tracking.changed(begun(twin), settings)
    low = float(tilt_limits(tracking.most_likely(picture), settings)[0])
    near = touched.APART * 1e-5 + scenes.STOP_SLACK
    monkeypatch.setattr(touched, "_tilt_heard", lambda *_: (low + near + over, 1e-5, None))
    monkeypatch.setattr(touched, "missed_at", lambda _, __, tilt: on_it if tilt == low else where_heard)
    monkeypatch.setattr(touched, "weighed_in", lambda _: known)
    assert touched.stop_of(picture, replace(touched.scene_of(picture, ()), turns=turns)) == (stop, True)


def test_readings_on_a_wedge_are_explained_there_and_nowhere_else():
    twin = Twin(SEED)
    picture = read(begun(twin), some(twin)).picture
    twin.wedge(2.6e-3)
    settings = replace(picture.settings, prop=array(2.6e-3))
    picture = tracking.changed(picture, settings)
    scene = touched.scene_of(picture, some(twin))
    low = float(tilt_limits(tracking.most_likely(picture), settings)[0])
    there, elsewhere = (touched.missed_at(picture, scene, low + off) for off in (0.0, 0.05))
    assert there < 30.0  # squares of nine readings; a thousandth of chance lies beyond 28
    assert elsewhere > 100.0


def scene_like(picture, stop, told, turns=0):
    return Scene(picture.settings, picture.now, turns, (), stop, 0.0, told)


@pytest.mark.parametrize(
    ("old", "new", "becomes"),
    [(FREE, LOWER, LOWER), (LOWER, FREE, OPEN), (LOWER, LOWER, LOWER), (FREE, UPPER, FREE), (FREE, FREE, OPEN)],
)
def test_what_is_heard_later_corrects_what_was_only_believed(worked, old, new, becomes):
    before, lines = explaining._with_hindsight(
        (scene_like(worked, old, False),), (worked.lines[0],), scene_like(worked, new, True)
    )
    assert before[0].stop == becomes
    assert (lines[0] is None) == (becomes != old)


@pytest.mark.parametrize("change", ["told", "turns", "unsure"])
def test_hindsight_ends_at_a_turn_of_the_claw_and_at_what_was_heard(worked, change):
    old = scene_like(worked, FREE, change == "told", 1 if change == "turns" else 0)
    now = scene_like(worked, LOWER, change != "unsure")
    before, lines = explaining._with_hindsight((old,), (worked.lines[0],), now)
    assert before == (old,)
    assert lines == (worked.lines[0],)


def test_a_trait_of_no_spread_keeps_its_value(worked):
    """Deviations are bounded by six standard uncertainties wherever the search steps."""
    at = unknowns(worked, 0)[None].copy()
    at[0, 0] = 50.0
    traits, _, _ = scenes.lay_out(worked.model, worked.scenes[0].settings, at[:, :-1], *worked.marks)
    limit = 1.0 + scenes.FARTHEST * worked.model.known.parts[0].sd
    np.testing.assert_allclose(traits.springs.rate[0], limit * worked.model.traits.springs.rate)


@pytest.mark.slow
def test_the_whole_balance_of_a_twin_learns_its_springs():
    """After the work spring rate and claw need are known far better than before."""
    twin = Twin(SEED)
    done = guided(twin.job, twin)
    sd = np.sqrt(np.diag(done.course.picture.covariance))
    before = np.sqrt(np.diag(twin.known.covariance))
    assert sd[twin.known.index("strings.axial[2]")] < before[twin.known.index("strings.axial[2]")]
    assert np.all(sd[: len(before)] <= before * (1.0 + 1e-6))
