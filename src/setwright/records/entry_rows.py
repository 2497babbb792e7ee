"""Entries of a journal as rows of a table, and back without loss."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict
from datetime import datetime
from typing import Any

from setwright.metrology.reading import Convention, Place, State
from setwright.records.entries import Entry, Value
from setwright.records.rows import as_json

_VALUE = {"kind": "kind", "written": "written", "unit": "unit", "si": "si", "standard_uncertainty": "uncertainty"}
_PLAIN = ("number", "verb", "what", "way", "gauge", "sure", "who", "recording", "sha256", "strikes", "text")
_PLACE = ("string", "fret", "side", "harmonic")


def row_of(visit: str, entry: Entry, line: str, before: bytes | None) -> dict[str, Any]:
    """The row of an entry.

    Args:
        visit: its id.
        entry: with its number; `struck_by` and `line` follow from the rows around it and are not kept.
        line: its line in the journal's text, without the line end.
        before: what stands between the entry before it and its line; None only where their numbers follow each other.
    Returns: column -> value.
    """
    row = {name: getattr(entry, name) for name in _PLAIN} | {name: getattr(entry.place, name) for name in _PLACE}
    for name in ("value", "heard"):
        value = getattr(entry, name)
        row |= {f"{name}_{column}": getattr(value, field, None) for field, column in _VALUE.items()}
    convention, state = entry.convention, entry.state
    return row | {
        "visit": visit,
        "at": entry.when.isoformat(sep=" ", timespec="seconds"),
        "convention": None if convention == Convention() else as_json(asdict(convention)),
        "state": None if state is None else as_json(asdict(state)),
        "said": as_json(entry.said) if entry.said else None,
        "line": line,
        "before": before,
    }


def entry_of(row: Mapping[str, Any], struck_by: int | None = None, line: int = 0) -> Entry:
    """The entry of a row.

    Args:
        row: column -> value.
        struck_by: number of the entry that strikes it.
        line: of the journal's text, from 1.
    Returns: the entry.
    """
    return Entry(
        when=datetime.fromisoformat(row["at"]),
        **{name: row[name] for name in _PLAIN},
        value=_value(row, "value"),
        heard=_value(row, "heard"),
        place=Place(**{name: row[name] for name in _PLACE}),
        convention=Convention() if row["convention"] is None else Convention(**json.loads(row["convention"])),
        state=None if row["state"] is None else State(**json.loads(row["state"])),
        said=() if row["said"] is None else tuple(json.loads(row["said"])),
        struck_by=struck_by,
        line=line,
    )


def _value(row: Mapping[str, Any], name: str) -> Value | None:
    if row[f"{name}_kind"] is None:
        return None
    return Value(**{field: row[f"{name}_{column}"] for field, column in _VALUE.items()})
