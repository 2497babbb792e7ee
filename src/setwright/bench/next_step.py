"""The one next step of a job, from its file and its journal: hardware first, then the balance or the strings."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np

from setwright.bench.heard_notes import with_heard
from setwright.bench.journals import Source, job_from, open_journal
from setwright.bench.kept_work import Keeping, Work, digest, name_of, replayed_from
from setwright.bench.progress import applied, work_left
from setwright.bench.replay import Balance, Start, begun
from setwright.frozen import frozen, replace
from setwright.instrument.jobfile import Job
from setwright.instrument.prior import Prior
from setwright.instrument.settings import Fewest, Settings
from setwright.instrument.traits import Array, array
from setwright.metrology.gauges import gauge_named
from setwright.metrology.reading import combined_uncertainty, gauge_uncertainty
from setwright.physics.pitch import CENTS_PER_LOG
from setwright.planning.course import HEARD, Course, Goal
from setwright.planning.guide import NEAR, Advice, advised
from setwright.planning.outlook import View, view
from setwright.planning.plan import Step
from setwright.planning.targets import Problem
from setwright.planning.to_do import Hardware
from setwright.planning.tracking import KNIFE
from setwright.planning.weighing import is_off, other_way, two_ways
from setwright.planning.worth import Worth, most_telling
from setwright.records.entries import Entry, live
from setwright.records.worth import USUAL

Kind = Literal["hardware", "balance", "strings", "done"]


@frozen
class Standing:
    """Where strings and plate are believed to stand; sd: standard uncertainties."""

    cents: tuple[float, ...]  # from the wanted pitch, from the thinnest string
    cents_sd: tuple[float, ...]
    gap: float  # m
    gap_sd: float
    chance: float  # of everything being inside


@frozen
class Next:
    """One next step. count, of: which of the hardware steps it is. entries: live ones of the journal that were heeded.

    tunings: strings tuned since the balance began. expected: tunings still to come, None where not counted yet.
    """

    kind: Kind
    step: Step | None = None
    count: int = 0
    of: int = 0
    advice: Advice | None = None
    wanted: tuple[float, ...] = ()  # Hz, from the thinnest string
    gauges: bool = False  # with a hearing, whether rear gap and claw distance are to be read too
    standing: Standing | None = None
    tunings: int = 0
    claw_settings: int = 0
    expected: int | None = None
    worth: Worth | None = None
    entries: int = 0
    remarks: tuple[str, ...] = ()
    other_way: Fewest | None = None  # what the way may still be chosen for instead


def next_of(job: Source, journal: str | None = None, keeping: Keeping | None = None) -> tuple[Job, Next]:
    """The next step of a job.

    Args:
        job: path of the job file, or a visit in a shop.
        journal: path of the journal of a job file, None by the rule.
        keeping: where work on the job is kept; it makes the answer quicker, never another one.
    Returns: the job and the step.
    Raises: FileFormatError, InputError, QuestionableError for files that cannot be used; ContradictionError where the
        found readings cannot all be true; NoPlanError where nothing will do.
    """
    read = job_from(job)
    _, found = open_journal(job, journal, read)
    said, _ = next_seen(read, live(found.entries), keeping, name_of(job, journal))
    return read, replace(said, remarks=(*found.remarks, *said.remarks))


def next_for(job: Job, entries: Sequence[Entry]) -> Next:
    """The next step of a job.

    Args:
        job: as read from its file.
        entries: live ones of its journal, in their order.
    Returns: the step.
    Raises: as `next_of`.
    """
    return next_seen(job, entries)[0]


def next_seen(
    job: Job, entries: Sequence[Entry], keeping: Keeping | None = None, name: str = ""
) -> tuple[Next, Course | None]:
    """The next step of a job, and where a floating balance stands that it was decided by.

    Args:
        job: as read from its file.
        entries: live ones of its journal, in their order.
        keeping: where work on the job is kept.
        name: it is kept by, from `name_of`.
    Returns: the step; the course, None before the balance, before every string was heard, and where none floats.
    Raises: as `next_of`.
    """
    job, said = with_heard(job, entries)
    step, course = _next(job, entries, keeping, name)
    return replace(step, remarks=(*said, *step.remarks)) if said and step.kind == "hardware" else step, course


def _next(job: Job, entries: Sequence[Entry], keeping: Keeping | None, name: str) -> tuple[Next, Course | None]:
    """The same of a job whose octaves are those that were heard."""
    kept = hardware_of(job, keeping, name)
    todo = kept.hardware
    wanted = tuple(float(one) for one in todo.problem.targets.hertz)
    work = work_left(todo.problem, todo.steps, entries)
    if work is not None:
        return Next("hardware", work.step, work.count, len(todo.steps), wanted=wanted, entries=len(entries)), None
    if todo.problem.targets.mode == "floating":
        balance = balance_of(job, kept, entries, keeping, name)
        return replace(balanced(balance), wanted=wanted, entries=len(entries)), balance.course
    return replace(_strings(todo.problem, entries), wanted=wanted, entries=len(entries)), None


def hardware_of(job: Job, keeping: Keeping | None = None, name: str = "") -> Work:
    """The job's hardware, with how far its journal was replayed: as kept, where it is of this very job.

    Args:
        job: as read, its octaves those that were heard.
        keeping: where work on the job is kept.
        name: it is kept by, from `name_of`.
    Returns: the work.
    Raises: ContradictionError where the found readings cannot all be true; NoPlanError where nothing will do.
    """
    if keeping is None:
        return Work(b"", _searched(job))
    of, kept = digest(job), keeping.get(name)
    if kept is None or kept.job != of:
        kept = Work(of, _searched(job))
        keeping.put(name, kept)
    return kept


def balance_of(job: Job, kept: Work, entries: Sequence[Entry], keeping: Keeping | None, name: str) -> Balance:
    """The floating balance after a journal, from where it was left last time if that is on its way.

    Args:
        job: as read, its octaves those that were heard.
        kept: its hardware, of `hardware_of`.
        entries: live ones of the journal, in their order.
        keeping: where work on the job is kept.
        name: it is kept by, from `name_of`.
    Returns: the balance.
    """
    on = replayed_from(kept.replayed, begun(start_of(job, kept.hardware, entries)), entries)
    if keeping is not None and on is not kept.replayed:
        keeping.put(name, replace(kept, replayed=on))
    return on.whole


def _searched(job: Job) -> Hardware:
    from setwright.bench.hardware_bands import with_bands
    from setwright.bench.plans import problem_from  # half of planning, which kept work does without
    from setwright.planning.found import settle_found
    from setwright.planning.hardware import hardware

    return with_bands(hardware(settle_found(problem_from(job))))


def start_of(job: Job, todo: Hardware, entries: Sequence[Entry]) -> Start:
    """What a floating balance starts from: the most likely instrument as it was found, and what is wanted.

    Args:
        job: as read from its file.
        todo: its hardware.
        entries: live ones of the journal; steps that are only said to be done move the settings as planned.
    Returns: the start.
    """
    problem, t = todo.problem, todo.problem.targets
    settings = replace(applied(problem.found.settings, todo.settings, entries), block=array(np.nan))
    goal = Goal(
        t.hertz, t.pitch_tolerance, todo.gap, t.gap_tolerance, t.attitude, problem.limits.peak, job.want.fewest
    )  # fmt: skip
    knife = max(KNIFE, float(problem.wanted.bridge.knife_friction))
    known = job.found.claw_distance is not None
    return Start(problem.wanted, touching_wanted(problem), _pegs_open(settings), goal, knife, known)


def _pegs_open(settings: Settings) -> Settings:
    return replace(settings, unstretched=np.full(settings.unstretched.shape, np.nan))


def touching_wanted(problem: Problem) -> Prior:
    """What is known of the instrument with the wanted strings on, as parts of one set.

    Args:
        problem: the job; parts of the wanted set are named "wanted.*".
    Returns: the Gaussian over the parts that touch it, "wanted.*" renamed to "strings.*".
    """
    known = problem.known
    another = any(part.path.startswith("wanted.") for part in known.parts)
    keep = [i for i, part in enumerate(known.parts) if not (another and part.path.startswith("strings."))]
    parts = tuple(
        replace(
            part,
            name=part.name.replace("wanted.", "strings.", 1),
            path=part.path.replace("wanted.", "strings.", 1),
        )
        for part in (known.parts[i] for i in keep)
    )
    return Prior(parts, known.mean[keep], known.covariance[np.ix_(keep, keep)])


def balanced(balance: Balance) -> Next:
    """The next step of a floating balance.

    Args:
        balance: as far as the journal goes.
    Returns: the step, with where everything stands.
    """
    course = balance.course
    if course is None:
        strings = tuple(int(i) for i in np.flatnonzero(np.isnan(balance.heard)))
        why = "nothing can be worked out before every string has been heard"
        return Next("balance", advice=Advice("read", why, strings=strings), gauges=True, remarks=balance.left_out)
    seen = view(course)
    advice, standing = advised(seen), _standing(seen)
    return Next(
        "done" if advice.do == "done" else "balance",
        advice=advice,
        gauges=(course.free or is_off(course)) and not advice.claw,
        standing=standing,
        tunings=course.tunings,
        claw_settings=course.claws,
        expected=0 if advice.do == "done" else int(advice.left) or _to_come(course, standing),
        worth=None if advice.do == "done" else most_telling(seen, *usual_noise()),
        remarks=(*balance.left_out, *_doubted(course), *two_ways(course)),
        other_way=other_way(course),
    )


def _standing(seen: View) -> Standing:
    now = seen.now
    cents, each = (tuple(float(v) for v in row) for row in (now.cents, now.stated[:-1]))
    return Standing(cents, each, now.gap, float(now.stated[-1]), now.chance)


def _to_come(course: Course, standing: Standing) -> int:
    """Strings still to be set: on the wedge those whose pegs are not near their end, else those outside."""
    if np.isnan(course.picture.settings.prop):
        return sum(abs(one) > course.goal.pitch_tolerance for one in standing.cents)
    return int(np.count_nonzero(np.abs(View(course).alone[1]) > NEAR))


def _doubted(course: Course) -> list[str]:
    """Entries that do not fit all the rest."""
    return [
        f"#{one.entry} does not fit all the rest and is set aside; read it again, and strike it if it was wrong"
        if one.entry
        else "a turn of the claw does not fit all the rest; read the claw distance"
        for one in course.picture.doubts
    ]


def usual_noise() -> tuple[float, float, float]:
    """Standard uncertainties of one reading by the usual gauges: cents, m of a rear gap, m of a claw distance."""
    pitch, gap, claw = (gauge_named(USUAL[name]) for name in ("pitch", "rear gap", "claw distance"))
    return combined_uncertainty(gauge_uncertainty(pitch), HEARD), gauge_uncertainty(gap), gauge_uncertainty(claw)


def _strings(problem: Problem, entries: Sequence[Entry]) -> Next:
    """Without a floating plate: every string to pitch, the thickest first."""
    off = _last_heard(problem, entries)
    tuned = sum(one.what == "tune" for one in entries)
    for string in reversed(range(len(off))):
        if not abs(off[string]) <= problem.targets.pitch_tolerance:
            hertz = float(problem.targets.hertz[string])
            why = "it has not been heard since" if np.isnan(off[string]) else "it was heard outside its tolerance"
            left = int(np.count_nonzero(~(np.abs(off) <= problem.targets.pitch_tolerance)))
            return Next("strings", advice=Advice("tune", why, string, hertz), tunings=tuned, expected=left)
    return Next("done", advice=Advice("done", "every string was heard at pitch"), tunings=tuned, expected=0)


def _last_heard(problem: Problem, entries: Sequence[Entry]) -> Array:
    """(S) cents off by the last hearing of every open string since hardware was last turned; nan where none was."""
    off = np.full(len(problem.targets.hertz), np.nan)
    for one in entries:
        if one.verb == "did" and one.what not in ("tune", "bar", "attitude", "nut"):
            off[:] = np.nan
        open_pitch = one.what == "pitch" and one.place.fret is None and not one.place.harmonic
        value = (one.heard or one.value) if one.what == "tune" else one.value if open_pitch else None
        if value is not None and one.place.string is not None and "slack" not in one.said:
            i = one.place.string - 1
            wanted = problem.targets.hertz[i]
            off[i] = value.si if value.kind == "cents" else CENTS_PER_LOG * float(np.log(value.si / wanted))
    return off
