"""A reading: a value with its unit as written, its standard uncertainty, place, convention and state.

Terms after JCGM 200 (VIM); uncertainty after JCGM 100:2008 (GUM).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import field

from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.metrology.gauges import Gauge
from setwright.units import Written

ATTITUDES = ("playing", "on its back", "upright", "face down")
SIDES = ("", "treble", "bass")
DIRECTIONS = ("", "above", "below")
_CENTS_TO_RATIO = math.log(2.0) / 1200.0


def _count(value: int | None, what: str, least: int) -> None:
    if value is not None and not least <= value <= 40:
        raise InputError(f"{what} {value} does not exist; it lies between {least} and 40.")


@frozen
class Place:
    """Where a reading was taken. fret: 0 is the nut; string: 1 is the thinnest; side: "treble" or "bass" of a plate or
    claw; harmonic: the string was touched over the fret, not stopped. None or "" where it does not apply."""

    fret: int | None = None
    string: int | None = None
    side: str = ""
    harmonic: bool = False

    def __post_init__(self) -> None:
        _count(self.fret, "fret", 0)
        _count(self.string, "string", 1)
        if self.side not in SIDES:
            raise InputError(f"{self.side!r} is not a side; there are: treble, bass.")
        if self.harmonic and not self.fret:
            raise InputError("a harmonic needs the fret it is touched over; give the fret.")


@frozen
class Convention:
    """How a reading was taken, since the trade has no single way.

    Relief: hold_low and hold_high are the frets the string is held at, read_at the fret between them where the gap is
    read; straightedge: read under a straightedge resting on those frets instead of a string. String height: capo is the
    fret of a capo left on, None without (the fret itself belongs to Place).
    """

    hold_low: int | None = None
    hold_high: int | None = None
    read_at: int | None = None
    straightedge: bool = False
    capo: int | None = None

    def __post_init__(self) -> None:
        for name in ("hold_low", "hold_high", "read_at", "capo"):
            _count(getattr(self, name), f"the fret of {name.replace('_', ' ')},", 1)
        given = [fret for fret in (self.hold_low, self.read_at, self.hold_high) if fret is not None]
        if given != sorted(set(given)):
            raise InputError(f"frets {given} do not rise; relief is read between the two frets the string is held at.")
        if given and len(given) < 3:
            raise InputError("relief needs three frets: the two the string is held at and the one where it is read.")


@frozen
class State:
    """The instrument's state at the reading. at_pitch: False when slack; attitude: one of ATTITUDES; wedge: the plate
    is wedged or blocked; reached_from: "above" or "below" in pitch, which matters with friction, "" when unknown."""

    at_pitch: bool = True
    attitude: str = "playing"
    wedge: bool = False
    reached_from: str = ""

    def __post_init__(self) -> None:
        if self.attitude not in ATTITUDES:
            raise InputError(f"{self.attitude!r} is not an attitude; there are: {', '.join(ATTITUDES)}.")
        if self.reached_from not in DIRECTIONS:
            raise InputError(f"{self.reached_from!r} is not a direction; it is above, below or nothing.")


@frozen
class Reading:
    """A reading.

    quantity: a name of `plausible.QUANTITIES`. value: SI unit of the quantity (cents for octave error). written: text
    as written, with its unit. standard_uncertainty: same unit as value, > 0. place, convention, state: see there.
    gauge: name of the gauge, "" when unknown.
    """

    quantity: str
    value: float
    written: str
    standard_uncertainty: float
    place: Place = field(default_factory=Place)
    convention: Convention = field(default_factory=Convention)
    state: State = field(default_factory=State)
    gauge: str = ""

    def __post_init__(self) -> None:
        if not math.isfinite(self.value):
            raise InputError(f"the reading of {self.quantity} is {self.value}; a finite number is needed.")
        check_uncertainty(self.standard_uncertainty, self.quantity)


def check_uncertainty(uncertainty: float, what: str) -> float:
    """A standard uncertainty (any unit), returned when it is finite and > 0; `what` is named in the InputError."""
    if not (math.isfinite(uncertainty) and uncertainty > 0.0):
        raise InputError(f"the uncertainty of {what} is {uncertainty}; it must be a finite number greater than zero.")
    return uncertainty


def resolution_uncertainty(resolution: float) -> float:
    """Standard uncertainty of a value rounded to a step: u = step / sqrt(12).

    JCGM 100:2008 4.3.7 eq. (7), a uniform distribution between two bounds, u2 = (a+ - a-)2 / 12, with F.2.2.1 for the
    resolution of an indication. resolution: the step, any unit, >= 0. Returns u in the same unit. Raises InputError.
    """
    if not (math.isfinite(resolution) and resolution >= 0.0):
        raise InputError(f"a resolution of {resolution} is not possible; it is a finite number, zero or more.")
    return resolution / math.sqrt(12.0)


def combined_uncertainty(*parts: float) -> float:
    """Independent standard uncertainties of one sum, in quadrature: JCGM 100:2008 5.1.2 eq. (10), sensitivities of one.

    parts: standard uncertainties, one common unit, each >= 0. Returns u in that unit. Raises InputError.
    """
    if not all(math.isfinite(part) and part >= 0.0 for part in parts):
        raise InputError(f"uncertainties {parts} cannot be combined; each is a finite number, zero or more.")
    return math.hypot(*parts)


def gauge_uncertainty(gauge: Gauge) -> float:
    """Standard uncertainty of one reading by a gauge, its resolution and the hand in quadrature (eqs. (7) and (10)).

    gauge: any. Returns u in the SI unit of its kind (cents for a tuner).
    """
    return combined_uncertainty(gauge.repeatability, resolution_uncertainty(gauge.resolution))


def mean_of(values: Sequence[float]) -> tuple[float, float]:
    """Mean of repeated readings and its standard uncertainty: JCGM 100:2008 4.2.1 eq. (3), 4.2.3 eq. (5).

    values: two or more readings, one unit. Returns (mean, s / sqrt(n)) in that unit; the second is zero when all agree,
    so combine it with the resolution. Raises InputError for fewer than two or for values that are not finite.
    """
    if len(values) < 2 or not all(math.isfinite(value) for value in values):
        raise InputError("a repeatability needs at least two finite readings; read the same place again.")
    mean = math.fsum(values) / len(values)
    variance = math.fsum((value - mean) ** 2 for value in values) / (len(values) - 1)
    return mean, math.sqrt(variance / len(values))


def effective_resolution(written: Written, gauge: Gauge | None) -> float:
    """The step a written value is really known to, in its SI unit (derived here).

    written: as read by `setwright.units`. gauge: of the same kind, or None (then the written step counts). A value
    written more finely than the gauge is marked counts as read to half a division at best, as in 2.5/32; a decimal
    written more coarsely keeps its written step; a fraction may have been reduced, so there the gauge decides.
    """
    if gauge is None:
        return written.resolution_si
    if written.resolution_si < gauge.resolution:
        return max(written.resolution_si, gauge.resolution / 2.0)
    return gauge.resolution if written.as_fraction else written.resolution_si


def reading_uncertainty(written: Written, gauge: Gauge | None = None) -> float:
    """Standard uncertainty of one reading from resolution and repeatability in quadrature (eqs. (7) and (10) of
    JCGM 100:2008).

    written: value in SI. gauge: of the same kind, or None; a gauge in cents serves a pitch in hertz, by
    u(f) = f ln 2 / 1200 u(cents). Returns u in the SI unit of the value. Raises InputError when nothing is left of it.
    """
    if gauge is None:
        return check_uncertainty(resolution_uncertainty(written.resolution_si), repr(written.text))
    step, hand = gauge.resolution, gauge.repeatability
    if gauge.kind == "cents" and written.unit in ("Hz", "kHz", "note"):
        scale = written.si * _CENTS_TO_RATIO
        step, hand = max(step * scale, written.resolution_si if written.unit != "note" else 0.0), hand * scale
    else:
        step = effective_resolution(written, gauge)
    return check_uncertainty(combined_uncertainty(resolution_uncertainty(step), hand), repr(written.text))


def take(
    quantity: str,
    written: Written,
    gauge: Gauge | None = None,
    place: Place | None = None,
    convention: Convention | None = None,
    state: State | None = None,
    standard_uncertainty: float | None = None,
) -> Reading:
    """Make a Reading of what was written.

    quantity: its name. written: from `setwright.units`. gauge: what it was read with, or None. place, convention,
    state: as in Reading, None for the plain ones. standard_uncertainty: SI, > 0, when it is known; else from gauge and
    written form (`reading_uncertainty`). Returns the Reading. Raises InputError for an impossible uncertainty.
    """
    u = reading_uncertainty(written, gauge) if standard_uncertainty is None else standard_uncertainty
    return Reading(
        quantity,
        written.si,
        written.text,
        u,
        place or Place(),
        convention or Convention(),
        state or State(),
        gauge.name if gauge else "",
    )
