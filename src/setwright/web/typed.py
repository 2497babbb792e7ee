"""What is typed into a field: a bare number gets the unit that stands beside the field."""

from __future__ import annotations

import re

from setwright.units.show import System

_BARE = re.compile(r"[-+−]?\s?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:\s*(?:±|\+\s?/?\s?-)\s*(?:\d+(?:[.,]\d*)?|[.,]\d+))?")
_FRACTION = re.compile(r"(?:\d+\s+)?\d+(?:[.,]\d+)?\s?/\s?\d+")
FRACTIONS = ("turn", "in")  # units that are told in fractions
UNITS = {
    "length": ("mm", "in", "thou"), "pitch": ("c", "Hz"), "cents": ("c",), "temperature": ("C", "F"), "ratio": ("%",),
    "turns": ("turn",), "thou": ("mm", "in", "thou"), "hertz": ("Hz", "c"), "count": (), "": (),
}  # fmt: skip
OTHER = {"inch": ("mm", "cm", "m"), "mm": ("in", "thou")}  # lengths that are no reader's of this system


def completed(text: str, unit: str) -> str:
    """A value with its unit.

    Args:
        text: as typed; a fraction over 8 to 64 is inches by itself.
        unit: of bare numbers.
    Returns: e.g. "1.6 mm", "5/8 turn"; what is not a bare number stays as it is.
    """
    plain = " ".join(text.split())
    bare = _BARE.fullmatch(plain) or (unit in FRACTIONS and _FRACTION.fullmatch(plain))
    return f"{plain} {unit}".strip() if bare else plain


def unit_of(kind: str, chosen: str, system: System) -> str:
    """The unit beside a field.

    Args:
        kind: of the value.
        chosen: by the reader, "" where nothing was.
        system: "inch" or "mm".
    Returns: one of `UNITS[kind]`, "" where a kind has none.
    """
    known = UNITS.get(kind, ())
    if chosen in known:
        return chosen
    usual = {"length": ("mm", "in"), "thou": ("mm", "in"), "temperature": ("C", "F")}.get(kind)
    if usual is not None:
        return usual[system == "inch"]
    return known[0] if known else ""
