"""Options all commands on a shop share."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import click

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
