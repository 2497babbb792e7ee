"""Which reading would help most: how far each would narrow the band of the claw.

Derived here: a reading with derivatives h and standard uncertainty r takes (b C h)² / (h C h + r²) off the variance
b C b of the claw, C the covariance of all unknowns and b the claw's derivatives (linear Gaussian update).
"""

from __future__ import annotations

import math

import numpy as np

from setwright.frozen import frozen
from setwright.instrument.traits import Array
from setwright.planning.outlook import View


@frozen
class Worth:
    """What one more reading would do to the claw's band."""

    what: str  # "pitch", "rear gap", "claw distance"
    string: int | None  # from 1
    before: float  # turns, standard uncertainty of the claw now
    after: float  # turns


def most_telling(seen: View, pitch_sd: float, gap_sd: float, claw_sd: float) -> Worth | None:
    """The reading of the present state that would narrow the claw's band most.

    Args:
        seen: where the work stands.
        pitch_sd: standard uncertainty of a pitch [cents].
        gap_sd: of a rear gap [m].
        claw_sd: of a claw distance [m].
    Returns: the reading; None where the claw's place is known already.
    """
    end, by = seen.end, seen.now.by
    strings = len(by) - 1
    claw = np.zeros(by.shape[1])
    claw[-1] = 1.0
    ways = np.vstack([by, claw])
    noise = np.array([*[pitch_sd] * strings, gap_sd, claw_sd])
    gains = _gains(end.by, seen.course.picture.covariance, ways, noise)
    best = int(np.argmax(gains))
    if end.claw_sd <= 0.0 or gains[best] <= 0.0:
        return None
    left = math.sqrt(max(end.claw_sd**2 - float(gains[best]), 0.0))
    name = "pitch" if best < strings else ("rear gap", "claw distance")[best - strings]
    return Worth(name, best + 1 if best < strings else None, end.claw_sd, left)


def _gains(by: Array, covariance: Array, ways: Array, noise: Array) -> Array:
    """(R) variance every reading takes away."""
    spread = ways @ covariance
    own = np.einsum("rn,rn->r", spread, ways) + noise**2
    return np.asarray((spread @ by) ** 2 / own)
