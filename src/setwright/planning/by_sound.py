"""Learning from sound alone: what a tuner and a hand tell about a floating plate, without any gauge.

One string set off by a known amount, or the claw turned by a known part of a turn, and all strings heard: how far the
others move tells how stiff the plate is. Each experiment that stays within the limits is weighed before it is done:
readings with derivatives h and covariance V of what they do not tell leave of the covariance C of the unknowns

    C - C h' (h C h' + V)^-1 h C        V = noise² + g g' friction²

g the derivatives by a moment on the plate, since the knife edge may hold it anywhere within its friction
(docs/learning, L17). What a dive and return tells about friction itself is the bar test's (`planning/diagnosis.py`).
"""

from __future__ import annotations

import math
from dataclasses import field, replace
from typing import Literal

import numpy as np

from setwright.frozen import frozen
from setwright.instrument.geometry import tilt_limits
from setwright.instrument.traits import Array
from setwright.planning.course import Course, Goal, pitch_heard, trusted
from setwright.planning.guide import FROM_0
from setwright.planning.outlook import cents_off
from setwright.planning.responses import KINDS, as_it_stands, at_end
from setwright.planning.scenes import SILENT, fan, slopes
from setwright.planning.tracking import Picture, expected, firm, most_likely, resting, steps, tuned, turned

DOWN = (50.0, 100.0)  # cents a string is set off by
TURNS = (0.125, -0.125, 0.25, -0.25, 0.5, -0.5)  # in > 0
BACK = 25.0  # cents off its own pitch, from which a string may also be brought back
DEEPEST = 400.0  # cents below its final pitch no string goes
SIDE = 1.64  # standard uncertainties: 95 % on one side
WORTH_DOING = 0.95  # of the standard uncertainties left; an experiment that leaves more tells nothing worth its while
RATE = "springs.rate"
Do = Literal["hear", "tune", "claw"]


@frozen
class Effect:
    """Standard uncertainty of one thing before and after an experiment, in its unit; a share [1] of a spring rate."""

    what: str
    before: float
    after: float


@frozen
class Trial:
    """One experiment: something done, then every string heard. left: geometric mean of what the effects leave."""

    do: Do
    string: int | None = field(default=None, metadata=FROM_0)  # 0 = thinnest
    hertz: float | None = None  # it is brought to
    cents: float | None = None  # from where it stands
    turns: float | None = None  # in > 0
    effects: tuple[Effect, ...] = ()
    left: float = 1.0


def next_trial(course: Course, pitch_sd: float) -> Trial | None:
    """The experiment by sound alone that would tell most now.

    Args:
        course: where the work stands.
        pitch_sd: standard uncertainty of a pitch by the tuner [cents].
    Returns: the experiment; "hear" while strings have not been heard since the last change; None where there is an
        `obstacle`, or no experiment within the limits tells anything worth its while.
    """
    if obstacle(course):
        return None
    if not all(course.heard):
        return Trial("hear")
    best = next(iter(trials(course, pitch_sd)), None)
    return best if best is not None and best.left < WORTH_DOING else None


def obstacle(course: Course) -> str:
    """Why nothing can be told by sound alone now.

    Args:
        course: where the work stands.
    Returns: the reason; "" where the plate floats freely.
    """
    settings = course.picture.settings
    if np.isfinite(settings.prop) or np.isfinite(settings.block):
        return "the plate stands on its wedge, and only one that floats tells anything"
    if not course.free:
        return "the plate was last heard on a stop, and only one that floats tells anything"
    if as_it_stands(resting(firm(course.picture))).closed:
        return "the springs are believed closed or slack, which a floating plate does not have; read the claw distance"
    return ""


def trials(course: Course, pitch_sd: float) -> tuple[Trial, ...]:
    """Every experiment that keeps within the limits, the most telling first.

    Args:
        course: where the work stands; the plate floats.
        pitch_sd: standard uncertainty of a pitch by the tuner [cents].
    Returns: the experiments with their expected effect.
    """
    picture, goal = resting(firm(course.picture)), course.goal
    aims = _aims(picture, goal)
    found = []
    for one in _possible(picture, goal):
        ahead = _ahead(_done(picture, one), goal, pitch_sd)
        if _within(ahead, one, goal):
            found.append(_weighed(one, aims, picture.covariance, _left(ahead)))
    return tuple(sorted(found, key=lambda one: one.left))


def _possible(picture: Picture, goal: Goal) -> list[Trial]:
    """What could be done, limits aside."""
    hertz = expected(picture, picture.mean[None]).hertz[0]
    off = cents_off(hertz, goal.hertz)
    out = []
    for string, (now, away) in enumerate(zip(hertz.tolist(), off.tolist(), strict=True)):
        ways = [*(-down for down in DOWN), *([-away] if abs(away) > BACK else [])]
        out += [Trial("tune", string, now * 2.0 ** (way / 1200.0), way) for way in ways]
    return out + [Trial("claw", turns=turns) for turns in TURNS]


def _done(picture: Picture, one: Trial) -> Picture:
    """The picture after the hand, before the ear."""
    if one.string is not None and one.hertz is not None:
        return resting(tuned(picture, one.string, one.hertz))
    return turned(picture, one.turns or 0.0)


@frozen
class _Ahead:
    """What would be heard after something was done."""

    picture: Picture  # after the hand, before the ear
    cents: Array  # (S) from the final pitches
    by: Array  # (S, N) cents by every unknown
    held: Array  # (S) cents by what the knife edge may hold, one standard uncertainty
    noise: Array  # (S) cents
    tilt: float  # rad
    lean: Array  # (N) rad by every unknown


def _ahead(picture: Picture, goal: Goal, pitch_sd: float) -> _Ahead:
    step = steps(picture)
    states = expected(picture, fan(picture.mean, step))
    cents = cents_off(states.hertz, goal.hertz)
    friction = picture.model.friction
    both = expected(picture, np.tile(picture.mean, (2, 1)), np.array([friction, -friction]))
    held = 0.5 * (cents_off(both.hertz[0], goal.hertz) - cents_off(both.hertz[1], goal.hertz))
    hertz = np.maximum(states.hertz[0], SILENT).tolist()
    noise = [trusted(picture, pitch_heard(goal, i, f, pitch_sd)).sd for i, f in enumerate(hertz)]
    by, lean = slopes(cents, step), slopes(states.tilt, step)
    return _Ahead(picture, cents[0], by, held, np.array(noise), float(states.tilt[0]), lean)


def _left(ahead: _Ahead, strings: tuple[int, ...] | None = None) -> Array:
    """(N, N) covariance of the unknowns once some strings have been heard; None: all of them."""
    rows = list(range(len(ahead.cents)) if strings is None else strings)
    by, held, covariance = ahead.by[rows], ahead.held[rows], ahead.picture.covariance
    spread = by @ covariance
    whole = spread @ by.T + np.outer(held, held) + np.diag(ahead.noise[rows] ** 2)
    return np.asarray(covariance - spread.T @ np.linalg.solve(whole, spread))


def _within(ahead: _Ahead, one: Trial, goal: Goal) -> bool:
    """Whether every string stays within the limits and the plate clear of its stops, each with 95 %."""
    covariance = _left(ahead, () if one.string is None else (one.string,))  # a string is set by the tuner
    sd = SIDE * np.sqrt(np.maximum(np.einsum("sn,nm,sm->s", ahead.by, covariance, ahead.by), 0.0))
    slack = SIDE * math.sqrt(max(float(ahead.lean @ covariance @ ahead.lean), 0.0))
    low, high = (float(v) for v in tilt_limits(most_likely(ahead.picture), ahead.picture.settings))
    clear = low + slack < ahead.tilt < high - slack
    return clear and bool(np.all(ahead.cents + sd <= goal.peak)) and bool(np.all(ahead.cents - sd >= -DEEPEST))


@frozen
class _Aims:
    """What the experiments are to tell: names, and derivatives by every unknown."""

    names: tuple[str, ...]
    by: tuple[Array, ...]  # of each (n, N); the root of their mean square counts


def _aims(picture: Picture, goal: Goal) -> _Aims:
    found = at_end(picture, goal)
    names = ["stiffness ratio", "gap per turn", "cents per turn"]
    by = [found.by[[KINDS.index("stiffness ratio")]], found.by[[KINDS.index("gap per turn")]], found.by[len(KINDS) :]]
    parts = picture.model.known.parts
    rate = [i for i, part in enumerate(parts) if part.name == RATE]
    if rate:
        names.append("spring rate")
        by.append(np.eye(len(picture.mean))[rate])
    return _Aims(tuple(names), tuple(by))


def _weighed(one: Trial, aims: _Aims, before: Array, after: Array) -> Trial:
    effects = tuple(
        Effect(name, _spread(by, before), _spread(by, after)) for name, by in zip(aims.names, aims.by, strict=True)
    )
    logs = [math.log(max(e.after, 1e-12) / e.before) for e in effects if e.before > 0.0]
    return replace(one, effects=effects, left=math.exp(sum(logs) / len(logs)) if logs else 1.0)


def _spread(by: Array, covariance: Array) -> float:
    """Root of the mean square of standard uncertainties."""
    return math.sqrt(max(float(np.einsum("fn,nm,fm->f", by, covariance, by).mean()), 0.0))
