"""One instrument of the shop, by its id."""

from __future__ import annotations

from setwright.bench.shop import opened
from setwright.frozen import frozen
from setwright.records.edits import get
from setwright.records.rows import Instrument, Owner


@frozen
class Known:
    """An instrument of the shop and its owner, where one is known."""

    instrument: Instrument
    owner: Owner | None


def known_instrument(at: str | None, id: str) -> Known:
    """An instrument of the shop.

    Args:
        at: folder or URL.
        id: of it, or the end of it.
    Returns: the instrument.
    Raises: InputError where there is none, FileFormatError.
    """
    with opened(at) as shop, shop.reading() as work:
        found = get(work, Instrument, id)
        return Known(found, None if found.owner is None else get(work, Owner, found.owner))
