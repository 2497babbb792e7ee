"""From a recording to notes, to strings and frets, and into the journal of a job."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from setwright.errors import InputError, QuestionableError

if TYPE_CHECKING:
    from setwright.instrument.jobfile import Job
    from setwright.listening.notes import Note
    from setwright.listening.onsets import Candidate
    from setwright.listening.sound import Sound
    from setwright.listening.takes import Heard, Kind
    from setwright.records.entries import Entry

Progress = Callable[[float], None]

ALL: tuple[Kind, ...] = ("open", "harmonic", "fretted")
BLOCK = 10.0  # s
LOOKING = 0.1  # share of the work that looking through the file is (measured)
LONGEST_NAME = 120  # characters of a recording's name kept in the journal
_LINE = re.compile(r'["\s]|[^ -~\u00a1-\uffff]')


@dataclass(frozen=True)
class Hearing:
    """A recording as heard. seconds: its length. rate: [Hz]. channel: the one used, from 1, of `channels`. notes: in
    its order, those left out too. missing: what would complete the take. tuning: (S) nominal open strings [Hz], empty
    when nothing was said of the instrument. remarks: what should be told."""

    file: str
    sha256: str
    seconds: float
    rate: float
    channel: int
    channels: int
    notes: tuple[Heard, ...]
    missing: tuple[str, ...] = ()
    tuning: tuple[float, ...] = ()
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True)
class Written:
    """What went into a journal. path: its. entries: kept. left: notes with a pitch that were not, being in doubt."""

    path: Path
    entries: tuple[Entry, ...]
    left: int


def hear(
    path: str,
    tuning: Sequence[float] = (),
    frets: int = 22,
    played: Sequence[Kind] = ALL,
    progress: Progress | None = None,
) -> Hearing:
    """Measure every note of a recording and, where the tuning is given, say which string and fret it was.

    Args:
        path: of a sound file.
        tuning: (S) open strings from string 1 [Hz]; empty: notes are measured only.
        frets: number of frets [1].
        played: kinds of notes there may be.
        progress: told the share of the work done, 0 to 1.
    Returns: the hearing.
    Raises: SoundError, InputError: one sentence.
    """
    from setwright.listening.onsets import notes_of
    from setwright.listening.sound import blocks_of, look_through
    from setwright.listening.takes import Heard, Take, assign

    tell = progress or (lambda _: None)
    recording = look_through(path, lambda share: tell(LOOKING * share))
    notes = []
    for candidate, sound in notes_of(blocks_of(path, BLOCK, recording)):
        notes.append(_measured(candidate, sound))
        tell(LOOKING + (1.0 - LOOKING) * min(candidate.end / recording.seconds, 1.0))
    if tuning:
        take = assign(notes, tuning, frets, played)
    else:
        take = Take(tuple(Heard(one, None, None, None) for one in notes))
    tell(1.0)
    remarks = () if notes else ("No note was heard; check the input it was recorded from.",)
    return Hearing(
        recording.path.name, _hash(recording.path), recording.seconds, recording.rate, recording.channel + 1,
        recording.channels, take.heard, take.missing, tuple(tuning), remarks,
    )  # fmt: skip


def hear_job(job: Job, path: str, played: Sequence[Kind] = ALL, progress: Progress | None = None) -> Hearing:
    """Hear a take of a job's instrument, tuned as wanted or as found, whichever the take fits.

    Args:
        job: whose tuning and frets are meant.
        path: of a sound file.
        played: kinds of notes there may be.
        progress: told the share of the work done, 0 to 1.
    Returns: the hearing.
    Raises: SoundError, InputError: one sentence.
    """
    from setwright.listening.takes import assign

    wanted = [amount.si for amount in job.want.tuning]
    found = [amount.si for amount in job.found.tuning]
    heard = hear(path, wanted, job.instrument.frets, played, progress)
    if found == wanted:
        return heard
    other = assign([one.note for one in heard.notes], found, job.instrument.frets, played)
    if _placed(other.heard) <= _placed(heard.notes):
        return heard
    remark = "The strings stand near the tuning found, not near the one wanted; strings and frets go by that."
    return replace(
        heard, notes=other.heard, missing=other.missing, tuning=tuple(found), remarks=(*heard.remarks, remark)
    )


def write_down(
    hearing: Hearing, job: str, journal: str | None = None, who: str = "", when: datetime | None = None
) -> Written:
    """Put the readings of a hearing into the journal of a job, each with its recording; those in doubt stay out.

    All are checked before the first is written.

    Args:
        hearing: from `hear_job`.
        job: path of the job file.
        journal: path of the journal, None by the rule.
        who: recorded it; "" when not said.
        when: the time, None for now, by the clock of the bench.
    Returns: what was written.
    Raises: InputError for a recording that is in the journal already; FileFormatError as `open_journal`.
    """
    from setwright.bench.journals import open_journal
    from setwright.records.entries import live
    from setwright.records.journal import append

    path, kept = open_journal(job, journal)
    there = [one.number for one in live(kept.entries) if one.sha256 == hearing.sha256]
    if there:
        raise InputError(
            f"{hearing.file} is in {path.name} already, first as #{there[0]}; strike its readings before it is heard "
            "anew, or leave --job out."
        )
    clock = when or datetime.now()
    sure = [one for one in hearing.notes if one.string is not None and not one.doubt]
    entries = [_entry(hearing, one, clock, who) for one in sure]
    done = tuple(append(path, one).entry for one in entries)
    return Written(path, done, sum(1 for one in hearing.notes if one.note.refused is None) - len(sure))


def plain(heard: Heard) -> dict[str, Any]:
    """A note as JSON can hold it.

    Args:
        heard: of a take.
    Returns: its fields with their units in their names; None where not known.
    """
    note = heard.note
    return {
        "start_s": note.start,
        "end_s": note.end,
        "used_s": list(note.used),
        "first_partial_hz": note.first_partial,
        "standard_uncertainty_cents": note.first_partial_sd,
        "fundamental_hz": note.fundamental,
        "fundamental_standard_uncertainty_cents": note.fundamental_sd,
        "inharmonicity": note.inharmonicity,
        "inharmonicity_standard_uncertainty": note.inharmonicity_sd,
        "glide_cents": note.glide,
        "glide_standard_uncertainty_cents": note.glide_sd,
        "glide_time_s": note.glide_time,
        "settled": note.settled,
        "beating_cents": note.beating,
        "decay_s": note.decay,
        "level_db": note.level,
        "clipped_share": note.clipped,
        "hum_below_db": note.hum,
        "noise_below_db": note.noise,
        "string": heard.string,
        "fret": heard.fret,
        "kind": heard.kind,
        "doubt": heard.doubt or None,
        "refused": note.refused,
    }


def _measured(candidate: Candidate, sound: Sound) -> Note:
    """The note of a candidate; one that is doubtful is not measured."""
    import numpy as np

    from setwright.listening.notes import Note, measure

    if not candidate.doubt:
        return replace(measure(sound), start=candidate.start, end=candidate.end)
    peak = float(np.abs(sound.samples).max(initial=0.0))
    level = float(20.0 * np.log10(max(peak, 1e-10)))
    return Note(candidate.start, candidate.end, candidate.part, level=level, refused=candidate.doubt)


def _placed(notes: Sequence[Heard]) -> int:
    """How many notes are open ones or at fret 12: a take is mostly made of these."""
    return sum(1 for one in notes if one.fret in (0, 12))


def _entry(hearing: Hearing, heard: Heard, when: datetime, who: str) -> Entry:
    """A note as an entry of the journal."""
    from setwright.records.journal_text import parse

    at = f" at fret {heard.fret}" if heard.fret else ""
    harmonic = " harmonic" if heard.kind == "harmonic" else ""
    name = _LINE.sub("_", hearing.file)[-LONGEST_NAME:]
    sd = max(heard.note.first_partial_sd or 0.0, 0.001)
    words = (
        f"pitch string {heard.string}{harmonic}{at} = {heard.note.first_partial:.4f} Hz ± {sd:.3f} c, "
        f'recorded "{name}" sha256 {hearing.sha256}'
    )
    try:
        return parse("read", words, when, who)
    except QuestionableError:
        return parse("read", words, when, who, sure=True)


def _hash(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
