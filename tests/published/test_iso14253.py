"""Conformity with uncertainty: ISO 14253-1 (1998, 2017), JCGM 106:2012 and JCGM 100:2008 (GUM).

ISO 14253-1, "Geometrical product specifications (GPS) - Inspection by measurement of workpieces and measuring equipment
- Part 1: Decision rules for verifying conformity or nonconformity with specifications".
JCGM 106:2012, "The role of measurement uncertainty in conformity assessment", doi:10.59161/JCGM106-2012.
JCGM 100:2008, "Guide to the expression of uncertainty in measurement", doi:10.59161/JCGM100-2008E.
Numbers marked MEMORY were not looked up again.
"""

import mpmath
import pytest

from setwright.metrology import (
    Tolerance,
    Verdict,
    conformance_probability,
    decide,
    mean_of,
    resolution_uncertainty,
    tolerance_about,
)
from setwright.units import places_for

TABLE_1 = ((0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09))  # p, z = (T_U - y) / u


def test_table_1_of_jcgm_106(judged):
    """Clause 7.3, Table 1 (MEMORY). z is printed to 0.01, so p may be off by 0.005 times the density at z, at most
    0.0014 at z = 0.84; 0.0015."""
    want = [p for p, _ in TABLE_1]
    got = [conformance_probability(-z, 1.0, Tolerance(upper=0.0)) for _, z in TABLE_1]
    wrong = [conformance_probability(z, 1.0, Tolerance(upper=0.0)) for _, z in TABLE_1]
    judged("p for z", want, got, 0.0015, "1", "JCGM 106:2012, Table 1", "MEMORY", wrong=wrong)
    lower = [conformance_probability(z, 1.0, Tolerance(lower=0.0)) for _, z in TABLE_1]
    judged("p for z, lower limit", want, lower, 0.0015, "1", "JCGM 106:2012, Table 1", "MEMORY")


def test_two_limits_against_high_precision(judged):
    """JCGM 106:2012, 7.4: difference of two normal distribution functions. Judge: mpmath at 40 digits, which shares no
    code with math.erfc. Relative 1e-12: a float through one subtraction."""
    tolerance = Tolerance(2.35, 2.85)
    for y, u in ((2.6, 0.1), (2.84, 0.1), (2.3, 0.05), (3.6, 0.08), (1.5, 0.09), (2.6, 3.0)):
        with mpmath.workdps(40):
            one = mpmath.ncdf((mpmath.mpf(tolerance.upper) - mpmath.mpf(y)) / mpmath.mpf(u))
            two = mpmath.ncdf((mpmath.mpf(tolerance.lower) - mpmath.mpf(y)) / mpmath.mpf(u))
            want = float(one - two)
        got = conformance_probability(y, u, tolerance)
        wrong = conformance_probability(y, 1.01 * u, tolerance)
        judged(f"p, y={y}, u={u}", want, got, 1e-10 * want, "1", "mpmath.ncdf, 40 digits", "DERIVED", wrong=wrong)


@pytest.mark.parametrize(
    ("y", "verdict"),
    [  # 2.6 ± 0.25 mm, u = 0.05 mm, U = 0.10 mm, k = 2: limits 2.35 and 2.85
        (2.60, Verdict.MEETS),  # proved within 2.45 to 2.75, refuted beyond 2.25 and 2.95 (by hand)
        (2.46, Verdict.MEETS),
        (2.74, Verdict.MEETS),
        (2.44, Verdict.CANNOT_BE_TOLD),
        (2.76, Verdict.CANNOT_BE_TOLD),
        (2.84, Verdict.CANNOT_BE_TOLD),
        (2.86, Verdict.CANNOT_BE_TOLD),
        (2.26, Verdict.CANNOT_BE_TOLD),
        (2.24, Verdict.DOES_NOT_MEET),
        (2.96, Verdict.DOES_NOT_MEET),
    ],
)
def test_the_three_zones(y, verdict):
    """ISO 14253-1, decision rules for proving conformity and nonconformity (MEMORY of the rule; numbers by hand)."""
    assert decide(y * 1e-3, 0.05e-3, tolerance_about(2.6e-3, 0.25e-3)).verdict is verdict


def test_a_shaft_just_inside_its_limits_is_not_proved():
    """10.00 ± 0.05 mm, read 10.03 mm, U = 0.04 mm (k = 2): 10.07 lies beyond 10.05, conformity is not proved, and
    nonconformity neither. Numbers READ on an anonymous page about ISO 14253-1; the conclusion by hand."""
    outcome = decide(10.03, 0.02, Tolerance(9.95, 10.05))
    assert outcome.verdict is Verdict.CANNOT_BE_TOLD
    assert outcome.expanded_uncertainty == pytest.approx(0.04, rel=1e-12)


def test_one_limit():
    """Octave error of at most 2 cents, u = 0.5 c: proved up to 1, refuted beyond 3 (by hand)."""
    limit = Tolerance(upper=2.0)
    said = [decide(y, 0.5, limit).verdict for y in (-20.0, 0.9, 1.1, 2.9, 3.1)]
    assert said == [Verdict.MEETS] * 2 + [Verdict.CANNOT_BE_TOLD] * 2 + [Verdict.DOES_NOT_MEET]


def test_ninety_five_percent_at_a_limit(judged):
    """ISO 14253-1:2017 takes 95 % at the limit, guard band 1.65 u for a small Gaussian uncertainty (MEMORY). 0.002: the
    factor is rounded up from 1.645."""
    edge = decide(-1.65, 1.0, Tolerance(upper=0.0), coverage=1.65)
    assert edge.verdict is Verdict.MEETS
    judged("p at 1.65 u", 0.95, edge.probability, 0.002, "1", "ISO 14253-1:2017", "MEMORY")


def test_resolution_of_an_indication(judged):
    """GUM F.2.2.1: u = 0.29 of the step (MEMORY). 0.005: its last digit."""
    judged("u per step", 0.29, resolution_uncertainty(1.0), 0.005, "1", "JCGM 100:2008, F.2.2.1", "MEMORY")


def test_twenty_temperatures(judged):
    """GUM 4.4.3, Table 1 (MEMORY): twenty observations, mean 100.145 printed 100.14 C, s of the mean 0.333
    printed 0.33. 0.006 and 0.005: the last digit."""
    celsius = [96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07]
    celsius += [100.33, 100.42, 100.68, 100.95, 101.11, 101.20, 101.57, 101.84, 102.36, 102.72]
    mean, u = mean_of(celsius)
    judged("mean of twenty", 100.14, mean, 0.006, "C", "JCGM 100:2008, 4.4.3", "MEMORY")
    judged("u of the mean", 0.33, u, 0.005, "C", "JCGM 100:2008, 4.4.3", "MEMORY")


def test_rounding_follows_the_uncertainty():
    """GUM 7.2.6 (MEMORY): 10.05762 ohm with u = 27 milliohm is to be rounded to 10.058 ohm."""
    assert places_for(0.027) == 3
    assert round(10.05762, places_for(0.027)) == 10.058
