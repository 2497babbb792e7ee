"""JSON Schema of both files, and the tables of their documentation: made from the fields the reader reads by."""

from __future__ import annotations

from typing import Any

from setwright.errors import InputError
from setwright.instrument import catalogue, instrument_fields, job_fields
from setwright.instrument.fields import FORMS, Field, Layout, Table
from setwright.instrument.quantities import QUANTITIES
from setwright.instrument.reading import EXAMPLES, limits
from setwright.instrument.string_sets import STRING_FIELDS
from setwright.metrology.gauges import GAUGES

DIALECT = "https://json-schema.org/draft/2020-12/schema"
LAYOUTS = {"instrument": instrument_fields.LAYOUT, "job": job_fields.LAYOUT}
_TWO = ("pair", "ends", "span", "point")
_LISTED = ("span", "point", "list", "notes")

Node = dict[str, Any]


def layout(kind: str) -> Layout:
    """The layout of a kind of file.

    Args:
        kind: "instrument" or "job".
    Returns: its tables and fields.
    Raises: InputError for another kind.
    """
    if kind not in LAYOUTS:
        raise InputError(f"there is no file of kind {kind!r}; there are: {', '.join(LAYOUTS)}.")
    return LAYOUTS[kind]


def schema(kind: str) -> Node:
    """JSON Schema (draft 2020-12) of a file, as it stands once TOML is read.

    Args:
        kind: "instrument" or "job".
    Returns: the schema.
    Raises: InputError for another kind.
    """
    what = layout(kind)
    return {
        "$schema": DIALECT,
        "title": f"Setwright {what.name} file",
        "description": what.doc,
        **_object(
            {t.name: _object_of(t.fields, t.doc) for t in what.tables}, [t.name for t in what.tables if t.required]
        ),
        "$defs": {"quantity": _quantity(), "string": _string()},
    }


def _object(properties: Node, required: list[str]) -> Node:
    node: Node = {"type": "object", "additionalProperties": False, "properties": properties}
    return {**node, "required": required} if required else node


def _object_of(fields: tuple[Field, ...], doc: str = "") -> Node:
    node = _object({f.key: _field(f) for f in fields}, [f.key for f in fields if f.required])
    return {"description": doc, **node} if doc else node


def _quantity() -> Node:
    text = {"type": "string", "minLength": 1, "maxLength": 60}
    value = {**text, "description": "A number with its unit, with or without ±."}
    gauge = {"enum": sorted(GAUGES), "description": "What it was read with."}
    sure = {"type": "boolean", "description": "Confirms a value outside the usual range."}
    return {"anyOf": [value, _object({"value": text, "gauge": gauge, "sure": sure}, ["value"])]}


def _string() -> Node:
    gauge = {"type": "string", "minLength": 1, "description": "A gauge, with w when wound: .010, .026w."}
    return {"anyOf": [gauge, _object_of(STRING_FIELDS)]}


def _field(item: Field) -> Node:
    """Schema of one field."""
    node: Node = {"description": item.doc, "default": item.default}
    if item.required:
        del node["default"]
    if item.kind in QUANTITIES:
        return {**node, **_values(item)}
    return {**node, **_structure(item)}


def _values(item: Field) -> Node:
    one: Node = {"$ref": "#/$defs/quantity"}
    if item.kind == "number":
        one = {"anyOf": [one, {"type": "number"}]}
    if item.form in ("one", "spread"):
        return one
    if item.form == "fan":
        square: Node = {"type": "integer", "minimum": 0, "maximum": 36}
        fan = {"treble": one, "bass": one, "square": square}
        return {"anyOf": [one, _object(fan, list(fan))]}
    size = {"minItems": 2, "maxItems": 2} if item.form in _TWO else {"minItems": 1, "maxItems": 12}
    many: Node = {"type": "array", "items": one, **size}
    if item.form == "notes":
        return {"anyOf": [{"const": "standard"}, many]}
    return many if item.form in _LISTED else {"anyOf": [one, many]}


def _structure(item: Field) -> Node:
    count: Node = {"type": "integer", "minimum": item.low, "maximum": item.high}
    places: Node = {"type": "array", "items": {"type": "integer", "minimum": 1, "maximum": 7}, "uniqueItems": True}
    nodes: dict[str, Node] = {
        "text": {"type": "string", "minLength": 1, "maxLength": 2000},
        "count": count,
        "fret": count,
        "frets": {"type": "array", "items": count, "minItems": 2, "maxItems": 2},
        "choice": {"enum": list(item.choices)},
        "flag": {"type": "boolean"},
        "gauges": {"type": "array", "items": {"$ref": "#/$defs/string"}, "minItems": 3, "maxItems": 12},
        "patterns": {"type": "object", "patternProperties": {"^[0-9]$": places}, "additionalProperties": False},
        "table": _object_of(item.inner),
        "tables": {"type": "array", "items": _object_of(item.inner), "maxItems": 40},
    }
    return nodes[item.kind]


def with_tables(page: str) -> str:
    """The page docs/file-formats.md with its tables of fields made anew.

    Args:
        page: Markdown with marks, one per line: <!-- fields: job -->, <!-- fields: instrument -->,
            <!-- fields: string -->, <!-- gauges -->, <!-- kinds -->, each closed by <!-- end -->.
    Returns: the page, text between the marks replaced.
    """
    made = {f"fields: {kind}": "\n".join(_markdown_table(t) for t in what.tables) for kind, what in LAYOUTS.items()}
    made["fields: string"] = "\n".join(_field_rows(STRING_FIELDS))
    made["gauges"] = "\n".join(f"- `{g.name}` ({g.kind})" for g in GAUGES.values())
    made["kinds"] = "\n".join(_kinds())
    for mark, text in made.items():
        before, opening, rest = page.partition(f"<!-- {mark} -->")
        _, closing, after = rest.partition("<!-- end -->")
        if closing:
            page = f"{before}{opening}\n\n{text.strip()}\n\n{closing}{after}"
    return page


def _kinds() -> list[str]:
    """Lists of the patterns of the catalogue."""
    patterns = {"bridge": catalogue.bridge, "neck": catalogue.neck, "spring": catalogue.spring}
    names = {
        "bridge": catalogue.bridge_kinds(),
        "neck": catalogue.neck_kinds(),
        "spring": catalogue.spring_kinds(),
    }
    return [f"- {what} `{n}`: {patterns[what](n).about}" for what, each in names.items() for n in each]


def _markdown_table(table: Table) -> str:
    must = " Required." if table.required else ""
    return "\n".join([f"### [{table.name}]", "", f"{table.doc}{must}", "", *_field_rows(table.fields), ""])


def _field_rows(fields: tuple[Field, ...]) -> list[str]:
    head = ["| field | what | how | allowed | if missing |", "|---|---|---|---|---|"]
    return head + [row for item in fields for row in _rows(item, "")]


def _rows(item: Field, under: str) -> list[str]:
    name = f"{under}{item.key}"
    missing = "must be written" if item.required else item.default
    row = f"| `{name}` | {item.doc.rstrip('.')} | {_how(item)} | {_allowed(item)} | {missing} |"
    return [row, *(inner for f in item.inner for inner in _rows(f, f"{name}."))]


def _how(item: Field) -> str:
    if item.kind in QUANTITIES:
        form = "" if item.form == "one" else f"; {FORMS[item.form]}"
        return f"{item.kind}, `{EXAMPLES[item.kind]}`{form}"
    words = {
        "text": "words",
        "count": "whole number",
        "fret": "fret number",
        "frets": "two fret numbers",
        "choice": "one of the words",
        "flag": "true or false",
        "gauges": "list of gauges or strings",
        "patterns": "table",
        "table": "table",
        "tables": "list of tables",
    }
    return words[item.kind]


def _allowed(item: Field) -> str:
    if item.kind == "choice":
        return ", ".join(f'"{c}"' for c in item.choices)
    if item.kind in ("count", "fret", "frets"):
        return f"{item.low:g} to {item.high:g}"
    return limits(item) if item.kind in QUANTITIES else ""
