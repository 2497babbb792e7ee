"""The plan as data: options, steps, what they do, what to read, and why the rest fail.

Faces put it into words and units. Labels and reasons may carry lengths as metres in braces, "claw {0.004} short":
faces replace them by the reader's unit.
"""

from __future__ import annotations

from typing import Literal

from setwright.frozen import frozen
from setwright.instrument.settings import Settings

COARSE = 1 / 8  # turn, the step in which an uncertain number of turns is told
FINE = 1 / 32  # turn, the same of one that is sure
Kind = Literal["length", "height", "thou", "turns", "cents", "hertz", "force", "angle", "moment", "count", "ratio"]


@frozen
class Amount:
    """One number of a step: what is moved, how far, which way."""

    what: str  # "both claw screws", "saddle of string 3"
    value: float  # SI; turns for kind "turns"; magnitude of the motion, > 0
    kind: Kind
    way: str = ""  # "in", "out", "up", "down", "back", "forward", "to"
    half_width: float | None = None  # 95 % of the instruments this one may be lie within value +- half_width
    exact: float | None = None  # before rounding to what a hand can set
    turns: float | None = None  # the same motion in screw turns, where a screw makes it


def is_rough(one: Amount) -> bool:
    """Whether a number of turns is so uncertain that it is told in eighths.

    Args:
        one: an amount of turns.
    Returns: True or False.
    """
    return one.half_width is not None and one.half_width >= COARSE


def told_turns(one: Amount) -> float:
    """A number of turns as a card, a drawing and the journal tell it alike.

    Args:
        one: an amount of turns.
    Returns: [turn], a whole number of eighths where it is uncertain, of 32nds where not; never none.
    """
    step = COARSE if is_rough(one) else FINE
    return max(round(one.value / step), 1) * step


@frozen
class Effect:
    """What a step does to something it disturbs, with the strings back at pitch unless said otherwise."""

    quantity: str  # "rear gap", "string height", "pitch", "relief", "tilt", "saddle room"
    place: str  # "string 3 at fret 12", "treble end", ""
    before: float | None
    after: float | None
    kind: Kind
    half_width: float | None = None
    note: str = ""  # "before retuning"


@frozen
class Expected:
    """What to read after a step, and what it should show."""

    quantity: str
    place: str
    value: float
    kind: Kind
    half_width: float | None = None
    tolerance: float | None = None
    how: str = ""  # convention and state: "at pitch, playing position"


@frozen
class Step:
    """One thing to do."""

    key: str  # name of the move
    title: str  # imperative, without numbers: "Turn both claw screws out"
    amounts: tuple[Amount, ...] = ()
    effects: tuple[Effect, ...] = ()
    read: tuple[Expected, ...] = ()
    cautions: tuple[str, ...] = ()
    why: str = ""
    stop_when: str = ""
    minutes: float = 0.0
    needs: tuple[str, ...] = ()


@frozen
class TargetLine:
    """One target and what the plan is predicted to give."""

    quantity: str
    place: str
    kind: Kind
    wanted: float | None
    tolerance: float | None
    found: float | None
    predicted: float
    half_width: float
    inside: bool
    chance: float


@frozen
class Way:
    """One way of getting to the end state."""

    name: str
    tunings: float  # expected string tunings until everything is inside tolerance
    claw_settings: float  # expected
    peak: float  # cents above its final pitch that any string reaches, nominal
    stress: float  # largest share of a breaking load on the way
    chance: float  # of being inside every tolerance after two rounds
    minutes: float
    allowed: bool
    reason: str  # why not, or why this one
    pitches: tuple[tuple[int, float], ...]  # in order: string (1 = thinnest), Hz to set it to


@frozen
class Figures:
    """What the finished balance is like; half widths (95 %) stand beside."""

    stiffness: tuple[float, float]  # N m/rad, pegs fixed
    stiffness_retuned: tuple[float, float]  # N m/rad, every string brought back to pitch
    up: tuple[tuple[float, float], ...]  # per string, cents the arm can pull up
    down: tuple[tuple[float, float], ...]  # per string, cents; -inf when it goes slack
    up_stop: str
    down_stop: str
    dip: tuple[float, ...]  # cents the others fall while string 3 is bent up a tone (its own place 0)
    broken: tuple[float, ...]  # cents the others move when string 1 breaks (its own place 0)
    drift: tuple[float, ...]  # cents per kelvin, per string
    friction: tuple[float, ...]  # cents between the two rest points, per string
    attitude: tuple[tuple[str, float], ...]  # mean cents against the playing position
    preload: float | None  # N m pressing on the body, of a decked plate
    lifts_at: tuple[float, ...] | None  # cents of bend of each string that lifts a decked plate
    tensions: tuple[float, ...]  # N
    margin: tuple[float, ...]  # share of the breaking load


@frozen
class Narrow:
    """A number that is not known well: how much of a band it makes, and how to read it."""

    label: str
    share: float  # of the variance of `of`
    of: str
    sd: float
    unit: str
    source: str


@frozen
class End:
    """How an option leaves the instrument, as planned for the most likely one."""

    settings: Settings  # every screw, shim and spring; pegs at pitch
    tilt: float  # rad, of the plate at rest
    bow: float  # 1/m
    hertz: tuple[float, ...]  # Hz, open strings


@frozen
class Option:
    """One combination of the discrete choices, solved."""

    label: str
    steps: tuple[Step, ...]
    targets: tuple[TargetLine, ...]
    ways: tuple[Way, ...]  # the chosen one first
    figures: Figures | None  # None for a fixed bridge
    chance_first: float  # inside every tolerance after one round
    chance_second: float
    minutes: float
    narrow: tuple[Narrow, ...]
    end: End


@frozen
class Rejected:
    """A branch that fails, with the reason."""

    label: str
    reason: str
    miss: float  # by how much, in units of what is allowed; for ranking


@frozen
class Plan:
    """The whole answer."""

    title: str
    instrument: str
    best: Option
    runner_up: Option | None
    rejected: tuple[Rejected, ...]
    considered: int
    remarks: tuple[str, ...]
    found: tuple[Effect, ...]  # as found, by prediction: before = after
    reference: float = 440.0  # Hz, pitch of A4 that the wanted tuning goes by
