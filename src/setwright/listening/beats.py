"""Where a second tone may stand in the partials of a note: many are laid against what one tone leaves over."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from setwright.listening import tones
from setwright.listening.tones import Problem, State

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

CENT = np.log(2.0) / 1200.0
SPLITS = np.geomspace(0.15, 4.5, 16) * CENT  # relative distances tried
LOSSES = (-0.6, 0.3)  # 1/s, tried, of two tones alike in all partials
PLACES = (0.08, 0.15, 0.25, 0.4)  # of the length, tried, of a magnet
SHARE = 0.45  # of a second tone that is tried
SEEN = 20.0  # times the noise power, under which a phase is not looked at
FAINTEST = 1e-3  # of what is expected, the least a band is taken for
HALF_AS_GOOD = 0.5  # of what the best explains, the least another must to be tried
ANOTHER = 1.3  # ratio of two distances that are not the same
AWAY = 0.02  # of the length, the same of two places


@dataclass(frozen=True)
class Second:
    """A second tone worth trying."""

    kind: str  # of `tones.NAMES`
    split: float  # relative
    loss: float  # 1/s
    place: float  # of the length
    explains: float  # share of what is left over beyond noise


def seconds(problem: Problem, state: State, bands: Complex, most: int) -> list[Second]:
    """Second tones that would leave most of what is left over unsaid no more.

    To first order a second tone of one height adds ln(1 + v) of H10 to the logarithm of a band; what of that height,
    phase, decay, frequency and glide would take up is left out on both sides. Its size is free, but not its sign.

    Args:
        problem: some partials, its glide in one part.
        state: of one tone in each of them, for the glide alone.
        bands: (N, J) what one tone explains of them.
        most: how many of each kind [1].
    Returns: the best of each kind first.
    """
    ratio = problem.bands / np.where(np.abs(bands) < 1e-100, 1e-100, bands)
    over = np.log(np.maximum(np.abs(ratio), FAINTEST)) + 1j * np.unwrap(np.angle(ratio), axis=1)
    power = np.abs(bands) ** 2
    weight = power / (problem.noise[:, None] + problem.misfit[:, None] ** 2 * power)
    weight = np.where(np.abs(problem.bands) ** 2 > SEEN * problem.noise[:, None], weight, 0.0)
    glide = 2j * np.pi * (problem.hertz * problem.follows)[:, None] * problem.parts.shapes.sum(axis=0)
    since = problem.times - problem.times.mean()
    glide = _without_line(glide, weight, since)
    size = max(float((weight * np.abs(glide) ** 2).sum()), 1e-300)

    def bare(some: Complex) -> Complex:
        some = _without_line(some, weight, since)
        along = (weight * glide.conj() * some).real.sum(axis=(-2, -1)) / size
        return np.asarray(some - along[..., None, None] * glide)

    over = bare(over)
    noise = 2.0 * (weight * problem.noise[:, None] / np.maximum(power, 1e-300)).sum()
    left = max(float((weight * np.abs(over) ** 2).sum() - noise), 1e-300)
    found: list[Second] = []
    for kind, splits, others in (("alike", (SPLITS, -SPLITS), LOSSES), ("pulled", (-SPLITS,), PLACES)):
        some: list[Second] = []
        for other in others:  # of a magnet the best distance for each place, for what it parts depends on both
            loss, place = (other, 0.0) if kind == "alike" else (0.0, other)
            tried = np.concatenate(splits)
            added = bare(_added(problem, tried, loss, place))
            along = (weight * added.conj() * over).real.sum(axis=(1, 2))
            gain = np.maximum(along, 0.0) ** 2 / np.maximum((weight * np.abs(added) ** 2).sum(axis=(1, 2)), 1e-300)
            each = [Second(kind, float(d), loss, place, float(g) / left) for d, g in zip(tried, gain, strict=True)]
            some += each if kind == "alike" else _apart(each, 1)
        found += _apart(some, most)
    best = max(one.explains for one in found)
    return [one for one in found if one.explains >= HALF_AS_GOOD * best]


def _added(problem: Problem, splits: Array, loss: float, place: float) -> Complex:
    """(K, N, J) ln(1 + v) of second tones, see `tones.second`; place: of a magnet, 0: alike in all partials."""
    late = problem.times + problem.since
    share = tones.pulled(problem.numbers, place)[0] if place else np.ones(len(problem.numbers))
    angle = 2.0 * np.pi * splits[:, None, None] * (problem.hertz * share)[:, None] * late
    height = SHARE * np.exp(-loss * late)
    along = height * np.cos(angle)
    added = np.empty(angle.shape, dtype=np.complex128)  # real functions take a fraction of the time of complex ones
    added.real = 0.5 * np.log1p(2.0 * along + height**2)
    added.imag = np.arctan2(height * np.sin(angle), 1.0 + along)
    return added


def _without_line(some: Complex, weight: Array, since: Array) -> Complex:
    """(..., N, J) the same less the straight line in time that fits it best."""
    s0, s1, s2 = weight.sum(axis=1), weight @ since, weight @ since**2
    determinant = np.maximum(s0 * s2 - s1 * s1, 1e-12 * s0 * s2 + 1e-300)
    one, late = (some * weight).sum(axis=-1), (some * weight) @ since
    middle, slope = (s2 * one - s1 * late) / determinant, (s0 * late - s1 * one) / determinant
    return np.asarray(some - middle[..., None] - slope[..., None] * since)


def _apart(some: list[Second], most: int) -> list[Second]:
    """The best of them, none much like a better one."""
    out: list[Second] = []
    for one in sorted(some, key=lambda each: -each.explains):
        if len(out) == most:
            break
        if not any(_alike(one, other) for other in out):
            out.append(one)
    return out


def _alike(one: Second, other: Second) -> bool:
    ratio = one.split / other.split
    return 1.0 / ANOTHER < ratio < ANOTHER and abs(one.place - other.place) < AWAY
