"""From a TOML document to checked values, field by field, by the table both files share."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from setwright.errors import FileFormatError, InputError, QuestionableError
from setwright.instrument.document import Document, nearest, refuse_unknown, shown, table_at
from setwright.instrument.fields import Field, Layout
from setwright.instrument.locate import Path
from setwright.instrument.quantities import QUANTITIES, Amount, amount
from setwright.instrument.string_sets import STRING_FIELDS, Gauge, gauge
from setwright.metrology.gauges import gauge_named
from setwright.metrology.reading import reading_uncertainty
from setwright.units.pitch import A4
from setwright.units.written import Written

Values = dict[str, Any]  # key -> what `read_field` returned
_LONGEST_TEXT = 2000
_WRAPPED = ("value", "gauge", "sure")
_FAN = ("treble", "bass", "square")
_SQUARE = Field("square", "fret", "Number of the fret that stands square to the centre line.", low=0, high=36)
EXAMPLES = {
    "length": "1.6 mm",
    "turns": "1/4 turn",
    "cents": "2 c",
    "force": "12 N",
    "rate": "3.5 N/mm",
    "angle": "0.5 deg",
    "pitch": "E4",
    "temperature": "20 C",
    "mass": "300 g",
    "unit mass": "0.395 g/m",
    "ratio": "80 %",
    "moment": "2 N m",
    "moment per turn": "1.5 N m/turn",
    "rigidity": "300 N m2",
    "curvature": "0.002 per m",
    "expansion": "11.5 ppm/K",
    "number": "0.2",
    "lead": "M3",
    "place": "fret 16",
}


def read_document(document: Document, layout: Layout) -> dict[str, Values]:
    """Check a document against its layout and read every field.

    Args:
        document: the file.
        layout: its kind.
    Returns: table -> key -> value; a missing table is an empty dict.
    Raises: FileFormatError, InputError.
    """
    refuse_unknown(document, (), document.data, [t.name for t in layout.tables])
    out: dict[str, Values] = {}
    reference = A4
    for table in layout.tables:
        if table.name not in document.data:
            if table.required:
                raise FileFormatError(f"{document.name}: the table [{table.name}] is missing; add it.")
            out[table.name] = {}
            continue
        path: Path = (table.name,)
        out[table.name] = read_table(document, path, document.data[table.name], table.fields, reference)
        if "reference" in out[table.name] and table.index["reference"].kind == "pitch":
            reference = out[table.name]["reference"][0].si  # holds for the tables after it
    return out


def read_table(document: Document, path: Path, given: Any, fields: tuple[Field, ...], reference: float = A4) -> Values:
    """Read the fields of one table.

    Args:
        document: the file.
        path: where the table stands.
        given: what stands there.
        fields: what may stand in it.
        reference: pitch of A4 for note names [Hz], unless the table has its own.
    Returns: key -> value, of the fields that were written.
    Raises: FileFormatError, InputError.
    """
    content = table_at(document, given, path)
    refuse_unknown(document, path, content, [f.key for f in fields])
    own = next((f for f in fields if f.key == "reference" and f.kind == "pitch"), None)
    if own is not None and "reference" in content:
        reference = read_field(document, (*path, "reference"), content["reference"], own)[0].si
    for item in fields:
        if item.required and item.key not in content:
            raise FileFormatError(f"{document.where(*path)}: the field {item.key!r} is missing; {_lower(item.doc)}")
    return {
        item.key: read_field(document, (*path, item.key), content[item.key], item, reference)
        for item in fields
        if item.key in content
    }


def _lower(doc: str) -> str:
    return f"write it ({doc[0].lower()}{doc[1:].rstrip('.')})."


def read_field(document: Document, path: Path, given: Any, item: Field, reference: float = A4) -> Any:
    """Read one field.

    Args:
        document: the file.
        path: where it stands.
        given: what stands there.
        item: the field.
        reference: pitch of A4 for note names [Hz].
    Returns: by kind: str, int, bool, a tuple of Amount (quantities), of Gauge or of int, a dict, a tuple of dicts.
    Raises: FileFormatError, InputError.
    """
    if item.kind in QUANTITIES:
        return _quantities(document, path, given, item, reference)
    return _READERS[item.kind](document, path, given, item)


def _quantities(document: Document, path: Path, given: Any, item: Field, reference: float) -> Any:
    if item.form == "notes" and given == "standard":
        return "standard"
    if item.form == "fan" and isinstance(given, dict) and not set(given) & set(_WRAPPED):
        return _fan(document, path, given, item, reference)
    listed = isinstance(given, list)
    if item.form in ("one", "spread", "fan") and listed:
        raise FileFormatError(f"{document.where(*path)}: one value belongs here, not a list.")
    if item.form in ("list", "notes", "span", "point") and not listed:
        form = {"span": "[least, greatest]", "point": "[aft, below]"}.get(item.form, "a list")
        raise FileFormatError(f"{document.where(*path)}: {shown(given)} stands where {form} belongs.")
    parts = given if listed else [given]
    places = [(*path, i) for i in range(len(parts))] if listed else [path]
    two = item.form in ("pair", "ends", "span", "point")
    if listed and ((two and len(parts) != 2) or not 1 <= len(parts) <= 12):
        raise FileFormatError(
            f"{document.where(*path)}: {len(parts)} values stand where {'2' if two else '1 to 12'} belong."
        )
    read = tuple(_one(document, p, v, item, reference) for p, v in zip(places, parts, strict=True))
    if item.form == "span" and not read[0].si <= read[1].si and not item.key.endswith(("height_room", "length_room")):
        raise FileFormatError(f"{document.where(*path)}: the first value is above the second; write the least first.")
    return read


def _fan(document: Document, path: Path, given: dict[str, Any], item: Field, reference: float) -> tuple[Amount, ...]:
    """Scales of the first and the last string of a fanned board, and the number of its square fret."""
    refuse_unknown(document, path, given, _FAN)
    missing = [key for key in _FAN if key not in given]
    if missing:
        raise FileFormatError(
            f'{document.where(*path)}: {missing[0]} is missing; write {{ treble = "25.5 in", bass = "27 in", '
            "square = 7 }."
        )
    treble, bass = (_one(document, (*path, key), given[key], item, reference) for key in _FAN[:2])
    number = _count(document, (*path, "square"), given["square"], _SQUARE)
    return treble, bass, Amount(float(number), 0.0, False, Written(float(number), "fret", f"fret {number}", 0.0))


def _one(document: Document, path: Path, given: Any, item: Field, reference: float) -> Amount:
    """One quantity: a string, or { value, gauge, sure }."""
    gauge, sure = "", False
    if isinstance(given, dict):
        refuse_unknown(document, path, given, _WRAPPED)
        gauge, sure = given.get("gauge", ""), given.get("sure", False)
        if "value" not in given or not isinstance(gauge, str) or not isinstance(sure, bool):
            form = '{ value = "...", gauge = "...", sure = true }'
            raise FileFormatError(f"{document.where(*path)}: write {form}, value at least.")
        given = given["value"]
    number = isinstance(given, int | float) and not isinstance(given, bool)
    if item.kind == "number" and number:
        given = shown(given)
    if not isinstance(given, str):
        unit = " has no unit; write it in quotes with its unit" if number else " is not a value; write it in quotes"
        raise FileFormatError(f"{document.where(*path)}: {shown(given)}{unit}, for instance {example(item)}.")
    try:
        read = amount(given, item.kind, "", reference)
        if gauge:
            read = _by_gauge(read, item.kind, gauge)
        _within(read, item, sure)
    except InputError as error:  # only now is the place looked up, as that takes a walk through the whole file
        raise type(error)(f"{document.where(*path)}: {error}") from None
    return read


def _by_gauge(read: Amount, kind: str, name: str) -> Amount:
    """A value read with a named gauge: without a ± of its own it is as uncertain as the gauge."""
    known = gauge_named(name)
    if known.kind != kind and (kind, known.kind) != ("pitch", "cents"):
        raise FileFormatError(f"a {name} does not show a {kind}; name another gauge, or write a ±.")
    band = read.band if read.stated else reading_uncertainty(read.written, known)
    return replace(read, band=band, gauge=name)


def example(item: Field) -> str:
    """An example of a quantity, quoted.

    Args:
        item: the field.
    Returns: e.g. '"1.6 mm"'.
    """
    return f'"{EXAMPLES[item.kind]}"'


def _within(read: Amount, item: Field, sure: bool) -> None:
    """Hold a value against the limits of its field."""
    if read.written.unit == "fret":
        return
    text = read.written.text
    if not item.low <= read.si <= item.high:
        raise FileFormatError(f"{text!r} is outside what is possible, {limits(item)}; check number and unit.")
    if read.band > item.high - item.low:
        raise FileFormatError(f"{text!r} has a ± wider than all that is possible, {limits(item)}; check it.")
    if item.usual and not sure and not item.usual[0] <= read.si <= item.usual[1]:
        usual = limits(replace(item, low=item.usual[0], high=item.usual[1]))
        raise QuestionableError(
            f"{text!r} is possible but outside the usual {usual}; check number and unit, or confirm with "
            f'{{ value = "...", sure = true }}.'
        )


_SHOWN_IN = {"length": (1000.0, "mm"), "lead": (1000.0, "mm"), "place": (1000.0, "mm"), "rate": (1e-3, "N/mm"),
             "force": (1.0, "N"), "angle": (57.29577951308232, "deg"), "pitch": (1.0, "Hz"), "cents": (1.0, "c"),
             "ratio": (100.0, "%"), "temperature": (1.0, "K"), "mass": (1000.0, "g"), "moment": (1.0, "N m"),
             "moment per turn": (1.0, "N m/turn"), "rigidity": (1.0, "N m2"), "curvature": (1.0, "per m"),
             "expansion": (1e6, "ppm/K"), "unit mass": (1000.0, "g/m"), "number": (1.0, "")}  # fmt: skip


def limits(item: Field) -> str:
    """The limits of a field in words.

    Args:
        item: a quantity field.
    Returns: e.g. "450 to 1000 mm".
    """
    factor, unit = _SHOWN_IN[item.kind]
    return f"{item.low * factor:g} to {item.high * factor:g} {unit}".rstrip()


def _text(document: Document, path: Path, given: Any, item: Field) -> str:
    if not isinstance(given, str) or not given.strip():
        raise FileFormatError(f"{document.where(*path)}: {shown(given)} stands where words in quotes belong.")
    if len(given) > _LONGEST_TEXT:
        raise FileFormatError(f"{document.where(*path)}: longer than {_LONGEST_TEXT} characters; shorten it.")
    return given.strip()


def _count(document: Document, path: Path, given: Any, item: Field) -> int:
    if not isinstance(given, int) or isinstance(given, bool) or not item.low <= given <= item.high:
        raise FileFormatError(
            f"{document.where(*path)}: {shown(given)} stands where a whole number "
            f"from {item.low:g} to {item.high:g} belongs."
        )
    return given


def _choice(document: Document, path: Path, given: Any, item: Field) -> str:
    if given not in item.choices:
        hint = nearest(given, item.choices) if isinstance(given, str) else ""
        allowed = ", ".join(repr(c) for c in item.choices)
        raise FileFormatError(f"{document.where(*path)}: {shown(given)} is not one of {allowed}{hint or '.'}")
    return str(given)


def _flag(document: Document, path: Path, given: Any, item: Field) -> bool:
    if not isinstance(given, bool):
        raise FileFormatError(f"{document.where(*path)}: {shown(given)} stands where true or false belongs.")
    return given


def _gauges(document: Document, path: Path, given: Any, item: Field) -> tuple[Gauge, ...]:
    if not isinstance(given, list) or not 3 <= len(given) <= 12:
        raise FileFormatError(f'{document.where(*path)}: a set is a list of 3 to 12 gauges, as [".010", ".013", ...].')
    return tuple(_gauge(document, (*path, i), one) for i, one in enumerate(given))


def _gauge(document: Document, path: Path, given: Any) -> Gauge:
    if isinstance(given, str):
        return gauge(given, document.where(*path))
    if not isinstance(given, dict):
        raise FileFormatError(f'{document.where(*path)}: {shown(given)} is not a gauge; write it in quotes, as ".010".')
    values = read_table(document, path, given, STRING_FIELDS)
    measured = {key: value[0] for key, value in values.items() if isinstance(value, tuple)}
    return gauge(values["gauge"], document.where(*path, "gauge"), values.get("wrap", ""), measured)


def _frets(document: Document, path: Path, given: Any, item: Field) -> tuple[int, ...]:
    if not isinstance(given, list) or len(given) != 2:
        raise FileFormatError(f"{document.where(*path)}: {shown(given)} stands where two frets belong, as [1, 17].")
    return tuple(_count(document, (*path, i), one, item) for i, one in enumerate(given))


def _patterns(document: Document, path: Path, given: Any, item: Field) -> dict[int, tuple[int, ...]]:
    out: dict[int, tuple[int, ...]] = {}
    for key, places in table_at(document, given, path).items():
        here = (*path, key)
        right = isinstance(places, list) and all(isinstance(p, int) and not isinstance(p, bool) for p in places)
        if (
            not key.isascii()
            or not key.isdigit()
            or len(key) > 1
            or not right
            or not len(set(places)) == len(places) == int(key)
        ):
            raise FileFormatError(
                f"{document.where(*here)}: write a number of springs and its places, as 3 = [1, 3, 5]."
            )
        if any(not 1 <= p <= 7 for p in places):
            raise FileFormatError(f"{document.where(*here)}: spring places are counted from 1 (treble) to 7.")
        if places:
            out[int(key)] = tuple(sorted(p - 1 for p in places))
    return out


def _table(document: Document, path: Path, given: Any, item: Field) -> Values:
    return read_table(document, path, given, item.inner)


def _tables(document: Document, path: Path, given: Any, item: Field) -> tuple[Values, ...]:
    if not isinstance(given, list) or len(given) > 40:
        raise FileFormatError(
            f"{document.where(*path)}: {shown(given)} stands where a list of tables [{{...}}] belongs."
        )
    return tuple(read_table(document, (*path, i), one, item.inner) for i, one in enumerate(given))


_READERS = {
    "text": _text,
    "count": _count,
    "fret": _count,
    "choice": _choice,
    "flag": _flag,
    "gauges": _gauges,
    "frets": _frets,
    "patterns": _patterns,
    "table": _table,
    "tables": _tables,
}
