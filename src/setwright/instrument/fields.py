"""One description of every field of both files: the reader, the schema and the documentation are made from it."""

from __future__ import annotations

from functools import cached_property

from setwright.frozen import frozen

FORMS = {
    "one": "one value",
    "pair": "one value, or [treble, bass]",
    "ends": "one value, or [nut, last fret]",
    "strings": "one value, or one per string from the thinnest",
    "span": "[least, greatest]",
    "point": "[aft of the pivot, below the pivot line]",
    "spread": "one value, outermost to outermost",
    "fan": "one value, or { treble, bass, square }: the scales of the first and the last string of a fanned board, and "
    "the number of the fret that stands square to the centre line, 0 for the nut",
    "list": "a list",
    "notes": 'a list from string 1, or "standard"',
}
STRUCTURES = ("text", "count", "choice", "flag", "fret", "gauges", "patterns", "table", "tables", "frets")


@frozen
class Field:
    """One field of a file.

    key: its name. kind: a quantity (quantities.QUANTITIES) or one of STRUCTURES. doc: what it is, for the docs.
    form: how many values (FORMS). low, high: allowed, in SI. usual: what may stand without confirming. choices: of a
    choice. default: what holds when it is missing, in words. required: must be written. inner: fields of a table.
    learn: how its deviation enters what is known of an instrument ("factor" or "offset", with " each" for every
    element by itself). trait: where it goes in the traits. sign: of the trait against what is written.
    """

    key: str
    kind: str
    doc: str
    form: str = "one"
    low: float = -1e9
    high: float = 1e9
    usual: tuple[float, float] | None = None
    choices: tuple[str, ...] = ()
    default: str = "from the pattern"
    required: bool = False
    inner: tuple[Field, ...] = ()
    learn: str = ""
    trait: str = ""
    sign: float = 1.0


@frozen
class Table:
    """One table of a file: name, what it is about, its fields."""

    name: str
    doc: str
    fields: tuple[Field, ...]
    required: bool = False

    @cached_property
    def index(self) -> dict[str, Field]:
        """Every field by its key."""
        return {f.key: f for f in self.fields}


@frozen
class Layout:
    """One kind of file: its name, what it is, its tables."""

    name: str
    doc: str
    tables: tuple[Table, ...]

    def table(self, name: str) -> Table:
        """The table of that name."""
        return next(t for t in self.tables if t.name == name)


def length(key: str, doc: str, low: float, high: float, **more: object) -> Field:
    """A length field.

    Args:
        key: its name.
        doc: what it is.
        low: least [mm].
        high: greatest [mm].
        more: other members of Field; `usual` in mm.
    Returns: the field, limits in metres.
    """
    if isinstance(usual := more.get("usual"), tuple):
        more["usual"] = (usual[0] / 1000.0, usual[1] / 1000.0)
    return Field(key, "length", doc, low=low / 1000.0, high=high / 1000.0, **more)  # type: ignore[arg-type]
