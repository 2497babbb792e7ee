"""One row by what somebody calls it: its id, what it is named, or the end of its id."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from sqlalchemy import ColumnElement, Table, or_, select, true

from setwright.errors import InputError
from setwright.records.ids import is_id
from setwright.records.rows import LINE, folded
from setwright.records.shop import Work

_SHORTEST = 4  # signs of the end of an id
_MANY = 6  # ids asked for; one less is shown
_PLURALS = {"person": "people"}


def the_one(
    work: Work,
    table: Table,
    said: str,
    names: Sequence[str] = ("name",),
    among: ColumnElement[bool] | None = None,
    noun: str = "",
    where: str = "in this shop",
    lock: bool = False,
) -> Any:
    """The row somebody means.

    What is named so letter for letter comes before what differs in small and large letters, and that before what only
    ends so: nothing is deleted by the name of another.

    Args:
        work: on the shop.
        table: of the row.
        said: its whole id; or what it is named, whole; or the last signs of its id, four at least.
        names: columns with what it may be named; none of what has no name of its own.
        among: only rows for which this holds.
        noun: what it is called in messages, "" for the name of the table.
        where: which they are, for messages.
        lock: nobody else may write it until this work is done.
    Returns: the row.
    Raises: InputError where there is none, or more than one, with the ids of those there are.
    """
    plain, noun = said.strip(), noun or table.name
    rows = select(table).where(true() if among is None else among)
    if is_id(plain):
        found = work.connection.execute((rows.with_for_update() if lock else rows).where(table.c.id == plain)).first()
        if found is not None:
            return found
    ids = next((ids for ids in _meant(work, table, plain, names, among) if ids), [])
    if len(ids) == 1:
        return work.connection.execute((rows.with_for_update() if lock else rows).where(table.c.id == ids[0])).one()
    many = _PLURALS.get(noun, f"{noun}s")
    if ids:
        shown = ", ".join(ids[: _MANY - 1])
        count = str(len(ids)) if len(ids) < _MANY else "many"
        raise InputError(f"{count} {many} are meant by {said[:40]!r}; write the whole id of one: {shown}.")
    if not names and not _is_end(plain):
        raise InputError(f"{said[:40]!r} names no {noun}; write its id, or the last four signs of it at least.")
    lists = many if noun in ("person", "owner", "part", "file") else "instruments"
    raise InputError(f"there is no {noun} {said[:40]!r} {where}; setwright shop {lists} lists what there is.")


def _is_end(plain: str) -> bool:
    return len(plain) >= _SHORTEST and plain.isascii() and plain.isalnum()


def _meant(
    work: Work, table: Table, plain: str, names: Sequence[str], among: ColumnElement[bool] | None
) -> Iterator[list[str]]:
    """Ids of the rows that may be meant, those that fit best first, none or up to `_MANY` each time."""
    rows = select(table.c.id, *(table.c[one] for one in names)).where(true() if among is None else among)
    rows = rows.order_by(table.c.id)
    if names and plain and plain.isprintable() and len(plain) <= LINE:
        exactly = rows.where(or_(*(table.c[one] == plain for one in names))).limit(_MANY)
        yield list(work.connection.execute(exactly).scalars())
        alike = folded(plain)
        few = table.c.sought.contains(alike, autoescape=True) if "sought" in table.c else true()
        found = work.connection.execute(rows.where(few))
        yield [row.id for row in found if alike in (folded(getattr(row, one)) for one in names)][:_MANY]
    if _is_end(plain):
        ends = rows.where(table.c.id.like(f"%{plain.lower()}")).limit(_MANY)
        yield list(work.connection.execute(ends).scalars())
