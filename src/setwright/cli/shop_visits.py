"""setwright shop: an instrument's life, and visits handed back, opened again, edited."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from setwright.cli.asked import FEWEST, json_option, say, say_json, units_option
from setwright.cli.layout import WIDTH, columns, labelled, paragraph, section
from setwright.cli.shop_options import based_on_option, by_option, day_of, shop_option
from setwright.cli.shop_people import cell, instrument_data, owner_data
from setwright.errors import InputError

if TYPE_CHECKING:
    from setwright.bench.life import Life, LifeVisit
    from setwright.records.rows import Visit
    from setwright.sheets.sheet import Group

_COLUMN = 13


@click.command("instrument")
@click.argument("instrument")
@click.option("--most", type=click.IntRange(1, 1000), default=20, help="Visits that are told, the last ones.")
@shop_option
@json_option
@units_option
def instrument_(instrument: str, most: int, at: str | None, as_json: bool, units: str | None) -> None:
    """Open the life of INSTRUMENT: visits as found and as left, parts, files, and what is open."""
    from setwright.bench.data import document
    from setwright.bench.life import life_of

    system = None if units is None else "inch" if units == "inch" else "mm"
    life = life_of(at, instrument, system, most)  # type: ignore[arg-type]
    if as_json:
        say_json(document("shop instrument", _data(life)))
        return
    say("\n".join(_lines(life)))


@click.command("hand-back")
@click.argument("visit")
@click.option("--recheck", metavar="DAY", help="When it is to be looked at again: 2027-02-25.")
@based_on_option
@shop_option
@by_option
@json_option
def hand_back(visit: str, recheck: str | None, based_on: int | None, at: str | None, who: str, as_json: bool) -> None:
    """Close VISIT: the instrument goes back to its owner."""
    from setwright.bench import visits

    day = None if recheck is None else day_of(recheck, "--recheck")
    closed = visits.hand_back(at, visit, day, based_on, who)
    _say(closed, as_json, "is handed back")
    if closed.belief is not None and not as_json:
        say("What its readings told of springs, levers and neck is kept; the next visit begins with it.")


@click.command("open-again")
@click.argument("visit")
@based_on_option
@shop_option
@by_option
@json_option
def open_again(visit: str, based_on: int | None, at: str | None, who: str, as_json: bool) -> None:
    """Open VISIT again, which was closed too early."""
    from setwright.bench import visits

    _say(visits.open_again(at, visit, based_on, who), as_json, "is open again")


@click.command("edit-visit")
@click.argument("visit")
@click.option("--wish", help="In the owner's words.")
@click.option("--kind", help="Kind of job, in words.")
@click.option("--specification", metavar="WHICH", help='House specification, by name or id; "" for none.')
@click.option("--job", metavar="FILE", help="Another job file: what was found and is wanted.")
@click.option("--fewest", type=click.Choice(FEWEST), help="What the way of a floating plate has least of.")
@based_on_option
@shop_option
@by_option
@json_option
def edit_visit(
    visit: str,
    wish: str | None,
    kind: str | None,
    specification: str | None,
    job: str | None,
    fewest: str | None,
    based_on: int | None,
    at: str | None,
    who: str,
    as_json: bool,
) -> None:
    """Change wish, kind of job, house specification, job file or way to pitch of VISIT; what is not named stays."""
    from pathlib import Path

    from setwright.bench import visits
    from setwright.bench.owners import bytes_of

    others = not (wish is None and kind is None and specification is None)
    if fewest is not None:
        if others or job is not None:
            raise InputError("--fewest changes the job file; change the others in a call of their own.")
        kept = visits.choose_way(at, visit, fewest, based_on, who)
    elif job is not None:
        if others:
            raise InputError("--job brings a wish of its own; change the others in a call of their own.")
        kept = visits.change_job(at, visit, bytes_of(job), based_on, who, Path(job).name)
    else:
        kept = visits.edit_visit(at, visit, based_on, who, wish, kind, specification)
    _say(kept, as_json, "is kept")


COMMANDS: tuple[click.Command, ...] = (instrument_, hand_back, open_again, edit_visit)


def _say(visit: Visit, as_json: bool, what: str) -> None:
    from setwright.bench.data import document
    from setwright.cli.shop_words import visit_data

    if as_json:
        say_json(document("shop visit", {"visit": visit_data(visit)}))
        return
    say(f"Visit {visit.number} {what}; its version is now {visit.version}.")


def _data(life: Life) -> dict[str, object]:
    from setwright.cli.shop_words import visit_data

    def told(one: LifeVisit) -> dict[str, object]:
        return {
            "visit": visit_data(one.visit), "title": one.title, "entries": one.entries, "who": one.who,
            "readings": one.readings,
            "parts": [{"name": part.name, "unit": part.unit, "used": -part.stock} for part in one.parts],
            "attachments": one.attachments, "sheets": [_without_data(sheet) for sheet in one.sheets],
            "climate": one.climate, "steps": one.steps, "recommended": one.recommended, "not_done": one.not_done,
            "recheck": None if one.recheck is None else one.recheck.isoformat(), "silent": one.silent,
        }  # fmt: skip

    return {
        "instrument": instrument_data(life.instrument), "owner": None if life.owner is None else owner_data(life.owner),
        "visits": [told(one) for one in life.visits], "left_off": life.left_off, "attachments": life.attachments,
        "recheck": None if life.recheck is None else life.recheck.isoformat(), "open_work": life.open_work,
    }  # fmt: skip


def _without_data(sheet: object) -> dict[str, object]:
    return {name: getattr(sheet, name) for name in ("id", "kind", "sha256", "handed_over", "who")}


def _lines(life: Life) -> list[str]:
    home = life.instrument
    about = " ".join(part for part in (home.maker, home.model, home.colour) if part)
    owner = "not known" if life.owner is None else f"{life.owner.name} {life.owner.contact}"
    rows = [
        ("made by", about), ("serial", home.serial), ("owner", owner),
        ("look again", "" if life.recheck is None else life.recheck.isoformat()), ("version", str(home.version)),
        ("instrument", home.id),
    ]  # fmt: skip
    lines = [home.name, ""]
    lines += [line for label, text in rows for line in labelled(label, text, 0, _COLUMN)]
    lines += section("open work", [line for one in life.open_work for line in paragraph(one, 2, 4)])
    lines += section("files", columns(_files(life)) if life.attachments else [])
    for one in life.visits:
        lines += _visit(one)
    if life.left_off:
        lines += ["", f"{life.left_off} older visits are left off; --most tells more."]
    if not life.visits:
        lines += ["", "It never came in; setwright shop take-in begins a visit."]
    return lines


def _files(life: Life) -> list[tuple[str, ...]]:
    return [(one.kind, cell(one.name), one.id[-8:]) for one in life.attachments]


def _visit(one: LifeVisit) -> list[str]:
    from setwright.bench.parts import counted

    visit = one.visit
    until = f" to {visit.handed_back[:10]}" if visit.handed_back else ", open"
    lines = ["", f"VISIT {visit.number}, {visit.came[:10]}{until}".upper()]
    said = (("wish", visit.wish), ("by", ", ".join(one.who)), ("unread", one.silent), ("visit", visit.id[-8:]))
    lines += [line for label, text in said for line in labelled(label, text, 2, _COLUMN - 2)]
    for group in one.groups:
        lines += _group(group)
    used = [f"{part.name}, {counted(-part.stock, part.unit)}" for part in one.parts]
    kept = [f"{file.kind} {file.name}" for file in one.attachments]
    lines += labelled("parts", "; ".join(used), 2, _COLUMN - 2) + labelled("files", ", ".join(kept), 2, _COLUMN - 2)
    return lines


def _group(group: Group) -> list[str]:
    """Readings of one kind: as found, wanted, as left; nearer together where they are wide."""
    rows = [("", "as found", "wanted", "as left", "")]
    rows += [(cell(row.name), row.found, row.target, row.left, row.verdict) for row in group.rows]
    wide = columns(rows, indent=4)
    return [f"  {group.what}", *(wide if max(map(len, wide)) <= WIDTH else columns(rows, indent=3, gap=1))]
