"""Fretting: the path of a held string, the pitch of every note, and where saddle and nut belong."""

from setwright.physics.fretting.capo import Capoed, capo_layout, put_capo
from setwright.physics.fretting.compensation import (
    SetBack,
    best_setback,
    moved,
    octave_error,
    octave_sensitivity,
    setback_for_octave,
)
from setwright.physics.fretting.derivatives import Slopes, slopes
from setwright.physics.fretting.floating import FloatingNotes, fretted_notes_floating, rig_layout
from setwright.physics.fretting.notes import Notes, Wires, at_pitch, fretted_notes, open_partial, wires
from setwright.physics.fretting.octave import SaddleMove, remedies, saddle_move
from setwright.physics.fretting.path import Layout, Path, held_path, layout, open_length

__all__ = [
    "Capoed",
    "FloatingNotes",
    "Layout",
    "Notes",
    "Path",
    "SaddleMove",
    "SetBack",
    "Slopes",
    "Wires",
    "at_pitch",
    "best_setback",
    "capo_layout",
    "fretted_notes",
    "fretted_notes_floating",
    "held_path",
    "layout",
    "moved",
    "octave_error",
    "octave_sensitivity",
    "open_length",
    "open_partial",
    "put_capo",
    "remedies",
    "rig_layout",
    "saddle_move",
    "setback_for_octave",
    "slopes",
    "wires",
]
