"""setwright learned: what the readings of a job have told of its instrument."""

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


@click.command("learned")
@click.argument("job", required=False)
@click.option("--journal", metavar="PATH", help="The journal, in place of NAME.journal.txt beside NAME.job.toml.")
@visit_options
@json_option
@units_option
def command(
    job: str | None, journal: str | None, visit: str | None, shop: str | None, as_json: bool, units: str | None
) -> None:
    """What the journal of JOB has told of a floating bridge, and what would tell most next.

    First the figures of its balance, then what is told of the instrument itself, then the most telling reading, and the
    most telling experiment for a tuner alone.
    """
    from setwright.bench.data import document
    from setwright.bench.learned import learned_of
    from setwright.bench.plans import preferred_system
    from setwright.cli.learned_card import learned_lines

    with refused_in(system_of(units, "mm")):
        read, found = learned_of(source_of(job, visit, shop), journal)
    if as_json:
        say_json(document("learned", found))
        return
    say("\n".join(learned_lines(read.title, found, system_of(units, preferred_system(read)))))
