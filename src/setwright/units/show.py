"""Printing: numbers with their unit, as rules are marked, and with no more digits than the uncertainty allows.

Rounding after JCGM 100:2008 (GUM) 7.2.6: the uncertainty keeps one or two significant digits (two when the first is 1
or 2), and the value is rounded to the same place. Minus is U+2212; this package reads back every form printed here.
"""

from __future__ import annotations

import math
from typing import Literal

from setwright.errors import InputError
from setwright.units.pitch import A4, note_name, note_number
from setwright.units.tables import kind_named, unit_size

System = Literal["inch", "mm"]
LengthStyle = Literal["auto", "fraction", "height", "thou", "mm"]

MINUS = "−"
_SMALLEST_FRACTION = 1 / 32  # in; below this an inch length is printed in thou
_PLACES = {"mm": 2, "in": 3, "lb": 1, "N": 1, "deg": 2, "c": 1, "Hz": 2, "C": 1, "F": 1, "N/mm": 2, "lb/in": 1}
_PLACES |= {"kg": 3, "oz": 1, "turn": 3, "%": 1}
_UNITS: dict[str, tuple[str, str]] = {  # kind: (unit in the inch system, unit in the metric system)
    "length": ("in", "mm"),
    "turns": ("turn", "turn"),
    "cents": ("c", "c"),
    "force": ("lb", "N"),
    "rate": ("lb/in", "N/mm"),
    "angle": ("deg", "deg"),
    "pitch": ("Hz", "Hz"),
    "temperature": ("F", "C"),
    "mass": ("oz", "kg"),
    "unit mass": ("lb/in", "g/m"),
    "ratio": ("%", "%"),
}
_SIGNS = {"deg": "°", "C": " °C", "F": " °F"}
_FREEZING = {"C": 273.15, "F": 273.15 - 32 * 5 / 9}  # K


def _finite(value: float, what: str) -> float:
    if not math.isfinite(value):
        raise InputError(f"{what} is {value}, which cannot be printed; a finite number is needed.")
    return value


def _spread(value: float, what: str) -> float:
    if not (math.isfinite(value) and value > 0.0):
        raise InputError(f"{what} is {value}, but an uncertainty or half width is a number greater than zero.")
    return value


def places_for(uncertainty: float) -> int:
    """Decimal places of the last digit an uncertainty allows (GUM 7.2.6): one significant digit, two when it begins
    with 1 or 2 and the second is not zero.

    uncertainty: > 0, in the unit to be printed. Returns the places after the point; negative for tens, hundreds.
    Raises InputError when it is not positive and finite.
    """
    digits, _, exponent = f"{_spread(uncertainty, 'the uncertainty'):.1e}".partition("e")
    two = digits[0] in "12" and digits[2] != "0"
    return int(two) - int(exponent)


def _digits(value: float, places: int, trim: bool = False, signed: bool = False) -> str:
    """A number with a fixed number of places, U+2212 for minus, never a negative zero."""
    text = f"{round(value, places):.{max(places, 0)}f}"
    if trim and "." in text:
        text = text.rstrip("0").rstrip(".")
    if not text.strip("-0."):
        return text.lstrip("-")
    if text.startswith("-"):
        return MINUS + text[1:]
    return f"+{text}" if signed else text


def _plain(value: float, unit: str, uncertainty: float | None, signed: bool = False) -> str:
    """Digits of a value in a unit, by its uncertainty (same unit) or by the usual places of that unit."""
    if uncertainty is None:
        return _digits(value, _PLACES[unit], trim=True, signed=signed)
    return _digits(value, places_for(uncertainty), signed=signed)


def _unled(digits: str) -> str:
    """Thou without a leading zero: .010 for 0.010."""
    return digits.replace("0.", ".", 1) if digits.lstrip(MINUS + "+").startswith("0.") else digits


def _inch_places(uncertainty: float | None) -> int:
    """Thousandths, unless the uncertainty (in) allows fewer even with two digits, or more."""
    if uncertainty is None:
        return 3
    places = places_for(uncertainty)
    return 3 if places == 2 and uncertainty < 0.1 else places


def _thou(inches: float, uncertainty: float | None) -> str:
    places = _inch_places(uncertainty)
    trim = uncertainty is None and abs(inches) >= 1.0
    return f"{_unled(_digits(inches, places, trim=trim))} in"


def _mark(steps: int, denominator: int, height: bool) -> str:
    """The rule mark at `steps` over `denominator` (steps >= 0): reduced and mixed, or in 32nds with halves."""
    if height:
        return f"{_digits(steps * 32 / denominator, 1, trim=True)}/32"
    whole, over = divmod(steps, denominator)
    if not over:
        return str(whole)
    shared = math.gcd(over, denominator)
    return f"{whole} " * bool(whole) + f"{over // shared}/{denominator // shared}"


def _fraction(inches: float, uncertainty: float | None, height: bool) -> str:
    """Nearest rule mark, and the remainder in thou when it matters."""
    denominator = 64
    while uncertainty is not None and denominator > 8 and 1 / denominator < uncertainty:
        denominator //= 2
    size = abs(inches)
    steps = math.floor(size * denominator + 0.5)
    rest = size - steps / denominator
    sign = MINUS if inches < 0 and (steps or rest >= 0.0005) else ""
    mark = sign + _mark(steps, denominator, height) + " in"
    places = 3 if uncertainty is None else max(3, min(4, places_for(uncertainty)))
    if round(abs(rest), places) == 0.0 or abs(rest) < (uncertainty or 0.0):
        return mark
    if not steps:
        return _thou(inches, uncertainty)
    plus = (rest > 0) == (inches > 0)
    return f"{mark} {'+' if plus else MINUS} {_unled(_digits(abs(rest), places))}"


def show_length(m: float, system: System = "mm", uncertainty: float | None = None, style: LengthStyle = "auto") -> str:
    """Print a length.

    m: metres. system: "inch" or "mm", used by style "auto". uncertainty: standard uncertainty in metres, > 0, or None
    for the usual digits. style: "fraction" = nearest 1/64 mark (a coarser mark when the uncertainty is coarser) with
    the remainder in thou when it matters, as "3/32 in + .003"; "height" the same in 32nds and their halves,
    as "2.5/32 in"; "thou" = ".010 in"; "mm"; "auto" = mm, or in the inch system a fraction, thou below 1/32 in.
    Returns text that `read_length` reads. Raises InputError for a value that is not finite or an unknown style.
    """
    _finite(m, "the length")
    u = None if uncertainty is None else _spread(uncertainty, "the uncertainty of the length")
    if style == "mm" or (style == "auto" and _checked(system) == "mm"):
        return f"{_plain(m * 1000.0, 'mm', None if u is None else u * 1000.0)} mm"
    inch = unit_size("length", "in")
    inches, u_in = m / inch, None if u is None else u / inch
    if style == "auto":
        style = "thou" if abs(inches) < _SMALLEST_FRACTION else "fraction"
    if style == "thou":
        return _thou(inches, u_in)
    if style not in ("fraction", "height"):
        raise InputError(f"{style!r} is not a way to print a length; there are: auto, fraction, height, thou, mm.")
    return _fraction(inches, u_in, style == "height")


def _checked(system: str) -> str:
    if system not in ("inch", "mm"):
        raise InputError(f"{system!r} is not a system of units; there are: inch, mm.")
    return system


def show_turns(turns: float, step: float = 1 / 8) -> str:
    """Print turns to the nearest step of the hand: "1 3/8 turns", "3/8 turn", "no turn".

    turns: turns, either sign. step: smallest step in turns, one over a whole number up to 64. Returns text that
    `read_turns` reads. Raises InputError for a value that is not finite or a step of another form.
    """
    size = abs(_finite(turns, "the number of turns"))
    parts = round(1.0 / step) if step > 0.0 else 0
    if not 1 <= parts <= 64 or abs(parts * step - 1.0) > 1e-9:
        raise InputError(f"a step of {step} turn is not one over a whole number up to 64; use for instance 1/8.")
    steps = math.floor(size * parts + 0.5)
    if not steps:
        return "no turn"
    sign = MINUS if turns < 0 else ""
    return f"{sign}{_mark(steps, parts, height=False)} turn{'s' if steps > parts else ''}"


def show_cents(cents: float, uncertainty: float | None = None, signed: bool = False) -> str:
    """Print cents: "−4 c". cents: cents. uncertainty: cents, > 0, or None. signed: print + as well. Returns text that
    `read_cents` reads. Raises InputError for a value that is not finite."""
    return f"{_plain(_finite(cents, 'the number of cents'), 'c', uncertainty, signed)} c"


def show_force(newtons: float, system: System = "mm", uncertainty: float | None = None) -> str:
    """Print a force in lb ("inch") or N ("mm"). newtons: N. system: "inch" or "mm". uncertainty: N, > 0, or None.
    Returns text that `read_force` reads. Raises InputError for a value that is not finite."""
    return show_value(newtons, "force", system, uncertainty)


def show_angle(radians: float, uncertainty: float | None = None) -> str:
    """Print an angle in degrees: "0.5°". radians: rad. uncertainty: rad, > 0, or None. Returns text that `read_angle`
    reads. Raises InputError for a value that is not finite."""
    return show_value(radians, "angle", "mm", uncertainty)


def show_pitch(
    hertz: float, uncertainty: float | None = None, note: bool = False, reference: float = A4, flats: bool = False
) -> str:
    """Print a pitch in hertz, "329.63 Hz", or as a note with its distance, "E4 −10 c".

    hertz: Hz, > 0. uncertainty: Hz, > 0, or None. note: print the note name. reference: A4 in Hz. flats: spell with
    flats. Returns text that `read_pitch` reads. Raises InputError for a pitch that is not positive or above B9.
    """
    semitones = note_number(hertz, reference)
    if not note:
        return show_value(hertz, "pitch", "mm", uncertainty)
    nearest = math.floor(semitones + 0.5)
    u = None if uncertainty is None else 1200.0 / math.log(2.0) * _spread(uncertainty, "the uncertainty") / hertz
    cents = show_cents(100.0 * (semitones - nearest), u, signed=True)
    name = note_name(nearest, flats)
    return name if not cents.strip("0. c") else f"{name} {cents}"


def unit_for(kind: str, system: System = "mm") -> str:
    """The unit a kind is printed in: kind by name, system "inch" or "mm". Returns a unit's name. Raises InputError."""
    return _UNITS[kind_named(kind).name][0 if _checked(system) == "inch" else 1]


def _scaled(value: float, kind: str, unit: str) -> float:
    return (value - (_FREEZING[unit] if kind == "temperature" else 0.0)) / unit_size(kind, unit)


def show_value(value: float, kind: str, system: System = "mm", uncertainty: float | None = None) -> str:
    """Print a value of any kind in the usual unit of a system; lengths as by `show_length`, turns in decimals.

    value: SI unit of the kind. kind: "length", "force", "rate", ... system: "inch" or "mm". uncertainty: same SI unit,
    > 0, or None. Returns text that the kind's reader reads. Raises InputError for a value that is not finite.
    """
    _finite(value, f"the {kind}")
    unit = unit_for(kind, system)
    if kind == "length":
        return show_length(value, system, uncertainty)
    u = None if uncertainty is None else _spread(uncertainty, f"the uncertainty of the {kind}") / unit_size(kind, unit)
    scaled = _scaled(value, kind, unit)
    if kind == "unit mass" and u is None:
        u = abs(scaled) * 1e-3 or None
    if kind == "unit mass" and u is None:
        return f"0 {unit}"
    digits = _plain(scaled, unit, u)
    return digits + _SIGNS.get(unit, f" {unit}")


def show_band(value: float, half_width: float, kind: str, system: System = "mm") -> str:
    """Print a value with the half width of its band: "2.6 ± 0.2 mm", ".094 ± .010 in", "−4 ± 1 c".

    value, half_width: SI unit of the kind, half_width > 0 (a difference, so a temperature's has no zero point). kind:
    "length", "cents", ... system: "inch" or "mm". Both numbers end at the same place, which the half width decides.
    Returns text that `read_toleranced` reads. Raises InputError for values that are not finite or a width of zero.
    """
    unit = unit_for(kind, system)
    scaled = _scaled(_finite(value, f"the {kind}"), kind, unit)
    half = _spread(half_width, f"the half width of the {kind}") / unit_size(kind, unit)
    places = _inch_places(half) if unit == "in" else places_for(half)
    left, right = _digits(scaled, places), _digits(half, places)
    if unit == "in":
        left, right = _unled(left), _unled(right)
    return f"{left} ± {right}{_SIGNS.get(unit, f' {unit}')}"
