"""What happened about coming in: who was let in, signed in, refused, or given a role. Only added to."""

from __future__ import annotations

import json

from sqlalchemy import and_, func, insert, select

from setwright.frozen import frozen
from setwright.records.ids import new_id
from setwright.records.rows import LINE, made_of
from setwright.records.shop import Work
from setwright.records.tables import AUDIT, CHANGE, INSTRUMENT, VISIT

MOST = 200


@frozen
class Event:
    """Something that happened. event: what, e.g. "signed in"; who: did it; device: name of the bench, "" on the machine
    itself; about: whom or what it is about; words: anything more."""

    id: str
    at: str
    event: str
    who: str
    device: str
    about: str
    words: str


@frozen
class Changed:
    """A row somebody changed. table: owner, instrument or visit; fields: those that changed, none where the row was
    added; about: the instrument it is about, by its name of today, "" where it is about an owner."""

    at: str
    who: str
    table: str
    row: str
    version: int
    fields: tuple[str, ...]
    about: str = ""


def note(work: Work, event: str, about: str = "", device: str = "", words: str = "") -> None:
    """Note what happened, at the time and by the one of the work.

    Args:
        work: writing.
        event: what.
        about: whom or what it is about.
        device: name of the bench.
        words: anything more.
    """
    said = {"event": event, "who": work.who, "device": device, "about": about, "words": words}
    row = {name: plain(text) for name, text in said.items()}
    work.connection.execute(insert(AUDIT), {"id": new_id(), "at": work.now, **row})


def plain(text: str) -> str:
    """A text that came from anywhere, on one line that can be kept and shown.

    Args:
        text: any.
    Returns: its beginning; what cannot be printed is a question mark.
    """
    return "".join(sign if sign.isprintable() else "?" for sign in text[:LINE])


def events(work: Work, most: int = MOST, before: str = "") -> tuple[Event, ...]:
    """What happened, the last first.

    Args:
        work: on the shop.
        most: of them.
        before: id of the one after them, "" for the last there are.
    Returns: the events.
    """
    rows = select(AUDIT).order_by(AUDIT.c.id.desc()).limit(most)
    if before:
        rows = rows.where(AUDIT.c.id < before)
    return tuple(made_of(Event, row) for row in work.connection.execute(rows))


def changes(work: Work, most: int = MOST) -> tuple[Changed, ...]:
    """Which rows were added or changed, the last first.

    Args:
        work: on the shop.
        most: of them.
    Returns: the changes, without what stood there.
    """
    last = select(CHANGE).order_by(CHANGE.c.id.desc()).limit(most).subquery()
    own = INSTRUMENT.alias()
    rows = work.connection.execute(
        select(last, func.coalesce(own.c.name, INSTRUMENT.c.name, "").label("about"))
        .outerjoin(own, and_(last.c.table_name == "instrument", own.c.id == last.c.row))
        .outerjoin(VISIT, and_(last.c.table_name == "visit", VISIT.c.id == last.c.row))
        .outerjoin(INSTRUMENT, INSTRUMENT.c.id == VISIT.c.instrument)
        .order_by(last.c.id.desc())
    )
    return tuple(
        Changed(
            row.made, row.who, row.table_name, row.row, row.version, tuple(sorted(json.loads(row.after))), row.about
        )
        for row in rows
    )
