"""As found: the nominal instrument agrees with what was read, and what was read narrows what is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from setwright.bench.plans import problem_from
from setwright.errors import ContradictionError
from setwright.instrument.jobfile import Job
from setwright.instrument.predict import predict, relief, tune_at
from setwright.instrument.prior import Prior, draw, prior, vary
from setwright.instrument.traits import Array
from setwright.planning.found import found_tilt, settle_found
from setwright.planning.learning import learn
from setwright.planning.search import make_plan
from setwright.planning.targets import Problem
from tests.judges.made_jobs import NINES, TENS, demo, floating, job

NAMES = ("dunlin-heavier", "kestrel-float", "knot-too-weak", "lapwing-pull", "plover-dive", "wigeon-reradius")


def decked(claw: str = "12.5 mm ± 0.3 mm", springs: int = 3, kind: str = "usual", **found: str) -> Job:
    parts = {"bridge": {"kind": '"two-post knife edge"'}, "springs": {"kind": f'"{kind}"'}}
    stands = {"strings": TENS, "bridge": '"decked"', "springs": springs, "claw_distance": f'"{claw}"', **found}
    return job(parts, {"found": stands})


@pytest.mark.parametrize("name", NAMES)
def test_the_settled_instrument_shows_every_reading(name: str) -> None:
    found = settle_found(demo(name))
    p = found.problem
    assert p.found.hertz is not None
    heights = [r for r in p.found.readings if r.quantity == "string height"]
    frets = tuple({r.fret for r in heights}) or (12,)
    shown = predict(p.traits, p.found.settings, frets=frets, start=found.tilt)  # type: ignore[arg-type]
    assert np.abs(1200 * np.log2(shown.pitch / p.found.hertz)).max() < 0.5  # a tuner's uncertainty
    for reading in p.found.readings:
        if reading.quantity == "rear gap":
            got = float(shown.rear_gap.mean())
        elif reading.quantity == "string height":
            assert reading.string is not None
            got = float(shown.heights[reading.string, frets.index(reading.fret)])
        else:
            assert reading.hold is not None
            got = float(relief(p.traits, shown.bow, reading.hold[0], reading.fret or 0, reading.hold[1]))
        assert abs(got - reading.value) <= reading.sd + 1e-7, reading
    assert shown.tilt == pytest.approx(found.tilt, abs=0.1 / 31)  # the plate really rests there: 0.1 mm at its edge


def ratios(before: Problem, after: Problem) -> Array:
    """(P) new nominal over old nominal of every part that is a factor, 1 for the others."""
    out = np.ones(len(before.known.parts))
    for i, part in enumerate(before.known.parts):
        if part.kind == "factor":
            group, name = part.path.replace("wanted.", "strings.").split(".")
            old, new = (p.wanted if part.path.startswith("wanted.") else p.traits for p in (before, after))
            values = np.asarray(getattr(getattr(new, group), name)) / np.asarray(getattr(getattr(old, group), name))
            out[i] = values.reshape(-1)[part.index or 0]
    return out


@pytest.mark.parametrize("name", NAMES)
def test_knowledge_only_narrows(name: str) -> None:
    before = demo(name)
    after = settle_found(before).problem
    c0, c1 = before.known.covariance, after.known.covariance
    assert (after.known.mean == 0.0).all()
    assert np.abs(c1 - c1.T).max() <= 1e-12 * np.abs(c1).max()
    sd = np.sqrt(np.diag(c0))
    scaled = c1 / np.outer(sd, sd)
    assert np.linalg.eigvalsh(0.5 * (scaled + scaled.T)).min() > -1e-9
    back = ratios(before, after)  # deviations are counted from the new nominal: undo that
    narrower = (c0 - c1 * np.outer(back, back)) / np.outer(sd, sd)
    assert np.linalg.eigvalsh(0.5 * (narrower + narrower.T)).min() > -1e-6
    assert [p.name for p in after.known.parts] == [p.name for p in before.known.parts]


def test_a_floating_plate_ties_springs_and_claw_together() -> None:
    before = problem_from(floating())
    after = settle_found(before).problem
    i = before.known.index("claw.wall_x")
    assert after.known.covariance[i, i] < 0.8 * before.known.covariance[i, i]
    rows = before.known.index("springs.rate"), i
    assert abs(after.known.covariance[rows]) > 0.05 * np.sqrt(after.known.covariance[rows[0], rows[0]]) * np.sqrt(
        after.known.covariance[i, i]
    )  # weaker springs go with a wall that is nearer: one reading cannot tell them apart


def test_weaker_springs_are_learnt_from_a_claw_further_in() -> None:
    """The claw stands 1 mm nearer its wall than the nominal springs need: they are stretched further and so weaker."""
    made = floating()
    here = problem_from(made)
    claw = here.found.settings.claw - 1.0e-3
    tighter = replace(here, found=replace(here.found, settings=replace(here.found.settings, claw=claw)))
    settled = settle_found(tighter).problem
    assert float(settled.traits.springs.rate.mean()) < float(here.traits.springs.rate.mean())


def test_a_floating_plate_that_cannot_float_is_a_contradiction() -> None:
    far = floating(found={"claw_distance": '"32 mm ± 0.2 mm"'})
    with pytest.raises(ContradictionError) as caught:
        settle_found(problem_from(far))
    text = str(caught.value)
    assert text.startswith(
        "made.job.toml, found.rear_gap: a plate floating at pitch does not fit 3 springs with the claw "
    )
    assert "32.0 mm from the wall: the springs would have to be stronger than any of this kind (" in text
    assert text.endswith("read claw distance, spring count and tuning again, or give the spring rate")
    near = floating(kind="two-post knife edge", springs=5, spring_kind="strong", strings=NINES,
                    found={"claw_distance": '"3 mm ± 0.2 mm"'})  # fmt: skip
    with pytest.raises(ContradictionError, match="would have to be weaker than any of this kind"):
        settle_found(problem_from(near))


def test_a_decked_plate_that_would_lift() -> None:
    found = settle_found(problem_from(decked("16.5 mm ± 0.3 mm")))
    assert found.remarks == (
        "as found the nominal instrument would lift off the body: springs taken stronger than usual",
    )
    assert found.contact > -0.05  # about rests, within what counts as resting
    assert found.problem.traits.springs.rate.mean() > 3500.0
    plan = make_plan(problem_from(decked("16.5 mm ± 0.3 mm")), samples=8)
    assert plan.remarks[0] == found.remarks[0]
    with pytest.raises(ContradictionError, match="a plate resting on the body at pitch does not fit 2 springs"):
        settle_found(problem_from(decked("30 mm ± 0.3 mm", 2, "soft")))


def test_a_decked_plate_that_presses_teaches_only_its_shape() -> None:
    found = settle_found(problem_from(decked("10 mm ± 0.3 mm")))
    assert found.remarks == ()
    assert found.contact > 0.1
    assert found.problem.traits.springs.rate == pytest.approx(np.full(5, 3500.0))


def test_slack_strings_teach_nothing_of_the_balance() -> None:
    before = problem_from(decked(state='"slack"'))
    found = settle_found(before)
    assert found.problem.found.hertz is None
    assert (found.problem.known.covariance == before.known.covariance).all()
    assert (found.contact, found.bow) == (0.0, float(before.traits.neck.free_bow))
    plan = make_plan(before, samples=8)
    assert "the instrument was not at pitch as found: springs and levers rest on the catalogue alone" in plan.remarks
    assert plan.found == ()


def test_found_tilt_by_mode() -> None:
    problem = problem_from(floating(gap=2.0))
    tilt = found_tilt(problem.traits, problem.found.settings, problem)
    assert float(tilt) == pytest.approx(
        float(np.arcsin((2.0e-3 - float(problem.traits.bridge.pivot_y.mean())) / np.hypot(0.031, 0.0038))
              + np.arctan2(0.0038, 0.031)), abs=1e-9)  # fmt: skip
    unread = replace(problem, found=replace(problem.found, readings=()))
    assert float(found_tilt(problem.traits, problem.found.settings, unread)) == 0.0
    flat = problem_from(decked())
    assert float(found_tilt(flat.traits, flat.found.settings, flat)) < 0.0


def test_learning_on_the_balance_against_brute_force() -> None:
    """Two uncertain traits, one reading of the moment left over: Gauss-Newton against importance sampling.

    60 000 instruments from the prior, weighted by the likelihood of the reading; no slope is taken anywhere. Tolerances
    of a tenth of a prior standard uncertainty: the posterior is not quite Gaussian.
    """
    problem = problem_from(floating())
    both = tuple(p for p in problem.known.parts if p.name in ("springs.rate", "springs.hook_up"))
    assert len(both) == 2
    known = prior(both)
    hertz = problem.found.hertz
    assert hertz is not None
    tilt = float(found_tilt(problem.traits, problem.found.settings, problem))

    def moment(deviations: Array) -> Array:
        traits = vary(problem.traits, known, deviations)
        return np.asarray(tune_at(traits, problem.found.settings, hertz, tilt).state.contact)[:, None]

    read, sd = np.array([0.25]), np.array([0.15])
    learnt = learn(known, moment, read, sd)
    rows = draw(known, 60000, np.random.default_rng(5))
    log = np.concatenate([-0.5 * ((moment(part)[:, 0] - read[0]) / sd[0]) ** 2 for part in np.array_split(rows, 60)])
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    assert 1.0 / (weight**2).sum() > 3000  # enough of them count
    mean = weight @ rows
    covariance = (rows - mean).T @ ((rows - mean) * weight[:, None])
    size = np.sqrt(np.diag(known.covariance))
    assert (np.abs(learnt.known.mean - mean) < 0.1 * size).all()
    assert (np.abs(learnt.known.covariance - covariance) < 0.1 * np.outer(size, size)).all()
    assert np.linalg.det(covariance) < 0.5 * np.linalg.det(known.covariance)  # the reading did say something


def test_learning_bends_with_a_curved_model() -> None:
    """y = exp(2 a + b) read as 2 +- 0.1, a and b uncertain by 0.5: brute force on a grid of 801 x 801 points."""
    parts = tuple(replace(p, sd=0.5) for p in problem_from(floating()).known.parts[:2])
    known = Prior(parts, np.zeros(2), 0.25 * np.eye(2))
    learnt = learn(known, lambda d: np.exp(2.0 * d[:, :1] + d[:, 1:]), np.array([2.0]), np.array([0.1]))
    axis = np.linspace(-2.5, 2.5, 801)
    a, b = np.meshgrid(axis, axis, indexing="ij")
    weight = np.exp(-0.5 * ((a**2 + b**2) / 0.25 + ((np.exp(2 * a + b) - 2.0) / 0.1) ** 2))
    weight /= weight.sum()
    mean = np.array([(weight * a).sum(), (weight * b).sum()])
    assert learnt.known.mean == pytest.approx(mean, abs=0.01)
    for i, v in enumerate((a, b)):
        for j, w in enumerate((a, b)):
            by_hand = (weight * (v - mean[i]) * (w - mean[j])).sum()
            assert learnt.known.covariance[i, j] == pytest.approx(by_hand, abs=0.01)


def test_a_string_that_would_have_broken_was_not_found_so() -> None:
    problem = demo("wigeon-reradius")
    hertz = problem.targets.hertz.copy()
    hertz[0] *= 2.0
    with pytest.raises(ContradictionError, match=r"string 1 at 659.3 Hz would carry \d+% of its breaking load"):
        settle_found(replace(problem, found=replace(problem.found, hertz=hertz)))
