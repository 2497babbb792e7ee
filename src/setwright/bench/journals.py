"""The journal of a job: where it is, what goes into it and when."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import Any

from setwright.bench.source import InShop as InShop
from setwright.bench.source import Source as Source
from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.instrument.jobfile import Job, read_job
from setwright.records.entries import Entry
from setwright.records.journal import Journal, append, read_journal
from setwright.records.journal_text import parse

JOB_END = ".job.toml"
JOURNAL_END = ".journal.txt"


@frozen
class Kept:
    """An entry that was kept. path: of the journal; of a visit, what messages call it. set_aside: a torn line before
    it, "" when there was none."""

    path: Path
    entry: Entry
    set_aside: str


def journal_path(job: str, journal: str | None = None) -> Path:
    """Where the journal of a job is: NAME.journal.txt beside NAME.job.toml.

    Args:
        job: path of the job file.
        journal: path that goes before the rule, or None.
    Returns: the path.
    Raises: InputError for an empty name, or for that of the job itself.
    """
    if journal is not None:
        if not journal or "\0" in journal or Path(journal).absolute() == Path(job).absolute():
            raise InputError(f"--journal: {journal!r} is no name of a journal; write for instance dunlin.journal.txt.")
        return Path(journal)
    path = Path(job)
    name = path.name
    for end in (JOB_END, ".toml"):
        if name.endswith(end) and name != end:
            return path.with_name(name.removesuffix(end) + JOURNAL_END)
    return path.with_name(name + JOURNAL_END)


def job_from(source: Source) -> Job:
    """The job of a file or of a visit.

    Args:
        source: path of the job file, or the visit.
    Returns: the job.
    Raises: FileFormatError, QuestionableError, InputError: one sentence.
    """
    if isinstance(source, str):
        return read_job(source)
    from setwright.bench.shop import job_in

    return job_in(source.shop, source.visit)[0]


def open_journal(job: Source, journal: str | None = None, read: Job | None = None) -> tuple[Path, Journal]:
    """The journal of a job; empty when nothing was written yet.

    Args:
        job: path of the job file, which must be one, or a visit.
        journal: path of the journal of a job file, None by the rule.
        read: the job, where it has been read already.
    Returns: its path, of a visit what messages call it, and what it holds.
    Raises: FileFormatError, QuestionableError, InputError: one sentence with file and line.
    """
    if not isinstance(job, str):
        from setwright.bench.shop import job_in

        _no_file(journal)
        read, found = job_in(job.shop, job.visit)
        path = Path(str(job))
    else:
        read = read_job(job) if read is None else read
        path = journal_path(job, journal)
        found = read_journal(path)
    for entry in found.entries:
        belongs(entry, read, f"{path.name}, line {entry.line}: ")
    return path, found


def keep(
    job: Source,
    words: Sequence[str],
    journal: str | None = None,
    who: str = "",
    sure: bool = False,
    when: datetime | None = None,
) -> Kept:
    """Put an entry into the journal of a job: read, did, note or strike and what follows.

    Args:
        job: path of the job file, or a visit.
        words: the verb first.
        journal: path of the journal of a job file, None by the rule.
        who: did it; "" when not said.
        sure: an unlikely value is meant.
        when: the time, None for now, by the clock of the bench.
    Returns: the entry as kept.
    Raises: InputError, QuestionableError, FileFormatError; nothing is written then.
    """
    entry = made(job_from(job), words, who, sure, when)
    if not isinstance(job, str):
        from setwright.bench.shop import append_in

        _no_file(journal)
        added = append_in(job.shop, job.visit, entry, who)
        return Kept(Path(str(job)), added.entry, added.set_aside)
    path = journal_path(job, journal)
    if entry.strikes is not None:
        _may_strike(path, entry.strikes)
    kept = append(path, entry)
    return Kept(path, kept.entry, kept.set_aside)


def made(job: Job, words: Sequence[str], who: str = "", sure: bool = False, when: datetime | None = None) -> Entry:
    """An entry for the journal of a job, looked at but not kept.

    Args:
        job: whose instrument is meant.
        words: the verb first.
        who: did it; "" when not said.
        sure: an unlikely value is meant.
        when: the time, None for now, by the clock of the bench.
    Returns: the entry, its number 0.
    Raises: InputError, QuestionableError where it could not be kept.
    """
    parts = " ".join(words).split(maxsplit=1)
    if not parts:
        raise InputError("nothing is to be kept; begin with read, did, note or strike.")
    entry = parse(parts[0], parts[1] if len(parts) > 1 else "", when or datetime.now(), who, sure)
    belongs(entry, job, "")
    return entry


def _no_file(journal: str | None) -> None:
    if journal is not None:
        raise InputError("--journal names the file of a journal, and a visit has its own in the shop; leave one out.")


def plain(entry: Entry) -> dict[str, Any]:
    """An entry as JSON can hold it.

    Args:
        entry: of a journal.
    Returns: its fields; the time as text.
    """
    return {**asdict(entry), "when": entry.when.isoformat(sep=" ")}


def belongs(entry: Entry, job: Job, where: str) -> None:
    """Refuse an entry about strings and frets the instrument does not have.

    Args:
        entry: of a journal.
        job: whose instrument is meant.
        where: "" or the place in a file, for the message.
    Raises: InputError.
    """
    instrument = job.instrument
    if entry.place.string is not None and entry.place.string > instrument.strings:
        raise InputError(
            f"{where}string {entry.place.string} does not exist; {instrument.name} has {instrument.strings}, "
            "string 1 is the thinnest."
        )
    how = entry.convention
    highest = max(fret or 0 for fret in (entry.place.fret, how.hold_high, how.capo))
    if highest > instrument.frets and not entry.place.harmonic:
        raise InputError(
            f"{where}fret {highest} does not exist; {instrument.name} has {instrument.frets}, check the number."
        )


def _may_strike(path: Path, number: int) -> None:
    """Refuse to strike twice, or to strike a strike."""
    meant = next((one for one in read_journal(path).entries if one.number == number), None)
    if meant is None:
        raise InputError(f"there is no entry #{number} in {path.name} to strike; setwright log JOB shows the numbers.")
    if meant.verb == "strike":
        raise InputError(f"#{number} strikes another entry; give that one anew instead.")
    if meant.struck_by is not None:
        raise InputError(f"#{number} is struck already, by #{meant.struck_by}; nothing more is needed.")
