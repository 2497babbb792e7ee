"""Where nut and frets lie: on the centre line, and under every string of a fanned board."""

from __future__ import annotations

import numpy as np

from setwright.instrument.fan import fret_places, nut_places, string_scales
from setwright.instrument.traits import Traits
from setwright.physics.frets import fret_position
from setwright.sheets.board import Places

FANNED = "The frets are fanned: relief is told along the centre line, heights and notes along each string."


def on_centre_line(traits: Traits) -> tuple[float, ...]:
    """Places of all frets on the centre line of the straight neck.

    Args:
        traits: the instrument, unbatched.
    Returns: (N) from the nut [m].
    """
    board = traits.fretboard
    return tuple(float(x) for x in np.asarray(fret_position(float(board.scale), np.arange(1, board.frets + 1))))


def under_strings(traits: Traits) -> tuple[Places, ...]:
    """Places under every string of a fanned board; none on a straight one, where all are those of the centre line.

    Args:
        traits: the instrument, unbatched.
    Returns: (S) or none.
    """
    if not traits.fanned:
        return ()
    nut, frets = nut_places(traits), fret_places(traits, range(1, traits.fretboard.frets + 1))
    ends = nut + string_scales(traits)
    return tuple(
        Places(float(start), float(end), tuple(float(x) for x in row))
        for start, end, row in zip(nut, ends, frets, strict=True)
    )
