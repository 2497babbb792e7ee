"""Where a string was plucked and heard, from how loud its partials are; and so how the parts of its glide stand.

A string released from a triangle and heard by one pickup gives partial n the height

    h_n ~ |sin(n pi p) sin(n pi x)| exp(-(n pi w)^2 / 2) / n                                                (H9)

p the place of the pluck, x that of the pickup, w the width of what plucks, all of the length (Fletcher and Rossing,
Physics of Musical Instruments, 2nd ed., section 2.7, from memory; velocity, so one power of n less). What is plucked
and what hears can be exchanged in H9, so every pair of places is two cases. The tension goes with the mean square of
the slope, of which partial n has (n a_n)^2 ~ sin(n pi p)^2 exp(-(n pi w)^2) / n^2, heard or not.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

PLUCKED = np.linspace(0.03, 0.5, 60)  # of the length, places tried; from either end they sound alike
HEARD = np.linspace(0.02, 0.5, 61)
WIDTHS = (0.0, 0.01, 0.018)
NARROWEST, WIDEST = 0.0, 0.04  # of the length
EDGE = 0.015  # of the length, nearest place to an end
HEIGHT = 0.03  # relative, the uncertainty of a height that the model is trusted to in any case
APART = 0.02  # of the length, places nearer than that are the same
ROUNDS = 12
SAME = 1e-6  # relative gain that ends the rounds


@dataclass(frozen=True)
class Place:
    """Where a string was plucked and heard, of its length."""

    plucked: float
    heard: float
    width: float
    misfit: float  # root mean square of what H9 leaves over, of the heights times n


def heights(numbers: Array, plucked: float, heard: float, width: float) -> Array:
    """H9 times n.

    Args:
        numbers: (N) of the partials [1].
        plucked: place of the pluck [of the length].
        heard: place of the pickup [of the length].
        width: of what plucks [of the length].
    Returns: (N) [1].
    """
    turn = np.pi * numbers
    return np.asarray(np.abs(np.sin(plucked * turn) * np.sin(heard * turn)) * np.exp(-0.5 * (width * turn) ** 2))


def slopes(numbers: Array, plucked: float, width: float) -> Array:
    """Share of every partial in the mean square slope, not brought to a sum.

    Args:
        numbers: (N) of the partials [1].
        plucked: place of the pluck [of the length].
        width: of what plucks [of the length].
    Returns: (N) [1].
    """
    turn = np.pi * numbers
    return np.asarray((np.sin(plucked * turn) / numbers) ** 2 * np.exp(-((width * turn) ** 2)))


def places(numbers: Array, height: Array, sd: Array, most: int = 4) -> list[Place]:
    """Places that explain the heights of the partials, the best first: a grid, then least squares.

    Args:
        numbers: (N) of the partials [1].
        height: (N) at the release [any].
        sd: (N) relative standard uncertainty of the heights [1].
        most: how many [1].
    Returns: at least one.
    """
    n = np.asarray(numbers, dtype=float)
    flat = height * n
    flat = flat / np.sqrt(np.mean(flat**2))
    weight = 1.0 / np.sqrt(1.0 + (sd / HEIGHT) ** 2)
    cost, width = _grid(n, flat, weight)
    starts = []
    for _ in range(most):
        i, j = np.unravel_index(np.argmin(cost), cost.shape)
        if not np.isfinite(cost[i, j]):
            break
        starts.append((PLUCKED[i], HEARD[j], max(width[i, j], 0.004)))
        for p, x in ((PLUCKED[i], HEARD[j]), (HEARD[j], PLUCKED[i])):
            cost[np.ix_(np.abs(PLUCKED - p) < APART, np.abs(HEARD - x) < APART)] = np.inf
    found: list[Place] = []
    for one in _refined(n, flat, weight, np.array(starts)):
        if not any(_alike(one, other) for other in found):
            found.append(one)
    return sorted(found, key=lambda one: one.misfit)


def _alike(one: Place, other: Place) -> bool:
    a, b = sorted((one.plucked, one.heard)), sorted((other.plucked, other.heard))
    return abs(a[0] - b[0]) + abs(a[1] - b[1]) < 0.5 * APART


def _grid(n: Array, flat: Array, weight: Array) -> tuple[Array, Array]:
    """(P, X) least squares of all pairs of places, and the width each is best with."""
    plucked = np.abs(np.sin(np.pi * PLUCKED[:, None] * n))
    heard = np.abs(np.sin(np.pi * HEARD[:, None] * n))
    whole = float(((weight * flat) ** 2).sum())
    cost = np.full((len(PLUCKED), len(HEARD)), np.inf)
    width = np.zeros(cost.shape)
    for one in WIDTHS:
        bell = np.exp(-0.5 * (one * np.pi * n) ** 2) * weight
        along = (plucked * (bell * weight * flat)) @ heard.T
        size = (plucked**2 * bell**2) @ (heard**2).T
        here = whole - along**2 / np.maximum(size, 1e-12)
        width = np.where(here < cost, one, width)
        cost = np.minimum(cost, here)
    return cost, width


def _refined(n: Array, flat: Array, weight: Array, at: Array) -> list[Place]:
    """Least squares from each of (K, 3) points of the grid (Levenberg, Marquardt), the common size free."""
    off, slope = _residual(n, flat, weight, at)
    cost, damping, on = (off**2).sum(axis=1), np.full(len(at), 1e-3), np.ones(len(at), dtype=bool)
    for _ in range(ROUNDS):
        matrix = slope @ slope.transpose(0, 2, 1)
        diagonal = np.einsum("kii->ki", matrix)
        damped = matrix + (damping[:, None] * (diagonal + 1e-9))[:, :, None] * np.eye(3)
        new = at - np.linalg.solve(damped, slope @ off[:, :, None])[:, :, 0]
        new = np.clip(new, [EDGE, EDGE, NARROWEST], [0.5, 0.5, WIDEST])
        off_new, slope_new = _residual(n, flat, weight, new)
        less = (off_new**2).sum(axis=1)
        better = on & (less < cost)
        on = on & ~(better & (cost - less < SAME * cost))
        at, cost = np.where(better[:, None], new, at), np.where(better, less, cost)
        off, slope = np.where(better[:, None], off_new, off), np.where(better[:, None, None], slope_new, slope)
        damping = damping * np.where(better, 0.2, 10.0)
        if not on.any():
            break
    misfit = np.sqrt(cost / max(float((weight**2).sum()) - 4.0, 1.0))
    return [Place(float(p), float(x), float(w), float(its)) for (p, x, w), its in zip(at, misfit, strict=True)]


def _residual(n: Array, flat: Array, weight: Array, at: Array) -> tuple[Array, Array]:
    """(K, N) what is left over of heights times n, and its derivatives (K, 3, N)."""
    turn = np.pi * n
    a, b = at[:, :1] * turn, at[:, 1:2] * turn
    bell = np.exp(-0.5 * (at[:, 2:] * turn) ** 2) * weight
    pluck, ear = np.sin(a), np.sin(b)
    there = np.abs(pluck * ear) * bell
    slope = np.stack([
        turn * np.cos(a) * np.sign(pluck) * np.abs(ear) * bell, turn * np.cos(b) * np.sign(ear) * np.abs(pluck) * bell,
        -at[:, 2:] * turn**2 * there,
    ], axis=1)  # fmt: skip
    given, power = weight * flat, np.maximum((there**2).sum(axis=1), 1e-12)
    size = (there @ given) / power
    grows = (slope @ given - 2.0 * size[:, None] * (slope @ there[:, :, None])[:, :, 0]) / power[:, None]
    by = size[:, None, None] * slope + grows[:, :, None] * there[:, None]
    return given - size[:, None] * there, -by
