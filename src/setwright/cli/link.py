"""setwright link: the whole job on an instrument behind the line protocol."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any

import click

from setwright.cli.asked import fewest_option, json_option, leave_quietly, say, say_json, system_of, units_option
from setwright.errors import InputError

if TYPE_CHECKING:
    from setwright.instrument.settings import Fewest

NOT_PASSED = 3


@click.command("link")
@click.option("--run", "program", metavar="COMMAND", help="Start the instrument as a program and talk to its pipes.")
@click.option("--quiet", is_flag=True, help="Leave the running log out.")
@fewest_option
@units_option
@json_option
def command(program: str | None, quiet: bool, fewest: Fewest, units: str | None, as_json: bool) -> int:
    """Set up an instrument that answers: a practice instrument, a test rig, another program.

    Speaks the planner's end of the line protocol on standard input and output and writes a running log to standard
    error. With --run the instrument is started as a program, and log and verdict go to standard output.
    docs/practice.md has the protocol. Exit codes: 0 passed, 2 something given cannot be used, 3 not passed.
    """
    if as_json and program is None:
        raise InputError("--json goes with --run; without it standard output carries the protocol.")
    from setwright.bench.data import document
    from setwright.bench.link import link, started
    from setwright.cli.work_log import Judged, Log, verdict_lines

    system = system_of(units, "mm")
    show = _nothing if as_json or (quiet and program is None) else say if program else _aside
    tell = None if quiet or as_json else Log(show, system).tell
    if program is None:
        outcome = link(sys.stdin, send_line, tell, fewest)
    else:
        with started(program) as (lines, send):
            outcome = link(lines, send, tell, fewest)
    if as_json:
        say_json(document("link", outcome))
    else:
        verdict = outcome.verdict
        judged = Judged(verdict.passed, verdict.gap_error, verdict.cents, verdict.minutes, verdict.peak)
        show("\n".join(verdict_lines(judged, outcome.ended, outcome.reason, outcome.cost, system)))
    return 0 if outcome.verdict.passed else NOT_PASSED


def send_line(line: str) -> None:
    """Send one line of the protocol at once.

    Args:
        line: without its end.
    Raises: BrokenPipeError where nobody reads any more.
    """
    try:
        sys.stdout.write(line + "\n")
        sys.stdout.flush()
    except BrokenPipeError:
        leave_quietly()
        raise


def _aside(text: str) -> None:
    click.echo(text, err=True)


def _nothing(_: Any) -> None:
    """Say nothing."""
