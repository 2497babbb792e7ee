"""setwright notes: the cents error of every note, and what each saddle would have to do."""

from __future__ import annotations

import click

from setwright.cli.asked import json_option, source_of, system_of, units_option, visit_options
from setwright.cli.drawn import answer, checked_output, plan_option, samples_option, svg_option
from setwright.errors import InputError


@click.command("notes")
@click.argument("job", required=False)
@plan_option
@click.option(
    "--ends",
    type=click.Choice(["pinned", "clamped", "clamped-pinned"]),
    default="pinned",
    help="How stiff strings end: free to tilt, held fast, or held fast at nut and fret alone.",
)
@click.option(
    "--floating/--held", default=True, help="Plate and neck settle with the held string (default), or are held."
)
@click.option("--capo", type=click.IntRange(1, 12), help="With a capo on this fret; notes count from there.")
@click.option(
    "--capo-grips/--capo-slides",
    "grips",
    default=False,
    help="What strings do under the capo once it is on: slide (default).",
)
@samples_option
@visit_options
@json_option
@units_option
@svg_option
def command(
    job: str | None,
    plan: bool,
    ends: str,
    floating: bool,
    capo: int | None,
    grips: bool,
    samples: int,
    visit: str | None,
    shop: str | None,
    as_json: bool,
    units: str | None,
    svg: str | None,
) -> None:
    """Cents error of every note of JOB as found, with bands; octave errors and what each saddle has to do."""
    from dataclasses import replace

    from setwright.bench.heard_notes import read_with_heard
    from setwright.bench.notes import notes_drawing, notes_of
    from setwright.bench.plans import preferred_system
    from setwright.cli.notes_table import notes_text

    checked_output(svg, as_json)
    if grips and capo is None:
        raise InputError("--capo-grips says nothing without a capo; name its fret with --capo, or leave it out.")
    read, said = read_with_heard(source_of(job, visit, shop))
    system = system_of(units, preferred_system(read))
    result = notes_of(read, plan, ends, floating, samples, capo=capo, grips=grips)
    result = replace(result, remarks=(*result.remarks, *said))
    answer(
        "notes",
        result,
        lambda: notes_drawing(result, system),
        lambda: notes_text(result, system),
        svg,
        as_json,
    )
