"""Whether a shop is whole: its database, the journals in it, its stock and the contents of its files."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

from sqlalchemy import func, inspect, select, text

from setwright.errors import SetwrightError
from setwright.frozen import frozen
from setwright.records.content import FOLDER, InFolder
from setwright.records.engine import sentence
from setwright.records.entry_rows import entry_of
from setwright.records.journal_text import parse_line
from setwright.records.shop import Shop, Work
from setwright.records.tables import (
    CONTENT,
    DOCUMENT,
    ENTRY,
    GROWING,
    INSTRUMENT,
    METADATA,
    PART,
    STOCK_MOVEMENT,
    VISIT,
)

MOST = 100  # problems that are told
_AT_ONCE = 2_000  # rows fetched together


@frozen
class Checked:
    """What a check found. problems: what is not as it must be; remarks: what should be known; the counts say what was
    looked at."""

    problems: tuple[str, ...]
    remarks: tuple[str, ...]
    instruments: int
    visits: int
    entries: int
    contents: int


def check(shop: Shop) -> Checked:
    """Look at everything in a shop.

    Args:
        shop: open.
    Returns: what was found; at most `MOST` problems.
    Raises: FileFormatError where the database is too damaged to be read.
    """
    problems: list[str] = []
    with shop.reading() as work:
        for found in (_database, _triggers, _documents, _journals, _stock, _contents):
            for problem in found(work):
                problems.append(problem)
                if len(problems) == MOST:
                    break
        tables = (INSTRUMENT, VISIT, ENTRY, CONTENT)
        counts = [int(work.connection.execute(select(func.count()).select_from(one)).scalar() or 0) for one in tables]
        remarks = tuple(_remarks(work))
    return Checked(tuple(problems[:MOST]), remarks, *counts)


def _database(work: Work) -> Iterator[str]:
    """The database's own check."""
    if work.connection.dialect.name == "sqlite":
        for (said,) in work.connection.exec_driver_sql("PRAGMA integrity_check"):
            if said != "ok":
                yield f"database: {said}"
        for table, row, parent, _ in work.connection.exec_driver_sql("PRAGMA foreign_key_check"):
            yield f"{table}: row {row} names a row of {parent} that is not there"
    missing = set(METADATA.tables) - set(inspect(work.connection).get_table_names())
    for name in sorted(missing):
        yield f"table {name} is missing"


def _triggers(work: Work) -> Iterator[str]:
    """The guards of what only grows."""
    where = "sqlite_master WHERE type = 'trigger'" if work.connection.dialect.name == "sqlite" else "pg_trigger"
    name = "name" if work.connection.dialect.name == "sqlite" else "tgname"
    found = set(work.connection.execute(text(f"SELECT {name} FROM {where}")).scalars())
    for table in GROWING:
        for what in ("update", "delete"):
            if f"{table}_no_{what}" not in found:
                yield f"{table}: the guard against {what} is missing"


def _documents(work: Work) -> Iterator[str]:
    with work.connection.execute(select(DOCUMENT).execution_options(yield_per=100)) as rows:
        for sha256, words in rows:
            if hashlib.sha256(words.encode()).hexdigest() != sha256:
                yield f"document {sha256}: its text is not what it was"


def _journals(work: Work) -> Iterator[str]:
    """Numbers rise without gaps but those of torn lines; each line says what its columns say; strikes strike."""
    ordered = select(ENTRY).order_by(ENTRY.c.visit, ENTRY.c.number).execution_options(yield_per=_AT_ONCE)
    with work.connection.execute(ordered) as rows:
        yield from _entries(dict(row) for row in rows.mappings())


def _entries(rows: Iterable[dict[str, Any]]) -> Iterator[str]:
    visit, before, verbs = "", 0, dict[int, str]()
    for row in rows:
        if row["visit"] != visit:
            visit, before, verbs = row["visit"], 0, {}
        where = f"visit {visit}, entry #{row['number']}"
        if row["number"] != before + 1 and row["before"] is None:
            yield f"{where}: it comes after #{before}, entries between are missing"
        before = row["number"]
        meant = row["strikes"]
        if meant is not None and verbs.get(meant, "strike") == "strike":
            yield f"{where}: it strikes #{meant}, which is no entry before it"
        verbs[before] = row["verb"]
        yield from _line(row, where)


def _line(row: dict[str, Any], where: str) -> Iterator[str]:
    try:
        same = parse_line(str(row["line"])) == entry_of(row)
    except (SetwrightError, ValueError, TypeError) as error:
        yield f"{where}: its line cannot be read: {error}"
    else:
        if not same:
            yield f"{where}: its line and its columns say different things"


def _stock(work: Work) -> Iterator[str]:
    moved = STOCK_MOVEMENT.c
    used = select(PART.c.name, moved.visit).join(PART, PART.c.id == moved.part).where(moved.visit.is_not(None))
    sums = used.group_by(PART.c.name, moved.visit).having(func.sum(moved.count) > 0)
    for name, visit in work.connection.execute(sums):
        yield f"part {name}: more came back from visit {visit} than were used in it"


def _contents(work: Work) -> Iterator[str]:
    """Every content against its name."""
    for sha256, size in work.connection.execute(select(CONTENT).order_by(CONTENT.c.sha256)).all():
        digest, count = hashlib.sha256(), 0
        try:
            for part in work.contents.chunks(work.connection, sha256):
                digest.update(part)
                count += len(part)
        except SetwrightError as error:
            yield str(error)
            continue
        except OSError as error:
            yield str(sentence(work.place, error))
            continue
        if digest.hexdigest() != sha256 or count != size:
            yield f"content {sha256}: its {count} bytes are not the {size} bytes that were kept"


def _remarks(work: Work) -> Iterator[str]:
    moved = STOCK_MOVEMENT.c
    sums = select(PART.c.name, func.sum(moved.count).label("stock")).join(PART, PART.c.id == moved.part)
    for name, stock in work.connection.execute(sums.group_by(PART.c.name).having(func.sum(moved.count) < 0)):
        yield f"part {name}: the stock is {stock}; count it."
    heard = select(func.count(ENTRY.c.sha256.distinct())).where(
        ENTRY.c.sha256 != "", ENTRY.c.sha256.not_in(select(CONTENT.c.sha256))
    )
    if count := work.connection.execute(heard).scalar():
        yield f"{count} recordings that readings were heard in are not kept here."
    if isinstance(work.contents, InFolder):
        known = set(work.connection.execute(select(CONTENT.c.sha256)).scalars())
        left = sum(path.name not in known for path in _files(work.contents.folder / FOLDER))
        if left:
            yield f"{left} files under {FOLDER} belong to nothing; what was interrupted left them, they may be removed."


def _files(folder: Path) -> Iterator[Path]:
    return (path for path in folder.rglob("*") if path.is_file())
