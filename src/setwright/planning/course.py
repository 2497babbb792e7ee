"""Where the work on a floating balance stands, and how every step and reading moves it on.

The one place for this: whoever drives the work (an instrument that answers, a typed session, a journal replayed) tells
the course what was done and what was read.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from setwright.instrument.settings import Settings
from setwright.instrument.traits import Array
from setwright.planning import tracking
from setwright.planning.explaining import read
from setwright.planning.scenes import Seen
from setwright.planning.tracking import Picture


@dataclass(frozen=True)
class Goal:
    """What is wanted at the end."""

    hertz: Array  # (S)
    pitch_tolerance: float  # cents
    gap: float  # m
    gap_tolerance: float  # m
    attitude: str = "playing"
    peak: float = 50.0  # cents a string may stand above its final pitch on the way


@dataclass(frozen=True)
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


def taken_in(course: Course, seen: tuple[Seen, ...], plucked: tuple[int, ...] = ()) -> Course:
    """Readings of the present state taken in.

    Args:
        course: before.
        seen: the readings.
        plucked: strings that count as heard though they may have been too slack to be read (0 = thinnest).
    Returns: the course.
    """
    update = read(course.picture, seen)
    strings = {*plucked, *(one.string for one in seen if one.kind == "pitch")}
    return replace(
        course,
        picture=update.picture,
        heard=tuple(was or i in strings for i, was in enumerate(course.heard)),
        gap_read=course.gap_read + sum(one.kind == "rear gap" for one in seen),
        claw_read=course.claw_read + sum(one.kind == "claw" for one in seen),
        free=update.free,
    )


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
    return _anew(course, tracking.changed(course.picture, settings))
