"""From a recording to notes, to strings and frets, and into the journal of a job."""

from __future__ import annotations

import hashlib
import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from setwright.errors import InputError, QuestionableError, SetwrightError

if TYPE_CHECKING:
    from setwright.bench.journals import Source
    from setwright.instrument.jobfile import Job
    from setwright.listening.notes import Note
    from setwright.listening.onsets import Candidate
    from setwright.listening.sound import Sound
    from setwright.listening.takes import Heard, Kind
    from setwright.records.entries import Entry

Progress = Callable[[float], None]
Look = Callable[["Note", "Sound"], None]

ALL: tuple[Kind, ...] = ("open", "harmonic", "fretted")
BLOCK = 10.0  # s
LOOKING = 0.1  # share of the work that looking through the file is (measured)
LOW = 100.0  # Hz, open strings below it are looked for by name
WITHIN = 70.0  # cents, how near a multiple of a low open string a pitch must be to be doubted
ODD = 0.25  # share of partials that are no multiple of 2 or 3, from which on the low string it was; all there: 1 in 3
WANDER = 1.0  # cents, an open string plucked again may stand so far off by itself; common practice, no source
RUNNING = 30.0  # cents, within which two notes one after another are the same string again
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
    """What went into a journal. path: its. entries: kept. left: notes with a pitch that were not, being in doubt, or
    heard before a peg was turned. turned: strings whose peg was turned during the take."""

    path: Path
    entries: tuple[Entry, ...]
    left: int
    turned: tuple[int, ...] = ()


def hear(
    path: str,
    tuning: Sequence[float] = (),
    frets: int = 22,
    played: Sequence[Kind] = ALL,
    progress: Progress | None = None,
    look: Look | None = None,
    order: Sequence[int] = (),
) -> Hearing:
    """Measure every note of a recording and, where the tuning is given, say which string and fret it was.

    Args:
        path: of a sound file.
        tuning: (S) open strings from string 1 [Hz]; empty: notes are measured only.
        frets: number of frets [1].
        played: kinds of notes there may be.
        progress: told the share of the work done, 0 to 1.
        look: given every note with the sound it was measured on, in their order.
        order: strings from 1, where they were played open one after another at whatever pitch.
    Returns: the hearing.
    Raises: SoundError, InputError: one sentence.
    """
    from setwright.listening.leaks import odd_left
    from setwright.listening.onsets import notes_of
    from setwright.listening.sound import blocks_of, look_through
    from setwright.listening.takes import Heard, Take, assign

    _strings_there(order, len(tuning))
    tell = progress or (lambda _: None)
    recording = look_through(path, lambda share: tell(LOOKING * share))
    notes: list[Note] = []
    left: list[bool | None] = []
    for candidate, sound in notes_of(blocks_of(path, BLOCK, recording)):
        notes.append(_measured(candidate, sound, tuning))
        left.append(odd_left(sound, notes[-1]))
        if look is not None:
            look(notes[-1], sound)
        tell(LOOKING + (1.0 - LOOKING) * min(candidate.end / recording.seconds, 1.0))
    if order:
        take = Take(in_order(notes, order, len(tuning)))
    elif tuning:
        take = assign(notes, tuning, frets, played, left)
    else:
        take = Take(tuple(Heard(one, None, None, None) for one in notes))
    tell(1.0)
    remarks = () if notes else ("No note was heard; check the input it was recorded from.",)
    return Hearing(
        recording.path.name, _hash(recording.path), recording.seconds, recording.rate, recording.channel + 1,
        recording.channels, take.heard, take.missing, tuple(tuning), remarks,
    )  # fmt: skip


def hear_job(
    job: Job,
    path: str,
    played: Sequence[Kind] = ALL,
    progress: Progress | None = None,
    entries: Sequence[Entry] = (),
    look: Look | None = None,
    order: Sequence[int] = (),
) -> Hearing:
    """Hear a take of a job's instrument, tuned as wanted, as found or as it is believed to stand, as the take fits.

    Args:
        job: whose tuning and frets are meant.
        path: of a sound file.
        played: kinds of notes there may be.
        progress: told the share of the work done, 0 to 1.
        entries: live ones of its journal; they tell where the strings stand in the middle of the work.
        look: given every note with the sound it was measured on, in their order.
        order: strings from 1, where they were played open one after another at whatever pitch.
    Returns: the hearing.
    Raises: SoundError, InputError: one sentence.
    """
    from setwright.listening.takes import assign

    wanted = [amount.si for amount in job.want.tuning]
    best = hear(path, wanted, job.instrument.frets, played, progress, look, order)
    if order:
        return best
    plain, left = [one.note for one in best.notes], [one.left for one in best.notes]
    for name, tuning in _other_tunings(job, entries):
        if list(tuning) == wanted:
            continue
        other = assign(plain, tuning, job.instrument.frets, played, left)
        if _placed(other.heard) > _placed(best.notes):
            remark = f"The strings stand near {name}, not near the pitches wanted; strings and frets go by that."
            best = replace(
                best, notes=other.heard, missing=other.missing, tuning=tuple(tuning), remarks=(remark,)
            )  # fmt: skip
    return best


def in_order(notes: Sequence[Note], order: Sequence[int], strings: int) -> tuple[Heard, ...]:
    """Open strings that were played in a known order, each once or several times running.

    Args:
        notes: in the order of the take, those left out too.
        order: strings from 1.
        strings: how many there are [1].
    Returns: every note with its string.
    Raises: InputError for a string there is not, or where as many different notes as strings were not heard.
    """
    from setwright.listening.takes import Heard

    _strings_there(order, strings)
    group, last = -1, 0.0
    firsts: list[str] = []
    out: list[Heard] = []
    for note in notes:
        hertz = note.first_partial
        if note.refused is not None or hertz is None:
            out.append(Heard(note, None, None, None, note.refused or "no pitch was found"))
            continue
        if abs(1200.0 * math.log2(hertz / last)) > RUNNING if last else True:
            group += 1
            firsts.append(f"{hertz:.1f} Hz at {note.start:.1f} s")
        last = hertz
        out.append(Heard(note, order[group] if group < len(order) else None, 0, "open"))
    if group + 1 != len(order):
        listed = f": {', '.join(firsts)}" if firsts else ""
        raise InputError(
            f"--order names {len(order)} string{'' if len(order) == 1 else 's'}, but {group + 1} different notes one "
            f"after another were heard{listed}; name the strings that were played, or cut away the rest."
        )
    return tuple(out)


def _strings_there(order: Sequence[int], strings: int) -> None:
    wrong = next((one for one in order if not 1 <= one <= strings), None)
    if wrong is not None:
        raise InputError(f"--order: there is no string {wrong}; they are counted from 1, the thinnest, to {strings}.")


def _other_tunings(job: Job, entries: Sequence[Entry]) -> list[tuple[str, list[float]]]:
    """Where the strings may stand but at the wanted pitches: as found, and where the journal has brought them."""
    found = [amount.si for amount in job.found.tuning]
    out = [("the tuning found", found)]
    if any(one.what in ("pitch", "tune") for one in entries):
        believed = _believed(job, entries)
        out += [("where the journal has them", believed)] if believed else []
    return out


def _believed(job: Job, entries: Sequence[Entry]) -> list[float]:
    """Where every open string is believed to stand by the journal [Hz]; [] where it cannot be told."""
    import numpy as np

    from setwright.bench.heard_notes import with_heard
    from setwright.bench.next_step import start_of
    from setwright.bench.plans import problem_from
    from setwright.bench.replay import replayed
    from setwright.physics.pitch import CENTS_PER_LOG
    from setwright.planning.found import settle_found
    from setwright.planning.hardware import hardware
    from setwright.planning.outlook import view

    last = {one.place.string: one for one in entries if _open_pitch(one)}
    found = [amount.si for amount in job.found.tuning]
    try:
        todo = hardware(settle_found(problem_from(with_heard(job, entries)[0])))
        if todo.problem.targets.mode == "floating":
            course = replayed(start_of(job, todo, entries), entries).course
            if course is not None:
                return list(course.goal.hertz * np.exp(np.array(view(course).now.cents) / CENTS_PER_LOG))
    except SetwrightError:  # what is wrong with the job is told by the commands that plan it
        return []
    values = [(last[s].heard or last[s].value) if s in last else None for s in range(1, len(found) + 1)]
    return [hz if one is None or one.kind != "pitch" else one.si for one, hz in zip(values, found, strict=True)]


def _open_pitch(one: Entry) -> bool:
    """Whether an entry says at what pitch an open string stands."""
    return one.what in ("pitch", "tune") and one.place.fret is None and not one.place.harmonic


def not_heard_yet(path: str, job: Source, journal: str | None = None) -> None:
    """Refuse a recording that is in the journal of a job already, before it is listened to.

    Args:
        path: of a sound file; one that cannot be read is left to who reads it.
        job: path of the job file, or a visit.
        journal: path of the journal of a job file, None by the rule.
    Raises: InputError for a recording that is there; FileFormatError as `open_journal`.
    """
    from setwright.bench.journals import open_journal

    where, kept = open_journal(job, journal)
    if kept.entries and Path(path).is_file():
        _refuse_twice(Path(path).name, _hash(Path(path)), where, kept.entries)


def _refuse_twice(file: str, sha256: str, path: Path, entries: Sequence[Entry]) -> None:
    """Refuse a recording that live entries were heard in."""
    from setwright.records.entries import live

    there = [one.number for one in live(entries) if one.sha256 == sha256]
    if there:
        raise InputError(
            f"{file} is in {path.name} already, first as #{there[0]}; strike its readings before it is heard "
            "anew, or leave --job out."
        )


def write_down(
    hearing: Hearing,
    job: Source,
    journal: str | None = None,
    who: str = "",
    when: datetime | None = None,
    recording: str | None = None,
) -> Written:
    """Put the readings of a hearing into the journal of a job, each with its recording; those in doubt stay out.

    All are checked before the first is written. Into a visit all are written or none, and the recording is kept there.

    Args:
        hearing: from `hear_job`.
        job: path of the job file, or a visit.
        journal: path of the journal of a job file, None by the rule.
        who: recorded it; "" when not said.
        when: the time, None for now, by the clock of the bench.
        recording: path of the recording, to be kept with a visit; None where it is not at hand.
    Returns: what was written.
    Raises: InputError for a recording that is in the journal already, or is another one by now; FileFormatError as
        `open_journal`.
    """
    from setwright.bench.journals import open_journal
    from setwright.records.journal import append

    path, kept = open_journal(job, journal)
    _refuse_twice(hearing.file, hearing.sha256, path, kept.entries)
    entries = entries_of(hearing, when or datetime.now(), who)
    if isinstance(job, str):
        done = tuple(append(path, one).entry for one in entries)
    else:
        from setwright.bench.attachments import append_heard

        done = append_heard(job, entries, hearing.sha256, recording, who)
    left = sum(1 for one in hearing.notes if one.note.refused is None) - len(entries)
    return Written(path, done, left, tuple(sorted(_pegs_turned(hearing.notes))))


def entries_of(hearing: Hearing, when: datetime, who: str = "") -> tuple[Entry, ...]:
    """The readings of a hearing as entries of a journal.

    Those in doubt stay out, and so does what was heard of a string before its peg was turned.

    Args:
        hearing: whose notes have strings and frets.
        when: the time of the entries.
        who: recorded it; "" when not said.
    Returns: entries, their numbers 0.
    Raises: InputError where a name or a pitch is none.
    """
    since = _pegs_turned(hearing.notes)
    sure = [
        one
        for i, one in enumerate(hearing.notes)
        if one.string is not None and not one.doubt and i >= since.get(one.string, 0)
    ]
    return tuple(_entry(hearing, one, when, who) for one in sure)


def _pegs_turned(notes: Sequence[Heard]) -> dict[int, int]:
    """Strings whose open notes say that their peg was turned during the take: where in it the last state begins."""
    opens: dict[int, list[tuple[int, Note]]] = {}
    for i, one in enumerate(notes):
        if one.string is not None and one.kind == "open" and not one.doubt and one.note.first_partial:
            opens.setdefault(one.string, []).append((i, one.note))
    out = {}
    for string, each in opens.items():
        last = each[-1][1]
        other = [k for k, (_, note) in enumerate(each) if not _alike(note, last)]
        if other:
            out[string] = each[other[-1] + 1][0]
    return out


def _alike(one: Note, other: Note) -> bool:
    """Whether two notes of an open string are of the same peg."""
    off = abs(1200.0 * math.log2((one.first_partial or 1.0) / (other.first_partial or 1.0)))
    return off < max(WANDER, 3.0 * math.hypot(one.first_partial_sd or 0.0, other.first_partial_sd or 0.0))


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
        "glide_left_cents": note.left,
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


def _measured(candidate: Candidate, sound: Sound, tuning: Sequence[float]) -> Note:
    """The note of a candidate; one that is doubtful is not measured.

    Of a low string many partials stand close together, and blind search may miss it or take it an octave high: what
    fits no string, or the octave of a low one, is looked at again about every low open string."""
    import numpy as np

    from setwright.listening.notes import Note, measure

    if candidate.doubt:
        peak = float(np.abs(sound.samples).max(initial=0.0))
        level = float(20.0 * np.log10(max(peak, 1e-10)))
        return Note(candidate.start, candidate.end, candidate.part, level=level, refused=candidate.doubt)
    note = measure(sound)
    for about in sorted((one for one in tuning if one < LOW), reverse=True):
        if note.refused is None and not _multiple(note, about):
            continue
        again = measure(sound, about)
        if again.refused is None and (note.refused is not None or _has_odd(again)):
            note = again
            break
    return replace(note, start=candidate.start, end=candidate.end)


def _multiple(note: Note, about: float) -> bool:
    """Whether a pitch is about twice to four times another."""
    return any(abs(1200.0 * math.log2((note.first_partial or 1.0) / (k * about))) < WITHIN for k in (2, 3, 4))


def _has_odd(note: Note) -> bool:
    """Whether the odd partials of a note were heard, so that it is not one an octave higher; multiples of 3 count for
    nothing here."""
    return sum(1 for n in note.partials if n % 2 and n % 3) >= ODD * len(note.partials)


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
