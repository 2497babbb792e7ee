"""setwright shop: parts, their stock, and the shop's air."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from setwright.cli.asked import json_option, say, say_json, system_of, units_option
from setwright.cli.layout import columns
from setwright.cli.shop_options import by_option, shop_option
from setwright.cli.shop_people import cell
from setwright.errors import InputError

if TYPE_CHECKING:
    from setwright.records.supplies import Part

HOW = ("came", "counted", "used", "returned")


@click.command("parts")
@click.option("--low", is_flag=True, help="Only those that run out, the scarcest first.")
@click.option("--few", type=click.IntRange(0, 1_000_000), help="With --low: how many count as few; otherwise 2.")
@shop_option
@json_option
def parts(low: bool, few: int | None, at: str | None, as_json: bool) -> None:
    """List the parts with their stock."""
    from setwright.bench import parts as bench
    from setwright.bench.data import document

    if few is not None and not low:
        raise InputError("--few goes with --low; write both, or leave it out.")
    found = (bench.low_parts(at) if few is None else bench.low_parts(at, few)) if low else bench.parts_of(at)
    if as_json:
        say_json(document("shop parts", {"parts": found}))
        return
    if not found:
        say("Nothing runs out." if low else "There is no part in this shop yet; setwright shop add-part adds one.")
        return
    rows = [("part", "stock", "", "id")]
    rows += [(cell(one.name), str(one.stock), cell(one.unit), one.id[-8:]) for one in found]
    say("\n".join(columns(rows, indent=0, right=(1,))))


@click.command("add-part")
@click.argument("name")
@click.option("--unit", default="piece", help="In which it is counted: piece, set, metre.")
@shop_option
@by_option
@json_option
def add_part(name: str, unit: str, at: str | None, who: str, as_json: bool) -> None:
    """Add a part called NAME, none of it in stock."""
    from setwright.bench import parts as bench

    _say_part(bench.add_part(at, name, unit, who), as_json)


@click.command("stock")
@click.argument("how", type=click.Choice(HOW))
@click.argument("part")
@click.argument("count", type=int)
@click.option("--visit", metavar="ID", default="", help="In which they were used, or from which they returned.")
@shop_option
@by_option
@json_option
def stock(how: str, part: str, count: int, visit: str, at: str | None, who: str, as_json: bool) -> None:
    """Note that COUNT of PART came, were counted, used in a visit, or returned from one.

    \b
    setwright shop stock came "strip shim .020 in" 10
    setwright shop stock used "strip shim .020 in" 1 --visit 8dqz6a6gm
    """
    from setwright.bench import parts as bench

    if (how in ("used", "returned")) != bool(visit):
        raise InputError("parts are used in a visit or returned from one; name it with --visit, or leave it out.")
    if how == "came":
        moved = bench.parts_came(at, part, count, who)
    elif how == "counted":
        moved = bench.parts_counted(at, part, count, who)
    elif how == "used":
        moved = bench.parts_used(at, part, count, visit, who)
    else:
        moved = bench.parts_returned(at, part, count, visit, who)
    _say_part(moved, as_json)


@click.command("climate")
@click.argument("reading", nargs=-1)
@click.option("--visit", metavar="ID", default="", help="The visit it belongs to.")
@shop_option
@by_option
@json_option
@units_option
def climate(reading: tuple[str, ...], visit: str, at: str | None, who: str, as_json: bool, units: str | None) -> None:
    """List the readings of the air, or keep READING: 21 C, 45 %."""
    from setwright.bench import climate as bench
    from setwright.bench.data import document

    system = system_of(units, "mm")
    if not reading:
        if who:
            raise InputError("--by goes with a reading; write it, for instance 21 C, 45 %.")
        found = bench.climate_of(at, visit)
    else:
        warm, damp = bench.air_of(" ".join(reading))
        found = (bench.note_climate(at, warm, damp, visit, who),)
    if as_json:
        say_json(document("shop climate", {"readings": found}))
        return
    rows = [(one.at, *bench.shown(one, system), cell(one.who)) for one in found]
    say("\n".join(columns(rows, indent=0)) if rows else "Nothing is read yet; write it behind: 21 C, 45 %.")


COMMANDS: tuple[click.Command, ...] = (parts, add_part, stock, climate)


def _say_part(part: Part, as_json: bool) -> None:
    from setwright.bench.data import document

    if as_json:
        say_json(document("shop part", {"part": part}))
    else:
        say(f"{part.name}: {part.stock} in stock, counted by the {part.unit}; id {part.id[-8:]}.")
