"""What a stroke that must stay clean asks of the string heights."""

from __future__ import annotations

import numpy as np

from setwright.instrument.settings import Settings
from setwright.instrument.strokes import Strokes, height_at, saddle_rise_to_clear, strokes_on
from setwright.instrument.traits import Array, Traits
from setwright.physics.balance import Equilibrium
from setwright.planning.targets import Problem

RAISED = 0.5  # of the tolerance: how far a wanted height is overstepped to keep a string clean


def wanted_strokes(problem: Problem, traits: Traits, settings: Settings, state: Equilibrium) -> Strokes:
    """The stroke that must stay clean, on instruments as they would stand.

    Args:
        problem: the job; its targets want a clean stroke.
        traits: the instrument(s).
        settings: how they stand.
        state: (C) strings at pitch.
    Returns: the strokes.
    """
    stroke = problem.targets.clean
    assert stroke is not None
    return strokes_on(traits, settings, state, stroke.force, stroke.place)


def lowest_heights(problem: Problem, settings: Settings, state: Equilibrium) -> Array:
    """Lowest heights at the wanted fret that stay clean, with what is kept in hand for what is not known.

    Exact for the state given: height and clearance grow in a straight line with the saddle. The state itself moves a
    little with the saddles, so that a second or third repetition settles it.

    Args:
        problem: the job; its targets want a clean stroke.
        settings: fields (C, ...).
        state: (C) strings at pitch.
    Returns: (C, S) [m].
    """
    strokes = wanted_strokes(problem, problem.wanted, settings, state)
    now, share = height_at(strokes, problem.targets.height_fret)
    spare = 0.0 if problem.spare is None else problem.spare
    return now + share * (saddle_rise_to_clear(strokes).clearance + spare)


def kept_clean(problem: Problem, goal: Array, lowest: Array) -> tuple[Array, Array]:
    """Heights wanted and aimed at: raised to the lowest clean ones, given heights by half their tolerance at most.

    With a wanted saddle radius all strings rise together, so that the arc stays.

    Args:
        problem: the job; its targets want a clean stroke.
        goal: (C, S) heights wanted so far [m].
        lowest: (C, S) as `lowest_heights` [m].
    Returns: wanted and aimed at, (C, S) each [m].
    """
    t = problem.targets
    lift = np.maximum(lowest - goal, 0.0)
    if t.radius is not None:
        lift = np.broadcast_to(lift.max(axis=-1, keepdims=True), lift.shape)
    if t.lowest:
        return goal + lift, goal + lift
    return goal, goal + np.minimum(lift, RAISED * t.height_tolerance)
