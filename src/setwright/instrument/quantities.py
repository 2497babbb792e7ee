"""Quantities in files: what the units layer reads, the few kinds only instrument files need, and what ± means there."""

from __future__ import annotations

import math
import re
from fractions import Fraction
from types import MappingProxyType

from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.units.pitch import A4
from setwright.units.read import find_unit, made
from setwright.units.tables import INCH, KINDS, POUND_FORCE, Kind
from setwright.units.tolerance import read_toleranced
from setwright.units.written import Written, at, clean, read_number, to_float

RULE_STEP = 0.0254 / 64  # m, the finest division of a rule: what a length written as a fraction is good for


@frozen
class Amount:
    """One value of a file, in SI, with its band.

    si: the value. band: in an instrument file and under [found] a standard uncertainty, under [want] a tolerance (half
    width), in the same SI unit. stated: whether the band was written. written: the value as typed. gauge: what it was
    read with, "" if not said.
    """

    si: float
    band: float
    stated: bool
    written: Written
    gauge: str = ""


def _kind(name: str, example: str, sizes: dict[str, Fraction], spellings: dict[str, str]) -> Kind:
    return Kind(name, MappingProxyType(sizes), MappingProxyType(spellings), MappingProxyType({}), example)


_ONE = Fraction(1)
_MOMENTS = {"N m": _ONE, "lb in": POUND_FORCE * INCH}
_MOMENT_WORDS = {"Nm": "N m", "N*m": "N m", "N·m": "N m", "lbf in": "lb in", "in lb": "lb in"}
LOCAL_KINDS = MappingProxyType(
    {
        kind.name: kind
        for kind in (
            _kind("moment", "2 N m", _MOMENTS, _MOMENT_WORDS),
            _kind("moment per turn", "1.5 N m/turn", {"N m/turn": _ONE}, {"Nm/turn": "N m/turn", "N m": "N m/turn"}),
            _kind("rigidity", "300 N m2", {"N m2": _ONE}, {"Nm2": "N m2", "N m²": "N m2", "Nm²": "N m2"}),
            _kind("curvature", "0.002 per m", {"per m": _ONE}, {"per metre": "per m"}),
            _kind("expansion", "11.5 ppm/K", {"ppm/K": Fraction(1, 10**6), "per K": _ONE}, {"ppm/C": "ppm/K"}),
        )
    }
)
QUANTITIES = (*KINDS, *LOCAL_KINDS, "number", "lead", "place")
# Pitch of a thread, mm: ISO 261 coarse; unified threads by their threads per inch (ASME B1.1).
_METRIC = {"M1.6": 0.35, "M2": 0.4, "M2.5": 0.45, "M3": 0.5, "M3.5": 0.6, "M4": 0.7, "M5": 0.8, "M6": 1.0, "M8": 1.25}
_THREAD = re.compile(r"#?\s?\d{1,2}-(?P<tpi>\d\d)$|(?P<count>\d\d)\s?tpi$")
_FRET = re.compile(r"fret\s?(?P<number>\d+)$")


def read_quantity(text: str, kind: str, where: str = "", reference: float = A4) -> tuple[Written, float | None]:
    """Read a value with or without ± as files write it.

    Args:
        text: as typed, e.g. "3.5 N/mm ± 0.5 N/mm".
        kind: one of QUANTITIES. "lead" also takes a thread (M3, 6-32, 32 tpi), "place" also "fret 16": the share of the
            scale length nut to fret, with unit "fret".
        where: put in front of messages.
        reference: pitch of A4 [Hz].
    Returns: the value in SI and its ± or None.
    Raises: InputError, UnitError.
    """
    if kind in KINDS:
        return read_toleranced(text, kind, where, reference)
    if kind == "lead":
        return _read_lead(text, where)
    if kind == "place":
        return _read_place(text, where)
    left, sign, right = (part.strip() for part in clean(text, where).partition("±"))
    if sign and not (left and right):
        raise InputError(at(where, f"{text!r} lacks a number beside ±; write for instance 2.6 ± 0.25."))
    number, unit = read_number(left, where, text)
    half, half_unit = read_number(right, where, text) if sign else (None, "")
    if kind == "number":
        if unit or half_unit:
            raise InputError(at(where, f"{text!r} is a plain number here; leave out {unit or half_unit!r}."))
        size, half_size = Fraction(1), Fraction(1)
        name = ""
    else:
        table = LOCAL_KINDS[kind]
        name = find_unit(unit or half_unit, table, where, text)
        size = table.sizes[name]
        half_size = table.sizes[find_unit(half_unit, table, where, text)] if half else size
    band = None if half is None else _positive(to_float(half.value * half_size, where, text), text, where)
    return made(number, name, size, text, where), band


def _positive(band: float, text: str, where: str) -> float:
    """A band that must be above zero."""
    if band <= 0.0:
        raise InputError(at(where, f"{text!r} has a ± that is not greater than zero; write for instance ± 1."))
    return band


def _read_lead(text: str, where: str) -> tuple[Written, float | None]:
    plain, sign, band = (part.strip() for part in clean(text, where).partition("±"))
    found = _THREAD.match(plain)
    if plain.upper() in _METRIC:
        pitch = _METRIC[plain.upper()] / 1000.0
    elif found is not None:
        pitch = 0.0254 / max(int(found["tpi"] or found["count"]), 1)
    else:
        return read_toleranced(text, "length", where)
    half = read_toleranced(band, "length", where)[0].si if sign else None
    return Written(pitch, "thread", text, 0.0), half


def _read_place(text: str, where: str) -> tuple[Written, float | None]:
    found = _FRET.match(clean(text, where))
    if found is None:
        return read_toleranced(text, "length", where)
    number = int(found["number"])
    if not 1 <= number <= 36:
        raise InputError(at(where, f"{text!r} is not a fret; write fret 1 to fret 36, or a length."))
    return Written(1.0 - 2.0 ** (-number / 12.0), "fret", text, 0.0), None


def implied_band(written: Written) -> float:
    """Standard uncertainty of a value written without ±: half a step of its writing, taken as rectangular.

    JCGM 100, 4.3.7: half width / sqrt(3). A length written as a fraction is usually reduced (25 1/2 in), so that its
    step is taken as a 64th of an inch at most.

    Args:
        written: the value as typed.
    Returns: standard uncertainty in its SI unit.
    """
    step = written.resolution_si
    if written.as_fraction and written.unit in ("in", "mm", "cm"):
        step = min(step, RULE_STEP)
    return step / math.sqrt(12.0)


def amount(text: str, kind: str, where: str = "", reference: float = A4) -> Amount:
    """Read one value of a file.

    Args:
        text: as typed.
        kind: one of QUANTITIES.
        where: put in front of messages.
        reference: pitch of A4 [Hz].
    Returns: the value with its band, stated or implied by the writing.
    Raises: InputError, UnitError.
    """
    written, band = read_quantity(text, kind, where, reference)
    if not math.isfinite(written.si):
        raise InputError(at(where, f"{text!r} is not a finite number; check it."))
    return Amount(written.si, implied_band(written) if band is None else band, band is not None, written)
