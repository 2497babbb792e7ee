"""The instrument standing there: as found, or at the end of its plan, on every instrument this one may be."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from setwright.bench.plans import plan_found, problem_from
from setwright.errors import ContradictionError, InputError
from setwright.frozen import frozen
from setwright.instrument.geometry import build_rig, edge_gap, has_room, tilt_for_gap, tilt_limits
from setwright.instrument.jobfile import Job
from setwright.instrument.notes import fretted
from setwright.instrument.predict import Tuned, balance_at, tune_at
from setwright.instrument.prior import draw, vary
from setwright.instrument.settings import Settings
from setwright.instrument.traits import Array, Mask, Traits
from setwright.physics.balance import Equilibrium, Rig, at_pitch, settled_at
from setwright.physics.pitch import CENTS_PER_LOG
from setwright.planning.bands import possible, spread
from setwright.planning.found import AsFound, found_tilt, settle_found
from setwright.planning.plan import End
from setwright.planning.solve import as_batch, wanted_tilt
from setwright.planning.targets import Problem
from setwright.telling import Tell, each, untold, within

SAMPLES = 256
PLAN_SAMPLES = 512
SADDLE_PLACE = 1e-3  # m, standard uncertainty of a saddle's place along the string until read; common practice
SPARE = 4  # times as many are drawn as are wanted
BOW = 0.15  # 1/m, necks bent further are none
SADDLE_TYPED = 0.25e-3  # m, of one whose place was measured and typed: a rule's half millimetre
OCTAVE, OCTAVE_ROUNDS = 12, 3
UNREAD_SADDLES = (
    "Where the saddles stand along the strings is taken from the pattern of the bridge, good to 1 mm: read the octave "
    "errors and write found.octave, and the bands narrow."
)
WITHIN = 0.5  # of a tolerance: its standard uncertainty when the work is done inside it, near enough rectangular
FINGER = (0.02, 0.98)  # share of the way between two frets
PLUCK = (0.01, 0.5)  # share of the open string, from the saddle


@frozen
class Banded:
    """Value of the most likely instrument, and the half width that holds 95 % of those it may be."""

    value: float
    half_width: float


@frozen
class Standing:
    """One state on B instruments, the most likely one first, strings at pitch."""

    when: str  # "as found" or "after the plan"
    traits: Traits  # (B)
    settings: Settings  # (B)
    rig: Rig  # (B), strings held at pitch
    state: Equilibrium  # (B)
    hertz: Array  # (S) Hz


@frozen
class Bench:
    """What the states were made of."""

    job: Job
    problem: Problem
    states: tuple[Standing, ...]  # as found, where it can be told, then after the plan, where asked
    saddles_known: str  # how saddle places are known: "octave", "typed", "pattern"
    seen_remarks: tuple[str, ...]  # those that touch what is seen
    remarks: tuple[str, ...]  # those and what touches what is heard


def band(values: Array) -> Banded:
    """The first value, and how far 95 % of the others lie from their median.

    Args:
        values: (B).
    Returns: both.
    """
    return Banded(float(values[0]), spread(values[1:]))


def on_the_bench(
    job: Job, plan: bool = False, samples: int = SAMPLES, seed: int = 0, planned: End | None = None,
    tell: Tell = untold,
) -> Bench:  # fmt: skip
    """The instrument as found and, where asked, at the end of its plan.

    Args:
        job: as read from its file.
        plan: whether the plan's end is wanted.
        samples: how many instruments that this one may be are tried [1].
        seed: of their randomness [1].
        planned: the plan's end where that is known already; else the job is planned.
        tell: takes the share of the work that is done, that of planning apart.
    Returns: the states.
    Raises: InputError where the strings were not at pitch and no plan is asked for; ContradictionError where the found
        readings cannot all be true; NoPlanError where nothing will do.
    """
    if job.found.state != "at pitch" and not plan:
        raise InputError(
            f"{job.file}: the strings were {job.found.state} as found, so that nothing tells how neck and bridge "
            'stand; read the instrument at pitch and write state = "at pitch", or ask with --plan for the end of the '
            "plan."
        )
    tell(0.0)
    found = settle_found(problem_from(job))
    tell(0.2)
    rng = np.random.default_rng(seed)
    end = None
    if plan:
        end = plan_found(job, found, PLAN_SAMPLES, seed).best.end if planned is None else planned
        drawn = possible(found.problem, end.settings, SPARE * samples, seed)
    else:
        drawn = _with_room(found.problem, draw(found.problem.known, SPARE * samples, rng))
    drawn = _straight(found.problem, drawn)
    if len(drawn) < samples:
        raise ContradictionError(
            "most instruments that fit what was written have no room for the plate between its stops, or a neck that "
            "the strings would fold: measure pivot height, depth of the plate's edges, the cavity and the relief, and "
            "write them down."
        )
    drawn = drawn[:samples]
    deviations = np.concatenate([found.problem.known.mean[None], drawn])
    known = _saddles_known(job)
    place = SADDLE_PLACE * rng.standard_normal((samples + 1, found.problem.traits.string_count))
    place[0] = 0.0
    if known == "typed":
        place *= SADDLE_TYPED / SADDLE_PLACE
    states = []
    tell(0.4)
    if job.found.state == "at pitch":
        standing, place = _as_found(found, deviations, place, rng, within(tell, 0.4, 0.8))
        states.append(standing)
    tell(0.8)
    if end is not None:
        states.append(_after(found.problem, end, deviations, place, rng))
    heard = (UNREAD_SADDLES,) if known == "pattern" else ()
    return Bench(job, found.problem, tuple(states), known, found.remarks, (*found.remarks, *heard))


def _saddles_known(job: Job) -> str:
    """How the places of the saddles along the strings are known."""
    if job.found.octave is not None and job.found.state == "at pitch":
        return "octave"
    typed = any(("bridge", key) in job.instrument.given for key in ("compensation", "saddle_aft"))
    return "typed" if typed else "pattern"


def _with_room(problem: Problem, drawn: Array) -> Array:
    """Those of the deviations whose plate has room between its stops."""
    traits = vary(problem.traits, problem.known, drawn)
    room = has_room(traits, as_batch(problem.found.settings, len(drawn)))
    return drawn[np.broadcast_to(room, len(drawn))]


def _straight(problem: Problem, drawn: Array) -> Array:
    """Those whose neck stands up to the strings: the tails of a Gaussian also hold necks of next to no stiffness."""
    found = problem.found.hertz
    base = problem.wanted if found is None else problem.traits
    bending = vary(base, problem.known, drawn, wanted=found is None).neck.bending
    drawn = drawn[np.broadcast_to(bending > 0.0, len(drawn))]
    traits, settings = (
        vary(base, problem.known, drawn, wanted=found is None),
        as_batch(problem.found.settings, len(drawn)),
    )
    tilt = np.broadcast_to(tilt_limits(traits, settings)[0], len(drawn))
    bow = tune_at(traits, settings, problem.targets.hertz if found is None else found, tilt).state.bow
    return drawn[np.abs(bow) <= BOW]


def _playable(traits: Traits) -> Traits:
    """Fingers and strokes kept to what a hand can do."""
    p = traits.playing
    return replace(
        traits,
        playing=replace(
            p,
            finger_place=np.clip(p.finger_place, *FINGER),
            finger_depth=np.maximum(p.finger_depth, 0.0),
            pluck_place=np.clip(p.pluck_place, *PLUCK),
            pluck_force=np.maximum(p.pluck_force, 0.0),
        ),
    )


def _shifted(traits: Traits, place: Array) -> Traits:
    """Saddles standing off their nominal place along the strings."""
    return replace(traits, bridge=replace(traits.bridge, saddle_aft=traits.bridge.saddle_aft + place))


def _as_found(
    found: AsFound, deviations: Array, place: Array, rng: np.random.Generator, tell: Tell
) -> tuple[Standing, Array]:
    """As found, and where the saddles then stand off their nominal place (B, S)."""
    problem = found.problem
    count, hertz = len(deviations), problem.found.hertz
    assert hertz is not None
    base = _playable(vary(problem.traits, problem.known, deviations))
    settings = as_batch(problem.found.settings, count)
    traits = _shifted(base, place)
    tilt = _tilts_as_read(found, traits, settings, rng)
    octave, sd = problem.found.octave, problem.found.octave_sd
    if octave is not None and sd is not None:
        heard = octave + sd * rng.standard_normal(place.shape)
        heard[0] = octave
        for _, _ in each(tell, range(OCTAVE_ROUNDS)):  # the saddle stands where the octave error says
            tuned = tune_at(traits, settings, hertz, tilt)
            held = fretted(traits, tuned.settings, tuned.rig, tuned.state, frets=(OCTAVE,))
            off = held.cents[..., 0] - heard
            place = place + off * tuned.state.length / CENTS_PER_LOG
            traits = _shifted(base, place)
    free = problem.found.mode == "floating"
    return _stand("as found", traits, settings, hertz, tilt, free, problem.found.mode), place


def _tilts_as_read(found: AsFound, traits: Traits, settings: Settings, rng: np.random.Generator) -> Array:
    """Tilt of each instrument as found: the gap as read, within its uncertainty."""
    problem = found.problem
    gaps = [r for r in problem.found.readings if r.quantity == "rear gap"]
    count = len(settings.claw)
    if problem.found.mode != "floating" or not gaps:
        return np.array(np.broadcast_to(found_tilt(traits, settings, problem), count))
    off = gaps[0].sd * rng.standard_normal(count)
    off[0] = 0.0
    return np.clip(tilt_for_gap(traits, settings, gaps[0].value + off), *tilt_limits(traits, settings))


def _stand(when: str, traits: Traits, settings: Settings, hertz: Array, tilt: Array, free: bool, mode: str) -> Standing:
    """Strings at pitch with the plate where it was read; the claw takes up what the springs are off by."""
    tuned = tune_at(traits, settings, hertz, tilt)
    if mode in ("fixed", "blocked"):
        return _standing(when, traits, tuned, hertz)
    balanced = balance_at(traits, settings, hertz, tilt)
    shifted: Mask = balanced.reached & (free | (tuned.state.contact < 0.0))
    claw = np.where(shifted[:, None], balanced.settings.claw, settings.claw)
    moved = replace(tuned.settings, claw=claw)
    rig = at_pitch(build_rig(traits, moved), hertz)
    return Standing(when, traits, moved, rig, settled_at(rig, tilt), hertz)


def _standing(when: str, traits: Traits, tuned: Tuned, hertz: Array) -> Standing:
    return Standing(when, traits, tuned.settings, tuned.rig, tuned.state, hertz)


def _after(problem: Problem, end: End, deviations: Array, place: Array, rng: np.random.Generator) -> Standing:
    """The plan's end: gap and heights within what the plan tolerates."""
    count, targets = len(deviations), problem.targets
    traits = vary(problem.wanted, problem.known, deviations, wanted=True)
    traits = _shifted(_playable(traits), place)
    settings = as_batch(end.settings, count)
    gap = np.full(count, float(edge_gap(problem.wanted, end.settings, np.asarray(end.tilt)).mean()))
    off = WITHIN * targets.gap_tolerance * rng.standard_normal(count)
    off[0] = 0.0
    if targets.mode == "floating":
        tilt = np.clip(tilt_for_gap(traits, settings, gap + off), *tilt_limits(traits, settings))
    else:
        tilt = np.array(np.broadcast_to(wanted_tilt(traits, settings, targets, gap), count))
    return _stand("after the plan", traits, settings, targets.hertz, tilt, targets.mode == "floating", targets.mode)
