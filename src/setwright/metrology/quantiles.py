"""Quantiles of the distributions that bands of variances need: chi-square, F, Student's t and the normal.

Incomplete gamma and beta functions by series and continued fraction (NIST Digital Library of Mathematical Functions
8.7.1, 8.9.2 and 8.17.22, from memory; a test compares with a general library), inverted by bisection.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache
from statistics import NormalDist

from setwright.errors import InputError

_TINY = 1e-300
_CLOSE = 1e-15  # where series and fractions end, relative
_MOST = 200_000  # terms; about five roots of the largest degrees of freedom
LARGEST = 1e8  # degrees of freedom


def normal(share: float) -> float:
    """The value below which a share of the standard normal distribution lies.

    share: 0 to 1, both excluded. Returns z. Raises InputError.
    """
    return NormalDist().inv_cdf(_checked(share))


@lru_cache(maxsize=256)
def chi_square(share: float, freedom: float) -> float:
    """The value below which a share of the chi-square distribution lies.

    share: 0 to 1, both excluded. freedom: degrees of freedom, > 0 up to `LARGEST`. Returns it, > 0. Raises InputError.
    """
    half = _freedom(freedom) / 2.0
    return 2.0 * _inverted(lambda x: gamma_below(half, x), _checked(share), half)


@lru_cache(maxsize=256)
def f_ratio(share: float, above: float, below: float) -> float:
    """The value below which a share of the F distribution lies.

    share: 0 to 1, both excluded. above, below: degrees of freedom of the two mean squares, > 0 up to `LARGEST`.
    Returns it, > 0. Raises InputError.
    """
    a, b = _freedom(above), _freedom(below)
    if _checked(share) < 0.5:  # the smaller tail keeps its digits
        return _inverted(lambda x: beta_below(a / 2.0, b / 2.0, a * x / (a * x + b)), share, 1.0)
    return _inverted(lambda x: 1.0 - f_above(x, a, b), share, 1.0)


def student(share: float, freedom: float) -> float:
    """The value below which a share of Student's t distribution lies.

    share: 0 to 1, both excluded. freedom: degrees of freedom, > 0 up to `LARGEST`. Returns t. Raises InputError.
    """
    within = abs(2.0 * _checked(share) - 1.0)  # t squared is F with one degree of freedom above
    if within == 0.0:
        return 0.0
    return math.copysign(math.sqrt(f_ratio(within, 1.0, freedom)), share - 0.5)


def f_above(ratio: float, above: float, below: float) -> float:
    """The probability that an F ratio is larger than one.

    ratio: of mean squares, >= 0. above, below: their degrees of freedom, > 0. Returns 0 to 1.
    """
    if ratio <= 0.0:
        return 1.0
    if ratio < 1.0:  # the smaller of x and 1 - x keeps its digits
        return 1.0 - beta_below(above / 2.0, below / 2.0, above * ratio / (below + above * ratio))
    return beta_below(below / 2.0, above / 2.0, below / (below + above * ratio))


def gamma_below(a: float, x: float) -> float:
    """The regularised lower incomplete gamma function P(a, x). a: > 0. x: >= 0. Returns 0 to 1."""
    if x <= 0.0:
        return 0.0
    front = math.exp(a * math.log(x) - x - math.lgamma(a))
    if x < a + 1.0:
        term = total = 1.0 / a
        for k in range(1, _MOST):
            term *= x / (a + k)
            total += term
            if term < total * _CLOSE:
                break
        return min(1.0, front * total)
    return max(0.0, 1.0 - front * _fraction(lambda k: -k * (k - a), lambda k: x + 2.0 * k + 1.0 - a))


def beta_below(a: float, b: float, x: float) -> float:
    """The regularised incomplete beta function I_x(a, b). a, b: > 0. x: 0 to 1. Returns 0 to 1."""
    if x <= 0.0 or x >= 1.0:
        return float(x >= 1.0)
    if x > (a + 1.0) / (a + b + 2.0):
        return 1.0 - beta_below(b, a, 1.0 - x)
    front = math.exp(
        math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x)
    ) / a  # fmt: skip

    def step(k: int) -> float:
        m = k // 2
        if k % 2:
            return -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0))
        return m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m))

    return min(1.0, front * _fraction(step, lambda _k: 1.0))


def _fraction(over: Callable[[int], float], under: Callable[[int], float]) -> float:
    """1 / (u0 + o1 / (u1 + o2 / (u2 + ...))), by Lentz's method."""
    value = c = under(0) or _TINY
    d = 0.0
    for k in range(1, _MOST):
        d = under(k) + over(k) * d
        c = under(k) + over(k) / c
        d = 1.0 / (d or _TINY)
        c = c or _TINY
        value *= c * d
        if abs(c * d - 1.0) < _CLOSE:
            break
    return 1.0 / value


def _inverted(below: Callable[[float], float], share: float, about: float) -> float:
    """Where a rising function of x > 0 reaches a share: bracketed by factors, then halved on a logarithmic scale."""
    low = high = about
    while below(low) > share and low > _TINY:
        low /= 4.0
    while below(high) < share and high < 1.0 / _TINY:
        high *= 4.0
    while high / low - 1.0 > 4e-16:
        middle = math.sqrt(low) * math.sqrt(high)
        if not low < middle < high:
            break
        low, high = (middle, high) if below(middle) < share else (low, middle)
    return math.sqrt(low) * math.sqrt(high)


def _checked(share: float) -> float:
    if not 0.0 < share < 1.0:
        raise InputError(f"a share of {share} has no quantile; it lies between 0 and 1.")
    return share


def _freedom(freedom: float) -> float:
    if not 0.0 < freedom <= LARGEST:
        raise InputError(f"{freedom} degrees of freedom do not exist; they are above 0 and up to {LARGEST:.0e}.")
    return freedom
