"""What is wanted, what is at hand, and what must not happen."""

from __future__ import annotations

from dataclasses import field
from typing import Literal

import numpy as np

from setwright.frozen import frozen
from setwright.instrument.prior import Prior
from setwright.instrument.settings import Settings
from setwright.instrument.traits import Array, Traits

BridgeMode = Literal["floating", "decked", "dive-only", "blocked", "fixed"]
ShimKind = Literal["strip", "wedge", "flat"]


@frozen
class Shim:
    """One shim: where it lies and how thick it is at its thick end."""

    kind: ShimKind
    thickness: float  # m


@frozen
class UpBend:
    """A wanted pull-up: string (0 = thinnest) and cents."""

    string: int
    cents: float


@frozen
class ReliefTarget:
    """Wanted relief under a named convention."""

    value: float  # m
    tolerance: float  # m
    hold: tuple[int, int]  # frets held
    read: int  # fret read


@frozen
class Stroke:
    """A stroke that must touch no fret ahead, wherever a string is stopped."""

    force: float  # N, square to the board
    place: float  # share of the open string from the saddle


@frozen
class Targets:
    """Everything wanted of the finished instrument."""

    mode: BridgeMode
    hertz: Array  # (S) open strings, first partial
    pitch_tolerance: float  # cents
    gap: float | None  # m, rear gap; None: left to the planner
    gap_tolerance: float  # m
    level: bool  # plate parallel with the body top
    heights: Array | None  # (S) m at `height_fret`; None: as they are, or with `clean` as low as stays clean
    height_tolerance: float  # m
    height_fret: int
    radius: float | None = None  # m, arc of the string undersides at the saddles through the outer strings
    radius_tolerance: float = 0.0254  # m
    relief: ReliefTarget | None = None
    octave: float = 0.0  # cents, fret 12 against the octave of the open string, aimed at
    octave_tolerance: float | None = None  # cents; None: aimed at, not demanded
    up_bend: UpBend | None = None
    up_bend_tolerance: float = 25.0  # cents below the wanted bend still accepted
    holds_bend: float = 200.0  # cents: a decked plate must not lift under a bend of this size
    attitude: str = "playing"
    clean: Stroke | None = None

    @property
    def lowest(self) -> bool:
        """Whether the strings are to lie as low as stays clean."""
        return self.clean is not None and self.heights is None

    @property
    def sets_heights(self) -> bool:
        """Whether string heights are asked for, by value or by what stays clean."""
        return self.heights is not None or self.clean is not None


@frozen
class Shelf:
    """What the shop has at hand."""

    shims: tuple[Shim, ...] = ()
    spring_counts: tuple[int, ...] = (2, 3, 4, 5)


@frozen
class Limits:
    """What must not happen on the way."""

    peak: float = 50.0  # cents a string may stand above its final pitch
    stress: float = 0.8  # share of the breaking load
    claw_step: float = 0.125  # turns a hand sets
    screw_step: float = 0.125  # turns
    tuner_error: float = 0.5  # cents


@frozen
class FoundState:
    """As found: settings (pegs included) and which readings say so."""

    settings: Settings
    mode: BridgeMode
    hertz: Array | None  # (S) at pitch as found, else None
    shims: tuple[Shim, ...] = ()
    readings: tuple[FoundReading, ...] = ()
    octave: Array | None = None  # (S) cents, as read
    octave_sd: Array | None = None  # (S) cents


@frozen
class FoundReading:
    """One reading of the found state, ready for learning."""

    quantity: Literal["rear gap", "string height", "relief"]
    value: float  # SI
    sd: float  # SI
    string: int | None = None
    fret: int | None = None
    hold: tuple[int, int] | None = None
    text: str = ""  # as written
    where: str = ""  # file and line


@frozen
class Problem:
    """A whole job: the instrument, as found, as wanted."""

    traits: Traits  # with the strings as found
    wanted: Traits  # the same with the strings as wanted
    known: Prior  # deviations; parts of the wanted set are named "wanted.*"
    found: FoundState
    targets: Targets
    shelf: Shelf = field(default_factory=Shelf)
    limits: Limits = field(default_factory=Limits)
    title: str = ""
    instrument: str = ""
    spare: Array | None = None  # (S) m a saddle shall stand above the lowest clean place, for what is not known
    octave_bias: Array | None = None  # (S) cents, octave errors read less those predicted as found; None: none read

    @property
    def new_strings(self) -> bool:
        """Whether another set goes on."""
        return self.wanted.strings is not self.traits.strings


def spring_mask(traits: Traits, count: int) -> Array:
    """Places used by a number of springs.

    Args:
        traits: the instrument, for its pattern.
        count: number of springs [1].
    Returns: (K) 1 where a spring hangs.
    """
    mask = np.zeros(traits.springs.hook_aft.shape[-1])
    mask[list(traits.springs.patterns[count])] = 1.0
    return mask
