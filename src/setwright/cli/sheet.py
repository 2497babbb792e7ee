"""setwright sheet: the set-up sheet of a job as PDF."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from setwright.cli.asked import say, source_of, system_of, units_option, visit_options
from setwright.cli.shop_options import by_option, day_of
from setwright.errors import InputError
from setwright.sheets.sheet import PARTS, Part

KINDS: dict[str, tuple[Part, ...]] = {"all": PARTS} | {part: (part,) for part in PARTS}


@click.command("sheet")
@click.argument("job", required=False)
@click.option("--journal", metavar="PATH", help="The journal, in place of NAME.journal.txt beside NAME.job.toml.")
@click.option("--save", metavar="FILE", help="The PDF; - for standard output. Otherwise NAME.sheet.pdf in this folder.")
@click.option("--force", is_flag=True, help="Replace a file that stands there already.")
@click.option("--kind", type=click.Choice(list(KINDS)), default="all", help="Which part of it.")
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4", help="Size of the pages.")
@click.option(
    "--shop-name", default="", envvar="SETWRIGHT_SHOP_NAME",
    help="Name of the shop on it; otherwise SETWRIGHT_SHOP_NAME, otherwise that of --shop.",
)  # fmt: skip
@click.option("--shop-line", "lines", multiple=True, help="A line of its address; may be given many times.")
@click.option("--owner", default="", help="Who owns the instrument.")
@click.option("--case", default="", help="Number of the case.")
@click.option("--recheck", metavar="DAY", help="When it is to be looked at again: 2027-02-25.")
@click.option("--link", default="", help="What the QR code leads to.")
@click.option(
    "--drawing", "drawn", metavar="FILE", multiple=True, help="A drawing made by --svg, on a page behind the shop's."
)
@click.option(
    "--drawings", is_flag=True,
    help="All that can be drawn of it, each on a page behind the shop's: side view, balance, heights, cents.",
)  # fmt: skip
@click.option("--no-plan", is_flag=True, help="Leave out what was planned and not done; quicker.")
@click.option("--hand-over", is_flag=True, help="With --visit: note that it was handed over, and keep it in the shop.")
@by_option
@visit_options
@units_option
def command(
    job: str | None,
    journal: str | None,
    save: str | None,
    force: bool,
    kind: str,
    paper: str,
    shop_name: str,
    lines: tuple[str, ...],
    owner: str,
    case: str,
    recheck: str | None,
    link: str,
    drawn: tuple[str, ...],
    drawings: bool,
    no_plan: bool,
    hand_over: bool,
    who: str,
    visit: str | None,
    shop: str | None,
    units: str | None,
) -> None:
    """Print the set-up sheet of JOB as PDF: a page for the owner, one for the shop, a tag for the case.

    What the job file and its journal tell goes on it. Notes of the journal that begin with one of these words go to
    their own place:

    \b
    note "recommend: a new nut, the slots are worn"
    note "not done: the frets, by wish"
    note "part: nut blank, 1"
    note "found: ..."   "care: ..."   "caution: ..."
    note "recheck: 2027-02-25"   "owner: ..."   "case: ..."
    """
    from setwright.bench.drawn import put_bytes
    from setwright.bench.paper import Desk, read_drawing, sheet_of_job
    from setwright.sheets.sheet import render

    desk = Desk(shop_name, lines, case, owner, None if recheck is None else day_of(recheck, "--recheck"), link)
    source = source_of(job, visit, shop)
    if isinstance(source, str) and (hand_over or who):
        raise InputError("--hand-over and --by go with --visit; a job file has no place where that is noted.")
    name = _name(job or f"visit-{visit}") if save is None else save
    system = None if units is None else system_of(units, units)
    pages = [read_drawing(one) for one in drawn]
    if drawings:
        from setwright.bench.paper_drawings import drawings_of_job

        pages += drawings_of_job(source, system, paper="letter" if paper == "letter" else "a4")
    data = sheet_of_job(source, journal, desk, system, not no_plan, pages)
    pdf = render(data, "letter" if paper == "letter" else "a4", KINDS[kind])
    if name == "-":
        sys.stdout.buffer.write(pdf)
    else:
        put_bytes(name, pdf, "--save", "kestrel.pdf", force)
        say(f"Put into {name}.")
    if hand_over and not isinstance(source, str):
        from setwright.bench import handed

        handed.hand_over(source, data, pdf, KINDS[kind], Path(name).name if name != "-" else "", who)


def _name(job: str) -> str:
    last = job.replace("\\", "/").rsplit("/", 1)[-1]
    return f"{last.removesuffix('.toml').removesuffix('.job')}.sheet.pdf"
