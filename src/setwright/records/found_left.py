"""What the journal of a visit comes to: readings as found and as left, how often things were set, how long it took.

As found is the first reading that nothing done before it could spoil; as left the last one that nothing done after it
spoils. Readings of slack strings and those with the wedge in count as neither; readings in different attitudes, by
different conventions or in different kinds of unit are different readings. Only the journal is read, not the job file.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from itertools import groupby, pairwise
from typing import Any, NamedTuple

from sqlalchemy import ColumnElement, select

from setwright.frozen import frozen
from setwright.records.shop import Work
from setwright.records.tables import ENTRY
from setwright.records.worth import CENT, SPOILED, spoils, uncertainty

BREAK = 120.0  # min; a longer pause between two entries is no work. Common practice, no source
SET = ("tune", "claw", "pivot", "saddle height", "saddle length", "rod")  # what is set again in a second round
ATTITUDES = ("playing", "on its back", "upright", "face down")
_COLUMNS = (
    "visit", "number", "at", "verb", "what", "way", "string", "fret", "side", "harmonic", "convention", "value_kind",
    "value_written", "value_si", "value_uncertainty", "heard_kind", "heard_written", "heard_si", "heard_uncertainty",
    "said", "gauge", "who", "strikes",
)  # fmt: skip


class Key(NamedTuple):
    """What was read, where and how. string, fret: 0 where there is none. convention: JSON as in the table, "" for none.
    kind: of the value."""

    what: str
    string: int
    fret: int
    side: str
    harmonic: bool
    convention: str
    attitude: str
    kind: str


class Heard(NamedTuple):
    """One reading. number: of its entry. tuned: what was heard after a string was tuned."""

    number: int
    key: Key
    si: float
    known: float | None
    written: str
    gauge: str
    who: str
    tuned: bool


class Told(NamedTuple):
    """A value with its standard uncertainty, in the SI unit of its kind, and the number of its entry, 0 where the value
    comes from a summary."""

    si: float
    u: float
    number: int


@frozen
class Value:
    """One thing read at a visit, as found and as left, None where it was not read so."""

    key: Key
    found: Told | None
    left: Told | None


@frozen
class Summed:
    """A journal summed up. rounds: how often the thing set most often was set. claw_settings, tunings: how often the
    claw was turned, a string tuned. minutes: from the first entry to the last, without breaks; None for fewer than two.
    humidity: mean of those noted in the journal, a share, None where there is none."""

    values: tuple[Value, ...]
    rounds: int
    claw_settings: int
    tunings: int
    minutes: int | None
    humidity: float | None


@frozen
class Change:
    """How a reading differs from an earlier one: now less before; cents for a pitch. sd: its standard uncertainty.
    seen: beyond twice that."""

    key: Key
    before: Told
    now: Told
    change: float
    sd: float
    seen: bool


def journals(work: Work, which: ColumnElement[bool]) -> Iterator[tuple[str, list[Any]]]:
    """Rows of journals, only those columns that are looked at here, struck entries left out.

    Args:
        work: on the shop.
        which: condition on the table of entries.
    Returns: id of each visit with its rows, in their order.
    """
    wanted = select(*(ENTRY.c[name] for name in _COLUMNS)).where(which).order_by(ENTRY.c.visit, ENTRY.c.number)
    for visit, rows in groupby(work.connection.execute(wanted), key=lambda row: str(row.visit)):
        every = list(rows)
        struck = {row.strikes for row in every if row.strikes is not None}
        yield visit, [row for row in every if row.strikes is None and row.number not in struck]


def readings(rows: Iterable[Any]) -> list[Heard]:
    """Every reading of a journal that may count, in order.

    Args:
        rows: of one visit, from `journals`.
    Returns: the readings.
    """
    attitude, wedged = ATTITUDES[0], False
    out = []
    for _, number, _, verb, what, way, string, fret, side, harmonic, how, *values, said, gauge, who, _ in rows:
        tuned = False
        if verb == "did":
            if what == "attitude":
                attitude = way
            elif what == "wedge":
                wedged = way.startswith("in")
            tuned = what == "tune"
        if not tuned and (verb != "read" or what not in SPOILED):
            continue
        kind, written, si, known = values[4:] if tuned else values[:4]
        if si is None or (wedged and not (said and '"wedge out"' in said)):
            continue
        stood = attitude
        if said:
            if '"slack"' in said or '"wedge in"' in said:
                continue
            stood = next((one for one in ATTITUDES if f'"{one}"' in said), attitude)
        key = Key(
            "pitch" if tuned else what, string or 0, fret or 0, side, bool(harmonic), how or "", stood, kind
        )  # fmt: skip
        out.append(Heard(number, key, si, known, written, gauge, who, tuned))
    return out


def told(one: Heard) -> Told:
    """A reading with the uncertainty it is worth.

    Args:
        one: from `readings`.
    Returns: the value.
    """
    return Told(one.si, uncertainty(one.key.what, one.si, one.known, one.written, one.gauge), one.number)


def spoilt(rows: Iterable[Any]) -> Spoilt:
    """What was done in a journal, to be asked what it spoilt.

    Args:
        rows: of one visit, from `journals`.
    Returns: the question.
    """
    return Spoilt([row for row in rows if row.verb == "did"])


class Spoilt:
    """What was done at a visit; answers when it spoilt the readings of a thing."""

    def __init__(self, did: Sequence[Any]) -> None:
        """did: rows of what was done."""
        every = [(row.number, row.what, row.way, row.string, row.heard_si is not None) for row in did]
        self._did = [one for one in every if one[1] != "tune" or not one[4]]
        self._known: dict[tuple[str, int], tuple[int, ...]] = {}
        self.first_tuned = min((row.number for row in did if row.what == "tune"), default=math.inf)

    def when(self, what: str, string: int) -> tuple[int, ...]:
        """Numbers of the entries that spoil readings.

        Args:
            what: was read.
            string: which string, 0 for none.
        Returns: the numbers, rising.
        """
        known = self._known.get((what, string))
        if known is None:
            known = tuple(n for n, did, way, of, heard in self._did if spoils(did, way, of, heard, what, string))
            self._known[what, string] = known
        return known


def summed(rows: Sequence[Any]) -> Summed:
    """A journal summed up.

    Args:
        rows: of one visit, from `journals`.
    Returns: the sum.
    """
    by_key: dict[Key, list[Heard]] = {}
    for one in readings(rows):
        by_key.setdefault(one.key, []).append(one)
    done = spoilt(rows)
    values = []
    for key, heard in by_key.items():
        spoils_it = done.when(key.what, key.string)
        first = min(spoils_it[0] if spoils_it else math.inf, done.first_tuned if key.what == "pitch" else math.inf)
        last = spoils_it[-1] if spoils_it else 0
        found = told(heard[0]) if heard[0].number < first and not heard[0].tuned else None
        left = told(heard[-1]) if heard[-1].number > last else None
        if found is not None or left is not None:
            values.append(Value(key, found, left))
    did = [row for row in rows if row.verb == "did"]
    often = Counter((row.what, row.string, row.side) for row in did if row.what in SET)
    claw = [often.get(("claw", None, side), 0) for side in ("", "treble", "bass")]
    damp = [row.value_si for row in rows if row.verb == "read" and row.what == "humidity" and row.value_si is not None]
    return Summed(
        tuple(values), max(often.values(), default=0), claw[0] + max(claw[1:]),
        sum(row.what == "tune" for row in did), _minutes(rows), math.fsum(damp) / len(damp) if damp else None,
    )  # fmt: skip


def change(key: Key, before: Told, now: Told) -> Change:
    """How a reading differs from an earlier one.

    Args:
        key: of both.
        before: the earlier one.
        now: the later one.
    Returns: the change; uncertainties as if independent.
    """
    if key.kind == "pitch" and before.si > 0.0 and now.si > 0.0:
        off = math.log(now.si / before.si) / CENT
        sd = math.hypot(before.u / before.si, now.u / now.si) / CENT
    else:
        off, sd = now.si - before.si, math.hypot(before.u, now.u)
    return Change(key, before, now, off, sd, abs(off) > 2.0 * sd)


def _minutes(rows: Sequence[Any]) -> int | None:
    times = [datetime.fromisoformat(row.at) for row in rows]
    if len(times) < 2:
        return None
    gaps = ((after - before).total_seconds() / 60.0 for before, after in pairwise(sorted(times)))
    return round(math.fsum(gap for gap in gaps if gap <= BREAK))
