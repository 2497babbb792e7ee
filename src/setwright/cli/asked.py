"""What several commands ask and how all of them answer: units, JSON, text that any terminal can show."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, TypeVar

import click

from setwright.errors import NoPlanError, SetwrightError
from setwright.units.show import System

if TYPE_CHECKING:
    from setwright.bench.journals import Source

Command = TypeVar("Command", bound=Callable[..., Any])
FEWEST = ("claw settings", "minutes")  # as in instrument.settings, which would load numpy; the usual one first
PIPE_CLOSED = 141  # what a shell reports for a program whose reader has gone
PLAIN = {"±": "+/-", "−": "-", "→": "->", "°": " deg", "²": "2"}


def units_option(command: Command) -> Command:
    """Add --units."""
    return click.option(
        "--units",
        type=click.Choice(["inch", "mm"]),
        envvar="SETWRIGHT_UNITS",
        help="Units of the answer; otherwise SETWRIGHT_UNITS, otherwise those the job is written in.",
    )(command)


def fewest_option(command: Command) -> Command:
    """Add --fewest."""
    return click.option(
        "--fewest",
        type=click.Choice(FEWEST),
        default=FEWEST[0],
        show_default=True,
        help="What the way is chosen for; fewest claw settings take a spring off for a while and some minutes more.",
    )(command)


def json_option(command: Command) -> Command:
    """Add --json."""
    return click.option("--json", "as_json", is_flag=True, help="Print one JSON document and nothing else.")(command)


def visit_options(command: Command) -> Command:
    """Add --visit and --shop, which name a job in place of JOB."""
    shop = click.option("--shop", metavar="WHERE", envvar="SETWRIGHT_SHOP", help="The shop of --visit.")
    visit = click.option("--visit", metavar="ID", help="A visit in the shop, in place of JOB.")
    return visit(shop(command))


def source_of(job: str | None, visit: str | None, shop: str | None) -> Source:
    """The job a command is about.

    Args:
        job: path of its file, or None.
        visit: id of a visit, or None.
        shop: folder or URL.
    Returns: the path, or the visit.
    Raises: UsageError for none of them, or both.
    """
    from setwright.bench.journals import InShop

    if (job is None) == (visit is None):
        raise click.UsageError("name a JOB, or a visit with --visit ID and its shop with --shop WHERE.")
    return InShop(shop or "", visit) if visit is not None else job or ""


def system_of(units: str | None, otherwise: str) -> System:
    """The system of units to answer in.

    Args:
        units: what was asked for, or None.
        otherwise: the default.
    Returns: "inch" or "mm".
    """
    return "inch" if (units or otherwise) == "inch" else "mm"


@contextmanager
def refused_in(system: System) -> Iterator[None]:
    """What is refused inside is told in one system of units, and so are the ways that were tried."""
    try:
        yield
    except SetwrightError as error:
        from setwright.cli.words import spelled

        words = spelled(str(error), system)
        if isinstance(error, NoPlanError):
            misses = tuple((spelled(name, system), spelled(reason, system)) for name, reason in error.misses)
            raise NoPlanError(words, misses) from None
        raise type(error)(words) from None


def say(text: str) -> None:
    """Print text; signs the output cannot carry are spelled plainly."""
    encoding = sys.stdout.encoding or "utf-8"
    try:
        text.encode(encoding)
    except UnicodeEncodeError:
        for sign, plain in PLAIN.items():
            text = text.replace(sign, plain)
        text = text.encode(encoding, "replace").decode(encoding)
    try:
        click.echo(text)
    except BrokenPipeError:
        leave_quietly()
        raise click.exceptions.Exit(PIPE_CLOSED) from None


def leave_quietly() -> None:
    """The reader has gone: what is left unwritten must not complain."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def say_json(document: dict[str, Any]) -> None:
    """Print one JSON document."""
    say(json.dumps(document, ensure_ascii=False, allow_nan=False, indent=1))


def progress_to(terminal: bool, done: str) -> Callable[[float], None] | None:
    """What tells the progress on a terminal, on one line of standard error that it wipes out at the end.

    Args:
        terminal: whether standard error is one.
        done: what is done, in words.
    Returns: to be called with the share done; None where nobody looks.
    """
    if not terminal:
        return None
    shown, blank = -1, " " * (len(done) + 7)

    def tell(share: float) -> None:
        nonlocal shown
        hundredth = int(100.0 * share)
        if hundredth == shown:
            return
        shown = hundredth
        click.echo(f"\r{hundredth:3d} % {done}" if share < 1.0 else f"\r{blank}\r", nl=False, err=True)

    return tell
