"""As found: the nominal instrument is made to agree with what was read before anything was touched."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from setwright.errors import ContradictionError
from setwright.frozen import frozen
from setwright.instrument.carried import about_most_likely
from setwright.instrument.fan import fret_places, nut_places
from setwright.instrument.geometry import build_rig, saddle_contact, tilt_for_gap, tilt_limits
from setwright.instrument.predict import relief, string_heights, tune_at
from setwright.instrument.prior import vary
from setwright.instrument.settings import Settings
from setwright.instrument.traits import Array, Traits
from setwright.physics.balance import at_pitch, settled_at
from setwright.physics.frets import fret_position
from setwright.physics.neck import bow_for_relief
from setwright.planning.learning import learn
from setwright.planning.octave import bias_as_found
from setwright.planning.targets import FoundReading, Problem

FAR = 4.0  # standard uncertainties beyond which a reading contradicts the rest
SLACK_MOMENT = 0.02  # N m, how sharply "resting on the body" is taken when a decked plate seems to lift


@frozen
class AsFound:
    """The job with its instrument brought into line with the found readings."""

    problem: Problem
    tilt: float  # rad, as found
    bow: float  # 1/m
    contact: float  # N m on the lower stop, of the nominal instrument
    remarks: tuple[str, ...]


def found_tilt(traits: Traits, settings: Settings, problem: Problem) -> Array:
    """Tilt of the plate as found.

    Args:
        traits: the instrument(s).
        settings: as found.
        problem: the job, for mode and gap reading.
    Returns: () or (B) [rad].
    """
    low, high = tilt_limits(traits, settings)
    if problem.found.mode != "floating":
        return low
    gap = _reading(problem, "rear gap")
    if gap is None:
        return np.clip(np.zeros_like(low), low, high)
    return np.clip(tilt_for_gap(traits, settings, np.asarray(gap.value)), low, high)


def _reading(problem: Problem, quantity: str) -> FoundReading | None:
    for reading in problem.found.readings:
        if reading.quantity == quantity:
            return reading
    return None


def settle_found(problem: Problem) -> AsFound:
    """Bring the nominal instrument into line with the found readings, and condition what is known on them.

    Saddle heights and the free bow take up the geometry exactly; the balance of a floating bridge, or the preload of a
    decked one, updates springs, levers and strings by their prior weights.

    Args:
        problem: the job as read.
    Returns: the job with new nominal traits, posterior, and the pegs as found.
    Raises: ContradictionError where a reading cannot be true with the others.
    """
    remarks: list[str] = []
    traits = _match_geometry(problem, problem.traits)
    problem = _with_shape(problem, traits)
    if problem.found.hertz is not None:
        problem, more = _match_balance(problem)
        remarks += more
        traits = _match_geometry(problem, nominal(problem))
        problem = _recentred(problem, traits)
    as_found = _pegs_as_found(problem, tuple(remarks))
    return replace(
        as_found, problem=replace(as_found.problem, octave_bias=bias_as_found(as_found.problem, as_found.tilt))
    )


def nominal(problem: Problem, wanted: bool = False) -> Traits:
    """The most likely instrument.

    Args:
        problem: the job.
        wanted: with the wanted strings.
    Returns: traits, unbatched.
    """
    base = problem.wanted if wanted else problem.traits
    return vary(base, problem.known, problem.known.mean, wanted)


def _recentred(problem: Problem, traits: Traits) -> Problem:
    """Make the most likely instrument the nominal one: deviations are counted from it."""
    wanted = replace(traits, strings=nominal(problem, wanted=True).strings) if problem.new_strings else traits
    return replace(problem, traits=traits, wanted=wanted, known=about_most_likely(problem.known))


def _with_shape(problem: Problem, traits: Traits) -> Problem:
    wanted = replace(traits, strings=problem.wanted.strings) if problem.new_strings else traits
    return replace(problem, traits=traits, wanted=wanted)


def _match_geometry(problem: Problem, traits: Traits) -> Traits:
    """Choose free bow and saddle heights so that relief and string heights come out as read."""
    settings = problem.found.settings
    heights = [r for r in problem.found.readings if r.quantity == "string height"]
    bend = _reading(problem, "relief")
    for _ in range(3):
        tilt = found_tilt(traits, settings, problem)
        hertz = problem.found.hertz
        if hertz is None:
            bow, loaded = float(traits.neck.free_bow), False
        else:
            state = tune_at(traits, settings, hertz, tilt).state
            bow, loaded = float(state.bow[0]), True
        if bend is not None and bend.hold is not None and bend.fret is not None:
            scale = traits.fretboard.scale
            low, read, high = (fret_position(scale, n) for n in (bend.hold[0], bend.fret, bend.hold[1]))
            wanted = float(bow_for_relief(bend.value, low, read, high, traits.neck.joint_x))
            change = wanted - bow if loaded else 0.0
            traits = replace(traits, neck=replace(traits.neck, free_bow=traits.neck.free_bow + change))
            bow = wanted if loaded else bow
        if heights:
            traits = _match_heights(traits, settings, heights, np.asarray(tilt), bow)
    return traits


def _match_heights(traits: Traits, settings: Settings, heights: list[FoundReading], tilt: Array, bow: float) -> Traits:
    up = np.array(traits.bridge.saddle_up)
    start, ends = nut_places(traits), saddle_contact(traits, settings, tilt)[0]
    for fret, readings in _by_fret(heights).items():
        now = string_heights(traits, settings, tilt, np.asarray(bow), (fret,))[..., 0]
        places = np.broadcast_to(fret_places(traits, [fret])[..., 0], start.shape)
        for string, reading in readings:
            x0 = float(start[string])
            share = (float(places[string]) - x0) / (ends[string] - x0)
            up[string] += (reading.value - now[string]) / (share * np.cos(tilt))
    return replace(traits, bridge=replace(traits.bridge, saddle_up=up))


def _by_fret(heights: list[FoundReading]) -> dict[int, list[tuple[int, FoundReading]]]:
    """String heights with their strings, by the fret they were read at."""
    out: dict[int, list[tuple[int, FoundReading]]] = {}
    for reading in heights:
        assert reading.fret is not None
        assert reading.string is not None
        out.setdefault(reading.fret, []).append((reading.string, reading))
    return out


def _balance_model(problem: Problem) -> tuple[Callable[[Array], Array], Array, Array]:
    """Readings of the found state as functions of the deviations: moment left over, heights, relief."""
    settings, hertz = problem.found.settings, problem.found.hertz
    assert hertz is not None
    heights = [r for r in problem.found.readings if r.quantity == "string height"]
    by_fret = _by_fret(heights)
    bend = _reading(problem, "relief")

    def model(deviations: Array) -> Array:
        traits = vary(problem.traits, problem.known, deviations)
        tilt = found_tilt(traits, settings, problem)
        state = settled_at(at_pitch(build_rig(traits, settings), hertz), tilt)
        columns = [state.contact] if traits.bridge.knife_edge else []
        for fret, readings in by_fret.items():
            now = string_heights(traits, settings, state.tilt, state.bow, (fret,))[..., 0]
            columns += [now[:, string] for string, _ in readings]
        if bend is not None and bend.hold is not None and bend.fret is not None:
            columns.append(relief(traits, state.bow, bend.hold[0], bend.fret, bend.hold[1]))
        return np.stack(columns, axis=1)

    ordered = [r for readings in by_fret.values() for _, r in readings]
    values = [r.value for r in ordered] + ([bend.value] if bend is not None else [])
    sds = [r.sd for r in ordered] + ([bend.sd] if bend is not None else [])
    if problem.traits.bridge.knife_edge:
        values, sds = [0.0, *values], [SLACK_MOMENT, *sds]
    return model, np.array(values), np.array(sds)


def _match_balance(problem: Problem) -> tuple[Problem, list[str]]:
    """Condition on the found balance: nothing left over when floating; not lifting when decked."""
    model, read, sd = _balance_model(problem)
    if not len(read):
        return problem, []
    remarks: list[str] = []
    knife = problem.traits.bridge.knife_edge
    rows = np.ones(len(read), dtype=bool)
    if knife:
        sd[0] = np.hypot(SLACK_MOMENT, float(problem.traits.bridge.knife_friction))
        if problem.found.mode == "floating":
            sd[0] = np.hypot(sd[0], _gap_as_moment(problem))
        elif problem.found.mode in ("decked", "dive-only"):
            preload = float(model(problem.known.mean[None])[0, 0])
            if preload >= 0.0:
                rows[0] = False  # it rests as it should: nothing to learn but the sign
            else:
                remarks.append(
                    "as found the nominal instrument would lift off the body: springs taken stronger than usual"
                )
        else:
            rows[0] = False
    if not rows.any():
        return problem, remarks
    learnt = learn(problem.known, lambda d: model(d)[:, rows], read[rows], sd[rows])
    if knife and rows[0] and abs(learnt.misfit[0]) > FAR:
        raise ContradictionError(_balance_contradiction(problem, float(learnt.misfit[0])))
    return replace(problem, known=learnt.known), remarks


def _gap_as_moment(problem: Problem) -> float:
    """Uncertainty of the found rear gap, as a moment of the balance brought back to pitch."""
    gap = _reading(problem, "rear gap")
    settings, hertz = problem.found.settings, problem.found.hertz
    assert hertz is not None
    spread = gap.sd if gap is not None else 0.5e-3
    tilt = found_tilt(problem.traits, settings, problem)
    state = settled_at(at_pitch(build_rig(problem.traits, settings), hertz), tilt)
    return float(abs(state.stiffness[0]) * spread / abs(float(problem.traits.bridge.rear_aft)))


def _balance_contradiction(problem: Problem, misfit: float) -> str:
    gap = _reading(problem, "rear gap")
    where = f"{gap.where}: " if gap is not None and gap.where else ""
    strength = "weaker" if misfit < 0 else "stronger"
    count = int(problem.found.settings.springs.sum())
    claw = float(problem.found.settings.claw.mean()) * 1e3
    state = "floating" if problem.found.mode == "floating" else "resting on the body"
    return (
        f"{where}a plate {state} at pitch does not fit {count} springs with the claw {claw:.1f} mm from the wall: "
        f"the springs would have to be {strength} than any of this kind ({abs(misfit):.1f} standard uncertainties); "
        "read claw distance, spring count and tuning again, or give the spring rate"
    )


def _pegs_as_found(problem: Problem, remarks: tuple[str, ...]) -> AsFound:
    settings, hertz = problem.found.settings, problem.found.hertz
    traits = problem.traits
    tilt = found_tilt(traits, settings, problem)
    if hertz is None:
        low = float(tilt_limits(traits, settings)[0])
        return AsFound(problem, low, float(traits.neck.free_bow), 0.0, remarks)
    tuned = tune_at(traits, settings, hertz, tilt)
    load = (tuned.state.tension / traits.strings.breaking)[0]
    if load.max() > 1.0:
        string = int(load.argmax())
        raise ContradictionError(
            f"found.tuning: string {string + 1} at {hertz[string]:.1f} Hz would carry {load[string]:.0%} of its "
            "breaking load, so it cannot have been found so; check its note, octave and gauge"
        )
    found = replace(problem.found, settings=tuned.settings)
    return AsFound(
        replace(problem, found=found),
        float(tuned.state.tilt[0]),
        float(tuned.state.bow[0]),
        float(tuned.state.contact[0]),
        remarks,
    )
