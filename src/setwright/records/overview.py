"""What there is in a shop, at a glance: instruments that a search finds, and the visits of one."""

from __future__ import annotations

from sqlalchemy import func, select

from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.records.rows import Instrument, Visit, folded, line, made_of
from setwright.records.shop import Work
from setwright.records.tables import INSTRUMENT, OWNER, VISIT

MOST = 200  # rows of one answer


@frozen
class InstrumentLine:
    """An instrument in a list. owner: name, "" when none is known. visits: how many; last: when it came last."""

    id: str
    name: str
    maker: str
    model: str
    serial: str
    colour: str
    owner: str
    visits: int
    last: str | None


@frozen
class OwnerLine:
    """An owner in a list. instruments: how many are theirs."""

    id: str
    name: str
    contact: str
    instruments: int


def instruments(work: Work, find: str = "", most: int = MOST) -> tuple[InstrumentLine, ...]:
    """Instruments, by name.

    Args:
        work: on the shop.
        find: words that all stand in its name, maker, model, serial number, colour or in the owner's name or contact;
            small and large letters are alike.
        most: lines at most.
    Returns: the lines.
    Raises: InputError.
    """
    found = select(INSTRUMENT.c.id)
    for word in _words(find):
        theirs = select(OWNER.c.id).where(OWNER.c.sought.contains(word, autoescape=True))
        found = found.where(INSTRUMENT.c.sought.contains(word, autoescape=True) | INSTRUMENT.c.owner.in_(theirs))
    # The lines of the answer first, then what is counted for each: of a large shop most instruments are not in it.
    lines = found.order_by(INSTRUMENT.c.name, INSTRUMENT.c.id).limit(most).subquery()
    own = VISIT.c.instrument == INSTRUMENT.c.id
    count = select(func.count()).select_from(VISIT).where(own).scalar_subquery().label("visits")
    last = select(func.max(VISIT.c.came)).where(own).scalar_subquery().label("last")
    columns = [INSTRUMENT.c[name] for name in ("id", "name", "maker", "model", "serial", "colour")]
    owner = func.coalesce(OWNER.c.name, "").label("owner")
    rows = select(*columns, owner, count, last).join(lines, lines.c.id == INSTRUMENT.c.id)
    rows = rows.join(OWNER, OWNER.c.id == INSTRUMENT.c.owner, isouter=True)
    answer = work.connection.execute(rows.order_by(INSTRUMENT.c.name, INSTRUMENT.c.id))
    return tuple(made_of(InstrumentLine, row) for row in answer)


def owners(work: Work, find: str = "", most: int = MOST) -> tuple[OwnerLine, ...]:
    """Owners, by name.

    Args:
        work: on the shop.
        find: words that all stand in the name or the contact; small and large letters are alike.
        most: lines at most.
    Returns: the lines.
    Raises: InputError.
    """
    count = select(func.count()).select_from(INSTRUMENT).where(INSTRUMENT.c.owner == OWNER.c.id).scalar_subquery()
    rows = select(OWNER.c.id, OWNER.c.name, OWNER.c.contact, count.label("instruments"))
    for word in _words(find):
        rows = rows.where(OWNER.c.sought.contains(word, autoescape=True))
    found = work.connection.execute(rows.order_by(OWNER.c.name, OWNER.c.id).limit(most))
    return tuple(made_of(OwnerLine, row) for row in found)


def instruments_of(work: Work, owner: str) -> tuple[Instrument, ...]:
    """The instruments of an owner, by name.

    Args:
        work: on the shop.
        owner: their id.
    Returns: the instruments.
    """
    rows = select(INSTRUMENT).where(INSTRUMENT.c.owner == owner).order_by(INSTRUMENT.c.name, INSTRUMENT.c.id)
    return tuple(made_of(Instrument, row) for row in work.connection.execute(rows))


def visits(work: Work, instrument: str) -> tuple[Visit, ...]:
    """The visits of an instrument, in their order.

    Args:
        work: on the shop.
        instrument: its id.
    Returns: the visits.
    """
    rows = select(VISIT).where(VISIT.c.instrument == instrument).order_by(VISIT.c.number)
    return tuple(made_of(Visit, row) for row in work.connection.execute(rows))


def _words(find: str) -> list[str]:
    words = folded(line(find, "what is looked for")).split()
    if len(words) > 10:
        raise InputError(f"{len(words)} words are looked for; up to 10 are.")
    return words
