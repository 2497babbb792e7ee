"""Where the first partial of a sound settles that keeps to no law of a string: told from its own band alone.

Recorded notes whose partials lie cents off every stiff string, beat each for itself or were edited in pitch leave much
over whatever is fitted to all partials at once, and what such a fit says jumps with every slight change. Here nothing
is chosen: means over one band, by weights that go smoothly with the energy still to come, which neither rate nor pitch
changes.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

LATE = 4.0  # power of the share of energy that is gone, by which a moment counts
BLOCKS = 8  # of equal weight, which are compared
CARRIED = 0.5  # of what the line goes beyond the mean, its standard uncertainty: it is not known to be one
USUAL_GLIDE = 3.0 * np.log(2.0) / 1200.0  # relative, at the onset, with which a note that ends loud may end
FEWEST = 4 * BLOCKS  # samples of a band


def by_itself(band: Complex, times: Array, hertz: float) -> tuple[float, float] | None:
    """Frequency at which a partial settles, by itself.

    Tension rises with the square of the amplitude (H1 of docs/physics/listening.md), so the frequency goes about as
    the energy still to come, and settles where none is left: a line through means of eight blocks, late ones foremost.

    Args:
        band: (M) of the partial, moved to frequency zero.
        times: (M) of its samples, evenly [s].
        hertz: frequency that was moved to zero [Hz].
    Returns: frequency [Hz] and its relative standard uncertainty: how far the blocks lie off the line, half of what the
        line is carried on, and a usual glide as far as it cannot have fallen yet; None where too little is heard.
    """
    if len(band) <= FEWEST:
        return None
    step = float(times[1] - times[0])
    turns = band[1:] * band[:-1].conj()
    power = np.abs(turns)
    left = np.cumsum(power[::-1])[::-1] - 0.5 * power
    if not left[0] > 0.0:
        return None
    left = left / (left[0] + 0.5 * power[0])
    late = np.maximum(1.0 - left, 0.0) ** LATE
    weight = late * power
    middle = np.angle((late * turns).sum())
    turns = late * turns * np.exp(-1j * middle)
    gone = np.cumsum(weight) / weight.sum()
    block = np.minimum((gone * BLOCKS).astype(np.intp), BLOCKS - 1)
    heavy = np.bincount(block, weight, BLOCKS)
    some = heavy > 0.0
    if some.sum() < 4:
        return None
    off = np.angle(np.bincount(block, turns.real, BLOCKS) + 1j * np.bincount(block, turns.imag, BLOCKS))[some]
    at = np.bincount(block, weight * left, BLOCKS)[some] / heavy[some]
    share = heavy[some] / weight.sum()
    by = np.stack([np.ones(len(at)), at])
    spread = np.linalg.inv((by * share) @ by.T)
    line = spread @ ((by * share) @ off)
    over = float(share @ (off - line @ by) ** 2) / (len(at) - 2)
    carried = float(share @ off) - float(line[0])
    scale = 2.0 * np.pi * step * hertz
    first = hertz + float(middle + line[0]) / (2.0 * np.pi * step)
    told = (over * spread[0, 0] + (CARRIED * carried) ** 2) / scale**2
    return first, float(np.sqrt(told + (USUAL_GLIDE * _fallen(power)) ** 2))


def _fallen(power: Array) -> float:
    """Power of the last of eight times over that of the loudest [1]."""
    each = np.add.reduceat(power, np.linspace(0, len(power), BLOCKS, endpoint=False).astype(int))
    return float(each[-1] / each.max())
