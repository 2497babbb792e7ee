"""The catalogue: what an instrument of a kind usually is, with standard uncertainty and source of every value."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from types import MappingProxyType
from typing import Any

from setwright.errors import FileFormatError, InputError
from setwright.frozen import frozen
from setwright.instrument.document import nearest
from setwright.instrument.instrument_fields import LAYOUT
from setwright.instrument.packaged import load
from setwright.instrument.reading import read_field
from setwright.instrument.string_sets import Gauge, gauge, strings_from
from setwright.instrument.traits import Strings


@frozen
class Entry:
    """One value of the catalogue: as `reading.read_field` returns it, and where it comes from."""

    value: Any
    source: str


@frozen
class Pattern:
    """One kind of bridge, neck or spring. entries: (table, field) -> value; the rest only a bridge has."""

    name: str
    about: str
    entries: Mapping[tuple[str, str], Entry]
    knife_edge: bool = False
    clamped: bool = False
    strings: int = 6
    hung_with: str = "usual"  # spring pattern
    fitted_with: str = "bolt-on maple"  # neck pattern


@cache
def _read(file: str, name: str) -> Pattern:
    """One pattern of a file of the catalogue, with what it takes over from another."""
    document = load(file)
    given = document.data[name]
    base = _read(file, given["like"]) if "like" in given else Pattern(name, "", MappingProxyType({}))
    entries = dict(base.entries)
    for table, values in given.items():
        if isinstance(values, dict):
            index = LAYOUT.table(table).index
            for key, entry in values.items():
                if key not in index or not entry.get("source"):
                    raise FileFormatError(f"{document.where(name, table, key)}: unknown field or no source; mend it.")
                value = read_field(document, (name, table, key), entry["value"], index[key])
                entries[table, key] = Entry(value, entry["source"])
    names = ("knife_edge", "clamped", "strings", "hung_with", "fitted_with")
    own = {k: given.get(k, getattr(base, k)) for k in names}
    return Pattern(name, given["about"], MappingProxyType(entries), **own)


def _pattern(file: str, what: str, kind: str, where: str) -> Pattern:
    known = load(file).data
    if kind not in known:
        hint = nearest(kind, known) or f"; known: {', '.join(repr(k) for k in known)}."
        raise InputError(f"{where + ': ' if where else ''}there is no {what} pattern {kind[:60]!r}{hint}")
    return _read(file, kind)


def bridge(kind: str, where: str = "") -> Pattern:
    """A bridge pattern with its nut, claw, hooks and temperature behaviour.

    Args:
        kind: its name, one of `bridge_kinds()`.
        where: put in front of messages.
    Returns: the pattern.
    Raises: InputError naming the nearest known kind.
    """
    return _pattern("bridges.toml", "bridge", kind, where)


def neck(kind: str, where: str = "") -> Pattern:
    """A neck pattern.

    Args:
        kind: its name, one of `neck_kinds()`.
        where: put in front of messages.
    Returns: the pattern.
    Raises: InputError naming the nearest known kind.
    """
    return _pattern("necks.toml", "neck", kind, where)


def spring(kind: str, where: str = "") -> Pattern:
    """A spring pattern.

    Args:
        kind: its name, one of `spring_kinds()`.
        where: put in front of messages.
    Returns: the pattern.
    Raises: InputError naming the nearest known kind.
    """
    return _pattern("springs.toml", "spring", kind, where)


def bridge_kinds() -> tuple[str, ...]:
    """Names of the bridge patterns."""
    return tuple(load("bridges.toml").data)


def neck_kinds() -> tuple[str, ...]:
    """Names of the neck patterns."""
    return tuple(load("necks.toml").data)


def spring_kinds() -> tuple[str, ...]:
    """Names of the spring patterns."""
    return tuple(load("springs.toml").data)


def string_set(gauges: Sequence[str | Gauge]) -> Strings:
    """A set of strings from its gauges.

    Args:
        gauges: (S), from the thinnest: ".010", ".026w", or gauges read already.
    Returns: the set as traits.
    Raises: InputError for what is no gauge.
    """
    return strings_from([one if isinstance(one, Gauge) else gauge(one) for one in gauges])
