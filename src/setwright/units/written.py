"""How a bench writes a number: decimals with point or comma, fractions, mixed numbers, and the marks around them.

Plain `fractions.Fraction` inside, so that what was written is converted once and exactly. No numpy.
"""

from __future__ import annotations

import math
import re
from fractions import Fraction

from setwright.errors import InputError, UnitError
from setwright.frozen import frozen


@frozen
class Written:
    """A value as somebody wrote it.

    si: the value in SI units of its kind (m, N, N/m, rad, Hz, K, kg, kg/m; turns, cents and ratios as they are).
    unit: the unit it was written in, in its plain spelling ("in", "thou", "mm", "turn", "c", "lb", ...).
    text: what was written, untouched.
    resolution_si: what one step of the written form is worth, in the same SI unit: one count of the last digit, one
        step of the denominator (half a step for 2.5/32).
    as_fraction: True when it was written as a fraction; a fraction is usually reduced, so that its denominator says
        less about the gauge than the last digit of a decimal does.
    """

    si: float
    unit: str
    text: str
    resolution_si: float
    as_fraction: bool = False


@frozen
class Number:
    """A bare number: exact value, exact step of its written form, the sign as written ("", "+" or "-")."""

    value: Fraction
    step: Fraction
    sign: str
    denominator: int | None  # of a fraction, else None


_VULGAR = {
    "½": "1/2", "¼": "1/4", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8",
    "⅓": "1/3", "⅔": "2/3", "⅕": "1/5", "⅖": "2/5", "⅗": "3/5", "⅘": "4/5", "⅙": "1/6", "⅚": "5/6",
}  # fmt: skip
_MARKS = str.maketrans(
    {
        **dict.fromkeys("″”“„‟＂〃", '"'),
        **dict.fromkeys("′’‘‛‚´`", "'"),
        **dict.fromkeys("−–—‒‐‑﹣－", "-"),
        **dict.fromkeys("\u00a0\u2007\u2009\u200a\u202f\u2002\u2003\t", " "),
        **dict.fromkeys("⁄∕", "/"),
        **dict.fromkeys("º˚", "°"),
        "μ": "µ",
        "♭": "b",
        "♯": "#",
        "＋": "+",
        "℃": "°C",
        "℉": "°F",
    }
)

_DECIMAL = r"(?:\d+(?:[.,]\d*)?|[.,]\d+)"
_NUMBER = re.compile(
    rf"""\s*(?P<sign>[+-])?\s*
    (?: (?P<whole>\d+)(?:\s+|-)(?P<over>{_DECIMAL})\s*/\s*(?P<under>\d+)
      | (?P<num>{_DECIMAL})\s*/\s*(?P<den>\d+)
      | (?P<dec>{_DECIMAL}(?:[eE][+-]?\d+)?)
    )\s*(?P<rest>[^\d\s].*)?$""",
    re.VERBOSE,
)
_LONGEST = 60


def at(where: str, message: str) -> str:
    """Put the place in front of a message: `where` free text, "" for none; `message` one sentence. Returns the line."""
    return f"{where}: {message}" if where else message


def clean(text: str, where: str = "") -> str:
    """Bring typographic marks to plain ones: fractions, quotes, primes, minus signs, narrow spaces, plus-minus.

    text: as typed (unitless text). where: named in the message. Returns the same content in plain characters.
    Raises InputError for empty text, for text longer than 60 characters, and for digits of other scripts.
    """
    if len(text) > _LONGEST:
        raise InputError(at(where, f"{text[:20]!r}... is too long for one value; write one number with its unit."))
    plain = text
    if not plain.isascii():
        for mark in _VULGAR.keys() & set(plain):
            plain = re.sub(rf"(?<=\d)\s*{mark}", f" {_VULGAR[mark]}", plain).replace(mark, _VULGAR[mark])
        plain = plain.translate(_MARKS)
    if "+" in plain:
        plain = re.sub(r"\+\s?/\s?-|\+-", "±", plain)
    plain = " ".join(plain.replace("''", '"').split())
    if not plain:
        raise InputError(at(where, "nothing is written here; write a number with its unit."))
    if not plain.isascii() and any(ch.isnumeric() and ch not in "0123456789" for ch in plain):
        raise InputError(at(where, f"{text!r} has a digit or fraction that cannot be read; use 0 to 9 and a slash."))
    return plain


def _decimal(text: str, where: str) -> tuple[Fraction, Fraction]:
    """Read a decimal with point or comma. Returns (value, step of the last digit). Raises UnitError, InputError."""
    mantissa, _, exponent = text.lower().partition("e")
    if len(exponent) > 4:
        raise InputError(at(where, f"{text!r} has an exponent no workshop value needs; check the number."))
    lead, _, tail = mantissa.partition(",")
    if len(tail) == 3 and lead.strip("0"):
        grouped, parted = lead + tail, f"{lead}.{tail}"
        raise UnitError(at(where, f"{text!r} can be {parted} or {grouped}; write the one you mean without a comma."))
    lead, _, tail = mantissa.replace(",", ".").partition(".")
    count, power = int(lead + tail or "0"), int(exponent or "0") - len(tail)
    over, under = 10 ** max(power, 0), 10 ** max(-power, 0)
    return Fraction(count * over, under), Fraction(over, under)


def _fraction(over: str, under: str, where: str) -> tuple[Fraction, Fraction]:
    """Read over/under, the upper number possibly with halves or quarters. Returns (value, step). Raises InputError."""
    top, count = _decimal(over, where)
    bottom = int(under)
    if bottom == 0:
        raise InputError(at(where, f"'{over}/{under}' divides by zero; check the lower number of the fraction."))
    if (top * 2).denominator == 1 and top.denominator != 1:
        count = Fraction(1, 2)
    elif (top * 4).denominator == 1 and top.denominator != 1:
        count = Fraction(1, 4)
    return top / bottom, count / bottom


def read_number(plain: str, where: str = "", text: str = "") -> tuple[Number, str]:
    """Split cleaned text into a number and what follows it.

    plain: text after `clean` (unitless text). where: named in messages. text: what was typed, for messages.
    Returns (number, rest), rest stripped, "" when nothing follows. Raises InputError when no number stands first or
    the number is malformed, UnitError when it can be read in two ways (1,600).
    """
    shown = text or plain
    found = _NUMBER.match(plain)
    if found is None:
        raise InputError(at(where, f"{shown!r} is not a number with a unit; write for instance 1.6 mm, 3/32 in, -4 c."))
    denominator: int | None = None
    if found["dec"] is not None:
        value, step = _decimal(found["dec"], where)
    elif found["whole"] is not None:
        part, step = _fraction(found["over"], found["under"], where)
        if part >= 1:
            raise InputError(at(where, f"{shown!r} has a fraction of one or more after the whole number; check it."))
        value, denominator = int(found["whole"]) + part, int(found["under"])
    else:
        value, step = _fraction(found["num"], found["den"], where)
        denominator = int(found["den"])
    sign = found["sign"] or ""
    rest = (found["rest"] or "").strip()
    if re.match(r"[+\-.,/:*^]", rest):
        raise InputError(
            at(where, f"{shown!r} is more than one number; write one, or a range as '0 to 10 c', or '2.6 ± 0.25 mm'.")
        )
    return Number(-value if sign == "-" else value, step, sign, denominator), rest


def to_float(value: Fraction, where: str, text: str) -> float:
    """An exact number as a finite float (same unit). Raises InputError beyond what a float can hold."""
    try:
        result = float(value)
    except OverflowError:
        result = math.inf
    if math.isinf(result):
        raise InputError(at(where, f"{text!r} is too large to be a workshop value; check the number."))
    return result
