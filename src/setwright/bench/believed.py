"""This very instrument as it is believed to stand now, on all instruments it may be: where trying things out starts.

Before anything was done it stands as it was found. In the middle of a floating balance it stands as the journal's
readings explain it. In between, with strings off or screws turned that nobody has heard since, the pegs hold nothing
that is known: then only what comes once every string is at pitch can be told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from setwright.bench.as_read import as_read, tilts_as_found
from setwright.bench.heard_notes import with_heard
from setwright.bench.journals import Source, job_from, open_journal
from setwright.bench.kept_work import Keeping, Work, name_of
from setwright.bench.next_step import balance_of, hardware_of
from setwright.bench.plans import problem_from
from setwright.bench.progress import applied, work_left
from setwright.bench.replay import moved
from setwright.errors import InputError, NoPlanError
from setwright.frozen import frozen
from setwright.instrument.geometry import has_room, tilt_limits
from setwright.instrument.jobfile import Job
from setwright.instrument.prior import Prior, vary
from setwright.instrument.settings import Settings
from setwright.instrument.string_sets import Gauge
from setwright.instrument.traits import Array, Traits, array
from setwright.physics.balance import equilibrium, pitches
from setwright.planning import tracking
from setwright.planning.bands import drawn_with_room
from setwright.planning.course import Course
from setwright.planning.found import AsFound, settle_found
from setwright.planning.outlook import view
from setwright.planning.solve import as_batch
from setwright.planning.targets import Problem
from setwright.planning.to_do import Hardware
from setwright.records.entries import Entry, live

SAMPLES = 96
FIXED = (
    "The bridge of this instrument is fixed: it does not tilt, there are no springs, and so there is nothing to "
    "balance. What its strings pull and stretch stands with the strings."
)


@frozen
class Believed:
    """The instrument now, the most likely one first in every batch (B).

    when: it is believed so, in words. pegs: whether it is known what they hold. plain, noted: most likely instrument
    and its settings without a batch axis. hertz: (S) as it sounds now, the most likely one, nan without pegs [Hz].
    """

    job: Job
    when: str
    pegs: bool
    plain: Traits
    noted: Settings
    traits: Traits
    settings: Settings
    start: Array  # (B) rad, where the plate rests now
    hertz: Array
    wanted: Array  # (S) Hz
    gap: tuple[float, float] | None  # m, wanted and its tolerance, where a rear gap is wanted
    strings: tuple[Gauge, ...]  # that are on
    remarks: tuple[str, ...]


def believed(
    job: Source, journal: str | None = None, samples: int = SAMPLES, seed: int = 0, keeping: Keeping | None = None
) -> Believed:
    """The instrument of a job as it is believed to stand now.

    Args:
        job: path of the job file, or a visit in a shop.
        journal: path of the journal of a job file, None by the rule.
        samples: how many instruments that this one may be are tried [1].
        seed: of their randomness [1].
        keeping: where work on the job is kept; it makes the answer quicker, never another one.
    Returns: the instrument now.
    Raises: InputError for a fixed bridge, and for files that cannot be used; ContradictionError where what was found
        cannot all be true.
    """
    read = job_from(job)
    if not read.instrument.bridge.knife_edge:
        raise InputError(FIXED)
    _, found = open_journal(job, journal, read)
    return believed_of(read, live(found.entries), samples, seed, keeping, name_of(job, journal))


def believed_of(
    job: Job, entries: Sequence[Entry] = (), samples: int = SAMPLES, seed: int = 0, keeping: Keeping | None = None,
    name: str = "",
) -> Believed:  # fmt: skip
    """The same of a job that was read.

    Args:
        job: as read, of a knife edge.
        entries: live ones of its journal, in their order.
        samples: how many instruments that this one may be are tried [1].
        seed: of their randomness [1].
        keeping: where work on the job is kept.
        name: it is kept by, from `name_of`.
    Returns: the instrument now.
    Raises: as `believed`.
    """
    heard, _ = with_heard(job, entries)
    rng = np.random.default_rng(seed)
    done = any(one.verb == "did" and one.what != "attitude" for one in entries)
    work = _work(heard, keeping, name) if entries else None
    course = None if work is None else _course(heard, work, entries, keeping, name)
    if work is not None and course is not None:
        return _freed(_by_course(heard, work.hardware, course, entries[-1].number, samples, rng))
    found = settle_found(problem_from(heard))
    if not done and job.found.state == "at pitch":
        return _freed(_as_found(heard, found, samples, rng))
    return _freed(_unheard(heard, found, None if work is None else work.hardware, entries, samples, rng))


def _work(job: Job, keeping: Keeping | None, name: str) -> Work | None:
    try:
        return hardware_of(job, keeping, name)
    except NoPlanError:  # nothing will do: all the more is there to be tried
        return None


def _course(job: Job, work: Work, entries: Sequence[Entry], keeping: Keeping | None, name: str) -> Course | None:
    """The balance as far as the journal goes; None before every string was heard after the hardware."""
    todo = work.hardware
    if todo.problem.targets.mode != "floating" or work_left(todo.problem, todo.steps, entries) is not None:
        return None
    return balance_of(job, work, entries, keeping, name).course


def _gap_wanted(problem: Problem, gap: float | None) -> tuple[float, float] | None:
    targets = problem.targets
    wanted = targets.gap if targets.gap is not None else gap
    if targets.mode != "floating" or wanted is None or not np.isfinite(wanted):
        return None
    return float(wanted), float(targets.gap_tolerance)


def _as_found(job: Job, found: AsFound, samples: int, rng: np.random.Generator) -> Believed:
    problem = found.problem
    noted = problem.found.settings
    traits = vary(problem.traits, problem.known, _drawn(problem.traits, problem.known, noted, samples, rng))
    settings = as_batch(noted, samples + 1)
    tilt = tilts_as_found(found, traits, settings, rng)
    assert problem.found.hertz is not None
    return Believed(
        job, "as found", True, problem.traits, noted, traits, as_read(found, traits, settings, tilt), tilt,
        problem.found.hertz, problem.targets.hertz, _gap_wanted(problem, None), job.found.strings, found.remarks,
    )  # fmt: skip


def _drawn(
    base: Traits, known: Prior, noted: Settings, samples: int, rng: np.random.Generator, wanted: bool = False
) -> Array:
    """Deviations of instruments this one may be, the most likely ones first (samples + 1, P)."""
    cases = lambda deviations: ((vary(base, known, deviations, wanted), noted),)  # noqa: E731
    return np.concatenate([known.mean[None], drawn_with_room(known, samples, rng, cases)])


def _by_course(
    job: Job, todo: Hardware, course: Course, number: int, samples: int, rng: np.random.Generator
) -> Believed:
    """By the picture of a balance at work: pegs and claw of each as its readings explain them."""
    picture = view(course).course.picture
    values, vectors = np.linalg.eigh(picture.covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    at = picture.mean + rng.standard_normal((4 * samples, len(picture.mean))) @ root.T
    factors = [i for i, part in enumerate(picture.model.known.parts) if part.kind == "factor"]
    at = at[np.all(at[:, factors] > -0.8, axis=1)]
    traits, settings, _ = tracking.lay_out(picture, at)
    at = at[np.broadcast_to(has_room(traits, settings), len(at))][:samples]
    traits, settings, rig = tracking.lay_out(picture, np.concatenate([picture.mean[None], at]))
    state = equilibrium(rig, start=picture.tilt)
    new = any(part.name.startswith("wanted.") for part in todo.problem.known.parts)
    return Believed(
        job, f"as believed after #{number} of the journal", True, tracking.most_likely(picture), picture.settings,
        traits, settings, state.tilt, pitches(rig, state)[0], course.goal.hertz,
        (course.goal.gap, course.goal.gap_tolerance), job.want.strings if new else job.found.strings, (),
    )  # fmt: skip


def _unheard(
    job: Job, found: AsFound, todo: Hardware | None, entries: Sequence[Entry], samples: int, rng: np.random.Generator
) -> Believed:
    """In the middle of the hardware: screws as noted, pegs open."""
    problem = found.problem
    noted = problem.found.settings
    if todo is not None:
        noted = applied(noted, todo.settings, entries)
    did = [one for one in entries if one.verb == "did"]
    new = any(one.what == "strings changed" or (one.what, one.way) == ("step", "strings on") for one in did)
    base, gap = problem.wanted if new else problem.traits, problem.targets.gap
    for one in did:
        noted = moved(base, noted, one, 0.0 if gap is None else gap)
    noted = replace(noted, unstretched=np.full(base.string_count, np.nan))
    traits = vary(base, problem.known, _drawn(base, problem.known, noted, samples, rng, new), new)
    settings = as_batch(noted, samples + 1)
    low = np.array(np.broadcast_to(tilt_limits(traits, replace(settings, prop=_none(settings)))[0], samples + 1))
    when = f"as noted up to #{entries[-1].number} of the journal" if did else f"as found, strings {job.found.state}"
    told = "Not every string was heard since, so pitches with the pegs left alone are not known."
    return Believed(
        job, when, False, base, noted, traits, settings, low, np.full(base.string_count, np.nan), problem.targets.hertz,
        _gap_wanted(problem, None if todo is None else todo.gap), job.want.strings if new else job.found.strings,
        (told, *found.remarks),
    )  # fmt: skip


def _none(settings: Settings) -> Array:
    return np.full_like(settings.prop, np.nan)


def _freed(one: Believed) -> Believed:
    """Without wedge and block, which would hold the plate."""
    remarks = one.remarks
    for name, field in (("wedge", "prop"), ("block", "block")):
        if np.isfinite(getattr(one.noted, field)).any():
            remarks = (*remarks, f"The {name} is taken to be out.")
    nothing = array(np.nan)
    settings = replace(one.settings, prop=_none(one.settings), block=_none(one.settings))
    return replace(one, remarks=remarks, settings=settings, noted=replace(one.noted, prop=nothing, block=nothing))
