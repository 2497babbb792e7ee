"""How alike people read the same thing: repeatability and reproducibility by analysis of variance.

Parts, people and trials, every person reading every part equally often: two-factor crossed random effects with
interaction. Mean squares and variance components after Montgomery, Design and Analysis of Experiments, chapter on
random effects (from memory). Where the interaction cannot be told (its F test gives more than `POOL`), it is pooled
with the trials. Bands of variances: exact chi-square for repeatability; for sums of mean squares the modified large
sample method of Graybill and Wang (1980), for differences that of Ting et al. (1990), both as collected in Burdick,
Borror and Montgomery (2005), Design and Analysis of Gauge R&R Studies (from memory; a test counts how often they hold).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.metrology.quantiles import chi_square, f_above, f_ratio

POOL = 0.25  # probability above which the interaction is pooled; common practice
CATEGORIES = 1.41  # times PV / GRR: parts told apart, about the root of two; common practice
MOST = 100_000  # readings
LEVEL = 0.95
FEW_PARTS, FEW_PEOPLE = 5, 3  # below these a study says little; common practice, no source


@frozen
class Source:
    """A row of the analysis. squares: sum of squares; freedom: its degrees; mean_square; f: ratio to what it is tested
    against, None for the last row; p: probability of such an F by chance."""

    name: str
    squares: float
    freedom: int
    mean_square: float
    f: float | None
    p: float | None


@frozen
class Part:
    """One cause of variation as a standard deviation (unit of the readings) with the band of the study's level; share:
    of the total variance; below_zero: the estimate of its variance, or of a part of it, was, and counts as zero."""

    sd: float
    low: float
    high: float
    share: float
    below_zero: bool = False


@frozen
class Study:
    """The outcome. parts, people, trials: how many. sources: the table. pooled: interaction counted with the trials.
    repeatability (EV): one hand, again; people: one person's habit; interaction: person with part; reproducibility
    (AV): both of these; both (GRR): repeatability and reproducibility; between_parts (PV); total: sd. of_total: GRR
    over total sd (0 to 1); of_tolerance: 6 GRR over the tolerance's width, None without one. categories: how many kinds
    of part the gauge tells apart. level: of the bands. remarks: what should be known."""

    parts: int
    people: int
    trials: int
    sources: tuple[Source, ...]
    pooled: bool
    repeatability: Part
    by_person: Part
    interaction: Part
    reproducibility: Part
    both: Part
    between_parts: Part
    total: float
    of_total: float
    of_tolerance: float | None
    categories: int
    level: float
    remarks: tuple[str, ...]


@frozen
class Term:
    """A mean square in a variance: its coefficient, itself, its degrees of freedom."""

    times: float
    square: float
    freedom: float


def study(readings: object, width: float | None = None, level: float = LEVEL, pool: float = POOL) -> Study:
    """Analyse a study.

    readings: (parts, people, trials), any one unit; 2 or more of each. width: of the tolerance, same unit, None
    without. level: of the bands, 0.5 to 0.999. pool: p of the interaction above which it is pooled; 1 never.
    Returns the Study. Raises InputError for another shape, what is no number, or readings that are all alike.
    """
    values = _checked(readings)
    if not 0.5 <= level <= 0.999:
        raise InputError(f"a level of {level} is outside 0.5 to 0.999; 0.95 is usual.")
    p, o, r = values.shape
    sources, pooled = _table(values, pool)
    by = {one.name: one for one in sources}
    error = by["trials"]
    crossed = error if pooled else by["part and person"]

    def part(*terms: tuple[float, Source]) -> list[Term]:
        return [Term(times, one.mean_square, one.freedom) for times, one in terms if times]

    parts, people = by["part"], by["person"]
    mixed = [] if pooled else part((1 / r, crossed), (-1 / r, error))
    person = part((1 / (p * r), people), (-1 / (p * r), crossed))
    av = person if pooled else part((1 / (p * r), people), ((p - 1) / (p * r), crossed), (-1 / r, error))
    inner = (p * r - 1) / (p * r) if pooled else (r - 1) / r
    gauge = part((1 / (p * r), people), (0.0 if pooled else (p - 1) / (p * r), crossed), (inner, error))
    pv = part((1 / (o * r), parts), (-1 / (o * r), crossed))
    ev = part((1.0, error))
    variances = [max(0.0, _sum(terms)) for terms in (ev, person, mixed, pv)]
    total = math.fsum(variances)
    if total <= 0.0:
        raise InputError("all readings are alike, so nothing is told about who reads how; read to a finer step.")
    grr = math.fsum(variances[:3])
    kept = (*variances[:3], variances[1] + variances[2], grr, variances[3])
    repeated, by_person, crossing, habits, both, between = made = [
        _part(terms, variance, total, level)
        for terms, variance in zip((ev, person, mixed, av, gauge, pv), kept, strict=True)
    ]
    told = CATEGORIES * math.sqrt(variances[3] / grr) if grr > 0.0 else math.inf
    return Study(
        p, o, r, sources, pooled, repeated, by_person, crossing, habits, both, between, math.sqrt(total),
        math.sqrt(grr / total), None if width is None else 6.0 * math.sqrt(grr) / _width(width),
        max(1, int(min(told, 1e6))), level, tuple(_remarks(p, o, grr, made)),
    )  # fmt: skip


def balanced(cells: Sequence[Sequence[Sequence[float]]]) -> NDArray[np.float64]:
    """The largest even study in what was read: the first trials of every cell, as many as the poorest cell has.

    cells: by part, then person: readings in their order, one unit; parts somebody read less than twice are left out.
    Returns (parts, people, trials). Raises InputError where fewer than two parts are left.
    """
    kept = [part for part in cells if part and all(len(cell) >= 2 for cell in part)]
    if len(kept) < 2 or len(kept[0]) < 2:
        raise InputError(
            "a study needs two people who have each read the same two places twice or more, with nothing done between."
        )
    trials = min(len(cell) for part in kept for cell in part)
    return np.array([[list(cell)[:trials] for cell in part] for part in kept], dtype=np.float64)


def band(terms: Sequence[Term], level: float) -> tuple[float, float]:
    """The band of a variance that is a sum of mean squares, some of them taken off.

    terms: at least one. level: 0 to 1, of both sides together. Returns (low, high), the low one not below zero; exact
    for one term, else by the modified large sample method.
    """
    tail = (1.0 - level) / 2.0
    added = [one for one in terms if one.times > 0.0]
    taken = [one for one in terms if one.times < 0.0]
    below = math.fsum((_g(one, tail) * one.times * one.square) ** 2 for one in added)
    below += math.fsum((_h(one, tail) * one.times * one.square) ** 2 for one in taken)
    above = math.fsum((_h(one, tail) * one.times * one.square) ** 2 for one in added)
    above += math.fsum((_g(one, tail) * one.times * one.square) ** 2 for one in taken)
    for plus in added:
        for minus in taken:
            product = plus.times * -minus.times * plus.square * minus.square
            below += product * _cross(plus, minus, f_ratio(1.0 - tail, plus.freedom, minus.freedom), tail, False)
            above += product * _cross(plus, minus, f_ratio(tail, plus.freedom, minus.freedom), tail, True)
    middle = _sum(terms)
    return max(0.0, middle - math.sqrt(max(0.0, below))), max(0.0, middle + math.sqrt(max(0.0, above)))


def _g(term: Term, tail: float) -> float:
    return 1.0 - term.freedom / chi_square(1.0 - tail, term.freedom)


def _h(term: Term, tail: float) -> float:
    return term.freedom / chi_square(tail, term.freedom) - 1.0


def _cross(plus: Term, minus: Term, f: float, tail: float, upper: bool) -> float:
    """What a difference of two mean squares adds to the square of its half band (Ting et al. 1990)."""
    first, second = (_h(plus, tail), _g(minus, tail)) if upper else (_g(plus, tail), _h(minus, tail))
    return ((f - 1.0) ** 2 - first**2 * f**2 - second**2) / f


def _sum(terms: Sequence[Term]) -> float:
    return math.fsum(one.times * one.square for one in terms)


def _part(terms: Sequence[Term], variance: float, total: float, level: float) -> Part:
    """variance: the sum of the terms, its parts below zero counted as zero."""
    if not terms:
        return Part(0.0, 0.0, 0.0, 0.0)
    low, high = band(terms, level)
    high = max(high, variance)
    return Part(math.sqrt(variance), math.sqrt(low), math.sqrt(high), variance / total, _sum(terms) < variance)


def _table(values: NDArray[np.float64], pool: float) -> tuple[tuple[Source, ...], bool]:
    p, o, r = values.shape
    grand = values.mean()
    by_part, by_person, by_cell = values.mean(axis=(1, 2)), values.mean(axis=(0, 2)), values.mean(axis=2)
    within = float(((values - by_cell[:, :, None]) ** 2).sum())
    apart = by_cell - by_part[:, None] - by_person[None, :] + grand
    squares = (
        float(o * r * ((by_part - grand) ** 2).sum()), float(p * r * ((by_person - grand) ** 2).sum()),
        float(r * (apart**2).sum()), within,
    )  # fmt: skip
    freedom = (p - 1, o - 1, (p - 1) * (o - 1), p * o * (r - 1))
    means = [s / n for s, n in zip(squares, freedom, strict=True)]
    f, chance = _f(means[2], freedom[2], means[3], freedom[3])
    crossed = Source("part and person", squares[2], freedom[2], means[2], f, chance)
    pooled = chance is not None and chance > pool
    below = (squares[2] + squares[3], freedom[2] + freedom[3]) if pooled else (squares[2], freedom[2])
    mean = below[0] / below[1]
    rows = [
        Source(name, squares[i], freedom[i], means[i], *_f(means[i], freedom[i], mean, below[1]))
        for i, name in enumerate(("part", "person"))
    ]
    last = below if pooled else (squares[3], freedom[3])
    error = Source("trials", last[0], last[1], last[0] / last[1], None, None)
    return (*rows, crossed, error), pooled


def _f(mean: float, above: int, error: float, below: int) -> tuple[float | None, float | None]:
    if error <= 0.0:
        return None, None
    return mean / error, f_above(mean / error, above, below)


def _remarks(parts: int, people: int, grr: float, made: Sequence[Part]) -> list[str]:
    out = []
    if parts < FEW_PARTS:
        out.append(f"{parts} places are few: how far apart places lie, and what is a share of it, is hardly known.")
    if people < FEW_PEOPLE:
        out.append("two people are few: how far people differ is known to a factor of many.")
    if any(one.below_zero for one in made):
        out.append("a variance that came out below zero counts as zero.")
    if grr <= 0.0:
        out.append("every trial was alike: the step of the gauge hides what the hand does.")
    return out


def _checked(readings: object) -> NDArray[np.float64]:
    try:
        values = np.asarray(readings, dtype=np.float64)
    except (TypeError, ValueError):
        values = np.empty(0)
    if values.ndim != 3 or min(values.shape) < 2 or values.size > MOST:
        raise InputError(
            f"a study has 2 or more parts, people and trials, every cell filled, up to {MOST} readings in all; "
            f"{'x'.join(map(str, values.shape)) if values.size else 'this'} is none."
        )
    if not np.isfinite(values).all():
        raise InputError("a reading of the study is no finite number; leave that part out.")
    return values


def _width(width: float) -> float:
    if not (math.isfinite(width) and width > 0.0):
        raise InputError(f"a tolerance {width} wide is not possible; it is above zero.")
    return width
