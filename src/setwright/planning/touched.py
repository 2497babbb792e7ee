"""What the plate of one scene touches, by what was heard: a stop, its wedge, or nothing.

A tilt is heard from pitches and gap alone, the balance left out; where it lies near a stop the plate rests on that.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from setwright.errors import RangeError
from setwright.instrument.geometry import tilt_limits
from setwright.instrument.traits import Array
from setwright.planning import scenes
from setwright.planning.scenes import FREE, LOWER, OPEN, UPPER, Scene, Seen, fan, slopes
from setwright.planning.tracking import (
    TILT_STEP,
    Line,
    Picture,
    Pressed,
    firm,
    marks_of,
    most_likely,
    resting,
    scene_steps,
)
from setwright.planning.turned_back import weighed_in

ANY_TILT = 0.2  # rad, standard uncertainty of a tilt nobody has said anything about
TELLING = 0.05  # of the way between the stops: a tilt heard less sharply does not tell which is touched
APART = 3.0  # standard uncertainties between the tilt heard and a stop before the plate counts as free of it
AT_STOP = 3  # rounds in which what explains the readings on a wedge is found
CLOSE = 2e-3  # rad over that, by which a plate hardly lifted may stand and not count as free, nor as on its wedge
TRIES = 8  # rounds in which a tilt that is heard is found
SETTLING, SWING = 2, 1e-2  # rounds; rad by which it may still move after them


def scene_of(picture: Picture, seen: tuple[Seen, ...]) -> Scene:
    """A scene of the plate as it hangs now, what it touches still open.

    Args:
        picture: what is believed.
        seen: what was read.
    Returns: the scene.
    """
    return Scene(picture.settings, picture.now, picture.turns, seen, OPEN, picture.tilt)


def stop_of(picture: Picture, scene: Scene) -> tuple[int, bool]:
    """Which stop the plate touches, by what was heard.

    Args:
        picture: what is believed.
        scene: with what was read.
    Returns: the stop; whether what was heard tells it, False where it is what was believed.
    """
    return heard_on(picture, scene)[:2]


def heard_on(picture: Picture, scene: Scene) -> tuple[int, bool, Line | None]:
    """Which stop the plate touches, and the scene in straight lines where it was looked for.

    Args:
        picture: what is believed.
        scene: with what was read.
    Returns: the stop; whether what was heard tells it; the lines, None where they are not those of that stop.
    """
    tilt, sd, line = _tilt_heard(picture, replace(scene, stop=OPEN))
    stop, told = _stop_at(picture, scene, tilt, sd)
    return stop, told, line if stop in (FREE, OPEN) else None


def _stop_at(picture: Picture, scene: Scene, tilt: float, sd: float) -> tuple[int, bool]:
    """The stop by the tilt that is heard, and whether that tells it."""
    low, high = (float(v) for v in tilt_limits(most_likely(picture), scene.settings))
    told = sd < TELLING * (high - low)
    if not told:
        tilt, sd = resting(firm(picture)).tilt, 0.0
    near, over = APART * sd + scenes.STOP_SLACK, tilt - low
    wedged = told and np.isfinite(scene.settings.prop)
    if wedged and scene.turns and weighed_in(picture.scenes) and 0.0 < over < near + CLOSE:
        return OPEN, told  # the claw is set so that the plate hardly leaves its wedge: it may stand a little over it
    if over < near or (wedged and missed_at(picture, scene, low) < missed_at(picture, scene, tilt)):
        return LOWER, told
    return (UPPER if high - tilt < near else FREE), told


def _tilt_heard(picture: Picture, scene: Scene) -> tuple[float, float, Line | None]:
    """Tilt of a scene and its standard uncertainty from its readings and what was believed, balance left out.

    And the scene in straight lines where it was looked at last; None where nothing is told.
    """
    before, covariance = _of_scene(picture, picture.tilt, ANY_TILT)
    at, step = before, scene_steps(picture)
    value, sd = (one[:-1] for one in scenes.targets(scene, picture.model.friction))
    marks = marks_of(picture, scene.pegs)
    for round_ in range(TRIES):
        try:
            values = scenes.shown(picture.model, scene, fan(at, step), *marks)
        except RangeError:  # strings far from their pitches lead to no instrument there is: nothing is told
            return picture.tilt, ANY_TILT, None
        line = Line(at, values[0], slopes(values, step), at)
        by = line.by[:-1]
        gain = np.linalg.solve(by @ covariance @ by.T + np.diag(sd**2), by @ covariance).T
        new = before + gain @ (value - values[0, :-1] + by @ (at - before))
        moved, at = abs(new[-1] - at[-1]), new
        if moved < (TILT_STEP if round_ < SETTLING else SWING):
            break
    else:  # strings far from their pitches answer in curves: nothing is told
        return picture.tilt, ANY_TILT, None
    left = covariance - gain @ by @ covariance
    return float(at[-1]), float(np.sqrt(max(left[-1, -1], 0.0))), line


def _of_scene(picture: Picture, tilt: float, sd: float) -> tuple[Array, Array]:
    """Unknowns of a scene without its balance, on which alone other springs than at first tell: mean, covariance."""
    count = picture.claw + 1
    covariance = np.zeros((count + 1, count + 1))
    covariance[:-1, :-1] = picture.covariance[:count, :count]
    covariance[-1, -1] = sd**2
    return np.append(picture.mean[:count], tilt), covariance


def missed_at(picture: Picture, scene: Scene, tilt: float) -> float:
    """Squares by which a scene's readings are missed with the plate at a tilt, over what was uncertain of them.

    A tilt that is heard may be one of several that explain strings far from their pitches; a wedge that explains them
    is the likelier.

    Args:
        picture: what is believed.
        scene: with what was read.
        tilt: [rad]
    Returns: [1]
    """
    value, sd = (one[:-1] for one in scenes.targets(scene, picture.model.friction))
    before, covariance = _of_scene(picture, tilt, scenes.STOP_SLACK)
    at, step = before, scene_steps(picture)
    missed = np.inf
    for _ in range(AT_STOP):
        try:
            values = scenes.shown(picture.model, scene, fan(at, step), *marks_of(picture, scene.pegs))[:, :-1]
        except RangeError:  # a step too far, to no instrument there is
            break
        by = slopes(values, step)
        off = value - values[0] + by @ (at - before)
        share = np.linalg.solve(by @ covariance @ by.T + np.diag(sd**2), off)
        at, missed = before + covariance @ by.T @ share, float(off @ share)
    return missed


def pressed_by(picture: Picture, scene: Scene) -> tuple[Pressed, ...]:
    """What plates found on stops say of the springs: they press. A plate found free says more.

    Args:
        picture: what is believed.
        scene: whose stop is known.
    Returns: the last few such plates.
    """
    if scene.stop in (FREE, OPEN):
        return () if scene.stop == FREE else picture.pressed
    at, step = np.append(picture.mean[: picture.claw + 1], picture.tilt), scene_steps(picture)
    if picture.unlike is not None:
        at[-2] += picture.mean[picture.unlike]
    bare = replace(scene, seen=(), stop=OPEN)
    moment = -scene.stop * scenes.shown(picture.model, bare, fan(at, step), *marks_of(picture, scene.pegs))[:, 0]
    count = picture.parts
    one = Pressed(float(moment[0]), picture.mean[:count], slopes(moment, step)[:count])
    return (*picture.pressed[-2:], one)
