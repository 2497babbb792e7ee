"""setwright next: the one next step of a job."""

from __future__ import annotations

import click

from setwright.cli.asked import json_option, say, say_json, system_of, units_option
from setwright.errors import NoPlanError, SetwrightError


@click.command("next")
@click.argument("job")
@click.option("--journal", metavar="PATH", help="The journal, in place of NAME.journal.txt beside NAME.job.toml.")
@json_option
@units_option
def command(job: str, journal: str | None, as_json: bool, units: str | None) -> None:
    """The one next step of JOB, by what its journal says was done and read.

    Put what you did and read into the journal with setwright log, then ask again.
    """
    from setwright.bench.data import document
    from setwright.bench.next_step import next_of
    from setwright.bench.plans import preferred_system
    from setwright.cli.next_card import next_lines
    from setwright.cli.words import spelled

    try:
        read, found = next_of(job, journal)
    except NoPlanError as error:
        system = system_of(units, "mm")
        misses = tuple((spelled(name, system), spelled(reason, system)) for name, reason in error.misses)
        raise NoPlanError(spelled(str(error), system), misses) from None
    except SetwrightError as error:
        raise type(error)(spelled(str(error), system_of(units, "mm"))) from None
    if as_json:
        say_json(document("next", found))
        return
    say("\n".join(next_lines(found, system_of(units, preferred_system(read)))))
