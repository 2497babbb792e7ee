"""House specifications: what the shop holds itself to, in versions that never change."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import asdict

from sqlalchemy import func, insert, select

from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.metrology.reading import Convention, Place
from setwright.records.ids import new_id
from setwright.records.rows import as_json, line, page
from setwright.records.shop import Work, alone
from setwright.records.tables import SPECIFICATION, SPECIFICATION_ITEM

_MOST = 500  # items


@frozen
class Item:
    """One thing specified. what: as in the journal ("string height"). kind: of the value, as `entries.Value`. nominal,
    low, high: in the SI unit of the kind (cents and turns as they are), None where that side is free. unit, written:
    as it was written. source: of the figure, "" when it is the shop's own."""

    what: str
    place: Place
    convention: Convention
    kind: str
    nominal: float | None
    low: float | None
    high: float | None
    unit: str
    written: str
    source: str = ""


@frozen
class Specification:
    """A house specification. number: its version, from 1."""

    id: str
    name: str
    number: int
    made: str
    who: str
    note: str
    items: tuple[Item, ...]


def specify(work: Work, name: str, items: Sequence[Item], note: str = "") -> Specification:
    """Add a specification, or the next version of one; those before it stay as they are.

    Args:
        work: writing.
        name: of the specification.
        items: what it holds.
        note: why it is new.
    Returns: the specification.
    Raises: InputError.
    """
    said = line(name, "name of the specification", needed=True)
    if not 0 < len(items) <= _MOST:
        raise InputError(f"a specification holds 1 to {_MOST} things, not {len(items)}.")
    for item in items:
        _check(item)
    alone(work)
    last = select(func.max(SPECIFICATION.c.number)).where(SPECIFICATION.c.name == said)
    number = (work.connection.execute(last).scalar() or 0) + 1
    row = {
        "id": new_id(), "name": said, "number": number, "made": work.now, "who": work.who,
        "note": page(note, "note of the specification"),
    }  # fmt: skip
    work.connection.execute(insert(SPECIFICATION), row)
    work.connection.execute(insert(SPECIFICATION_ITEM), [
        {name: getattr(item, name) for name in Item.__match_args__} | {
            "specification": row["id"], "number": i, "place": as_json(asdict(item.place)),
            "convention": as_json(asdict(item.convention)),
        }
        for i, item in enumerate(items, start=1)
    ])  # fmt: skip
    return Specification(**row, items=tuple(items))  # type: ignore[arg-type]


def specification(work: Work, id: str) -> Specification:
    """A specification by its id.

    Args:
        work: on the shop.
        id: of one version.
    Returns: the specification.
    Raises: InputError where there is none.
    """
    row = work.connection.execute(select(SPECIFICATION).where(SPECIFICATION.c.id == id)).one_or_none()
    if row is None:
        raise InputError(f"there is no specification {id[:40]!r}; list them first.")
    own = select(SPECIFICATION_ITEM).where(SPECIFICATION_ITEM.c.specification == id)
    items = tuple(
        Item(
            one.what, Place(**json.loads(one.place)), Convention(**json.loads(one.convention)), one.kind, one.nominal,
            one.low, one.high, one.unit, one.written, one.source,
        )
        for one in work.connection.execute(own.order_by(SPECIFICATION_ITEM.c.number))
    )  # fmt: skip
    return Specification(row.id, row.name, row.number, row.made, row.who, row.note, items)


def specifications(work: Work) -> tuple[Specification, ...]:
    """All versions of all specifications, by name, the newest first.

    Args:
        work: on the shop.
    Returns: the specifications.
    """
    rows = select(SPECIFICATION.c.id).order_by(SPECIFICATION.c.name, SPECIFICATION.c.number.desc())
    return tuple(specification(work, id) for id in work.connection.execute(rows).scalars().all())


def _check(item: Item) -> None:
    line(item.what, "what is specified", needed=True)
    for words in (item.kind, item.unit, item.written, item.source):
        line(words, item.what)
    given = [one for one in (item.low, item.nominal, item.high) if one is not None]
    if not given or not all(math.isfinite(one) for one in given) or given != sorted(given):
        raise InputError(f"{item.what} {item.written[:40]!r}: the limits do not rise or say nothing; check them.")
