"""The instrument file: what a technician knows of one instrument, checked, with the patterns it leans on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any

from setwright.errors import ContradictionError, FileFormatError
from setwright.instrument import catalogue
from setwright.instrument.catalogue import Entry, Pattern
from setwright.instrument.document import Document, from_bytes, from_path
from setwright.instrument.instrument_fields import LAYOUT
from setwright.instrument.quantities import amount
from setwright.instrument.reading import Values, read_document

USUAL = "usual for the kind, no source"
_ONLY_KNIFE = ("springs", "claw")


@dataclass(frozen=True)
class InstrumentFile:
    """One instrument as its file tells it.

    given: (table, field) -> value, as `reading.read_field` returns it, of the fields that were written. bridge, neck,
    springs: the patterns that fill the rest. places: (table, field) -> where it stands, for messages.
    """

    file: str
    name: str
    strings: int
    frets: int
    handed: str
    notes: str
    bridge: Pattern
    neck: Pattern
    springs: Pattern
    given: Mapping[tuple[str, str], Any]
    places: Mapping[tuple[str, str], str]

    def entry(self, table: str, key: str) -> tuple[Entry, bool]:
        """A field's value with its source, and whether it was typed (else it is from the catalogue)."""
        if (table, key) in self.given:
            return Entry(self.given[table, key], "typed"), True
        for pattern in (self.springs, self.neck, self.bridge):
            if (table, key) in pattern.entries:
                return pattern.entries[table, key], False
        return _USUAL[table, key], False

    def place(self, table: str, key: str) -> str:
        """Where a field stands, or the file when it was not written."""
        return self.places.get((table, key), self.file)


_USUAL = MappingProxyType(
    {
        ("instrument", "radius"): Entry((amount("12 in ± 0.5 in", "length"),), USUAL),
        ("instrument", "fret_height"): Entry((amount("1.1 mm ± 0.15 mm", "length"),), USUAL),
    }
)


def read_instrument(path: Path | str) -> InstrumentFile:
    """Read an instrument file.

    Args:
        path: where it is.
    Returns: the instrument.
    Raises: FileFormatError, InputError: one sentence with file, line and field.
    """
    return instrument_from(from_path(Path(path)))


def instrument_from_bytes(raw: bytes, name: str) -> InstrumentFile:
    """Read an instrument from the bytes of its file.

    Args:
        raw: TOML in UTF-8.
        name: what messages call it.
    Returns: the instrument.
    Raises: FileFormatError, InputError.
    """
    return instrument_from(from_bytes(raw, name))


def instrument_from(document: Document) -> InstrumentFile:
    """Check an instrument document.

    Args:
        document: the file.
    Returns: the instrument.
    Raises: FileFormatError, InputError.
    """
    tables = read_document(document, LAYOUT)
    known = tables["instrument"]
    given = {(t, k): v for t, values in tables.items() for k, v in values.items()}
    places = {(t, k): document.where(t, k) for t, k in given}
    bridge = catalogue.bridge(tables["bridge"]["kind"], document.where("bridge", "kind"))
    neck = catalogue.neck(tables["neck"].get("kind", bridge.fitted_with), document.where("neck", "kind"))
    springs = catalogue.spring(tables["springs"].get("kind", bridge.hung_with), document.where("springs", "kind"))
    read = InstrumentFile(
        file=document.name,
        name=known["name"],
        strings=known.get("strings", bridge.strings),
        frets=known.get("frets", 22),
        handed=known.get("handed", "right"),
        notes=known.get("notes", ""),
        bridge=bridge,
        neck=neck,
        springs=springs,
        given=MappingProxyType(given),
        places=MappingProxyType(places),
    )
    _check_counts(document, read)
    _check_sense(document, read, tables)
    return read


def _check_counts(document: Document, read: InstrumentFile) -> None:
    """One value per string where there is a list, spring places that exist."""
    for (table, key), value in read.given.items():
        item = LAYOUT.table(table).index[key]
        if item.form == "strings" and len(value) not in (1, read.strings):
            raise FileFormatError(
                f"{document.where(table, key)}: {len(value)} values for {read.strings} strings; "
                "write one, or one per string."
            )
    places = read.entry("springs", "places")[0].value
    for count, used in read.entry("springs", "patterns")[0].value.items():
        if max(used) >= places:
            raise FileFormatError(
                f"{document.where('springs', 'patterns')}: {count} springs use place {max(used) + 1}, but there are "
                f"only {places} places; mend patterns or places."
            )


def _check_sense(document: Document, read: InstrumentFile, tables: dict[str, Values]) -> None:
    """Values that cannot all be true."""
    given = read.given
    if not read.bridge.knife_edge:
        for table in _ONLY_KNIFE:
            if tables[table]:
                raise ContradictionError(
                    f"{document.where(table)}: {read.bridge.name!r} is a fixed bridge and has none; "
                    f"leave out [{table}]."
                )
    for one, other in (("saddle_aft", "compensation"), ("saddle_aft", "reach"), ("pivot_place", "reach")):
        if ("bridge", one) in given and ("bridge", other) in given:
            raise ContradictionError(
                f"{document.where('bridge', one)}: {one} and {other} say the same thing twice; leave one of them out."
            )
    scale = given["instrument", "scale"][0].si
    if ("bridge", "pivot_place") in given and not 0.8 * scale < given["bridge", "pivot_place"][0].si < 1.1 * scale:
        raise ContradictionError(
            f"{document.where('bridge', 'pivot_place')}: the pivot is not near the scale length; check it."
        )
    for key in ("mouth", "joint"):
        if ("neck", key) in given and given["neck", key][0].written.unit != "fret":
            share, text = given["neck", key][0].si / scale, given["neck", key][0].written.text
            if not 0.4 <= share <= 0.8:
                raise ContradictionError(
                    f"{document.where('neck', key)}: {text!r} is not between 0.4 and 0.8 of the scale length, "
                    "where necks join bodies; check it."
                )
