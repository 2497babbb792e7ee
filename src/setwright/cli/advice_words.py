"""One step of a balance in words, alike for the next step, the running log and a lesson."""

from __future__ import annotations

from collections.abc import Sequence

from setwright.cli.words import note, number
from setwright.physics.pitch import cents
from setwright.planning.guide import Advice
from setwright.planning.moves import EYES
from setwright.units.show import System, show_turns, show_value

BAND = 1.96  # standard uncertainties in the half width of 95 %
FINEST = 1 / 32  # turn
COARSE = 1 / 8  # turn
HAIR = 0.5  # cents
NEAR = 0.05  # Hz, to which a pitch is shown
SLACK = 1.0  # Hz
SPRINGS = (
    "The strings pull: leave the wedge in, hold the plate by the bar and let it rise and fall slowly. Hold the spring "
    "with a hooked tool and a cloth over it, your face out of its line. " + EYES
)  # what to take care of when a spring comes off or on


def todo(advice: Advice, system: System, wanted: Sequence[float] = (), gauges: bool | None = None) -> str:
    """What to do, in words.

    Args:
        advice: the step.
        system: "inch" or "mm".
        wanted: (S) every string's own pitch, from the thinnest [Hz]; none: a pitch is told by its note.
        gauges: whether gap and claw are to be read with a hearing; None where that is not known.
    Returns: a sentence without its full stop.
    """
    if advice.do == "tune" and advice.string is not None and advice.hertz is not None:
        if not wanted:
            return f"Tune string {advice.string + 1} to {pitch(advice.hertz)}"
        apart = _apart(advice.hertz, wanted[advice.string])
        return f"Tune string {advice.string + 1} to {show_value(advice.hertz, 'pitch', uncertainty=NEAR)}{apart}"
    if advice.do == "claw" and advice.turns is not None:
        way = "in" if advice.turns > 0.0 else "out"
        return f"Turn both claw screws {way} {show_turns(abs(advice.turns), FINEST)}{_band(advice.turns_sd)}"
    if advice.do == "wedge":
        if advice.gap is None:
            return "Take the wedge out"
        return f"Put the wedge under the rear edge, rear gap {number(advice.gap, 'length', system)}"
    if advice.do == "springs":
        there = len(advice.springs)
        if spring_comes_off(advice):
            return f"Take one spring off, {spring_named(advice)}: {there} stay on"
        return f"Hang the spring again: {there} in all"
    if advice.do == "attitude":
        return "Lay the instrument as it will be played and checked"
    if advice.do == "done":
        return "Done" if advice.chance is None else f"Done: inside every tolerance with {100.0 * advice.chance:.0f} %"
    if advice.claw:
        return "Read the claw distance again"
    strings = ", ".join(str(i + 1) for i in advice.strings)
    more = {True: ", read the rear gap and the claw distance", False: "", None: ", read what else tells"}[gauges]
    return f"Hear string{'s' if len(advice.strings) > 1 else ''} {strings}{more}"


def spring_comes_off(advice: Advice) -> bool:
    """Whether a step with springs takes one off."""
    return advice.hung is None or len(advice.springs) < advice.hung


def spring_named(advice: Advice) -> str:
    """Which spring comes off: the middle one, or where it hangs."""
    if len(advice.springs) % 2 == 0:
        return "the middle one"
    assert advice.place is not None
    return f"that at place {advice.place + 1} from the treble side"


def pitch(hertz: float | None) -> str:
    """A pitch with its note.

    Args:
        hertz: as heard or wanted [Hz]; None where nothing was heard.
    Returns: the words; "slack" where there is no pitch.
    """
    if hertz is None or hertz <= SLACK:
        return "slack"
    return f"{show_value(hertz, 'pitch', uncertainty=NEAR)} ({note(hertz)})"


def _band(sd: float | None) -> str:
    """Half width of the turns, no finer than a hand counts."""
    if sd is None:
        return ""
    return f" ± {show_turns(max(BAND * sd, COARSE), COARSE).removesuffix('s').removesuffix(' turn')}"


def _apart(hertz: float, own: float) -> str:
    """How far a pitch stands from the string's own."""
    off = float(cents(hertz, own))
    if abs(off) < HAIR:
        return ", its own pitch"
    return f" ({abs(off):.0f} c {'over' if off > 0.0 else 'under'} its own pitch)"
