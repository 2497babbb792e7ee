"""Several entries kept in the journal of a visit at once: all of them or none, and only where it is as it was seen."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from setwright.bench.journals import InShop, Kept, job_from, made
from setwright.bench.shop import opened
from setwright.errors import InputError, StaleEditError
from setwright.records.edits import get
from setwright.records.entries import Entry
from setwright.records.kept import append, journal_of
from setwright.records.rows import Visit

MOST = 100  # entries at once
TAKEN_BACK = "taken back"


def keep_all(job: InShop, entries: Sequence[Entry], who: str = "", after: int | None = None) -> tuple[Kept, ...]:
    """Put entries into the journal of a visit.

    Args:
        job: the visit.
        entries: from `journals.made`, in their order.
        who: works here.
        after: how many entries the journal held, struck ones included, when the writer looked at it; None: no matter.
    Returns: the entries as kept, in the same order.
    Raises: StaleEditError where something was written since; InputError, FileFormatError. Nothing is kept then.
    """
    if not 1 <= len(entries) <= MOST:
        raise InputError(f"{len(entries)} entries cannot be kept at once; give 1 to {MOST}.")
    with opened(job.shop) as shop, shop.writing(who) as work:
        visit = get(work, Visit, job.visit, lock=True)
        if after is not None and (count := len(journal_of(work, visit).entries)) != after:
            raise StaleEditError(
                "the journal was written to since this page was loaded, at another bench or by sending it twice; look "
                "at it as it is now, and send what is still missing.",
                {"entries": count},
                {"entries": after},
            )
        kept = [append(work, visit.id, one) for one in entries]
    return tuple(Kept(Path(str(job)), one.entry, one.set_aside) for one in kept)


def take_back(job: InShop, numbers: Sequence[int], who: str = "", reason: str = TAKEN_BACK) -> tuple[Kept, ...]:
    """Strike entries in the journal of a visit, the last first.

    Args:
        job: the visit.
        numbers: of the entries.
        who: works here.
        reason: why.
    Returns: the strikes as kept.
    Raises: InputError where one cannot be struck; nothing is struck then.
    """
    read = job_from(job)
    lines = [f"#{number}: {reason}" for number in sorted(set(numbers), reverse=True)]
    return keep_all(job, [made(read, ["strike", line], who) for line in lines], who)
