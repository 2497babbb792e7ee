"""Options all commands on a shop share."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from typing import Any, TypeVar

import click

from setwright.errors import InputError

Command = TypeVar("Command", bound=Callable[..., Any])


def shop_option(command: Command) -> Command:
    """Add --shop."""
    return click.option(
        "--shop",
        "at",
        metavar="WHERE",
        envvar="SETWRIGHT_SHOP",
        help="The shop: a folder, or postgresql://host/database; otherwise SETWRIGHT_SHOP.",
    )(command)


def by_option(command: Command) -> Command:
    """Add --by."""
    return click.option("--by", "who", metavar="NAME", default="", help="Who works here now.")(command)


def based_on_option(command: Command) -> Command:
    """Add --based-on."""
    return click.option(
        "--based-on",
        type=click.IntRange(1, 1_000_000_000),
        help="The version you looked at; refused where another bench has changed it since.",
    )(command)


def day_of(text: str, option: str) -> date:
    """A day as typed.

    Args:
        text: e.g. "2027-02-25".
        option: that it stands behind, for the message.
    Returns: the day.
    Raises: InputError.
    """
    try:
        return datetime.strptime(text, "%Y-%m-%d").date()
    except ValueError:
        raise InputError(f"{option}: {text[:40]!r} is no day; write it as 2027-02-25.") from None
