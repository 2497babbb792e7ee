"""One spring off, so that the plate floats before the claw is turned for the first time.

All springs together hold the plate on its wedge whatever the strings at pitch pull, so nothing that is heard tells how
strong they are. One less, and the strings lift it: what it then floats at tells the moment of those that hang, and so
of all of them, before the claw has been turned. It costs the minutes of taking a spring off and hanging it again.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from setwright.instrument.geometry import tilt_limits
from setwright.instrument.settings import Fewest
from setwright.instrument.traits import Array
from setwright.planning.course import Course
from setwright.planning.outlook import View, sd_of
from setwright.planning.scenes import fan, slopes
from setwright.planning.targets import spring_mask
from setwright.planning.tracking import changed, expected, firm, most_likely, steps
from setwright.planning.turned_back import weighed_in

USUAL = {  # what the ways take on practice instruments: tunings, claw settings, jobs of 100 with a third one, minutes
    "minutes": (13, 2, 29, 25),
    "claw settings": (13, 2, 1, 32),
}
OTHERWISE: dict[Fewest, Fewest] = {"minutes": "claw settings", "claw settings": "minutes"}
BELOW = 2.0  # standard uncertainties the plate must stay below its upper stop


def meant(course: Course) -> int:
    """How many springs are to hang: as many as when the work began.

    Args:
        course: where the work stands.
    Returns: the number.
    """
    return round(float(_first(course).sum()))


def hanging(course: Course) -> int:
    """How many springs hang now.

    Args:
        course: where the work stands.
    Returns: the number.
    """
    return round(float(course.picture.settings.springs.sum()))


def _first(course: Course) -> Array:
    scenes = course.picture.scenes
    return np.asarray(scenes[0].settings.springs if scenes else course.picture.settings.springs)


def is_off(course: Course) -> bool:
    """Whether fewer springs hang than are meant to.

    Args:
        course: where the work stands.
    Returns: whether.
    """
    return hanging(course) < meant(course)


def weighed(course: Course) -> bool:
    """Whether the plate was found free with fewer springs before the claw was turned.

    Args:
        course: where the work stands.
    Returns: whether.
    """
    return weighed_in(course.picture.scenes)


def last_way(course: Course) -> float:
    """Which way the claw went when it was last set.

    Args:
        course: where the work stands.
    Returns: in > 0, out < 0 [m]; 0 where it has not been set since anything was read.
    """
    picture = course.picture
    before = [one.settings.claw for one in picture.scenes if one.turns < picture.turns]
    return float((before[-1] - picture.settings.claw).mean()) if before else 0.0


def worth_it(seen: View) -> bool:
    """Whether one spring is to come off now: the claw is still to be set, and the plate will not swing to its end.

    Args:
        seen: where the work stands, the plate on its wedge and the thick strings up.
    Returns: whether.
    """
    course = seen.course
    left = meant(course) - 1
    tried = any(one.settings.springs.sum() <= left for one in course.picture.scenes)
    if course.goal.fewest != "claw settings" or course.claws or tried or is_off(course):
        return False
    picture = firm(course.picture)
    if left not in picture.model.traits.springs.patterns:
        return False
    picture = changed(picture, replace(picture.settings, springs=spring_mask(picture.model.traits, left)))
    step = steps(picture)
    tilt = expected(picture, fan(picture.mean, step)).tilt
    high = float(tilt_limits(most_likely(picture), picture.settings)[1])
    return bool(tilt[0] + BELOW * sd_of(slopes(tilt, step), picture) < high)


def other_way(course: Course) -> Fewest | None:
    """What the way may be chosen for instead, while either may still be taken.

    Args:
        course: where the work stands.
    Returns: the other one; None once the strings come up, and where no spring can come off.
    """
    begun = course.tunings + course.claws > 0 or is_off(course)
    if begun or meant(course) - 1 not in course.picture.model.traits.springs.patterns:
        return None
    return OTHERWISE[course.goal.fewest]


def two_ways(course: Course) -> tuple[str, ...]:
    """What the chosen way and the other one are expected to take, told while either may still be taken.

    Args:
        course: where the work stands.
    Returns: one sentence, or none.
    """
    chosen, other = course.goal.fewest, other_way(course)
    if other is None:
        return ()
    here, there = (
        f"about {tunings} strings tuned and {claws} claw settings (a third in {third} of 100 jobs), {minutes} minutes"
        for tunings, claws, third, minutes in (USUAL[chosen], USUAL[other])
    )
    return (f"chosen for fewest {chosen}: {here}; for fewest {other} (fewest, in the job's want): {there}",)
