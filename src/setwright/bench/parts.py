"""Parts and their stock: what came, was counted, used in a visit or came back from one, and what runs out."""

from __future__ import annotations

from collections.abc import Callable

from setwright.bench.day import FEW
from setwright.bench.shop import opened
from setwright.errors import InputError
from setwright.records import supplies
from setwright.records.shop import Work
from setwright.records.supplies import Part

MOST = 1_000_000  # pieces in one movement


def parts_of(at: str | None, visit: str = "") -> tuple[Part, ...]:
    """All parts with their stock, by name.

    Args:
        at: folder or URL.
        visit: id, or the end of it: only the parts used in it, with their count below zero.
    Returns: the parts.
    Raises: InputError, FileFormatError.
    """
    from setwright.records.edits import get
    from setwright.records.rows import Visit

    with opened(at) as shop, shop.reading() as work:
        return supplies.parts(work, get(work, Visit, visit).id if visit else None)


def low_parts(at: str | None, few: int = FEW) -> tuple[Part, ...]:
    """Parts that run out, the scarcest first.

    Args:
        at: folder or URL.
        few: pieces that count as few.
    Returns: the parts.
    Raises: InputError, FileFormatError.
    """
    return tuple(sorted((one for one in parts_of(at) if one.stock <= few), key=lambda one: (one.stock, one.name)))


def add_part(at: str | None, name: str, unit: str = "piece", who: str = "") -> Part:
    """Add a part, none of it in stock; one of that name is given back as it is.

    Args:
        at: folder or URL.
        name: of the part.
        unit: in which it is counted.
        who: works here.
    Returns: the part.
    Raises: InputError, FileFormatError.
    """
    with opened(at) as shop, shop.writing(who) as work:
        return supplies.add_part(work, name, unit)


def parts_came(at: str | None, part: str, count: int, who: str = "") -> Part:
    """Note that parts came.

    Args:
        at: folder or URL.
        part: name, id, or the end of it.
        count: how many, 1 or more.
        who: works here.
    Returns: the part with its stock now.
    Raises: InputError, FileFormatError.
    """
    return _moved(at, part, count, who, lambda work, id: supplies.move_stock(work, id, count, "came"))


def parts_counted(at: str | None, part: str, count: int, who: str = "") -> Part:
    """Note how many there are; the difference from what was believed is kept.

    Args:
        at: folder or URL.
        part: name, id, or the end of it.
        count: how many there are, 0 or more.
        who: counted.
    Returns: the part with its stock now.
    Raises: InputError, FileFormatError.
    """
    return _moved(at, part, count, who, lambda work, id: supplies.count_part(work, id, count), 0)


def parts_used(at: str | None, part: str, count: int, visit: str, who: str = "") -> Part:
    """Note that parts were used in a visit.

    Args:
        at: folder or URL.
        part: name, id, or the end of it.
        count: how many, 1 or more.
        visit: id, or the end of it.
        who: used them.
    Returns: the part with its stock now; it may be below zero where nobody counted.
    Raises: InputError, FileFormatError.
    """
    return _moved(at, part, count, who, lambda work, id: supplies.move_stock(work, id, -count, "used", visit))


def parts_returned(at: str | None, part: str, count: int, visit: str, who: str = "") -> Part:
    """Note that parts came back from a visit they were noted as used in.

    Args:
        at: folder or URL.
        part: name, id, or the end of it.
        count: how many, 1 or more.
        visit: id, or the end of it.
        who: works here.
    Returns: the part with its stock now.
    Raises: InputError, FileFormatError.
    """
    return _moved(at, part, count, who, lambda work, id: supplies.move_stock(work, id, count, "returned", visit))


def _moved(at: str | None, part: str, count: int, who: str, move: Callable[[Work, str], int], least: int = 1) -> Part:
    if not least <= count <= MOST:
        raise InputError(f"{count} is no count of parts; it lies between {least} and {MOST}.")
    with opened(at) as shop, shop.writing(who) as work:
        found = supplies.part_called(work, part)
        move(work, found)
        return next(one for one in supplies.parts(work) if one.id == found)


def counted(count: int, unit: str) -> str:
    """A count with its unit, more than one of them in the plural.

    Args:
        count: how many.
        unit: of one, "piece".
    Returns: e.g. "2 pieces".
    """
    if count == 1 or unit.endswith("s"):
        return f"{count} {unit}"
    return f"{count} {unit}{'es' if unit.endswith(('x', 'ch', 'sh')) else 's'}"
