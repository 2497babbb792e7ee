"""A note on an instrument that moves: one resonance at the bridge shifts and damps the partials near it.

The string is y = u (1 - x) + sum of q_n sin(n pi x), x from the bridge in lengths, u the body's motion there. Of a
string of mass m, the kinetic energy is m/2 (u'^2 / 3 + 2 u' sum of q_n' / (n pi) + sum of q_n'^2 / 2), the potential
energy m/2 (sum of omega_n^2 q_n^2 / 2 + (2 f0)^2 u^2); own derivation, m / (n pi) being m times the integral of
(1 - x) sin(n pi x).
"""

from __future__ import annotations

from math import pi

import numpy as np

from setwright.frozen import frozen
from setwright.practice.sound import (
    Array,
    Partials,
    Pluck,
    at_level,
    ear_of,
    first_of,
    glide_of,
    partials_of,
    render,
    shape_of,
)

COUPLED = 40  # partials solved together with the body; the rest keeps to itself
NEAR = 0.25  # octaves; the string's first partial is looked for so near where it would be


@frozen
class Resonance:
    """One resonance of the instrument at the bridge."""

    hertz: float  # Hz, alone
    quality: float  # 1, its frequency over its bandwidth
    mass: float  # 1, moving mass over the string's


def _system(pluck: Pluck, omega: Array, loss: Array, body: Resonance) -> tuple[Array, Array]:
    """The matrix A of z' = A z, z = (q, u, q', u'), and the diagonal of the stiffness; masses over the string's."""
    count = len(omega)
    n = np.arange(1.0, count + 1.0)
    inertia = np.diag(np.append(np.full(count, 0.5), body.mass + 1.0 / 3.0))
    inertia[count, :count] = inertia[:count, count] = 1.0 / (n * pi)
    turn = 2.0 * pi * body.hertz
    stiff = np.append(0.5 * np.square(omega), body.mass * turn * turn + (2.0 * pluck.fundamental) ** 2)
    drag = np.append(loss, body.mass * turn / body.quality)
    size = count + 1
    system = np.zeros((2 * size, 2 * size))
    system[:size, size:] = np.eye(size)
    system[size:, :size] = -np.linalg.solve(inertia, np.diag(stiff))
    system[size:, size:] = -np.linalg.solve(inertia, np.diag(drag))
    return system, stiff


def modes_with_body(pluck: Pluck, body: Resonance) -> Partials:
    """Partials of a string whose bridge end moves, from one damped eigenproblem of string and body.

    Args:
        pluck: the note
        body: the resonance

    Returns:
        Partials; the string-like and the body-like ones, unsorted. The pickups sit on the body. Those solved together
        take the shared glide only.
    """
    rest = partials_of(pluck)
    count = min(COUPLED, len(rest.hertz))
    n = np.arange(1.0, count + 1.0)
    system, stiff = _system(pluck, 2.0 * pi * rest.hertz[:count], 1.0 / rest.decay[:count], body)
    values, vectors = np.linalg.eig(system)
    start = np.zeros(len(values), dtype=np.complex128)
    start[:count] = shape_of(pluck, n)
    share = np.linalg.solve(vectors, start)
    ear = np.append(ear_of(pluck, n), -sum(place * gain for place, gain in pluck.pickups))
    up = values.imag > 0.0
    heard = -2.0 * (ear @ vectors[count + 1 :, up]) * share[up] / (2.0 * pi)
    held = np.square(np.abs(vectors[: count + 1, up])) * stiff[:, None]
    follow = held[:count] / held.sum(axis=0) / (1.0 + pluck.inharmonicity * n * n)[:, None]
    return Partials(
        hertz=np.append(values.imag[up] / (2.0 * pi), rest.hertz[count:]),
        height=np.append(np.abs(heard), rest.height[count:]),
        phase=np.append(np.angle(heard) + 0.5 * pi, rest.phase[count:]),
        decay=np.append(-1.0 / values.real[up], rest.decay[count:]),
        follow=np.append(follow.sum(axis=0) * (1.0 + pluck.inharmonicity), rest.follow[count:]),
        own=np.append(np.zeros(int(up.sum())), rest.own[count:]),
    )


def first_with_body(pluck: Pluck, body: Resonance) -> tuple[float, float]:
    """The first partial of a string on a moving bridge: the mode near it that gives most sound in all.

    Args:
        pluck: the note
        body: the resonance

    Returns:
        its frequency [Hz] and its decay [s].
    """
    modes = modes_with_body(pluck, body)
    near = np.abs(np.log2(modes.hertz / first_of(pluck))) < NEAR
    best = np.argmax(np.where(near, np.square(modes.height) * modes.decay, 0.0))
    return float(modes.hertz[best]), float(modes.decay[best])


def on_body(pluck: Pluck, body: Resonance) -> Array:
    """Samples of a note on an instrument that moves.

    Args:
        pluck: the note
        body: the resonance

    Returns:
        (N,) [1] of full scale
    """
    return at_level(render(modes_with_body(pluck, body), glide_of(pluck), pluck), pluck.level)
