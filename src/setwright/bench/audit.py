"""What happened about coming in, and who changed what: for leads, and for whoever is at the machine."""

from __future__ import annotations

from setwright.bench.opening import opened
from setwright.frozen import frozen
from setwright.records import audit
from setwright.records.audit import MOST as MOST
from setwright.records.audit import Changed as Changed
from setwright.records.audit import Event as Event


@frozen
class Audit:
    """What happened and what was changed, the last first."""

    events: tuple[Event, ...]
    changes: tuple[Changed, ...]


def audit_of(at: str | None, most: int = MOST, before: str = "") -> Audit:
    """What happened in a shop.

    Args:
        at: folder or URL.
        most: of each.
        before: id of the event after those wanted, "" for the last there are.
    Returns: both lists.
    Raises: InputError, FileFormatError.
    """
    with opened(at) as shop, shop.reading() as work:
        return Audit(audit.events(work, most, before), audit.changes(work, most))


def note(at: str | None, event: str, about: str = "", device: str = "", words: str = "", who: str = "") -> None:
    """Note what happened.

    Args:
        at: folder or URL.
        event: what.
        about: whom or what it is about.
        device: name of the bench.
        words: anything more.
        who: did it.
    Raises: InputError, FileFormatError.
    """
    with opened(at) as shop, shop.writing(who) as work:
        audit.note(work, event, about, device, words)
