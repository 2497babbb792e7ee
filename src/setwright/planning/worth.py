"""Which reading would help most: how far each would narrow the band of the claw.

Derived here: a reading with derivatives h and standard uncertainty r takes (b C h)² / (h C h + r²) off the variance
b C b of the claw, C the covariance of all unknowns and b the claw's derivatives (linear Gaussian update).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from setwright.instrument.traits import Array
from setwright.planning.course import Course
from setwright.planning.guide import end_state
from setwright.planning.scenes import SILENT, fan, slopes
from setwright.planning.tracking import expected, firm, resting, steps


@dataclass(frozen=True)
class Worth:
    """What one more reading would do to the claw's band."""

    what: str  # "pitch", "rear gap", "claw distance"
    string: int | None  # from 1
    before: float  # turns, standard uncertainty of the claw now
    after: float  # turns


def most_telling(course: Course, pitch_sd: float, gap_sd: float, claw_sd: float) -> Worth | None:
    """The reading of the present state that would narrow the claw's band most.

    Args:
        course: where the work stands.
        pitch_sd: standard uncertainty of a pitch [cents].
        gap_sd: of a rear gap [m].
        claw_sd: of a claw distance [m].
    Returns: the reading; None where the claw's place is known already.
    """
    course = replace(course, picture=resting(firm(course.picture)))
    picture = course.picture
    end, step = end_state(course), steps(picture)
    states = expected(picture, fan(picture.mean, step))
    cents = 1200.0 * np.log2(np.maximum(states.hertz, SILENT))
    claw = np.zeros(len(step))
    claw[-1] = 1.0
    ways = np.vstack([slopes(np.column_stack([cents, states.gap]), step), claw])
    noise = np.array([*[pitch_sd] * cents.shape[1], gap_sd, claw_sd])
    gains = _gains(end.by, picture.covariance, ways, noise)
    best = int(np.argmax(gains))
    if end.claw_sd <= 0.0 or gains[best] <= 0.0:
        return None
    left = math.sqrt(max(end.claw_sd**2 - float(gains[best]), 0.0))
    strings = cents.shape[1]
    name = "pitch" if best < strings else ("rear gap", "claw distance")[best - strings]
    return Worth(name, best + 1 if best < strings else None, end.claw_sd, left)


def _gains(by: Array, covariance: Array, ways: Array, noise: Array) -> Array:
    """(R) variance every reading takes away."""
    spread = ways @ covariance
    own = np.einsum("rn,rn->r", spread, ways) + noise**2
    return np.asarray((spread @ by) ** 2 / own)
