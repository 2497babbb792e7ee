"""The life of one instrument: its visits, what changed between them, what lies outside, who reads how."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import select

from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.records.documents import document
from setwright.records.edits import get
from setwright.records.found_left import (
    Change,
    Key,
    Summed,
    Told,
    Value,
    change,
    journals,
    readings,
    spoilt,
    summed,
)
from setwright.records.rows import Instrument, Owner, Visit, made_of
from setwright.records.shop import Work
from setwright.records.summaries import Limit, limit_of, limits, verdict
from setwright.records.tables import ENTRY, INSTRUMENT, VISIT, VISIT_SUMMARY, VISIT_VALUE

MOST = 200  # lines of one answer
_NOTHING = Summed((), 0, 0, 0, None, None)


@frozen
class Past:
    """One visit with what its journal comes to."""

    visit: Visit
    sums: Summed


@frozen
class Life:
    """An instrument with all its visits, the last one first. owner: None where none is known."""

    instrument: Instrument
    owner: Owner | None
    visits: tuple[Past, ...]


@frozen
class Since:
    """What changed between two visits: as left at the one, as found at the other. only_before, only_now: what was read
    at one of them alone."""

    before: Visit
    now: Visit
    changes: tuple[Change, ...]
    only_before: tuple[Key, ...]
    only_now: tuple[Key, ...]


@frozen
class Judged:
    """A reading as left against its limit. visit, number, came: of the visit. verdict: "inside", "outside" or "not
    certain"; "" for what was not read."""

    visit: str
    instrument: str
    came: str
    key: Key | None
    left: Told | None
    limit: Limit
    verdict: str


@frozen
class Cells:
    """Readings of the same places by several people, for a study. key: of each place; values: by place, person, trial.
    kind: unit of the values as in `Key`. width: of the tolerance, None without one."""

    what: str
    kind: str
    people: tuple[str, ...]
    places: tuple[tuple[str, Key], ...]
    values: tuple[tuple[tuple[float, ...], ...], ...]
    width: float | None


@frozen
class AsLast:
    """The last visit of a kind, with its files and what was left. job, instrument: the bytes of the files."""

    visit: Visit
    job: bytes
    instrument: bytes
    sums: Summed


def life(work: Work, instrument: str) -> Life:
    """An instrument with all its visits.

    Args:
        work: on the shop.
        instrument: its id, or the end of it.
    Returns: its life.
    Raises: InputError.
    """
    home = get(work, Instrument, instrument)
    owner = None if home.owner is None else get(work, Owner, home.owner)
    visits = _visits(work, home.id)
    sums = _sums(work, visits)
    return Life(home, owner, tuple(Past(one, sums.get(one.id, _NOTHING)) for one in visits))


def since_last(work: Work, instrument: str, visit: str = "") -> Since:
    """What changed between a visit and the one before.

    Args:
        work: on the shop.
        instrument: its id, or the end of it; "" where the visit is named.
        visit: the later one, "" for the last.
    Returns: what changed.
    Raises: InputError where there is no earlier visit.
    """
    now = get(work, Visit, visit) if visit else None
    home = get(work, Instrument, now.instrument if now is not None else instrument)
    visits = [one for one in _visits(work, home.id) if now is None or one.number <= now.number]
    if len(visits) < 2:
        raise InputError(
            f"{home.name} has {len(visits)} visit{'s' * (len(visits) != 1)} up to then; a change needs two."
        )
    later, earlier = visits[0], visits[1]
    sums = _sums(work, [later, earlier])
    was = {one.key: one.left for one in sums.get(earlier.id, _NOTHING).values if one.left is not None}
    found = {one.key: one.found for one in sums.get(later.id, _NOTHING).values if one.found is not None}
    both = [key for key in found if key in was]
    return Since(
        earlier, later, tuple(change(key, was[key], found[key]) for key in both),
        tuple(key for key in was if key not in found), tuple(key for key in found if key not in was),
    )  # fmt: skip


def held_to(work: Work, visit: str) -> tuple[Judged, ...]:
    """Everything a visit's specification limits, with what was left.

    Args:
        work: on the shop.
        visit: its id, or the end of it.
    Returns: a line for each limit or reading.
    Raises: InputError where the visit is held to no specification.
    """
    home = get(work, Visit, visit)
    if home.specification is None:
        raise InputError(f"visit {home.id} is held to no house specification; name one where the visit is edited.")
    given = limits(work, home.specification)
    out: list[Judged] = []
    for one in _sums(work, [home]).get(home.id, _NOTHING).values:
        limit = limit_of(one.key, given)
        if limit is not None and one.left is not None:
            said = verdict(one.left, limit)
            out.append(Judged(home.id, home.instrument, home.came, one.key, one.left, limit, said))
    read = {one.limit.number for one in out}
    out += [Judged(home.id, home.instrument, home.came, None, None, one, "") for one in given if one.number not in read]
    return tuple(sorted(out, key=lambda one: one.limit.number))


def outside(work: Work, most: int = MOST, unsure: bool = False) -> tuple[Judged, ...]:
    """Readings of closed visits left outside the house specification, the newest visits first.

    Args:
        work: on the shop, its summaries fresh.
        most: lines at most.
        unsure: those that are not certain too.
    Returns: the lines.
    """
    said = ("outside", "not certain") if unsure else ("outside",)
    columns = [VISIT_VALUE.c[name] for name in ("visit", *Key._fields, "left_si", "left_uncertainty", "verdict")]
    rows = select(*columns, VISIT_VALUE.c.specification, VISIT_VALUE.c.item, VISIT_VALUE.c.number)
    rows = rows.order_by(VISIT_VALUE.c.visit.desc(), VISIT_VALUE.c.number).limit(most)
    found = [row for one in said for row in work.connection.execute(rows.where(VISIT_VALUE.c.verdict == one))]
    found = sorted(sorted(found, key=lambda row: row.number), key=lambda row: row.visit, reverse=True)[:most]
    ids = {row.visit for row in found}
    homes = {
        row.id: row
        for row in work.connection.execute(
            select(VISIT.c.id, VISIT.c.came, INSTRUMENT.c.name.label("instrument"))
            .join(INSTRUMENT, INSTRUMENT.c.id == VISIT.c.instrument).where(VISIT.c.id.in_(ids))
        )
    }  # fmt: skip
    held = {spec: {one.number: one for one in limits(work, spec)} for spec in {row.specification for row in found}}
    return tuple(
        Judged(
            row.visit, homes[row.visit].instrument, homes[row.visit].came, _key(row),
            Told(row.left_si, row.left_uncertainty, 0), held[row.specification][row.item], row.verdict,
        )
        for row in found
    )  # fmt: skip


def cells(work: Work, what: str, instrument: str = "", visit: str = "") -> Cells:
    """Readings of the same places by the same two or more people, nothing done between that spoils them.

    Args:
        work: on the shop.
        what: was read ("string height").
        instrument: id whose visits are looked at, "" where one visit is named.
        visit: id of the one visit, "" for all of the instrument.
    Returns: the cells; every place was read twice or more by each of the people, as many of them as most places allow.
    Raises: InputError where no two people did.
    """
    homes = [get(work, Visit, visit)] if visit else _visits(work, get(work, Instrument, instrument).id)[::-1]
    by: dict[tuple[str, int, Key], dict[str, list[float]]] = {}
    for id, rows in journals(work, ENTRY.c.visit.in_([one.id for one in homes])):
        done = spoilt(rows)
        for one in readings(rows):
            if one.key.what == what and one.who and not one.tuned:
                stretch = sum(number < one.number for number in done.when(what, one.key.string))
                by.setdefault((id, stretch, one.key), {}).setdefault(one.who, []).append(one.si)
    people, places = _people(by)
    if len(people) < 2 or len(places) < 2:
        raise InputError(
            f"no two people have each read the {what} of the same two places twice, with nothing done between; let "
            "both read every place twice or more, each reading with by NAME."
        )
    kind = places[0][2].kind
    width = _width(work, homes, places[0][2])
    values = tuple(tuple(tuple(by[place][who]) for who in people) for place in places)
    return Cells(what, kind, people, tuple((id, key) for id, _, key in places), values, width)


def as_last_time(work: Work, instrument: str, kind: str | None = None) -> AsLast:
    """The last closed visit of an instrument, to do the same again.

    Args:
        work: on the shop.
        instrument: its id, or the end of it.
        kind: of job, None for any.
    Returns: the visit with its files.
    Raises: InputError where there is none.
    """
    home = get(work, Instrument, instrument)
    closed = [one for one in _visits(work, home.id) if one.state == "closed"]
    found = next((one for one in closed if kind is None or one.kind == kind), None)
    if found is None:
        kinds = ", ".join(sorted({one.kind for one in closed if one.kind}))
        there = f"; there are: {kinds}" if kinds and kind is not None else "; close a visit first"
        raise InputError(
            f"{home.name} has no closed visit{f' of kind {kind[:60]!r}' if kind is not None else ''}{there}."
        )
    files = document(work, found.job_file), document(work, found.instrument_file)
    return AsLast(found, *files, _sums(work, [found]).get(found.id, _NOTHING))


def _visits(work: Work, instrument: str) -> list[Visit]:
    """The visits of an instrument, the last one first."""
    rows = select(VISIT).where(VISIT.c.instrument == instrument).order_by(VISIT.c.number.desc())
    return [made_of(Visit, row) for row in work.connection.execute(rows)]


def _sums(work: Work, visits: Sequence[Visit]) -> dict[str, Summed]:
    """What journals come to: of closed visits as kept, of others from their entries."""
    ids = [one.id for one in visits]
    rows = select(VISIT_SUMMARY).join(VISIT, VISIT.c.id == VISIT_SUMMARY.c.visit)
    rows = rows.where(VISIT_SUMMARY.c.visit.in_(ids), VISIT.c.version == VISIT_SUMMARY.c.version)
    kept = {row.visit: row for row in work.connection.execute(rows)}
    values: dict[str, list[Value]] = {id: [] for id in kept}
    wanted = select(*_KEPT).where(VISIT_VALUE.c.visit.in_(kept)).order_by(VISIT_VALUE.c.visit, VISIT_VALUE.c.number)
    for visit, *key, found, found_u, left, left_u in work.connection.execute(wanted) if kept else ():
        pair = [None if si is None else Told(si, u, 0) for si, u in ((found, found_u), (left, left_u))]
        values[visit].append(Value(Key(*key), *pair))
    out = {
        id: Summed(tuple(values[id]), row.rounds, row.claw_settings, row.tunings, row.minutes, row.humidity)
        for id, row in kept.items()
    }
    rest = [id for id in ids if id not in kept]
    return out | {visit: summed(rows) for visit, rows in journals(work, ENTRY.c.visit.in_(rest))} if rest else out


_KEPT = [
    VISIT_VALUE.c[name]
    for name in ("visit", *Key._fields, "found_si", "found_uncertainty", "left_si", "left_uncertainty")
]


def _key(row: Any) -> Key:
    return Key(*(getattr(row, name) for name in Key._fields))


Place = tuple[str, int, Key]


def _people(by: dict[Place, dict[str, list[float]]]) -> tuple[tuple[str, ...], list[Place]]:
    """The people with the most readings together, and the places all of them read twice; one kind of value."""
    twice = {place: frozenset(w for w, read in who.items() if len(read) > 1) for place, who in by.items()}
    best: tuple[int, tuple[str, ...], list[Place]] = (0, (), [])
    for group in sorted({one for one in twice.values() if len(one) > 1}, key=sorted):
        here = [place for place, who in twice.items() if group <= who]
        first = here[0][2]
        alike = [one for one in here if (one[2].kind, one[2].attitude) == (first.kind, first.attitude)]
        if len(alike) > 1 and len(alike) * len(group) > best[0]:
            best = (len(alike) * len(group), tuple(sorted(group)), alike)
    return best[1], best[2]


def _width(work: Work, homes: Sequence[Visit], key: Key) -> float | None:
    """How wide the tolerance of a reading is by the specification of the last visit that has one."""
    spec = next((one.specification for one in reversed(homes) if one.specification is not None), None)
    limit = limit_of(key, limits(work, spec)) if spec is not None else None
    if limit is None:
        return None
    width = limit.tolerance.upper - limit.tolerance.lower
    return width if width < float("inf") else None
