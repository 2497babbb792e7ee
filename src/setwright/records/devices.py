"""Benches that were let in and who sits at them. What a browser keeps is a secret; the shop keeps only its hash."""

from __future__ import annotations

import hashlib
from typing import Any

from sqlalchemy import delete, insert, select, update

from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.records.access import Worker, made_worker
from setwright.records.ids import new_id
from setwright.records.rows import line, made_of
from setwright.records.shop import Work
from setwright.records.tables import DEVICE, PAIRING, PERSON, PERSON_ROLE, PIN, SITTING

LONGEST_NAME = 60


@frozen
class Device:
    """A bench that was let in. who: let it in. seen: somebody last sat at it. until: when it was shut out, None while
    it is not; ended_by: who shut it out."""

    id: str
    name: str
    made: str
    who: str
    seen: str
    until: str | None
    ended_by: str


@frozen
class Sitting:
    """Somebody at a bench. began, seen: times in UTC."""

    device: Device
    worker: Worker
    began: str
    seen: str


def hashed(secret: str) -> str:
    """What the shop keeps of a secret of 128 bits or more: guessing it is out of reach, so no slow hash is needed.

    Args:
        secret: as the browser keeps it.
    Returns: SHA-256 in hexadecimal digits.
    """
    return hashlib.sha256(secret.encode("utf-8", "replace")).hexdigest()


def open_pairing(work: Work, secret: str, until: str) -> None:
    """Note that whoever knows a secret may let in one bench; older ones that nobody used are gone.

    Args:
        work: writing.
        secret: of the address.
        until: UTC, as the tables keep it.
    """
    work.connection.execute(delete(PAIRING).where(PAIRING.c.until < work.now))
    row = {"secret": hashed(secret), "made": work.now, "until": until, "who": work.who, "used": None}
    work.connection.execute(insert(PAIRING), row)


def pairing_open(work: Work, secret: str, now: str) -> bool:
    """Whether a secret still lets a bench in.

    Args:
        work: on the shop.
        secret: of the address.
        now: UTC, as the tables keep it.
    Returns: True or False.
    """
    wanted = select(PAIRING.c.who).where(PAIRING.c.secret == hashed(secret), *_usable(now))
    return work.connection.execute(wanted).first() is not None


def use_pairing(work: Work, secret: str, now: str, name: str, key: str) -> Device | None:
    """Let a bench in, once.

    Args:
        work: writing.
        secret: of the address.
        now: UTC, as the tables keep it.
        name: of the bench.
        key: the secret its browser will keep.
    Returns: the bench; None where the address was used or is too old.
    Raises: InputError for a name that is none.
    """
    said = line(name, "name of the bench", needed=True)
    if len(said) > LONGEST_NAME:
        raise InputError(f"the name of a bench has up to {LONGEST_NAME} characters; write a shorter one.")
    here = PAIRING.c.secret == hashed(secret)
    used = update(PAIRING).where(here, *_usable(now)).values(used=now).execution_options(preserve_rowcount=True)
    if work.connection.execute(used).rowcount != 1:
        return None
    who = str(work.connection.execute(select(PAIRING.c.who).where(here)).scalar_one())
    made = Device(new_id(), said, now, who, now, None, "")
    work.connection.execute(insert(DEVICE), {"secret": hashed(key), **_values(made)})
    return made


def _usable(now: str) -> tuple[Any, Any]:
    return PAIRING.c.used.is_(None), PAIRING.c.until >= now


def _values(device: Device) -> dict[str, Any]:
    return {name: getattr(device, name) for name in Device.__match_args__}


def devices(work: Work) -> tuple[Device, ...]:
    """All benches that were ever let in, the newest first.

    Args:
        work: on the shop.
    Returns: the benches.
    """
    rows = work.connection.execute(select(DEVICE).order_by(DEVICE.c.id.desc()))
    return tuple(made_of(Device, row) for row in rows)


def device_of(work: Work, key: str) -> Device | None:
    """The bench whose browser keeps a secret.

    Args:
        work: on the shop.
        key: the secret.
    Returns: the bench; None where it was never let in, or was shut out.
    """
    wanted = select(DEVICE).where(DEVICE.c.secret == hashed(key), DEVICE.c.until.is_(None))
    row = work.connection.execute(wanted).one_or_none()
    return None if row is None else made_of(Device, row)


def shut_out(work: Work, device: str, now: str) -> Device:
    """Shut a bench out; whoever sits at it is signed out.

    Args:
        work: writing.
        device: its id, name, or the end of its id.
        now: UTC, as the tables keep it.
    Returns: the bench.
    Raises: InputError where there is none, more than one, or it is out already.
    """
    said = device.strip()
    inside = [one for one in devices(work) if one.until is None]
    found = [one for one in inside if said in (one.id, one.name)]
    found = found or [one for one in inside if len(said) >= 4 and one.id.endswith(said)]
    if len(found) != 1:
        many = "more than one bench" if found else "no bench"
        raise InputError(f"{many} {said[:40]!r} is let in; setwright shop benches lists those that are.")
    work.connection.execute(delete(SITTING).where(SITTING.c.device == found[0].id))
    work.connection.execute(update(DEVICE).where(DEVICE.c.id == found[0].id).values(until=now, ended_by=work.who))
    return found[0]


def sit_down(work: Work, device: str, person: str, key: str, now: str) -> None:
    """Note that somebody sits at a bench from now on; whoever sat there does no longer.

    Args:
        work: writing.
        device: id.
        person: id.
        key: the secret the browser will keep.
        now: UTC, as the tables keep it.
    """
    work.connection.execute(delete(SITTING).where(SITTING.c.device == device))
    row = {"secret": hashed(key), "device": device, "person": person, "began": now, "seen": now}
    work.connection.execute(insert(SITTING), row)
    work.connection.execute(update(DEVICE).where(DEVICE.c.id == device).values(seen=now))


def stand_up(work: Work, device: str = "", person: str = "") -> None:
    """Note that nobody sits at a bench any more, or that somebody sits at none.

    Args:
        work: writing.
        device: id, or "".
        person: id, or "".
    """
    work.connection.execute(delete(SITTING).where((SITTING.c.device == device) | (SITTING.c.person == person)))


def sitting_of(work: Work, device: Device, key: str) -> Sitting | None:
    """Who sits at a bench by the secret its browser keeps.

    Args:
        work: on the shop.
        device: the bench.
        key: the secret.
    Returns: who, and since when; None where nobody does, or they work here no more.
    """
    wanted = (
        select(
            SITTING.c.began, SITTING.c.seen, PERSON.c.id, PERSON.c.version, PERSON.c.name, PERSON.c.since,
            PERSON_ROLE.c.role, PIN.c.made,
        )
        .join(PERSON, PERSON.c.id == SITTING.c.person)
        .join(PERSON_ROLE, PERSON_ROLE.c.person == PERSON.c.id, isouter=True)
        .join(PIN, PIN.c.person == PERSON.c.id)
        .where(SITTING.c.secret == hashed(key), SITTING.c.device == device.id, PERSON.c.until.is_(None))
    )  # fmt: skip
    row = work.connection.execute(wanted).one_or_none()
    if row is None:
        return None
    return Sitting(device, made_worker(row), row.began, row.seen)


def still_here(work: Work, sitting: Sitting, now: str) -> None:
    """Note that somebody still works at a bench.

    Args:
        work: writing.
        sitting: who and where.
        now: UTC, as the tables keep it.
    """
    here = (SITTING.c.device == sitting.device.id) & (SITTING.c.began == sitting.began)
    work.connection.execute(update(SITTING).where(here).values(seen=now))
    work.connection.execute(update(DEVICE).where(DEVICE.c.id == sitting.device.id).values(seen=now))
