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
    found: list[Place] = []
    for _ in range(most):
        i, j = np.unravel_index(np.argmin(cost), cost.shape)
        if not np.isfinite(cost[i, j]):
            break
        one = _refined(n, flat, weight, np.array([PLUCKED[i], HEARD[j], max(width[i, j], 0.004)]))
        if not any(_alike(one, other) for other in found):
            found.append(one)
        for p, x in ((PLUCKED[i], HEARD[j]), (HEARD[j], PLUCKED[i])):
            cost[np.ix_(np.abs(PLUCKED - p) < APART, np.abs(HEARD - x) < APART)] = np.inf
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


def _refined(n: Array, flat: Array, weight: Array, at: Array) -> Place:
    """Least squares from a point of the grid (Levenberg, Marquardt), the common size free."""

    def residual(at: Array) -> Array:
        there = weight * heights(n, *at)
        size = (weight * flat) @ there / max(float(there @ there), 1e-12)
        return np.asarray(weight * flat - size * there)

    off, damping = residual(at), 1e-3
    cost = float(off @ off)
    for _ in range(ROUNDS):
        slope = np.column_stack([(residual(at + step) - off) / 1e-5 for step in 1e-5 * np.eye(3)])
        matrix = slope.T @ slope
        new = at - np.linalg.solve(matrix + damping * np.diag(np.diag(matrix) + 1e-9), slope.T @ off)
        new = np.clip(new, [EDGE, EDGE, NARROWEST], [0.5, 0.5, WIDEST])
        again = residual(new)
        less = float(again @ again)
        if less < cost:
            done = cost - less < SAME * cost
            at, off, cost, damping = new, again, less, 0.2 * damping
            if done:
                break
        else:
            damping *= 10.0
    misfit = np.sqrt(cost / max(float((weight**2).sum()) - 4.0, 1.0))
    return Place(float(at[0]), float(at[1]), float(at[2]), float(misfit))
