"""From an octave error that was read to the saddle's screw: which way, how far, how sure, and what if it ends first."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from setwright.frozen import frozen
from setwright.physics._ranges import Array, require
from setwright.physics.frets import LEAD, within

OFF = (-200.0, 200.0, "cents")
SENSITIVITY = (-2e4, -100.0, "cents per m")
WORDS = ("forward", "stay", "back")
# What can be done when the travel ends first, by the end that is in the way; common practice, no source.
# The cheap suspicions come first: a dead string or pickups too close falsify the reading itself.
REMEDIES = {
    "back": ("new string", "lower pickups", "lower string height", "cut spring", "turned saddle", "other gauge"),
    "forward": ("new string", "lower pickups", "turned saddle", "longer screw", "other gauge"),
}


@frozen
class SaddleMove:
    """What to do at each saddle's length screw."""

    way: NDArray[np.str_]  # (...) "back" away from the nut, "forward" towards it, "stay"
    move: Array  # (...) m, back > 0, that brings the octave error to zero
    band: Array  # (...) m, standard uncertainty of the move
    turns: Array  # (...) 1, back > 0
    turns_band: Array  # (...) 1, standard uncertainty
    reached: Array  # (...) m, how much of the move the stops allow
    missing: Array  # (...) m, the rest: > 0 further back, < 0 further forward than the saddle goes
    left: Array  # (...) cent, octave error that stays
    enough: NDArray[np.bool_]  # (...) whether the travel suffices


def saddle_move(
    error: ArrayLike,
    sensitivity: ArrayLike,
    lead: ArrayLike,
    stops: ArrayLike,
    at: ArrayLike = 0.0,
    error_band: ArrayLike = 0.0,
    sensitivity_band: ArrayLike = 0.0,
) -> SaddleMove:
    """Move of the saddle that takes away an octave error: -error / sensitivity (derived here).

    Uncertainty by the law of propagation, JCGM 100:2008, eq. 10: u(move)^2 = (u(error) / s)^2 + (move u(s) / s)^2.

    Args:
        error: (...) [cent] octave error as read, sharp > 0
        sensitivity: (...) [cent/m] its change per set-back of the saddle, below zero; see `octave_sensitivity`
        lead: (...) [m] travel of the length screw per turn
        stops: (..., 2) [m] foremost and rearmost place of the saddle
        at: (...) [m] where it stands between them
        error_band: (...) [cent] standard uncertainty of the reading
        sensitivity_band: (...) [cent/m] standard uncertainty of the sensitivity

    Returns:
        The move.

    Valid range: error within 200 cents, sensitivity -20 000 to -100 cents per m, lead 0.01 to 5 mm per turn.

    Raises:
        RangeError: outside it.
    """
    off, slope = require("octave error", error, *OFF), require("sensitivity", sensitivity, *SENSITIVITY)
    pitch = require("screw lead", lead, *LEAD)
    unsure = require("uncertainty of the reading", error_band, 0.0, 200.0, "cents") / slope
    place = np.asarray(at, dtype=np.float64)
    move = -off / slope
    vague = move * require("uncertainty of the sensitivity", sensitivity_band, 0.0, 2e4, "cents per m") / slope
    band = np.hypot(unsure, vague)
    reached, missing = within(place + move, stops)
    full = np.broadcast_shapes(move.shape, band.shape, pitch.shape, reached.shape)
    words = np.asarray(WORDS)[np.sign(move).astype(np.intp) + 1]
    return SaddleMove(
        way=np.broadcast_to(words, full),
        move=np.broadcast_to(move, full),
        band=np.broadcast_to(band, full),
        turns=np.broadcast_to(move / pitch, full),
        turns_band=np.broadcast_to(band / pitch, full),
        reached=np.broadcast_to(reached - place, full),
        missing=np.broadcast_to(missing, full),
        left=np.broadcast_to(-missing * slope, full),
        enough=np.broadcast_to(missing == 0.0, full),
    )


def remedies(missing: float) -> tuple[str, ...]:
    """Named possibilities when the travel ends first, likeliest and cheapest first (common practice, no source).

    Args:
        missing: [m] > 0 when the saddle should go further back than it can, < 0 further forward

    Returns:
        Names, none when nothing is missing.

    Valid range: within 0.1 m.

    Raises:
        RangeError: outside it.
    """
    lack = float(require("missing travel", missing, -0.1, 0.1, "m"))
    return () if lack == 0.0 else REMEDIES["back" if lack > 0.0 else "forward"]
