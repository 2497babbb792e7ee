"""The shop's day: what is open and what is next on each, who works here, what runs out."""

from __future__ import annotations

from datetime import datetime

from setwright.bench.opening import opened
from setwright.frozen import frozen
from setwright.records import audit, day, supplies
from setwright.records.day import Mark as Mark
from setwright.records.day import OpenVisit as OpenVisit
from setwright.records.rows import Person

FEW = 2  # pieces of a part that count as few


@frozen
class Day:
    """A shop at a glance. visits: the open ones, the one that has waited longest first. low: parts of which there are
    few, nobody counted, or more went than were counted. changed: another text as soon as an owner, an instrument or a
    visit was."""

    shop: str
    visits: tuple[OpenVisit, ...]
    low: tuple[supplies.Part, ...]
    people: tuple[Person, ...]
    changed: str


def day_of(at: str | None) -> Day:
    """The day of a shop.

    Args:
        at: folder or URL.
    Returns: the day.
    Raises: InputError, FileFormatError.
    """
    with opened(at) as shop, shop.reading() as work:
        low = tuple(one for one in supplies.parts(work) if one.stock <= FEW)
        return Day(shop.name, day.open_visits(work), low, day.people(work), day.last_change(work))


def mark_of(at: str | None, visit: str) -> Mark:
    """How far a visit is.

    Args:
        at: folder or URL.
        visit: its whole id.
    Returns: the mark, another one when anything about the visit was written.
    Raises: InputError, FileFormatError.
    """
    with opened(at) as shop, shop.reading() as work:
        return day.mark(work, visit)


def marks_of(at: str | None) -> tuple[Mark, ...]:
    """How far every open visit is.

    Args:
        at: folder or URL.
    Returns: the marks.
    Raises: InputError, FileFormatError.
    """
    with opened(at) as shop, shop.reading() as work:
        return day.marks(work)


def people_of(at: str | None) -> tuple[Person, ...]:
    """Who works here.

    Args:
        at: folder or URL.
    Returns: the people.
    Raises: InputError, FileFormatError.
    """
    with opened(at) as shop, shop.reading() as work:
        return day.people(work)


def person_of(at: str | None, name: str) -> Person:
    """Somebody who works here, by name; noted where the name is new.

    Args:
        at: folder or URL.
        name: theirs.
    Returns: the person.
    Raises: InputError, FileFormatError.
    """
    from setwright.records.journal_text import parse  # it loads what the first page does not need

    parse("note", "here", datetime.now(), name)  # a name that no journal takes is refused now, not at the first entry
    with opened(at) as shop, shop.writing(name.strip()) as work:
        before = {one.id for one in day.people(work)}
        found = day.person_named(work, name)
        if found.id not in before:
            audit.note(work, "added", found.name)
        return found
