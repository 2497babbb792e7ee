"""Reading a value with a tolerance or an uncertainty beside it: 2.6 ± 0.25 mm, 0 to 10 c."""

from __future__ import annotations

import re
from collections.abc import Callable
from types import MappingProxyType

from setwright.errors import InputError
from setwright.units.pitch import A4, read_pitch
from setwright.units.read import (
    find_unit,
    read_angle,
    read_cents,
    read_force,
    read_length,
    read_mass,
    read_rate,
    read_ratio,
    read_temperature,
    read_turns,
    read_unit_mass,
)
from setwright.units.tables import kind_named
from setwright.units.written import Written, at, clean, read_number, to_float

READERS: MappingProxyType[str, Callable[[str, str], Written]] = MappingProxyType(
    {
        "length": read_length,
        "turns": read_turns,
        "cents": read_cents,
        "force": read_force,
        "rate": read_rate,
        "angle": read_angle,
        "pitch": read_pitch,
        "temperature": read_temperature,
        "mass": read_mass,
        "unit mass": read_unit_mass,
        "ratio": read_ratio,
    }
)
_ONE_SIDED = re.compile(r"\+\s?[.,\d][^+-]*/?\s?-\s?[.,\d]")
_RANGE = re.compile(r"(?P<low>.+?)\s+to\s+(?P<high>.+)$")


def _half(text: str, kind: str, value: Written, whole: str, where: str) -> float:
    """The tolerance written after ±, SI; a difference, so a temperature has no zero point. Raises InputError."""
    if kind == "length":
        half = read_length(text, where).si
    elif kind == "pitch" and value.unit == "note":
        half = value.si * (2.0 ** (read_cents(text, where).si / 1200.0) - 1.0)
    else:
        number, rest = read_number(clean(text, where), where, whole)
        table = kind_named(kind)
        half = to_float(number.value * table.sizes[find_unit(rest, table, where, whole)], where, whole)
    if half <= 0.0:
        raise InputError(at(where, f"{whole!r} has a tolerance that is not greater than zero; write for instance ± 1."))
    return half


def _with_unit(left: str, right: str, kind: str, where: str) -> str:
    """`left` as it stands, or with the unit of `right` when it is a bare number."""
    try:
        _, rest = read_number(left, where)
    except InputError:
        return left
    return left if rest else f"{left} {read_number(right, where)[1]}"


def read_toleranced(text: str, kind: str, where: str = "", reference: float = A4) -> tuple[Written, float | None]:
    """Read a value with or without a tolerance: 2.6 mm ± 0.25 mm, 2.6 +/- 0.25 mm, E4 ± 2 c, 0 to 10 c.

    text: as typed. kind: name of the kind ("length", "cents", "pitch", ...). where: put in front of messages.
    reference: pitch of A4 in Hz for note names. Returns (written, tolerance): SI value with its half width in the same
    SI unit, None when there is none; a range becomes its middle and half its width. One unit, written last, serves for
    both numbers. Raises UnitError (no unit on the tolerance) and InputError (limits reversed, one-sided tolerances such
    as +.001/-.002, which are to be written as a range).
    """
    kind_named(kind)
    plain = clean(text, where)

    def reader(part: str) -> Written:
        return read_pitch(part, where, reference) if kind == "pitch" else READERS[kind](part, where)

    left, sign, right = (part.strip() for part in plain.partition("±"))
    if sign:
        if not left or not right:
            raise InputError(at(where, f"{text!r} lacks a number beside ±; write for instance 2.6 ± 0.25 mm."))
        value = reader(_with_unit(left, right, kind, where))
        half = _half(right, kind, value, text, where)
        return Written(value.si, value.unit, text, value.resolution_si, value.as_fraction), half
    if _ONE_SIDED.search(plain):
        raise InputError(at(where, f"{text!r} has unequal tolerances; write the two limits, for instance 0 to 10 c."))
    if found := _RANGE.match(plain):
        low = reader(_with_unit(found["low"], found["high"], kind, where))
        high = reader(found["high"])
        if not low.si < high.si:
            raise InputError(at(where, f"{text!r} does not rise; write the lower limit first."))
        step = max(low.resolution_si, high.resolution_si)
        middle = Written((low.si + high.si) / 2, high.unit, text, step, high.as_fraction)
        return middle, (high.si - low.si) / 2
    return reader(text), None
