"""Benches of the shop's network: let in by an address that serves once, known by what their browser keeps, shut out."""

from __future__ import annotations

import secrets
from datetime import UTC, datetime, timedelta

from setwright.bench.network import PORT, fingerprint_of, folder_of, own_addresses
from setwright.bench.opening import opened
from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.records import audit
from setwright.records.devices import Device as Device
from setwright.records.devices import Sitting as Sitting
from setwright.records.devices import (
    device_of,
    devices,
    open_pairing,
    pairing_open,
    shut_out,
    sitting_of,
    stand_up,
    still_here,
    use_pairing,
)
from setwright.records.shop import stamp

MINUTES = 5  # that an address serves
MOST_MINUTES = 60
LIFE = timedelta(hours=12)  # somebody who signed in is signed in for a working day at most
IDLE = timedelta(hours=2)  # and no longer than this without doing anything
LOOK = timedelta(minutes=1)  # how often it is noted that somebody still works


@frozen
class Invitation:
    """A way in for one bench. address: to be opened there; until: UTC; minutes: that it serves; fingerprint: of the
    certificate the bench will show, "" where there is none yet."""

    address: str
    until: str
    minutes: int
    fingerprint: str


@frozen
class Known:
    """Who asks. device: the bench, None where it was never let in; sitting: who sits at it, None where nobody does."""

    device: Device | None
    sitting: Sitting | None


NOBODY = Known(None, None)


def base_of(address: str | None, port: int = PORT) -> str:
    """Where benches find this one.

    Args:
        address: as it was named, e.g. "https://192.168.1.7:8400" or "192.168.1.7"; None for the machine's own.
        port: where none stands in the address.
    Returns: e.g. "https://192.168.1.7:8400".
    Raises: InputError.
    """
    said = address if address is not None else next(iter(own_addresses()), "")
    if not said:
        raise InputError("this machine is in no network of a house; name the address other benches reach it at.")
    host = said.removeprefix("https://").rstrip("/")
    if "://" in host or "/" in host or not host.isascii() or not host.isprintable() or " " in host or len(host) > 200:
        raise InputError(f"{said[:60]!r} is no address of a bench; write for instance https://192.168.1.7:{PORT}.")
    return f"https://{host}" if host.rpartition(":")[2].isdigit() and ":" in host else f"https://{host}:{port}"


def invite(
    at: str | None, base: str, who: str = "", minutes: int = MINUTES, device: str = "", now: datetime | None = None
) -> Invitation:
    """Open a way in for one bench.

    Args:
        at: folder or URL of the shop.
        base: where benches find this one, from `base_of`.
        who: opens it.
        minutes: that it serves.
        device: name of the bench it is opened at, "" on the machine itself.
        now: with its zone; None for the clock.
    Returns: the way in; the shop keeps only a hash of it.
    Raises: InputError, FileFormatError.
    """
    if not 1 <= minutes <= MOST_MINUTES:
        raise InputError(f"{minutes} minutes cannot be; a way in is open for 1 to {MOST_MINUTES}.")
    secret = secrets.token_urlsafe(24)
    until = stamp((now or datetime.now(UTC)) + timedelta(minutes=minutes))
    with opened(at) as shop, shop.writing(who) as work:
        open_pairing(work, secret, until)
        audit.note(work, "way in opened", device=device, words=f"for {minutes} minutes")
        return Invitation(f"{base}/pair/{secret}", until, minutes, fingerprint_of(folder_of(shop.path)))


def is_open(at: str | None, secret: str, now: datetime | None = None) -> bool:
    """Whether an address still lets a bench in.

    Args:
        at: folder or URL of the shop.
        secret: the end of the address.
        now: with its zone; None for the clock.
    Returns: True or False.
    Raises: InputError, FileFormatError.
    """
    with opened(at) as shop, shop.reading() as work:
        return pairing_open(work, secret, stamp(now or datetime.now(UTC)))


def let_in(at: str | None, secret: str, name: str, now: datetime | None = None) -> tuple[Device, str] | None:
    """Let a bench in.

    Args:
        at: folder or URL of the shop.
        secret: the end of the address.
        name: what the bench is called from now on.
        now: with its zone; None for the clock.
    Returns: the bench and what its browser has to keep; None where the address was used or is too old.
    Raises: InputError for a name that is none, FileFormatError.
    """
    key = secrets.token_urlsafe(32)
    with opened(at) as shop, shop.writing() as work:
        made = use_pairing(work, secret, stamp(now or datetime.now(UTC)), name, key)
        if made is None:
            audit.note(work, "way in refused", words="the address was used, is too old or was never given")
            return None
        audit.note(work, "bench let in", made.name, made.name, f"by the way in {made.who or 'the machine'} opened")
        return made, key


def benches(at: str | None) -> tuple[Device, ...]:
    """All benches that were ever let in.

    Args:
        at: folder or URL of the shop.
    Returns: the benches, the newest first.
    Raises: InputError, FileFormatError.
    """
    with opened(at) as shop, shop.reading() as work:
        return devices(work)


def shut(at: str | None, device: str, who: str = "", at_bench: str = "") -> Device:
    """Shut a bench out, at once.

    Args:
        at: folder or URL of the shop.
        device: name, id, or the end of the id.
        who: does it.
        at_bench: name of the bench it is done at, "" on the machine itself.
    Returns: the bench.
    Raises: InputError where there is none; FileFormatError.
    """
    with opened(at) as shop, shop.writing(who) as work:
        out = shut_out(work, device, work.now)
        audit.note(work, "bench shut out", out.name, at_bench)
        return out


def known(at: str | None, key: str, seat: str, now: datetime | None = None, works: bool = True) -> Known:
    """Who asks, by what their browser keeps.

    Args:
        at: folder or URL of the shop.
        key: of the bench, "" where the browser keeps none.
        seat: of the one who sits there, or "".
        now: with its zone; None for the clock.
        works: the one who sits there does something; False where a page only asks by itself.
    Returns: bench and person, as far as they are known and still may come in.
    Raises: InputError, FileFormatError.
    """
    if not key:
        return NOBODY
    when = now or datetime.now(UTC)
    with opened(at) as shop:
        with shop.reading() as work:
            device = device_of(work, key)
            sitting = None if device is None or not seat else sitting_of(work, device, seat)
        if sitting is None:
            return Known(device, None)
        began, seen = (datetime.fromisoformat(one) for one in (sitting.began, sitting.seen))
        if when - began > LIFE or when - seen > IDLE:
            with shop.writing(sitting.worker.name) as work:
                stand_up(work, sitting.device.id)
                audit.note(work, "signed out", sitting.worker.name, sitting.device.name, "by the time")
            return Known(device, None)
        if works and when - seen > LOOK:
            with shop.writing(sitting.worker.name) as work:
                still_here(work, sitting, stamp(when))
    return Known(device, sitting)
