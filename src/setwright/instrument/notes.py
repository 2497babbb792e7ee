"""Every note of the fretboard: the instrument at rest, one string after the other held at every fret."""

from __future__ import annotations

import numpy as np

from setwright.instrument.geometry import crowns, pivot_line
from setwright.instrument.settings import Settings
from setwright.instrument.traits import Array, Traits
from setwright.physics.balance import Equilibrium, Rig, unstretched_lengths
from setwright.physics.fretting.notes import Notes, Wires, fretted_notes, wires
from setwright.physics.fretting.path import Layout, layout


def string_layout(traits: Traits, settings: Settings, rig: Rig, state: Equilibrium) -> Layout:
    """Contacts of every string's centre line with nut, crowns and saddle in a state of rest.

    Places are relative to the pivot line at that string's saddle, as the rig has them, so that the open path is the
    rig's own to the last digit.

    Args:
        traits: the instrument.
        settings: its settings.
        rig: (B) its rigs.
        state: (B) at rest.
    Returns: the layout, (B, S) and (B, S, N) with N frets.
    """
    b, radius = traits.bridge, 0.5 * traits.strings.diameter
    x, y = crowns(traits, settings, state.tilt, state.bow, range(1, traits.fretboard.frets + 1))
    base = pivot_line(traits, settings, b.saddle_z) - radius
    cos, sin = np.cos(state.tilt)[:, None], np.sin(state.tilt)[:, None]
    bow = state.bow[:, None]
    return layout(
        rig.nut_x + bow * rig.nut_x_per_bow[:, None],
        rig.nut_y + bow * rig.nut_y_per_bow[:, None],
        x - np.asarray(b.pivot_x)[..., None, None],
        y - base[..., None],
        rig.saddle_aft * cos - rig.saddle_up * sin,
        rig.saddle_aft * sin + rig.saddle_up * cos,
        rig.aside,
    )


def string_wires(rig: Rig, state: Equilibrium) -> Wires:
    """The strings as they are cut, in a state of rest.

    Args:
        rig: (B) rigs.
        state: (B) at rest.
    Returns: the strings, (B, S).
    """
    return wires(rig.unit_mass, rig.axial, rig.bending, rig.dead, unstretched_lengths(rig, state))


def fretted(traits: Traits, settings: Settings, rig: Rig, state: Equilibrium, ends: str = "pinned") -> Notes:
    """Cents error of every string at every fret, plate and neck held where they rest.

    Args:
        traits: the instrument.
        settings: its settings.
        rig: (B) its rigs.
        state: (B) at rest, strings taut.
        ends: stiffness at the ends: "pinned", "clamped" or "clamped-pinned".
    Returns: the notes, (B, S, N).
    """
    where = string_layout(traits, settings, rig, state)
    place, depth = (_over(value) for value in (traits.playing.finger_place, traits.playing.finger_depth))
    return fretted_notes(where, string_wires(rig, state), place, depth, ends)


def _over(value: Array) -> Array:
    """() or (B,) -> (B, 1, 1), to go with strings and frets."""
    return np.asarray(value)[..., None, None]
