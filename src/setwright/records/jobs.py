"""Visits in a shop: made from the files of a job, and given back as they were."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache
from pathlib import PurePath

from sqlalchemy import func, select

from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.instrument.files import InstrumentFile, instrument_from_bytes
from setwright.instrument.jobfile import Job, job_from_bytes
from setwright.records.documents import belief_before, document, keep_document
from setwright.records.edits import add, get
from setwright.records.entries import Entry
from setwright.records.journal import Journal, from_bytes
from setwright.records.kept import journal_of, put_text
from setwright.records.rows import Instrument, Owner, Visit
from setwright.records.shop import Work, alone
from setwright.records.tables import INSTRUMENT, OWNER, VISIT

Check = Callable[[Entry, Job, str], None]


@frozen
class JobFiles:
    """The files of a job: names without folders, and their bytes. journal: b"" where there is none yet."""

    job_name: str
    job: bytes
    instrument_name: str
    instrument: bytes
    journal_name: str
    journal: bytes = b""


@frozen
class Added:
    """A job added. known: the instrument was in the shop already."""

    owner: Owner | None
    instrument: Instrument
    visit: Visit
    entries: int
    known: bool


def add_job(
    work: Work, files: JobFiles, owner: str = "", instrument: str = "", kind: str = "", check: Check | None = None
) -> Added:
    """Put a job with its instrument and its journal into the shop, as a visit.

    Without an id the instrument is the one with the same file, byte for byte, of the owner where one is named; else it
    is new.

    Args:
        work: writing.
        files: of the job.
        owner: name of the owner, "" when not said; one of that name is used, else a new one is made.
        instrument: id of an instrument in the shop that this job is on.
        kind: of job, in words.
        check: raises where an entry does not go with the job.
    Returns: what was added.
    Raises: FileFormatError, InputError, QuestionableError for a file that is not what it should be; nothing is kept.
    """
    read, job = _read(files)
    entries = from_bytes(files.journal, files.journal_name).entries
    for entry in entries:
        if check is not None:
            check(entry, job, f"{files.journal_name}, line {entry.line}: ")
    alone(work)
    whose = owner_named(work, owner) if owner.strip() else None
    file = keep_document(work, files.instrument, files.instrument_name)
    known = get(work, Instrument, instrument, lock=True) if instrument else _same(work, whose, file)
    if known is not None and whose is not None and known.owner != whose.id:
        raise InputError(f"instrument {known.name} belongs to somebody else; leave out the owner, or change it there.")
    if known is not None and not whose and known.owner is not None:
        whose = get(work, Owner, known.owner)
    home = known or add(work, _instrument(read, files, file, whose.id if whose else None, work.now))
    came = min((entry.when for entry in entries), default=None)
    visit = add_visit(work, Visit(
        "", 1, home.id, 0, "open", kind, came.isoformat(sep=" ") if came else work.now, None, None, job.wish,
        _name(files.job_name), _name(files.instrument_name), _name(files.journal_name),
        keep_document(work, files.job, files.job_name), file, b"",
    ))  # fmt: skip
    return Added(whose, home, put_text(work, visit, files.journal), len(entries), known is not None)


def add_visit(work: Work, visit: Visit) -> Visit:
    """Add a visit, with the next number of its instrument.

    Args:
        work: writing.
        visit: its id "" and number 0.
    Returns: the visit as kept.
    Raises: InputError.
    """
    home = get(work, Instrument, visit.instrument, lock=True)
    last = work.connection.execute(select(func.max(VISIT.c.number)).where(VISIT.c.instrument == home.id)).scalar()
    return add(work, replace(visit, instrument=home.id, number=(last or 0) + 1))


def owner_named(work: Work, name: str) -> Owner:
    """The owner of a name, made where there is none.

    Args:
        work: writing.
        name: theirs.
    Returns: the owner.
    Raises: InputError where two have that name.
    """
    alone(work)
    rows = work.connection.execute(select(OWNER.c.id).where(OWNER.c.name == name.strip()).limit(2)).scalars().all()
    if len(rows) > 1:
        raise InputError(f"there are two owners named {name.strip()}; give the id of the instrument instead.")
    return get(work, Owner, rows[0]) if rows else add(work, Owner("", 1, name, "", "", work.now, ""))


def job_of(work: Work, visit: Visit) -> Job:
    """The job of a visit.

    Args:
        work: on the shop.
        visit: it.
    Returns: the job, as its files tell it, with what an earlier visit has learned.
    Raises: FileFormatError, InputError where a newer Setwright refuses what was kept.
    """
    files = document(work, visit.instrument_file), document(work, visit.job_file)
    job = _read_once(*files, visit.instrument_name, visit.job_name)
    learned, years = belief_before(work, visit) or (None, 0.0)
    return replace(job, wish=visit.wish, learned=learned, years_since=years)  # a wish may be edited; the file stays


@lru_cache(maxsize=256)
def _read_once(instrument: bytes, job: bytes, instrument_name: str, job_name: str) -> Job:
    """A job from its files; those that are read again and again, as for an instrument's life, are read once."""
    return job_from_bytes(job, job_name, instrument_from_bytes(instrument, instrument_name))


def files_of(work: Work, visit: Visit) -> tuple[Job, Journal]:
    """The job of a visit and its journal, as reading the files would give them.

    Args:
        work: on the shop.
        visit: it.
    Returns: job, journal.
    """
    return job_of(work, visit), journal_of(work, visit)


def _read(files: JobFiles) -> tuple[InstrumentFile, Job]:
    read = instrument_from_bytes(files.instrument, files.instrument_name)
    return read, job_from_bytes(files.job, files.job_name, read)


def _name(name: str) -> str:
    if PurePath(name).name != name or name in ("", "..") or "\\" in name:
        raise InputError(f"{name[:80]!r} leads out of the shop; give the name of a file without folders.")
    return name


def _same(work: Work, owner: Owner | None, file: str) -> Instrument | None:
    """The one instrument with the very same file, of an owner where one is named."""
    found = select(INSTRUMENT.c.id).where(INSTRUMENT.c.file == file).limit(2)
    if owner is not None:
        found = found.where(INSTRUMENT.c.owner == owner.id)
    rows = work.connection.execute(found).scalars().all()
    return get(work, Instrument, rows[0], lock=True) if len(rows) == 1 else None


def _instrument(read: InstrumentFile, files: JobFiles, file: str, owner: str | None, now: str) -> Instrument:
    return Instrument(
        id="", version=1, owner=owner, name=read.name, maker="", model="", serial="", colour="", made=now, sought="",
        file_name=_name(files.instrument_name), file=file,
    )  # fmt: skip
