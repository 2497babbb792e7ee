"""How far long work is: told on the way, so that it can be shown, and called off between two tellings."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import TypeVar

Tell = Callable[[float], None]  # takes the share that is done; whatever it raises ends the work
T = TypeVar("T")


def untold(share: float) -> None:
    """Nobody asks how far the work is.

    Args:
        share: that is done [1].
    """


def within(tell: Tell, begin: float, end: float) -> Tell:
    """The telling of a part of some work, within that of the whole.

    Args:
        tell: that of the whole.
        begin: share of the whole that is done before the part [1].
        end: share that is done after it [1].
    Returns: takes the share of the part that is done.
    """
    return lambda share: tell(begin + (end - begin) * share)


def each(tell: Tell, items: Sequence[T]) -> Iterator[tuple[T, Tell]]:
    """Items one after the other, how far they are being told before each.

    Args:
        tell: that of all of them.
        items: each about as much work as the others.
    Returns: the items, each with the telling of the work on it.
    """
    for i, item in enumerate(items):
        mine = within(tell, i / len(items), (i + 1) / len(items))
        mine(0.0)
        yield item, mine
