"""Photos, recordings, sheets and other files of a visit or of an instrument."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from hashlib import file_digest
from io import BufferedReader
from pathlib import Path
from typing import BinaryIO

from setwright.bench.journals import InShop, belongs
from setwright.bench.shop import opened
from setwright.errors import FileFormatError, InputError
from setwright.records import supplies
from setwright.records.edits import get
from setwright.records.entries import Entry, live
from setwright.records.jobs import files_of
from setwright.records.kept import append
from setwright.records.rows import Instrument, Visit
from setwright.records.shop import Work
from setwright.records.supplies import Attachment


def attach_file(
    at: str | None, kind: str, path: str, visit: str = "", instrument: str = "", who: str = ""
) -> Attachment:
    """Keep a file with a visit or an instrument; of a photo only what is seen on it.

    Args:
        at: folder or URL of the shop.
        kind: "photo", "recording", "sheet" or "other".
        path: of the file.
        visit, instrument: id of one of them, or the end of it.
        who: works here.
    Returns: the attachment.
    Raises: InputError, FileFormatError: one sentence; nothing is kept then.
    """
    with _file(path) as handle:
        return attach(at, kind, Path(path).name, handle, visit, instrument, who)


def attach(
    at: str | None, kind: str, name: str, source: BinaryIO, visit: str = "", instrument: str = "", who: str = ""
) -> Attachment:
    """The same of what came in another way, as through a browser.

    Args:
        at, kind, visit, instrument, who: as `attach_file`.
        name: of the file, without folders.
        source: what is in it, open at its beginning; it must be able to go back there.
    Returns: the attachment.
    Raises: as `attach_file`.
    """
    _one_of(visit, instrument)
    with opened(at) as shop, shop.writing(who) as work:
        return supplies.attach(work, kind, name, source, visit or None, instrument or None)


def attachments_of(at: str | None, visit: str = "", instrument: str = "") -> tuple[Attachment, ...]:
    """Files of a visit or of an instrument, in the order they came.

    Args:
        at: folder or URL.
        visit, instrument: id of one of them, or the end of it.
    Returns: the attachments.
    Raises: InputError, FileFormatError.
    """
    _one_of(visit, instrument)
    with opened(at) as shop, shop.reading() as work:
        if visit:
            return supplies.attachments(work, visit=get(work, Visit, visit).id)
        return supplies.attachments(work, instrument=get(work, Instrument, instrument).id)


def attachment_in(at: str | None, id: str) -> tuple[Attachment, bytes]:
    """A file that is kept.

    Args:
        at: folder or URL.
        id: of the attachment, or the end of it.
    Returns: the attachment and what is in it.
    Raises: InputError, FileFormatError where it is not there.
    """
    with opened(at) as shop, shop.reading() as work:
        found = supplies.attachment(work, id)
        return found, b"".join(supplies.content(work, found.sha256))


def take_out(at: str | None, id: str, path: str) -> tuple[Attachment, int]:
    """Write a file that is kept into a new one.

    Args:
        at: folder or URL.
        id: of the attachment, or the end of it.
        path: of a file that does not exist yet.
    Returns: the attachment, and how many bytes were written.
    Raises: InputError, FileFormatError; no file is left then.
    """
    if not path or "\0" in path:
        raise InputError("no file is named; write where it is to be put, for instance photo.jpg.")
    target, size = Path(path), 0
    with opened(at) as shop, shop.reading() as work:
        found = supplies.attachment(work, id)
        try:
            with target.open("xb") as handle:
                try:
                    for part in supplies.content(work, found.sha256):
                        size += handle.write(part)
                except BaseException:
                    target.unlink()
                    raise
        except FileExistsError:
            raise InputError(f"{path} is there already; name a new file.") from None
        except OSError as error:
            raise InputError(f"{path}: cannot be written: {_reason(error)}; choose another place.") from None
    return found, size


def append_heard(
    source: InShop, entries: Sequence[Entry], sha256: str, recording: str | None = None, who: str = ""
) -> tuple[Entry, ...]:
    """Put readings that were heard into the journal of a visit, and keep their recording there; all or nothing.

    Args:
        source: the visit.
        entries: of one recording, their numbers not regarded.
        sha256: of the recording.
        recording: path of it, None where it is not at hand.
        who: recorded it.
    Returns: the entries as kept.
    Raises: InputError for a recording that the journal has already, or that is another one by now.
    """
    if not entries:
        return ()
    with opened(source.shop) as shop, shop.writing(who) as work:
        visit = get(work, Visit, source.visit, lock=True)
        job, journal = files_of(work, visit)
        if any(one.sha256 == sha256 for one in live(journal.entries)):
            raise InputError(f"{entries[0].recording} was put into {source} meanwhile; nothing was written twice.")
        for one in entries:
            belongs(one, job, "")
        if recording is not None:
            with _file(recording) as handle:
                if not keep_recording(work, visit.id, entries[0].recording, handle, sha256):
                    raise InputError(f"{recording} is another recording than was heard; hear it again.")
        return tuple(append(work, visit.id, one).entry for one in entries)


def keep_recording(work: Work, visit: str, name: str, handle: BufferedReader, sha256: str) -> bool:
    """Keep a recording with its visit, where it is the one that was heard.

    Args:
        work: writing.
        visit: its id.
        name: of the recording.
        handle: open at its beginning.
        sha256: of what was heard.
    Returns: whether it is the one.
    Raises: InputError.
    """
    if file_digest(handle, "sha256").hexdigest() != sha256:
        return False
    handle.seek(0)
    try:
        supplies.attach(work, "recording", name, handle, visit=visit)
    except FileFormatError:  # heard, so a sound file, but of none of the kinds that are told by their first bytes
        handle.seek(0)
        supplies.attach(work, "other", name, handle, visit=visit)
    return True


def _one_of(visit: str, instrument: str) -> None:
    if bool(visit) == bool(instrument):
        raise InputError("a file belongs to a visit or to an instrument; name one of them.")


@contextmanager
def _file(path: str) -> Iterator[BufferedReader]:
    """A file to read; what is wrong with it in one sentence."""
    if not path or "\0" in path:
        raise InputError("no file is named; write for instance photo.jpg.")
    try:
        handle = Path(path).open("rb")  # noqa: SIM115 - only what opening it says is told
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {_reason(error)}; check the name.") from None
    with handle:
        yield handle


def _reason(error: OSError) -> str:
    return (error.strerror or str(error)).lower()
