"""Every note of the fretboard: the instrument at rest, one string after the other held at every fret."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from setwright.instrument.geometry import crowns, pivot_line
from setwright.instrument.settings import Settings
from setwright.instrument.traits import Array, Traits
from setwright.physics.balance import Equilibrium, Rig
from setwright.physics.fretting.floating import FloatingNotes, fretted_notes_floating

PLACES = (0.05, 0.95)  # share of the way between two frets
DEPTHS = (0.0, 2e-3)  # m
AT_STOP = 1e-9  # rad, nearer to a stop than this the plate rests on it


def fretted(
    traits: Traits,
    settings: Settings,
    rig: Rig,
    state: Equilibrium,
    ends: str = "pinned",
    frets: Sequence[int] | None = None,
) -> FloatingNotes:
    """Cents error of every string at every fret, plate and neck settling with the held string.

    A fixed or blocked plate cannot follow; then only the neck does.

    Args:
        traits: the instrument.
        settings: its settings.
        rig: (B) its rigs.
        state: (B) at rest, or held at a tilt; strings taut.
        ends: stiffness at the ends: "pinned", "clamped" or "clamped-pinned".
        frets: numbers of the frets wanted, N of them; all when left out [1].
    Returns: the notes, (B, S, N).
    """
    # drawn instruments come from a Gaussian, whose tails hold fingers that no hand has
    place = _over(np.clip(traits.playing.finger_place, *PLACES))
    depth = _over(np.clip(traits.playing.finger_depth, *DEPTHS))
    crown_x, crown_y = rig_crowns(traits, settings, state)
    # a plate that no stop holds is held by hand, and stays held while the string is pressed
    low = (state.tilt <= rig.tilt_low + AT_STOP) & (state.contact >= 0.0)
    high = (state.tilt >= rig.tilt_high - AT_STOP) & (state.contact <= 0.0)
    load = np.where(low | high, 0.0, state.contact)
    return fretted_notes_floating(rig, state, crown_x, crown_y, place, depth, ends, frets, load)


def rig_crowns(traits: Traits, settings: Settings, state: Equilibrium) -> tuple[Array, Array]:
    """Crowns under every string's centre line, from the pivot line at that string's saddle, as the rig counts.

    Args:
        traits: the instrument.
        settings: its settings.
        state: (B) at rest.
    Returns: x, y (B, S, N) [m], N all frets.
    """
    x, y = crowns(traits, settings, state.tilt, state.bow, range(1, traits.fretboard.frets + 1))
    base = pivot_line(traits, settings, traits.bridge.saddle_z) - 0.5 * traits.strings.diameter
    return x - np.asarray(traits.bridge.pivot_x)[..., None, None], y - base[..., None]


def _over(value: Array) -> Array:
    """() or (B,) -> (B, 1, 1), to go with strings and frets."""
    return np.asarray(value)[..., None, None]
