"""Practice by itself, and practice with an apprentice who is given advice and may do otherwise."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from random import SystemRandom
from typing import Any

import numpy as np

from setwright.bench.foretold import Peg, peg_of
from setwright.bench.guided import Told, as_found, done_step, told, wanting
from setwright.bench.training import first_line
from setwright.bench.working import Cost, Ended, Recorded, RefusedError, Step, Tell, cost, work
from setwright.errors import InputError, SetwrightError
from setwright.frozen import frozen
from setwright.instrument.settings import FEWEST, Fewest
from setwright.planning.course import Course, Goal, changed, pitch_heard, taken_in
from setwright.planning.guide import Advice, next_step
from setwright.planning.scenes import SILENT, Seen
from setwright.planning.weighing import is_off
from setwright.practice.instrument import Practice, Verdict
from setwright.practice.unveiled import Unveiled, unveiled

SEEDS = 100_000  # one of which is drawn where none is given
LEAST, MOST = 0.5, 1.5  # of a string's wanted pitch: what it may be tuned to by hand


@frozen
class Alone:
    """A whole job done by itself."""

    seed: int
    goal: Goal
    verdict: Verdict
    ended: Ended
    reason: str  # one sentence where it did not end well
    chance: float | None  # of being inside everything, as believed at the end
    cost: Cost
    steps: tuple[Step, ...]
    hidden: tuple[Unveiled, ...]


def drawn_seed() -> int:
    """A seed by chance."""
    return SystemRandom().randrange(1, SEEDS)


def wanted(seed: int, path: str | None = None) -> Goal:
    """What a practice instrument is to be brought to.

    Args:
        seed: all of chance, 0 or more.
        path: of a first line to be told, None for one drawn by the seed.
    Returns: the goal.
    Raises: FileFormatError, InputError: one sentence.
    """
    return told(_first_line(seed, path)).goal


def alone(seed: int, path: str | None = None, tell: Tell | None = None, fewest: Fewest = FEWEST[0]) -> Alone:
    """Do a whole job on a practice instrument.

    Args:
        seed: all of chance, 0 or more.
        path: of a first line to be told, None for one drawn by the seed.
        tell: as in `working.work`.
        fewest: what the way is chosen for.
    Returns: steps, verdict, what was hidden and what it cost.
    Raises: FileFormatError, InputError: one sentence.
    """
    first, practice = _instrument(seed, path)
    job = wanting(told(first), fewest)
    went = work(job, Recorded(practice), tell)
    verdict, hidden = _judged(first, practice)
    return Alone(seed, job.goal, verdict, went.ended, went.reason, went.chance, went.cost, went.steps, hidden)


def _first_line(seed: int, path: str | None) -> dict[str, Any]:
    if seed < 0:
        raise InputError(f"--seed {seed}: a seed is a whole number from 0.")
    return first_line(seed, path)


def _instrument(seed: int, path: str | None) -> tuple[dict[str, Any], Practice]:
    first = _first_line(seed, path)
    return first, Practice(first, seed)


def _judged(first: dict[str, Any], practice: Practice) -> tuple[Verdict, tuple[Unveiled, ...]]:
    """Handed over: the verdict, and what was hidden in the room as it was."""
    warm = practice.truth.state.warm
    return practice.done(), unveiled(first["told"], practice.body, warm)


@frozen
class Lesson:
    """A practice instrument on the bench, and what is believed of it. The instrument itself keeps state."""

    first: dict[str, Any]
    practice: Practice
    on: Recorded
    job: Told
    course: Course | None  # None: what was heard can no longer be explained
    lost: str = ""  # why not


def begin(seed: int, path: str | None = None, fewest: Fewest = FEWEST[0]) -> Lesson:
    """Put an instrument on the bench and read it as found.

    Args:
        seed: all of chance, 0 or more.
        path: of a first line to be told, None for one drawn by the seed.
        fewest: what the way is chosen for.
    Returns: the lesson.
    Raises: FileFormatError, InputError: one sentence.
    """
    first, practice = _instrument(seed, path)
    job, on = wanting(told(first), fewest), Recorded(practice)
    return Lesson(first, practice, on, job, as_found(job, on))


def advised(lesson: Lesson) -> tuple[Advice | None, str]:
    """The next step, or why there is none.

    Args:
        lesson: as it stands.
    Returns: the step and "", or None and a sentence.
    """
    if lesson.course is None:
        return None, lesson.lost
    try:
        return next_step(lesson.course), ""
    except (SetwrightError, ArithmeticError, np.linalg.LinAlgError) as error:
        return None, str(error)


def peg_at_hand(lesson: Lesson, advice: Advice) -> Peg | None:
    """Where the string stands whose peg is to be turned.

    Args:
        lesson: as it stands.
        advice: the step.
    Returns: the peg; None where none is turned, or nothing is believed.
    """
    if lesson.course is None or advice.do != "tune" or advice.string is None or advice.hertz is None:
        return None
    return peg_of(lesson.course, advice.string, advice.hertz)


def reads_gauges(lesson: Lesson) -> bool:
    """Whether rear gap and claw are read along with a hearing now.

    Args:
        lesson: as it stands.
    Returns: True or False.
    """
    return lesson.course is not None and (lesson.course.free or is_off(lesson.course))


def follow(lesson: Lesson, advice: Advice) -> Lesson:
    """Do a step, advised or not: tune, claw, wedge, springs, attitude, read.

    Args:
        lesson: as it stands.
        advice: the step.
    Returns: the lesson after it.
    Raises: InputError where it cannot be done; the lesson then stands as before.
    """
    if advice.do == "tune":
        _check_tuning(lesson.job.goal, advice)
    course = lesson.course
    if course is None:
        _bare(lesson.on, advice)
        return lesson
    return _learned(lesson, lambda: done_step(lesson.job, lesson.on, course, advice))


def _check_tuning(goal: Goal, advice: Advice) -> None:
    count = len(goal.hertz)
    if advice.string is None or advice.hertz is None or not 0 <= advice.string < count:
        raise InputError(f"there is no such string; the strings are 1 to {count}, 1 the thinnest.")
    wanted = float(goal.hertz[advice.string])
    if not LEAST * wanted <= advice.hertz <= MOST * wanted:
        raise InputError(
            f"string {advice.string + 1} is wanted at {wanted:.2f} Hz; {advice.hertz:g} Hz is too far from that, give "
            f"{LEAST * wanted:.0f} to {MOST * wanted:.0f} Hz."
        )


def _bare(on: Recorded, advice: Advice) -> None:
    """Do a step without learning from it."""
    if advice.do == "tune" and advice.string is not None and advice.hertz is not None:
        on.tune(advice.string + 1, advice.hertz)
    elif advice.do == "claw" and advice.turns is not None:
        on.claw(advice.turns)
    elif advice.do == "wedge":
        on.wedge(advice.gap)
    elif advice.do == "springs":
        on.springs(len(advice.springs))


def _learned(lesson: Lesson, step: Callable[[], Course]) -> Lesson:
    """The lesson after a step; where what was heard cannot be explained, advice ends and the work goes on."""
    try:
        return replace(lesson, course=step())
    except RefusedError:
        raise
    except (SetwrightError, ArithmeticError, np.linalg.LinAlgError) as error:
        return replace(lesson, course=None, lost=f"what was heard can no longer be explained: {error}")


def hear(lesson: Lesson, strings: tuple[int, ...]) -> Lesson:
    """Pluck and read.

    Args:
        lesson: as it stands.
        strings: which, from 0.
    Returns: the lesson after it.
    Raises: InputError for a string that is not there or a limit reached.
    """
    hertz = [(i, lesson.on.pitch(i + 1)) for i in strings]
    seen = tuple(pitch_heard(lesson.job.goal, i, f, lesson.job.pitch_sd) for i, f in hertz if f > SILENT)
    return _taken(lesson, seen)


def read_gap(lesson: Lesson) -> Lesson:
    """Read the rear gap.

    Args:
        lesson: as it stands.
    Returns: the lesson after it.
    Raises: InputError where a limit is reached.
    """
    return _taken(lesson, (Seen("rear gap", lesson.on.gap(), lesson.job.gap_sd),))


def read_claw(lesson: Lesson) -> Lesson:
    """Read the claw's distance to the wall.

    Args:
        lesson: as it stands.
    Returns: the lesson after it.
    Raises: InputError where a limit is reached.
    """
    return _taken(lesson, (Seen("claw", lesson.on.claw_distance(), lesson.job.claw_sd),))


def _taken(lesson: Lesson, seen: tuple[Seen, ...]) -> Lesson:
    course = lesson.course
    if course is None or not seen:
        return lesson

    return _learned(lesson, lambda: taken_in(course, seen))


def use_bar(lesson: Lesson, rad: float) -> Lesson:
    """Push or pull the bar and let go; what was heard before is then old.

    Args:
        lesson: as it stands.
        rad: turn of the plate, rear up > 0 [rad].
    Returns: the lesson after it.
    Raises: InputError where the bar does not go so far.
    """
    lesson.on.bar(rad)
    course = lesson.course
    if course is None:
        return lesson
    return _learned(lesson, lambda: changed(course, course.picture.settings))


@frozen
class Result:
    """A lesson handed over."""

    verdict: Verdict
    cost: Cost
    hidden: tuple[Unveiled, ...]


def hand_over(lesson: Lesson) -> Result:
    """Have it judged. Nothing can follow.

    Args:
        lesson: as it stands.
    Returns: verdict, cost, what was hidden.
    """
    verdict, hidden = _judged(lesson.first, lesson.practice)
    return Result(verdict, cost(lesson.on), hidden)
