"""Rows that may be changed: each change names the version it was based on, and what was before is kept."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, TypeVar

from sqlalchemy import Table, insert, select, update

from setwright.errors import InputError, StaleEditError
from setwright.records.called import the_one
from setwright.records.ids import new_id
from setwright.records.rows import Instrument, Owner, Person, Visit, as_json, folded, line, made_of, page
from setwright.records.shop import Work
from setwright.records.tables import CHANGE, INSTRUMENT, OWNER, PERSON, VISIT

Kind = TypeVar("Kind", Person, Owner, Instrument, Visit)
TABLES: dict[type, Table] = {Person: PERSON, Owner: OWNER, Instrument: INSTRUMENT, Visit: VISIT}
_FIXED = {"id", "version", "made", "sought", "tail", "number"}
_PAGES = {"note", "wish"}
_SOUGHT = {Owner: ("name", "contact"), Instrument: ("name", "maker", "model", "serial", "colour")}
_NEEDED = {"name", "came", "since"}
_CALLED: dict[type, tuple[str, ...]] = {Person: ("name",), Owner: ("name",), Instrument: ("name", "serial")}
_ROWS = {"owner": Owner, "instrument": Instrument}  # columns that name a row of another table


def get(work: Work, kind: type[Kind], id: str, lock: bool = False) -> Kind:
    """A row by its id, or by what it is called.

    Args:
        work: on the shop.
        kind: Person, Owner, Instrument or Visit.
        id: its name in the records, or the end of it; of what has a name, or a serial number, that too.
        lock: nobody else may write it until this work is done.
    Returns: the row.
    Raises: InputError where there is none, or more than one.
    """
    return made_of(kind, the_one(work, TABLES[kind], id, _CALLED.get(kind, ()), lock=lock))


def add(work: Work, row: Kind) -> Kind:
    """Add a row, its version 1.

    Args:
        work: writing.
        row: its id "" for a new one; `sought` is made here.
    Returns: the row as kept.
    Raises: InputError.
    """
    given = {name: value for name, value in _values(row).items() if name not in _FIXED}
    known = checked(work, type(row), given) | {"id": row.id or new_id(), "version": 1}
    kept = _sought(replace(row, **known))
    table = TABLES[type(row)]
    work.connection.execute(insert(table), _values(kept))
    if type(row) is not Person:
        _note(work, table.name, kept.id, 1, {}, {})
    return kept


def edit(work: Work, based_on: Kind, **changes: Any) -> Kind:
    """Change fields of a row, unless somebody else has changed the row since it was read.

    Args:
        work: writing.
        based_on: the row as it was when the change was thought of.
        changes: new values of fields.
    Returns: the row as kept; untouched where nothing changes.
    Raises: StaleEditError with both values; InputError.
    """
    kind = type(based_on)
    table = TABLES[kind]
    if wrong := set(changes) & _FIXED:
        raise InputError(f"{' and '.join(sorted(wrong))} of a row is not for changing; leave it out.")
    now = get(work, kind, based_on.id, lock=True)
    new = checked(work, kind, changes)
    if now.version != based_on.version:
        raise _stale(work, now, based_on, new)
    before = {name: getattr(now, name) for name, value in new.items() if getattr(now, name) != value}
    if not before:
        return now
    after = {name: new[name] for name in before}
    kept = _sought(replace(now, **after, version=now.version + 1))
    values = {name: value for name, value in _values(kept).items() if name not in ("id", "tail")}
    here = (table.c.id == now.id) & (table.c.version == now.version)
    work.connection.execute(update(table).where(here).values(**values))
    if kind is not Person:
        _note(work, table.name, now.id, kept.version, before, after)
    return kept


def checked(work: Work, kind: type, given: dict[str, Any]) -> dict[str, Any]:
    """Values of fields, fit for their columns.

    Args:
        work: on the shop.
        kind: of row.
        given: field -> value.
    Returns: the same, tidied.
    Raises: InputError.
    """
    out: dict[str, Any] = {}
    for name, value in given.items():
        if name in _ROWS and value is not None:
            out[name] = get(work, _ROWS[name], value).id
        elif not isinstance(value, str):
            out[name] = value
        else:
            said = f"{name.replace('_', ' ')} of the {TABLES[kind].name}"
            out[name] = page(value, said) if name in _PAGES else line(value, said, name in _NEEDED)
    if out.get("state", "open") not in ("open", "closed"):
        raise InputError(f"a visit cannot be {out['state'][:40]!r}; it is open or closed.")
    return out


def _values(row: Any) -> dict[str, Any]:
    names: tuple[str, ...] = type(row).__match_args__
    return {name: getattr(row, name) for name in names}


def _sought(row: Kind) -> Kind:
    names = _SOUGHT.get(type(row))
    if names is None:
        return row
    sought: dict[str, Any] = {"sought": folded(*(getattr(row, name) for name in names))}
    return replace(row, **sought)


def _note(work: Work, table: str, row: str, version: int, before: dict[str, Any], after: dict[str, Any]) -> None:
    """Keep who changed what, and what was before."""
    work.connection.execute(insert(CHANGE), {
        "id": new_id(), "table_name": table, "row": row, "version": version, "made": work.now, "who": work.who,
        "before": as_json(before), "after": as_json(after),
    })  # fmt: skip


def _stale(work: Work, now: Any, based_on: Any, new: dict[str, Any]) -> StaleEditError:
    """Both values of what was to be changed, in one sentence."""
    table = TABLES[type(now)].name
    last = select(CHANGE.c.who, CHANGE.c.made).where(CHANGE.c.table_name == table, CHANGE.c.row == now.id)
    by = work.connection.execute(last.order_by(CHANGE.c.version.desc()).limit(1)).one_or_none()
    who = f" by {by.who}" if by and by.who else ""
    when = f" at {by.made}" if by else ""
    theirs = {name: getattr(now, name) for name in new}
    both = "; ".join(f"{name} is {_short(theirs[name])} there and {_short(new[name])} here" for name in new)
    return StaleEditError(
        f"the {table} was changed{who}{when} (version {now.version}) after you read it (version {based_on.version}): "
        f"{both}; nothing was written, look at it again.", theirs, dict(new),
    )  # fmt: skip


def _short(value: Any) -> str:
    text = repr(value)
    return text if len(text) <= 60 else f"{text[:57]}..."
