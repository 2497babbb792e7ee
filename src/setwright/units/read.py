"""Reading: one function per kind of quantity. What can be read in two ways is refused, never guessed."""

from __future__ import annotations

import re
from fractions import Fraction

from setwright.errors import InputError, UnitError
from setwright.units.tables import Kind, kind_named
from setwright.units.written import Number, Written, at, clean, read_number, to_float

RULE_DENOMINATORS = (8, 16, 32, 64)  # a bare fraction over one of these is inches by trade usage (no source)
_ZERO_C = Fraction(27_315, 100)  # K
_REMAINDER = re.compile(
    r"""(?P<mark>.*?(?:in\.?|inch|inches|"))\s*(?P<sign>[+-])\s*(?P<rest>[.,]\d{3,4})(?:\s*(?:in\.?|"))?$"""
)
_DEGREES_MINUTES = re.compile(r"(?P<deg>[+-]?\s?\d+)\s?(?:°|deg)\s?(?P<min>\d+(?:[.,]\d+)?)\s?'$")
_OPPOSITES = (("in", "out"), ("up", "down"), ("tighter", "looser"), ("clockwise", "anticlockwise"))
_SAME_WORD = {"counterclockwise": "anticlockwise", "counter-clockwise": "anticlockwise", "cw": "clockwise"}
_SAME_WORD |= {"anti-clockwise": "anticlockwise", "ccw": "anticlockwise", "tight": "tighter", "loose": "looser"}


def find_unit(rest: str, kind: Kind, where: str, text: str) -> str:
    """The plain name of the unit spelled in `rest` (text after the number), for a kind; where and text for messages.

    Returns a key of `kind.sizes`. Raises UnitError when it is missing, unknown, or can be read in two ways.
    """
    spelled = rest.rstrip(".").strip()
    choices = ", ".join(kind.sizes)
    if not spelled:
        raise UnitError(
            at(where, f"{text!r} has no unit; add one of {choices} (for instance {kind.example.split(', ')[0]}).")
        )
    for candidate in (spelled, spelled.replace(" /", "/").replace("/ ", "/")):
        if candidate in kind.refused:
            raise UnitError(at(where, f"{text!r}: {kind.refused[candidate]}"))
        if candidate in kind.sizes:
            return candidate
        if candidate in kind.spellings:
            return kind.spellings[candidate]
    if len(spelled) > 1:
        folded = {name.casefold(): name for name in kind.sizes}
        folded |= {name.casefold(): unit for name, unit in kind.spellings.items()}
        if spelled.casefold() in kind.refused:
            raise UnitError(at(where, f"{text!r}: {kind.refused[spelled.casefold()]}"))
        if spelled.casefold() in folded:
            return folded[spelled.casefold()]
    raise UnitError(at(where, f"{text!r}: {spelled!r} is not a unit of {kind.name}; use one of {choices}."))


def made(number: Number, unit: str, size: Fraction, text: str, where: str) -> Written:
    """A Written from a number, its unit's name and SI size, the text as typed; where for messages."""
    si = to_float(number.value * size, where, text) + 0.0
    step = to_float(number.step * size, where, text)
    return Written(si, unit, text, step, number.denominator is not None)


def _read(text: str, name: str, where: str) -> Written:
    kind = kind_named(name)
    number, rest = read_number(clean(text, where), where, text)
    unit = find_unit(rest, kind, where, text)
    return made(number, unit, kind.sizes[unit], text, where)


def read_length(text: str, where: str = "") -> Written:
    """Read a length: 2.5/32", 5/64, 1 3/8 in, .010", 10 thou, 1.6 mm, 1,6 mm, 3/32 in + .003.

    text: as typed. where: put in front of messages. Returns a Written in metres. A bare fraction over 8, 16, 32 or 64
    is inches by trade usage (common practice, no source); any other bare number is refused. Raises UnitError for a
    missing, unknown or ambiguous unit, InputError for what is no number.
    """
    plain = clean(text, where)
    kind = kind_named("length")
    if found := _REMAINDER.match(plain):
        mark = read_length(found["mark"], where)
        extra, _ = read_number(found["sign"] + found["rest"], where, text)
        inch = kind.sizes["in"]
        return Written(mark.si + float(extra.value * inch) + 0.0, "in", text, float(extra.step * inch))
    number, rest = read_number(plain, where, text)
    if not rest and number.denominator is not None:
        if number.denominator not in RULE_DENOMINATORS:
            raise UnitError(
                at(where, f"{text!r} is a fraction without a unit; only 8ths to 64ths are taken as inches, so add in.")
            )
        rest = "in"
    unit = find_unit(rest, kind, where, text)
    return made(number, unit, kind.sizes[unit], text, where)


def _direction(word: str, positive: str, where: str, text: str) -> int:
    """+1 or -1 for a direction word, given the word that counts as plus. Raises UnitError."""
    word = _SAME_WORD.get(word, word)
    pair = next((pair for pair in _OPPOSITES if word in pair), None)
    if pair is None:
        raise UnitError(at(where, f"{text!r}: {word!r} is not a direction; write a sign, or turn(s) and nothing else."))
    if not positive:
        raise UnitError(
            at(where, f"{text!r} gives a direction in words, but none is defined here; write a signed number of turns.")
        )
    if positive not in pair:
        other = next(pair for pair in _OPPOSITES if positive in pair)
        raise UnitError(at(where, f"{text!r}: this screw goes {' or '.join(other)}, not {word!r}; use one of those."))
    return 1 if word == positive else -1


def read_turns(text: str, where: str = "", positive: str = "") -> Written:
    """Read turns of a screw: 3/8 turn, -1 1/4 turns, +0.5 turn, 1/8 turn out, no turn (to the nearest eighth).

    text: as typed. where: put in front of messages. positive: the direction word that counts as plus at this screw
    ("in", "out", "up", "down", "tighter", "looser", "clockwise", "anticlockwise"); "" admits signed numbers only.
    Returns a Written in turns. Raises UnitError for a missing unit, a direction without meaning here, or a sign and a
    direction together; InputError for what is no number, or an unknown `positive`.
    """
    if positive and all(positive not in pair for pair in _OPPOSITES):
        raise InputError(f"{positive!r} is not a direction; there are: {', '.join(sum(_OPPOSITES, ()))}.")
    plain = clean(text, where)
    if plain.casefold() in ("no turn", "no turns"):
        return Written(0.0, "turn", text, 1 / 8, as_fraction=True)
    number, rest = read_number(plain, where, text)
    words = rest.casefold().split()
    factor = 1
    if len(words) == 2 and words[0] in ("turn", "turns"):
        factor = _direction(words[1], positive, where, text)
        if number.sign:
            raise UnitError(at(where, f"{text!r} has a sign and a direction; write only one of them."))
        rest = words[0]
    unit = find_unit(rest, kind_named("turns"), where, text)
    return made(Number(factor * number.value, number.step, "", number.denominator), unit, Fraction(1), text, where)


def read_cents(text: str, where: str = "") -> Written:
    """Read cents: -4 c, +2 cents. text: as typed; where: for messages. Returns a Written in cents. Raises UnitError,
    InputError."""
    return _read(text, "cents", where)


def read_force(text: str, where: str = "") -> Written:
    """Read a force: 73 N, 16.2 lb (pound-force), 7.3 kgf. text: as typed; where: for messages. Returns a Written in
    newtons. Raises UnitError (kg alone is refused), InputError."""
    return _read(text, "force", where)


def read_rate(text: str, where: str = "") -> Written:
    """Read a spring rate: 3.5 N/mm, 20 lb/in. text: as typed; where: for messages. Returns a Written in N/m. Raises
    UnitError, InputError."""
    return _read(text, "rate", where)


def read_angle(text: str, where: str = "") -> Written:
    """Read an angle: 0.5 deg, 0.5°, 9 mrad, 30', 1° 30'. text: as typed; where: for messages. Returns a Written in
    radians. Raises UnitError, InputError (60 or more minutes after degrees)."""
    plain = clean(text, where)
    found = _DEGREES_MINUTES.match(plain)
    if found is None:
        return _read(text, "angle", where)
    degrees, _ = read_number(found["deg"], where, text)
    minutes, _ = read_number(found["min"], where, text)
    if minutes.value >= 60:
        raise InputError(at(where, f"{text!r} has 60 or more minutes of arc after the degrees; check the minutes."))
    signed = -minutes.value if degrees.sign == "-" else minutes.value
    total = Number(degrees.value + signed / 60, minutes.step / 60, degrees.sign, None)
    return made(total, "deg", kind_named("angle").sizes["deg"], text, where)


def read_temperature(text: str, where: str = "") -> Written:
    """Read a temperature: 20 C, 68 F, 293 K. text: as typed; where: for messages. Returns a Written in kelvins. Raises
    UnitError, InputError (below absolute zero)."""
    kind = kind_named("temperature")
    number, rest = read_number(clean(text, where), where, text)
    unit = find_unit(rest, kind, where, text)
    zero = {"C": _ZERO_C, "K": Fraction(0), "F": _ZERO_C - 32 * kind.sizes["F"]}[unit]
    kelvin = number.value * kind.sizes[unit] + zero
    if kelvin < 0:
        raise InputError(at(where, f"{text!r} is below absolute zero; check the number and the scale."))
    step = to_float(number.step * kind.sizes[unit], where, text)
    return Written(to_float(kelvin, where, text), unit, text, step, number.denominator is not None)


def read_mass(text: str, where: str = "") -> Written:
    """Read a mass: 0.3 kg, 300 g, 11 oz, 1 lb. text: as typed; where: for messages. Returns a Written in kg. Raises
    UnitError, InputError."""
    return _read(text, "mass", where)


def read_unit_mass(text: str, where: str = "") -> Written:
    """Read a string's mass per length: 0.000395 kg/m, 2.215e-5 lb/in (unstretched string). text: as typed; where: for
    messages. Returns a Written in kg/m. Raises UnitError, InputError."""
    return _read(text, "unit mass", where)


def read_ratio(text: str, where: str = "") -> Written:
    """Read a ratio: 15 %, 40 ppm. text: as typed; where: for messages. Returns a Written as a plain ratio (0.15).
    Raises UnitError (a bare number is refused), InputError."""
    return _read(text, "ratio", where)
