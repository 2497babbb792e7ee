"""setwright practice: an instrument to practise on, with nothing in hand."""

from __future__ import annotations

import sys

import click

from setwright.errors import InputError


@click.command("practice")
@click.option(
    "--serve", "seed", type=int, metavar="SEED", help="Answer the line protocol on standard input and output."
)
@click.option("--told", metavar="PATH", help="What is told, from a file, in place of an instrument drawn by SEED.")
def command(seed: int | None, told: str | None) -> None:
    """A virtual instrument with hidden traits, behind the readings a bench has.

    With --serve it says what is told, then answers one command a line. docs/practice.md has the commands.
    """
    if seed is None:
        raise InputError("nothing says which instrument; give --serve SEED, as --serve 1.")
    from setwright.bench.training import serve_practice

    serve_practice(seed, sys.stdin, _say, told)


def _say(line: str) -> None:
    """One line, at once."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()
