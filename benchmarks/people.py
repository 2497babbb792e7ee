"""Two people who bring a floating plate to its gap by hand and eye, and one who mistakes himself once.

Both are careful and given the benefit of every doubt: they leave a string alone that is near enough, measure what the
last turn of the claw did, and stop as soon as a tuner and a rule show everything inside.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from setwright.bench.answers import Answering
from setwright.errors import InputError

ALONE = 0.5  # of the tolerance, within which a string is left alone
CLOSE = 0.75  # of the tolerance, within which strings and gap are taken to be inside
ROUNDS = 40
QUARTER = 0.25  # turn, the first by feel
MOST_TURN = 1.0  # turn, the most dared at once
SLIGHT = 1e-4  # m, a change of the gap no rule shows
TRIES = 8  # turns of the claw before the wedge goes in again
WEDGED = 6  # rounds on the wedge
LAST = 6  # rounds by ear on the free plate, before the wedge goes in again


@dataclass(frozen=True)
class Wanted:
    """What is to be reached."""

    hertz: tuple[float, ...]
    cents: float  # tolerance
    gap: float  # m
    gap_tolerance: float  # m


def wanted(hello: dict[str, Any]) -> Wanted:
    """The goal of a greeting.

    Args:
        hello: first line of the line protocol.
    Returns: the goal.
    """
    goal = hello["goal"]
    return Wanted(tuple(goal["hz"]), goal["cents_tolerance"], goal["rear_gap"], goal["gap_tolerance"])


def off(goal: Wanted, hertz: Sequence[float]) -> list[float]:
    """Cents every string stands off.

    Args:
        goal: what is wanted.
        hertz: (S) [Hz], 0 = slack.
    Returns: (S) [cents].
    """
    return [1200.0 * math.log2(max(f, 1.0) / to) for f, to in zip(hertz, goal.hertz, strict=True)]


def one_round(goal: Wanted, on: Answering) -> None:
    """Every string plucked, thickest to thinnest, and tuned where it is off.

    Args:
        goal: what is wanted.
        on: the instrument.
    """
    for string in range(len(goal.hertz), 0, -1):
        to = goal.hertz[string - 1]
        if abs(1200.0 * math.log2(max(on.pitch(string), 1.0) / to)) > ALONE * goal.cents:
            on.tune(string, to)


def shown(goal: Wanted, on: Answering) -> tuple[bool, float]:
    """A last look at tuner and rule: whether every string is inside, and how far the gap is off [m].

    Args:
        goal: what is wanted.
        on: the instrument.
    Returns: strings inside; gap less the wanted one, mean of two readings [m].
    """
    hertz = [on.pitch(i + 1) for i in range(len(goal.hertz))]
    gap = 0.5 * (on.gap() + on.gap())
    return all(abs(c) <= CLOSE * goal.cents for c in off(goal, hertz)), gap - goal.gap


@dataclass
class Feel:
    """What a hand remembers of its last turn of the claw."""

    turn: float = 0.0  # in > 0
    before: float = 0.0  # m, the gap's error then

    def next(self, error: float, gap: float) -> float:
        """How far to turn now, in positive.

        Args:
            error: gap less the wanted one [m].
            gap: as read [m].
        Returns: turns.
        """
        way = math.copysign(QUARTER, error)
        change = error - self.before
        if self.turn and abs(change) > SLIGHT and change * self.turn < 0.0:
            way = max(-MOST_TURN, min(MOST_TURN, -error * self.turn / change))
        elif gap < SLIGHT * 2.0:
            way = -2.0 * QUARTER  # it lies on the body and tells nothing: half a turn out
        self.turn, self.before = way, error
        return way


def _turned(on: Answering, turns: float) -> bool:
    try:
        on.claw(turns)
    except InputError:
        return False
    return True


def round_and_round(goal: Wanted, on: Answering) -> None:
    """Tune all, read the gap, turn the claw by feel, tune all again.

    Args:
        goal: what is wanted.
        on: the instrument.
    """
    feel = Feel()
    for _ in range(ROUNDS):
        one_round(goal, on)
        inside, error = shown(goal, on)
        near = abs(error) <= CLOSE * goal.gap_tolerance
        if inside and near:
            return
        if not near and not _turned(on, feel.next(error, error + goal.gap)):
            return


def wedge_again(goal: Wanted, on: Answering) -> None:
    """Wedge the plate at its gap, tune all, take the wedge out, bring the plate back by the claw, touch up; again.

    Args:
        goal: what is wanted.
        on: the instrument.
    """
    feel = Feel()
    for _ in range(ROUNDS // 4):
        on.wedge(goal.gap)
        for _ in range(WEDGED):
            one_round(goal, on)
            if all(abs(c) <= goal.cents for c in off(goal, [on.pitch(i + 1) for i in range(len(goal.hertz))])):
                break
        on.wedge(None)
        if not _brought_back(goal, on, feel):
            return
        for last in range(LAST + 1):
            inside, error = shown(goal, on)
            near = abs(error) <= CLOSE * goal.gap_tolerance
            if inside and near:
                return
            if not near or last == LAST:
                break
            one_round(goal, on)


def _brought_back(goal: Wanted, on: Answering, feel: Feel) -> bool:
    """The plate at its gap by the claw alone; False where the screws end."""
    feel.turn = 0.0
    for _ in range(TRIES):
        gap = 0.5 * (on.gap() + on.gap())
        error = gap - goal.gap
        if abs(error) <= 0.5 * goal.gap_tolerance:
            return True
        if not _turned(on, feel.next(error, gap)):
            return False
    return True


class Mistaken:
    """An instrument in hands that are wrong once: one gap read a millimetre off, or one claw turn too many."""

    def __init__(self, on: Any, claw: bool, which: int, by: float) -> None:
        """Wrap an instrument.

        Args:
            on: the instrument.
            claw: whether a setting of the claw is wrong, else a reading of the gap.
            which: how many right ones come before [1].
            by: turns or metres.
        """
        self._on, self._claw, self._left, self._by = on, claw, which, by
        self.made = False  # whether it has happened

    def __getattr__(self, name: str) -> Any:
        return getattr(self._on, name)

    def _once(self) -> float:
        self._left -= 1
        now = self._left == -1
        self.made = self.made or now
        return self._by if now else 0.0

    def claw(self, turns: float) -> None:
        """Turn both screws, once wrongly.

        Args:
            turns: as counted [turns].
        """
        self._on.claw(turns + (self._once() if self._claw else 0.0))

    def gap(self) -> float:
        """Read the gap, once wrongly [m]."""
        return float(self._on.gap()) + (0.0 if self._claw else self._once())
