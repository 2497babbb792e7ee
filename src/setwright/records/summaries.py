"""Summaries of closed visits, kept beside them, so that questions about all visits read no journals.

A summary holds for one version of its visit: what is closed cannot get an entry, and opening it again makes a new
version. What is missing or out of date is made when somebody asks, some visits at a time.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterable, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Select, delete, func, or_, select

from setwright.frozen import frozen
from setwright.metrology.conformity import Tolerance, Verdict, decide
from setwright.metrology.reading import Convention
from setwright.records.bulk import insert_rows
from setwright.records.found_left import ATTITUDES, Key, Summed, Told, change, journals, summed
from setwright.records.shop import Shop, Work, alone
from setwright.records.tables import CLIMATE, ENTRY, SPECIFICATION_ITEM, VISIT, VISIT_SUMMARY, VISIT_VALUE

AT_ONCE = 100  # visits summed up in one writing: other benches wait for it
WORDS = {Verdict.MEETS: "inside", Verdict.DOES_NOT_MEET: "outside", Verdict.CANNOT_BE_TOLD: "not certain"}
_YEAR = 365.25  # days
Progress = Callable[[int, int], None]  # told how many visits are summed up, of how many


@frozen
class Limit:
    """One thing a specification limits. string, fret: None for every one; side "" for both. convention: as in `Key`."""

    number: int
    what: str
    string: int | None
    fret: int | None
    side: str
    harmonic: bool
    convention: str
    kind: str
    nominal: float | None
    tolerance: Tolerance


def limits(work: Work, specification: str) -> tuple[Limit, ...]:
    """What a specification limits; what it only names without a limit is left out.

    Args:
        work: on the shop.
        specification: id of one version.
    Returns: the limits, in their order.
    """
    rows = select(SPECIFICATION_ITEM).where(SPECIFICATION_ITEM.c.specification == specification)
    out = []
    for row in work.connection.execute(rows.order_by(SPECIFICATION_ITEM.c.number)):
        if (row.low is None and row.high is None) or row.low == row.high:
            continue
        place, how = json.loads(row.place), Convention(**json.loads(row.convention))
        out.append(Limit(
            row.number, row.what, place["string"], place["fret"], place["side"], place["harmonic"],
            "" if how == Convention() else row.convention, row.kind, row.nominal,
            Tolerance(-math.inf if row.low is None else row.low, math.inf if row.high is None else row.high),
        ))  # fmt: skip
    return tuple(out)


def limit_of(key: Key, given: Iterable[Limit]) -> Limit | None:
    """The limit a reading is held to.

    Args:
        key: what was read; only the playing attitude is held to anything.
        given: from `limits`.
    Returns: the first that fits, None where none does.
    """
    if key.attitude != ATTITUDES[0]:
        return None
    return next((one for one in given if _fits(one, key)), None)


def _fits(limit: Limit, key: Key) -> bool:
    return (
        (limit.what, limit.kind, limit.harmonic, limit.convention) == (key.what, key.kind, key.harmonic, key.convention)
        and limit.string in (None, key.string)
        and limit.fret in (None, key.fret)
        and (not limit.side or key.side in ("", limit.side))
    )


def verdict(value: Told, limit: Limit) -> str:
    """What is said of a value against a limit, after ISO 14253-1 with U = 2 u.

    Args:
        value: with its uncertainty.
        limit: it is held to.
    Returns: "inside", "outside" or "not certain".
    """
    return WORDS[decide(value.si, value.u, limit.tolerance).verdict]


def unsummed(work: Work, most: int | None = None) -> int:
    """How many summaries are missing or out of date.

    Args:
        work: on the shop.
        most: up to how many they are counted, None for all.
    Returns: how many visits are to be summed up.
    """
    which = _outdated(VISIT.c.id).limit(most).subquery()
    return int(work.connection.execute(select(func.count()).select_from(which)).scalar_one())


def refresh(shop: Shop, most: int | None = None, progress: Progress | None = None) -> int:
    """Make every summary that is missing or out of date.

    Args:
        shop: open.
        most: visits at most, None for all.
        progress: told how far it is, before the first visits and after each some of them, and not where there is
            nothing to do; what it raises ends the work, and what was summed up by then stays.
    Returns: how many visits were summed up; each some of them are one writing.
    """
    after, made, of = "", 0, 0
    with shop.reading() as work:
        if not _stale(work, after, 1):
            return 0
        if progress is not None:
            of = unsummed(work, most)
            progress(0, of)
    while most is None or made < most:
        with shop.writing() as work:
            alone(work)
            visits = _stale(work, after, AT_ONCE)
            if not visits:
                break
            made += _sum_up(work, visits)
            after = visits[-1].id
        if progress is not None:
            progress(min(made, of), of)
    if progress is not None and made < of:  # others have summed up the rest
        progress(of, of)
    return made


_ABOUT = [VISIT.c[name] for name in ("id", "version", "instrument", "number", "state", "kind", "came", "specification")]


def _outdated(*columns: ColumnElement[Any]) -> Select[Any]:
    """Visits whose summaries are missing or out of date."""
    known = VISIT_SUMMARY.c.version
    rows = select(*columns).join(VISIT_SUMMARY, VISIT_SUMMARY.c.visit == VISIT.c.id, isouter=True)
    return rows.where(or_(known != VISIT.c.version, known.is_(None) & (VISIT.c.state == "closed")))


def _stale(work: Work, after: str, most: int) -> Sequence[Any]:
    rows = _outdated(*_ABOUT).where(VISIT.c.id > after)
    return work.connection.execute(rows.order_by(VISIT.c.id).limit(most)).all()


def _sum_up(work: Work, stale: Sequence[Any]) -> int:
    """Sum up visits, and those after them that were summed up before, since what changed is counted from the last."""
    ids = [one.id for one in stale]
    later = VISIT.alias()
    after = select(later.c.id).join(VISIT, _next(VISIT, later)).where(VISIT.c.id.in_(ids))
    again = select(*_ABOUT).join(VISIT_SUMMARY, VISIT_SUMMARY.c.visit == VISIT.c.id)
    again = again.where(VISIT.c.id.in_(after), VISIT.c.state == "closed", VISIT_SUMMARY.c.version == VISIT.c.version)
    visits = {one.id: one for one in [*stale, *work.connection.execute(again)]}
    for table in (VISIT_VALUE, VISIT_SUMMARY):
        work.connection.execute(delete(table).where(table.c.visit.in_(visits)))
    closed = [one for one in visits.values() if one.state == "closed"]
    if not closed:
        return len(stale)
    wanted = [one.id for one in closed]
    before = _before(work, wanted)
    needed = set(wanted) | {one.id for one in before.values()}
    sums = {visit: summed(rows) for visit, rows in journals(work, ENTRY.c.visit.in_(needed))}
    air = _air(work, needed)
    known: dict[str, tuple[Limit, ...]] = {}
    summaries, values = [], []
    for one in closed:
        spec = one.specification
        if spec is not None and spec not in known:
            known[spec] = limits(work, spec)
        last = before.get(one.id)
        row, own = _rows(one, last, sums, air, known.get(spec, ()))
        summaries.append(row)
        values += own
    insert_rows(work, VISIT_SUMMARY, summaries)
    insert_rows(work, VISIT_VALUE, values)
    return len(stale)


def _next(first: Any, then: Any) -> Any:
    return (then.c.instrument == first.c.instrument) & (then.c.number == first.c.number + 1)


def _before(work: Work, ids: Sequence[str]) -> dict[str, Any]:
    """The visit before each, where it is closed."""
    last = VISIT.alias()
    rows = select(VISIT.c.id.label("of"), last.c.id, last.c.came).join(last, _next(last, VISIT))
    found = work.connection.execute(rows.where(VISIT.c.id.in_(ids), last.c.state == "closed"))
    return {row.of: row for row in found}


def _air(work: Work, ids: Iterable[str]) -> dict[str, float]:
    """Mean humidity noted at visits."""
    rows = select(CLIMATE.c.visit, func.avg(CLIMATE.c.humidity)).where(CLIMATE.c.visit.in_(ids))
    rows = rows.where(CLIMATE.c.humidity.is_not(None)).group_by(CLIMATE.c.visit)
    return {visit: float(mean) for visit, mean in work.connection.execute(rows)}


_NOTHING = Summed((), 0, 0, 0, None, None)


def _rows(
    visit: Any, last: Any, sums: dict[str, Summed], air: dict[str, float], held: tuple[Limit, ...]
) -> tuple[tuple[Any, ...], list[tuple[Any, ...]]]:
    """The rows of one visit, in the order of the columns."""
    own = sums.get(visit.id, _NOTHING)
    was = sums.get(last.id, _NOTHING) if last is not None else _NOTHING
    left = {one.key: one.left for one in was.values}
    damp = air.get(visit.id, own.humidity)
    damp_before = air.get(last.id, was.humidity) if last is not None else None
    moist = damp - damp_before if damp is not None and damp_before is not None else None
    years = _years(last.came, visit.came) if last is not None else None
    month = visit.came[:7] if _time(visit.came) is not None else ""
    count = dict.fromkeys(WORDS.values(), 0)
    read: set[int] = set()
    values = []
    for number, one in enumerate(own.values, start=1):
        limit = limit_of(one.key, held)
        said = verdict(one.left, limit) if one.left is not None and limit is not None and one.left.u > 0.0 else ""
        if said and limit is not None:
            count[said] += 1
            read.add(limit.number)
        before = left.get(one.key)
        apart = change(one.key, before, one.found).change if before is not None and one.found is not None else None
        spec = (visit.specification, limit.number) if limit is not None else (None, None)
        values.append((
            visit.id, number, *one.key[:7], one.key.kind, *_told(one.found), *_told(one.left), *spec, said,
            month, apart, moist if apart is not None else None, years if apart is not None else None,
        ))  # fmt: skip
    unsure = count["not certain"] + len({one.number for one in held} - read)
    first = None if not held or not read else not count["outside"] and not unsure and own.rounds <= 1
    summary = (
        visit.id, visit.version, visit.kind, own.rounds, own.claw_settings, own.tunings, own.minutes, count["inside"],
        count["outside"], unsure, first, damp,
    )  # fmt: skip
    return summary, values


def _told(one: Told | None) -> tuple[float | None, float | None]:
    return (None, None) if one is None else (one.si, one.u)


def _years(before: str, now: str) -> float | None:
    """Years between two times of the tables, None for texts that are no times."""
    first, then = _time(before), _time(now)
    return None if first is None or then is None else (then - first).total_seconds() / 86_400.0 / _YEAR


def _time(text: str) -> datetime | None:
    try:
        return datetime.fromisoformat(text[:19])
    except ValueError:
        return None
