"""The file of a journal: a line for every entry, added at the end and never rewritten.

An entry counts once its line end is written. A last line without one was torn off (power, a full disk) or typed by a
hand that forgot it; the next entry ends it with the mark [torn], and it never counts.
"""

from __future__ import annotations

import fcntl
import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

from setwright.errors import FileFormatError, InputError, QuestionableError
from setwright.frozen import frozen
from setwright.records.entries import Entry
from setwright.records.journal_text import TORN, line_of, parse_line

LARGEST = 5_000_000  # bytes; about fifty thousand entries
MOST_ENTRIES = 999_999
_NUMBER = re.compile(
    rb"^[ \t]*[^\s#]\S*[ \t]+\S+[ \t]+#(?P<number>\d{1,6})\b.*?(?P<torn>  \[torn\]\s*)?$", re.MULTILINE
)


@frozen
class Torn:
    """A line that was torn off or left without its end. line: from 1. text: what is left of it. ended: marked in the
    file, else it is the last line still."""

    line: int
    text: str
    ended: bool


@frozen
class Journal:
    """A journal as its file tells it, in the order of its lines. remarks: what should be told about it."""

    entries: tuple[Entry, ...] = ()
    torn: tuple[Torn, ...] = ()
    remarks: tuple[str, ...] = ()


@frozen
class Appended:
    """An entry as kept, with its number; set_aside: what was left of a torn last line before it, "" when none was."""

    entry: Entry
    set_aside: str


def entries(path: Path) -> tuple[Entry, ...]:
    """All entries of a journal, struck ones included, in its order.

    Args:
        path: of the file; it need not exist yet.
    Returns: the entries.
    Raises: FileFormatError, QuestionableError as `read_journal`.
    """
    return read_journal(path).entries


def read_journal(path: Path) -> Journal:
    """Read a journal.

    Args:
        path: of the file; one that does not exist is an empty journal.
    Returns: the journal.
    Raises: FileFormatError with file and line for what is no entry, a number that does not rise, or a strike without
        its entry; QuestionableError for an unlikely value that is not confirmed.
    """
    try:
        if path.exists() and not path.is_file():
            raise FileFormatError(f"{path} is a folder or a device, not a file; name a journal.")
        raw = path.read_bytes()
    except FileNotFoundError:
        return Journal()
    except OSError as error:
        raise FileFormatError(f"{path}: cannot be read: {_reason(error)}; check name and permissions.") from None
    if len(raw) > LARGEST:
        raise FileFormatError(
            f"{path.name}: {len(raw)} bytes are no journal; up to {LARGEST} are read, begin a new one."
        )
    return from_bytes(raw, path.name)


def from_bytes(raw: bytes, name: str) -> Journal:
    """Read a journal from the bytes of its file.

    Args:
        raw: UTF-8; line ends of any editor.
        name: what messages call it.
    Returns: the journal.
    Raises: as `read_journal`.
    """
    lines = raw.removeprefix(b"\xef\xbb\xbf").split(b"\n")
    kept: list[Entry] = []
    torn: list[Torn] = []
    for i, line in enumerate(lines, start=1):
        last = i == len(lines)
        if not line.strip() or line.lstrip().startswith(b"#"):
            continue
        if last or line.rstrip().endswith(TORN.encode()):
            left = line.decode("utf-8", "replace").strip().removesuffix(TORN).strip()
            torn.append(Torn(i, "".join(c if c.isprintable() else "\ufffd" for c in left), not last))
        else:
            kept.append(_entry(line, f"{name}, line {i}", i, kept))
    strikes = {one.strikes: one.number for one in reversed(kept) if one.strikes is not None}
    struck = tuple(replace(one, struck_by=strikes.get(one.number)) for one in kept)
    return Journal(struck, tuple(torn), tuple(remarks(name, struck, torn)))


def append(path: Path, entry: Entry) -> Appended:
    """Add an entry at the end of a journal, with the next number, and wait until it is on the disk.

    One writer at a time; a line goes out in one write. Lines of the file that cannot be read do not stop it: what is
    done on the bench is kept first.

    Args:
        path: of the file; made when it does not exist, its folder must.
        entry: from `journal_text.parse`; its number is not regarded.
    Returns: the entry with its number, and what was set aside.
    Raises: InputError when its words do not say what the entry says, when a strike names no entry, for a file of other
        text, or when the file cannot be written.
    """
    try:
        if path.exists() and not path.is_file():
            raise InputError(f"{path} is a folder or a device, not a file; name a journal.")
        with _held(path) as handle:
            return _append(handle, path, entry)
    except OSError as error:
        raise InputError(
            f"{path}: cannot be written: {_reason(error)}; look at its last line before the entry is given again."
        ) from None


def _append(handle: int, path: Path, entry: Entry) -> Appended:
    raw = _all_of(handle)
    number = max((int(found["number"]) for found in _NUMBER.finditer(raw)), default=0) + 1
    if number > MOST_ENTRIES or len(raw) > LARGEST:
        raise InputError(f"{path.name} is full; begin a new journal and name it with --journal.")
    left = b"" if raw.endswith(b"\n") else raw.rpartition(b"\n")[2]
    if not _may_be_journal(raw.removesuffix(left)):
        raise InputError(f"{path.name} holds text but no entry of a journal; name another file, it was left as it is.")
    if entry.strikes is not None and entry.strikes not in _whole(raw.removesuffix(left)):
        raise InputError(
            f"there is no entry #{entry.strikes} in {path.name} to strike; the numbers are in the journal."
        )
    numbered = replace(entry, number=number, when=entry.when.replace(microsecond=0), struck_by=None, line=0)
    text = line_of(numbered)
    if parse_line(text) != numbered:
        raise InputError(f"the words {entry.text!r} do not say what the entry holds; make entries from their words.")
    end = b"" if not left else f"  {TORN}\n".encode() if left.strip() else b"\n"
    line = end + text.encode() + b"\n"
    if os.write(handle, line) != len(line):
        raise OSError("only a part of the line could be written")
    os.fsync(handle)
    at = raw.count(b"\n") + (2 if end else 1)
    return Appended(replace(numbered, line=at), left.decode("utf-8", "replace").strip())


def _whole(raw: bytes) -> set[int]:
    """Numbers of the entries in whole lines."""
    return {int(found["number"]) for found in _NUMBER.finditer(raw) if not found["torn"]}


def _may_be_journal(raw: bytes) -> bool:
    """Whether whole lines are those of a journal: one entry at least, or nothing but remarks and torn lines."""
    lines = [line.strip() for line in raw.removeprefix(b"\xef\xbb\xbf").split(b"\n")]
    said = [line for line in lines if line and not line.startswith(b"#") and not line.endswith(TORN.encode())]
    return not said or any(_NUMBER.match(line) for line in said)


@contextmanager
def _held(path: Path) -> Iterator[int]:
    """The file, open for appending and locked against other writers."""
    while True:
        made = not path.exists()
        handle = os.open(path, os.O_RDWR | os.O_APPEND | os.O_CREAT | os.O_CLOEXEC, 0o666)
        try:
            fcntl.flock(handle, fcntl.LOCK_EX)
            if not _still_there(handle, path):  # an editor put a new file in its place while we waited
                continue
            if made:
                _sync_folder(path.parent)
            yield handle
            return
        finally:
            os.close(handle)  # and with it the lock


def _still_there(handle: int, path: Path) -> bool:
    try:
        return os.path.samestat(os.fstat(handle), path.stat())
    except FileNotFoundError:
        return False


def _sync_folder(folder: Path) -> None:
    """The name of a new file reaches the disk too."""
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _all_of(handle: int) -> bytes:
    os.lseek(handle, 0, os.SEEK_SET)
    parts = []
    while part := os.read(handle, 1 << 16):
        parts.append(part)
    return b"".join(parts)


def _reason(error: OSError) -> str:
    return (error.strerror or str(error)).lower()


def _entry(line: bytes, where: str, at: int, before: list[Entry]) -> Entry:
    """One line, which must go with those before it."""
    try:
        entry = replace(parse_line(line.decode("utf-8")), line=at)
    except UnicodeDecodeError:
        raise FileFormatError(f"{where}: it is not text in UTF-8; save the file as UTF-8.") from None
    except QuestionableError as error:
        raise QuestionableError(f"{where}: {error}") from None
    except InputError as error:
        raise FileFormatError(f"{where}: {error}") from None
    last = before[-1].number if before else 0
    if entry.number <= last:
        raise FileFormatError(f"{where}: #{entry.number} comes after #{last}; numbers rise, write #{last + 1} or more.")
    if entry.strikes is not None:
        meant = next((one for one in before if one.number == entry.strikes), None)
        if meant is None:
            raise FileFormatError(f"{where}: there is no entry #{entry.strikes} before it to strike; check the number.")
        if meant.verb == "strike":
            raise FileFormatError(f"{where}: #{meant.number} strikes another entry; give that one anew instead.")
    return entry


def remarks(name: str, kept: tuple[Entry, ...], torn: list[Torn]) -> Iterator[str]:
    """What should be told about a journal that can be read.

    Args:
        name: what messages call it.
        kept: its entries, in their order.
        torn: its torn lines.
    Returns: sentences.
    """
    for one in torn:
        if not one.ended:
            yield (
                f"{name}, line {one.line}: the last line has no line end, so it may be torn and does not count; "
                "end it by hand if it is whole, else the next entry sets it aside."
            )
    for before, after in pairwise(kept):
        if after.when < before.when:
            late = f"#{after.number} is earlier than #{before.number}"
            yield f"{name}, line {after.line}: {late}; the order of lines counts."
