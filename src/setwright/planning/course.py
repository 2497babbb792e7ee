"""Where the work on a floating balance stands, and how every step and reading moves it on.

The one place for this: whoever drives the work (an instrument that answers, a typed session, a journal replayed) tells
the course what was done and what was read.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from setwright.frozen import frozen
from setwright.instrument.settings import FEWEST, Fewest, Settings
from setwright.instrument.traits import Array
from setwright.physics.pitch import cents
from setwright.planning import tracking
from setwright.planning.explaining import read
from setwright.planning.scenes import Seen, value_of
from setwright.planning.tracking import Picture

HEARD = 0.3  # cents, what the model leaves out of a pitch, beside the tuner's own uncertainty
MOVED = 0.01  # share of a pitch's way since its peg was set that the model may miss
FAR, FAR_OFF = 300.0, 0.01  # cents; share of a pitch's way beyond that which the model may miss


@frozen
class Goal:
    """What is wanted at the end."""

    hertz: Array  # (S)
    pitch_tolerance: float  # cents
    gap: float  # m
    gap_tolerance: float  # m
    attitude: str = "playing"
    peak: float = 50.0  # cents a string may stand above its final pitch on the way
    fewest: Fewest = FEWEST[0]


@frozen
class Course:
    """Where the work stands."""

    picture: Picture
    goal: Goal
    heard: tuple[bool, ...]  # per string: since anything was last changed
    gap_read: int  # times, since then
    claw_read: int
    free: bool  # whether the plate was last taken to touch no stop
    claws: int = 0  # settings of the claw so far
    tunings: int = 0


def begun(picture: Picture, goal: Goal) -> Course:
    """A course before anything was read.

    Args:
        picture: from `tracking.begin`.
        goal: what is wanted.
    Returns: the course.
    """
    return Course(picture, goal, (False,) * len(goal.hertz), 0, 0, False)


def pitch_heard(goal: Goal, string: int, hertz: float, sd: float, entry: int = 0) -> Seen:
    """A pitch, less to be trusted the farther it lies from the one the string is made for.

    Args:
        goal: what is wanted.
        string: 0 = thinnest.
        hertz: as heard, above 0 [Hz].
        sd: the tuner's own standard uncertainty [cents].
        entry: number of the entry it was read in.
    Returns: the reading, with the standard uncertainty the picture takes it with.
    """
    away = abs(float(cents(hertz, goal.hertz[string])))
    whole = float(np.hypot(np.hypot(sd, HEARD), FAR_OFF * max(away - FAR, 0.0)))
    return Seen("pitch", hertz, whole, string, entry, sd)


def taken_in(course: Course, seen: tuple[Seen, ...], plucked: tuple[int, ...] = ()) -> Course:
    """Readings of the present state taken in.

    Args:
        course: before.
        seen: the readings.
        plucked: strings that count as heard though they may have been too slack to be read (0 = thinnest).
    Returns: the course.
    """
    update = read(course.picture, tuple(trusted(course.picture, one) for one in seen))
    telling = sum(one.kind != "claw" for one in seen)  # one pitch alone does not tell what the plate touches
    strings = {*plucked, *(one.string for one in seen if one.kind == "pitch")}
    return replace(
        course,
        picture=update.picture,
        heard=tuple(was or i in strings for i, was in enumerate(course.heard)),
        gap_read=course.gap_read + sum(one.kind == "rear gap" for one in seen),
        claw_read=course.claw_read + sum(one.kind == "claw" for one in seen),
        free=update.free if telling > 1 else course.free,
    )


def trusted(picture: Picture, one: Seen) -> Seen:
    """A pitch, less to be trusted the farther it has moved since its peg was set: slots rub, the model errs.

    Args:
        picture: what is believed.
        one: a reading of the present state.
    Returns: the reading; a pitch with the standard uncertainty it is taken in with.
    """
    if one.kind != "pitch":
        return one
    moved = abs(value_of(one) - picture.pegs[picture.now[one.string]].cents)
    return replace(one, sd=float(np.hypot(one.sd, MOVED * moved)))


def _anew(course: Course, picture: Picture) -> Course:
    """Something was changed: what was read before is old."""
    return replace(course, picture=picture, heard=(False,) * len(course.heard), gap_read=0, claw_read=0)


def tuned(course: Course, string: int, hertz: float) -> Course:
    """A string was tuned; what was heard after has still to be taken in.

    Args:
        course: before.
        string: 0 = thinnest.
        hertz: pitch it was brought to [Hz].
    Returns: the course.
    """
    after = _anew(course, tracking.tuned(course.picture, string, hertz))
    return replace(after, tunings=course.tunings + 1)


def turned(course: Course, turns: float) -> Course:
    """Both claw screws were turned.

    Args:
        course: before.
        turns: as counted, in > 0 [turns].
    Returns: the course.
    """
    after = _anew(course, tracking.turned(course.picture, turns))
    return replace(after, claws=course.claws + 1)


def changed(course: Course, settings: Settings) -> Course:
    """Anything else was changed: wedge, springs, attitude; or the bar was used.

    Args:
        course: before.
        settings: as they are now.
    Returns: the course.
    """
    same = np.array_equal(settings.springs, course.picture.settings.springs)
    return replace(_anew(course, tracking.changed(course.picture, settings)), free=course.free and same)
