"""setwright shop: the shop's records."""

from __future__ import annotations

import click

from setwright.cli import (
    shop_access,
    shop_due,
    shop_exchange,
    shop_files,
    shop_intake,
    shop_parts,
    shop_people,
    shop_visits,
)
from setwright.cli.asked import json_option, say, say_json
from setwright.cli.layout import columns, labelled, paragraph, section
from setwright.cli.shop_options import by_option, shop_option

DAMAGED = 2


@click.group("shop")
def command() -> None:
    """Keep the shop's records: instruments, visits, journals, parts, photos.

    A shop is a folder, or a database on a PostgreSQL server.
    """


@command.command("new")
@click.argument("where")
@click.option("--name", default="", help="What the shop is called; otherwise the name of the folder or database.")
@json_option
def new(where: str, name: str, as_json: bool) -> None:
    """Make a shop with nothing in it at WHERE, a new folder or an empty database."""
    from setwright.bench.data import document
    from setwright.bench.shop import make_shop

    made = make_shop(where, name or where.rstrip("/").rpartition("/")[2].partition("?")[0] or where)
    if as_json:
        say_json(document("shop", made))
        return
    say(f"{made.name} is made: {made.where}")
    say(f"Name it with --shop {made.where}, or once: export SETWRIGHT_SHOP={made.where}")


@command.command("check")
@shop_option
@json_option
def check(at: str | None, as_json: bool) -> int:
    """Look whether everything in the shop is whole; exit code 2 where it is not."""
    from setwright.bench.data import document
    from setwright.bench.shop import check_shop

    found = check_shop(at)
    if as_json:
        say_json(document("shop check", found))
    else:
        counts = ((found.instruments, "instrument"), (found.visits, "visit"), (found.entries, "entry"))
        looked = [_count(*one) for one in counts] + [_count(found.contents, "file")]
        say(f"Looked at {', '.join(looked)}.")
        for line in [*found.problems, *found.remarks]:
            say("\n".join(paragraph(line, 2, 4)))
        say("Not whole: bring back what is damaged from the last backup." if found.problems else "All is whole.")
    return DAMAGED if found.problems else 0


@command.command("backup")
@click.argument("file")
@shop_option
@json_option
def backup(file: str, at: str | None, as_json: bool) -> None:
    """Write the whole shop into FILE; others may go on working.

    Of a folder it is a tar archive that unpacks to a shop, of a PostgreSQL database what pg_dump writes.
    """
    from setwright.bench.data import document
    from setwright.bench.shop import back_up_shop

    made = back_up_shop(at, file)
    if as_json:
        content = {"path": str(made.path), "size": made.size, "contents": made.contents}
        say_json(document("shop backup", content))
        return
    say(f"{made.path}: {made.size} bytes, the database and {_count(made.contents, 'file')}.")


@command.command("upgrade")
@shop_option
@click.option("--backup-made", is_flag=True, help="PostgreSQL: there is a backup of the database.")
@json_option
def upgrade(at: str | None, backup_made: bool, as_json: bool) -> None:
    """Bring the tables of the shop to those of this Setwright, after a backup."""
    from setwright.bench.data import document
    from setwright.bench.shop import upgrade_shop

    done = upgrade_shop(at, backup_made)
    if as_json:
        kept = None if done.backup is None else str(done.backup)
        say_json(document("shop upgrade", {"before": done.before, "after": done.after, "backup": kept}))
        return
    if done.before == done.after:
        say(f"Nothing is to be done: the tables are those of schema {done.after}.")
        return
    say(f"The tables were those of schema {done.before} and are now those of {done.after}.")
    if done.backup is not None:
        say(f"As it was before: {done.backup}")


@command.command("add-job")
@click.argument("job")
@click.option("--journal", metavar="PATH", help="The journal, in place of NAME.journal.txt beside NAME.job.toml.")
@click.option("--owner", metavar="NAME", default="", help="Whose instrument it is.")
@click.option("--instrument", metavar="ID", default="", help="An instrument in the shop that the job is on.")
@shop_option
@by_option
@json_option
def add_job(
    job: str, journal: str | None, owner: str, instrument: str, at: str | None, who: str, as_json: bool
) -> None:
    """Put JOB, its instrument, its journal and its recordings into the shop, as a visit."""
    from setwright.bench import shop
    from setwright.bench.data import document
    from setwright.cli.shop_words import visit_data

    found = shop.add_job(at, job, journal, owner, instrument, who)
    added = found.added
    if as_json:
        content = {
            "visit": visit_data(added.visit), "instrument": added.instrument.id, "known": added.known,
            "owner": added.owner.id if added.owner else None, "entries": added.entries,
            "recordings": found.recordings,
        }  # fmt: skip
        say_json(document("shop job", content))
        return
    was = "was here before" if added.known else "is new here"
    say(f"Visit {added.visit.number} of {added.instrument.name}, which {was}: {_count(added.entries, 'entry')} kept.")
    say("\n".join(columns([("visit", added.visit.id), ("instrument", added.instrument.id)])))


@command.command("instruments")
@click.option("--find", metavar="TEXT", default="", help="Words in its name, maker, model, serial number or owner.")
@shop_option
@json_option
def instruments(find: str, at: str | None, as_json: bool) -> None:
    """List the instruments of the shop."""
    from setwright.bench.data import document
    from setwright.bench.shop import find_instruments
    from setwright.cli.shop_words import instrument_lines

    found = find_instruments(at, find)
    if as_json:
        say_json(document("shop instruments", {"instruments": found}))
        return
    say("\n".join(instrument_lines(found, find)))


@command.command("visit")
@click.argument("visit")
@click.option("--journal", metavar="PATH", help="Write the journal of the visit into a new file, as it stands.")
@shop_option
@json_option
def visit(visit: str, journal: str | None, at: str | None, as_json: bool) -> None:
    """Show a visit by its id, or by the last signs of it."""
    from setwright.bench import shop
    from setwright.bench.data import document
    from setwright.cli.shop_words import shown_data, visit_lines

    found = shop.show_visit(at, visit)
    written = shop.write_journal(at, found.visit.id, journal) if journal is not None else None
    if as_json:
        say_json(document("shop visit", shown_data(found)))
        return
    say("\n".join(visit_lines(found)))
    if written is not None:
        say("\n".join(section("written", labelled("journal", f"{journal}, {written} bytes", 2))))


def _count(count: int, what: str) -> str:
    many = {"entry": "entries"}.get(what, f"{what}s")
    return f"{count} {what if count == 1 else many}"


for _module in (shop_people, shop_access, shop_intake, shop_visits, shop_due, shop_parts, shop_files, shop_exchange):
    for _one in _module.COMMANDS:
        command.add_command(_one)
