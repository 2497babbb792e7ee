"""Tunings by name, boards with one scale or a fan of scales, and a capo."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

import numpy as np

from setwright.errors import InputError
from setwright.instrument.job_checks import BASS, BASS_FROM, GUITAR
from setwright.instrument.string_sets import Gauge, strings_from
from setwright.instrument.traits import Array, array
from setwright.physics.strings import first_partial, tension_at_pitch
from setwright.units.pitch import A4, read_pitch

# Six strings a fourth below the guitar (common practice, no source; others tune a fifth below, written as notes).
BARITONE = {6: "B3 F#3 D3 A2 E2 B1"}
BASS_STRING = 0.024 * 0.0254  # m; a set whose first string is this thick is for a bass (common practice, no source)
BASS_PITCH = 140.0  # Hz; a first string below this is a bass's: C3 is 131, a baritone's A3 220 (common practice)
CAPO_UP_TO = 12  # frets
SHIFT_UP_TO = 12  # semitones
_NAMED = re.compile(r"(?P<name>[a-z]+)\s*(?P<shift>[+-]\s?\d{1,2})?$")


def standard_tuning(count: int, scale: float, reference: float = A4, bass: bool | None = None) -> Array:
    """The usual tuning for a number of strings (common practice, no source).

    Guitar: 6 "E4 B3 G3 D3 A2 E2", 7 with B1 below, 8 with F#1 below that, 12 in pairs. Bass: 4 "G2 D2 A1 E1", 5 with B0
    below, 6 with C3 above as well.

    Args:
        count: number of strings [1].
        scale: scale length [m].
        reference: pitch of A4 [Hz].
        bass: whether it is a bass; None: by the scale length.
    Returns: (S) from the thinnest string [Hz].
    Raises: InputError where none is known.
    """
    long = scale > BASS_FROM if bass is None else bass
    instrument = " at this scale length" if bass is None else " of a bass" if bass else " of a guitar"
    return _from_book("standard", BASS if long else GUITAR, count, reference, instrument)


def named_tuning(text: str, count: int, scale: float, reference: float = A4, bass: bool | None = None) -> Array | None:
    """A tuning by its name, with or without a shift in semitones: standard, baritone, standard -2.

    Args:
        text: as typed.
        count: number of strings [1].
        scale: scale length [m].
        reference: pitch of A4 [Hz].
        bass: whether it is a bass; None: by the scale length.
    Returns: (S) from the thinnest string [Hz]; None when the text is no name of a tuning.
    Raises: InputError where the tuning is not known for that many strings, or the shift is more than an octave.
    """
    found = _NAMED.match(text.strip().casefold().replace("−", "-"))
    if found is None or found["name"] not in ("standard", "baritone"):
        return None
    shift = int((found["shift"] or "0").replace(" ", ""))
    if abs(shift) > SHIFT_UP_TO:
        raise InputError(
            f"--tuning: {text!r} is more than {SHIFT_UP_TO} semitones away; write the notes from string 1."
        )
    if found["name"] == "baritone":
        hertz = _from_book("baritone", BARITONE, count, reference, "")
    else:
        hertz = standard_tuning(count, scale, reference, bass)
    return np.asarray(hertz * 2.0 ** (shift / 12.0))


def bass_string(diameter: float) -> bool:
    """Whether a first string of this thickness is a bass's.

    Args:
        diameter: of string 1 [m].
    Returns: true for a bass.
    """
    return diameter >= BASS_STRING - 1e-6


def for_bass(gauges: Sequence[Gauge]) -> bool:
    """Whether a set is a bass's, by the thickness of its first string.

    Args:
        gauges: (S), from the thinnest.
    Returns: true for a bass.
    """
    return bass_string(gauges[0].diameter)


def spread_scales(thinnest: float, thickest: float, count: int) -> Array:
    """Scale of every string of a fanned board, spread evenly from the first string to the last.

    Args:
        thinnest: scale of string 1 [m].
        thickest: scale of the last string [m].
        count: number of strings [1].
    Returns: (S) [m].
    """
    return np.asarray(np.linspace(thinnest, thickest, count))


def with_capo(gauges: Sequence[Gauge], hertz: Array, length: Array, capo: int) -> tuple[Array, Array]:
    """What sounds with a capo on: the length ends at its fret, the tension stays that of the open string.

    The string is not thought to be stretched by the capo itself. Derived here: the shorter string is a little stiffer,
    so that it sounds up to a cent above the fret's even step.

    Args:
        gauges: (S), from the thinnest.
        hertz: (S) open strings [Hz].
        length: (S) scale of each string [m].
        capo: fret it stands at, 0 for none [1].
    Returns: (S) pitches [Hz] and (S) sounding lengths [m].
    Raises: InputError beyond fret 12.
    """
    if not 0 <= capo <= CAPO_UP_TO:
        raise InputError(f"a capo at fret {capo} is none; it stands at fret 1 to {CAPO_UP_TO}, 0 takes it off.")
    if capo == 0:
        return hertz, length
    strings = strings_from(gauges)
    tension = tension_at_pitch(hertz, length, strings.unit_mass, strings.axial, strings.bending)
    sounding = length * 2.0 ** (-capo / 12.0)
    return first_partial(tension, sounding, strings.unit_mass, strings.axial, strings.bending), np.asarray(sounding)


def _from_book(name: str, book: Mapping[int, str], count: int, reference: float, instrument: str) -> Array:
    if count not in book:
        known = ", ".join(str(n) for n in book)
        raise InputError(
            f"no {name} tuning is known for {count} strings{instrument}, only for {known}; "
            "write the notes from string 1."
        )
    return array([read_pitch(note, "tuning", reference).si for note in book[count].split()])
