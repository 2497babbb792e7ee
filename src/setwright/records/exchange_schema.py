"""The layout of an exported shop, made from the tables: how a row is spelled, read again and described.

One line of JSON for each row, its fields in the order of their names. Numbers are written so that reading them gives
the same number; minus zero becomes zero, since not every engine keeps it. Bytes are base64.
"""

from __future__ import annotations

import base64
import binascii
import json
import math
import re
from collections.abc import Callable, Sequence
from pathlib import PurePath
from typing import Any, NoReturn

from sqlalchemy import CheckConstraint, Column, Table

from setwright.errors import FileFormatError
from setwright.frozen import frozen
from setwright.records.ids import LENGTH, SIGNS, is_id
from setwright.records.tables import (
    CONTENT_PART,
    DEVICE,
    METADATA,
    PAIRING,
    PIN,
    REFUSED_TRY,
    SITTING,
    VISIT_SUMMARY,
    VISIT_VALUE,
)

LAYOUT = "setwright shop"
VERSION = 1
DIALECT = "https://json-schema.org/draft/2020-12/schema"
SHA256 = re.compile(r"[0-9a-f]{64}")
LEFT_OUT = (  # those bytes are files; summaries are made anew; nobody comes in with what was exported
    CONTENT_PART.name, VISIT_SUMMARY.name, VISIT_VALUE.name, PIN.name, PAIRING.name, DEVICE.name, SITTING.name,
    REFUSED_TRY.name,
)  # fmt: skip
ABOUT = {
    "shop": "The shop itself, one row.",
    "person": "People who work here.",
    "owner": "Owners: what is needed to call them.",
    "document": "Texts kept verbatim by the SHA-256 of their bytes in UTF-8: instrument files, job files, beliefs.",
    "instrument": "Instruments; file names a document.",
    "specification": "House specifications, each version a row.",
    "specification_item": "What a specification holds; limits in SI units, place and convention as JSON text.",
    "visit": "Visits of instruments; tail is what follows the last entry in the journal's text, belief"
    " names a document with what was learned of the instrument.",
    "entry": "Entries of journals; before is what stands between the entry before and this line.",
    "step": "Steps planned and done; advice is JSON text.",
    "part": "Parts in stock.",
    "stock_movement": "Parts that came, were counted, used or returned; the stock is the sum.",
    "content": "Files kept, each under contents/ by its SHA-256.",
    "attachment": "Files of instruments and visits, each naming a content.",
    "climate": "Readings of the air; temperature in kelvin, humidity from 0 to 1.",
    "sheet": "Sheets handed over; data is JSON text, sha256 that of the PDF.",
    "change": "Who changed what row when; before and after are JSON text.",
    "person_role": "What people may do, technicians where nothing is said. PINs and benches let in stay behind.",
    "audit": "Who was let in, signed in or refused, and who changed who may do what.",
}
_LIMITS = {"INTEGER": 2**31, "BIGINT": 2**63}
_FILE_NAMES = {
    ("attachment", "name"), ("visit", "job_name"), ("visit", "instrument_name"), ("visit", "journal_name"),
    ("instrument", "file_name"),
}  # fmt: skip
_ENCODE = json.JSONEncoder(ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode
_NODES: dict[type, dict[str, Any]] = {
    str: {"type": "string", "pattern": "^[^\\u0000]*$"},
    float: {"type": "number"},
    bool: {"type": "boolean"},
    bytes: {"type": "string", "contentEncoding": "base64"},
}
Node = dict[str, Any]


@frozen
class Fields:
    """How rows of a table are written. names: of its columns in the order of the letters; key: those by which lines
    are sorted; spelled: those whose values JSON does not hold as they are."""

    table: Table
    names: tuple[str, ...]
    key: tuple[str, ...]
    spelled: tuple[str, ...]

    def line(self, row: Sequence[Any]) -> bytes:
        """The line of a row.

        Args:
            row: its values, in the order of `names`.
        Returns: the line with its end.
        Raises: FileFormatError for a number that is none.
        """
        said: dict[str, Any] = dict(zip(self.names, row, strict=True))
        for name in self.spelled:
            said[name] = _plain(said[name])
        try:
            return f"{_ENCODE(said)}\n".encode()
        except (ValueError, UnicodeEncodeError):
            raise FileFormatError(
                f"table {self.table.name}: a row cannot be written ({_short(said)}); run setwright shop check."
            ) from None


def fields_of(table: Table) -> Fields:
    """How rows of a table are written.

    Args:
        table: of the shop.
    Returns: the fields.
    """
    spelled = tuple(one.name for one in table.columns if one.type.python_type in (float, bytes))
    key = tuple(one.name for one in table.primary_key.columns)
    return Fields(table, tuple(sorted(table.columns.keys())), key, spelled)


def _plain(value: Any) -> Any:
    kind = type(value)
    if kind is float:
        return value + 0.0
    return base64.b64encode(value).decode() if kind is bytes else value


class WrongError(ValueError):
    """What is wrong with a line, as the end of a sentence."""


class Reader:
    """Reads the lines of one table, each checked: the fields it must have, of the kind they are, in rising order."""

    def __init__(self, table: Table) -> None:
        self.name = table.name
        self.columns = tuple((one.name, _value_of(table.name, one)) for one in table.columns)
        self.known = frozenset(table.columns.keys())
        self.places = tuple(list(table.columns.keys()).index(one.name) for one in table.primary_key.columns)
        self.last: tuple[Any, ...] | None = None

    def row(self, line: bytes) -> list[Any]:
        """The row of a line.

        Args:
            line: with its end.
        Returns: values in the order of the table's columns.
        Raises: WrongError.
        """
        if not line.endswith(b"\n"):
            raise WrongError("the line has no end, the file is cut off")
        said = parse(line)
        if type(said) is not dict:
            raise WrongError("the line is no JSON object")
        if said.keys() != self.known:
            raise WrongError(_odd(said, self.known))
        if b"\\u" in line:
            _check_signs(said)
        row = [value(said[name]) for name, value in self.columns]
        key = tuple([row[i] for i in self.places])
        if self.last is not None and key <= self.last:
            raise WrongError("the row stands twice or out of order")
        self.last = key
        return row


def parse(raw: bytes) -> Any:
    """JSON, read strictly: no field twice, no number that is none.

    Args:
        raw: in UTF-8.
    Returns: plain data.
    Raises: WrongError.
    """
    try:
        return _DECODE(raw.decode("utf-8"))
    except UnicodeDecodeError:
        raise WrongError("the line is no text in UTF-8") from None
    except WrongError:
        raise
    except (ValueError, RecursionError):
        raise WrongError("the line is no JSON") from None


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    out = dict(pairs)
    if len(out) != len(pairs):
        raise WrongError("a field stands twice in it")
    return out


def _no_number(word: str) -> NoReturn:
    raise WrongError(f"{word} is no number")


_DECODE = json.JSONDecoder(object_pairs_hook=_once, parse_constant=_no_number).decode


def _check_signs(said: dict[str, Any]) -> None:
    for name, value in said.items():
        if type(value) is str and ("\0" in value or any("\ud800" <= sign <= "\udfff" for sign in value)):
            raise WrongError(f"field {name} holds a sign that is no letter (NUL or half of one)")


def _odd(said: dict[str, Any], known: frozenset[str]) -> str:
    more, less = sorted(said.keys() - known), sorted(known - said.keys())
    return f"the field {_short(more[0])} is not known" if more else f"the field {_short(less[0])} is missing"


def _value_of(table: str, column: Column[Any]) -> Callable[[Any], Any]:
    """What makes a value of a column out of one of JSON, or raises WrongError."""
    kind, needed, name = column.type.python_type, not column.nullable, column.name
    check = _check_of(table, column)
    most = _LIMITS.get(str(column.type).upper(), 2**31)

    def value(given: Any) -> Any:
        if given is None and not needed:
            return None
        if kind is float and type(given) in (float, int):
            given = _number(given, name)
        elif kind is bytes and type(given) is str:
            given = _bytes(given, name)
        if type(given) is not kind or (kind is int and not -most <= given < most):
            raise WrongError(f"field {name} is {_short(given)}, which is no {_WORDS[kind]}")
        if check is not None and not check(given):
            raise WrongError(f"field {name} cannot be {_short(given)}")
        return given

    return value


_WORDS = {str: "text", int: "whole number in range", float: "number", bool: "true or false", bytes: "base64"}


def _number(given: float, name: str) -> float:
    try:
        out = float(given) + 0.0
    except OverflowError:
        out = math.inf
    if not math.isfinite(out):
        raise WrongError(f"field {name} is too large for a number")
    return out


def _bytes(given: str, name: str) -> bytes:
    try:
        return base64.b64decode(given, validate=True)
    except (binascii.Error, ValueError):
        raise WrongError(f"field {name} is no base64") from None


def _check_of(table: str, column: Column[Any]) -> Callable[[str], bool] | None:
    """What else a text must be: an id, a hash, the name of a file without folders."""
    if column.name == "id":
        return is_id
    if column.primary_key and column.name == "sha256":
        return lambda text: SHA256.fullmatch(text) is not None
    if (table, column.name) in _FILE_NAMES:
        return _is_file_name
    return None


def _is_file_name(text: str) -> bool:
    return PurePath(text).name == text and text not in ("", "..") and "\\" not in text


def _short(value: Any) -> str:
    text = value if isinstance(value, str) else repr(value)
    return repr(text if len(text) <= 40 else f"{text[:37]}...")


def schema() -> Node:
    """JSON Schema (draft 2020-12) of the manifest, and under $defs of one line of each table.

    Returns: the schema.
    """
    tables = {one.name: one for one in METADATA.sorted_tables if one.name not in LEFT_OUT}
    sha256 = {"type": "string", "pattern": f"^{SHA256.pattern}$"}
    count = {"type": "integer", "minimum": 0}
    table = _object({"rows": count, "sha256": sha256})
    return {
        "$schema": DIALECT,
        "title": "Setwright shop, exported",
        "description": "manifest.json of an exported shop; $defs holds the schema of one line of tables/NAME.jsonl.",
        **_object({
            "layout": {"const": LAYOUT},
            "version": {"const": VERSION},
            "schema": {"type": "string", "description": "Of the tables."},
            "shop": {"type": "string", "description": "Its name."},
            "owner": {"type": ["string", "null"], "description": "Id, where the data of one owner alone are here."},
            "tables": _object(dict.fromkeys(sorted(tables), table)),
            "contents": _object({"files": count, "bytes": count}),
            "sha256": {**sha256, "description": "Of the line 'SHA-256, two blanks, path' of every table, by path."},
        }),
        "$defs": {name: _row(tables[name]) for name in sorted(tables)},
    }  # fmt: skip


def _object(properties: Node) -> Node:
    return {
        "type": "object", "additionalProperties": False, "properties": properties, "required": sorted(properties),
    }  # fmt: skip


def _row(table: Table) -> Node:
    checks = sorted(str(one.sqltext) for one in table.constraints if isinstance(one, CheckConstraint))
    rules = f" It holds that {'; '.join(checks)}." if checks else ""
    key = ", ".join(one.name for one in table.primary_key.columns)
    about = f"{ABOUT[table.name]} Sorted by {key}.{rules}"
    return {
        "description": about,
        **_object({name: _field(table, table.columns[name], checks) for name in sorted(table.columns.keys())}),
    }


def _field(table: Table, column: Column[Any], checks: Sequence[str]) -> Node:
    kind = column.type.python_type
    most = _LIMITS.get(str(column.type).upper(), 2**31)
    node = dict(_NODES.get(kind) or {"type": "integer", "minimum": -most, "maximum": most - 1})
    if column.name == "id":
        node["pattern"] = f"^[{SIGNS}]{{{LENGTH}}}$"
    elif column.primary_key and column.name == "sha256":
        node["pattern"] = f"^{SHA256.pattern}$"
    for one in column.foreign_keys:
        node["description"] = f"Names a row of {one.column.table.name}."
    for rule in checks:
        if found := re.fullmatch(rf"{column.name} IN \((.*)\)", rule):
            node["enum"] = [word.strip(" '") for word in found[1].split(",")]
    if column.nullable:
        node["type"] = [node["type"], "null"]
    return node
