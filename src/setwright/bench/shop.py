"""The shop's records as the bench uses them: each command one function."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from setwright.bench.journals import belongs, journal_path
from setwright.bench.opening import held as held
from setwright.bench.opening import opened as opened
from setwright.errors import FileFormatError, InputError
from setwright.frozen import frozen
from setwright.instrument.jobfile import Job, read_job
from setwright.records import backup, check, schema, supplies
from setwright.records.edits import get
from setwright.records.engine import where
from setwright.records.entries import Entry
from setwright.records.jobs import Added, JobFiles, files_of
from setwright.records.jobs import add_job as put_job
from setwright.records.journal import LARGEST, Appended, Journal
from setwright.records.kept import append, text_of
from setwright.records.overview import InstrumentLine, instruments
from setwright.records.rows import Instrument, Owner, Visit
from setwright.records.shop import Work, new_shop


@frozen
class Made:
    """A shop made. where: as messages name it."""

    where: str
    id: str
    name: str


@frozen
class Named:
    """A job in the shop, and the recordings of its readings that came with it."""

    added: Added
    recordings: tuple[str, ...]


@frozen
class Shown:
    """A visit with what belongs to it. parts: those used, with their count below zero."""

    visit: Visit
    instrument: Instrument
    owner: Owner | None
    journal: Journal
    steps: tuple[supplies.Step, ...]
    parts: tuple[supplies.Part, ...]
    attachments: tuple[supplies.Attachment, ...]
    climate: tuple[supplies.Climate, ...]
    sheets: tuple[supplies.Sheet, ...]


def make_shop(at: str, name: str) -> Made:
    """Make a shop with nothing in it.

    Args:
        at: new folder, or URL of an empty database.
        name: of the shop.
    Returns: what was made.
    Raises: InputError; nothing is left then.
    """
    with new_shop(at, name) as shop:
        return Made(shop.place.shown, shop.id, shop.name)


def check_shop(at: str | None) -> check.Checked:
    """Look whether a shop is whole.

    Args:
        at: folder or URL.
    Returns: what was found.
    Raises: InputError, FileFormatError.
    """
    with opened(at) as shop:
        return check.check(shop)


def back_up_shop(at: str | None, file: str) -> backup.Backup:
    """Write a shop into one file.

    Args:
        at: folder or URL.
        file: path that does not exist yet.
    Returns: the backup.
    Raises: InputError, FileFormatError; no file is left then.
    """
    if not file or "\0" in file:
        raise InputError("no file is named; write for instance shop-2026-11-30.tar.")
    with opened(at) as shop:
        return backup.back_up(shop, Path(file))


def upgrade_shop(at: str | None, backup_made: bool = False) -> schema.Upgraded:
    """Bring a shop to the newest schema, after a backup.

    Args:
        at: folder or URL.
        backup_made: of PostgreSQL: the user says there is one.
    Returns: what was done.
    Raises: InputError, FileFormatError; nothing is changed then.
    """
    place = where(at or "")
    if place.folder is not None and not place.file.is_file():
        raise InputError(f"{place.shown}: there is no shop in it; name the folder of one.")
    return schema.upgrade(place, datetime.now(UTC).strftime("%Y%m%d-%H%M%S"), backup_made)


def add_job(
    at: str | None, job: str, journal: str | None = None, owner: str = "", instrument: str = "", who: str = ""
) -> Named:
    """Put the files of a job into a shop: job, instrument, journal, and the recordings its readings were heard in.

    Args:
        at: folder or URL.
        job: path of the job file.
        journal: path of the journal, None by the rule.
        owner: name, "" when not said.
        instrument: id of one in the shop, "" to find or make it.
        who: works here.
    Returns: what was added.
    Raises: InputError, FileFormatError, QuestionableError; nothing is kept then.
    """
    read = read_job(job)
    path = journal_path(job, journal)
    home = Path(job).parent / read.instrument_path
    files = JobFiles(
        Path(job).name, _bytes(Path(job)), home.name, _bytes(home), path.name, _bytes(path) if path.exists() else b""
    )
    with opened(at) as shop, shop.writing(who) as work:
        added = put_job(work, files, owner, instrument, check=belongs)
        found: list[str] = []
        for entry in files_of(work, added.visit)[1].entries:
            if entry.sha256 and entry.sha256 not in found:
                found += _recording(work, added.visit.id, path.parent / Path(entry.recording).name, entry.sha256)
    return Named(added, tuple(found))


def find_instruments(at: str | None, find: str = "") -> tuple[InstrumentLine, ...]:
    """Instruments of a shop.

    Args:
        at: folder or URL.
        find: words that all stand in what is known of it or of its owner.
    Returns: the lines.
    Raises: InputError, FileFormatError.
    """
    with opened(at) as shop, shop.reading() as work:
        return instruments(work, find)


def show_visit(at: str | None, visit: str) -> Shown:
    """A visit with all that belongs to it.

    Args:
        at: folder or URL.
        visit: its id, or the end of it.
    Returns: the visit.
    Raises: InputError, FileFormatError.
    """
    with opened(at) as shop, shop.reading() as work:
        found = get(work, Visit, visit)
        instrument = get(work, Instrument, found.instrument)
        owner = None if instrument.owner is None else get(work, Owner, instrument.owner)
        return Shown(
            found, instrument, owner, files_of(work, found)[1], supplies.steps(work, found.id),
            supplies.parts(work, found.id), supplies.attachments(work, visit=found.id),
            supplies.climate(work, found.id), supplies.sheets(work, found.id),
        )  # fmt: skip


def job_in(at: str | None, visit: str) -> tuple[Job, Journal]:
    """The job of a visit and its journal, as reading the files would give them.

    Args:
        at: folder or URL.
        visit: its id, or the end of it.
    Returns: job, journal.
    Raises: InputError, FileFormatError.
    """
    with opened(at) as shop, shop.reading() as work:
        return files_of(work, get(work, Visit, visit))


def append_in(at: str | None, visit: str, entry: Entry, who: str = "") -> Appended:
    """Put an entry into the journal of a visit.

    Args:
        at: folder or URL.
        visit: its id, or the end of it.
        entry: from `journal_text.parse`.
        who: works here.
    Returns: the entry with its number; it is on the disk.
    Raises: InputError, FileFormatError; nothing is written then.
    """
    with opened(at) as shop, shop.writing(who) as work:
        return append(work, visit, entry)


def write_journal(at: str | None, visit: str, path: str) -> int:
    """Write the journal of a visit as the file it would be.

    Args:
        at: folder or URL.
        visit: its id.
        path: of a file that does not exist yet.
    Returns: bytes written.
    Raises: InputError, FileFormatError.
    """
    with opened(at) as shop, shop.reading() as work:
        raw = text_of(work, get(work, Visit, visit))
    try:
        with Path(path).open("xb") as handle:
            handle.write(raw)
    except FileExistsError:
        raise InputError(f"{path} is there already; name a new file.") from None
    except OSError as error:
        raise InputError(f"{path}: cannot be written: {(error.strerror or str(error)).lower()}.") from None
    return len(raw)


def _recording(work: Work, visit: str, path: Path, sha256: str) -> list[str]:
    """Keep a recording with its visit, where it lies beside the journal and is the one that was heard."""
    if not path.is_file():
        return []
    from setwright.bench.attachments import keep_recording

    with path.open("rb") as handle:
        return [sha256] if keep_recording(work, visit, path.name, handle, sha256) else []


def _bytes(path: Path) -> bytes:
    try:
        raw = path.read_bytes()
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise FileFormatError(f"{path}: cannot be read: {reason}; check name and permissions.") from None
    if len(raw) > LARGEST:
        raise FileFormatError(f"{path.name}: {len(raw)} bytes are too many; up to {LARGEST} are read.")
    return raw
