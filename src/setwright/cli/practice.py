"""setwright practice: an instrument to practise on, with nothing in hand."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from setwright.cli.asked import PIPE_CLOSED, fewest_option, json_option, say, say_json, system_of, units_option
from setwright.cli.link import send_line
from setwright.errors import InputError

if TYPE_CHECKING:
    from setwright.instrument.settings import Fewest

NOT_PASSED = 3


@click.command("practice")
@click.option("--seed", type=int, metavar="N", help="Which instrument and all its chance; otherwise one is drawn.")
@click.option("--auto", is_flag=True, help="Do the whole job by itself and show every step.")
@click.option(
    "--serve", "served", type=int, metavar="SEED", help="Answer the line protocol on standard input and output."
)
@click.option("--told", metavar="PATH", help="What is told, from a file, in place of an instrument drawn by the seed.")
@fewest_option
@units_option
@json_option
def command(
    seed: int | None, auto: bool, served: int | None, told: str | None, fewest: Fewest, units: str | None, as_json: bool
) -> int:
    """A virtual instrument with hidden traits, behind the readings a bench has.

    Alone it gives advice for every step and takes typed commands, so that you may follow or do otherwise; at the end it
    shows what was hidden and what the advice alone would have needed. With --auto it does the whole job by itself. With
    --serve it says what is told, then answers one command a line. docs/practice.md has the commands.
    Exit codes: 0 passed (or served), 2 something given cannot be used, 3 not passed.
    """
    if served is not None:
        if seed is not None or auto or as_json:
            raise InputError("--serve goes alone or with --told; leave --seed, --auto and --json out.")
        from setwright.bench.training import serve_practice

        try:
            serve_practice(served, sys.stdin, send_line, told)
        except BrokenPipeError:
            return PIPE_CLOSED
        return 0
    if as_json and not auto:
        raise InputError("--json goes with --auto; a lesson is typed and read.")
    from setwright.bench.practising import drawn_seed

    number = drawn_seed() if seed is None else seed
    system = system_of(units, "mm")
    if not auto:
        from setwright.cli.lesson import teach

        return 0 if teach(number, told, system, sys.stdin, say, fewest) else NOT_PASSED
    from setwright.bench.data import document
    from setwright.bench.practising import alone, wanted
    from setwright.cli.unveiled_table import alone_lines, goal_lines
    from setwright.cli.work_log import Log

    if as_json:
        done = alone(number, told, fewest=fewest)
        say_json(document("practice", done))
    else:
        say("\n".join([f"Practice instrument {number}", *goal_lines(wanted(number, told), system), ""]))
        done = alone(number, told, Log(say, system).tell, fewest)
        say("\n".join(alone_lines(done, system)))
    return 0 if done.verdict.passed else NOT_PASSED
