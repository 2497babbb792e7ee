"""Questions about all visits of a shop, answered from their summaries: added up by the database, not here."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from typing import Any

from sqlalchemy import ColumnElement, case, func, select

from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.metrology.capability import Capability, Group, capability, together
from setwright.metrology.quantiles import normal, student
from setwright.records.shop import Work
from setwright.records.specifications import Specification, specification
from setwright.records.summaries import Limit, limits
from setwright.records.tables import SPECIFICATION, VISIT, VISIT_SUMMARY, VISIT_VALUE

LEVEL = 0.95


@frozen
class Quartiles:
    """Of how many visits, and the quartiles of a number of each; the middle one is the median."""

    count: int
    low: float
    median: float
    high: float


@frozen
class Share:
    """Some of some, as a share with its band of 95 % (Wilson 1927)."""

    some: int
    of: int
    share: float
    low: float
    high: float


@frozen
class KindYield:
    """Closed visits of one kind of job. judged: those with readings held to a specification. inside: all of these
    proved inside, and nothing left unread; first_pass: that without setting anything twice; both None where none was
    judged. Of the other numbers None where no visit has them."""

    kind: str
    visits: int
    judged: int
    inside: Share | None
    first_pass: Share | None
    rounds: Quartiles | None
    claw_settings: Quartiles | None
    tunings: Quartiles | None
    minutes: Quartiles | None


@frozen
class Held:
    """How well the shop holds one limit. count: of values as left; beyond: those past a limit as read. groups: months.
    capability: None where `why` says so."""

    limit: Limit
    count: int
    beyond: int
    months: int
    capability: Capability | None
    why: str


@frozen
class Month:
    """Changes found in one month of the year. mean: in SI or cents; sd: its standard uncertainty, None of one."""

    month: int
    visits: int
    mean: float
    sd: float | None


@frozen
class Slope:
    """A straight line through changes: slope, its standard uncertainty and the half width of its band of 95 %; visits:
    how many points. seen: the band leaves out zero."""

    visits: int
    slope: float
    sd: float
    half_width: float
    seen: bool


@frozen
class Season:
    """How a reading moves between visits, from as left to as found, the mean of its places at each visit. kind: of the
    value; changes of a pitch are in cents. humidity: per share of relative humidity (1 is 100 %); years: per year
    between the visits; None where fewer than three visits tell."""

    what: str
    kind: str
    visits: int
    months: tuple[Month, ...]
    humidity: Slope | None
    years: Slope | None


def yields(work: Work) -> tuple[KindYield, ...]:
    """First-pass yield, rounds and minutes by kind of job.

    Args:
        work: on the shop, its summaries fresh.
    Returns: a line for each kind, the most frequent first.
    """
    table = VISIT_SUMMARY.c
    judged = table.first_pass.is_not(None)
    good = judged & (table.outside == 0) & (table.uncertain == 0)
    counts = select(
        table.kind, func.count(), _many(judged), _many(good), _many(table.first_pass.is_(True))
    ).group_by(table.kind)  # fmt: skip
    spread = {name: _quartiles(work, table[name]) for name in ("rounds", "claw_settings", "tunings", "minutes")}
    out = [
        KindYield(
            kind, visits, of, share(inside, of), share(first, of), *(one.get(kind) for one in spread.values())
        )
        for kind, visits, of, inside, first in work.connection.execute(counts)
    ]  # fmt: skip
    return tuple(sorted(out, key=lambda one: (-one.visits, one.kind)))


def held(work: Work, name: str = "", number: int | None = None) -> tuple[Specification, tuple[Held, ...]]:
    """How well the shop holds a house specification.

    Args:
        work: on the shop, its summaries fresh.
        name: of the specification, "" where there is only one.
        number: its version, None for the newest.
    Returns: the specification, and a line for each limit.
    Raises: InputError where there is none, or the name is missing.
    """
    found = _named(work, name, number)
    return found, tuple(_held(work, found.id, one) for one in limits(work, found.id))


def season(work: Work, what: str, instrument: str | None = None) -> tuple[Season, ...]:
    """How a reading moves between visits.

    Args:
        work: on the shop, its summaries fresh.
        what: was read ("relief").
        instrument: id, None for all.
    Returns: one answer for each kind of value it was written in; none where nothing was read so.
    """
    return _seasons(work, VISIT_VALUE.c.what == what, instrument)


def seasons(work: Work, instrument: str) -> tuple[Season, ...]:
    """How everything that was read of one instrument moves between its visits.

    Args:
        work: on the shop, its summaries fresh.
        instrument: id.
    Returns: one answer for each thing and kind of value, by name.
    """
    return _seasons(work, None, instrument)


def _seasons(work: Work, which: ColumnElement[bool] | None, instrument: str | None) -> tuple[Season, ...]:
    table = VISIT_VALUE.c
    visit = select(
        table.what, table.kind, table.visit, func.min(table.month).label("month"), func.avg(table.changed).label("y"),
        func.max(table.humidity_change).label("damp"), func.max(table.years).label("years"),
    ).where(table.changed.is_not(None), table.month != "")  # fmt: skip
    if which is not None:
        visit = visit.where(which)
    if instrument is not None:
        visit = visit.where(table.visit.in_(select(VISIT.c.id).where(VISIT.c.instrument == instrument)))
    each = visit.group_by(table.what, table.kind, table.visit).cte("each")
    month, y = func.substr(each.c.month, 6, 2), each.c.y
    moments = {name: _moments(each.c[name], y, name) for name in ("damp", "years")}
    rows = work.connection.execute(
        select(each.c.what, each.c.kind, month.label("month"), *_sums(y), *moments["damp"], *moments["years"])
        .group_by(each.c.what, each.c.kind, month)
    )  # fmt: skip
    months: dict[tuple[str, str], list[Any]] = defaultdict(list)
    for row in rows:
        months[row.what, row.kind].append(row)
    return tuple(
        Season(
            what, kind, sum(row.n for row in rows), tuple(sorted(map(_month, rows), key=lambda one: one.month)),
            _slope(rows, "damp"), _slope(rows, "years"),
        )
        for (what, kind), rows in sorted(months.items())
    )  # fmt: skip


def share(some: int, of: int) -> Share | None:
    """Some of some, with its band.

    Args:
        some: how many.
        of: out of how many.
    Returns: the share; None of nothing.
    """
    if of == 0:
        return None
    z, p = normal(0.5 + LEVEL / 2.0), some / of
    middle, under = p + z * z / (2.0 * of), 1.0 + z * z / of
    half = z * math.sqrt(p * (1.0 - p) / of + z * z / (4.0 * of * of))
    return Share(some, of, p, max(0.0, (middle - half) / under), min(1.0, (middle + half) / under))


def quartiles(counts: Sequence[tuple[float, int]]) -> Quartiles:
    """Quartiles of values that are counted; between two values in proportion, as spreadsheets do.

    Args:
        counts: value and how often, the values rising, at least one.
    Returns: the quartiles.
    """
    of = sum(often for _, often in counts)

    def at(share: float) -> float:
        place = share * (of - 1)
        low, high = _at(counts, math.floor(place)), _at(counts, math.ceil(place))
        return low + (high - low) * (place - math.floor(place))

    return Quartiles(of, at(0.25), at(0.5), at(0.75))


def _at(counts: Sequence[tuple[float, int]], place: int) -> float:
    """The value at a place of the whole row, from 0."""
    passed = 0
    return float(next(value for value, often in counts if (passed := passed + often) > place))


def _many(condition: ColumnElement[bool]) -> ColumnElement[int]:
    return func.coalesce(func.sum(case((condition, 1), else_=0)), 0)


def _quartiles(work: Work, column: ColumnElement[int]) -> dict[str, Quartiles]:
    """Quartiles by kind: the database counts equal values."""
    kind = VISIT_SUMMARY.c.kind
    rows = select(kind, column, func.count()).where(column.is_not(None)).group_by(kind, column).order_by(kind, column)
    counts: dict[str, list[tuple[float, int]]] = defaultdict(list)
    for name, value, often in work.connection.execute(rows):
        counts[name].append((value, often))
    return {name: quartiles(one) for name, one in counts.items()}


def _named(work: Work, name: str, number: int | None) -> Specification:
    table = SPECIFICATION.c
    names = work.connection.execute(select(table.name).distinct().order_by(table.name)).scalars().all()
    if not names:
        raise InputError("there is no house specification in this shop yet; add one first, then hold visits to it.")
    if not name and len(names) > 1:
        raise InputError(f"there are several specifications: {', '.join(names)[:300]}; name one.")
    rows = select(table.id).where(table.name == (name or names[0])).order_by(table.number.desc())
    if number is not None:
        rows = rows.where(table.number == number)
    id = work.connection.execute(rows.limit(1)).scalar()
    if id is None:
        version = f", version {number}" if number is not None else ""
        raise InputError(f"there is no specification {name[:60]!r}{version}; there are: {', '.join(names)[:300]}.")
    return specification(work, id)


def _held(work: Work, spec: str, limit: Limit) -> Held:
    """From one scan of one index: count, mean and variance by month."""
    table = VISIT_VALUE.c
    ends = [one for one in (limit.tolerance.lower, limit.tolerance.upper) if math.isfinite(one)]
    x = table.left_si - math.fsum(ends) / len(ends)  # small numbers keep their digits when squared
    past = [table.left_si < one if one == limit.tolerance.lower else table.left_si > one for one in ends]
    beyond = past[0] if len(past) == 1 else past[0] | past[1]
    rows = select(*_sums(x), _many(beyond).label("beyond")).where(
        table.specification == spec, table.item == limit.number, table.left_si.is_not(None)
    )
    found = work.connection.execute(rows.group_by(table.month)).all()
    count, past_it = sum(row.n for row in found), sum(row.beyond for row in found)
    middle = math.fsum(ends) / len(ends)
    groups = [Group(row.n, middle + row.sum / row.n, _variance(row)) for row in found]
    try:
        made, why = capability(together(groups), limit.tolerance), ""
    except InputError as error:
        made, why = None, str(error)
    return Held(limit, count, past_it, len(found), made, why)


def _sums(x: ColumnElement[Any]) -> list[ColumnElement[Any]]:
    return [func.count(x).label("n"), func.sum(x).label("sum"), func.sum(x * x).label("squares")]


def _variance(row: Any) -> float:
    return max(0.0, row.squares - row.sum**2 / row.n) / (row.n - 1) if row.n > 1 else 0.0


def _month(row: Any) -> Month:
    return Month(int(row.month), row.n, row.sum / row.n, math.sqrt(_variance(row) / row.n) if row.n > 1 else None)


PARTS = ("n", "x", "y", "xx", "xy", "yy")


def _moments(x: ColumnElement[Any], y: ColumnElement[Any], name: str) -> list[ColumnElement[Any]]:
    """What a straight line needs of the points that have an x."""
    own = case((x.is_not(None), y))
    parts = (func.count(x), func.sum(x), func.sum(own), func.sum(x * x), func.sum(x * own), func.sum(own * own))
    return [one.label(f"{name}_{part}") for part, one in zip(PARTS, parts, strict=True)]


def _slope(months: Sequence[Any], name: str) -> Slope | None:
    """Least squares with an intercept; None where there are fewer than three points or all at one place."""
    n, x, y, xx, xy, yy = (
        math.fsum(getattr(row, f"{name}_{part}") or 0.0 for row in months) for part in PARTS
    )  # fmt: skip
    if n < 3:
        return None
    xx, xy, yy = xx - x**2 / n, xy - x * y / n, yy - y**2 / n
    if xx <= 1e-12 * max(xx + x**2 / n, 1e-30):
        return None
    slope = xy / xx
    sd = math.sqrt(max(0.0, yy - slope * xy) / (n - 2) / xx)
    half = student(0.5 + LEVEL / 2.0, round(n) - 2) * sd
    return Slope(round(n), slope, sd, half, abs(slope) > half)
