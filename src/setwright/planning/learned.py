"""What was learned: every uncertain trait and every figure of the balance, before any reading and after all of them.

Derived here: with s the standard uncertainty before and u after, the readings took 1 - u²/s² of the variance away. Two
traits are told together where neither is known but one mixture of them is: their correlation is strong after the
readings and was not before. All with what plates on stops say cut off (`tracking.firm`).
"""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np

from setwright.frozen import frozen
from setwright.instrument.prior import Uncertain
from setwright.instrument.traits import Array, Traits
from setwright.planning.course import Course, Goal
from setwright.planning.responses import KINDS, Responses, What, as_it_stands, at_end
from setwright.planning.tracking import Picture, firm, resting

Told = Literal["told", "partly", "not told"]
TOLD = 0.5  # of the standard uncertainty left, or less: told
PARTLY = 0.9  # or less: partly told; more: not told
TOGETHER = 0.8  # correlation from which two traits are told together only
LEAST_SURE = 2.0  # standard uncertainties a stiffness stands above 0 before what divides by it is told
NOT_HERE = "playing."  # fields no open string, gap or claw depends on
UNITS: dict[What, str] = {
    "stiffness ratio": "1",
    "stiffness": "N m/rad",
    "stiffness at pitch": "N m/rad",
    "gap per turn": "m",
    "gap per turn at pitch": "m",
    "lever": "1",
    "spring force": "N",
    "cents per turn": "cents",
}
FIXED = KINDS.index("stiffness")
DIVIDED = {
    FIXED: (KINDS.index("gap per turn"),),
    KINDS.index("stiffness at pitch"): (KINDS.index("gap per turn at pitch"),),
}


@frozen
class Trait:
    """One uncertain trait, in the SI unit of its field; of a field that moves as a whole the mean of its elements."""

    name: str
    label: str
    unit: str
    before: float
    before_sd: float
    after: float
    after_sd: float
    taken: float  # share of the variance the readings took away
    told: Told


@frozen
class Pair:
    """Two traits of which the readings tell a mixture only."""

    first: str  # labels
    second: str
    correlation: float
    amount: float  # one standard uncertainty of the first, as it is left, in its SI unit
    trade: float  # by so much the second then moves, to be read the same
    units: tuple[str, str]


@frozen
class Figure:
    """One figure of the balance; per turn of the claw in. What is not known is nan, its uncertainty infinite."""

    what: What
    string: int | None  # from 1, of cents per turn
    unit: str
    before: float
    before_sd: float
    after: float
    after_sd: float


@frozen
class Learned:
    """What was learned. figures: of the wanted end, plate free at its gap and every string at pitch."""

    figures: tuple[Figure, ...]
    force: tuple[float, float]  # N, of all springs as the instrument stands now, with its standard uncertainty
    closed: bool  # whether springs are believed closed or slack at the wanted end: then no figure is known
    traits: tuple[Trait, ...]
    together: tuple[Pair, ...]


def learned(course: Course) -> Learned:
    """What the readings told of the instrument.

    Args:
        course: where the work stands.
    Returns: figures, traits and pairs.
    """
    picture = resting(firm(course.picture))
    now = as_it_stands(picture)
    place = KINDS.index("spring force")
    force = float(now.values[place]), float(now.sd(picture.covariance)[place])
    figures, closed = _figures(picture, course.goal)
    return Learned(figures, force, closed, traits_of(picture), together(picture))


def untaught(picture: Picture) -> Picture:
    """The picture as if nothing had been read of the traits.

    Args:
        picture: what is believed.
    Returns: traits as known before, pegs and claw as they are but tied to nothing.
    """
    known, count = picture.model.known, picture.parts
    covariance = np.diag(np.diag(picture.covariance))
    covariance[:count, :count] = known.covariance
    return replace(picture, mean=np.concatenate([known.mean, picture.mean[count:]]), covariance=covariance)


def _figures(picture: Picture, goal: Goal) -> tuple[tuple[Figure, ...], bool]:
    """The figures, and whether they are not known now because springs are believed closed."""
    first = untaught(picture)
    before, after = at_end(first, goal), at_end(picture, goal)
    known = zip(_sure(before, first.covariance), _sure(after, picture.covariance), strict=True)
    names: list[tuple[What, int | None]] = [(kind, None) for kind in KINDS]
    names += [("cents per turn", i + 1) for i in range(len(goal.hertz))]
    figures = tuple(
        Figure(what, string, UNITS[what], *was, *now) for (what, string), (was, now) in zip(names, known, strict=True)
    )
    return figures, after.closed


def _sure(found: Responses, covariance: Array) -> list[tuple[float, float]]:
    """Values with their standard uncertainties; nan and inf where springs are closed, or a divisor may be 0."""
    if found.closed:
        return [(np.nan, np.inf)] * len(found.values)
    sd = found.sd(covariance)
    out = list(zip(found.values.tolist(), sd.tolist(), strict=True))
    for place, divided in DIVIDED.items():
        if found.values[place] <= LEAST_SURE * sd[place]:
            for i in (*divided, *range(len(KINDS), len(out) if place == FIXED else 0)):
                out[i] = (np.nan, np.inf)
    return out


def traits_of(picture: Picture) -> tuple[Trait, ...]:
    """Every uncertain trait of the instrument before and after the readings; how it is played is left out.

    Args:
        picture: what is believed.
    Returns: the traits, in the order of the prior.
    """
    known, count = picture.model.known, picture.parts
    before = np.sqrt(np.maximum(np.diag(known.covariance), 0.0))
    after = np.sqrt(np.maximum(np.diag(picture.covariance)[:count], 0.0))
    out = []
    for i, part in enumerate(known.parts):
        if part.path.startswith(NOT_HERE):
            continue
        left = float(after[i] / before[i]) if before[i] > 0.0 else 1.0
        base, scale = _base(picture.model.traits, part)
        was, now = base + scale * float(known.mean[i]), base + scale * float(picture.mean[i])
        sizes = abs(scale) * float(before[i]), abs(scale) * float(after[i])
        told: Told = "told" if left <= TOLD else "partly" if left <= PARTLY else "not told"
        taken = max(1.0 - left * left, 0.0)
        out.append(Trait(part.name, part.label, part.unit, was, sizes[0], now, sizes[1], taken, told))
    return tuple(out)


def _base(traits: Traits, part: Uncertain) -> tuple[float, float]:
    """Nominal value of a trait, and what a deviation of 1 adds to it."""
    group, name = part.path.split(".")
    nominal = np.asarray(getattr(getattr(traits, group), name), dtype=np.float64)
    value = float(nominal.mean() if part.index is None else nominal[..., part.index].mean())
    return value, value if part.kind == "factor" else 1.0


def together(picture: Picture) -> tuple[Pair, ...]:
    """Pairs of traits of which only a mixture is told.

    Args:
        picture: what is believed.
    Returns: the pairs, most strongly tied first.
    """
    known, count = picture.model.known, picture.parts
    before, after = _correlations(known.covariance), _correlations(picture.covariance[:count, :count])
    sd = np.sqrt(np.maximum(np.diag(picture.covariance)[:count], 0.0))
    out = []
    for i, first in enumerate(known.parts):
        for j in range(i + 1, count):
            second = known.parts[j]
            if abs(after[i, j]) < TOGETHER or abs(before[i, j]) >= TOGETHER:
                continue
            scales = [_base(picture.model.traits, part)[1] for part in (first, second)]
            amount = abs(scales[0]) * float(sd[i])
            trade = float(np.sign(scales[0])) * scales[1] * float(after[i, j] * sd[j])
            units = (first.unit, second.unit)
            out.append(Pair(first.label, second.label, float(after[i, j]), amount, trade, units))
    return tuple(sorted(out, key=lambda one: -abs(one.correlation)))


def _correlations(covariance: Array) -> Array:
    sd = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    size = np.outer(sd, sd)
    return np.asarray(np.where(size > 0.0, covariance / np.where(size > 0.0, size, 1.0), 0.0))
