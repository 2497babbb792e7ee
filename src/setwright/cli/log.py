"""setwright log: the journal of a job."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from setwright.cli.asked import json_option, say, say_json, source_of, visit_options
from setwright.errors import InputError

if TYPE_CHECKING:
    from setwright.bench.journals import Source


@click.command("log", context_settings={"ignore_unknown_options": True})
@click.argument("given", metavar="JOB [WORDS]...", nargs=-1)
@click.option("--journal", metavar="PATH", help="The journal, in place of NAME.journal.txt beside NAME.job.toml.")
@click.option("--by", "who", metavar="NAME", default="", help="Who did it or read it.")
@click.option("--sure", is_flag=True, help="A value that is possible but unlikely is meant.")
@visit_options
@json_option
def command(
    given: tuple[str, ...],
    journal: str | None,
    who: str,
    sure: bool,
    visit: str | None,
    shop: str | None,
    as_json: bool,
) -> None:
    """Print the journal of JOB, or put into it what WORDS say; with --visit the WORDS stand alone.

    \b
    read pitch string 3 = 196.02 Hz
    read rear gap = 2.6 mm with rule 0.5 mm, at pitch, playing
    did claw in 1 3/8 turns
    did tune string 3 to 194.9 Hz, heard 194.95 Hz
    note "buzz at fret 5 was there before"
    strike 15 "read on the wrong side"

    docs/file-formats.md has all the words.
    """
    words = given if visit is not None else given[1:]
    job = source_of(None if visit is not None or not given else given[0], visit, shop)
    if not words:
        if who or sure:
            raise InputError("--by and --sure go with an entry; write what was read or done, or leave them out.")
        _print_all(job, journal, as_json)
        return
    from setwright.bench.data import document
    from setwright.bench.journals import keep, plain
    from setwright.records.journal_text import line_of

    kept = keep(job, words, journal, who, sure)
    if as_json:
        content = {"path": str(kept.path), "entry": plain(kept.entry), "set_aside": kept.set_aside}
        say_json(document("entry", content))
        return
    say(line_of(kept.entry))
    if kept.set_aside:
        say(f"The line before it was torn and is set aside: {kept.set_aside}")


def _print_all(job: Source, journal: str | None, as_json: bool) -> None:
    """The whole journal."""
    from setwright.bench.data import document
    from setwright.bench.journals import open_journal, plain
    from setwright.records.journal_text import line_of

    path, found = open_journal(job, journal)
    if as_json:
        content = {
            "path": str(path),
            "entries": [plain(one) for one in found.entries],
            "torn": found.torn,
            "remarks": found.remarks,
        }
        say_json(document("journal", content))
        return
    rows = {one.line: _row(line_of(one), one.struck_by) for one in found.entries}
    rows |= {one.line: f"- {one.text}  (torn, does not count)" for one in found.torn}
    if not rows:
        say(f"Nothing is written yet; the first entry {'makes' if isinstance(job, str) else 'goes into'} {path}.")
    for line in sorted(rows):
        say(rows[line])
    for remark in found.remarks:
        say(remark)


def _row(text: str, by: int | None) -> str:
    return f"  {text}" if by is None else f"- {text}  (struck by #{by})"
