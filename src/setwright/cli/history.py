"""setwright history: questions to the shop's records."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import click

from setwright.cli.asked import json_option, progress_to, say, say_json, system_of, units_option
from setwright.cli.shop_options import shop_option

if TYPE_CHECKING:
    from setwright.bench.history import Progress


@click.group("history")
def command() -> None:
    """Ask the shop's records: what was, what changed, what is held how well.

    An instrument is named by its name or serial number, a visit by its id or the last signs of it, four at least.
    """


def _answer(what: str, content: Any, lines: list[str], as_json: bool) -> None:
    from setwright.bench.data import document

    if as_json:
        say_json(document(what, content))
    else:
        say("\n".join(lines))


@contextmanager
def _summing() -> Iterator[Progress]:
    """What tells how far the shop is summed up, where standard error is a terminal, and what stopping that means."""
    tell = progress_to(sys.stderr.isatty(), "of the shop summed up")
    under_way = False

    def told(done: int, of: int) -> None:
        nonlocal under_way
        under_way = done < of
        if tell is not None:
            tell(done / of if of else 1.0)

    try:
        yield told
    except KeyboardInterrupt:
        if under_way:
            click.echo("\nStopped. What was summed up is kept; the rest is when you ask again.", err=True)
        raise


def _either(instrument: str | None, visit: str) -> str:
    if (instrument is None) == (not visit):
        raise click.UsageError("name an INSTRUMENT, or a visit with --visit ID; setwright shop instruments lists them.")
    return instrument or ""


@command.command("instrument")
@click.argument("instrument")
@units_option
@shop_option
@json_option
def instrument(instrument: str, units: str | None, at: str | None, as_json: bool) -> None:
    """All visits of INSTRUMENT: as found, as left, what was set how often."""
    from setwright.bench import history
    from setwright.cli import history_data, history_words

    found = history.life(at, instrument)
    _answer("history", history_data.life(found), history_words.life_lines(found, system_of(units, "mm")), as_json)


@command.command("since-last")
@click.argument("instrument", required=False)
@click.option("--visit", metavar="ID", default="", help="A visit, in place of the last of INSTRUMENT.")
@units_option
@shop_option
@json_option
def since_last(instrument: str | None, visit: str, units: str | None, at: str | None, as_json: bool) -> None:
    """What changed on INSTRUMENT between as left at the last visit but one and as found at the last."""
    from setwright.bench import history
    from setwright.cli import history_data, history_words

    found = history.since_last(at, _either(instrument, visit), visit)
    lines = history_words.since_lines(found, system_of(units, "mm"))
    _answer("history since last", history_data.since(found), lines, as_json)


@command.command("outside")
@click.option("--visit", metavar="ID", default="", help="Everything one visit is held to, in place of the whole shop.")
@click.option("--unsure", is_flag=True, help="Also what cannot be told with the gauge it was read with.")
@units_option
@shop_option
@json_option
def outside(visit: str, unsure: bool, units: str | None, at: str | None, as_json: bool) -> None:
    """Readings left outside the house specification, the newest first."""
    from setwright.bench import history
    from setwright.cli import history_data, history_words

    with _summing() as tell:
        found = history.outside(at, visit, unsure, progress=tell)
    lines = history_words.outside_lines(found, visit, system_of(units, "mm"))
    _answer("history outside", {"readings": [history_data.judged(one) for one in found]}, lines, as_json)


@command.command("season")
@click.argument("what")
@click.option("--instrument", metavar="ID", default="", help="One instrument, in place of all.")
@units_option
@shop_option
@json_option
def season(what: str, instrument: str, units: str | None, at: str | None, as_json: bool) -> None:
    """How WHAT ("relief", "string height", "pitch" ...) moves from one visit to the next: by month, with humidity."""
    from setwright.bench import history
    from setwright.cli import history_words

    with _summing() as tell:
        found = history.season(at, what, instrument, progress=tell)
    _answer(
        "history season", {"seasons": found}, history_words.season_lines(found, what, system_of(units, "mm")), as_json
    )


@command.command("yield")
@shop_option
@json_option
def yield_(at: str | None, as_json: bool) -> None:
    """What was right at the first pass, in how many rounds and minutes, by kind of job."""
    from setwright.bench import history
    from setwright.cli import history_words

    with _summing() as tell:
        found = history.yields(at, progress=tell)
    _answer("history yield", {"kinds": found}, history_words.yield_lines(found), as_json)


@command.command("gauges")
@click.argument("what")
@click.argument("instrument", required=False)
@click.option("--visit", metavar="ID", default="", help="One visit, in place of all of INSTRUMENT.")
@units_option
@shop_option
@json_option
def gauges(what: str, instrument: str | None, visit: str, units: str | None, at: str | None, as_json: bool) -> None:
    """How alike people read WHAT on INSTRUMENT: repeatability and reproducibility.

    Two people or more read the same places twice or more, nothing turned between, each reading signed with by NAME.
    """
    from setwright.bench import history
    from setwright.cli import history_data, history_words

    found = history.gauges(at, what, _either(instrument, visit), visit)
    lines = history_words.gauge_lines(found, system_of(units, "mm"))
    _answer("history gauges", history_data.studied(found), lines, as_json)


@command.command("capability")
@click.argument("specification", required=False)
@click.option("--number", type=click.IntRange(1), help="Its version; otherwise the newest.")
@units_option
@shop_option
@json_option
def capability(specification: str | None, number: int | None, units: str | None, at: str | None, as_json: bool) -> None:
    """How well the shop holds its house SPECIFICATION: Cp, Cpk, Pp, Ppk of what closed visits left."""
    from setwright.bench import history
    from setwright.cli import history_data, history_words

    with _summing() as tell:
        spec, found = history.capability(at, specification or "", number, progress=tell)
    content = {
        "specification": {"id": spec.id, "name": spec.name, "number": spec.number},
        "limits": [{**asdict(one), "limit": history_data.limit(one.limit)} for one in found],
    }
    lines = history_words.capability_lines(spec, found, system_of(units, "mm"))
    _answer("history capability", content, lines, as_json)


@command.command("as-last-time")
@click.argument("instrument")
@click.option("--kind", metavar="WORDS", help="Of job; otherwise the last closed visit of any kind.")
@click.option(
    "--write", "folder", metavar="FOLDER", help="Write job and instrument file there; nothing is written over."
)
@shop_option
@json_option
def as_last_time(instrument: str, kind: str | None, folder: str | None, at: str | None, as_json: bool) -> None:
    """The last job on INSTRUMENT once more: its job file as a draft, what was left then as found now."""
    from setwright.bench import history
    from setwright.cli import history_words

    found = history.again(at, instrument, kind, folder)
    content = {
        "visit": found.last.visit.id, "job_name": found.draft.job_name, "job": found.draft.job.decode(),
        "instrument_name": found.draft.instrument_name, "remarks": found.draft.remarks, "written": found.written,
    }  # fmt: skip
    _answer("history as last time", content, history_words.again_lines(found), as_json)
