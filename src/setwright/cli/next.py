"""setwright next: the one next step of a job."""

from __future__ import annotations

import click

from setwright.cli.asked import (
    json_option,
    refused_in,
    say,
    say_json,
    source_of,
    system_of,
    units_option,
    visit_options,
)


@click.command("next")
@click.argument("job", required=False)
@click.option("--journal", metavar="PATH", help="The journal, in place of NAME.journal.txt beside NAME.job.toml.")
@visit_options
@json_option
@units_option
def command(
    job: str | None, journal: str | None, visit: str | None, shop: str | None, as_json: bool, units: str | None
) -> None:
    """The one next step of JOB, by what its journal says was done and read.

    Put what you did and read into the journal with setwright log, then ask again.
    """
    from setwright.bench.data import document
    from setwright.bench.kept_work import kept_here
    from setwright.bench.next_step import next_of
    from setwright.bench.written_in import preferred_system
    from setwright.cli.next_card import next_lines

    with refused_in(system_of(units, "mm")):
        read, found = next_of(source_of(job, visit, shop), journal, kept_here())
    if as_json:
        say_json(document("next", found))
        return
    say("\n".join(next_lines(found, system_of(units, preferred_system(read)))))
