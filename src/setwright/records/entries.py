"""Entries of a journal as plain data, apart from the form in which they are kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import field
from datetime import datetime
from typing import Literal

from setwright.frozen import frozen
from setwright.metrology.reading import Convention, Place, State

Verb = Literal["read", "did", "note", "strike"]


@frozen
class Value:
    """A value as it was written, and what it is.

    kind: of `setwright.units.KINDS`, "count", or "yes or no". written: untouched. unit: in its plain spelling, "note"
    for a pitch by its name, "" for a count. si: in the SI unit of the kind; cents, turns and counts as they are, yes 1,
    no 0. standard_uncertainty: in the same unit, > 0; None for a count and for yes or no.
    """

    kind: str
    written: str
    unit: str
    si: float
    standard_uncertainty: float | None


@frozen
class Entry:
    """One thing done or read, a note, or the striking of another entry.

    number: from 1, 0 before it is kept. when: by the clock of the bench, without a zone. verb: see Verb. text: the
    words after the verb, as they were written. what: of `read` and `did`, its name ("rear gap", "claw"). way: the word
    that goes with it: which way a screw went, an attitude, locked. value: None where there is none; a pitch of kind
    "cents" is counted from the wanted pitch; turns have no sign, `way` tells the direction. heard: of `tune`, what was
    heard afterwards. place, convention: as in a reading. state: None where nothing was said of it; said: the words
    about it. gauge: its name, "" when not said. sure: an unlikely value was confirmed. who: "" when not said.
    recording, sha256: of a reading heard in a sound file, its name and the hash of its bytes, "" for any other.
    strikes: of `strike`, the number of the entry meant. struck_by: the number of the entry that strikes this one. line:
    in the file, from 1, 0 before it is kept.
    """

    when: datetime
    verb: Verb
    text: str
    number: int = 0
    what: str = ""
    way: str = ""
    value: Value | None = None
    heard: Value | None = None
    place: Place = field(default_factory=Place)
    convention: Convention = field(default_factory=Convention)
    state: State | None = None
    said: tuple[str, ...] = ()
    gauge: str = ""
    sure: bool = False
    who: str = ""
    recording: str = ""
    sha256: str = ""
    strikes: int | None = None
    struck_by: int | None = None
    line: int = 0


def live(entries: Sequence[Entry]) -> tuple[Entry, ...]:
    """What counts: entries that are neither struck nor strike another.

    Args:
        entries: of one journal, in its order.
    Returns: those that count, in the same order.
    """
    return tuple(one for one in entries if one.struck_by is None and one.verb != "strike")
