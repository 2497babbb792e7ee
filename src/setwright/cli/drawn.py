"""What the commands that draw ask, and where their drawing goes."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import click

from setwright.cli.asked import say, say_json
from setwright.errors import InputError

Command = TypeVar("Command", bound=Callable[..., Any])


def svg_option(command: Command) -> Command:
    """Add --svg."""
    return click.option("--svg", metavar="FILE", help="Draw it to scale into FILE; - for standard output.")(command)


def plan_option(command: Command) -> Command:
    """Add --plan."""
    return click.option("--plan", is_flag=True, help="At the end of the plan as well.")(command)


def samples_option(command: Command) -> Command:
    """Add --samples."""
    return click.option(
        "--samples", type=click.IntRange(32, 20000), default=256, help="Instruments the bands are made of."
    )(command)


def checked_output(svg: str | None, as_json: bool) -> None:
    """Refuse two documents on one standard output.

    Args:
        svg: file of the drawing, or None.
        as_json: whether JSON is asked for.
    Raises: InputError for both.
    """
    if svg == "-" and as_json:
        raise InputError("--svg - and --json both go to standard output; name a file for the drawing.")


def answer(
    what: str, result: object, draw: Callable[[], str], tell: Callable[[], str], svg: str | None, as_json: bool
) -> None:
    """Draw where that is asked for, then answer in JSON or in words, unless the drawing took standard output.

    Args:
        what: name of the JSON document.
        result: what it holds.
        draw: makes the drawing.
        tell: makes the words.
        svg: file of the drawing, "-", or None.
        as_json: whether JSON is asked for.
    """
    from setwright.bench.data import document

    if put(svg, draw):
        return
    if as_json:
        say_json(document(what, result))
    else:
        say(tell())


def put(svg: str | None, draw: Callable[[], str]) -> bool:
    """Draw where a drawing is asked for.

    Args:
        svg: file of the drawing, "-", or None.
        draw: makes it.
    Returns: whether standard output is taken.
    Raises: InputError where the file cannot be written.
    """
    from setwright.bench.drawn import put_drawing

    if svg is None:
        return False
    drawing = draw()
    if svg == "-":
        say(drawing.removesuffix("\n"))
        return True
    put_drawing(svg, drawing)
    return False
