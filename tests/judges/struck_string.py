"""An independent judge of plucked strings: the string itself, on a grid, stepped through time.

rho u_tt = (T0 + EA / (2 L) integral of u_x^2) u_xx - EI u_xxxx - 2 rho (s0 u_t - s1 u_xxt), hinged ends: Kirchhoff
(1876), Carrier, Q. Appl. Math. 3, 157 (1945); losses as in Bensa, Bilbao, Kronland-Martinet and Smith, J. Acoust. Soc.
Am. 114, 1095 (2003). Space: central differences of eighth order, the string continued oddly beyond its ends, which is
what a hinge asks. Time: the linear part by its own matrix exponential, the tension's rise as a kick in the middle of
each step (Strang), so that what is left of a small motion has the frequencies of the grid's matrix exactly. It shares
nothing with the sound of the practice instrument.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import expm

Array = NDArray[np.float64]

WEIGHTS = (-205.0 / 72.0, 8.0 / 5.0, -1.0 / 5.0, 8.0 / 315.0, -1.0 / 560.0)  # Fornberg, Math. Comput. 51, 699 (1988)
BELOW = 0.45  # of the rate; the grid's own highest mode stays under it


@dataclass(frozen=True)
class Wire:
    """A string between two hinges."""

    length: float  # m
    tension: float  # N, at rest
    unit_mass: float  # kg/m
    axial: float = 0.0  # N, EA; 0 keeps the tension as it is
    bending: float = 0.0  # N m2, EI
    loss: float = 0.0  # 1/s, s0
    inner_loss: float = 0.0  # m2/s, s1


@dataclass(frozen=True)
class Heard:
    """What a pickup hears of it, and the truth."""

    samples: Array  # m/s, velocity over the pickup, the first half a sample after the release
    rate: float  # Hz
    first_partial: float  # Hz, of a small motion
    fundamental: float  # Hz, f0 of n f0 sqrt(1 + B n^2)
    inharmonicity: float  # 1, B
    tension: Array  # N, at every sample
    at_rest: float  # N

    def glide(self, start: float, end: float) -> float:
        """Mean rise of the pitch by tension between two times [s], in cents, by tension alone."""
        some = self.tension[int(start * self.rate) : int(end * self.rate)]
        return float(600.0 * np.log2(some.mean() / self.at_rest))


def second_difference(points: int, step: float) -> Array:
    """Matrix of u_xx at the inner points of a string of zero ends, continued oddly beyond them."""
    matrix = np.zeros((points, points))
    for row in range(1, points + 1):
        for reach, weight in enumerate(WEIGHTS):
            for place in {row - reach, row + reach}:
                sign = 1.0
                if place < 0:
                    place, sign = -place, -1.0
                if place > points + 1:
                    place, sign = 2 * (points + 1) - place, -1.0
                if 0 < place < points + 1:
                    matrix[row - 1, place - 1] += sign * weight
    return matrix / step**2


def grid_hertz(wire: Wire, points: int) -> Array:
    """Frequencies of small motion on the grid, lowest first [Hz], without losses."""
    curved = -np.linalg.eigvalsh(second_difference(points, wire.length / (points + 1)))
    squares = (wire.tension * curved + wire.bending * curved**2) / wire.unit_mass
    hertz: Array = np.sqrt(np.sort(squares)) / (2.0 * np.pi)
    return hertz


def damped_first(wire: Wire, points: int) -> float:
    """First partial of small motion on the grid, slowed by the losses [Hz]."""
    curved = float((-np.linalg.eigvalsh(second_difference(points, wire.length / (points + 1)))).min())
    loss = wire.loss + wire.inner_loss * curved
    return float(np.sqrt(grid_hertz(wire, points)[0] ** 2 - (loss / (2.0 * np.pi)) ** 2))


def points_for(wire: Wire, rate: float, most: int = 128) -> int:
    """As many inner points as keep the grid's highest mode below BELOW of the rate."""
    points = most
    while points > 16 and grid_hertz(wire, points)[-1] > BELOW * rate:
        points -= 4
    return points


def triangle(wire: Wire, points: int, place: float, height: float, width: float) -> Array:
    """A string pulled aside at a place by a height [m], its corner rounded over a width; both of the length."""
    x = np.arange(1, points + 1) / (points + 1)
    fine = np.linspace(-4.0, 4.0, 201)
    bell = np.exp(-0.5 * fine**2)
    shape = np.zeros(points)
    for shift, weight in zip(fine * width, bell / bell.sum(), strict=True):
        at = np.abs((x - shift + 1.0) % 2.0 - 1.0) * np.sign((x - shift + 1.0) % 2.0 - 1.0)  # odd and repeated
        side = np.abs(at)
        shape += weight * np.sign(at) * np.where(side < place, side / place, (1.0 - side) / (1.0 - place))
    return height * shape


def released(wire: Wire, start: Array, rate: float, seconds: float, pickup: float) -> Heard:
    """Let the string go from rest at a shape [m] on the inner points, and hear it at a pickup (of the length)."""
    points = len(start)
    step = wire.length / (points + 1)
    curved = second_difference(points, step)
    pull = (wire.tension * curved - wire.bending * curved @ curved) / wire.unit_mass
    drag = 2.0 * (wire.inner_loss * curved - wire.loss * np.eye(points))
    half = expm(np.block([[np.zeros((points, points)), np.eye(points)], [pull, drag]]) * (0.5 / rate))
    whole = half @ half
    listened = min(max(round(pickup * (points + 1)), 1), points) - 1
    rise = -wire.axial / (2.0 * wire.length) * step  # times u . u_xx: the tension gained
    state = half @ np.concatenate([start, np.zeros(points)])
    count = round(seconds * rate)
    samples, tension = np.empty(count), np.empty(count)
    for i in range(count):  # state is at the middle of a step, samples are read there
        shape = state[:points]
        bent = curved @ shape
        gained = rise * (shape @ bent)
        state[points:] += (gained / (wire.unit_mass * rate)) * bent
        samples[i] = state[points + listened]
        tension[i] = wire.tension + gained
        state = whole @ state
    return Heard(
        samples=samples,
        rate=rate,
        first_partial=damped_first(wire, points),
        fundamental=float(np.sqrt(wire.tension / wire.unit_mass) / (2.0 * wire.length)),
        inharmonicity=float(np.pi**2 * wire.bending / (wire.tension * wire.length**2)),
        tension=tension,
        at_rest=wire.tension,
    )


def plucked(
    wire: Wire,
    place: float = 0.2,
    height: float = 0.002,
    pickup: float = 0.1,
    rate: float = 48000.0,
    seconds: float = 3.0,
    width: float = 0.01,
) -> Heard:
    """Pluck a string and hear it: place, pickup and width of the length, height [m], rate [Hz]."""
    points = points_for(wire, rate)
    return released(wire, triangle(wire, points, place, height, width), rate, seconds, pickup)
