"""Fanned frets: where nut and frets lie under every string. On a straight board the one scale holds for all strings.

The bench's words: the scale of the first string (treble), that of the last (bass), and the fret that stands square to
the centre line. x = 0 is where the nut crosses the centre line; scales run along x.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from setwright.instrument.traits import Array, Traits
from setwright.physics.frets import fret_crossing, fret_position, fret_slope


def _last(value: Array) -> Array:
    return np.asarray(value)[..., None]


def slopes(traits: Traits, frets: ArrayLike) -> Array:
    """Slant of the nut (0) and of frets, x gained per z towards the bass.

    Args:
        traits: the instrument, with or without a batch axis.
        frets: (N) numbers [1].
    Returns: (..., N) [1].
    """
    board, nut, saddle = traits.fretboard, traits.nut.z, traits.bridge.saddle_z
    spreads = (_last(z[..., -1] - z[..., 0]) for z in (nut, saddle))
    return fret_slope(frets, _last(board.fan), _last(board.square), *spreads)


def nut_places(traits: Traits) -> Array:
    """x of the nut face under every string, along the straight neck.

    Args:
        traits: the instrument.
    Returns: (..., S) [m]; zeros on a straight board.
    """
    if not traits.fanned:
        return np.zeros_like(traits.nut.z)
    return np.asarray(slopes(traits, [0.0]) * traits.nut.z)


def string_scales(traits: Traits) -> Array:
    """Nominal scale length of every string.

    Args:
        traits: the instrument.
    Returns: (..., S) [m], or (..., 1) on a straight board.
    """
    scale, z = _last(traits.fretboard.scale), traits.nut.z
    if not traits.fanned:
        return scale
    return np.asarray(scale + _last(traits.fretboard.fan) * z / (z[..., -1:] - z[..., :1]))


def fan_at_bridge(fan: float, square: float, saddle_z: Array) -> Array:
    """How far the row of saddles stands off the square line through its middle.

    Args:
        fan: scale of the last string less that of the first [m].
        square: number of the fret square to the centre line [1].
        saddle_z: (S) [m].
    Returns: (S) [m], > 0 towards the tail; it keeps every string's 12th fret at half its own scale.
    """
    left = fan * (1.0 - float(fret_position(1.0, square)))
    return np.asarray(left * saddle_z / (saddle_z[-1] - saddle_z[0]))


def crossings(traits: Traits, frets: ArrayLike, nut_x: Array, saddle_x: Array) -> Array:
    """x of frets where every string crosses them, along the straight neck.

    Args:
        traits: the instrument.
        frets: (N) numbers [1].
        nut_x: (..., S) of the strings at the nut [m].
        saddle_x: (..., S) at their saddles [m].
    Returns: (..., S, N) [m], or (..., 1, N) on a straight board.
    """
    numbers = np.asarray(frets, dtype=np.float64)
    x = fret_position(_last(traits.fretboard.scale), numbers)[..., None, :]
    if not traits.fanned:
        return x
    ends = (v[..., None] for v in (nut_x, traits.nut.z, saddle_x, traits.bridge.saddle_z))
    return fret_crossing(x, slopes(traits, numbers)[..., None, :], *ends)


def fret_places(traits: Traits, frets: ArrayLike) -> Array:
    """`crossings` with plate level and saddles as described: what a rule along the string reads, from x = 0.

    Args:
        traits: the instrument.
        frets: (N) numbers [1].
    Returns: (..., S, N) [m], or (..., 1, N) on a straight board.
    """
    saddle_x = _last(traits.bridge.pivot_x) + traits.bridge.saddle_aft
    return crossings(traits, frets, nut_places(traits), saddle_x)
