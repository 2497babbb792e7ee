"""What a struck string sweeps, followed in time: d'Alembert's two travelling halves, instant by instant.

Nothing of physics.clearance's envelope is used: the string is released from a triangle, and the lowest it comes over
every crown is looked up among many instants of one period.
"""

from __future__ import annotations

import numpy as np

from setwright.instrument.geometry import saddle_contact
from setwright.instrument.neckshape import stop_points
from setwright.instrument.predict import Predicted
from setwright.instrument.settings import Settings
from setwright.instrument.traits import Array, Traits

INSTANTS = 801


def lowest_over(x: Array, length: float, pluck: float, rise: float) -> Array:
    """Lowest displacement over one period at places x from the stop, plucked away from the board near the far end.

    Args:
        x: (N) [m] from the stop. length: [m]. pluck: [m] from the far end. rise: [m] of the corner before release.
    Returns: (N) [m], not above zero.
    """
    corner = length - pluck

    def shape(u: Array) -> Array:
        """The triangle, continued as an odd function of period 2 L."""
        u = (u + length) % (2.0 * length) - length
        half = np.interp(np.abs(u), [0.0, corner, length], [0.0, rise, 0.0])
        return np.sign(u) * half

    gone = np.linspace(0.0, 2.0 * length, INSTANTS)[:, None]
    return np.asarray((0.5 * (shape(x - gone) + shape(x + gone))).min(axis=0))


def least_swept(traits: Traits, settings: Settings, shown: Predicted, force: float, place: float) -> Array:
    """(S) least clearance of every string over all stops and crowns ahead [m], for an unbatched instrument."""
    x, y = (np.reshape(v, (len(shown.tension), -1)) for v in stop_points(traits, settings, np.asarray(shown.bow)))
    end_x, end_y = (np.reshape(v, -1) for v in saddle_contact(traits, settings, np.asarray(shown.tilt)))
    out = np.full(len(x), np.inf)
    for s, tension in enumerate(shown.tension):
        pluck = place * (end_x[s] - x[s, 0])
        for stop in range(x.shape[1] - 1):
            length = end_x[s] - x[s, stop]
            rise = force / (tension / pluck + tension / (length - pluck))  # both parts pull the corner back
            ahead = x[s, stop + 1 :] - x[s, stop]
            straight = y[s, stop] + (end_y[s] - y[s, stop]) * ahead / length
            out[s] = min(out[s], float((straight + lowest_over(ahead, length, pluck, rise) - y[s, stop + 1 :]).min()))
    return out
