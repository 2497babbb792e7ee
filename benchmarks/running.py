"""What benchmarks that print a table have in common: their arguments, and two processes at work."""

from __future__ import annotations

import argparse
import multiprocessing
import os
import time
from collections.abc import Callable, Iterator, Sequence
from typing import TypeVar

Task = TypeVar("Task")
Answer = TypeVar("Answer")


def number(word: str) -> int:
    """A whole number from 1 on, off the command line.

    Args:
        word: as typed.
    Returns: it.
    Raises: ArgumentTypeError: saying what is allowed.
    """
    if not word.isdecimal() or int(word) < 1:
        raise argparse.ArgumentTypeError(f"{word} is no number of runs; give a whole number from 1 on")
    return int(word)


def parser_of(name: str, count: int, first: int, of: str) -> argparse.ArgumentParser:
    """The arguments all of them take.

    Args:
        name: after ./dev bench.
        count: usual number.
        first: usual first seed.
        of: of what the number is.
    Returns: to be added to.
    """
    parser = argparse.ArgumentParser(prog=f"./dev bench {name}")
    parser.add_argument("--count", type=number, default=count, help=of)
    parser.add_argument("--first", type=int, default=first, help="first seed")
    parser.add_argument("--minutes", type=float, default=20.0, help="after which it stops and reports what is done")
    return parser


def runs(work: Callable[[Task], Answer], tasks: Sequence[Task], minutes: float) -> Iterator[Answer]:
    """All tasks on both cores, in order, until the minutes are over.

    Args:
        work: what is done with a task.
        tasks: what is to be done.
        minutes: after which no more are waited for.
    Returns: the answers.
    """
    begun = time.monotonic()
    with multiprocessing.get_context("fork").Pool(min(2, os.cpu_count() or 1)) as pool:
        for one in pool.imap(work, tasks, chunksize=1):
            yield one
            if time.monotonic() - begun > 60.0 * minutes:
                break
        pool.terminate()
