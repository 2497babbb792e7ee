"""setwright shop due: which instruments are to be looked at again."""

from __future__ import annotations

from dataclasses import asdict
from datetime import date

import click

from setwright.cli.asked import json_option, say, say_json
from setwright.cli.layout import columns
from setwright.cli.shop_options import day_of, shop_option
from setwright.cli.shop_people import cell


@click.command("due")
@click.option("--ahead", type=int, default=0, metavar="DAYS", help="Those of the next days too.")
@click.option("--today", metavar="DAY", help="As if it were that day: 2027-02-25.")
@shop_option
@json_option
def due(ahead: int, today: str | None, at: str | None, as_json: bool) -> None:
    """List instruments whose day to be looked at again has come, and that have not come in since."""
    from setwright.bench.data import document
    from setwright.bench.due import due_of

    day = date.today() if today is None else day_of(today, "--today")
    found = due_of(at, day, ahead)
    if as_json:
        say_json(document("shop due", {"due": [{**asdict(one), "day": one.day.isoformat()} for one in found]}))
        return
    if not found:
        say("No instrument is to be looked at again yet. hand-back --recheck DAY sets a day.")
        return
    rows = [("look again", "", "instrument", "owner", "contact", "id")]
    rows += [
        (one.day.isoformat(), _late(one.late), cell(one.name), cell(one.owner), cell(one.contact), one.instrument[-8:])
        for one in found
    ]
    say("\n".join(columns(rows, indent=0)))


def _late(days: int) -> str:
    if days == 0:
        return "today"
    words = f"{abs(days)} day{'s' * (abs(days) != 1)}"
    return f"{words} ago" if days > 0 else f"in {words}"


COMMANDS: tuple[click.Command, ...] = (due,)
