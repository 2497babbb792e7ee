"""Sheets of a visit: what the shop knows for them, and that they were handed over."""

from __future__ import annotations

import io
import json
from collections.abc import Sequence
from dataclasses import fields, is_dataclass, replace
from datetime import date
from hashlib import sha256
from typing import Any

from setwright.bench.journals import InShop
from setwright.bench.paper import Desk
from setwright.bench.parts import counted
from setwright.bench.shop import opened
from setwright.records import supplies
from setwright.records.edits import get
from setwright.records.rows import Instrument, Owner, Visit
from setwright.sheets.sheet import Drawing, Line, Part, SheetData


def desk_in(source: InShop, desk: Desk) -> Desk:
    """What the desk adds to a sheet, with what the shop knows where the desk says nothing.

    Args:
        source: the visit.
        desk: what was said.
    Returns: the desk, with the shop's name and the owner's.
    Raises: InputError, FileFormatError.
    """
    with opened(source.shop) as shop, shop.reading() as work:
        instrument = get(work, Instrument, get(work, Visit, source.visit).instrument)
        owner = "" if instrument.owner is None else get(work, Owner, instrument.owner).name
        return replace(desk, shop=desk.shop or shop.name, owner=desk.owner or owner)


def with_parts(source: InShop, data: SheetData) -> SheetData:
    """A sheet with the parts that the shop's stock says were used, where the journal has not named them already.

    Args:
        source: the visit.
        data: what goes on paper.
    Returns: the same with the parts.
    Raises: InputError, FileFormatError.
    """
    named = {f"{one.what} {one.amount}".strip().casefold() for one in data.parts}
    with opened(source.shop) as shop, shop.reading() as work:
        used = supplies.parts(work, get(work, Visit, source.visit).id)
    lines = (Line(one.name, counted(-one.stock, one.unit)) for one in used if one.stock < 0)
    return replace(data, parts=(*data.parts, *(one for one in lines if one.what.casefold() not in named)))


def hand_over(
    source: InShop, data: SheetData, pdf: bytes, parts: Sequence[Part], name: str = "", who: str = ""
) -> tuple[supplies.Sheet, ...]:
    """Note that a sheet was handed over, and keep its PDF with the visit, once.

    Args:
        source: the visit.
        data: what the sheet was made from.
        pdf: the document.
        parts: which of owner, shop and tag are in it.
        name: of the file; "" for one made of the visit's number.
        who: handed it over.
    Returns: a row for each part.
    Raises: InputError, FileFormatError; nothing is kept then.
    """
    with opened(source.shop) as shop, shop.writing(who) as work:
        visit = get(work, Visit, source.visit, lock=True)
        digest = sha256(pdf).hexdigest()
        if all(one.sha256 != digest for one in supplies.attachments(work, visit=visit.id)):
            supplies.attach(work, "sheet", name or f"visit-{visit.number}.sheet.pdf", io.BytesIO(pdf), visit=visit.id)
        made_from = plain(data)
        return tuple(supplies.hand_over(work, visit.id, part, made_from, digest) for part in dict.fromkeys(parts))


def mark_of_data(data: SheetData) -> str:
    """A mark that is another as soon as anything else would go on paper.

    Args:
        data: what goes on paper.
    Returns: 64 digits of base 16.
    """
    return sha256(json.dumps(plain(data), sort_keys=True).encode()).hexdigest()


def plain(value: Any) -> Any:
    """What a sheet was made from, as JSON can hold it.

    Args:
        value: the data of the sheet, or a part of it.
    Returns: dicts, lists, text and numbers; dates as text, a drawing by its hash.
    """
    if isinstance(value, Drawing):
        return {"title": value.title, "alt": value.alt, "sha256": sha256(value.svg.encode()).hexdigest()}
    if is_dataclass(value) and not isinstance(value, type):
        return {one.name: plain(getattr(value, one.name)) for one in fields(value)}
    if isinstance(value, tuple):
        return [plain(one) for one in value]
    return value.isoformat() if isinstance(value, date) else value
