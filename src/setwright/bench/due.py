"""Instruments that are to be looked at again, the longest overdue first."""

from __future__ import annotations

from datetime import date

from setwright.bench.paper_words import MARKED
from setwright.bench.shop import opened
from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.records.due import Noted, notes_to_look_again

FURTHEST = 3650  # days ahead


@frozen
class Due:
    """An instrument to be looked at again. owner, contact: "" when not known. visit: that said so. late: days since the
    day, below zero when it is still to come."""

    instrument: str
    name: str
    owner: str
    contact: str
    visit: str
    day: date
    late: int


def due_of(at: str | None, today: date, ahead: int = 0) -> tuple[Due, ...]:
    """Instruments whose day to look again has come and that have not come in since.

    Args:
        at: folder or URL of the shop.
        today: the day it is.
        ahead: those of so many days from now too.
    Returns: the instruments, the longest overdue first. A note that names no day is left out; its sheet says so.
    Raises: InputError, FileFormatError.
    """
    if not 0 <= ahead <= FURTHEST:
        raise InputError(f"{ahead} days ahead cannot be looked up; give 0 to {FURTHEST}.")
    days: dict[str, tuple[Noted, date | None]] = {}  # of each visit, the last that is said
    with opened(at) as shop, shop.reading() as work:
        for one in notes_to_look_again(work):
            found = MARKED.match(one.text)
            if found is not None and found["mark"].casefold() == "recheck":
                days[one.visit] = one, _day(found["text"].strip())
    out = [
        Due(one.instrument, one.name, one.owner, one.contact, one.visit, day, (today - day).days)
        for one, day in days.values()
        if day is not None and (today - day).days >= -ahead
    ]
    return tuple(sorted(out, key=lambda one: (one.day, one.name, one.instrument)))


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None
