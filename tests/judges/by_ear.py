"""Learning from sound alone, carried out: experiments chosen by what they would tell, done, and heard.

A plate is given floating at pitch. The claw's place is seen to 2 mm and the gap to 0.5 mm (95 in 100), as an eye tells
them; from then on there is a tuner and nothing else. The truth of a twin is told by differences of `predict`, that of a
practice instrument by its own physics with its friction taken away, an eighth of a turn each way.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from setwright.bench.guided import guided, told, wanting
from setwright.instrument.geometry import build_rig, edge_gap, tilt_for_gap
from setwright.instrument.predict import predict, tune
from setwright.instrument.told import believed
from setwright.instrument.traits import Array, array
from setwright.physics.springs import force
from setwright.planning import course, tracking
from setwright.planning.by_sound import Trial, next_trial, obstacle
from setwright.planning.course import Course, pitch_heard
from setwright.planning.learned import untaught
from setwright.planning.responses import KINDS, Responses, as_it_stands, at_end
from setwright.planning.scenes import Seen
from setwright.planning.tracking import firm
from setwright.practice.instrument import Practice
from setwright.practice.physics import Stage, _springs_and_weight, rest, settle_neck
from setwright.practice.told import hello
from tests.judges.twin import floating_twin

EYE_CLAW, EYE_GAP = 1e-3, 2.5e-4  # m, standard uncertainty of what an eye tells; common practice, no source
MOST = 8  # experiments
TURN = 0.125  # over which the truth is measured
RATIO, CENTS = KINDS.index("stiffness ratio"), slice(len(KINDS), None)


@dataclass(frozen=True)
class Work:
    """What was believed before and after the experiments, the truth then, and what was done."""

    before: Array  # (F) standard uncertainties, before any reading
    first: Array  # (F) after the first hearing
    last: Array  # (F) after the experiments
    score: Array  # (F) belief less truth in standard uncertainties
    off: Array  # (F) the same as a share of the truth
    trials: tuple[Trial, ...]
    kept: tuple[float, ...]  # of the standard uncertainties of every experiment's aims, what it really left
    sharpest: float  # cents over its final pitch, of any string after any experiment
    flattest: float
    obstacle: str  # why there were none, "" else


def by_ear(job, on, claw: float, gap: float) -> Course:
    """A floating plate at pitch, heard for the first time."""
    noted = replace(job.settings, claw=np.full(2, claw), unstretched=np.full(job.traits.string_count, np.nan))
    hertz = np.array([on.pitch(i + 1) for i in range(job.traits.string_count)])
    level = float(tilt_for_gap(job.traits, noted, array(gap)))
    picture = tracking.begin(job.traits, believed(job.traits), noted, hertz, job.knife, level)
    seen = tuple(pitch_heard(job.goal, i, f, job.pitch_sd) for i, f in enumerate(hertz.tolist()))
    return course.taken_in(course.begun(picture, job.goal), (*seen, Seen("rear gap", gap, EYE_GAP)))


def hear(job, on, now: Course) -> Course:
    heard = (pitch_heard(job.goal, i, on.pitch(i + 1), job.pitch_sd) for i in range(job.traits.string_count))
    return course.taken_in(now, tuple(heard))


def done(job, on, now: Course, trial: Trial) -> Course:
    """One experiment: the hand, then the ear."""
    if trial.do == "tune":
        now = course.tuned(now, trial.string, on.tune(trial.string + 1, trial.hertz))
    elif trial.do == "claw":
        on.claw(trial.turns)
        now = course.turned(now, trial.turns)
    return hear(job, on, now)


def found(now: Course) -> tuple[Responses, Array]:
    """Figures of the present state and their standard uncertainties."""
    picture = firm(now.picture)
    here = as_it_stands(picture)
    return here, here.sd(picture.covariance)


def aims(now: Course) -> Array:
    """Standard uncertainties of what the experiments are weighed by."""
    picture = firm(now.picture)
    end = at_end(picture, now.goal)
    sd = end.sd(picture.covariance)
    rate = picture.model.known.index("springs.rate")
    cents = np.sqrt(np.mean(sd[CENTS] ** 2))
    return np.array([sd[RATIO], sd[KINDS.index("gap per turn")], cents, np.sqrt(picture.covariance[rate, rate])])


def worked(job, on, claw: float, gap: float, off, truth) -> Work:
    """All experiments that tell something, as `next_trial` names them."""
    now = by_ear(job, on, claw, gap)
    bare = untaught(now.picture)
    before, first = at_end(bare, now.goal).sd(bare.covariance), found(now)[1]
    trials, kept, cents = [], [], [off()]
    while len(trials) < MOST and (trial := next_trial(now, job.pitch_sd)) is not None:
        was = aims(now)
        now = done(job, on, now, trial)
        trials.append(trial)
        cents.append(off())
        kept.append(float(np.exp(np.mean(np.log(aims(now) / was)))))
    here, last = found(now)
    true = truth()
    return Work(
        before=before,
        first=first,
        last=last,
        score=np.divide(here.values - true, last, out=np.full(len(last), np.inf), where=last > 0.0),
        off=(here.values - true) / true,
        trials=tuple(trials),
        kept=tuple(kept),
        sharpest=float(np.max(cents)),
        flattest=float(np.min(cents)),
        obstacle=obstacle(now),
    )


# ---- twins ----------------------------------------------------------------------------------------------------------


def differences(traits, settings, tilt: float, hertz: Array) -> Array:
    """(F) figures of a plate that floats at a state, from `predict` and `tune`: differences of the states they find.

    The springs' own stiffness is that with the strings off and the plate blocked; what the springs pull comes from the
    spring law, the lever from the balance of moments: strings' tension times their arm is spring force times theirs.
    """
    lead = float(traits.claw.lead)
    here = predict(traits, settings, start=tilt)
    turned = [replace(settings, claw=settings.claw - way * lead) for way in (1 / 64, -1 / 64)]
    up, down = (predict(traits, one, start=tilt) for one in turned)
    retuned = [tune(traits, one, hertz, tilt) for one in turned]
    risen = [float(np.mean(edge_gap(traits, turned[i], one.state.tilt[0]))) for i, one in enumerate(retuned)]
    off = replace(settings, unstretched=np.full_like(settings.unstretched, np.nan), block=np.mean(here.rear_gap))
    pull = spring_forces(traits, settings, float(here.tilt))
    figures = {
        "stiffness ratio": here.stiffness / predict(traits, off, start=tilt).stiffness - 1.0,
        "stiffness": here.stiffness,
        "stiffness at pitch": here.stiffness_retuned,
        "gap per turn": 32.0 * (np.mean(up.rear_gap) - np.mean(down.rear_gap)),
        "gap per turn at pitch": 32.0 * (risen[0] - risen[1]),
        "lever": pull / here.tension.sum(),
        "spring force": pull,
    }
    return np.array([*(float(figures[kind]) for kind in KINDS), *(32.0 * 1200.0 * np.log2(up.pitch / down.pitch))])


def spring_forces(traits, settings, tilt: float) -> float:
    """Force of all springs by the published spring law, hooks turned with the plate."""
    rig = build_rig(traits, settings)
    qx = rig.hook_aft * np.cos(tilt) - rig.hook_up * np.sin(tilt)
    qy = rig.hook_aft * np.sin(tilt) + rig.hook_up * np.cos(tilt)
    span = np.sqrt((rig.claw_x - qx) ** 2 + (rig.claw_y - qy) ** 2 + rig.slant**2)
    return float((force(span, rig.rate, rig.initial, rig.free, rig.closed_rate) * rig.present).sum())


@cache
def twin_work(seed: int) -> Work:
    twin = floating_twin(seed)
    claw = float(twin.settings.claw.mean()) + twin.rng.normal(0.0, EYE_CLAW)
    gap = twin.gap_now() + twin.rng.normal(0.0, EYE_GAP)
    return worked(
        twin.job, twin, claw, gap, twin.off, lambda: differences(twin.traits, twin.settings, twin.tilt, twin.hertz)
    )


# ---- practice instruments -------------------------------------------------------------------------------------------


def practice_truth(practice: Practice) -> Array:
    """(F) stiffness ratio and cents per turn of the true instrument without friction; nan elsewhere."""
    body, state = practice.body, practice.truth.state
    smooth = replace(
        body, plate=replace(body.plate, friction=0.0), wires=tuple(replace(w, grip=0.0) for w in body.wires)
    )
    at = rest(smooth, state).state
    stage = Stage(smooth, at)
    stiffness = settle_neck(stage, at.tilt, at.bow, at.side)[0].condensed()[1]
    springs = _springs_and_weight(stage, np.cos(at.tilt), np.sin(at.tilt), at.tilt)[1]
    lead = body.plate.claw_lead
    up, down = (np.array(rest(smooth, replace(at, claw=at.claw - way * lead)).hertz) for way in (TURN, -TURN))
    out = np.full(len(KINDS) + len(up), np.nan)
    out[RATIO] = stiffness / springs - 1.0
    out[CENTS] = 1200.0 * np.log2(up / down) / (2.0 * TURN)
    return out


@cache
def practice_work(seed: int) -> Work:
    first = hello(seed)
    practice, job = Practice(first, seed), told(first)
    guided(wanting(job, "minutes"), practice)
    rng = np.random.default_rng(seed)
    claw = practice.truth.state.claw + rng.normal(0.0, EYE_CLAW)
    gap = practice.gap() + rng.normal(0.0, EYE_GAP)

    def off() -> Array:
        return 1200.0 * np.log2(np.array(practice.truth.hertz) / job.goal.hertz)

    return worked(job, practice, claw, gap, off, lambda: practice_truth(practice))
