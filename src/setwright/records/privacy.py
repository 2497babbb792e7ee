"""What belongs to an owner: all of it in one folder, or gone, while the technical history of the instruments stays."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, or_, select, text

from setwright.frozen import frozen
from setwright.records.content import InFolder
from setwright.records.edits import get
from setwright.records.engine import PATIENCE, told
from setwright.records.exchange import Exported, Only, export
from setwright.records.forgetting import Kept, forget
from setwright.records.rows import Owner
from setwright.records.shop import Shop
from setwright.records.tables import (
    ATTACHMENT,
    CHANGE,
    CLIMATE,
    CONTENT,
    DOCUMENT,
    ENTRY,
    INSTRUMENT,
    OWNER,
    PART,
    SHEET,
    SHOP,
    SPECIFICATION,
    SPECIFICATION_ITEM,
    STEP,
    STOCK_MOVEMENT,
    VISIT,
)

_WAIT = 3_000  # ms for others to finish before the file is written anew


@frozen
class Forgotten:
    """An owner forgotten, or what would go. counts: what goes, by its name; notes_left: notes that stay with their
    words. done: False where it was only looked at. remarks: where traces may be left."""

    owner: str
    instruments: int
    visits: int
    counts: dict[str, int]
    notes_left: int
    done: bool
    remarks: tuple[str, ...]


class _OnlyLookedError(Exception):
    """Undoes what was done to see what would go."""


def export_owner(shop: Shop, owner: str, folder: Path) -> Exported:
    """Write all the data of one owner, in the layout of a whole shop.

    Args:
        shop: open.
        owner: name or id.
        folder: new, or empty.
    Returns: what was written.
    Raises: InputError, FileFormatError; nothing is left then.
    """
    with shop.reading() as work:
        found = get(work, Owner, owner)
    return export(shop, folder, _only(found.id), found.id)


def _only(owner: str) -> Only:
    """What of each table belongs to an owner, and what that names."""
    instruments = select(INSTRUMENT.c.id).where(INSTRUMENT.c.owner == owner)
    visits = select(VISIT.c.id).where(VISIT.c.instrument.in_(instruments))
    files = or_(ATTACHMENT.c.instrument.in_(instruments), ATTACHMENT.c.visit.in_(visits))
    house = select(VISIT.c.specification).where(VISIT.c.id.in_(visits), VISIT.c.specification.is_not(None))
    texts = [
        select(INSTRUMENT.c.file).where(INSTRUMENT.c.owner == owner),
        *(select(VISIT.c[one]).where(VISIT.c.id.in_(visits)) for one in ("job_file", "instrument_file", "belief")),
    ]
    rows = (("owner", select(OWNER.c.id).where(OWNER.c.id == owner)), ("instrument", instruments), ("visit", visits))
    return {
        "shop": SHOP.c.id.is_not(None),
        "owner": OWNER.c.id == owner,
        "instrument": INSTRUMENT.c.owner == owner,
        "visit": VISIT.c.id.in_(visits),
        **{one.name: one.c.visit.in_(visits) for one in (ENTRY, STEP, CLIMATE, SHEET, STOCK_MOVEMENT)},
        "part": PART.c.id.in_(select(STOCK_MOVEMENT.c.part).where(STOCK_MOVEMENT.c.visit.in_(visits))),
        "specification": SPECIFICATION.c.id.in_(house),
        "specification_item": SPECIFICATION_ITEM.c.specification.in_(house),
        "document": or_(*(DOCUMENT.c.sha256.in_(one.where(one.selected_columns[0].is_not(None))) for one in texts)),
        "attachment": files,
        "content": CONTENT.c.sha256.in_(select(ATTACHMENT.c.sha256).where(files)),
        "change": or_(*((CHANGE.c.table_name == name) & CHANGE.c.row.in_(ids) for name, ids in rows)),
    }


def forget_owner(
    shop: Shop, owner: str, who: str = "", notes: bool = False, keep_photos: bool = False, really: bool = True
) -> Forgotten:
    """Delete an owner: name, contact, note, wishes, photos, sheets, and what the shop noted about changes of these.

    Readings, work done, parts, steps and climate stay with the instruments, which belong to nobody then. Name and
    contact are taken out of all other words; that of single names and nicknames in notes only the notes' deletion does.

    Args:
        shop: open.
        owner: name or id.
        who: does it.
        notes: the words of all notes, strikes and remarks in the journals of their instruments go too.
        keep_photos: photos and other files stay; recordings of strings always do.
        really: False only looks what would go.
    Returns: what went.
    Raises: InputError; nothing is deleted then.
    """
    kept = Kept()
    try:
        with shop.writing(who) as work:
            if work.connection.dialect.name == "sqlite":
                work.connection.exec_driver_sql("PRAGMA secure_delete = ON").fetchall()
            found = get(work, Owner, owner)
            with _unguarded(work.connection, ENTRY.name):
                forget(work, found, notes, keep_photos, kept)
            if not really:
                raise _OnlyLookedError
    except _OnlyLookedError:
        return _told(shop, found, kept, False, ())
    if isinstance(shop.contents, InFolder):
        for sha256 in kept.contents:
            shop.contents.path(sha256).unlink(missing_ok=True)
    return _told(shop, found, kept, True, tuple(_remarks(shop, wipe(shop))))


def _told(shop: Shop, owner: Owner, kept: Kept, done: bool, remarks: tuple[str, ...]) -> Forgotten:
    counts = {name: count for name, count in kept.counts.items() if count}
    return Forgotten(owner.id, len(kept.instruments), len(kept.visits), counts, kept.notes_left, done, remarks)


def _remarks(shop: Shop, wiped: bool) -> Iterator[str]:
    if not wiped:
        yield (
            "Another bench was at work: what was deleted may still stand in the file; run setwright shop wipe when it "
            "has finished."
        )
    if shop.place.folder is None:
        yield "The server's write-ahead log and older backups hold what was deleted until they are rotated."
        return
    for path in sorted(shop.place.folder.glob("shop-before-*.sqlite")):
        yield f"{path} was made before and still holds what was deleted; remove it when it is no longer needed."
    yield "Backups and exports made before still hold what was deleted."


def wipe(shop: Shop) -> bool:
    """Overwrite what was deleted: of SQLite the file is written anew and its log emptied, PostgreSQL clears its pages.

    Args:
        shop: open.
    Returns: whether it could be done; others at work may stand in the way.
    Raises: InputError, FileFormatError for a disk that is full, a database that is damaged.
    """
    with told(shop.place, "what was deleted may still stand in the file"):
        if shop.place.folder is None:
            with shop.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
                connection.execute(text("VACUUM"))
            return True
        pooled = shop.engine.raw_connection()
        driver: Any = pooled.driver_connection
        try:
            driver.execute("PRAGMA query_only = OFF")
            driver.execute(f"PRAGMA busy_timeout = {_WAIT}")
            driver.execute("VACUUM")
            return bool(driver.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0] == 0)
        except sqlite3.OperationalError as error:
            if "locked" not in str(error):
                raise
            return False
        finally:
            driver.execute(f"PRAGMA busy_timeout = {PATIENCE * 1000}")
            pooled.close()


@contextmanager
def _unguarded(connection: Connection, table: str) -> Iterator[None]:
    """Take the guards of a table down inside the open transaction, and put them up again before it ends; no other
    transaction ever sees the table without them, and one that fails leaves them as they were."""
    if connection.dialect.name == "sqlite":
        guards: Sequence[Any] = connection.exec_driver_sql(
            "SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND tbl_name = ?", (table,)
        ).all()
        for name, _ in guards:
            connection.exec_driver_sql(f'DROP TRIGGER "{name}"')
        yield
        for _, words in guards:
            connection.exec_driver_sql(words)
        return
    connection.exec_driver_sql(f'ALTER TABLE "{table}" DISABLE TRIGGER USER')
    yield
    connection.exec_driver_sql(f'ALTER TABLE "{table}" ENABLE TRIGGER USER')
