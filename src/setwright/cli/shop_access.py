"""setwright shop: what people may do, their PINs, benches of the network, and what happened."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from setwright.cli.asked import json_option, say, say_json
from setwright.cli.layout import columns, section
from setwright.cli.shop_options import by_option, shop_option
from setwright.cli.shop_people import worker_data

if TYPE_CHECKING:
    from setwright.bench.pairing import Device
    from setwright.bench.signin import Worker

MINUTES, PORT = 5, 8400  # as bench.pairing and bench.network have them; a test holds them together
FINGERPRINT = 48  # signs of a line of a fingerprint


@click.command("role")
@click.argument("person")
@click.argument("role", type=click.Choice(["technician", "lead"]))
@shop_option
@by_option
@json_option
def role_(person: str, role: str, at: str | None, who: str, as_json: bool) -> None:
    """Say what PERSON may do in the bench app.

    A lead also changes house specifications, says who works here and what they may do, and lets benches in.
    """
    from setwright.bench.signin import set_role

    _say_worker(set_role(at, person, role, who), as_json)


@click.command("pin")
@click.argument("person")
@click.option("--take-away", is_flag=True, help="PERSON has no PIN any more, and sets a new one when signing in.")
@shop_option
@by_option
@json_option
def pin(person: str, take_away: bool, at: str | None, who: str, as_json: bool) -> None:
    """Set the PIN of PERSON, typed twice without being shown; from a pipe it is read as one line.

    Whoever is signed in with the one before is signed out, and wrong tries are forgotten.
    """
    from setwright.bench.signin import set_pin

    typed = "" if take_away else _typed()
    _say_worker(set_pin(at, person, typed, who), as_json)


def _typed() -> str:
    if sys.stdin.isatty():
        said: str = click.prompt("PIN", hide_input=True, confirmation_prompt="The same again", err=True)
    else:
        said = sys.stdin.readline()
    return said.strip() or "-"  # nothing typed is no PIN, not the wish to take it away


@click.command("pair")
@click.option("--address", metavar="URL", help="Where other benches reach this one; otherwise the machine's own.")
@click.option("--port", type=click.IntRange(1, 65535), default=PORT, show_default=True, help="Where none is in URL.")
@click.option("--minutes", type=click.IntRange(1, 60), default=MINUTES, show_default=True, help="How long it serves.")
@shop_option
@by_option
@json_option
def pair(address: str | None, port: int, minutes: int, at: str | None, who: str, as_json: bool) -> None:
    """Let another bench in: print an address, and a code for its camera, that serve once.

    The bench app must run with setwright bench --shop-network. Show the code to nobody else.
    """
    from setwright.bench.data import document
    from setwright.bench.pairing import base_of, invite

    way = invite(at, base_of(address, port), who, minutes)
    if as_json:
        say_json(document("shop pair", way))
        return
    say(f"Open this on the other bench, within {way.minutes} minutes; it serves once:")
    say(way.address)
    _draw(way.address)
    if way.fingerprint:
        say("Its browser warns that it does not know the certificate. Compare the SHA-256 fingerprint:")
        say("\n".join(way.fingerprint[i : i + FINGERPRINT] for i in range(0, len(way.fingerprint), FINGERPRINT)))


def _draw(address: str) -> None:
    """The address as a code, where there is somebody to look at it."""
    if sys.stdout.isatty():
        import segno

        segno.make(address, error="m", micro=False).terminal(compact=True)


@click.command("benches")
@shop_option
@json_option
def benches_(at: str | None, as_json: bool) -> None:
    """List the benches that were let in, and those that were shut out."""
    from setwright.bench.data import document
    from setwright.bench.pairing import benches

    found = benches(at)
    if as_json:
        say_json(document("shop benches", {"benches": found}))
        return
    rows = [_row(one) for one in found]
    say("\n".join(columns(rows, indent=0)) if rows else "No bench was ever let in.")


def _row(one: Device) -> tuple[str, str, str]:
    by = f" by {one.who}" if one.who else ""
    state = f"let in {one.made[:10]}{by}" if one.until is None else f"shut out {one.until[:10]}"
    return one.name, state, one.id[-8:]


@click.command("shut-out")
@click.argument("bench")
@shop_option
@by_option
@json_option
def shut_out(bench: str, at: str | None, who: str, as_json: bool) -> None:
    """Shut out BENCH, by name, id or the last signs of it; whoever sits there is signed out."""
    from setwright.bench.data import document
    from setwright.bench.pairing import shut

    out = shut(at, bench, who)
    if as_json:
        say_json(document("shop bench", {"bench": out}))
        return
    say(f"{out.name} is shut out.")


@click.command("audit")
@click.option("--last", type=click.IntRange(1, 10_000), default=50, show_default=True, help="How many of each.")
@shop_option
@json_option
def audit(last: int, at: str | None, as_json: bool) -> None:
    """List who came in, who was refused, who was given a role, and which rows were changed; the last first."""
    from setwright.bench.audit import audit_of
    from setwright.bench.data import document
    from setwright.cli.access_words import changed_words, event_words

    found = audit_of(at, last)
    if as_json:
        say_json(document("shop audit", found))
        return
    rows = [(_when(one.at), one.who or "-", event_words(one), one.device) for one in found.events]
    say("\n".join(columns(rows, indent=0)) if rows else "Nothing happened yet.")
    if found.changes:
        changed = [(_when(one.at), one.who or "-", changed_words(one), one.row[-8:]) for one in found.changes]
        say("\n".join(section("rows changed", columns(changed))))


def _when(at: str) -> str:
    return f"{at[:16].replace('T', ' ')}Z"


COMMANDS: tuple[click.Command, ...] = (role_, pin, pair, benches_, shut_out, audit)


def _say_worker(worker: Worker, as_json: bool) -> None:
    from setwright.bench.data import document

    if as_json:
        say_json(document("shop person", {"person": worker_data(worker)}))
        return
    say(f"{worker.name} is a {worker.role}, {'with a PIN' if worker.pin else 'without a PIN'}.")
