"""What a visit has learned of its instrument, for the next one to begin from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from setwright.bench.heard_notes import with_heard
from setwright.bench.next_step import start_of
from setwright.bench.plans import problem_from
from setwright.bench.replay import replayed
from setwright.errors import SetwrightError
from setwright.instrument.belief import Belief
from setwright.instrument.carried import believed
from setwright.instrument.jobfile import Job
from setwright.planning.found import settle_found
from setwright.planning.hardware import hardware
from setwright.records.entries import Entry, live


def learned_at_end(job: Job, entries: Sequence[Entry]) -> Belief | None:
    """What the readings of a whole visit have told of its instrument.

    Args:
        job: of the visit.
        entries: of its journal.
    Returns: the belief, None where the balance was never read, or its readings cannot be explained.
    """
    if job.want.bridge != "floating":
        return None
    done = live(entries)
    try:
        todo = hardware(settle_found(problem_from(with_heard(job, done)[0])))
        course = replayed(start_of(job, todo, done), done).course
        if course is None:
            return None
        first = problem_from(replace(job, learned=None))
    except SetwrightError:
        return None  # a visit is handed back also where its readings contradict each other
    picture = course.picture
    hanging = round(float(picture.settings.springs.sum()))
    return believed(first.traits, first.known, picture.model.traits, picture.known(), hanging)
