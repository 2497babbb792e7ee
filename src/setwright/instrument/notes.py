"""Every note of the fretboard: the instrument at rest, one string after the other held at every fret."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from setwright.instrument.geometry import crowns, pivot_line
from setwright.instrument.settings import Settings
from setwright.instrument.traits import Array, Traits
from setwright.physics.balance import Equilibrium, Rig
from setwright.physics.fretting.floating import FloatingNotes, fretted_notes_floating


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
        state: (B) at rest, strings taut.
        ends: stiffness at the ends: "pinned", "clamped" or "clamped-pinned".
        frets: numbers of the frets wanted, N of them; all when left out [1].
    Returns: the notes, (B, S, N).
    """
    place, depth = (_over(value) for value in (traits.playing.finger_place, traits.playing.finger_depth))
    return fretted_notes_floating(rig, state, *rig_crowns(traits, settings, state), place, depth, ends, frets)


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
