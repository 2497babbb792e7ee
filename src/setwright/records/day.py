"""What a shop's day needs at a glance: the open visits with their last entry, the people, and how far a visit is."""

from __future__ import annotations

from sqlalchemy import func, select

from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.records.called import the_one
from setwright.records.edits import add
from setwright.records.rows import Person, line, made_of
from setwright.records.shop import Work
from setwright.records.tables import CHANGE, ENTRY, INSTRUMENT, OWNER, PERSON, VISIT

MOST = 100  # open visits of one answer


@frozen
class OpenVisit:
    """A visit that is open. name: of the instrument; owner: theirs, "" when none is known. entries: in its journal;
    who, at: of the last of them, "" where there is none or it was not said."""

    id: str
    version: int
    instrument: str
    name: str
    owner: str
    number: int
    kind: str
    came: str
    wish: str
    entries: int
    who: str
    at: str


@frozen
class Mark:
    """How far a visit is: it is another one as soon as its row or its journal is another one."""

    visit: str
    version: int
    entries: int


def open_visits(work: Work, most: int = MOST) -> tuple[OpenVisit, ...]:
    """The visits that are open, the one that has waited longest first.

    Args:
        work: on the shop.
        most: visits at most.
    Returns: the visits.
    """
    own = ENTRY.alias()  # asked visit by visit: the open ones are few, the entries of all others many
    count = select(func.count()).select_from(own).where(own.c.visit == VISIT.c.id).scalar_subquery()
    last = select(func.max(own.c.number)).where(own.c.visit == VISIT.c.id).scalar_subquery()
    owner = func.coalesce(OWNER.c.name, "").label("owner")
    rows = (
        select(
            VISIT.c.id, VISIT.c.version, VISIT.c.instrument, INSTRUMENT.c.name, owner, VISIT.c.number, VISIT.c.kind,
            VISIT.c.came, VISIT.c.wish, count.label("entries"), func.coalesce(ENTRY.c.who, "").label("who"),
            func.coalesce(ENTRY.c.at, "").label("at"),
        )
        .join(INSTRUMENT, INSTRUMENT.c.id == VISIT.c.instrument)
        .join(OWNER, OWNER.c.id == INSTRUMENT.c.owner, isouter=True)
        .join(ENTRY, (ENTRY.c.visit == VISIT.c.id) & (ENTRY.c.number == last), isouter=True)
        .where(VISIT.c.state == "open")
        .order_by(VISIT.c.came, VISIT.c.id)
        .limit(most)
    )  # fmt: skip
    return tuple(made_of(OpenVisit, row) for row in work.connection.execute(rows))


def mark(work: Work, visit: str) -> Mark:
    """How far a visit is.

    Args:
        work: on the shop.
        visit: its whole id.
    Returns: the mark.
    Raises: InputError where there is no such visit.
    """
    count = select(func.count()).select_from(ENTRY).where(ENTRY.c.visit == VISIT.c.id).scalar_subquery()
    rows = select(VISIT.c.version, count.label("entries")).where(VISIT.c.id == visit)
    row = work.connection.execute(rows).one_or_none()
    if row is None:
        raise InputError(f"there is no visit {visit[:40]!r} in this shop; go back to the day.")
    return Mark(visit, row.version, row.entries)


def marks(work: Work) -> tuple[Mark, ...]:
    """How far every open visit is.

    Args:
        work: on the shop.
    Returns: the marks, by id.
    """
    count = select(func.count()).select_from(ENTRY).where(ENTRY.c.visit == VISIT.c.id).scalar_subquery()
    rows = select(VISIT.c.id, VISIT.c.version, count).where(VISIT.c.state == "open").order_by(VISIT.c.id).limit(MOST)
    return tuple(Mark(*row) for row in work.connection.execute(rows))


def last_change(work: Work) -> str:
    """Another text as soon as an owner, an instrument or a visit was changed, or a visit closed or opened again.

    Args:
        work: on the shop.
    Returns: the text; "" where nothing ever was.
    """
    return work.connection.execute(select(func.max(CHANGE.c.id))).scalar() or ""


def people(work: Work) -> tuple[Person, ...]:
    """Who works here now, by name.

    Args:
        work: on the shop.
    Returns: the people.
    """
    rows = select(PERSON).where(PERSON.c.until.is_(None)).order_by(PERSON.c.name, PERSON.c.id)
    return tuple(made_of(Person, row) for row in work.connection.execute(rows))


def person_in(work: Work, said: str) -> Person:
    """Somebody who works here; not those who left, who may have had the same name.

    Args:
        work: on the shop.
        said: name, id, or the end of it.
    Returns: them.
    Raises: InputError where nobody, or more than one, is meant.
    """
    return made_of(Person, the_one(work, PERSON, said, among=PERSON.c.until.is_(None), where="who works here"))


def person_named(work: Work, name: str) -> Person:
    """The one who works here under a name, made where there is none.

    Args:
        work: writing.
        name: theirs.
    Returns: the person.
    Raises: InputError.
    """
    said = line(name, "name", needed=True)
    known = next((one for one in people(work) if one.name.casefold() == said.casefold()), None)
    return known or add(work, Person("", 1, said, work.now, None))
