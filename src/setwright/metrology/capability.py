"""Whether a process meets its tolerance with room to spare: Cp, Cpk, Pp, Ppk with their bands.

Terms of ISO 22514-1 and -2 (from memory): capability (Cp, Cpk) from the spread within groups, that is while nothing
changes; performance (Pp, Ppk) from the spread over all. Both take the values as Gaussian. The band of Cp is exact by
chi-square (Kane 1986); that of Cpk is the approximation of Bissell (1990), Applied Statistics 39, 331.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.metrology.conformity import Tolerance, conformance_probability
from setwright.metrology.quantiles import chi_square, f_above, normal

LEVEL = 0.95
FEW = 30  # values below which the bands are wide; common practice, no source
CHANGES = 0.01  # probability of the groups' means by chance, below which the process is called changing


@frozen
class Group:
    """Values of one stretch of time: how many, mean, variance (n - 1 below; 0 for one value), one unit."""

    count: int
    mean: float
    variance: float


@frozen
class Spread:
    """Several groups together. sd: overall; within: pooled inside groups, None where no group has two values;
    freedom: its degrees; changes: probability that means so far apart come by chance, None where it cannot be told."""

    count: int
    mean: float
    sd: float
    within: float | None
    freedom: int
    changes: float | None


@frozen
class Index:
    """An index with its band."""

    value: float
    low: float
    high: float


@frozen
class Capability:
    """The outcome. cp, pp: None for a tolerance of one side; cp, cpk: None without groups. outside: share expected
    outside the tolerance, by the overall spread. level: of the bands. remarks: what should be known."""

    spread: Spread
    cp: Index | None
    cpk: Index | None
    pp: Index | None
    ppk: Index
    outside: float
    level: float
    remarks: tuple[str, ...]


def together(groups: Sequence[Group]) -> Spread:
    """Several groups as one spread: one-way analysis of variance.

    groups: any number, each of one value or more. Returns the Spread. Raises InputError for fewer than two values in
    all, or values that are not finite.
    """
    count = sum(one.count for one in groups)
    if count < 2 or any(one.count < 1 for one in groups):
        raise InputError(f"{max(count, 0)} values say nothing of a spread; two are the least.")
    if not all(math.isfinite(one.mean) and math.isfinite(one.variance) and one.variance >= 0.0 for one in groups):
        raise InputError("a group of values has no finite mean and variance; leave it out.")
    mean = math.fsum(one.count * one.mean for one in groups) / count
    between = math.fsum(one.count * (one.mean - mean) ** 2 for one in groups)
    inside = math.fsum((one.count - 1) * one.variance for one in groups)
    freedom = count - len(groups)
    within = math.sqrt(inside / freedom) if freedom > 0 else None
    changes = None
    if within and len(groups) > 1:
        changes = f_above(between / (len(groups) - 1) / within**2, len(groups) - 1, freedom)
    return Spread(count, mean, math.sqrt((between + inside) / (count - 1)), within, freedom, changes)


def capability(spread: Spread, tolerance: Tolerance, level: float = LEVEL) -> Capability:
    """The indices of a process against a tolerance.

    spread: from `together`. tolerance: same unit; one side may be free. level: of the bands, 0.5 to 0.999. Returns the
    Capability. Raises InputError where all values are alike.
    """
    if not 0.5 <= level <= 0.999:
        raise InputError(f"a level of {level} is outside 0.5 to 0.999; 0.95 is usual.")
    if spread.sd <= 0.0:
        raise InputError("all values are alike, so no index can be told; read to a finer step.")
    both = math.isfinite(tolerance.lower) and math.isfinite(tolerance.upper)
    width = tolerance.upper - tolerance.lower
    free = spread.count - 1
    cp = cpk = None
    if spread.within:
        cp = _two_sided(width, spread.within, spread.freedom, level) if both else None
        cpk = _nearest(spread, spread.within, spread.freedom, tolerance, level)
    outside = 1.0 - conformance_probability(spread.mean, spread.sd, tolerance)
    return Capability(
        spread, cp, cpk, _two_sided(width, spread.sd, free, level) if both else None,
        _nearest(spread, spread.sd, free, tolerance, level), outside, level, tuple(_remarks(spread, both)),
    )  # fmt: skip


def _two_sided(width: float, sd: float, freedom: int, level: float) -> Index:
    """(U - L) / 6 s; its band by chi-square."""
    value, tail = width / (6.0 * sd), (1.0 - level) / 2.0
    low, high = (value * math.sqrt(chi_square(share, freedom) / freedom) for share in (tail, 1.0 - tail))
    return Index(value, low, high)


def _nearest(spread: Spread, sd: float, freedom: int, tolerance: Tolerance, level: float) -> Index:
    """min(U - m, m - L) / 3 s; its band by Bissell: k sqrt(1 / 9 n + C2 / 2 f)."""
    value = min(tolerance.upper - spread.mean, spread.mean - tolerance.lower) / (3.0 * sd)
    half = normal(0.5 + level / 2.0) * math.sqrt(1.0 / (9.0 * spread.count) + value**2 / (2.0 * freedom))
    return Index(value, value - half, value + half)


def _remarks(spread: Spread, both: bool) -> list[str]:
    out = []
    if spread.count < FEW:
        out.append(f"{spread.count} values are few; the band tells how little is known.")
    if spread.changes is not None and spread.changes < CHANGES:
        out.append("means differ from month to month: Cp says what the shop could hold, Pp what it held.")
    if not both:
        out.append("the tolerance has one limit, so there is no Cp and no Pp.")
    return out
