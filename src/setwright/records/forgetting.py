"""How an owner is taken out of every table, inside one transaction."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from sqlalchemy import delete, insert, or_, select, update

from setwright.errors import SetwrightError
from setwright.records.documents import document, keep_document
from setwright.records.entries import Entry
from setwright.records.entry_rows import entry_of
from setwright.records.exchange_schema import LEFT_OUT
from setwright.records.ids import new_id
from setwright.records.journal_text import line_of, parse_line
from setwright.records.personal import Change, blanker, in_bytes, in_json, instrument_without, job_without
from setwright.records.rows import Owner, as_json, folded
from setwright.records.shop import Work
from setwright.records.tables import (
    ATTACHMENT,
    CHANGE,
    CONTENT,
    CONTENT_PART,
    DOCUMENT,
    ENTRY,
    INSTRUMENT,
    METADATA,
    OWNER,
    SHEET,
    STEP,
    VISIT,
)

REMOVED = "removed"  # stands where words of a note were
_ABOUT = ("name", "maker", "model", "serial", "colour")


@dataclass
class Kept:
    """What was found and done. contents: those whose files go once the transaction has ended."""

    instruments: list[str] = field(default_factory=list)
    visits: list[str] = field(default_factory=list)
    contents: list[str] = field(default_factory=list)
    counts: Counter[str] = field(default_factory=Counter)
    notes_left: int = 0


def forget(work: Work, owner: Owner, notes: bool, keep_photos: bool, kept: Kept) -> None:
    """Take an owner out of every table.

    Args:
        work: writing; the guards of the entries are down.
        owner: whom.
        notes: the words of notes go too.
        keep_photos: photos and other files stay.
        kept: filled with what was done.
    """
    change = blanker(owner)
    mine = select(INSTRUMENT).where(INSTRUMENT.c.owner == owner.id).order_by(INSTRUMENT.c.id).with_for_update()
    instruments = work.connection.execute(mine).mappings().all()
    kept.instruments = [row["id"] for row in instruments]
    visits = [*_visits(work, kept.instruments), *_former_visits(work, owner, kept.instruments)]
    kept.visits = [row["id"] for row in visits]
    old: set[str] = set()
    for visit in visits:
        _visit(work, visit, change, notes, old, kept)
        _entries(work, visit["id"], change, notes, kept)
    _files(work, change, keep_photos, kept)
    for instrument in instruments:
        _instrument(work, instrument, change, old)
    _changes(work, owner, change, kept)
    _note_forgotten(work, [(INSTRUMENT.name, one) for one in instruments], {"owner": None})
    _note_forgotten(work, [(VISIT.name, one) for one in visits], {"wish": ""})
    work.connection.execute(delete(OWNER).where(OWNER.c.id == owner.id))
    _documents(work, old)
    for table in (METADATA.tables[name] for name in reversed(LEFT_OUT)):
        if "visit" in table.columns:  # what follows from the journals is worked out anew
            work.connection.execute(delete(table).where(table.columns["visit"].in_(kept.visits)))


def _visits(work: Work, instruments: Sequence[str]) -> list[Any]:
    wanted = select(VISIT).where(VISIT.c.instrument.in_(instruments)).order_by(VISIT.c.id).with_for_update()
    return list(work.connection.execute(wanted).mappings())


def _former_visits(work: Work, owner: Owner, instruments: Sequence[str]) -> list[Any]:
    """Visits of instruments that have changed hands, from the time they were this owner's."""
    here = (CHANGE.c.table_name == INSTRUMENT.name) & CHANGE.c.before.contains(f'"owner":"{owner.id}"')
    out: dict[str, Any] = {}
    for row, gone in work.connection.execute(select(CHANGE.c.row, CHANGE.c.made).where(here)).all():
        if row in instruments:
            continue
        made = select(CHANGE.c.row).where(
            CHANGE.c.table_name == VISIT.name, CHANGE.c.version == 1, CHANGE.c.made <= gone
        )
        wanted = select(VISIT).where(VISIT.c.instrument == row, VISIT.c.id.in_(made)).with_for_update()
        out |= {one["id"]: one for one in work.connection.execute(wanted).mappings()}
    return [out[id] for id in sorted(out)]


def _visit(work: Work, visit: Any, change: Change, notes: bool, old: set[str], kept: Kept) -> None:
    """The wish goes, in its column and in the job file; so do names in the names of files."""
    old |= {visit["job_file"], visit["instrument_file"]}
    job = job_without(document(work, visit["job_file"]).decode(), change, notes)
    instrument = instrument_without(document(work, visit["instrument_file"]).decode(), change)
    tail = b"" if notes else in_bytes(visit["tail"], change)
    values = {name: change(visit[name]) for name in ("kind", "job_name", "instrument_name", "journal_name")}
    work.connection.execute(update(VISIT).where(VISIT.c.id == visit["id"]).values(
        **values, wish="", tail=tail, version=visit["version"] + 1, job_file=keep_document(work, job.encode(), "job"),
        instrument_file=keep_document(work, instrument.encode(), "instrument"),
    ))  # fmt: skip
    kept.counts["wishes"] += bool(visit["wish"])
    for table, column in ((STEP, STEP.c.advice), (SHEET, SHEET.c.data)):
        for id, said in work.connection.execute(select(table.c.id, column).where(table.c.visit == visit["id"])).all():
            new = "{}" if table is SHEET else in_json(said, change)
            if new != said:
                work.connection.execute(update(table).where(table.c.id == id).values({column: new}))
                kept.counts["sheets"] += table is SHEET


def _entries(work: Work, visit: str, change: Change, notes: bool, kept: Kept) -> None:
    """Words of notes and strikes, names of recordings, and what hands wrote between the entries."""
    last = 0
    rows = work.connection.execute(select(ENTRY).where(ENTRY.c.visit == visit).order_by(ENTRY.c.number))
    for row in rows.mappings().all():
        new = _words(entry_of(dict(row)), change, notes, kept)
        values: dict[str, Any] = {}
        if new is not None:
            values = {"text": new.text, "recording": new.recording, "line": line_of(new)}
        if row["before"] is not None:
            gap = None if row["number"] == last + 1 else b""
            values["before"] = gap if notes else in_bytes(row["before"], change)
            kept.counts["remarks between entries"] += bool(row["before"]) and values["before"] != row["before"]
        last = row["number"]
        here = (ENTRY.c.visit == visit) & (ENTRY.c.number == row["number"])
        if any(value != row[name] for name, value in values.items()):
            work.connection.execute(update(ENTRY).where(here).values(**values))


def _words(entry: Entry, change: Change, notes: bool, kept: Kept) -> Entry | None:
    """The entry without the words that go; None where it stays as it is."""
    name = change(entry.recording)
    if entry.verb in ("note", "strike"):
        head = "" if entry.strikes is None else f"#{entry.strikes}: "
        said = entry.text.removeprefix(head)
        new = REMOVED if notes else change(said)
        kept.counts["notes"] += new != said
        kept.notes_left += new != REMOVED
        changed = replace(entry, text=head + new)
    else:
        changed = replace(entry, recording=name, text=entry.text.replace(f'"{entry.recording}"', f'"{name}"'))
    return None if changed == entry else _readable(changed)


def _readable(entry: Entry) -> Entry:
    """The entry; with the plainest words where those left would be read as something else."""
    try:
        if parse_line(line_of(entry)) == entry:
            return entry
    except SetwrightError:
        pass
    return replace(entry, text=REMOVED if entry.strikes is None else f"#{entry.strikes}: {REMOVED}")


def _files(work: Work, change: Change, keep_photos: bool, kept: Kept) -> None:
    """Photos, sheets and other files go; recordings that readings were heard in stay."""
    here = or_(ATTACHMENT.c.instrument.in_(kept.instruments), ATTACHMENT.c.visit.in_(kept.visits))
    heard = select(ENTRY.c.sha256).where(ENTRY.c.visit.in_(kept.visits), ENTRY.c.sha256 != "").distinct()
    stays = {*work.connection.execute(heard).scalars()}
    going: set[str] = set()
    for row in work.connection.execute(select(ATTACHMENT).where(here).order_by(ATTACHMENT.c.id)).mappings().all():
        own = ATTACHMENT.c.id == row["id"]
        kind = row["kind"]
        if kind == "recording" or row["sha256"] in stays or (keep_photos and kind != "sheet"):
            work.connection.execute(update(ATTACHMENT).where(own).values(name=change(row["name"])))
            continue
        work.connection.execute(delete(ATTACHMENT).where(own))
        going.add(row["sha256"])
        kept.counts[{"photo": "photos", "sheet": "printed sheets"}.get(kind, "other files")] += 1
    still = {*work.connection.execute(select(ATTACHMENT.c.sha256).where(ATTACHMENT.c.sha256.in_(going))).scalars()}
    kept.contents = sorted(going - still)
    for table in (CONTENT_PART, CONTENT):
        work.connection.execute(delete(table).where(table.c.sha256.in_(kept.contents)))


def _instrument(work: Work, row: Any, change: Change, old: set[str]) -> None:
    """The instrument belongs to nobody; what is read on it stays."""
    old.add(row["file"])
    file = instrument_without(document(work, row["file"]).decode(), change)
    about = {name: change(row[name]) for name in _ABOUT}
    work.connection.execute(update(INSTRUMENT).where(INSTRUMENT.c.id == row["id"]).values(
        **about, owner=None, version=row["version"] + 1, sought=folded(*about.values()),
        file_name=change(row["file_name"]), file=keep_document(work, file.encode(), "instrument"),
    ))  # fmt: skip


def _changes(work: Work, owner: Owner, change: Change, kept: Kept) -> None:
    """What the shop noted about changes: of the owner all goes, of the rest names, wishes and the owner's id."""
    own = (CHANGE.c.table_name == OWNER.name) & (CHANGE.c.row == owner.id)
    kept.counts["notes of changes"] += work.connection.execute(delete(CHANGE).where(own)).rowcount
    here = or_(
        (CHANGE.c.table_name == INSTRUMENT.name) & CHANGE.c.row.in_(kept.instruments),
        (CHANGE.c.table_name == VISIT.name) & CHANGE.c.row.in_(kept.visits),
        CHANGE.c.before.contains(owner.id), CHANGE.c.after.contains(owner.id),
    )  # fmt: skip
    for row in work.connection.execute(select(CHANGE).where(here)).mappings().all():
        gone = ["wish"] if row["row"] in kept.visits else []
        values = {}
        for name in ("before", "after"):
            keys = (*gone, *(["owner"] if owner.id in str(json.loads(row[name]).get("owner")) else []))
            values[name] = in_json(row[name], change, keys)
        if values != {name: row[name] for name in values}:
            work.connection.execute(update(CHANGE).where(CHANGE.c.id == row["id"]).values(**values))
            kept.counts["notes of changes"] += 1


def _note_forgotten(work: Work, rows: Sequence[tuple[str, Any]], after: dict[str, Any]) -> None:
    """That it was done, by whom and when; not what was there before."""
    for table, row in rows:
        work.connection.execute(insert(CHANGE), {
            "id": new_id(), "table_name": table, "row": row["id"], "version": row["version"] + 1, "made": work.now,
            "who": work.who, "before": "{}", "after": as_json(after),
        })  # fmt: skip


def _documents(work: Work, old: set[str]) -> None:
    """Texts that nothing names any more."""
    for column in (INSTRUMENT.c.file, VISIT.c.job_file, VISIT.c.instrument_file, VISIT.c.belief):
        old -= {*work.connection.execute(select(column).where(column.in_(old))).scalars()}
    work.connection.execute(delete(DOCUMENT).where(DOCUMENT.c.sha256.in_(old)))
