"""A take of a job's instrument with all that is told of it: notes, cents map and picture."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from setwright.bench.heard_notes import HeardMap, heard_map_of
from setwright.bench.hearing import ALL, Hearing, hear_job, not_heard_yet
from setwright.bench.journals import Source, job_from, open_journal
from setwright.bench.plans import reference_of
from setwright.frozen import frozen
from setwright.records.entries import live

if TYPE_CHECKING:
    from setwright.listening.takes import Kind


@frozen
class HeardTake:
    """A take as heard. heard: notes against their open strings. drawing: SVG, "" where there is no note. reference:
    pitch of A4 [Hz]."""

    hearing: Hearing
    heard: HeardMap
    drawing: str
    reference: float


def hear_take(
    job: Source, path: str, played: Sequence[Kind] = ALL, progress: Callable[[float], None] | None = None
) -> HeardTake:
    """Hear a recording of a job's instrument.

    Args:
        job: path of the job file, or a visit.
        path: of a sound file.
        played: kinds of notes there may be.
        progress: told the share of the work done, 0 to 1; what it raises ends the work.
    Returns: the take; nothing is written.
    Raises: SoundError, InputError, FileFormatError: one sentence.
    """
    from setwright.bench.heard_picture import Watched, picture

    read = job_from(job)
    not_heard_yet(path, job)
    entries = live(open_journal(job, None, read)[1].entries)
    reference = reference_of([one.si for one in read.want.tuning])
    watched = Watched()
    hearing = hear_job(read, path, played, progress, entries, watched.look)
    drawing = picture(hearing, watched, reference, read.instrument.name) if hearing.notes else ""
    return HeardTake(hearing, heard_map_of(read, hearing.notes, entries), drawing, reference)
