"""setwright shop: owners, instruments and the people who work here."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import click

from setwright.cli.asked import json_option, say, say_json
from setwright.cli.layout import columns, labelled, section
from setwright.cli.shop_options import based_on_option, by_option, shop_option

if TYPE_CHECKING:
    from setwright.bench.signin import Worker
    from setwright.records.rows import Instrument, Owner, Person

_COLUMN = 13
_MOST = 28  # signs of a cell
OF_INSTRUMENT = ("id", "version", "owner", "name", "maker", "model", "serial", "colour", "made", "file_name")


@click.command("owners")
@click.option("--find", metavar="TEXT", default="", help="Words in the name or in how to reach them.")
@shop_option
@json_option
def owners(find: str, at: str | None, as_json: bool) -> None:
    """List the owners."""
    from setwright.bench.data import document
    from setwright.bench.owners import find_owners

    found = find_owners(at, find)
    if as_json:
        say_json(document("shop owners", {"owners": found}))
        return
    if not found:
        say(f"There is no owner with {find!r}." if find else "There is no owner in this shop yet.")
        return
    rows = [("owner", "contact", "instruments", "id")]
    rows += [(cell(one.name), cell(one.contact), str(one.instruments), one.id[-8:]) for one in found]
    say("\n".join(columns(rows, indent=0, right=(2,))))


@click.command("owner")
@click.argument("owner")
@shop_option
@json_option
def owner_(owner: str, at: str | None, as_json: bool) -> None:
    """Show OWNER, by name, id or the last signs of it, with their instruments."""
    from setwright.bench.data import document
    from setwright.bench.owners import show_owner

    found = show_owner(at, owner)
    if as_json:
        content = {"owner": owner_data(found.owner), "instruments": [instrument_data(one) for one in found.instruments]}
        say_json(document("shop owner", content))
        return
    lines = owner_lines(found.owner)
    rows = [(cell(one.name), cell(one.serial), one.id[-8:]) for one in found.instruments]
    say("\n".join(lines + section("instruments", columns(rows) if rows else [])))


@click.command("add-owner")
@click.argument("name")
@click.option("--contact", default="", help="How to reach them.")
@click.option("--note", default="", help="Anything worth keeping of them.")
@shop_option
@by_option
@json_option
def add_owner(name: str, contact: str, note: str, at: str | None, who: str, as_json: bool) -> None:
    """Add an owner called NAME."""
    from setwright.bench import owners as bench

    _say_owner(bench.add_owner(at, name, contact, note, who), as_json)


@click.command("edit-owner")
@click.argument("owner")
@click.option("--name", help="A new name.")
@click.option("--contact", help="How to reach them now.")
@click.option("--note", help="A new note.")
@based_on_option
@shop_option
@by_option
@json_option
def edit_owner(owner: str, based_on: int | None, at: str | None, who: str, as_json: bool, **given: str | None) -> None:
    """Change OWNER; what is not named stays."""
    from setwright.bench import owners as bench

    _say_owner(bench.edit_owner(at, owner, based_on, who, **said(given)), as_json)


@click.command("add-instrument")
@click.argument("file")
@click.option("--owner", metavar="ID", default="", help="Whose it is.")
@click.option("--name", default="", help="What the shop calls it; otherwise as in the file.")
@click.option("--maker", default="", help="Who made it.")
@click.option("--model", default="", help="What the maker calls it.")
@click.option("--serial", default="", help="Its number.")
@click.option("--colour", default="", help="Its colour.")
@shop_option
@by_option
@json_option
def add_instrument(file: str, owner: str, at: str | None, who: str, as_json: bool, **given: str) -> None:
    """Add an instrument that has not come in yet, from its instrument FILE."""
    from setwright.bench import owners as bench

    _say_instrument(bench.add_instrument(at, file, owner, who, **given), as_json)  # type: ignore[arg-type]


@click.command("edit-instrument")
@click.argument("instrument")
@click.option("--owner", metavar="ID", help='Whose it is now; "" for nobody who is known.')
@click.option("--name", help="What the shop calls it.")
@click.option("--maker", help="Who made it.")
@click.option("--model", help="What the maker calls it.")
@click.option("--serial", help="Its number.")
@click.option("--colour", help="Its colour.")
@click.option("--file", metavar="PATH", help="A new instrument file, for visits to come.")
@based_on_option
@shop_option
@by_option
@json_option
def edit_instrument(
    instrument: str,
    file: str | None,
    based_on: int | None,
    at: str | None,
    who: str,
    as_json: bool,
    **given: str | None,
) -> None:
    """Change what is known of INSTRUMENT; what is not named stays."""
    from setwright.bench import owners as bench

    _say_instrument(bench.edit_instrument(at, instrument, based_on, who, file, None, **said(given)), as_json)


@click.command("people")
@shop_option
@json_option
def people(at: str | None, as_json: bool) -> None:
    """List who works here."""
    from setwright.bench.data import document
    from setwright.bench.signin import workers_of

    found = workers_of(at)
    if as_json:
        say_json(document("shop people", {"people": [worker_data(one) for one in found]}))
        return
    rows = [
        (cell(one.name), one.role, "PIN" if one.pin else "no PIN", f"since {one.since[:10]}", one.id[-8:])
        for one in found
    ]
    say("\n".join(columns(rows, indent=0)) if rows else "Nobody is noted as working here yet.")


@click.command("add-person")
@click.argument("name")
@shop_option
@json_option
def add_person(name: str, at: str | None, as_json: bool) -> None:
    """Note that NAME works here."""
    from setwright.bench.day import person_of

    _say_person(person_of(at, name), as_json)


@click.command("person-left")
@click.argument("person")
@shop_option
@by_option
@json_option
def person_left(person: str, at: str | None, who: str, as_json: bool) -> None:
    """Note that PERSON works here no more; what they did keeps their name."""
    from setwright.bench import owners as bench

    _say_person(bench.person_left(at, person, who), as_json)


COMMANDS: tuple[click.Command, ...] = (
    owners, owner_, add_owner, edit_owner, add_instrument, edit_instrument, people, add_person, person_left,
)  # fmt: skip


def said(given: dict[str, str | None]) -> dict[str, str]:
    """What was named of many options.

    Args:
        given: option -> what was typed, None where it was not.
    Returns: those that were.
    Raises: UsageError for none.
    """
    return {name: value for name, value in given.items() if value is not None}


def cell(text: str) -> str:
    """A text that fits into a column.

    Args:
        text: any.
    Returns: its beginning.
    """
    return text if len(text) <= _MOST else f"{text[: _MOST - 3]}..."


def worker_data(worker: Worker) -> dict[str, Any]:
    """Somebody who works here as JSON can hold it.

    Args:
        worker: them.
    Returns: plain data; `pin_set` is null where there is no PIN.
    """
    data = {name: value for name, value in asdict(worker).items() if name != "pin"}
    return {**data, "until": None, "pin_set": worker.pin or None}


def owner_data(owner: Owner) -> dict[str, Any]:
    """An owner as JSON can hold it.

    Args:
        owner: them.
    Returns: plain data.
    """
    return {name: value for name, value in asdict(owner).items() if name != "sought"}


def instrument_data(instrument: Instrument) -> dict[str, Any]:
    """An instrument as JSON can hold it.

    Args:
        instrument: it.
    Returns: plain data.
    """
    return {name: getattr(instrument, name) for name in OF_INSTRUMENT}


def owner_lines(owner: Owner) -> list[str]:
    """An owner as text.

    Args:
        owner: them.
    Returns: lines.
    """
    rows = [("owner", owner.name), ("contact", owner.contact), ("note", owner.note)]
    rows += [("version", str(owner.version)), ("id", owner.id)]
    return [line for label, text in rows for line in labelled(label, text, 0, _COLUMN)]


def _say_owner(owner: Owner, as_json: bool) -> None:
    from setwright.bench.data import document

    if as_json:
        say_json(document("shop owner", {"owner": owner_data(owner), "instruments": None}))
    else:
        say("\n".join(owner_lines(owner)))


def _say_instrument(instrument: Instrument, as_json: bool) -> None:
    from setwright.bench.data import document

    if as_json:
        say_json(document("shop instrument", {"instrument": instrument_data(instrument)}))
        return
    rows = [(name.replace("_", " "), str(getattr(instrument, name) or "")) for name in OF_INSTRUMENT]
    say("\n".join(line for label, text in rows for line in labelled(label, text, 0, _COLUMN)))


def _say_person(person: Person, as_json: bool) -> None:
    from setwright.bench.data import document

    if as_json:
        say_json(document("shop person", {"person": person}))
    else:
        until = f" until {person.until[:10]}" if person.until else ""
        say(f"{person.name} works here since {person.since[:10]}{until}.")
