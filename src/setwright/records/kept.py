"""Journals inside a shop: the same entries, numbers and text as in the file of a journal.

The text of a visit's journal is, for each entry, what stands before it and its line, then the visit's tail. Remarks,
blank lines and torn lines of an imported file stay where they were.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace

from sqlalchemy import func, insert, select, update

from setwright.errors import InputError
from setwright.records.edits import get
from setwright.records.entries import Entry
from setwright.records.entry_rows import entry_of, row_of
from setwright.records.journal import MOST_ENTRIES, Appended, Journal, Torn, from_bytes, remarks
from setwright.records.journal_text import TORN, line_of, parse_line
from setwright.records.rows import Visit
from setwright.records.shop import Work
from setwright.records.tables import ENTRY, VISIT

_BOM = b"\xef\xbb\xbf"
_NUMBER = re.compile(rb"^[ \t]*[^\s#]\S*[ \t]+\S+[ \t]+#(\d{1,6})\b", re.MULTILINE)


def append(work: Work, visit: str, entry: Entry) -> Appended:
    """Add an entry to the journal of a visit, with the next number.

    Args:
        work: writing; the entry is kept when it ends.
        visit: its id.
        entry: from `journal_text.parse`; its number is not regarded.
    Returns: the entry with its number, and what was left of a torn line before it.
    Raises: InputError for a closed visit, words that do not say what the entry says, or a strike of what is no entry,
        a strike itself, or struck already.
    """
    home = get(work, Visit, visit, lock=True)
    if home.state != "open":
        raise InputError(f"visit {home.id} is closed; open it again before something is written into its journal.")
    last, number = _next(work, home)
    if entry.strikes is not None:
        _may_strike(work, home, entry.strikes)
    numbered = replace(entry, number=number, when=entry.when.replace(microsecond=0), struck_by=None, line=0)
    text = line_of(numbered)
    if parse_line(text) != numbered:
        raise InputError(f"the words {entry.text!r} do not say what the entry holds; make entries from their words.")
    left = home.tail.rpartition(b"\n")[2]
    end = f"  {TORN}\n".encode() if left.strip() else b"\n" if left else b""
    row = row_of(home.id, numbered, text, _gap(home.tail + end, last, number))
    work.connection.execute(insert(ENTRY), row)
    if home.tail:
        work.connection.execute(update(VISIT).where(VISIT.c.id == home.id).values(tail=b""))
    return Appended(numbered, left.decode("utf-8", "replace").strip())


def _next(work: Work, visit: Visit) -> tuple[int, int]:
    """The number of the last entry, and of the next one; numbers of torn lines are not used again."""
    highest = select(func.max(ENTRY.c.number)).where(ENTRY.c.visit == visit.id)
    torn = select(ENTRY.c.before).where(ENTRY.c.visit == visit.id, ENTRY.c.before.is_not(None))
    gaps = [*work.connection.execute(torn).scalars(), visit.tail]
    numbers = (int(found[1]) for gap in gaps for found in _NUMBER.finditer(gap))
    last = work.connection.execute(highest).scalar() or 0
    number = max(last, *numbers, 0) + 1
    if number > MOST_ENTRIES:
        raise InputError(f"the journal of visit {visit.id} is full; begin a new visit.")
    return last, number


def _gap(text: bytes, last: int, number: int) -> bytes | None:
    """What is kept of the text before an entry: nothing, b"", says that the numbers left out were never there."""
    return text if text or number != last + 1 else None


def _may_strike(work: Work, visit: Visit, number: int) -> None:
    rows = select(ENTRY.c.number, ENTRY.c.verb, ENTRY.c.strikes).where(
        ENTRY.c.visit == visit.id, (ENTRY.c.number == number) | (ENTRY.c.strikes == number)
    )
    found = work.connection.execute(rows.order_by(ENTRY.c.number)).all()
    meant = next((one for one in found if one.number == number), None)
    by = next((one.number for one in found if one.strikes == number), None)
    if meant is None:
        raise InputError(f"there is no entry #{number} in the journal of visit {visit.id} to strike; see its journal.")
    if meant.verb == "strike":
        raise InputError(f"#{number} strikes another entry; give that one anew instead.")
    if by is not None:
        raise InputError(f"#{number} is struck already, by #{by}; nothing more is needed.")


def put_text(work: Work, visit: Visit, raw: bytes) -> Visit:
    """Fill the empty journal of a visit with the text of a file.

    Args:
        work: writing.
        visit: without an entry.
        raw: the bytes of the file.
    Returns: the visit.
    Raises: FileFormatError, QuestionableError as `journal.from_bytes`.
    """
    entries = from_bytes(raw, visit.journal_name).entries
    rows, tail = _split(visit.id, raw, entries)
    if rows:
        work.connection.execute(insert(ENTRY), rows)
    if tail:
        work.connection.execute(update(VISIT).where(VISIT.c.id == visit.id).values(tail=tail))
    return replace(visit, tail=tail)


def _split(visit: str, raw: bytes, entries: Sequence[Entry]) -> tuple[list[dict[str, object]], bytes]:
    """Rows of the entries of a text, each with what stands before it, and what follows the last."""
    gap = _BOM if raw.startswith(_BOM) else b""
    lines = raw.removeprefix(_BOM).split(b"\n")
    rows, done, last = [], 0, 0
    for entry in entries:
        gap += b"".join(line + b"\n" for line in lines[done : entry.line - 1])
        rows.append(row_of(visit, entry, lines[entry.line - 1].decode("utf-8"), _gap(gap, last, entry.number)))
        gap, done, last = b"", entry.line, entry.number
    return rows, gap + b"\n".join(lines[done:])


def count_of(work: Work, visit: str) -> int:
    """How many entries the journal of a visit has, struck ones included.

    Args:
        work: on the shop.
        visit: its id.
    Returns: the number.
    """
    rows = select(func.count()).select_from(ENTRY).where(ENTRY.c.visit == visit)
    return work.connection.execute(rows).scalar() or 0


def text_of(work: Work, visit: Visit) -> bytes:
    """The text of a visit's journal, as its file would be.

    Args:
        work: on the shop.
        visit: it.
    Returns: its bytes.
    """
    rows = select(ENTRY.c.before, ENTRY.c.line).where(ENTRY.c.visit == visit.id).order_by(ENTRY.c.number)
    parts = ((row.before or b"") + row.line.encode() + b"\n" for row in work.connection.execute(rows))
    return b"".join(parts) + visit.tail


def journal_of(work: Work, visit: Visit) -> Journal:
    """The journal of a visit, struck entries included, as reading its file would give it.

    Args:
        work: on the shop.
        visit: it.
    Returns: the journal.
    """
    name = visit.journal_name or f"visit {visit.id}"
    rows = work.connection.execute(select(ENTRY).where(ENTRY.c.visit == visit.id).order_by(ENTRY.c.number)).mappings()
    kept: list[Entry] = []
    torn: list[Torn] = []
    at = 1
    for row in rows:
        gap = row["before"] or b""
        torn += _torn(gap, at)
        at += gap.count(b"\n")
        kept.append(entry_of(dict(row), line=at))
        at += 1
    torn += _torn(visit.tail, at)
    strikes = {one.strikes: one.number for one in reversed(kept) if one.strikes is not None}
    struck = tuple(replace(one, struck_by=strikes[one.number]) if one.number in strikes else one for one in kept)
    return Journal(struck, tuple(torn), tuple(remarks(name, struck, torn)))


def _torn(gap: bytes, at: int) -> Iterator[Torn]:
    """The torn lines between two entries."""
    if gap:
        yield from (replace(one, line=one.line + at - 1) for one in from_bytes(gap, "").torn)
