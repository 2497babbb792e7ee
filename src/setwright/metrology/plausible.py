"""What is usual, what is possible, and which slip of the pen explains a value that is neither.

The figures named "typical" are the trade's own (common practice, no source, unless setup charts print them); "usual" is
them widened, beyond which a value must be confirmed; "possible" is physics and wood, beyond which it is refused.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from types import MappingProxyType

from setwright.errors import InputError, QuestionableError
from setwright.frozen import frozen
from setwright.units import KINDS, Written, show_length, show_value, unit_size

Span = tuple[float, float]
_MM = 1e-3  # m
_IN = unit_size("length", "in")  # m
_DEG = unit_size("angle", "deg")  # rad
_C = 273.15  # K
_MARGIN = 1e-9  # so that a value on a limit, converted, is still inside


@frozen
class Quantity:
    """A quantity that is read. name; kind (see `setwright.units.KINDS`); typical, usual and possible spans (low, high)
    in the SI unit of the kind, cents for cents."""

    name: str
    kind: str
    typical: Span
    usual: Span
    possible: Span


def _mm(low: float, high: float) -> Span:
    return low * _MM, high * _MM


def _in(low: float, high: float) -> Span:
    return low * _IN, high * _IN


_ALL = (
    Quantity("relief", "length", _in(0.005, 0.015), _in(0.0, 0.030), _mm(-3.0, 6.0)),
    Quantity("string_height", "length", _mm(1.2, 2.8), _mm(0.6, 3.6), _mm(0.0, 20.0)),
    Quantity("first_fret_clearance", "length", _in(0.012, 0.020), _in(0.004, 0.040), _mm(0.0, 5.0)),
    Quantity("rear_gap", "length", _mm(1.6, 3.2), _mm(0.0, 8.0), _mm(-10.0, 25.0)),
    Quantity("claw_distance", "length", _mm(8.0, 20.0), _mm(2.0, 35.0), _mm(0.0, 80.0)),
    Quantity("scale_length", "length", _in(24.0, 34.0), _in(22.0, 37.0), _mm(300.0, 1300.0)),
    Quantity("fretboard_radius", "length", _in(7.25, 17.0), _in(6.0, 20.0), _mm(50.0, 10_000.0)),
    Quantity("fret_height", "length", _mm(0.9, 1.5), _mm(0.4, 1.8), _mm(0.0, 4.0)),
    Quantity("pickup_gap", "length", _mm(1.6, 4.0), _mm(0.8, 8.0), _mm(0.0, 30.0)),
    Quantity("string_diameter", "length", _in(0.008, 0.105), _in(0.007, 0.145), _mm(0.1, 5.0)),
    Quantity("shim_thickness", "length", _mm(0.2, 1.5), _mm(0.05, 3.0), _mm(0.0, 10.0)),
    Quantity("shim_angle", "angle", (0.25 * _DEG, 1.0 * _DEG), (0.05 * _DEG, 2.0 * _DEG), (0.0, 5.0 * _DEG)),
    Quantity("screw_lead", "length", _mm(0.45, 0.8), _mm(0.3, 2.6), _mm(0.1, 5.0)),
    Quantity("unit_mass", "unit mass", (2.5e-4, 0.03), (2.0e-4, 0.04), (5e-5, 0.1)),
    Quantity("string_tension", "force", (45.0, 220.0), (20.0, 350.0), (0.0, 1000.0)),
    Quantity("spring_rate", "rate", (1500.0, 6000.0), (800.0, 12_000.0), (50.0, 100_000.0)),
    Quantity("spring_initial_tension", "force", (2.0, 25.0), (0.0, 60.0), (0.0, 500.0)),
    Quantity("pitch", "pitch", (30.0, 1400.0), (25.0, 3000.0), (5.0, 20_000.0)),
    Quantity("octave_error", "cents", (-3.0, 3.0), (-50.0, 50.0), (-600.0, 600.0)),
    Quantity("temperature", "temperature", (_C + 18.0, _C + 26.0), (_C, _C + 40.0), (_C - 60.0, _C + 80.0)),
    Quantity("humidity", "ratio", (0.35, 0.60), (0.10, 0.90), (0.0, 1.0)),
)
QUANTITIES: MappingProxyType[str, Quantity] = MappingProxyType({entry.name: entry for entry in _ALL})

# Pairs (as written, as meant) that are mixed up: the number is right and the unit is not. Common practice, no source.
_MIXED_UP: dict[str, tuple[tuple[str, str], ...]] = {
    "length": (
        ("in", "mm"),
        ("in", "thou"),
        ("cm", "mm"),
        ("mm", "cm"),
        ("mm", "in"),
        ("cm", "in"),
        ("mm", "thou"),
        ("thou", "mm"),
    ),
    "force": (("lb", "N"), ("N", "lb"), ("N", "kgf"), ("kgf", "lb"), ("kgf", "N"), ("lb", "kgf")),
    "rate": (("lb/in", "N/mm"), ("N/mm", "lb/in"), ("N/m", "N/mm"), ("N/mm", "N/m")),
    "angle": (("rad", "deg"), ("rad", "mrad"), ("deg", "arcmin"), ("deg", "mrad")),
    "unit mass": (("kg/m", "g/m"), ("g/m", "kg/m"), ("kg/m", "lb/in"), ("lb/in", "kg/m")),
    "pitch": (("kHz", "Hz"),),
}
# What makes a number ten times too large, and ten times too small, by the unit it is written in.
_DECIMAL_SLIPS = {"in": ("a lost zero", "a zero too many"), "thou": ("a zero too many", "a lost zero")}
_SHIFTED_POINT = ("a decimal point in the wrong place",) * 2


def quantity_named(name: str, where: str = "") -> Quantity:
    """The quantity of that name; where: put in front of the message. Raises InputError naming those there are."""
    if name not in QUANTITIES:
        raise InputError(_at(where, f"there is no quantity called {name!r}; there are: {', '.join(QUANTITIES)}."))
    return QUANTITIES[name]


def _at(where: str, message: str) -> str:
    return f"{where}: {message}" if where else message


def _inside(value: float, span: Span) -> bool:
    low, high = span
    margin = _MARGIN * max(abs(low), abs(high))
    return low - margin <= value <= high + margin


def _in_unit(value: float, kind: str, unit: str) -> str:
    """A candidate in the unit it was probably meant in."""
    if unit in ("in", "thou") and abs(value) < _IN:
        return show_length(value, style="thou")
    return f"{value / unit_size(kind, unit):.6g} {unit}"


def _fraction_slips(value: float, text: str) -> Iterator[tuple[float, str]]:
    for under, words, meant, factor in (("32", "32nds for 64ths", "64", 0.5), ("64", "64ths for 32nds", "32", 2.0)):
        if re.search(rf"/\s*{under}\b", text):
            shown = re.sub(rf"(/\s*){under}\b", rf"\g<1>{meant}", text)
            yield value * factor, f"{shown} ({words})"


def _mixed_up(value: float, kind: str, unit: str) -> Iterator[tuple[float, str]]:
    for wrote, meant in _MIXED_UP.get(kind, ()):
        if unit in (wrote, ""):
            candidate = value * unit_size(kind, meant) / unit_size(kind, wrote)
            yield candidate, f"{_in_unit(candidate, kind, meant)} ({wrote} for {meant})"


def _shifted(value: float, kind: str, unit: str) -> Iterator[tuple[float, str]]:
    if kind not in ("length", "unit mass", "rate"):
        return
    native = unit or ("in" if kind == "length" else show_value(value, kind).split()[-1])
    for factor, words in zip((0.1, 10.0), _DECIMAL_SLIPS.get(native, _SHIFTED_POINT), strict=True):
        yield value * factor, f"{_in_unit(value * factor, kind, native)} ({words})"


def _slips(value: float, kind: str, written: Written | None) -> Iterator[tuple[float, str]]:
    """Candidates (SI value, how to say it) for what was meant, likeliest first."""
    unit = written.unit if written else ""
    fraction = bool(written and written.as_fraction)
    if written and fraction and kind == "length":
        yield from _fraction_slips(value, written.text)
    if kind == "temperature":
        celsius = value - _C
        if unit == "F":
            number = celsius * 9 / 5 + 32.0
            yield _C + number, f"{number:.4g} C (F for C)"
        elif unit in ("C", ""):
            yield _C + (celsius - 32.0) * 5 / 9, f"{celsius:.4g} F (C for F)"
        return
    mixed, shifted = _mixed_up(value, kind, unit), () if fraction else _shifted(value, kind, unit)
    yield from (*mixed, *shifted) if unit else (*shifted, *mixed)


def _likely(value: float, quantity: Quantity, written: Written | None) -> str:
    """The likeliest slip as a clause, "" when none explains the value."""
    slips = list(_slips(value, quantity.kind, written))
    for span in (quantity.typical, quantity.usual):
        for candidate, shown in slips:
            if _inside(candidate, span):
                return shown
    return ""


def _shown(value: float, kind: str, inch: bool) -> str:
    if kind == "length" and inch:
        return show_length(value, style="thou")
    return show_value(value, kind, "inch" if inch else "mm")


def _message(si: float, quantity: Quantity, span: Span, words: str, written: Written | None) -> str:
    kind = KINDS[quantity.kind].name
    inch = written is not None and written.unit in ("in", "thou", "lb", "lb/in", "F", "oz")
    what = quantity.name.replace("_", " ")
    said = written.text if written else _shown(si, kind, inch)
    limits = f"{_shown(span[0], kind, inch)} to {_shown(span[1], kind, inch)}"
    slip = _likely(si, quantity, written)
    ask = f"did you mean {slip}?" if slip else "check the number and its unit."
    return f"{what} of {said} is {words} {limits}; {ask}"


def doubt(quantity: str, si: float, written: Written | None = None) -> str | None:
    """Why a value should be confirmed, or None when it is usual.

    quantity: a name of QUANTITIES. si: value in its SI unit (cents for cents). written: how it was written, which lets
    the likely slip be named in the technician's own unit. Returns one sentence or None. Raises InputError for an
    unknown quantity, a value that is not finite, or one beyond what is possible.
    """
    entry = quantity_named(quantity)
    if not math.isfinite(si):
        raise InputError(f"a {quantity.replace('_', ' ')} of {si} is not a number that can be used; read it again.")
    if not _inside(si, entry.possible):
        raise InputError(_message(si, entry, entry.possible, "impossible, it lies within", written))
    if not _inside(si, entry.usual):
        return _message(si, entry, entry.usual, "possible but unlikely, it is usually", written)
    return None


def question(quantity: str, si: float, where: str = "", written: Written | None = None) -> None:
    """Refuse a value that is impossible, and ask about one that is unlikely.

    quantity, si, written: as for `doubt`. where: put in front of the message. Returns None when the value is usual.
    Raises QuestionableError with the reason and the likely slip (a lost zero, 32nds for 64ths, inches for millimetres,
    centimetres for millimetres), InputError beyond what is possible or for an unknown quantity.
    """
    try:
        reason = doubt(quantity, si, written)
    except InputError as error:
        raise InputError(_at(where, str(error))) from error
    if reason is not None:
        raise QuestionableError(_at(where, reason))
