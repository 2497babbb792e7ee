"""Whether the odd partials of an open string sound midway between those of a note an octave above it. Derived here.

A string touched at its middle swings in partials 2, 4, 6 ...; a finger not quite at the node, or one that leaves it
late, leaves something of partials 1, 3, 5 ... They lie where the law of the open string says, at m f0 sqrt(1 + B m^2)
with m = 1/2, 3/2, 5/2 ... of the note's own f0 and B. A string held at fret 12 has nothing there. Other strings that
ring along may by chance have one line there, but not several: their B is another.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from setwright.listening.notes import Note
from setwright.listening.sound import Sound

Array = NDArray[np.float64]

LONGEST = 1.5  # s looked at
SHORTEST = 0.3  # s
LINES = 8  # looked for
FEWEST = 3  # that must be heard
NEAR = 6.0  # cents, how near its place a line must lie, and half a bin
ABOVE = 6.0  # times the noise
CLEAR = 50.0  # dB, noise below the note from which on nothing heard means something
ASIDE = (0.15, 0.35)  # of f0 from a line's place, where noise is taken
_CENT = np.log(2.0) / 1200.0


def odd_left(sound: Sound, note: Note) -> bool | None:
    """Whether a note has lines of a string an octave below it.

    Args:
        sound: the note was measured on.
        note: with its law.
    Returns: whether at least `FEWEST` stand; None where noise or the note's length do not let it be told.
    """
    if note.fundamental is None or note.inharmonicity is None:
        return None
    first, last = (round((t - sound.start) * sound.rate) for t in note.used)
    samples = sound.samples[max(first, 0) : min(last, first + round(LONGEST * sound.rate))]
    width = sound.rate / max(len(samples), 1)
    if len(samples) < SHORTEST * sound.rate or note.fundamental * ASIDE[0] < 4.0 * width:
        return None
    size = 1 << (4 * len(samples) - 1).bit_length()
    window = np.hanning(len(samples)) ** 2
    level = np.abs(np.fft.rfft((samples - samples.mean()) * window, size))
    step = sound.rate / size
    heard, noises = 0, []
    for k in np.arange(1, LINES + 1) - 0.5:
        place = k * note.fundamental * float(np.sqrt(1.0 + max(note.inharmonicity, 0.0) * k * k))
        if place + note.fundamental > 0.45 * sound.rate:
            break
        noise = _noise(level, place / step, note.fundamental / step)
        noises.append(noise)
        reach = place * NEAR * _CENT + 0.5 * width
        heard += _stands(level, (place - reach) / step, (place + reach) / step, ABOVE * noise)
    if heard >= FEWEST:
        return True
    told = len(noises) >= FEWEST and 20.0 * np.log10(level.max() / max(float(np.median(noises)), 1e-300)) > CLEAR
    return False if told else None


def _noise(level: Array, place: float, spacing: float) -> float:
    """Median of the level on both sides of a line."""
    low, high = (spacing * one for one in ASIDE)
    edges = ((place - high, place - low), (place + low, place + high))
    return float(np.median(np.concatenate([level[max(int(a), 1) : int(b) + 1] for a, b in edges])))


def _stands(level: Array, first: float, last: float, least: float) -> bool:
    """Whether a peak lies between two places."""
    some = level[max(int(np.ceil(first)), 1) : int(last) + 1]
    if not len(some):
        return False
    at = max(int(np.ceil(first)), 1) + int(np.argmax(some))
    return bool(level[at] > least and level[at - 1] <= level[at] >= level[at + 1])
