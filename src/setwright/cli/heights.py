"""setwright heights: string heights at every fret and relief by every way of reading it."""

from __future__ import annotations

import re

import click

from setwright.cli.asked import json_option, source_of, system_of, units_option, visit_options
from setwright.cli.drawn import answer, checked_output, plan_option, samples_option, svg_option
from setwright.errors import InputError

WAY = re.compile(r"\s*(\d{1,2})\s*[, ]\s*(\d{1,2})\s*[, ]\s*(\d{1,2})\s*$")


@click.command("heights")
@click.argument("job", required=False)
@click.option("--fret", "frets", type=click.IntRange(1, 36), multiple=True, help="A fret; may be given many times.")
@click.option("--capo", type=click.IntRange(1, 35), help="Heights with a capo on this fret as well.")
@click.option(
    "--relief", metavar="HELD,READ,HELD", multiple=True, help="A way of reading relief: 1,8,17 holds 1 and 17, reads 8."
)
@plan_option
@samples_option
@visit_options
@json_option
@units_option
@svg_option
def command(
    job: str | None,
    frets: tuple[int, ...],
    capo: int | None,
    relief: tuple[str, ...],
    plan: bool,
    samples: int,
    visit: str | None,
    shop: str | None,
    as_json: bool,
    units: str | None,
    svg: str | None,
) -> None:
    """String heights of JOB at every fret as found, and the relief of its neck by each way the trade reads it."""
    from setwright.bench.heights import heights_drawing, heights_of
    from setwright.bench.journals import job_from
    from setwright.bench.plans import preferred_system
    from setwright.cli.heights_table import heights_text

    checked_output(svg, as_json)
    ways = tuple(_way(text) for text in relief)
    read = job_from(source_of(job, visit, shop))
    system = system_of(units, preferred_system(read))
    result = heights_of(read, tuple(dict.fromkeys(frets)), capo, ways, plan, samples)
    answer(
        "heights",
        result,
        lambda: heights_drawing(result, system),
        lambda: heights_text(result, system),
        svg,
        as_json,
    )


def _way(text: str) -> tuple[int, int, int]:
    """Fret held, fret read, fret held."""
    match = WAY.match(text)
    if match is None:
        raise InputError(f"--relief: {text!r} names no three frets; write for instance 1,8,17: held, read, held.")
    low, read, high = (int(part) for part in match.groups())
    if not 1 <= low < read < high:
        raise InputError(f"--relief: {text!r} does not rise from fret 1 on; write the fret held, read, held.")
    return low, read, high
