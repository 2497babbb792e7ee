"""setwright plan: the job card."""

from __future__ import annotations

from typing import TYPE_CHECKING

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
from setwright.errors import NoPlanError

if TYPE_CHECKING:
    from setwright.instrument.jobfile import Job
    from setwright.planning.plan import Plan
    from setwright.units.show import System


@click.command("plan")
@click.argument("job", required=False)
@visit_options
@json_option
@units_option
@click.option("--samples", type=click.IntRange(32, 20000), default=512, help="Instruments the bands are made of.")
@click.option("--all", "everything", is_flag=True, help="Everything that fails, not the nearest misses only.")
@click.option("--draw", "folder", metavar="FOLDER", help="Draw it to scale into FOLDER: side view, balance, arm.")
def command(
    job: str | None,
    visit: str | None,
    shop: str | None,
    as_json: bool,
    units: str | None,
    samples: int,
    everything: bool,
    folder: str | None,
) -> None:
    """Plan JOB, a job file: what to turn, which way, how much, in which order, and what each turn does."""
    from dataclasses import replace

    from setwright.bench.data import document
    from setwright.bench.heard_notes import read_with_heard
    from setwright.bench.plans import plan_job, preferred_system
    from setwright.cli.card import Head, card, failures
    from setwright.planning.plan import Rejected

    read, said = read_with_heard(source_of(job, visit, shop))
    system = system_of(units, preferred_system(read))
    with refused_in(system):
        try:
            plan = plan_job(read, samples)
            plan = replace(plan, remarks=(*plan.remarks, *said))
        except NoPlanError as error:
            if not as_json:
                tried = [Rejected(name, reason, 0.0) for name, reason in error.misses]
                say("\n".join(failures(tried, len(tried), system, everything)))
            raise
        drawn = _drawn(folder, read, plan, system)
    if as_json:
        say_json(document("plan", plan))
        return
    head = Head(read.title, f"{read.instrument.name}, {read.instrument.bridge.name}", read.wish)
    say(card(plan, head, system, everything))
    if drawn:
        say("\n" + "\n".join(["DRAWN TO SCALE", *(f"  {name}" for name in drawn)]))


def _drawn(folder: str | None, job: Job, plan: Plan, system: System) -> tuple[str, ...]:
    """Draw where that is asked for."""
    if folder is None:
        return ()
    from setwright.bench.drawn_folder import put_drawings
    from setwright.bench.plan_drawings import plan_drawings

    return put_drawings(folder, plan_drawings(job, plan, system))
