"""Training: a practice instrument served to whoever plans, line by line."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from setwright.errors import FileFormatError, InputError
from setwright.practice.instrument import Practice
from setwright.practice.serve import serve
from setwright.practice.told import hello

LARGEST = 1_000_000  # bytes of a first line


def serve_practice(seed: int, commands: Iterable[str], say: Callable[[str], None], told: str | None = None) -> bool:
    """Serve a practice instrument over the line protocol.

    Args:
        seed: all of chance, 0 or more.
        commands: lines as they come in.
        say: sends one line.
        told: path of a first line to be told, None for one drawn by the seed.
    Returns: whether the instrument was handed back.
    Raises: FileFormatError, InputError: one sentence.
    """
    if seed < 0:
        raise InputError(f"--serve {seed}: a seed is a whole number from 0.")
    first = first_line(seed, told)
    return serve(first, Practice(first, seed), commands, say)


def first_line(seed: int, told: str | None = None) -> dict[str, Any]:
    """What is told of a practice instrument.

    Args:
        seed: all of chance.
        told: path of a first line, None for one drawn by the seed.
    Returns: the first line of the line protocol.
    Raises: FileFormatError, InputError: one sentence.
    """
    return hello(seed) if told is None else _read(told)


def _read(path: str) -> dict[str, Any]:
    """The first line of a file, as one object."""
    try:
        content = Path(path).read_bytes()
    except OSError as error:
        raise InputError(f"{path}: {error.strerror}; name a file with a first line of the line protocol.") from None
    try:
        first = json.loads(content) if len(content) <= LARGEST else None
    except (ValueError, RecursionError):
        first = None
    if not isinstance(first, dict):
        raise FileFormatError(f"{path} is no first line of the line protocol; it must be one JSON object.")
    return first
