"""setwright shop take-in and demo: an instrument comes in and a visit begins; an invented shop to look at."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import click

from setwright.cli.asked import json_option, say, say_json
from setwright.cli.layout import columns
from setwright.cli.shop_options import by_option, shop_option
from setwright.errors import InputError

if TYPE_CHECKING:
    from setwright.bench.intake import Intake


@click.command("take-in")
@click.argument("instrument", required=False)
@click.option("--like", metavar="ID", help="A new instrument, otherwise like this one of the shop.")
@click.option("--bridge", metavar="KIND", help="A new instrument, with this kind of bridge.")
@click.option("--name", default="", help="With --like or --bridge: what the shop calls it.")
@click.option("--owner", default="", help="Name of the owner.")
@click.option("--contact", default="", help="How to reach them.")
@click.option("--wish", default="", help="In the owner's words.")
@click.option("--set", "given", metavar="WHAT=VALUE", multiple=True, help="What is found, wanted or known of it.")
@click.option("--sure", metavar="WHAT", multiple=True, help="An unlikely value of WHAT is meant.")
@click.option("--unit", type=click.Choice(["mm", "in"]), default="mm", help="Of lengths written without one.")
@shop_option
@by_option
@json_option
def take_in(
    instrument: str | None,
    like: str | None,
    bridge: str | None,
    name: str,
    owner: str,
    contact: str,
    wish: str,
    given: tuple[str, ...],
    sure: tuple[str, ...],
    unit: Literal["mm", "in"],
    at: str | None,
    who: str,
    as_json: bool,
) -> None:
    """Take INSTRUMENT of the shop in, or a new one: a visit with a job file made from what is said here.

    Strings, tuning, plate and springs are those the last visit left, unless --set says otherwise.

    \b
    setwright shop take-in v5cfr9hm --wish "Buzzes on the low frets." \\
        --set "found.rear_gap=2.4 mm" --set "want.rear_gap=2.6 ± 0.25 mm"
    """
    from setwright.bench import intake
    from setwright.bench.data import document
    from setwright.cli.shop_words import visit_data

    asked = _asked(at, instrument, like, bridge, _typed(given, name), sure, (owner, contact, wish), unit)
    try:
        added = intake.take_in(at, asked, who)
    except intake.NotTakenError as error:
        raise InputError(" ".join(_told(key, one.words) for key, one in error.doubts.items())) from None
    if as_json:
        content = {
            "visit": visit_data(added.visit), "instrument": added.instrument.id, "known": added.known,
            "owner": added.owner.id if added.owner else None, "entries": 0, "recordings": [],
        }  # fmt: skip
        say_json(document("shop job", content))
        return
    was = "was here before" if added.known else "is new here"
    say(f"Visit {added.visit.number} of {added.instrument.name}, which {was}.")
    say("\n".join(columns([("visit", added.visit.id), ("instrument", added.instrument.id)])))


@click.command("demo")
@click.argument("where")
@click.option("--seed", type=int, default=1, help="All of chance; the same seed and day make the same shop.")
@click.option("--today", metavar="DAY", help="The day it is looked at: 2026-11-30; otherwise today.")
@click.option("--examples", metavar="FOLDER", help="The demo jobs; otherwise those beside the source.")
@json_option
def demo(where: str, seed: int, today: str | None, examples: str | None, as_json: bool) -> None:
    """Make an invented shop at WHERE, a new folder or an empty database: the demo jobs, and some years before them."""
    from setwright.bench.data import document
    from setwright.bench.demo_shop import make_demo
    from setwright.cli.shop_options import day_of

    made = make_demo(where, seed, None if today is None else day_of(today, "--today"), examples)
    if as_json:
        say_json(document("shop demo", made))
        return
    say(
        f"{made.name} is made: {made.where}, {made.instruments} instruments, {made.visits} visits, "
        f"{made.open_visits} of them open, {made.entries} entries."
    )
    say(f"Name it with --shop {made.where}, or once: export SETWRIGHT_SHOP={made.where}")


COMMANDS: tuple[click.Command, ...] = (take_in, demo)


def _asked(
    at: str | None,
    instrument: str | None,
    like: str | None,
    bridge: str | None,
    typed: dict[str, str],
    sure: tuple[str, ...],
    said: tuple[str, str, str],
    unit: Literal["mm", "in"],
) -> Intake:
    """What was typed, with what the last visit left."""
    from setwright.bench.intake import Intake
    from setwright.bench.visits import as_left

    if [instrument, like, bridge].count(None) != 2:
        raise click.UsageError("name an INSTRUMENT of the shop, or a new one with --like ID or --bridge KIND.")
    owner, contact, wish = said
    if instrument is None:
        source: Literal["new", "like"] = "like" if like is not None else "new"
        return Intake(source, typed, bridge or "", like or "", owner, contact, wish, unit, sure)
    left = as_left(at, instrument)
    if left is not None:
        before = {"strings": " ".join(left.strings), "tuning": left.tuning, "bridge": left.bridge}
        before["springs"] = str(left.springs)
        typed = {f"found.{name}": value for name, value in before.items()} | typed
    return Intake("known", typed, "", instrument, owner, contact, wish, unit, sure)


def _typed(given: tuple[str, ...], name: str) -> dict[str, str]:
    """WHAT=VALUE apart."""
    from setwright.bench.intake import BOXES

    out = {"instrument.name": name} if name else {}
    for one in given:
        what, sign, value = (part.strip() for part in one.partition("="))
        if not sign or what not in BOXES:
            raise InputError(f"--set: {one[:60]!r} is not WHAT=VALUE; WHAT is one of {', '.join(BOXES)}.")
        out[what] = value
    return out


def _told(key: str, words: str) -> str:
    return f"{key}: {words}" if key else words
