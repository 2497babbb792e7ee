"""The player's stroke on a predicted state: how far every string swings, what it nears, how low it may stand."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from setwright.frozen import frozen
from setwright.instrument.geometry import saddle_contact
from setwright.instrument.neckshape import stop_points
from setwright.instrument.settings import Settings
from setwright.instrument.traits import Array, Traits
from setwright.physics.balance import Equilibrium
from setwright.physics.clearance import Least, clearance_map, least, pluck_amplitude, rise_to_clear

SHORT_OF_FRET = 0.96  # of the string from the last fret to the saddle: no stroke falls nearer to that fret


@frozen
class Strokes:
    """Strokes and contacts of one state on B instruments."""

    x: Array  # (B, S, N + 1) m, nut slot and crowns
    y: Array  # (B, S, N + 1) m, undersides on them
    saddle_x: Array  # (B, S) m
    saddle_y: Array  # (B, S) m
    pluck: Array  # (B, S) m from the saddle
    per_newton: Array  # (B, S, N + 1) m/N
    force: Array  # (B) N, square to the board


def contacts(traits: Traits, settings: Settings, state: Equilibrium) -> tuple[Array, Array, Array, Array]:
    """Nut slot and crowns, and the saddle, under every string.

    Args:
        traits: the instrument(s).
        settings: how they stand.
        state: (B) at rest.
    Returns: x, y (B, S, N + 1) and x, y (B, S) [m], undersides, body frame.
    """
    x, y = stop_points(traits, settings, state.bow)
    return x, y, *saddle_contact(traits, settings, state.tilt)


def farthest_stroke(frets: int) -> float:
    """Farthest place of a stroke from the saddle, short of the last fret.

    Args:
        frets: of the board [1].
    Returns: share of the open string [1].
    """
    return SHORT_OF_FRET * float(2.0 ** (-frets / 12.0))


def stroke_place(traits: Traits, count: int, place: float | None = None) -> Array:
    """Where the stroke falls.

    Args:
        traits: the instrument(s), for the player's own place.
        count: B [1].
        place: share of the open string from the saddle; None: the player's, short of the last fret [1].
    Returns: (B) share of the open string from the saddle [1].
    """
    own = np.minimum(traits.playing.pluck_place, farthest_stroke(traits.fretboard.frets))
    return np.array(np.broadcast_to(own if place is None else place, (count,)))


def strokes_on(
    traits: Traits,
    settings: Settings,
    state: Equilibrium,
    force: float | None = None,
    place: float | None = None,
    off: ArrayLike = 0.0,
) -> Strokes:
    """How far a newton at the pluck brings every string down, wherever it is stopped; docs/physics-clearance, (2).

    Args:
        traits: the instrument(s).
        settings: how they stand.
        state: (B) at rest, strings at pitch.
        force: square to the board; None: the player's [N].
        place: share of the open string from the saddle; None: the player's [1].
        off: (B, S) how much higher than predicted every saddle stands [m].
    Returns: the strokes.
    Raises: RangeError for strokes outside what `physics.clearance` works with.
    """
    x, y, saddle_x, saddle_y = contacts(traits, settings, state)
    count = len(state.tilt)
    given = traits.playing.pluck_force if force is None else force
    pluck = stroke_place(traits, count, place)[:, None] * (saddle_x - x[..., 0])
    speaking = saddle_x[..., None] - x
    per_newton = pluck_amplitude(1.0, pluck[..., None] / speaking, speaking, state.tension[..., None])
    strength = np.array(np.broadcast_to(given, (count,)))
    return Strokes(x, y, saddle_x, saddle_y + np.asarray(off), pluck, per_newton, strength)


def clearances(strokes: Strokes, struck: bool = True) -> Array:
    """Clearance of every string, stopped anywhere, over every crown ahead; docs/physics-clearance, (3).

    Args:
        strokes: of a state.
        struck: with the stroke, or at rest.
    Returns: (B, S, N + 1, N + 1) [m] by stop, then crown ahead; inf where none is ahead.
    """
    force = strokes.force[:, None, None] if struck else 0.0
    return clearance_map(
        strokes.x, strokes.y, strokes.saddle_x, strokes.saddle_y, strokes.pluck, force * strokes.per_newton
    )


def least_clearance(strokes: Strokes) -> Least:
    """Least clearance of every struck string over all places it can be stopped at, and where it is.

    Args:
        strokes: of a state.
    Returns: clearance (B, S) [m], number of the stop and of the crown ahead.
    """
    return least(clearances(strokes))


def saddle_rise_to_clear(strokes: Strokes) -> Least:
    """Rise of every saddle that just keeps its struck string clear everywhere; docs/physics-clearance, (5).

    Args:
        strokes: of a state.
    Returns: rise (B, S) [m], below zero where the saddle may go down, and the stop and crown that decide.
    """
    return rise_to_clear(clearances(strokes), strokes.x, strokes.saddle_x)


def height_at(strokes: Strokes, fret: int) -> tuple[Array, Array]:
    """Height of the open string at a fret, and how much of a rise of its saddle arrives there.

    Args:
        strokes: of a state.
        fret: where [1].
    Returns: (B, S) height, crown to underside [m], and (B, S) share [1].
    """
    share = (strokes.x[..., fret] - strokes.x[..., 0]) / (strokes.saddle_x - strokes.x[..., 0])
    level = strokes.y[..., 0] + share * (strokes.saddle_y - strokes.y[..., 0])
    return level - strokes.y[..., fret], share
