"""Upper hulls of many strings at once: what a taut string touches between the nut and any crown (derived here).

Arrays are laid out (P, m): contacts first (the nut is row 0), strings of all instruments last. Most crowns of a usual
neck lie on no other hull than their own, so the whole arrays only see the straight line from the nut; the few crowns
that stand lower than one before them, as seen from the nut, are worked by their flat index.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from setwright.physics._ranges import Array

Mask = NDArray[np.bool_]
Index = NDArray[np.intp]


@dataclass
class Hulls:
    """The upper hull of all contacts up to each one."""

    link: Index  # (P, m) flat index of the contact before each one on its hull; the nut links to itself
    slope: Array  # (P - 1, m) 1, rise per run from there to contacts 1 to P - 1
    length: Array  # (P, m) m, of the hull from the nut


def segment(dx: Array, dy: Array, out: Array | None = None) -> Array:
    """Length of straight pieces of string; spoils dy, as one array less is one array sooner in the cache.

    Args:
        dx: (...) [m]
        dy: (...) [m] holds squares afterwards
        out: (...) [m] where to put it, dx itself if need be; a new array when left out

    Returns:
        (...) [m]
    """
    square = np.multiply(dx, dx, out=out)
    dy *= dy
    square += dy
    return np.sqrt(square, out=square)


def running(pick: Callable[..., Array], rows: Array) -> Array:
    """Running `np.maximum` or `np.minimum` down the rows; many times faster than `accumulate` along the first axis.

    Args:
        pick: [1] the ufunc
        rows: (P, m) [1] in any unit

    Returns:
        (P, m) in the same unit.
    """
    out = rows.copy()
    for before, here in pairwise(out):
        pick(before, here, out=here)
    return out


def upper_hulls(x: Array, y: Array) -> Hulls:
    """For every contact the upper hull of all contacts up to it.

    A contact that stands as high, as seen from the nut, as all before it links to the nut; one that does not, right
    behind one that does, links to this neighbour. The rest are found by `_jump`.

    Args:
        x: (P, m) [m] rising along the first axis
        y: (P, m) [m]

    Returns:
        The hulls.
    """
    rows, wide = x.shape
    dx, dy = x[1:] - x[0], y[1:] - y[0]
    slope, length = dy / dx, np.empty_like(x)
    length[0] = 0.0
    segment(dx, dy, out=length[1:])
    link = np.empty((rows, wide), dtype=np.intp)
    link[:] = np.arange(wide)
    lower = slope < running(np.maximum, slope)
    at = np.flatnonzero(lower) + wide
    if at.size:
        again = np.flatnonzero(lower.ravel().take(at - 2 * wide))  # never the first crown
        _bend(Hulls(link, slope, length), x.ravel(), y.ravel(), at, again)
    return Hulls(link, slope, length)


def _bend(straight: Hulls, fx: Array, fy: Array, at: Index, again: Index) -> None:
    """Hulls of the lower contacts in place; `again` are the places in `at` of those whose neighbour is lower too."""
    wide = straight.link.shape[1]
    chain, length = straight.link.ravel(), straight.length.ravel()
    back = at - wide
    chain[at] = back
    if again.size:
        runs = at.take(again)
        back[again] = _jump(fx, fy, chain, runs)
    dx, dy = fx.take(at) - fx.take(back), fy.take(at) - fy.take(back)
    straight.slope.ravel()[at - wide] = dy / dx
    last = segment(dx, dy, dx)
    length[at] = last + length.take(back)
    if again.size:
        length[runs] = last.take(again)
        _add_up(length, chain, runs)


def _jump(fx: Array, fy: Array, chain: Index, at: Index) -> Index:
    """Links of the contacts at these flat indices, also written into `chain`, which holds their neighbours.

    Each jumps on to its link's own link while this lies higher as seen from it, all at once, until none moves. A jump
    only leaves out a point below a chord, so the fixed point is the hull whatever the order; links of links make the
    jumps double, hence few passes.
    """
    mid = chain.take(at)
    here_x, here_y = fx.take(at), fy.take(at)
    rise = (fy.take(mid) - here_y) / (here_x - fx.take(mid))
    while True:
        far = chain.take(mid)
        ahead = (fy.take(far) - here_y) / (here_x - fx.take(far))
        better = ahead > rise
        if not better.any():
            return mid
        mid, rise = np.where(better, far, mid), np.maximum(rise, ahead)
        chain[at] = mid


def _add_up(length: Array, chain: Index, at: Index) -> None:
    """Last pieces of the hulls at these flat indices become whole lengths, in place: sums doubled at each pass."""
    far, goal = chain.take(at), np.zeros_like(chain)  # a goal of 0: the length there is whole
    goal[at] = far
    while at.size:
        whole, on = length.take(at) + length.take(far), goal.take(far)
        length[at], goal[at] = whole, on
        going = np.flatnonzero(on)
        at, far = at.take(going), on.take(going)
