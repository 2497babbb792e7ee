"""setwright shop: the whole shop out and in again, and what belongs to one owner."""

from __future__ import annotations

import click

from setwright.cli.asked import json_option, say, say_json
from setwright.cli.layout import columns, labelled, paragraph
from setwright.cli.shop_options import by_option, shop_option

BUSY = 2


@click.command("export")
@click.argument("folder")
@shop_option
@json_option
def export(folder: str, at: str | None, as_json: bool) -> None:
    """Write the whole shop into FOLDER, new or empty: JSON Lines, files, a manifest.

    The same shop gives the same files and the same hash on either engine; docs/shop-exchange.md describes them.
    """
    from setwright.bench.data import document
    from setwright.bench.shop_exchange import export_shop

    done = export_shop(at, folder)
    if as_json:
        say_json(document("shop export", _data(str(done.path), done.sha256, done.rows, done.files, done.size)))
        return
    say(f"{done.path}: {_counts(done.rows, done.files)}.")
    say("\n".join(columns([("SHA-256", done.sha256)])))


@click.command("import")
@click.argument("folder")
@shop_option
@json_option
def import_(folder: str, at: str | None, as_json: bool) -> None:
    """Read FOLDER, which shop export wrote, into a shop with nothing in it, or into one made for it.

    All of it is read, or nothing.
    """
    from setwright.bench.data import document
    from setwright.bench.shop_exchange import import_shop

    done = import_shop(folder, at)
    if as_json:
        content = _data(folder, done.sha256, done.rows, done.files, done.size)
        say_json(document("shop import", {**content, "shop": done.where, "name": done.name}))
        return
    say(f"{done.name} is now in {done.where}: {_counts(done.rows, done.files)}.")
    say("\n".join(columns([("SHA-256", done.sha256)])))


@click.command("export-owner")
@click.argument("owner")
@click.argument("folder")
@shop_option
@json_option
def export_owner(owner: str, folder: str, at: str | None, as_json: bool) -> None:
    """Write all the data of OWNER, by name or id, into FOLDER, new or empty.

    The layout is that of a whole shop; people who work here are not in it but by the names they signed with.
    """
    from setwright.bench.data import document
    from setwright.bench.shop_exchange import export_owner as write

    done = write(at, owner, folder)
    if as_json:
        say_json(document("shop export", _data(str(done.path), done.sha256, done.rows, done.files, done.size)))
        return
    say(f"{done.path}: {_counts(done.rows, done.files)} of {owner}.")
    say("\n".join(columns([("SHA-256", done.sha256)])))


@click.command("forget-owner")
@click.argument("owner")
@click.option("--notes", is_flag=True, help="The words of all notes in the journals of their instruments go too.")
@click.option("--keep-photos", is_flag=True, help="Photos and other files stay, where they show nobody.")
@click.option("--yes", "really", is_flag=True, help="Delete; without it the command only says what would go.")
@shop_option
@by_option
@json_option
def forget_owner(
    owner: str, notes: bool, keep_photos: bool, really: bool, at: str | None, who: str, as_json: bool
) -> None:
    """Delete OWNER, by name or id: name, contact, wishes, photos, sheets. It cannot be undone.

    Readings and work stay with the instruments, which belong to nobody then.
    """
    from setwright.bench.data import document
    from setwright.bench.shop_exchange import forget_owner as forget

    found = forget(at, owner, who, notes, keep_photos, really)
    if as_json:
        say_json(document("shop forgotten", found))
        return
    instruments = "1 instrument" if found.instruments == 1 else f"{found.instruments} instruments"
    visits = "1 visit" if found.visits == 1 else f"{found.visits} visits"
    say(f"{'Deleted' if found.done else 'To be deleted'}: the owner of {instruments} with {visits}.")
    goes = ["name, contact, note", *(f"{name} {count}" for name, count in found.counts.items())]
    for line in labelled("goes", ", ".join(goes), 2):
        say(line)
    left = f", notes with their words {found.notes_left} (--notes takes them)" if found.notes_left else ""
    for line in labelled("stays", f"readings, work done, parts, climate{left}", 2):
        say(line)
    for remark in found.remarks:
        say("\n".join(paragraph(remark, 2, 4)))
    if not found.done:
        say("Nothing is deleted yet; say it again with --yes.")


@click.command("wipe")
@shop_option
@json_option
def wipe(at: str | None, as_json: bool) -> int:
    """Overwrite what was deleted in the shop; exit code 2 while another bench stands in the way."""
    from setwright.bench.data import document
    from setwright.bench.shop_exchange import wipe_shop

    done = wipe_shop(at)
    if as_json:
        say_json(document("shop wipe", {"done": done}))
    else:
        say(
            "What was deleted is overwritten."
            if done
            else "Another bench is at work; do it again when it has finished."
        )
    return 0 if done else BUSY


COMMANDS = (export, import_, export_owner, forget_owner, wipe)


def _data(path: str, sha256: str, rows: dict[str, int], files: int, size: int) -> dict[str, object]:
    return {"path": path, "sha256": sha256, "rows": rows, "contents": {"files": files, "bytes": size}}


def _counts(rows: dict[str, int], files: int) -> str:
    said = (
        (rows["instrument"], "instrument"), (rows["visit"], "visit"), (rows["entry"], "entry"), (files, "file"),
    )  # fmt: skip
    many = {"entry": "entries"}
    return ", ".join(f"{count} {what if count == 1 else many.get(what, f'{what}s')}" for count, what in said)
