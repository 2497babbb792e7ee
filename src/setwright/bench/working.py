"""A whole job on an instrument that answers, with everything it was asked and what it answered kept and counted."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from setwright.bench.answers import Answering
from setwright.bench.guided import Told, guided
from setwright.errors import FileFormatError, InputError, SetwrightError
from setwright.frozen import frozen
from setwright.planning.course import Course
from setwright.planning.guide import Advice

Asked = Literal["pitch", "tune", "claw", "gap", "claw_distance", "wedge", "springs", "attitude", "bar"]
Ended = Literal["done", "refused", "steps used up", "stuck"]


class RefusedError(InputError):
    """The instrument understood a command and does not do it, as when a limit is reached."""


class BrokenLinkError(FileFormatError):
    """The instrument no longer answers in a way that can be understood; nothing more can be asked of it."""


@frozen
class Heard:
    """One command and its answer."""

    do: Asked
    string: int | None = None  # from 1
    given: float | None = None  # Hz, turns, m, rad, springs; None: wedge out
    answer: float | None = None  # Hz, m
    name: str = ""  # of an attitude


Note = Advice | tuple[Heard, ...]  # a step before it is done, then what was heard
Tell = Callable[[Note], None]


@dataclass
class Recorded:
    """An instrument that answers, every answer kept. Refusals are kept out."""

    on: Answering
    answers: list[Heard] = field(default_factory=list)
    told: int = 0  # answers that were taken already

    def pitch(self, string: int) -> float:
        """Pluck string (from 1) and read [Hz]."""
        return self._kept(Heard("pitch", string), lambda: self.on.pitch(string))

    def tune(self, string: int, hz: float) -> float:
        """Tune string (from 1) to hz [Hz]; what is heard then [Hz]."""
        return self._kept(Heard("tune", string, hz), lambda: self.on.tune(string, hz))

    def claw(self, turns: float) -> None:
        """Turn both claw screws, in > 0 [turn]."""
        self._kept(Heard("claw", given=turns), lambda: self.on.claw(turns))

    def gap(self) -> float:
        """Read the rear gap [m]."""
        return self._kept(Heard("gap"), self.on.gap)

    def claw_distance(self) -> float:
        """Read the claw's distance to the wall [m]."""
        return self._kept(Heard("claw_distance"), self.on.claw_distance)

    def wedge(self, m: float | None) -> None:
        """Put a wedge in that props at gap m [m], or take it out (None)."""
        self._kept(Heard("wedge", given=m), lambda: self.on.wedge(m))

    def springs(self, n: int) -> None:
        """Hang another number of springs."""
        self._kept(Heard("springs", given=float(n)), lambda: self.on.springs(n))

    def attitude(self, name: str) -> None:
        """Lay the instrument another way, by its name in the protocol."""
        self._kept(Heard("attitude", name=name), lambda: self.on.attitude(name))

    def bar(self, rad: float) -> None:
        """Turn the plate with the bar, rear up > 0 [rad], and let go."""
        self._kept(Heard("bar", given=rad), lambda: self.on.bar(rad))

    def take(self) -> tuple[Heard, ...]:
        """The answers since they were last taken."""
        new = tuple(self.answers[self.told :])
        self.told = len(self.answers)
        return new

    def count(self, *names: Asked) -> int:
        """How often any of these commands was answered."""
        return sum(one.do in names for one in self.answers)

    def _kept(self, one: Heard, call: Callable[[], float | None]) -> float:
        try:
            answer = call()
        except BrokenLinkError:
            raise
        except InputError as error:
            raise RefusedError(str(error)) from None
        self.answers.append(replace(one, answer=answer))
        return 0.0 if answer is None else answer


@frozen
class Cost:
    """What was asked of an instrument."""

    tunings: int
    claws: int  # settings of the claw
    readings: int  # pitches, gaps, claw distances


def cost(on: Recorded) -> Cost:
    """Count what was asked.

    Args:
        on: the instrument.
    Returns: the counts.
    """
    return Cost(on.count("tune"), on.count("claw"), on.count("pitch", "gap", "claw_distance"))


@frozen
class Step:
    """A step and what was heard when it was done."""

    advice: Advice | None  # None: the instrument as found
    heard: tuple[Heard, ...]


@frozen
class Work:
    """How the work went, before the instrument judges it."""

    ended: Ended
    reason: str  # one sentence where it did not end well
    chance: float | None  # of being inside everything, as believed at the end
    steps: tuple[Step, ...]
    course: Course | None  # where it stood before the last step; None where nothing could be planned
    cost: Cost


def work(job: Told, on: Recorded, tell: Tell | None = None) -> Work:
    """Do the whole job, as far as it goes.

    Args:
        job: from `guided.told`.
        on: the instrument.
        tell: called with every step before it is done and with what was heard after it; what was heard before the
            first step, the instrument as found, comes first.
    Returns: how it went. A command refused, a step that cannot be planned and too many steps end it.
    Raises: BrokenLinkError where the instrument cannot be understood any more.
    """
    steps: list[Step] = []
    courses: list[Course] = []
    last: list[Advice | None] = [None]

    def close() -> None:
        heard = on.take()
        steps.append(Step(last[0], heard))
        if tell is not None and heard:
            tell(heard)

    def step(advice: Advice, course: Course) -> None:
        close()
        last[:], courses[:] = [advice], [course]
        if tell is not None:
            tell(advice)

    ended: Ended = "done"
    reason = ""
    try:
        if guided(job, on, step).advice.do != "done":
            ended, reason = "steps used up", f"Nothing was finished after {len(steps)} steps."
    except BrokenLinkError:
        close()
        raise
    except RefusedError as error:
        ended, reason = "refused", str(error)
    except (SetwrightError, ArithmeticError, np.linalg.LinAlgError) as error:
        ended, reason = "stuck", f"what was heard fits no instrument near what is told: {error}"
    close()
    told = [one.advice.chance for one in steps if one.advice is not None and one.advice.chance is not None]
    return Work(ended, reason, told[-1] if told else None, tuple(steps), courses[0] if courses else None, cost(on))
