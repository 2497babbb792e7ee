"""setwright shop: photos, recordings, sheets and other files; house specifications."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from setwright.cli.asked import json_option, say, say_json
from setwright.cli.layout import columns, labelled, section
from setwright.cli.shop_options import by_option, shop_option
from setwright.cli.shop_people import cell
from setwright.errors import InputError

if TYPE_CHECKING:
    from setwright.records.specifications import Specification

KINDS = ("photo", "recording", "sheet", "other")
LARGEST = 1_000_000  # bytes of a specification


@click.command("attach")
@click.argument("file")
@click.option("--kind", type=click.Choice(KINDS), default="photo", help="What it is; otherwise a photo.")
@click.option("--visit", metavar="ID", default="", help="The visit it belongs to.")
@click.option("--instrument", metavar="ID", default="", help="The instrument it belongs to.")
@shop_option
@by_option
@json_option
def attach(file: str, kind: str, visit: str, instrument: str, at: str | None, who: str, as_json: bool) -> None:
    """Keep FILE with a visit or an instrument; of a photo only what is seen on it."""
    from setwright.bench.attachments import attach_file
    from setwright.bench.data import document

    kept = attach_file(at, kind, file, visit, instrument, who)
    if as_json:
        say_json(document("shop file", {"file": kept}))
        return
    say(f"{kept.name} is kept: {kept.kind}, {kept.media_type}, id {kept.id[-8:]}.")


@click.command("files")
@click.option("--visit", metavar="ID", default="", help="Those of a visit.")
@click.option("--instrument", metavar="ID", default="", help="Those of an instrument.")
@shop_option
@json_option
def files(visit: str, instrument: str, at: str | None, as_json: bool) -> None:
    """List the files of a visit or of an instrument."""
    from setwright.bench.attachments import attachments_of
    from setwright.bench.data import document

    found = attachments_of(at, visit, instrument)
    if as_json:
        say_json(document("shop files", {"files": found}))
        return
    rows = [(one.kind, cell(one.name), one.made[:10], one.id[-8:]) for one in found]
    say("\n".join(columns(rows, indent=0)) if rows else "No file is kept there; setwright shop attach keeps one.")


@click.command("take-out")
@click.argument("id")
@click.argument("file")
@shop_option
@json_option
def take_out(id: str, file: str, at: str | None, as_json: bool) -> None:
    """Write what is kept under ID into FILE, which must be new."""
    from setwright.bench import attachments
    from setwright.bench.data import document

    kept, size = attachments.take_out(at, id, file)
    if as_json:
        say_json(document("shop file", {"file": kept, "path": file, "size": size}))
        return
    say(f"{kept.name} is written into {file}, {size} bytes.")


@click.command("specify")
@click.argument("name")
@click.argument("file")
@click.option("--note", default="", help="Why it is new.")
@shop_option
@by_option
@json_option
def specify(name: str, file: str, note: str, at: str | None, who: str, as_json: bool) -> None:
    """Keep the lines of FILE as house specification NAME, or as its next version; - reads standard input.

    \b
    string height strings 1 to 6 at fret 12 = 1.6 mm ± 0.25 mm
    relief held at 1 and 17, read at 8 = .008 in to .012 in
    octave error string 1 = at most 2 c, source: what most ears let pass
    """
    from setwright.bench import house

    _say(house.specify(at, name, _text(file), note, who), as_json)


@click.command("specifications")
@shop_option
@json_option
def specifications(at: str | None, as_json: bool) -> None:
    """List the house specifications with all their versions."""
    from setwright.bench.data import document
    from setwright.bench.house import specifications_of

    found = specifications_of(at)
    if as_json:
        say_json(document("shop specifications", {"specifications": found}))
        return
    if not found:
        say("There is no house specification yet; setwright shop specify keeps one.")
        return
    rows = [("specification", "version", "of", "by", "id")]
    rows += [(cell(one.name), str(one.number), one.made[:10], cell(one.who), one.id[-8:]) for one in found]
    say("\n".join(columns(rows, indent=0, right=(1,))))


@click.command("specification")
@click.argument("which")
@shop_option
@json_option
def specification(which: str, at: str | None, as_json: bool) -> None:
    """Show a house specification by name, which means its newest version, or by id."""
    from setwright.bench.house import show_specification

    _say(show_specification(at, which), as_json)


COMMANDS: tuple[click.Command, ...] = (attach, files, take_out, specify, specifications, specification)


def _text(file: str) -> str:
    """The text of a file, or of standard input."""
    try:
        if file == "-":
            raw = sys.stdin.buffer.read(LARGEST + 1)
        else:
            with Path(file).open("rb") as handle:
                raw = handle.read(LARGEST + 1)
        if len(raw) > LARGEST:
            raise InputError(f"{file}: more than {LARGEST} bytes are no specification; check it.")
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(f"{file}: this is not text in UTF-8; save the file as UTF-8.") from None
    except (OSError, ValueError) as error:
        reason = str(getattr(error, "strerror", None) or error).lower()
        raise InputError(f"{file[:80]!r} cannot be read: {reason}; check the name.") from None


def _say(found: Specification, as_json: bool) -> None:
    from setwright.bench.data import document
    from setwright.bench.house import line_of

    if as_json:
        say_json(document("shop specification", {"specification": found}))
        return
    rows = (("by", found.who), ("made", found.made[:10]), ("note", found.note), ("id", found.id))
    lines = [f"{found.name}, version {found.number}"]
    lines += [line for label, text in rows for line in labelled(label, text, 0, 8)]
    say("\n".join(lines + section("holds", [f"  {line_of(one)}" for one in found.items])))
