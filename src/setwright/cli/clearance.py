"""setwright clearance: where strokes and bends touch, and how low the strings can go."""

from __future__ import annotations

import math
import re

import click

from setwright.cli.asked import json_option, source_of, system_of, units_option, visit_options
from setwright.cli.drawn import answer, checked_output, plan_option, samples_option, svg_option
from setwright.errors import InputError
from setwright.units.read import read_force

SHARE = re.compile(r"\s*(\d{1,3}(?:[.,]\d+)?)\s*%\s*$")


@click.command("clearance")
@click.argument("job", required=False)
@click.option("--force", metavar="FORCE", help='Of the stroke, square to the board: "1.2 N"; otherwise the player\'s.')
@click.option("--place", metavar="SHARE", help="Of the stroke from the saddle, of the open string: 15%.")
@plan_option
@samples_option
@visit_options
@json_option
@units_option
@svg_option
def command(
    job: str | None,
    force: str | None,
    place: str | None,
    plan: bool,
    samples: int,
    visit: str | None,
    shop: str | None,
    as_json: bool,
    units: str | None,
    svg: str | None,
) -> None:
    """Least clearance of every string of JOB wherever it is stopped, lowest clean heights, and bends that choke."""
    from setwright.bench.clearance import clearance_drawing, clearance_of
    from setwright.bench.journals import job_from
    from setwright.bench.plans import preferred_system
    from setwright.cli.clearance_table import clearance_text

    checked_output(svg, as_json)
    strength = None if force is None else read_force(force, "--force").si
    share = None if place is None else _share(place)
    read = job_from(source_of(job, visit, shop))
    system = system_of(units, preferred_system(read))
    result = clearance_of(read, strength, share, plan, samples)
    answer(
        "clearance",
        result,
        lambda: clearance_drawing(result, system),
        lambda: clearance_text(result, system),
        svg,
        as_json,
    )


def _share(text: str) -> float:
    match = SHARE.match(text)
    if match is None:
        raise InputError(f"--place: {text!r} is no share of the open string; write for instance 15%.")
    share = float(match[1].replace(",", ".")) / 100.0
    assert math.isfinite(share)
    return share
