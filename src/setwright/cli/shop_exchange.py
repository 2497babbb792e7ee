"""setwright shop: the whole shop out and in again, and what belongs to one owner."""

from __future__ import annotations

import click

from setwright.cli.asked import json_option, say, say_json
from setwright.cli.layout import columns
from setwright.cli.shop_options import shop_option


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


COMMANDS = (export, import_)


def _data(path: str, sha256: str, rows: dict[str, int], files: int, size: int) -> dict[str, object]:
    return {"path": path, "sha256": sha256, "rows": rows, "contents": {"files": files, "bytes": size}}


def _counts(rows: dict[str, int], files: int) -> str:
    said = (
        (rows["instrument"], "instrument"), (rows["visit"], "visit"), (rows["entry"], "entry"), (files, "file"),
    )  # fmt: skip
    many = {"entry": "entries"}
    return ", ".join(f"{count} {what if count == 1 else many.get(what, f'{what}s')}" for count, what in said)
