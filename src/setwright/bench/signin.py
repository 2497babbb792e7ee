"""Signing in with a personal PIN, and what people may do. Wrong tries wait longer and longer, for person and bench."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from itertools import pairwise

from setwright.bench.opening import opened
from setwright.errors import InputError, TooOftenError
from setwright.frozen import frozen
from setwright.records import access, audit
from setwright.records.access import LEAD as LEAD
from setwright.records.access import ROLES as ROLES
from setwright.records.access import Worker as Worker
from setwright.records.day import person_in
from setwright.records.devices import Device, sit_down, stand_up
from setwright.records.shop import Work, alone, stamp

LEAST, MOST = 6, 12  # digits of a PIN
FREE = {"person": 3, "bench": 8}  # wrong tries before the first wait
FIRST_WAIT, LONGEST_WAIT = timedelta(seconds=30), timedelta(hours=1)
CODE, CODE_MINUTES = 8, 15  # digits of a code for the first sign-in, and how long it serves
NO_CODE = (
    "this is no code {} may choose a PIN by; a lead gives one in the settings, under Who works here. It serves once, "
    f"for {CODE_MINUTES} minutes."
)
FIRST_OF_LEAD = (
    "{} is a lead and has no PIN yet; the first PIN of a lead is set on the machine that holds the shop, with "
    "setwright shop pin."
)
MACHINE = "machine"  # stands for the bench where there is none: the machine itself
LACKING = "a PIN needs the packages of the extra: pip install 'setwright[network]'."


def wait_after(count: int, free: int) -> timedelta:
    """How long nobody is let in after wrong tries.

    Args:
        count: of them.
        free: how many cost nothing.
    Returns: 30 s, then twice as long each time, an hour at most.
    """
    if count < free:
        return timedelta(0)
    return min(FIRST_WAIT * float(2 ** min(count - free, 20)), LONGEST_WAIT)


def checked_pin(pin: str) -> str:
    """A PIN that may be kept.

    Args:
        pin: as typed.
    Returns: the same.
    Raises: InputError for one that is too short, too long, of other signs than digits, or the first anybody would try.
    """
    if not (pin.isascii() and pin.isdigit() and LEAST <= len(pin) <= MOST):
        raise InputError(f"a PIN has {LEAST} to {MOST} digits and nothing else; choose another.")
    steps = {(int(b) - int(a)) % 10 for a, b in pairwise(pin)}
    if len(steps) == 1 and steps <= {0, 1, 9}:
        raise InputError("this PIN is among the first anybody would try; choose one whose digits do not just count on.")
    return pin


def hashed_pin(pin: str) -> str:
    """A PIN as the shop keeps it.

    Args:
        pin: the digits.
    Returns: Argon2id with its salt and its cost (RFC 9106, section 4, second choice).
    Raises: InputError where the package is missing.
    """
    try:
        from argon2 import PasswordHasher
    except ImportError:
        raise InputError(LACKING) from None
    return PasswordHasher().hash(pin)


def is_pin(kept: str, pin: str) -> bool:
    """Whether a PIN is the one that was kept.

    Args:
        kept: from `hashed_pin`.
        pin: as typed.
    Returns: True or False.
    Raises: InputError where the package is missing.
    """
    try:
        from argon2 import PasswordHasher
        from argon2.exceptions import Argon2Error, InvalidHashError
    except ImportError:
        raise InputError(LACKING) from None
    if not (pin.isascii() and pin.isdigit() and len(pin) <= MOST):
        return False
    try:
        return PasswordHasher().verify(kept, pin)
    except (Argon2Error, InvalidHashError):
        return False


def workers_of(at: str | None) -> tuple[Worker, ...]:
    """Who works here, with what they may do and whether they have a PIN.

    Args:
        at: folder or URL of the shop.
    Returns: the people, by name.
    Raises: InputError, FileFormatError.
    """
    with opened(at) as shop, shop.reading() as work:
        return access.workers(work)


def worker_named(at: str | None, name: str) -> Worker | None:
    """Somebody who works here, by name.

    Args:
        at: folder or URL of the shop.
        name: theirs; small and large letters are alike.
    Returns: them; None where nobody is called so.
    Raises: InputError, FileFormatError.
    """
    return next((one for one in workers_of(at) if one.name.casefold() == name.strip().casefold()), None)


def check_try(
    at: str | None, person: str, pin: str, device: Device | None = None, now: datetime | None = None
) -> Worker:
    """Somebody whose PIN was typed. The try counts as wrong before it is looked at, so that many at once are as many.

    Args:
        at: folder or URL of the shop.
        person: id.
        pin: as typed.
        device: the bench; None for the machine itself.
        now: with its zone; None for the clock.
    Returns: them.
    Raises: TooOftenError while there is a wait, InputError for a wrong PIN or somebody who is not here.
    """
    wrong = "this is not the PIN of {}; try again, or ask a lead to take it away."

    def checked(work: Work) -> str | None:
        return access.pin_of(work, person)

    return _try(at, person, pin, device, now or datetime.now(UTC), checked, ("wrong PIN", "no PIN is set yet", wrong))


def _try(
    at: str | None, person: str, typed: str, device: Device | None, when: datetime,
    kept_in: Callable[[Work], str | None], said: tuple[str, str, str],
) -> Worker:  # fmt: skip
    """Somebody who typed what only they know. said: what is noted where it is wrong and where there is none, and what
    is said to whoever typed it."""
    bench = MACHINE if device is None else device.id
    label = "" if device is None else device.name
    with opened(at) as shop:
        with shop.reading() as work:
            _check_wait(work, person, bench, when)
        with shop.writing() as work:
            alone(work)
            _check_wait(work, person, bench, when)
            who, kept = access.worker(work, person), kept_in(work)
            if who is None:
                raise InputError("nobody of that name works here; choose one of those listed.")
            for about in (f"person {person}", f"bench {bench}"):
                access.count_try(work, about, when, stamp(when))
        if kept is None or not is_pin(kept, typed):
            with shop.writing() as work:
                audit.note(work, "sign-in refused", who.name, label, said[0] if kept else said[1])
            raise InputError(said[2].format(who.name))
        with shop.writing() as work:
            alone(work)
            access.forget_tries(work, f"person {person}")
            access.uncount_try(work, f"bench {bench}")
    return who


def _check_wait(work: Work, person: str, bench: str, when: datetime) -> None:
    for kind, about in (("person", person), ("bench", bench)):
        found = access.tries(work, f"{kind} {about}", when)
        if found is None:
            continue
        wait = wait_after(found.count, FREE[kind])
        left = min(datetime.fromisoformat(found.at) + wait - when, wait)  # a clock that was put back adds nothing
        if left > timedelta(0):
            raise TooOftenError(f"too many wrong PINs; try again in {_spoken(left)}, or ask a lead.")


def _spoken(left: timedelta) -> str:
    seconds = int(left.total_seconds()) + 1
    if seconds < 60:
        return f"{seconds} seconds" if seconds > 1 else "a second"
    minutes = -(-seconds // 60)
    return f"{minutes} minutes" if minutes > 1 else "a minute"


@frozen
class Code:
    """What a lead hands to somebody who has no PIN yet. digits: told once, the shop keeps their hash; minutes: that
    they serve."""

    who: Worker
    digits: str
    minutes: int


def give_code(at: str | None, person: str, who: str = "", device: str = "", now: datetime | None = None) -> Code:
    """Make a code by which somebody without a PIN may choose one at a bench, once.

    Args:
        at: folder or URL of the shop.
        person: name, id, or the end of the id.
        who: gives it.
        device: name of the bench it is given at, "" on the machine itself.
        now: with its zone; None for the clock.
    Returns: the code; one that was given before serves no more.
    Raises: InputError for a lead, and for somebody who has a PIN.
    """
    digits = "".join(secrets.choice("0123456789") for _ in range(CODE))
    hash, until = hashed_pin(digits), stamp((now or datetime.now(UTC)) + timedelta(minutes=CODE_MINUTES))
    with opened(at) as shop, shop.writing(who) as work:
        alone(work)
        found = _now(work, person_in(work, person).id)
        if found.role == LEAD:
            raise InputError(FIRST_OF_LEAD.format(found.name))
        if found.pin:
            raise InputError(f"{found.name} has a PIN; take it away first, if it is forgotten.")
        access.give_code(work, found.id, hash, until)
        audit.note(work, "code given", found.name, device, f"for {CODE_MINUTES} minutes")
    return Code(found, digits, CODE_MINUTES)


def sign_in(
    at: str | None, device: Device, person: str, pin: str, again: str = "", code: str = "", now: datetime | None = None
) -> tuple[Worker, str]:
    """Sign somebody in at a bench; who has no PIN yet sets one, by the code a lead gave them.

    Args:
        at: folder or URL of the shop.
        device: the bench.
        person: id.
        pin: as typed.
        again: the same once more, where it is the first time.
        code: from a lead, where it is the first time; blanks in it do not matter.
        now: with its zone; None for the clock.
    Returns: who, and a fresh secret for the browser to keep.
    Raises: TooOftenError, InputError; a lead's first PIN is set on the machine itself.
    """
    when = now or datetime.now(UTC)
    with opened(at) as shop, shop.reading() as work:
        who = access.worker(work, person)
    if who is None:
        raise InputError("nobody of that name works here; choose one of those listed.")
    if who.pin:
        who = check_try(at, person, pin, device, now)
    else:
        _first_pin(at, who, device, (pin, again, "".join(code.split())), when)
    key = secrets.token_urlsafe(32)
    with opened(at) as shop, shop.writing(who.name) as work:
        sit_down(work, device.id, who.id, key, stamp(when))
        audit.note(work, "signed in", who.name, device.name)
    return who, key


def _first_pin(at: str | None, who: Worker, device: Device, typed: tuple[str, str, str], when: datetime) -> None:
    """Let somebody choose their PIN, by a code that serves once. typed: PIN, the same again, code."""
    if who.role == LEAD:
        raise InputError(FIRST_OF_LEAD.format(who.name))
    pin, again, code = typed
    checked_pin(pin)
    if pin != again:
        raise InputError("the two PINs are not the same; type it twice.")

    def given(work: Work) -> str | None:
        return access.code_of(work, who.id, stamp(when))

    _try(at, who.id, code, device, when, given, ("wrong code", "no code was given, or it is too old", NO_CODE))
    hash = hashed_pin(pin)
    with opened(at) as shop, shop.writing(who.name) as work:
        alone(work)
        if access.pin_of(work, who.id) is not None:
            raise InputError(f"{who.name} has a PIN meanwhile; sign in with it.")
        if not access.take_codes(work, who.id):
            raise InputError(NO_CODE.format(who.name))
        access.keep_pin(work, who.id, hash)
        audit.note(work, "PIN set", who.name, device.name, "at the first sign-in")


def sign_out(at: str | None, device: Device, who: str = "") -> None:
    """Sign out whoever sits at a bench.

    Args:
        at: folder or URL of the shop.
        device: the bench.
        who: sits there.
    Raises: InputError, FileFormatError.
    """
    with opened(at) as shop, shop.writing(who) as work:
        stand_up(work, device.id)
        audit.note(work, "signed out", who, device.name)


def set_pin(at: str | None, person: str, pin: str, who: str = "", device: str = "") -> Worker:
    """Set or take away somebody's PIN; they are signed out everywhere, and their wrong tries are forgotten.

    Args:
        at: folder or URL of the shop.
        person: name, id, or the end of the id.
        pin: the digits, "" to take it away.
        who: does it.
        device: name of the bench it is done at, "" on the machine itself.
    Returns: them as they are now.
    Raises: InputError, FileFormatError.
    """
    hash = hashed_pin(checked_pin(pin)) if pin else ""
    with opened(at) as shop, shop.writing(who) as work:
        alone(work)
        found = person_in(work, person)
        if hash:
            access.keep_pin(work, found.id, hash)
        else:
            access.drop_pin(work, found.id)
        access.take_codes(work, found.id)
        access.forget_tries(work, f"person {found.id}")
        stand_up(work, person=found.id)
        audit.note(work, "PIN set" if hash else "PIN taken away", found.name, device)
        return _now(work, found.id)


def set_role(at: str | None, person: str, role: str, who: str = "", device: str = "") -> Worker:
    """Say what somebody may do.

    Args:
        at: folder or URL of the shop.
        person: name, id, or the end of the id.
        role: "technician" or "lead".
        who: does it.
        device: name of the bench it is done at, "" on the machine itself.
    Returns: them as they are now.
    Raises: InputError; the last lead stays one.
    """
    with opened(at) as shop, shop.writing(who) as work:
        alone(work)
        found = person_in(work, person)
        before = _now(work, found.id).role
        access.set_role(work, found.id, role)
        if before != role:
            audit.note(work, "role changed", found.name, device, f"from {before} to {role}")
        return _now(work, found.id)


def _now(work: Work, person: str) -> Worker:
    found = access.worker(work, person)
    assert found is not None
    return found
