"""What a job's journal has told of its instrument, and what would tell most next, with gauges and by sound alone."""

from __future__ import annotations

from setwright.bench.heard_notes import with_heard
from setwright.bench.journals import Source, job_from, open_journal
from setwright.bench.next_step import start_of, usual_noise
from setwright.bench.plans import begins_with, problem_from
from setwright.bench.progress import work_left
from setwright.bench.replay import Balance, replayed
from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.instrument.jobfile import Job
from setwright.planning.by_sound import Trial, next_trial, obstacle
from setwright.planning.found import settle_found
from setwright.planning.hardware import hardware
from setwright.planning.learned import Learned, learned
from setwright.planning.outlook import view
from setwright.planning.worth import Worth, most_telling
from setwright.records.entries import live


@frozen
class Report:
    """What was learned. entries: live ones of the journal that were heeded."""

    learned: Learned
    worth: Worth | None  # the reading that would narrow the claw's place most
    by_sound: Trial | None  # the experiment without a gauge that would tell most
    silent: str  # why there is none, "" where there is one
    entries: int = 0
    remarks: tuple[str, ...] = ()


def learned_of(job: Source, journal: str | None = None) -> tuple[Job, Report]:
    """What a job's journal has told of its instrument.

    Args:
        job: path of the job file, or a visit in a shop.
        journal: path of the journal of a job file, None by the rule.
    Returns: the job and what was learned.
    Raises: FileFormatError, InputError, QuestionableError for files that cannot be used, or a journal that does not
        reach the balance yet; ContradictionError where the found readings cannot all be true; NoPlanError where nothing
        will do.
    """
    read = job_from(job)
    _, found = open_journal(job, journal, read)
    entries = live(found.entries)
    todo = hardware(settle_found(problem_from(with_heard(read, entries)[0])))
    if todo.problem.targets.mode != "floating":
        raise InputError(
            f"{job}: the bridge is wanted {todo.problem.targets.mode}; what is learned here is the balance of a plate "
            "that is to float."
        )
    if work_left(todo.problem, todo.steps, entries) is not None:
        raise InputError(
            f"{job}: by its journal screws, shims or springs are still to be set, and nothing read before that tells "
            "of the balance; do what setwright next says first."
        )
    balance = replayed(start_of(read, todo, entries), entries)
    report = reported(balance, str(job))
    return read, Report(
        report.learned,
        report.worth,
        report.by_sound,
        report.silent,
        len(entries),
        (*found.remarks, *begins_with(read), *report.remarks),
    )


def reported(balance: Balance, job: str = "the job") -> Report:
    """What the readings of a floating balance have told.

    Args:
        balance: as far as the journal goes.
        job: named where there is nothing yet.
    Returns: the report.
    Raises: InputError where not every string has been heard yet.
    """
    course = balance.course
    if course is None:
        raise InputError(
            f"{job}: nothing has been learned yet, since not every string has been heard since the strings were last "
            "slack; hear them all and put that into the journal."
        )
    noise = usual_noise()
    trial = next_trial(course, noise[0])
    silent = "" if trial is not None else obstacle(course) or "no experiment within the limits tells much more"
    return Report(learned(course), most_telling(view(course), *noise), trial, silent, remarks=balance.left_out)
