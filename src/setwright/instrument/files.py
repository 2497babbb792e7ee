"""The instrument file: what a technician knows of one instrument, checked, with the patterns it leans on."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np

from setwright.errors import ContradictionError, FileFormatError, RangeError
from setwright.frozen import frozen
from setwright.instrument import catalogue
from setwright.instrument.catalogue import Entry, Pattern
from setwright.instrument.document import Document, from_bytes, from_path
from setwright.instrument.fan import fan_at_bridge
from setwright.instrument.instrument_fields import LAYOUT
from setwright.instrument.quantities import Amount, amount
from setwright.instrument.reading import Values, read_document
from setwright.physics.frets import fret_slope
from setwright.units.written import Written

FANNED_BY = 1.25  # scale of the last string over the first's at most; wider fans are no board
USUAL = "usual for the kind, no source"
OFF_THE_FAN = 0.010  # m, a saddle that stands farther off its string's scale belongs to another board
_ONLY_KNIFE = ("springs", "claw")


@frozen
class Fan:
    """Fanned frets as written."""

    treble: float  # m, scale of the first string
    bass: float  # m, scale of the last
    square: int  # number of the fret square to the centre line, 0 for the nut


@frozen
class InstrumentFile:
    """One instrument as its file tells it.

    given: (table, field) -> value, as `reading.read_field` returns it, of the fields that were written. bridge, neck,
    springs: the patterns that fill the rest. places: (table, field) -> where it stands, for messages. fan: None where
    all strings share one scale; else `given` holds the scale of the centre line.
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
    fan: Fan | None = None

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
    fan = _fan(document, known["scale"])
    if fan is not None:
        given["instrument", "scale"] = (_middle(*known["scale"]),)
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
        fan=fan,
    )
    _check_counts(document, read)
    _check_sense(document, read, tables)
    _check_fan(document, read)
    return read


def _fan(document: Document, scale: tuple[Amount, ...]) -> Fan | None:
    """The fan of scales, None where they are one."""
    if len(scale) == 1:
        return None
    treble, bass, square = scale
    if not treble.si <= bass.si <= FANNED_BY * treble.si:
        raise ContradictionError(
            f"{document.where('instrument', 'scale')}: {treble.written.text!r} and {bass.written.text!r} are no fan; "
            f"the bass scale is the longer one, by at most {100.0 * (FANNED_BY - 1.0):.0f} %: check both."
        )
    return Fan(treble.si, bass.si, int(square.si))


def _middle(treble: Amount, bass: Amount, square: Amount) -> Amount:
    """Scale on the centre line, half way between the outer strings."""
    si, text = (
        0.5 * (treble.si + bass.si),
        f"{treble.written.text} to {bass.written.text}, {square.written.text} square",
    )
    written = Written(si, treble.written.unit, text, treble.written.resolution_si, treble.written.as_fraction)
    return Amount(si, 0.5 * math.hypot(treble.band, bass.band), treble.stated or bass.stated, written)


def _check_fan(document: Document, read: InstrumentFile) -> None:
    """What a fanned board asks of its file: frets that are no steeper than 45 degrees, and saddles that go with it."""
    if read.fan is None:
        return
    fan, where = read.fan, document.where("instrument", "scale")
    spreads = [read.entry(table, "string_spread")[0].value[0].si for table in ("nut", "bridge")]
    try:
        fret_slope([0, read.frets], fan.bass - fan.treble, fan.square, *spreads)
    except RangeError as error:
        raise ContradictionError(f"{where}: {error}; check both scales, the square fret and the spreads.") from None
    aft = read.given.get(("bridge", "saddle_aft"))
    if read.bridge.knife_edge and (aft is None or len(aft) != read.strings):
        raise ContradictionError(
            f"{where}: a knife edge stands square to the centre line and its pattern knows no fanned saddles; measure "
            "every saddle from the pivot line and write bridge.saddle_aft, one for each string."
        )
    if aft is not None:
        row = np.array([one.si for one in aft]) if len(aft) > 1 else np.full(read.strings, aft[0].si)
        due = fan_at_bridge(fan.bass - fan.treble, fan.square, np.linspace(-0.5, 0.5, read.strings))
        off = np.abs(row - row.mean() - due)
        if off.max() > OFF_THE_FAN:
            raise ContradictionError(
                f"{document.where('bridge', 'saddle_aft')}: saddle {int(off.argmax()) + 1} stands "
                f"{1e3 * off.max():.0f} mm off the fan of the scales; measure it again, or check the scales."
            )


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
