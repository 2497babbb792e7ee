"""Other springs than at first: by how much their pull may differ from what was learned of the first ones.

No two springs pull alike. What is learned of them while the first n hang is their mean; the mean of m of them, or of
more, is another one. That difference is one and the same for as long as that number hangs: one unknown, shared by every
scene of it and gone once the first number hangs again. A moment of the springs equals one of a claw that stands
elsewhere, so it is carried as a shift of the claw.
"""

from __future__ import annotations

import math

import numpy as np

from setwright.frozen import frozen, replace
from setwright.instrument.settings import Settings
from setwright.instrument.traits import Array
from setwright.planning import scenes
from setwright.planning.scenes import Model, Scene

UNLIKE = 0.03  # share by which one spring may pull otherwise than the next; common practice, no source
LEAST_SLOPE = 1.0  # N, moment by claw of springs that are as good as slack


@frozen
class Others:
    """A number of springs that hung beside the first."""

    count: int
    sd: float  # m, standard uncertainty of the shift of the claw that stands for what they pull otherwise


def hung(settings: Settings) -> int:
    """How many springs hang.

    Args:
        settings: of the instrument.
    Returns: the number.
    """
    return round(float(settings.springs.sum()))


def others_of(others: tuple[Others, ...], settings: Settings) -> int | None:
    """Which of these numbers of springs hangs.

    Args:
        others: the numbers.
        settings: of the instrument.
    Returns: its place among them; None where none of them does.
    """
    count = hung(settings)
    return next((i for i, one in enumerate(others) if one.count == count), None)


def uneven(first: int, now: int) -> float:
    """By what share the mean pull of some springs may differ from that of the first ones.

    Springs keep their character wherever they hang: of the first n, m stay on, or m - n come beside them. The weights
    of the two means differ by 1/m - 1/n on those in both, and by 1/n or 1/m on the others; the root of the sum of their
    squares is |1/m - 1/n|^1/2.

    Args:
        first: number of springs at first [1].
        now: number that hangs now [1].
    Returns: standard uncertainty of the share [1]; 0 where either is none.
    """
    return UNLIKE * math.sqrt(abs(1.0 / now - 1.0 / first)) if first and now else 0.0


def shift_of(model: Model, scene: Scene, at: Array, marks: tuple[Array, Array], step: float) -> float:
    """By how much the claw would have to shift to take the whole moment of the springs away, in a straight line.

    Args:
        model: the nominal instrument.
        scene: a bare one, with the springs that hang.
        at: (L) its unknowns.
        marks: (S) tilt [rad] and (S) bow [1/m] of its pegs.
        step: of the claw, over which its effect is measured [m].
    Returns: moment over moment by claw [m].
    """
    beside = at.copy()
    beside[-2] += step
    without = replace(scene, settings=replace(scene.settings, springs=np.zeros_like(scene.settings.springs)))
    pulled, bare = scenes.shown_together(model, (scene, without), (np.stack([at, beside]), at[None]), (marks, marks))
    slope = float(pulled[1, 0] - pulled[0, 0]) / step
    return abs(float(pulled[0, 0] - bare[0, 0])) / max(abs(slope), LEAST_SLOPE)
