"""Pitch of every held string on a fixed bridge: the longer path pulls harder, the shorter, stiffer span sounds.

T = EA ((path + dead) / unstretched - 1): one tension along the whole string, which slides over nut, crowns, finger and
saddle. `dead` is the string beyond nut and saddle that shares it: none behind a locked nut or a clamping saddle.
Cents count from equal temperament, sharp > 0.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from setwright.frozen import frozen
from setwright.physics._ranges import Array, choose, require
from setwright.physics.fretting.hulls import Mask
from setwright.physics.fretting.path import Layout, choked, columns, open_length, trace
from setwright.physics.pitch import FREQUENCY
from setwright.physics.strings import (
    AXIAL,
    BENDING,
    END_SLOPE,
    ENDS,
    LENGTH,
    PART,
    STRAIN,
    UNIT_MASS,
    partial,
    tension_at_pitch,
    tension_from_stretch,
)

STRETCH = (1e-9, STRAIN, "")
STIFFEST = 0.01  # greatest inharmonicity for which the series of clamped ends holds
ROUNDS = 7  # always all of them: no string's answer depends on its neighbours


@frozen
class Wires:
    """What the strings are and how long they were cut; fields broadcast against the layout's (..., S)."""

    unit_mass: Array  # (..., S) kg/m, unstretched
    axial: Array  # (..., S) N, EA (of the core)
    bending: Array  # (..., S) N m2, EI (of the core)
    dead: Array  # (..., S) m, string beyond nut and saddle that shares the tension
    unstretched: Array  # (..., S) m, of path and dead together; nan until `at_pitch`


@frozen
class Notes:
    """Every string held at every fret."""

    cents: Array  # (..., S, N) from equal temperament above the open string (or the reference)
    tension: Array  # (..., S, N) N
    speaking: Array  # (..., S, N) m
    total: Array  # (..., S, N) m, nut to saddle along the held string
    choked: Mask  # (..., S, N) true where a crown ahead would carry the string
    open_hertz: Array  # (..., S) Hz, first partial of the open string


def wires(
    unit_mass: ArrayLike, axial: ArrayLike, bending: ArrayLike, dead: ArrayLike, unstretched: ArrayLike | None = None
) -> Wires:
    """Strings, checked.

    Args:
        unit_mass: (..., S) [kg/m] per unstretched metre
        axial: (..., S) [N] EA, of the core for a wound string
        bending: (..., S) [N m2] EI, of the core for a wound string
        dead: (..., S) [m] beyond nut and saddle, sharing the tension; 0 for locked nut and clamping saddle
        unstretched: (..., S) [m] of the open path and dead together; left out when `at_pitch` will find it

    Returns:
        The strings.

    Valid range: as `physics.strings`; dead 0 to 5 m.

    Raises:
        RangeError: outside it.
    """
    length = np.asarray(np.nan) if unstretched is None else require("unstretched length", unstretched, *LENGTH)
    return Wires(
        require("unit mass", unit_mass, *UNIT_MASS),
        require("axial stiffness", axial, *AXIAL),
        require("bending stiffness", bending, *BENDING),
        require("string beyond nut and saddle", dead, *PART),
        length,
    )


def at_pitch(given: Layout, strings: Wires, hertz: ArrayLike, ends: str = "pinned") -> Wires:
    """Strings wound up until the open ones sound at a pitch: their unstretched lengths found.

    Pinned ends by `strings.tension_at_pitch`; for others Newton's method on the logarithm of the first partial,
    started there (derived here).

    Args:
        given: the layout
        strings: the strings; what they hold as unstretched length is not used
        hertz: (..., S) [Hz] first partials of the open strings
        ends: "pinned", "clamped" or "clamped-pinned"

    Returns:
        The same strings with `unstretched`.

    Valid range: as `strings.tension_at_pitch`; inharmonicity up to 0.01 unless pinned.

    Raises:
        RangeError: outside it.
    """
    slope = END_SLOPE[choose("ends", ends, ENDS)]
    length = open_length(given)
    tension = tension_at_pitch(hertz, length, strings.unit_mass, strings.axial, strings.bending)
    if slope:
        wanted = np.log(4.0 * length**2 * np.asarray(hertz, dtype=np.float64) ** 2 * strings.unit_mass)
        for _ in range(ROUNDS):
            stiff = np.pi**2 * strings.bending / (tension * length**2)
            root = slope * np.sqrt(stiff)
            factor = 1.0 + root + root * root
            now = np.log(tension * (1.0 + tension / strings.axial) * (1.0 + stiff)) + 2.0 * np.log(factor)
            per_log = 1.0 + tension / (strings.axial + tension) - 2.0 * stiffness_gain(stiff, slope)
            tension = tension * np.exp((wanted - now) / per_log)
        require("inharmonicity of a clamped string", stiff, 0.0, STIFFEST, "")
    return replace(strings, unstretched=(length + strings.dead) / (1.0 + tension / strings.axial))


def stiffness_gain(stiff: Array, slope: float) -> Array:
    """How the logarithm of a first partial grows with that of the inharmonicity B (derived here).

    Args:
        stiff: (...) [1] B
        slope: [1] k of the ends, see `strings.END_SLOPE`

    Returns:
        (...) [1] d ln f / d ln B.
    """
    root = slope * np.sqrt(stiff)
    gain: Array = 0.5 * stiff / (1.0 + stiff) + (0.5 * root + root * root) / (1.0 + root + root * root)
    return gain


def fretted_notes(
    given: Layout,
    strings: Wires,
    place: ArrayLike = 0.7,
    depth: ArrayLike = 0.0,
    ends: str = "pinned",
    reference: ArrayLike | None = None,
) -> Notes:
    """Cents error of every string at every fret on a fixed bridge, in closed form.

    First partials by `strings.partial` with n = 1: Fletcher, J. Acoust. Soc. Am. 36, 203 (1964), mass of the
    unstretched string conserved; path by `held_path`. The other strings and the neck do not move: for what they do
    see `fretted_notes_floating`.

    Args:
        given: contacts of nut, crowns and saddle
        strings: the strings with their unstretched lengths
        place: (..., S, N) [1] finger's share of the way from the fret behind to the fret held
        depth: (..., S, N) [m] finger below the line over these two crowns
        ends: "pinned", "clamped", or "clamped-pinned": clamped at nut or fret, pinned at the saddle
        reference: (..., S) [Hz] open pitches that equal temperament counts from; the open strings' own when left out

    Returns:
        The notes.

    Valid range: every string taut and stretched by at most a half; inharmonicity up to 0.01 unless pinned.

    Raises:
        RangeError: outside it.
    """
    k = END_SLOPE[choose("ends", ends, ENDS)]
    shape = np.broadcast_shapes(given.shape[:-1], *(np.shape(v) for v in vars(strings).values()))
    given = _spread(given, shape)
    many, count = int(np.prod(shape)), given.shape[-1]
    wire = Wires(**{name: np.broadcast_to(v, shape).reshape(many) for name, v in vars(strings).items()})
    ratio, stiffness = 1.0 / wire.unstretched, np.pi**2 * wire.bending
    base = _open_square(wire, open_length(given).reshape(many), k)
    hertz = np.sqrt(base / wire.unit_mass) / 2.0
    if reference is not None:
        wanted = np.broadcast_to(require("reference pitch", reference, *FREQUENCY), shape).reshape(many)
        base = base * (wanted / hertz) ** 2
    tempered = 100.0 * np.arange(1, count + 1)[:, None]
    spare = wire.dead - wire.unstretched
    cents, tension, speaking, total = np.empty((4, count, many))
    stopped = np.empty((count, many), dtype=np.bool_)
    for piece, c in columns(given, place, depth):
        t = trace(c, speaking[:, piece])
        over = np.add(t.behind, t.speaking, out=total[:, piece]) + spare[piece]
        over *= ratio[piece]
        pull = np.multiply(wire.axial[piece], require("stretch of the held string", over, *STRETCH), tension[:, piece])
        over += 1.0
        square = square_of_pitch(pull, over, t.speaking, stiffness[piece], k)
        square /= base[piece]
        octaves = np.log2(square, out=square)
        octaves *= 600.0
        np.subtract(octaves, tempered, out=cents[:, piece])
        stopped[:, piece] = choked(t)
    full = (*shape, count)  # frets lie first in memory, as they were worked
    cents, tension, speaking, total = (v.T.reshape(full) for v in (cents, tension, speaking, total))
    return Notes(cents, tension, speaking, total, stopped.T.reshape(full), hertz.reshape(shape))


def _open_square(wire: Wires, length: Array, slope: float) -> Array:
    """`square_of_pitch` of the open strings."""
    over = (length + wire.dead - wire.unstretched) / wire.unstretched
    stretch = require("stretch of the open string", over, *STRETCH)
    return square_of_pitch(wire.axial * stretch, 1.0 + stretch, length, np.pi**2 * wire.bending, slope)


def square_of_pitch(tension: Array, stretch: Array, length: Array, stiffness: Array, slope: float) -> Array:
    """Square of twice the first partial, times the unit mass: T lam (1 + B) / L^2 x end factor squared.

    Args:
        tension: (...) [N]
        stretch: (...) [1] lam, stretched over unstretched length
        length: (...) [m] speaking length
        stiffness: (...) [N m2] pi^2 EI
        slope: [1] k of the ends, see `strings.END_SLOPE`

    Returns:
        (...) [N/m2]

    Valid range: inharmonicity up to 0.01 when the slope is not 0.

    Raises:
        RangeError: outside it.
    """
    area = length * length
    extra = stiffness / area
    square: Array = tension + extra
    square *= stretch
    square /= area
    if slope:
        stiff = require("inharmonicity of a clamped string", extra / tension, 0.0, STIFFEST, "")
        root = slope * np.sqrt(stiff)
        square = square * (1.0 + root + root * root) ** 2
    return square


def _spread(given: Layout, shape: tuple[int, ...]) -> Layout:
    """The layout over all strings meant: also where only the strings vary over the batch."""
    return given if given.shape[:-1] == shape else replace(given, nut_x=np.broadcast_to(given.nut_x, shape))


def open_partial(given: Layout, strings: Wires, number: int = 1, ends: str = "pinned") -> Array:
    """Partial of every open string; number 2 is what the harmonic at the 12th fret sounds.

    Args:
        given: the layout
        strings: the strings with their unstretched lengths
        number: [1] of the partial
        ends: "pinned", "clamped" or "clamped-pinned"

    Returns:
        (..., S) [Hz]

    Valid range: as `strings.partial`.

    Raises:
        RangeError: outside it.
    """
    length = open_length(given)
    tension = tension_from_stretch(length + strings.dead, strings.unstretched, strings.axial)
    return partial(number, tension, length, strings.unit_mass, strings.axial, strings.bending, ends)
