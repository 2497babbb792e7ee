"""The life of an instrument: every visit with what was found and left, its parts and files, and what is open."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from datetime import date

from setwright.bench.paper_rows import Reading, readings_of
from setwright.bench.paper_shown import groups_of
from setwright.bench.paper_words import notes_of
from setwright.bench.plans import preferred_system
from setwright.bench.shop import opened
from setwright.errors import SetwrightError
from setwright.frozen import frozen, replace
from setwright.records import overview, supplies
from setwright.records.day import mark
from setwright.records.edits import get
from setwright.records.entries import live
from setwright.records.jobs import files_of
from setwright.records.rows import Instrument, Owner, Visit
from setwright.records.shop import Work
from setwright.sheets.sheet import Group
from setwright.units.show import System

MOST = 20  # visits of one answer


@frozen
class Told:
    """What the job and the journal of a visit tell, as `LifeVisit` has it."""

    title: str = ""
    entries: int = 0
    who: tuple[str, ...] = ()
    readings: tuple[Reading, ...] = ()
    groups: tuple[Group, ...] = ()
    recommended: tuple[str, ...] = ()
    not_done: tuple[str, ...] = ()
    recheck: date | None = None
    silent: str = ""


# gives what was told before by its key, which is everything it depends on, or has it told and keeps it
Keeping = Callable[[Hashable, Callable[[], Told]], Told]


@frozen
class LifeVisit:
    """A visit in the life of an instrument.

    readings: as found, wanted, as left, in SI units. groups: the same as text with its units. parts: those used, with
    their count below zero. steps: planned and not done. recommended, not_done: what the journal says of it. recheck:
    the day to look again. silent: why there are no readings, "" where there are.
    """

    visit: Visit
    title: str
    entries: int
    who: tuple[str, ...]
    readings: tuple[Reading, ...]
    groups: tuple[Group, ...]
    parts: tuple[supplies.Part, ...]
    attachments: tuple[supplies.Attachment, ...]
    sheets: tuple[supplies.Sheet, ...]
    climate: tuple[supplies.Climate, ...]
    steps: tuple[supplies.Step, ...]
    recommended: tuple[str, ...]
    not_done: tuple[str, ...]
    recheck: date | None
    silent: str = ""


@frozen
class Life:
    """An instrument with everything the shop knows of it. visits: the last one first, `left_off` older ones are not
    told. attachments: of the instrument itself. recheck: the day to look again, by the last visit that says one.
    open_work: what is still to be done, in words."""

    instrument: Instrument
    owner: Owner | None
    visits: tuple[LifeVisit, ...]
    left_off: int
    attachments: tuple[supplies.Attachment, ...]
    recheck: date | None
    open_work: tuple[str, ...]


def life_of(
    at: str | None, instrument: str, units: System | None = None, most: int = MOST, keeping: Keeping | None = None
) -> Life:
    """Open an instrument's life.

    Args:
        at: folder or URL of the shop.
        instrument: id, or the end of it.
        units: "inch" or "mm" for the texts; None for those each job is written in.
        most: visits told, the last ones.
        keeping: where what journals tell is kept; it makes the answer quicker, never another one.
    Returns: the life.
    Raises: InputError, FileFormatError.
    """
    with opened(at) as shop, shop.reading() as work:
        home = get(work, Instrument, instrument)
        known = overview.visits(work, home.id)
        told = known[-most:] if most > 0 else ()
        visits = tuple(_visit(work, one, units, keeping) for one in reversed(told))
        return Life(
            home, None if home.owner is None else get(work, Owner, home.owner), visits, len(known) - len(told),
            supplies.attachments(work, instrument=home.id),
            next((one.recheck for one in visits if one.recheck is not None), None), _open(visits),
        )  # fmt: skip


def _visit(work: Work, visit: Visit, units: System | None, keeping: Keeping | None) -> LifeVisit:
    def tell() -> Told:
        return _told(work, visit, units)

    told = tell() if keeping is None else keeping((mark(work, visit.id), units), tell)
    return LifeVisit(
        visit, told.title, told.entries, told.who, told.readings, told.groups,
        supplies.parts(work, visit.id), supplies.attachments(work, visit=visit.id), supplies.sheets(work, visit.id),
        supplies.climate(work, visit.id), tuple(one for one in supplies.steps(work, visit.id) if one.done is None),
        told.recommended, told.not_done, told.recheck, told.silent,
    )  # fmt: skip


def _told(work: Work, visit: Visit, units: System | None) -> Told:
    told = Told()
    try:
        job, journal = files_of(work, visit)
        entries = live(journal.entries)
        told = Told(job.title, len(entries), tuple(dict.fromkeys(one.who for one in entries if one.who)))
        readings = readings_of(job, entries)
        system: System = units or ("inch" if preferred_system(job) == "inch" else "mm")
        groups, notes = groups_of(job, readings, system), notes_of(entries)
    except SetwrightError as error:  # one visit that a newer Setwright refuses does not hide the others
        return replace(told, silent=str(error))
    return replace(
        told, readings=readings, groups=groups, recommended=notes.recommended, not_done=notes.not_done,
        recheck=notes.recheck,
    )  # fmt: skip


def _open(visits: tuple[LifeVisit, ...]) -> tuple[str, ...]:
    """What is still to be done: open visits, then what the last closed one left."""
    out: list[str] = []
    for one in visits:
        if one.visit.state == "open":
            out.append(f"Visit {one.visit.number} is open: {one.visit.wish or one.title or 'no wish is written down'}")
            out += [f"Planned: step {step.number}" for step in one.steps]
    last = next((one for one in visits if one.visit.state == "closed"), None)
    if last is not None:
        out += [f"Recommended: {words}" for words in last.recommended]
        out += [f"Not done: {words}" for words in last.not_done]
    return tuple(out)
