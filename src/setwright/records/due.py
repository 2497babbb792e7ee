"""Which instruments are to be looked at again: what the journals of their last visits say."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from sqlalchemy import func, select

from setwright.frozen import frozen
from setwright.records.shop import Work
from setwright.records.tables import ENTRY, INSTRUMENT, OWNER, VISIT

AT_ONCE = 500  # visits asked together


@frozen
class Noted:
    """A note that begins with recheck. name, owner, contact: of the instrument, "" when not known. text: of the
    note."""

    instrument: str
    name: str
    owner: str
    contact: str
    visit: str
    number: int
    text: str


def notes_to_look_again(work: Work) -> Iterator[Noted]:
    """Notes that begin with recheck, of every instrument's last visit if that is closed.

    An instrument that has come in again since is looked at; its day is over.

    Args:
        work: on the shop.
    Returns: those that were not struck, in their order.
    """
    later = VISIT.alias()
    again = select(later.c.id).where(later.c.instrument == VISIT.c.instrument, later.c.number > VISIT.c.number)
    last = select(VISIT.c.id).where(VISIT.c.state == "closed", ~again.exists()).order_by(VISIT.c.id)
    ids = work.connection.execute(last).scalars().all()
    for i in range(0, len(ids), AT_ONCE):
        yield from _of(work, ids[i : i + AT_ONCE])


def _of(work: Work, ids: Sequence[str]) -> Iterator[Noted]:
    named = func.lower(ENTRY.c.text).like("recheck%")
    notes = select(ENTRY.c.visit, ENTRY.c.number, ENTRY.c.text)
    notes = notes.where(ENTRY.c.visit.in_(ids), ENTRY.c.verb == "note", named)
    found = work.connection.execute(notes.order_by(ENTRY.c.visit, ENTRY.c.number)).all()
    if not found:
        return
    strikes = select(ENTRY.c.visit, ENTRY.c.strikes).where(
        ENTRY.c.visit.in_({row.visit for row in found}), ENTRY.c.verb == "strike"
    )
    struck = {tuple(row) for row in work.connection.execute(strikes)}
    live = [row for row in found if (row.visit, row.number) not in struck]
    about = (
        select(VISIT.c.id, VISIT.c.instrument, INSTRUMENT.c.name, OWNER.c.name.label("owner"), OWNER.c.contact)
        .join(INSTRUMENT, INSTRUMENT.c.id == VISIT.c.instrument)
        .join(OWNER, OWNER.c.id == INSTRUMENT.c.owner, isouter=True)
        .where(VISIT.c.id.in_({row.visit for row in live}))
    )  # fmt: skip
    homes = {row.id: row for row in work.connection.execute(about)}
    for one in live:
        home = homes[one.visit]
        yield Noted(home.instrument, home.name, home.owner or "", home.contact or "", one.visit, one.number, one.text)
