"""Rows of a shop as plain data, and what a text must be to get into one."""

from __future__ import annotations

import json
from typing import Any, TypeVar

from setwright.errors import InputError
from setwright.frozen import frozen

Kind = TypeVar("Kind")
LINE = 500  # characters of a text on one line
PAGE = 20_000  # characters of a text of several lines


@frozen
class Person:
    """Somebody who works here."""

    id: str
    version: int
    name: str
    since: str
    until: str | None


@frozen
class Owner:
    """An owner: what is needed to call them, and no more. sought: what a search looks at."""

    id: str
    version: int
    name: str
    contact: str
    note: str
    made: str
    sought: str


@frozen
class Instrument:
    """An instrument. file: SHA-256 of the document with the instrument file, verbatim."""

    id: str
    version: int
    owner: str | None
    name: str
    maker: str
    model: str
    serial: str
    colour: str
    made: str
    sought: str
    file_name: str
    file: str


@frozen
class Visit:
    """A visit. number: of the instrument's visits, from 1. state: "open" or "closed". kind: of job. came, handed_back:
    times. specification: id of the house specification used. wish: in the owner's words. job_file, instrument_file:
    SHA-256 of the documents with the files, verbatim, with their names. tail: what follows the last entry in the
    journal's text. belief: SHA-256 of the document with what was believed of the instrument when it was handed back,
    None where nothing was learned (see `instrument.carried`)."""

    id: str
    version: int
    instrument: str
    number: int
    state: str
    kind: str
    came: str
    handed_back: str | None
    specification: str | None
    wish: str
    job_name: str
    instrument_name: str
    journal_name: str
    job_file: str
    instrument_file: str
    tail: bytes
    belief: str | None = None


def made_of(kind: type[Kind], row: Any) -> Kind:
    """Plain data of a row.

    Args:
        kind: class whose fields are columns.
        row: of the database.
    Returns: the data.
    """
    return kind(**{name: getattr(row, name) for name in kind.__match_args__})  # type: ignore[attr-defined]


def line(text: str, what: str, needed: bool = False) -> str:
    """A text on one line, checked.

    Args:
        text: as given.
        what: for messages.
        needed: nothing is not enough.
    Returns: the text without blanks around it.
    Raises: InputError.
    """
    kept = text.strip()
    if needed and not kept:
        raise InputError(f"{what} is empty; write it.")
    if len(kept) > LINE or not kept.isprintable():
        raise InputError(f"{what} {kept[:40]!r} is no text on one line of up to {LINE} characters; write plain words.")
    return kept


def page(text: str, what: str, most: int = PAGE) -> str:
    """A text of several lines, checked, untouched.

    Args:
        text: as given.
        what: for messages.
        most: characters.
    Returns: the text.
    Raises: InputError.
    """
    if len(text) > most or "\0" in text or any("\ud800" <= sign <= "\udfff" for sign in text):
        raise InputError(f"{what} is no text of up to {most} characters; write plain words.")
    return text


def folded(*words: str) -> str:
    """Words as a search compares them.

    Args:
        words: any.
    Returns: them in one line, small and large letters alike.
    """
    return " ".join(word.casefold() for word in words if word)


def as_json(value: Any) -> str:
    """JSON with one spelling for one value: keys in order, no blanks, letters as they are.

    Args:
        value: of lists, dicts, text, finite numbers, truth values and None.
    Returns: the text.
    Raises: InputError for a number that is none.
    """
    try:
        return json.dumps(value, ensure_ascii=False, allow_nan=False, sort_keys=True, separators=(",", ":"))
    except ValueError:
        raise InputError("a number that is to be kept is not finite; nothing was kept.") from None
