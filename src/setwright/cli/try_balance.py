"""setwright balance: a balance tried out on the instrument as it is believed now."""

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
from setwright.cli.turns_asked import claw_options, pivot_options, state_options


@click.command("balance")
@click.argument("job", required=False)
@claw_options
@click.option("--springs", metavar="COUNT", help="4 springs, +1 for one more, or their places: 1,3,5.")
@click.option("--strings", metavar="GAUGES", help='Another set: ".010 .013 .017 .026w .036w .046w".')
@click.option("--tuning", metavar="NOTES", help='"standard -2", or the notes from string 1.')
@pivot_options
@state_options
@click.option("--journal", metavar="FILE", help="The journal of JOB; otherwise NAME.journal.txt beside it.")
@click.option("--samples", type=click.IntRange(32, 20000), default=256, help="Instruments the bands are made of.")
@visit_options
@json_option
@units_option
def command(
    job: str | None,
    visit: str | None,
    shop: str | None,
    as_json: bool,
    units: str | None,
    samples: int,
    journal: str | None,
    **asked: str | None,
) -> None:
    """Try the balance of JOB out, from where its journal says it stands: with the pegs left alone, and at pitch.

    Tells gap, pitches, range of the arm, and what acts on the plate. Nothing is written.
    """
    from setwright.bench.balance_try import tried
    from setwright.bench.believed import believed
    from setwright.bench.data import document
    from setwright.bench.kept_work import kept_here
    from setwright.bench.plans import preferred_system
    from setwright.cli.balance_asked import tries_from
    from setwright.cli.balance_words import balance_card, cautions_of

    typed = {name: text or "" for name, text in asked.items()}
    one = believed(source_of(job, visit, shop), journal, samples, keeping=kept_here())
    system = system_of(units, preferred_system(one.job))
    with refused_in(system):
        result = tried(one, tries_from(typed, one))
    if as_json:
        say_json(document("balance", result))
        return
    say(balance_card(result, system, cautions_of(typed)))
