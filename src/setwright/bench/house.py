"""House specifications as lines of text: what the shop holds itself to, written like the readings of a journal.

string height strings 1 to 3 at fret 12 = 1.6 mm ± 0.25 mm
relief held at 1 and 17, read at 8 = .008 in to .012 in
octave error string 1 = at most 2 c, source: what most ears let pass
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import datetime

from setwright.bench.shop import opened
from setwright.errors import InputError, SetwrightError, StaleEditError
from setwright.records import specifications
from setwright.records.entries import Entry
from setwright.records.journal_text import parse
from setwright.records.shop import Work
from setwright.records.specifications import Item
from setwright.records.specifications import Specification as Specification
from setwright.units.tolerance import read_toleranced

_SOURCE = re.compile(r"\s*[,;]?\s*\bsource:\s*(?P<source>.*)$", re.IGNORECASE)
_STRINGS = re.compile(r"\bstrings (?P<first>\d{1,2}) to (?P<last>\d{1,2})\b", re.IGNORECASE)
_EVERY = re.compile(r"\bevery string\b", re.IGNORECASE)
_OF_STRINGS = ("pitch", "octave error", "string height", "first-fret clearance")
_SIDED = re.compile(r"at (?P<which>most|least) (?P<value>\S.*)$", re.IGNORECASE)
_RANGE = re.compile(r"(?P<low>\S.*?)\s+to\s+(?P<high>\S.*)$", re.IGNORECASE)
_WHEN = datetime(2000, 1, 1)  # of an entry that is only asked what it means
LONGEST = 500  # characters of a line
MOST_LINES = 1_000


def items_of(text: str) -> tuple[Item, ...]:
    """What a specification holds, from its lines; those that begin with # and empty ones count for nothing.

    Args:
        text: the lines.
    Returns: the items; a line for several strings makes one for each.
    Raises: InputError, UnitError, QuestionableError: one sentence with the line.
    """
    lines = text.splitlines()
    if len(lines) > MOST_LINES:
        raise InputError(f"{len(lines)} lines are too many; up to {MOST_LINES} are read.")
    out: list[Item] = []
    for number, raw in enumerate(lines, start=1):
        said = " ".join(raw.split())
        if not said or said.startswith("#"):
            continue
        try:
            if len(said) > LONGEST:
                raise InputError(f"{len(said)} characters are too many; up to {LONGEST} fit.")
            out += [_item(one) for one in _each_string(said)]
        except SetwrightError as error:
            raise type(error)(f"line {number}: {error}") from None
    if not out:
        raise InputError("nothing is specified; write for instance rear gap = 2.6 mm ± 0.25 mm.")
    return tuple(out)


def line_of(item: Item) -> str:
    """The line that gives an item again.

    Args:
        item: of a specification.
    Returns: the line.
    """
    place, how, words = item.place, item.convention, [item.what]
    if place.string is not None:
        words.append(f"string {place.string}")
    elif item.what in _OF_STRINGS:
        words.append("every string")
    words += ["harmonic"] if place.harmonic else []
    words += [f"at fret {place.fret}"] if place.fret is not None else []
    words += [place.side] if place.side else []
    words += [f"with a capo on {how.capo}"] if how.capo is not None else []
    if how.read_at is not None:
        rests = "under a straightedge on" if how.straightedge else "held at"
        words += [f"{rests} {how.hold_low} and {how.hold_high}, read at {how.read_at}"]
    source = f", source: {item.source}" if item.source else ""
    return f"{' '.join(words)} = {item.written}{source}"


def specify(
    at: str | None, name: str, text: str, note: str = "", who: str = "", after: int | None = None
) -> Specification:
    """Add a house specification, or the next version of the one of that name; those before it stay as they are.

    Args:
        at: folder or URL of the shop.
        name: of the specification.
        text: its lines.
        note: why it is new.
        who: works here.
        after: number of the version it was made from, 0 where there should be none of that name; None for any.
    Returns: the specification.
    Raises: StaleEditError where there is another version than `after` by now; InputError, FileFormatError; nothing is
        kept then.
    """
    items = items_of(text)
    with opened(at) as shop, shop.writing(who) as work:
        made = specifications.specify(work, name, items, note)
        if after is not None and made.number != after + 1:
            said = "there is a specification of that name" if after == 0 else f"version {made.number - 1} has come"
            raise StaleEditError(
                f"{said} already; look at it, then change that.", {"number": made.number - 1}, {"number": after}
            )
        return made


def specifications_of(at: str | None) -> tuple[Specification, ...]:
    """All versions of all specifications, by name, the newest first.

    Args:
        at: folder or URL.
    Returns: the specifications.
    Raises: InputError, FileFormatError.
    """
    with opened(at) as shop, shop.reading() as work:
        return specifications.specifications(work)


def show_specification(at: str | None, which: str) -> Specification:
    """One version of a specification.

    Args:
        at: folder or URL.
        which: id, the end of it, or a name, which means its newest version.
    Returns: the specification.
    Raises: InputError, FileFormatError.
    """
    with opened(at) as shop, shop.reading() as work:
        return named(work, which)


def named(work: Work, which: str) -> Specification:
    """A specification by id, the end of it, or its name.

    Args:
        work: on the shop.
        which: of these.
    Returns: the specification, of a name its newest version.
    Raises: InputError where there is none, or more than one.
    """
    known, said = specifications.specifications(work), which.strip()
    by_name = [one for one in known if one.name.casefold() == said.casefold()]
    ending = [one for one in known if len(said) >= 4 and one.id.endswith(said)]
    found = by_name[:1] or ending
    if len(found) != 1:
        many = "more than one" if found else "no"
        raise InputError(
            f"there is {many} specification {said[:40]!r} in this shop; setwright shop specifications lists what there "
            "is."
        )
    return found[0]


def _each_string(said: str) -> Iterator[str]:
    found = _STRINGS.search(said)
    if found is None:
        yield said
        return
    first, last = int(found["first"]), int(found["last"])
    if not 1 <= first < last:
        raise InputError(f"strings {first} to {last} do not rise from 1 on; string 1 is the thinnest.")
    for string in range(first, last + 1):
        yield f"{said[: found.start()]}string {string}{said[found.end() :]}"


def _item(said: str) -> Item:
    """An item from its line."""
    source = _SOURCE.search(said)
    about, sign, limits = (part.strip() for part in (said[: source.start()] if source else said).partition("="))
    if not sign or not limits:
        raise InputError(f"{said[:60]!r} has no limits; write for instance rear gap = 2.6 mm ± 0.25 mm.")
    every = _EVERY.search(about)
    low, nominal, high, entry = _limits(_EVERY.sub("string 1", about), limits)
    assert entry.value is not None
    place = replace(entry.place, string=None) if every else entry.place
    return Item(
        entry.what, place, entry.convention, entry.value.kind, nominal, low, high, entry.value.unit, limits,
        source["source"].strip() if source else "",
    )  # fmt: skip


def _limits(about: str, limits: str) -> tuple[float | None, float | None, float | None, Entry]:
    """Low, nominal, high, and what is specified as a reading of it."""
    if sided := _SIDED.match(limits):
        value, entry = _value(about, sided["value"])
        return (None, None, value, entry) if sided["which"].casefold() == "most" else (value, None, None, entry)
    if both := _RANGE.match(limits):
        high, entry = _value(about, both["high"])
        low, _ = _value(about, both["low"] if re.search(r"[a-z%\"]", both["low"], re.I) else _unit_of(both))
        if low >= high:
            raise InputError(f"{limits[:40]!r} does not rise; write the lower limit first.")
        return low, None, high, entry
    nominal, entry = _value(about, re.split(r"±|\+/?-", limits, maxsplit=1)[0].strip() or limits, limits)
    assert entry.value is not None
    _, half = read_toleranced(limits, entry.value.kind)
    if half is None:
        raise InputError(f"{limits[:40]!r} says nothing of how far it may be off; write it as 2.6 mm ± 0.25 mm.")
    return nominal - half, nominal, nominal + half, entry


def _unit_of(both: re.Match[str]) -> str:
    """The lower limit with the unit of the upper one."""
    unit = re.search(r"[^\d.,/\s+-].*$", both["high"])
    return f"{both['low']} {unit[0]}" if unit else both["low"]


def _value(about: str, text: str, whole: str = "") -> tuple[float, Entry]:
    """A limit, read as a reading of the thing would be."""
    if whole and not re.search(r"[^\d.,/\s+-]", text):  # one unit, written last, serves for both
        unit = re.search(r"[^\d.,/\s+±-].*$", whole)
        text = f"{text} {unit[0]}" if unit else text
    entry = parse("read", f"{about} = {text}", _WHEN, "", sure=True)
    if entry.value is None or entry.value.kind == "yes or no" or entry.said or entry.gauge or entry.recording:
        raise InputError(f"{about[:40]!r} cannot be specified like this; write what is read, = and its limits.")
    return entry.value.si, entry


def text_of(items: Sequence[Item]) -> str:
    """The lines of a specification, to be changed into its next version.

    Args:
        items: of it.
    Returns: the text.
    """
    return "".join(f"{line_of(one)}\n" for one in items)
