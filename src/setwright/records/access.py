"""Who may do what: roles, PINs as hashes, and tries that were refused, counted where a restart does not forget them."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import ColumnElement, Select, delete, insert, select, update

from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.records.engine import put_once
from setwright.records.shop import Work
from setwright.records.tables import PAIRING, PERSON, PERSON_ROLE, PIN, REFUSED_TRY

TECHNICIAN, LEAD = "technician", "lead"
ROLES = (TECHNICIAN, LEAD)
FORGOTTEN = timedelta(days=1)  # after which wrong tries no longer count


@frozen
class Worker:
    """Somebody who works here. role: "technician" or "lead"; pin: when their PIN was set, "" where there is none."""

    id: str
    version: int
    name: str
    since: str
    role: str
    pin: str


@frozen
class Tries:
    """Wrong tries so far, and when the last one was, in UTC as the tables keep it."""

    count: int
    at: str


def workers(work: Work) -> tuple[Worker, ...]:
    """Who works here now, by name.

    Args:
        work: on the shop.
    Returns: the people.
    """
    rows = work.connection.execute(_asked().order_by(PERSON.c.name, PERSON.c.id))
    return tuple(made_worker(row) for row in rows)


def worker(work: Work, person: str) -> Worker | None:
    """Somebody who works here now.

    Args:
        work: on the shop.
        person: id.
    Returns: them; None where nobody of that id works here.
    """
    row = work.connection.execute(_asked().where(PERSON.c.id == person)).one_or_none()
    return None if row is None else made_worker(row)


def made_worker(row: Any) -> Worker:
    """Somebody who works here, of a row.

    Args:
        row: of person, with `role` and `made` of their PIN, where they have them.
    Returns: them.
    """
    return Worker(row.id, row.version, row.name, row.since, row.role or TECHNICIAN, row.made or "")


def _asked() -> Select[Any]:
    rows = select(PERSON.c.id, PERSON.c.version, PERSON.c.name, PERSON.c.since, PERSON_ROLE.c.role, PIN.c.made)
    joined = PERSON.join(PERSON_ROLE, PERSON_ROLE.c.person == PERSON.c.id, isouter=True)
    joined = joined.join(PIN, PIN.c.person == PERSON.c.id, isouter=True)
    return rows.select_from(joined).where(PERSON.c.until.is_(None))


def leads(work: Work) -> tuple[Worker, ...]:
    """The leads who work here now.

    Args:
        work: on the shop.
    Returns: them, by name.
    """
    return tuple(one for one in workers(work) if one.role == LEAD)


def set_role(work: Work, person: str, role: str) -> None:
    """Say what somebody may do; the last lead stays one.

    Args:
        work: writing, `shop.alone`.
        person: id of somebody who works here.
        role: "technician" or "lead".
    Raises: InputError.
    """
    if role not in ROLES:
        raise InputError(f"{role[:40]!r} is no role; there are {' and '.join(ROLES)}.")
    keep_a_lead(work, person, role)
    if not put_once(work.connection, PERSON_ROLE, {"person": person, "role": role}):
        work.connection.execute(update(PERSON_ROLE).where(PERSON_ROLE.c.person == person).values(role=role))


def keep_a_lead(work: Work, person: str, role: str = "") -> None:
    """Refuse what would leave a shop that has a lead without one.

    Args:
        work: on the shop.
        person: id of the one whose role changes, or who leaves.
        role: theirs from now on, "" where they leave.
    Raises: InputError.
    """
    found = leads(work)
    if role != LEAD and [one.id for one in found] == [person]:
        raise InputError(f"{found[0].name} is the only lead of this shop; make somebody else a lead first.")


def pin_of(work: Work, person: str) -> str | None:
    """The hash of a PIN.

    Args:
        work: on the shop.
        person: id.
    Returns: as it was kept; None where there is no PIN.
    """
    return work.connection.execute(select(PIN.c.hash).where(PIN.c.person == person)).scalar()


def keep_pin(work: Work, person: str, hash: str) -> None:
    """Keep the hash of a PIN in the place of the one before.

    Args:
        work: writing.
        person: id.
        hash: with its salt and what it cost.
    """
    drop_pin(work, person)
    work.connection.execute(insert(PIN), {"person": person, "hash": hash, "made": work.now})


def drop_pin(work: Work, person: str) -> None:
    """Forget a PIN.

    Args:
        work: writing.
        person: id.
    """
    work.connection.execute(delete(PIN).where(PIN.c.person == person))


def give_code(work: Work, person: str, hash: str, until: str) -> None:
    """Note a code by which somebody may choose a PIN, once; one they were given before is gone.

    It stands among the ways in, which serve once and for a while as well; a name in front keeps it from being one.

    Args:
        work: writing.
        person: id.
        hash: of the code, with its salt and what it cost.
        until: UTC, as the tables keep it.
    """
    take_codes(work, person)
    row = {"secret": f"{_codes(person)}{hash}", "made": work.now, "until": until, "who": work.who, "used": None}
    work.connection.execute(insert(PAIRING), row)


def code_of(work: Work, person: str, now: str) -> str | None:
    """The hash of the code somebody was given.

    Args:
        work: on the shop.
        person: id.
        now: UTC, as the tables keep it.
    Returns: as it was kept; None where there is none that still serves.
    """
    wanted = select(PAIRING.c.secret).where(_given(person), PAIRING.c.until >= now)
    found = work.connection.execute(wanted).scalar()
    return None if found is None else str(found).removeprefix(_codes(person))


def take_codes(work: Work, person: str) -> int:
    """Take away the code somebody was given, because it was used or another one takes its place.

    Args:
        work: writing.
        person: id.
    Returns: how many there were.
    """
    gone = delete(PAIRING).where(_given(person)).execution_options(preserve_rowcount=True)
    return work.connection.execute(gone).rowcount


def _codes(person: str) -> str:
    return f"code {person} "


def _given(person: str) -> ColumnElement[bool]:
    return PAIRING.c.secret.startswith(_codes(person), autoescape=True)


def tries(work: Work, about: str, now: datetime) -> Tries | None:
    """Wrong tries that still count.

    Args:
        work: on the shop.
        about: whose, e.g. "person 0yk2...".
        now: with its zone.
    Returns: them; None where there is none.
    """
    row = work.connection.execute(select(REFUSED_TRY).where(REFUSED_TRY.c.about == about)).one_or_none()
    if row is None or now - datetime.fromisoformat(row.at) > FORGOTTEN:
        return None
    return Tries(row.tries, row.at)


def count_try(work: Work, about: str, now: datetime, stamp: str) -> int:
    """Count a try as wrong.

    Args:
        work: writing, `shop.alone`.
        about: whose.
        now: with its zone.
        stamp: the same, as the tables keep it.
    Returns: how many there are now.
    """
    before = tries(work, about, now)
    count = 1 if before is None else before.count + 1
    forget_tries(work, about)
    work.connection.execute(insert(REFUSED_TRY), {"about": about, "tries": count, "at": stamp})
    return count


def uncount_try(work: Work, about: str) -> None:
    """Take back a try that was counted before it was known to be right.

    Args:
        work: writing, `shop.alone`.
        about: whose.
    """
    here = REFUSED_TRY.c.about == about
    work.connection.execute(delete(REFUSED_TRY).where(here, REFUSED_TRY.c.tries == 1))
    work.connection.execute(update(REFUSED_TRY).where(here).values(tries=REFUSED_TRY.c.tries - 1))


def forget_tries(work: Work, about: str) -> None:
    """Forget all tries of one.

    Args:
        work: writing.
        about: whose.
    """
    work.connection.execute(delete(REFUSED_TRY).where(REFUSED_TRY.c.about == about))
