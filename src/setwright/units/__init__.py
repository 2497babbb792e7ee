"""Workshop numbers in and out: what a bench writes is read here, and printed here, and nowhere else."""

from __future__ import annotations

from setwright.units.pitch import A4, note_name, note_number, read_pitch
from setwright.units.read import (
    read_angle,
    read_cents,
    read_force,
    read_length,
    read_mass,
    read_rate,
    read_ratio,
    read_temperature,
    read_turns,
    read_unit_mass,
)
from setwright.units.show import (
    LengthStyle,
    System,
    places_for,
    show_angle,
    show_band,
    show_cents,
    show_force,
    show_length,
    show_pitch,
    show_turns,
    show_value,
    unit_for,
)
from setwright.units.tables import KINDS, unit_size
from setwright.units.tolerance import READERS, read_toleranced
from setwright.units.written import Written

__all__ = ["A4", "KINDS", "READERS", "LengthStyle", "System", "Written", "note_name", "note_number", "places_for"]
__all__ += ["read_angle", "read_cents", "read_force", "read_length", "read_mass", "read_pitch", "read_rate"]
__all__ += ["read_ratio", "read_temperature", "read_toleranced", "read_turns", "read_unit_mass", "show_angle"]
__all__ += ["show_band", "show_cents", "show_force", "show_length", "show_pitch", "show_turns", "show_value"]
__all__ += ["unit_for", "unit_size"]
