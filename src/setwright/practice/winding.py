"""Turning a peg until a string sounds as it should, the plate and the other strings moving with it."""

from __future__ import annotations

from dataclasses import replace
from math import log2, pi

from setwright.errors import InputError
from setwright.practice.body import Body
from setwright.practice.physics import Rest, Stage, rest
from setwright.practice.strings import strain_at

CLOSE = 0.003  # cents
TRIES = 40
GIVING = 0.6  # share of a string's stretch that the plate leaves it, to begin with


def _turned(body: Body, now: Rest, i: int, whole: float) -> Rest:
    """The instrument after the peg of one string took in or gave out string; all beyond the nut where it is locked."""
    state = now.state
    longer = whole - state.whole[i]
    main = state.main
    if body.wires[i].behind <= 0.0:
        main = tuple(one + longer if n == i else one for n, one in enumerate(main))
    kept = tuple(whole if n == i else one for n, one in enumerate(state.whole))
    return rest(body, replace(state, whole=kept, main=main))


def wind(body: Body, now: Rest, i: int, hertz: float) -> Rest:
    """Turn one peg one way until the string sounds at a pitch: secants on the square of the pitch.

    Args:
        body: the instrument.
        now: as it rests.
        i: index of the string [1].
        hertz: wanted [Hz].
    Returns: the instrument at rest.
    Raises: InputError where no turn of the peg gives that pitch.
    """
    wire, state = body.wires[i], now.state
    _, length, _ = Stage(body, state).pulls(state.tilt, state.bow, state.side)[i]
    total = length + wire.tail + wire.behind
    wanted = hertz * hertz
    slope = -GIVING * wire.axial / (total * 4.0 * length * length * wire.unit_mass)
    here, found = state.whole[i], now
    if now.hertz[i] <= 0.0:
        tension = 4.0 * length * length * wanted * wire.unit_mass - pi * pi * wire.bending / (length * length)
        here = total / (1.0 + strain_at(wire, max(tension, 0.0), wire.axial))
        found = _turned(body, now, i, here)
    tight = slack = None  # unstretched lengths known to sound too high and too low
    least = 0.1 * slope  # where the nut holds the string, the peg does nothing for a while
    further = 1.0
    for n in range(TRIES):
        sounds = found.hertz[i]
        if sounds > 0.0 and abs(1200.0 * log2(sounds / hertz)) < CLOSE:
            return found
        left = wanted - sounds * sounds
        tight, slack = (here, slack) if left < 0.0 else (tight, here)
        new = here + further * left / slope
        if tight is not None and slack is not None and (n % 3 == 2 or not tight < new < slack):
            new = 0.5 * (tight + slack)
        new = min(max(new, 0.97 * here), 1.03 * here)
        after = _turned(body, now, i, new)
        change = (after.hertz[i] ** 2 - sounds * sounds) / (new - here) if new != here else 0.0
        if change < least:
            slope, further = change, 1.0
        else:
            further *= 2.0
        here, found = new, after
    if tight is not None and slack is not None:
        return found  # the plate jumps on the way: as near as the peg comes
    raise InputError(f"string {i + 1} does not come to {hertz:.2f} Hz by its peg; check the pitch and the springs.")
