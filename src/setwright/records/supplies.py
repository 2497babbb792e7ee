"""What goes with a visit besides its journal: parts and their stock, files, climate, steps, sheets handed over."""

from __future__ import annotations

import io
import json
from collections.abc import Iterator
from pathlib import PurePath
from typing import Any, BinaryIO

from sqlalchemy import func, insert, select, update

from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.records.called import the_one
from setwright.records.content import keep, media_type
from setwright.records.edits import get
from setwright.records.ids import new_id
from setwright.records.pictures import MOST_BYTES, without_metadata
from setwright.records.rows import Instrument, Visit, as_json, line, made_of
from setwright.records.shop import Work, alone
from setwright.records.tables import ATTACHMENT, CLIMATE, PART, SHEET, STEP, STOCK_MOVEMENT

REASONS = ("came", "counted", "used", "returned")
KINDS = ("photo", "recording", "sheet", "other")
_MOST = 1_000_000  # pieces in one movement


@frozen
class Part:
    """A part in stock. unit: in which it is counted ("set", "piece"). stock: the sum of its movements."""

    id: str
    version: int
    name: str
    unit: str
    stock: int


@frozen
class Attachment:
    """A file of an instrument or of a visit: a photo, a recording, a sheet or something else, by its content."""

    id: str
    instrument: str | None
    visit: str | None
    kind: str
    name: str
    media_type: str
    sha256: str
    made: str
    who: str


@frozen
class Step:
    """A step of a visit. number: from 1. advice: as it was planned. done: when, None while it is not."""

    id: str
    visit: str
    number: int
    advice: dict[str, Any]
    planned: str
    done: str | None


@frozen
class Climate:
    """A reading of the air: temperature in kelvin, humidity as a share from 0 to 1, None where it was not read. at: by
    the clock of the bench. written: as it was written."""

    id: str
    visit: str | None
    at: str
    temperature: float | None
    humidity: float | None
    written: str
    who: str


@frozen
class Sheet:
    """A sheet handed over. kind: "owner", "shop" or "tag". data: what it was made from. sha256: of the PDF."""

    id: str
    visit: str
    kind: str
    data: dict[str, Any]
    sha256: str
    handed_over: str
    who: str


def add_part(work: Work, name: str, unit: str = "piece") -> Part:
    """Add a part, none of it in stock; one of that name is given back as it is.

    Args:
        work: writing.
        name: of the part.
        unit: in which it is counted.
    Returns: the part.
    Raises: InputError.
    """
    said = line(name, "name of the part", needed=True)
    alone(work)
    known = next((one for one in parts(work) if one.name == said), None)
    if known is not None:
        return known
    row = {"id": new_id(), "version": 1, "name": said, "unit": line(unit, "unit of the part", needed=True)}
    work.connection.execute(insert(PART), row)
    return Part(**row, stock=0)  # type: ignore[arg-type]


def parts(work: Work, visit: str | None = None) -> tuple[Part, ...]:
    """All parts with their stock, by name.

    Args:
        work: on the shop.
        visit: only the parts used in it; `stock` is then what was used, as a count below zero.
    Returns: the parts.
    """
    moved = STOCK_MOVEMENT.c
    total = select(moved.part, func.sum(moved.count).label("stock")).group_by(moved.part)
    sums = (total if visit is None else total.where(moved.visit == visit)).subquery()
    rows = select(PART, func.coalesce(sums.c.stock, 0).label("stock"))
    joined = rows.join(sums, sums.c.part == PART.c.id, isouter=visit is None).order_by(PART.c.name)
    found = work.connection.execute(joined)
    return tuple(Part(row.id, row.version, row.name, row.unit, int(row.stock)) for row in found)


def part_called(work: Work, said: str) -> str:
    """A part.

    Args:
        work: on the shop.
        said: name, id, or the end of it.
    Returns: its id.
    Raises: InputError where there is none, or more than one.
    """
    return str(the_one(work, PART, said).id)


def move_stock(work: Work, part: str, count: int, reason: str, visit: str | None = None) -> int:
    """Note that parts came, were counted again, were used in a visit or returned from one.

    Args:
        work: writing.
        part: its id.
        count: how many more there are, less than zero for fewer; as `reason` says.
        reason: "came", "counted", "used" or "returned".
        visit: its id, for used and returned.
    Returns: the stock afterwards; it may be below zero where nobody counted.
    Raises: InputError.
    """
    if reason not in REASONS:
        raise InputError(f"{reason[:40]!r} is no reason; parts come, are counted, used or returned.")
    sign = {"came": 1, "used": -1, "returned": 1}.get(reason, 0)
    if count == 0 or abs(count) > _MOST or (sign and count * sign < 0):
        raise InputError(f"{count} parts cannot be {reason}; used ones are counted below zero, others above.")
    if (reason in ("used", "returned")) != (visit is not None):
        raise InputError("parts are used in a visit or returned from one; name it, or leave it out for others.")
    row = work.connection.execute(select(PART.c.id).where(PART.c.id == part).with_for_update()).scalar()
    if row is None:
        raise InputError(f"there is no part {part[:40]!r}; add it first.")
    home = None if visit is None else get(work, Visit, visit).id
    moved = STOCK_MOVEMENT.c
    if reason == "returned":
        used = select(func.sum(moved.count)).where(moved.part == part, moved.visit == home)
        if (work.connection.execute(used).scalar() or 0) + count > 0:
            raise InputError(f"{count} parts cannot come back from visit {home}; fewer were used there.")
    work.connection.execute(insert(STOCK_MOVEMENT), {
        "id": new_id(), "part": part, "count": count, "reason": reason, "visit": home, "made": work.now,
        "who": work.who,
    })  # fmt: skip
    return int(work.connection.execute(select(func.sum(moved.count)).where(moved.part == part)).scalar() or 0)


def count_part(work: Work, part: str, found: int) -> int:
    """Note how many of a part were counted; nothing is noted where as many were believed to be there.

    Args:
        work: writing.
        part: its id.
        found: how many there are.
    Returns: the stock afterwards.
    Raises: InputError.
    """
    if found < 0:
        raise InputError(f"{found} parts cannot be counted; write how many there are, 0 or more.")
    work.connection.execute(select(PART.c.id).where(PART.c.id == part).with_for_update())
    moved = STOCK_MOVEMENT.c
    now = int(work.connection.execute(select(func.sum(moved.count)).where(moved.part == part)).scalar() or 0)
    return now if now == found else move_stock(work, part, found - now, "counted")


def attach(
    work: Work, kind: str, name: str, source: BinaryIO, visit: str | None = None, instrument: str | None = None
) -> Attachment:
    """Keep a file with a visit or an instrument; of a picture only what is seen, without place, time and camera.

    Args:
        work: writing.
        kind: "photo", "recording", "sheet" or "other".
        name: of the file, without folders.
        source: the file, open at its beginning.
        visit, instrument: id of the one it belongs to.
    Returns: the attachment.
    Raises: InputError, FileFormatError for a file that is not of its kind, or a name that leads elsewhere.
    """
    if kind not in KINDS:
        raise InputError(f"{kind[:40]!r} is no kind of file; there are {', '.join(KINDS)}.")
    if (visit is None) == (instrument is None):
        raise InputError("a file belongs to a visit or to an instrument; name one of them.")
    said = line(name, "name of the file", needed=True)
    if PurePath(said).name != said or "\\" in said or said == "..":
        raise InputError(f"{said[:80]!r} leads out of the shop; give the name of the file without folders.")
    media = media_type(kind, said, source)
    if media.startswith("image/"):
        source = io.BytesIO(without_metadata(media, source.read(MOST_BYTES + 1), said))
    row = {
        "id": new_id(), "instrument": None if instrument is None else get(work, Instrument, instrument).id,
        "visit": None if visit is None else get(work, Visit, visit).id, "kind": kind, "name": said,
        "media_type": media, "sha256": keep(work.contents, work.connection, source), "made": work.now, "who": work.who,
    }  # fmt: skip
    work.connection.execute(insert(ATTACHMENT), row)
    return Attachment(**row)  # type: ignore[arg-type]


def attachments(work: Work, visit: str | None = None, instrument: str | None = None) -> tuple[Attachment, ...]:
    """Files of a visit or of an instrument, in the order they came.

    Args:
        work: on the shop.
        visit, instrument: id of one of them.
    Returns: the attachments.
    """
    own = ATTACHMENT.c.visit == visit if instrument is None else ATTACHMENT.c.instrument == instrument
    rows = work.connection.execute(select(ATTACHMENT).where(own).order_by(ATTACHMENT.c.id))
    return tuple(made_of(Attachment, row) for row in rows)


def attachment(work: Work, id: str) -> Attachment:
    """A file by its id.

    Args:
        work: on the shop.
        id: of the attachment, or the end of it, four signs at least, where only one ends so.
    Returns: the attachment.
    Raises: InputError where there is none, or more than one.
    """
    return made_of(Attachment, the_one(work, ATTACHMENT, id, names=(), noun="file"))


def content(work: Work, sha256: str) -> Iterator[bytes]:
    """The bytes of a file that is kept, in pieces.

    Args:
        work: on the shop.
        sha256: of its content.
    Returns: the pieces.
    Raises: InputError, FileFormatError where it is not there.
    """
    return work.contents.chunks(work.connection, sha256)


def plan_step(work: Work, visit: str, advice: dict[str, Any]) -> Step:
    """Note a step that was planned, with the next number.

    Args:
        work: writing.
        visit: its id.
        advice: plain data of it.
    Returns: the step.
    Raises: InputError.
    """
    home = get(work, Visit, visit, lock=True).id
    last = work.connection.execute(select(func.max(STEP.c.number)).where(STEP.c.visit == home)).scalar() or 0
    row = {"id": new_id(), "visit": home, "number": last + 1, "planned": work.now, "done": None}
    work.connection.execute(insert(STEP), {**row, "advice": as_json(advice)})
    return Step(**row, advice=advice)  # type: ignore[arg-type]


def step_done(work: Work, step: str) -> None:
    """Note that a step was done.

    Args:
        work: writing.
        step: its id.
    Raises: InputError where there is none, or it was done before.
    """
    here = (STEP.c.id == step) & STEP.c.done.is_(None)
    if work.connection.execute(update(STEP).where(here).values(done=work.now)).rowcount != 1:
        raise InputError(f"there is no step {step[:40]!r} still to be done; look at the steps of the visit.")


def steps(work: Work, visit: str) -> tuple[Step, ...]:
    """The steps of a visit, in their order.

    Args:
        work: on the shop.
        visit: its id.
    Returns: the steps.
    """
    rows = work.connection.execute(select(STEP).where(STEP.c.visit == visit).order_by(STEP.c.number))
    return tuple(Step(row.id, row.visit, row.number, json.loads(row.advice), row.planned, row.done) for row in rows)


def note_climate(
    work: Work, at: str, temperature: float | None, humidity: float | None, written: str, visit: str | None = None
) -> Climate:
    """Keep a reading of the air.

    Args:
        work: writing.
        at: by the clock of the bench, "2026-11-30 09:55:18".
        temperature: K, or None.
        humidity: share from 0 to 1, or None.
        written: as it was written.
        visit: id, where it belongs to one.
    Returns: the reading.
    Raises: InputError.
    """
    if temperature is None and humidity is None:
        raise InputError("neither temperature nor humidity is given; write one of them.")
    if temperature is not None and not 200.0 < temperature < 350.0:
        raise InputError(f"{written[:40]!r} is no temperature of a room; check the number.")
    if humidity is not None and not 0.0 <= humidity <= 1.0:
        raise InputError(f"{written[:40]!r} is no humidity; it lies between 0 and 100 %.")
    row = {
        "id": new_id(), "visit": None if visit is None else get(work, Visit, visit).id, "at": at,
        "temperature": temperature, "humidity": humidity, "written": line(written, "reading"), "who": work.who,
    }  # fmt: skip
    work.connection.execute(insert(CLIMATE), row)
    return Climate(**row)  # type: ignore[arg-type]


def climate(work: Work, visit: str | None = None) -> tuple[Climate, ...]:
    """Readings of the air in the order of time.

    Args:
        work: on the shop.
        visit: only those of it.
    Returns: the readings.
    """
    rows = select(CLIMATE) if visit is None else select(CLIMATE).where(CLIMATE.c.visit == visit)
    return tuple(made_of(Climate, row) for row in work.connection.execute(rows.order_by(CLIMATE.c.at, CLIMATE.c.id)))


def hand_over(work: Work, visit: str, kind: str, data: dict[str, Any], sha256: str) -> Sheet:
    """Note that a sheet was handed over.

    Args:
        work: writing.
        visit: its id.
        kind: "owner", "shop" or "tag".
        data: plain data the sheet was made from.
        sha256: of the PDF.
    Returns: the sheet.
    Raises: InputError.
    """
    if kind not in ("owner", "shop", "tag") or len(sha256) != 64 or set(sha256) - set("0123456789abcdef"):
        raise InputError("a sheet is of kind owner, shop or tag and has the SHA-256 of its PDF; check both.")
    row = {
        "id": new_id(), "visit": get(work, Visit, visit).id, "kind": kind, "sha256": sha256, "handed_over": work.now,
        "who": work.who,
    }  # fmt: skip
    work.connection.execute(insert(SHEET), {**row, "data": as_json(data)})
    return Sheet(**row, data=data)


def sheets(work: Work, visit: str) -> tuple[Sheet, ...]:
    """Sheets of a visit, in the order they were handed over.

    Args:
        work: on the shop.
        visit: its id.
    Returns: the sheets.
    """
    rows = work.connection.execute(select(SHEET).where(SHEET.c.visit == visit).order_by(SHEET.c.id))
    return tuple(
        Sheet(row.id, row.visit, row.kind, json.loads(row.data), row.sha256, row.handed_over, row.who) for row in rows
    )
