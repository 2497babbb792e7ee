"""What claw screws lose when they are turned back.

A screw that goes on the way it went takes its claw along at once; one that is turned back takes up its thread first.
Told only where the claw is known well enough for it to matter: once the plate has floated with a spring off.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from setwright.instrument.traits import Array
from setwright.planning.scenes import FREE, Scene

LOST = 1 / 48  # turn that a claw screw loses when it is turned back; common practice, no source


def weighed_in(scenes: Sequence[Scene]) -> bool:
    """Whether the plate was found free with fewer springs before the claw was turned.

    Args:
        scenes: of the job.
    Returns: whether.
    """
    if not scenes:
        return False
    whole = scenes[0].settings.springs.sum()
    return any(
        one.stop == FREE and one.told and one.turns == 0 and one.settings.springs.sum() < whole for one in scenes
    )


def expected_slips(scenes: Sequence[Scene], settings: int, lead: float) -> Array:
    """What the claw's place is expected to be off by, as first noted and by every setting of it.

    Args:
        scenes: of the job.
        settings: of the claw so far [1].
        lead: of its screws [m].
    Returns: (settings + 1) true less noted place [m].
    """
    out = np.zeros(settings + 1)
    if weighed_in(scenes):
        places = {one.turns: float(np.mean(one.settings.claw)) for one in scenes}
        for one in range(2, settings + 1):
            if {one - 2, one - 1, one} <= places.keys():
                out[one] = _lost(places[one - 1] - places[one - 2], places[one] - places[one - 1], lead)
    return out


def next_slip(scenes: Sequence[Scene], settings: int, claw: Array, lead: float) -> float:
    """The same of a setting made now.

    Args:
        scenes: of the job.
        settings: of the claw before [1].
        claw: where it is noted to stand after [m].
        lead: of its screws [m].
    Returns: true less noted place [m].
    """
    places = {one.turns: float(np.mean(one.settings.claw)) for one in scenes}
    if not weighed_in(scenes) or not {settings - 1, settings} <= places.keys():
        return 0.0
    return _lost(places[settings] - places[settings - 1], float(np.mean(claw)) - places[settings], lead)


def _lost(before: float, now: float, lead: float) -> float:
    """Of a way turned now, after one before."""
    return -float(np.sign(now)) * LOST * lead if before * now < 0.0 else 0.0
