"""Deciding whether a reading meets a tolerance, given its uncertainty.

Decision rule of ISO 14253-1: conformity is proved only inside the tolerance reduced by the expanded uncertainty at each
limit, nonconformity only beyond the tolerance widened by it; in between neither is proved. Its 1998 edition takes
U = k u with k = 2, the default here; the 2017 edition asks for 95 % at a limit, k = 1.65 for a Gaussian whose u is
small against the tolerance, which `coverage` admits (both editions from memory). Probability of conformity after
JCGM 106:2012, clauses 7.2 to 7.4.
"""

from __future__ import annotations

import math
from enum import Enum

from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.metrology.reading import check_uncertainty


class Verdict(Enum):
    """What can be said of a reading against a tolerance."""

    MEETS = "meets"
    DOES_NOT_MEET = "does not meet"
    CANNOT_BE_TOLD = "cannot be told with this gauge"


@frozen
class Tolerance:
    """The values allowed, limits included: lower and upper in one SI unit; -inf or inf where there is no limit.

    Raises InputError when a limit is not a number, when there is no limit at all, or when they do not rise.
    """

    lower: float = -math.inf
    upper: float = math.inf

    def __post_init__(self) -> None:
        if math.isnan(self.lower) or math.isnan(self.upper):
            raise InputError("a tolerance limit is not a number; give a value, or leave the limit out.")
        if not self.lower < self.upper:
            raise InputError(f"tolerance limits {self.lower} and {self.upper} do not rise; give the lower one first.")
        if math.isinf(self.lower) and math.isinf(self.upper):
            raise InputError("a tolerance without any limit decides nothing; give a lower or an upper limit.")


@frozen
class Conformity:
    """The outcome. verdict; probability that the quantity lies inside (0 to 1, Gaussian); expanded uncertainty U (unit
    of the value); provable: False when U is so wide that no reading with it could prove conformity."""

    verdict: Verdict
    probability: float
    expanded_uncertainty: float
    provable: bool


def tolerance_about(nominal: float, half_width: float) -> Tolerance:
    """The tolerance nominal ± half_width (one unit, half_width > 0). Returns a Tolerance. Raises InputError."""
    if not (math.isfinite(nominal) and math.isfinite(half_width) and half_width > 0.0):
        raise InputError(f"a tolerance of {nominal} ± {half_width} is not possible; the half width is above zero.")
    return Tolerance(nominal - half_width, nominal + half_width)


def _tail(z: float) -> float:
    """Standard normal probability above z: erfc(z / sqrt 2) / 2."""
    return 0.5 * math.erfc(z / math.sqrt(2.0))


def conformance_probability(value: float, standard_uncertainty: float, tolerance: Tolerance) -> float:
    """Probability that the quantity lies within the tolerance, for a Gaussian about the value.

    JCGM 106:2012 7.2 to 7.4: p = Phi((T_U - y) / u) - Phi((T_L - y) / u), one term alone for a single limit. value: y.
    standard_uncertainty: u, > 0. tolerance: T_L, T_U. All in one unit. Returns 0 to 1. Raises InputError.
    """
    if not math.isfinite(value):
        raise InputError(f"a value of {value} cannot be judged; a finite number is needed.")
    u = check_uncertainty(standard_uncertainty, "a value to be judged")
    below, above = (value - tolerance.lower) / u, (tolerance.upper - value) / u
    if below < 0.0:  # outside: a difference of two small tails keeps its digits
        return _tail(-below) - _tail(above)
    if above < 0.0:
        return _tail(-above) - _tail(below)
    return max(0.0, 1.0 - _tail(below) - _tail(above))


def decide(value: float, standard_uncertainty: float, tolerance: Tolerance, coverage: float = 2.0) -> Conformity:
    """Decide after ISO 14253-1 whether a value meets a tolerance.

    value: y. standard_uncertainty: u, > 0. tolerance: T_L, T_U, all in one unit. coverage: k of U = k u, 1 to 4
    (default 2). Meets when T_L + U <= y <= T_U - U; does not meet when y < T_L - U or y > T_U + U; otherwise it cannot
    be told. Returns a Conformity. Raises InputError for values that are not finite or a coverage factor out of range.
    """
    if not 1.0 <= coverage <= 4.0:
        raise InputError(f"a coverage factor of {coverage} is outside 1 to 4; 2 is usual.")
    probability = conformance_probability(value, standard_uncertainty, tolerance)
    expanded = coverage * standard_uncertainty
    if tolerance.lower + expanded <= value <= tolerance.upper - expanded:
        verdict = Verdict.MEETS
    elif value < tolerance.lower - expanded or value > tolerance.upper + expanded:
        verdict = Verdict.DOES_NOT_MEET
    else:
        verdict = Verdict.CANNOT_BE_TOLD
    return Conformity(verdict, probability, expanded, tolerance.upper - tolerance.lower >= 2.0 * expanded)
