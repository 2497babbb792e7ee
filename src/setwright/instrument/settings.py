"""Settings: what a hand can change. Frozen data, SI units (turns only at the edges), batch axis as in traits."""

from __future__ import annotations

from typing import Literal

from setwright.frozen import frozen
from setwright.instrument.traits import Array

ATTITUDES = ("playing", "on its back", "upright", "face down")
Fewest = Literal["minutes", "claw settings"]  # what a floating plate's way to pitch is chosen for
FEWEST: tuple[Fewest, ...] = ("claw settings", "minutes")  # the usual one first


@frozen
class Settings:
    """Everything a hand can change, as it is."""

    unstretched: Array  # (S) m, slack string at the reference temperature: what a tuner changes; nan = string off
    claw: Array  # (2) m, hook line to cavity wall at the treble and the bass screw
    springs: Array  # (K) 1 where a spring hangs, else 0
    pivot_rise: Array  # (2) m, above the traits' pivot_y
    saddle_rise: Array  # (S) m, above the traits' saddle_up
    saddle_back: Array  # (S) m, behind the traits' saddle_aft
    strip: Array  # () m, strip shim at the heel end (negative: at the mouth)
    wedge_shim: Array  # () m, full tapered shim, thickness at the heel end
    flat: Array  # () m, full flat shim
    rod: Array  # () turns of the truss rod, tighter > 0
    slot_cut: Array  # (S) m, nut slots deepened by
    prop: Array  # () m, rear gap at which a one-sided wedge props the plate; nan = none
    block: Array  # () m, rear gap at which the plate is blocked both ways; nan = not blocked
    attitude: str = "playing"
    temperature: float = 293.15
