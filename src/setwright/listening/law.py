"""The law of the stiff string over the partials of one note, and what departs from it.

f_n = n f0 sqrt(1 + B n^2) (Fletcher, J. Acoust. Soc. Am. 36, 203, 1964; from memory).
Partials of a real string lie off the law: the body and the pickup pull some of them. So every partial has a departure
of its own, of a size that the note itself tells, and the first partial is found by weighing what it was heard at
against what all others say of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

ROUNDS = 12
ODD = 4.0  # departures beyond which a partial is not counted to the law
STIFFEST = 0.02  # B, no string of an instrument is stiffer
ANY_B = 5e-3  # standard uncertainty of B before anything is heard
LEAST_APART = 3e-8  # relative departure any two partials may have, 0.00005 cents
SIZES = np.geomspace(1e-7, 1e-2, 13)  # relative, tried for the first partial's own departure
KEEPS = 0.97  # share of first partials that keep to the law as the others do; common practice, no source
UNLIKELY = 1e-3  # under which a size is left out
FARTHEST = 0.0145  # relative, 25 cents; a first partial that lies farther off the law is another sound


@dataclass(frozen=True)
class Law:
    """What the law says; uncertainties are relative (of a frequency) or of B."""

    fundamental: float  # Hz
    fundamental_sd: float
    inharmonicity: float
    inharmonicity_sd: float
    first: float  # Hz, of the first partial itself
    first_sd: float
    apart: float  # relative standard departure of a partial from the law
    counted: NDArray[np.bool_]  # (N) partials that keep to it


def stretch(number: Array, inharmonicity: float) -> Array:
    """n sqrt(1 + B n^2) (Fletcher 1964, eq. for a hinged stiff string; from memory).

    Args:
        number: (N) of the partials.
        inharmonicity: B.
    Returns: (N) frequency over the fundamental.
    """
    return np.asarray(number * np.sqrt(1.0 + inharmonicity * number**2))


def fitted(number: Array, hertz: Array, covariance: Array, shape: float = 0.0) -> Law:
    """Least squares over all partials, departures from the law included.

    Args:
        number: (N) of the partials.
        hertz: (N) settled frequencies [Hz].
        covariance: (N, N) of their relative errors.
        shape: B to start at.
    Returns: the law.
    """
    number, value = np.asarray(number, dtype=float), np.log(hertz / number)
    at, spread, apart, counted = _balanced(number, value, covariance, shape)
    first, first_sd = _first(number, value, covariance, counted, apart, at)
    return Law(
        float(np.exp(at[0])), float(np.sqrt(spread[0, 0])), float(at[1]), float(np.sqrt(spread[1, 1])),
        first, first_sd, apart, counted,
    )  # fmt: skip


def rough(number: Array, hertz: Array, variance: Array, shape: float = 0.0) -> tuple[float, float]:
    """The same, fundamental and inharmonicity alone.

    Args:
        number: (N) of the partials.
        hertz: (N) settled frequencies [Hz].
        variance: (N) of their relative errors, each by itself.
        shape: B to start at.
    Returns: f0 [Hz] and B [1].
    """
    number = np.asarray(number, dtype=float)
    at, *_ = _balanced(number, np.log(hertz / number), variance, shape)
    return float(np.exp(at[0])), float(at[1])


def _balanced(
    number: Array, value: Array, covariance: Array, shape: float
) -> tuple[Array, Array, float, NDArray[np.bool_]]:
    """(log f0, B), their covariance, the usual departure and which partials count, each found with the others.

    The errors' covariance is (N, N), or (N) where each has its own.
    """
    variance = np.diag(covariance) if covariance.ndim == 2 else covariance
    counted = np.ones(len(number), dtype=bool)
    apart, at = LEAST_APART, np.array([0.0, shape])
    at[0] = _median(value - 0.5 * np.log1p(shape * number**2))
    for _ in range(ROUNDS):
        at, spread = _solved(number, value, covariance, counted, apart, at)
        off = value - at[0] - 0.5 * np.log1p(at[1] * number**2)
        before, kept = apart, counted
        apart = _apart(off[counted], variance[counted], int(counted.sum()))
        counted = np.abs(off) < ODD * np.sqrt(variance + max(apart, _usual(off)) ** 2)
        if counted.sum() < 3:
            counted = np.ones(len(number), dtype=bool)
        if abs(apart - before) < 0.01 * apart and np.array_equal(kept, counted):
            break
    return at, spread, apart, counted


def rising(at: float) -> float:
    """A weight that goes smoothly from nothing to all.

    Args:
        at: -1 or less for nothing, 1 or more for all [1].
    Returns: from 0 to 1 [1].
    """
    t = float(np.clip(0.5 + 0.5 * at, 0.0, 1.0))
    return t * t * (3.0 - 2.0 * t)


def between(some: Sequence[Law], weight: Array) -> Law:
    """One law of several answers about the same note (H12): their mean, how far they lie apart in its uncertainties.

    Args:
        some: laws, at least one.
        weight: (N) of each, not brought to a sum.
    Returns: the mean; what else is told is that of the heaviest.
    """
    some = [one for one, its in zip(some, weight, strict=True) if its > 0.0]
    share = weight[weight > 0.0] / np.sum(weight)
    heaviest = some[int(np.argmax(share))]

    def mean(values: list[float], sds: list[float]) -> tuple[float, float]:
        middle = float(share @ values)
        return middle, float(np.sqrt(share @ (np.square(sds) + (np.array(values) - middle) ** 2)))

    f0, f0_sd = mean([float(np.log(one.fundamental)) for one in some], [one.fundamental_sd for one in some])
    f1, f1_sd = mean([float(np.log(one.first)) for one in some], [one.first_sd for one in some])
    b, b_sd = mean([one.inharmonicity for one in some], [one.inharmonicity_sd for one in some])
    return Law(float(np.exp(f0)), f0_sd, b, b_sd, float(np.exp(f1)), f1_sd, heaviest.apart, heaviest.counted)


def _solved(
    number: Array, value: Array, covariance: Array, counted: NDArray[np.bool_], apart: float, at: Array
) -> tuple[Array, Array]:
    """One Gauss-Newton step of (log f0, B), and their covariance."""
    n, y = number[counted], value[counted]
    by = np.ones((2, len(n)))
    square = n * n
    by[1] = 0.5 * square / (1.0 + at[1] * square)
    if covariance.ndim == 2:
        heavy = by @ np.linalg.inv(covariance[np.ix_(counted, counted)] + apart**2 * np.eye(len(n)))
    else:
        heavy = by / (covariance[counted] + apart**2)
    (a, b), (_, d) = (heavy @ by.T).tolist()
    d += 1.0 / ANY_B**2
    up, more = (heavy @ (y - at[0] - 0.5 * np.log1p(at[1] * square))).tolist()
    more -= at[1] / ANY_B**2
    size = a * d - b * b
    new = (at[0] + (d * up - b * more) / size, at[1] + (a * more - b * up) / size)
    spread = np.array([[d, -b], [-b, a]]) / size
    return np.array([new[0], min(max(new[1], 0.0), STIFFEST)]), spread


def _apart(off: Array, variance: Array, count: int) -> float:
    """Standard departure beyond the errors of the frequencies (DerSimonian and Laird 1986, method of moments)."""
    if count < 4:
        return max(float(np.sqrt(np.mean(np.maximum(off**2 - variance, 0.0)))), LEAST_APART)
    weight = 1.0 / (variance + LEAST_APART**2)
    excess = float((weight * off**2).sum()) - (count - 2)
    scale = weight.sum() - (weight**2).sum() / weight.sum()
    return float(np.sqrt(max(excess / scale, LEAST_APART**2))) if scale > 1e-9 * weight.sum() else LEAST_APART


def _usual(off: Array) -> float:
    return 1.4826 * _median(np.abs(off))


def _median(values: Array) -> float:
    """What stands in the middle; of few values much sooner than by the library's own."""
    ordered, count = np.sort(values), len(values)
    return float(0.5 * (ordered[(count - 1) // 2] + ordered[count // 2]))


def _of_the_first(n: Array, y: Array, errors: Array, apart: float, at: Array) -> list[tuple[float, float]]:
    """Sizes the first partial's departure may have, and how likely each is by what is heard of it beside the others.

    Body and magnet pull the low partials most, so that the others do not tell it. Most first partials are not;
    of those that are, every order of magnitude is as likely as any other before anything is heard.
    """
    others = n != 1.0
    if others.sum() < 3 or others.all():
        return [(apart, 1.0)]
    by = np.column_stack([np.ones(len(n)), 0.5 * n**2 / (1.0 + at[1] * n**2)])
    spread = errors + apart**2 * np.eye(len(n))
    weight = np.linalg.inv(spread[np.ix_(others, others)])
    some = by[others]
    information = some.T @ weight @ some + np.diag([0.0, 1.0 / ANY_B**2])
    row = np.where(others, 0.0, 1.0)
    row[others] = -by[~others][0] @ np.linalg.solve(information, some.T @ weight)
    off = float(row @ (y - at[0] - 0.5 * np.log1p(at[1] * n**2)))
    sizes = np.append(apart, np.hypot(apart, SIZES[1:]))
    variance = max(float(row @ spread @ row) - apart**2, 0.0) + sizes**2
    likely = -0.5 * np.log(variance) - 0.5 * off**2 / variance
    likely = np.exp(likely - likely.max()) * np.append(
        KEEPS, np.full(len(SIZES) - 1, (1.0 - KEEPS) / (len(SIZES) - 1.0))
    )
    likely /= likely.sum()
    return [(float(size), float(its)) for size, its in zip(sizes, likely, strict=True) if its > UNLIKELY]


def _first(
    number: Array, value: Array, covariance: Array, counted: NDArray[np.bool_], apart: float, at: Array
) -> tuple[float, float]:
    """The first partial's frequency [Hz] and relative standard uncertainty, its own hearing weighed against the law.

    What lies farther off the law than any body pulls it is another sound. The uncertainty is the mean of those for all
    sizes of its departure: the root of the mean square would be that of the few that are pulled far.
    """
    far = np.abs(value - at[0] - 0.5 * np.log1p(at[1] * number**2)) > FARTHEST
    use = counted | ((number == 1.0) & ~(far & (counted.sum() >= 3)))
    n, y, errors = number[use], value[use], covariance[np.ix_(use, use)]
    by = np.column_stack([np.ones(len(n)), 0.5 * n**2 / (1.0 + at[1] * n**2)])
    here = np.array([1.0, 0.5 / (1.0 + at[1])])
    off = y - at[0] - 0.5 * np.log1p(at[1] * n**2)
    sizes, its = np.array(_of_the_first(n, y, errors, apart, at)).T
    own = np.where(n == 1.0, sizes[:, None], apart)  # (S, N)
    weight = np.linalg.inv(errors + own[:, :, None] ** 2 * np.eye(len(n)))
    heavy = by.T @ weight  # (S, 2, N)
    spread = np.linalg.inv(heavy @ by + np.diag([0.0, 1.0 / ANY_B**2]))
    moved = (spread @ (heavy @ off - np.array([0.0, at[1] / ANY_B**2]))[:, :, None])[:, :, 0]
    tied = np.where(n == 1.0, own**2, 0.0)  # covariance of the first's departure with the readings
    gain = (tied[:, None] @ weight)[:, 0]
    lost = here - gain @ by
    mine = sizes if (n == 1.0).any() else apart
    best = moved @ here + (gain * (off - moved @ by.T)).sum(axis=1)
    variance = mine**2 - (gain * tied).sum(axis=1) + (lost[:, None] @ spread @ lost[:, :, None])[:, 0, 0]
    its = its / its.sum()
    middle = float(its @ best)
    spread_of = np.sqrt(np.maximum(variance, 0.0) + (best - middle) ** 2)
    return float(np.exp(at[0] + 0.5 * np.log1p(at[1]) + middle)), float(its @ spread_of)
