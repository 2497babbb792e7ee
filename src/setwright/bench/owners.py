"""Owners, their instruments, and the people who work here: added, shown, edited."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TypeVar

from setwright.bench.opening import opened
from setwright.errors import FileFormatError, InputError
from setwright.frozen import frozen
from setwright.records import access, audit, day, overview
from setwright.records.devices import stand_up
from setwright.records.documents import keep_document
from setwright.records.edits import add, edit, get
from setwright.records.rows import Instrument, Owner, Person, Visit
from setwright.records.shop import alone

LARGEST = 1_000_000  # bytes of an instrument file
Row = TypeVar("Row", Owner, Instrument, Visit, Person)


@frozen
class ShownOwner:
    """An owner with the instruments that are theirs."""

    owner: Owner
    instruments: tuple[Instrument, ...]


def find_owners(at: str | None, find: str = "") -> tuple[overview.OwnerLine, ...]:
    """Owners of a shop.

    Args:
        at: folder or URL.
        find: words that all stand in the name or the contact.
    Returns: the lines.
    Raises: InputError, FileFormatError.
    """
    with opened(at) as shop, shop.reading() as work:
        return overview.owners(work, find)


def show_owner(at: str | None, owner: str) -> ShownOwner:
    """An owner.

    Args:
        at: folder or URL.
        owner: id, or the end of it.
    Returns: the owner, whose `version` an edit has to name, and their instruments.
    Raises: InputError, FileFormatError.
    """
    with opened(at) as shop, shop.reading() as work:
        found = get(work, Owner, owner)
        return ShownOwner(found, overview.instruments_of(work, found.id))


def add_owner(at: str | None, name: str, contact: str = "", note: str = "", who: str = "") -> Owner:
    """Add an owner; two may have the same name.

    Args:
        at: folder or URL.
        name: theirs.
        contact: how to reach them.
        note: about them.
        who: works here.
    Returns: the owner.
    Raises: InputError, FileFormatError.
    """
    with opened(at) as shop, shop.writing(who) as work:
        return add(work, Owner("", 1, name, contact, note, work.now, ""))


def edit_owner(at: str | None, owner: str, version: int | None = None, who: str = "", **changes: str) -> Owner:
    """Change name, contact or note of an owner.

    Args:
        at: folder or URL.
        owner: id, or the end of it.
        version: of the owner as it was read; None where it was not read before.
        who: works here.
        changes: name, contact, note; those left out stay.
    Returns: the owner as kept.
    Raises: StaleEditError with both values; InputError, FileFormatError.
    """
    _only(changes, ("name", "contact", "note"), "an owner")
    with opened(at) as shop, shop.writing(who) as work:
        return edit(work, based_on(get(work, Owner, owner), version), **changes)


def instrument_in(at: str | None, instrument: str) -> Instrument:
    """An instrument.

    Args:
        at: folder or URL.
        instrument: id, or the end of it.
    Returns: the instrument, whose `version` an edit has to name.
    Raises: InputError, FileFormatError.
    """
    with opened(at) as shop, shop.reading() as work:
        return get(work, Instrument, instrument)


def add_instrument(
    at: str | None, file: str, owner: str = "", who: str = "", name: str = "", maker: str = "", model: str = "",
    serial: str = "", colour: str = "", raw: bytes | None = None,
) -> Instrument:  # fmt: skip
    """Add an instrument that has not come in yet, from its file.

    Args:
        at: folder or URL.
        file: path of the instrument file; only its name where `raw` is given.
        owner: id, or the end of it, "" when not known.
        who: works here.
        name: in the shop, "" for that of the file.
        maker, model, serial, colour: as far as they are known.
        raw: what is in the file, where it came in another way.
    Returns: the instrument.
    Raises: InputError, FileFormatError; nothing is kept then.
    """
    from setwright.instrument.files import instrument_from_bytes  # it would keep the first page waiting

    content = bytes_of(file) if raw is None else raw
    label = Path(file).name
    read = instrument_from_bytes(content, label)
    with opened(at) as shop, shop.writing(who) as work:
        return add(work, Instrument(
            id="", version=1, owner=owner or None, name=name or read.name, maker=maker, model=model, serial=serial,
            colour=colour, made=work.now, sought="", file_name=label, file=keep_document(work, content, label),
        ))  # fmt: skip


def edit_instrument(
    at: str | None,
    instrument: str,
    version: int | None = None,
    who: str = "",
    file: str | None = None,
    raw: bytes | None = None,
    **changes: str,
) -> Instrument:
    """Change what is known of an instrument.

    Args:
        at: folder or URL.
        instrument: id, or the end of it.
        version: of the instrument as it was read; None where it was not read before.
        who: works here.
        file: path of a new instrument file, for visits to come; only its name where `raw` is given.
        raw: what is in it, where it came in another way.
        changes: name, maker, model, serial, colour, owner (id, or "" for none); those left out stay.
    Returns: the instrument as kept.
    Raises: StaleEditError with both values; InputError, FileFormatError; nothing is kept then.
    """
    _only(changes, ("name", "maker", "model", "serial", "colour", "owner"), "an instrument")
    new: dict[str, str | None] = {**changes}
    if "owner" in changes:
        new["owner"] = changes["owner"] or None
    content = b""
    if file is not None:
        from setwright.instrument.files import instrument_from_bytes

        content = bytes_of(file) if raw is None else raw
        instrument_from_bytes(content, Path(file).name)
    with opened(at) as shop, shop.writing(who) as work:
        if file is not None:
            label = Path(file).name
            new |= {"file": keep_document(work, content, label), "file_name": label}
        return edit(work, based_on(get(work, Instrument, instrument), version), **new)


def person_left(at: str | None, person: str, who: str = "") -> Person:
    """Note that somebody works here no more; what they did keeps their name.

    Args:
        at: folder or URL.
        person: name, id, or the end of it.
        who: notes it.
    Returns: the person.
    Raises: InputError where nobody of that name works here.
    """
    with opened(at) as shop, shop.writing(who) as work:
        alone(work)
        found = day.person_in(work, person)
        access.keep_a_lead(work, found.id)
        stand_up(work, person=found.id)
        audit.note(work, "left", found.name)
        return edit(work, found, until=work.now)


def based_on(now: Row, version: int | None) -> Row:
    """A row as it was when an edit was thought of.

    Args:
        now: the row.
        version: that was read; None for the one of now.
    Returns: the row with that version.
    Raises: InputError for one that never was.
    """
    if version is None:
        return now
    if not 1 <= version <= now.version:
        raise InputError(f"there is no version {version} yet, the newest is {now.version}; look at it again.")
    return replace(now, version=version)


def _only(changes: dict[str, str], allowed: tuple[str, ...], of: str) -> None:
    wrong = sorted(set(changes) - set(allowed))
    if wrong:
        raise InputError(f"{wrong[0]} of {of} is not for changing; there are: {', '.join(allowed)}.")


def bytes_of(path: str) -> bytes:
    """What is in a file that is small, as an instrument or a job file is.

    Args:
        path: of it.
    Returns: its bytes.
    Raises: FileFormatError.
    """
    try:
        with Path(path).open("rb") as handle:
            raw = handle.read(LARGEST + 1)
    except (OSError, ValueError) as error:
        reason = str(getattr(error, "strerror", None) or error).lower()
        raise FileFormatError(f"{path[:80]!r} cannot be read: {reason}; check name and permissions.") from None
    if len(raw) > LARGEST:
        raise FileFormatError(f"{Path(path).name}: more than {LARGEST} bytes are no such file; check it.")
    return raw
