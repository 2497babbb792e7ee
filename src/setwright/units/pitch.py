"""Reading pitches: hertz, or a note name in equal temperament with its distance in cents."""

from __future__ import annotations

import math
import re

from setwright.errors import InputError, UnitError
from setwright.units.read import find_unit, made, read_cents
from setwright.units.tables import kind_named
from setwright.units.written import Written, at, clean, read_number

A4 = 440.0  # Hz, ISO 16:1975, standard tuning frequency
_STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_SHARPS = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
_FLATS = ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B")
_A4_NUMBER = 57  # semitones from C0 to A4
_NOTE = re.compile(r"(?P<letter>[A-Ha-h])(?P<accidental>[#b]?)\s?(?P<octave>\d)?(?:\s?(?P<cents>[+-].*|\d.*))?$")


def check_reference(reference: float) -> float:
    """The reference pitch of A4 in Hz, returned when it is between 380 and 500 Hz; else InputError."""
    if not 380.0 <= reference <= 500.0:
        raise InputError(f"a reference pitch of {reference:g} Hz for A4 is outside 380 to 500 Hz; check it.")
    return reference


def note_number(hertz: float, reference: float = A4) -> float:
    """Semitones above C0 in equal temperament: 57 + 12 log2(f / f_A4) (ISO 16:1975 for the default reference).

    hertz: frequency in Hz, > 0. reference: pitch of A4 in Hz, 380 to 500. Returns semitones, not rounded. Raises
    InputError for a frequency that is not positive and finite.
    """
    if not (math.isfinite(hertz) and hertz > 0.0):
        raise InputError(f"a pitch of {hertz} Hz cannot be named; a frequency is a positive number.")
    return _A4_NUMBER + 12.0 * math.log2(hertz / check_reference(reference))


def note_name(number: int, flats: bool = False) -> str:
    """Name of a note from its number, semitones above C0 (0 to 119). flats: spell with flats. Returns e.g. "F#3".

    Octaves count from C; C4 is the middle one. Raises InputError outside the range.
    """
    if not 0 <= number < 120:
        raise InputError(f"note number {number} is outside 0 to 119 (C0 to B9); check the pitch.")
    octave, step = divmod(number, 12)
    return f"{(_FLATS if flats else _SHARPS)[step]}{octave}"


def _read_note(found: re.Match[str], text: str, where: str, reference: float) -> Written:
    letter = found["letter"].upper()
    if letter == "H":
        raise UnitError(at(where, f"{text!r}: H is B natural in some countries and unknown in others; write B or Bb."))
    if found["octave"] is None:
        raise UnitError(at(where, f"{text!r} has no octave; write for instance {letter}2 or {letter}4."))
    number = _STEPS[letter] + {"#": 1, "b": -1, "": 0}[found["accidental"]] + 12 * int(found["octave"])
    cents, step = 0.0, 100.0
    if found["cents"] is not None:
        if found["cents"][0] not in "+-":
            raise UnitError(at(where, f"{text!r}: sharp or flat? write the cents with a sign, for instance E4 -10 c."))
        off = read_cents(found["cents"], where)
        cents, step = off.si, off.resolution_si
    if abs(cents) > 1200.0:
        raise InputError(at(where, f"{text!r} is more than an octave from the note it names; check the cents."))
    hertz = reference * 2.0 ** ((number - _A4_NUMBER) / 12.0 + cents / 1200.0)
    return Written(hertz, "note", text, hertz * (2.0 ** (step / 1200.0) - 1.0))


def read_pitch(text: str, where: str = "", reference: float = A4) -> Written:
    """Read a pitch: 440 Hz, E4, Bb2, F#3, E4 -10 c.

    text: as typed; letters are the English ones, octaves count from C (A4 is the reference). where: put in front of
    messages. reference: pitch of A4 in Hz (default 440, ISO 16:1975), 380 to 500. Returns a Written in hertz; the
    resolution of a bare note name is a semitone, else one count of the cents. Raises UnitError for a note without
    octave, H, cents without sign; InputError for a frequency that is not positive.
    """
    check_reference(reference)
    plain = clean(text, where)
    found = _NOTE.match(plain)
    if found is not None:
        return _read_note(found, text, where, reference)
    kind = kind_named("pitch")
    number, rest = read_number(plain, where, text)
    unit = find_unit(rest, kind, where, text)
    if number.value <= 0:
        raise InputError(at(where, f"{text!r} is not a pitch; a frequency is a positive number."))
    return made(number, unit, kind.sizes[unit], text, where)
