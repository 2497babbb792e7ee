"""What glide a note is expected to have: places of pluck and pickup tried, and the decays the glide follows."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from setwright.listening import plucked, tones
from setwright.listening.law import stretch
from setwright.listening.tones import Parts, Problem, State

Array = NDArray[np.float64]

PLACED = 4  # numbers H9 has
UNPLACED = 0.5  # how far parts may be off where no height is to spare
PARTS = 8  # of the glide
UNHEARD = 80  # partials up to which the tension is counted
SMALLEST = 1e-7  # relative, least glide
LOOSE = (0.02, 0.5)  # of an expected part of the glide: how far it may be off at least and at most, over itself
TRUSTED = 2.0  # times the misfit of the heights that it is let be off
CLOSE = 3.0  # times the misfit of the best places, up to which others are tried too
SMOOTH = 0.1  # relative, how far a partial's decay lies off the common course of decays
FEW = 4  # times from which a decay is taken where a partial is not followed
LOWEST_DECAY, HIGHEST_DECAY = 0.05, 80.0  # 1/s


@dataclass(frozen=True)
class Start:
    """Bands gathered, and what is known of the string."""

    problem: Problem  # its parts are empty
    stiffness: float
    fundamental: float
    glide: float
    wide: int  # samples of the bands in one time


def first_decays(problem: Problem) -> tuple[Array, Array, Array]:
    """Decays of the partials, from the bands' logarithms.

    Args:
        problem: what is to be explained, logarithms given.
    Returns: (N) [1/s], their standard uncertainty [1/s], and (N) ln of the height at the start [1].
    """
    assert problem.logs is not None
    assert problem.seen is not None
    power = np.abs(problem.bands) ** 2 / problem.noise[:, None]
    first = np.arange(len(problem.times)) < FEW
    seen = np.where(problem.seen.any(axis=1, keepdims=True), problem.seen, first)
    weight = np.minimum(np.where(seen, power, 0.0), 1e4)
    total = weight.sum(axis=1)
    middle, y = (weight @ problem.times) / total, problem.logs.real
    centre = (weight * y).sum(axis=1) / total
    since = problem.times - middle[:, None]
    spread = (weight * since**2).sum(axis=1)
    decay = -(weight * since * (y - centre[:, None])).sum(axis=1) / spread
    return decay, 1.0 / np.sqrt(spread), centre + decay * middle


def decays_of(problem: Problem, state: State) -> tuple[Array, Array, Array]:
    """The same from a fit.

    Args:
        problem: what was to be explained.
        state: the fit.
    Returns: (N) [1/s], [1/s], [1].
    """
    local = state.local
    since = problem.times - problem.times.mean()
    bands = tones.model(problem, state)
    weight = tones.weights(problem, bands) * np.abs(bands) ** 2
    decay = -local[:, 1].real
    sd = 1.0 / np.sqrt(np.maximum(weight @ since**2, 1e-30)) + 1e-6
    return decay, sd, local[:, 0].real + decay * problem.times.mean()


def course(hertz: Array, decay: Array, sd: Array) -> tuple[float, float]:
    """Decays b0 + b1 f^2 (air and ends; what is lost in the wire), partials that lie off counted less.

    Args:
        hertz: (N) [Hz].
        decay: (N) [1/s].
        sd: (N) their standard uncertainty [1/s].
    Returns: b0 [1/s] and b1 [1/s/kHz^2].
    """
    by = np.column_stack([np.ones(len(hertz)), (hertz / 1000.0) ** 2])
    spread = sd**2 + (0.05 * np.abs(decay) + 0.02) ** 2
    weight, got = 1.0 / spread, np.zeros(2)
    for _ in range(4):
        root = np.sqrt(weight)
        got = np.linalg.lstsq(by * root[:, None], decay * root, rcond=None)[0]
        got = np.maximum(got, [LOWEST_DECAY, 0.0])
        off = (decay - by @ got) / (SMOOTH * np.abs(decay) + sd)
        weight = 1.0 / spread / (1.0 + off**2)
    return float(got[0]), float(got[1])


def likely_decays(hertz: Array, decay: Array, sd: Array) -> Array:
    """Decays, each by itself and by the course of all, as well as both are known.

    Args:
        hertz: (N) [Hz].
        decay: (N) [1/s].
        sd: (N) their standard uncertainty [1/s].
    Returns: (N) [1/s].
    """
    b0, b1 = course(hertz, decay, sd)
    common = b0 + b1 * (hertz / 1000.0) ** 2
    own, off = 1.0 / sd**2, 1.0 / (SMOOTH * common) ** 2
    return np.clip((decay * own + common * off) / (own + off), LOWEST_DECAY, HIGHEST_DECAY)


def parts_of(start: Start, decays: tuple[Array, Array, Array], place: plucked.Place, glide: float, many: int) -> Parts:
    """The glide a pluck at a place makes: its largest partials as parts of their own, the rest together.

    Args:
        start: what is known of the string.
        decays: as of `first_decays`.
        place: of pluck and pickup.
        glide: all of it, relative [1].
        many: parts [1].
    Returns: the parts.
    """
    problem = start.problem
    decay, sd, _ = decays
    numbers, hertz = problem.numbers, problem.hertz
    b0, b1 = course(hertz, decay, sd)
    told = likely_decays(hertz, decay, sd)
    unheard = np.setdiff1d(np.arange(1.0, UNHEARD + 1.0), numbers)
    above = start.fundamental * stretch(unheard, start.stiffness) / 1000.0
    every = np.concatenate([numbers, unheard])
    rates = 2.0 * np.concatenate([told, np.clip(b0 + b1 * above**2, LOWEST_DECAY, HIGHEST_DECAY)])
    share = plucked.slopes(every, place.plucked, place.width) * np.exp(-rates * problem.since)
    share = np.maximum(share, 1e-12 * share.max()) / share.sum()
    count = len(numbers)
    member = np.full(len(every), many - 1)
    member[np.argsort(share)[::-1][: many - 1]] = np.arange(many - 1)
    whole = np.asarray(np.bincount(member, share, many), dtype=np.float64)
    lead = (1.0 - np.exp(-rates[:, None] * problem.times)) / rates[:, None]
    shapes = np.zeros((many, len(problem.times)))
    np.add.at(shapes, member, share[:, None] * lead)
    left = np.asarray(np.bincount(member, share * np.exp(-rates * problem.times[-1]), many) / whole)
    mine = (share[:count] / whole[member[:count]])[:, None] * lead[:count]
    spare = max(count - PLACED, 0)  # heights beyond those that four numbers explain in any case
    loose = float(np.clip(TRUSTED * place.misfit + UNPLACED / (1.0 + spare) ** 2, *LOOSE))
    return Parts(shapes / whole[:, None], mine, member[:count], glide * whole, loose, left)


def candidates(start: Start, decays: tuple[Array, Array, Array]) -> list[plucked.Place]:
    """Places of pluck and pickup, and the same exchanged.

    Args:
        start: what is known of the string.
        decays: as of `first_decays`.
    Returns: at least one.
    """
    decay, sd, height = decays
    height = height + decay * start.problem.since
    found = plucked.places(start.problem.numbers, np.exp(height - height.max()), sd)
    near = [one for one in found if one.misfit < CLOSE * found[0].misfit + 0.03]
    out: list[plucked.Place] = []
    for one in near:
        for each in (one, replace(one, plucked=one.heard, heard=one.plucked)):
            if not any(abs(each.plucked - other.plucked) < 0.01 for other in out):
                out.append(each)
    return out
