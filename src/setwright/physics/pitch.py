"""Pitch: cents, equal temperament, names of notes.

A note number counts semitones upwards with A4 = 69 (so C4, middle C, is 60), the count of the MIDI 1.0 specification.
Octaves are written with the number that changes at C.
"""

from __future__ import annotations

import re

import numpy as np
from numpy.typing import ArrayLike

from setwright.errors import RangeError
from setwright.physics._ranges import Array, require

STANDARD_A4 = 440.0  # Hz, ISO 16:1975
CENTS_PER_LOG = 1200.0 / float(np.log(2.0))  # cents for a small relative change of frequency of 1

FREQUENCY = (0.1, 1e5, "Hz")
REFERENCE = (380.0, 500.0, "Hz")
NUMBER = (-24.0, 160.0, "semitones")

_STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_SHARPS = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
_FLATS = ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B")
_NAME = re.compile(r"([A-Ga-g])([#b♯♭]?)(-?\d)")


def cents(frequency: ArrayLike, reference: ArrayLike) -> Array:
    """Interval from a reference to a frequency, 1200 log2(f / reference); sharp > 0. Definition of the cent.

    Args:
        frequency: (...) [Hz]
        reference: (...) [Hz]

    Returns:
        (...) [cent]

    Valid range: both 0.1 to 100 000 Hz.

    Raises:
        RangeError: outside it.
    """
    f, r = require("frequency", frequency, *FREQUENCY), require("reference frequency", reference, *FREQUENCY)
    interval: Array = 1200.0 * np.log2(f / r)
    return interval


def ratio_from_cents(interval: ArrayLike) -> Array:
    """Frequency ratio of an interval, 2^(cents / 1200); the inverse of `cents`.

    Args:
        interval: (...) [cent]

    Returns:
        (...) [1]

    Valid range: within ten octaves, -12 000 to 12 000 cents.

    Raises:
        RangeError: outside it.
    """
    return np.exp2(require("interval", interval, -12000.0, 12000.0, "cents") / 1200.0)


def note_frequency(number: ArrayLike, a4: ArrayLike = STANDARD_A4) -> Array:
    """Equal-tempered frequency of a note, a4 x 2^((number - 69) / 12); A4 = 440 Hz by ISO 16:1975.

    Args:
        number: (...) [1] note number, 69 at A4; fractions are allowed
        a4: (...) [Hz] what A4 is tuned to

    Returns:
        (...) [Hz]

    Valid range: number -24 to 160, a4 380 to 500 Hz.

    Raises:
        RangeError: outside it.
    """
    n, a = require("note number", number, *NUMBER), require("A4", a4, *REFERENCE)
    frequency: Array = a * np.exp2((n - 69.0) / 12.0)
    return frequency


def note_number(name: str) -> int:
    """Note number of a name such as E2, F#3, Bb2.

    Args:
        name: letter A to G, one # or b or neither, octave -1 to 9

    Returns:
        [1] semitones counted with A4 = 69.

    Raises:
        RangeError: when the text is not such a name.
    """
    match = _NAME.fullmatch(name.strip())
    if match is None:
        raise RangeError(f"{name!r} is not the name of a note; write a letter A to G, # or b, and an octave: F#3.")
    letter, accidental, octave = match.groups()
    shift = {"": 0, "#": 1, "♯": 1, "b": -1, "♭": -1}[accidental]
    return 12 * (int(octave) + 1) + _STEPS[letter.upper()] + shift


def note_name(number: int, flats: bool = False) -> str:
    """Name of a note number with its octave, the inverse of `note_number`.

    Args:
        number: [1] whole note number, 0 (C-1) to 131 (B9)
        flats: write Bb rather than A#

    Returns:
        The name, such as E2 or F#3.

    Raises:
        RangeError: outside 0 to 131 or not whole.
    """
    n = int(require("note number", number, 0.0, 131.0, "semitones"))
    if n != number:
        raise RangeError(f"note number is {number}; only whole numbers have a name: round it first.")
    return f"{(_FLATS if flats else _SHARPS)[n % 12]}{n // 12 - 1}"


def nearest_note(frequency: ArrayLike, a4: ArrayLike = STANDARD_A4) -> tuple[Array, Array]:
    """Nearest equal-tempered note to a frequency and how far off it lies. Inverse of `note_frequency` (ISO 16:1975).

    Args:
        frequency: (...) [Hz]
        a4: (...) [Hz] what A4 is tuned to

    Returns:
        (...) [1] whole note number, and (...) [cent] the frequency relative to that note, sharp > 0, -50 to 50.

    Valid range: frequency 0.1 to 100 000 Hz, a4 380 to 500 Hz.

    Raises:
        RangeError: outside it.
    """
    exact = 69.0 + cents(frequency, require("A4", a4, *REFERENCE)) / 100.0
    number = np.rint(exact)
    return number, 100.0 * (exact - number)
