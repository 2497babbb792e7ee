"""Edges and refusals of the decision; the rule itself is judged in tests/published/test_iso14253.py."""

import math

import pytest

from setwright.errors import InputError
from setwright.metrology import Tolerance, Verdict, conformance_probability, decide, tolerance_about


def test_verdicts_say_it_in_words():
    assert [verdict.value for verdict in Verdict] == ["meets", "does not meet", "cannot be told with this gauge"]


def test_the_limits_themselves():
    tolerance = Tolerance(1.0, 3.0)
    assert decide(1.5, 0.25, tolerance).verdict is Verdict.MEETS  # exactly T_L + U
    assert decide(2.5, 0.25, tolerance).verdict is Verdict.MEETS
    assert decide(0.5, 0.25, tolerance).verdict is Verdict.CANNOT_BE_TOLD  # exactly T_L - U
    assert decide(3.5, 0.25, tolerance).verdict is Verdict.CANNOT_BE_TOLD
    assert decide(3.5001, 0.25, tolerance).verdict is Verdict.DOES_NOT_MEET


def test_a_gauge_too_coarse_can_never_prove_conformity():
    outcome = decide(2.0, 0.6, Tolerance(1.0, 3.0))
    assert not outcome.provable
    assert outcome.verdict is Verdict.CANNOT_BE_TOLD
    assert decide(2.0, 0.5, Tolerance(1.0, 3.0)).provable
    assert decide(2.0, 100.0, Tolerance(upper=3.0)).provable


def test_the_coverage_factor_moves_the_decision():
    tolerance = Tolerance(upper=1.0)
    assert decide(0.8, 0.11, tolerance).verdict is Verdict.CANNOT_BE_TOLD
    assert decide(0.8, 0.11, tolerance, coverage=1.65).verdict is Verdict.MEETS
    for bad in (0.9, 4.1, math.nan):
        with pytest.raises(InputError, match="outside 1 to 4"):
            decide(0.8, 0.11, tolerance, coverage=bad)


@pytest.mark.parametrize(("lower", "upper"), [(1.0, 1.0), (2.0, 1.0), (math.nan, 1.0), (0.0, math.nan)])
def test_limits_that_do_not_rise(lower, upper):
    with pytest.raises(InputError, match="tolerance limit"):
        Tolerance(lower, upper)


def test_a_tolerance_needs_a_limit():
    with pytest.raises(InputError, match="without any limit"):
        Tolerance()


@pytest.mark.parametrize(("nominal", "half"), [(1.0, 0.0), (1.0, -1.0), (math.nan, 1.0), (1.0, math.inf)])
def test_half_widths_that_cannot_be(nominal, half):
    with pytest.raises(InputError, match="half width"):
        tolerance_about(nominal, half)


@pytest.mark.parametrize(("value", "u"), [(math.nan, 1.0), (math.inf, 1.0), (1.0, 0.0), (1.0, math.nan)])
def test_values_that_cannot_be_judged(value, u):
    with pytest.raises(InputError):
        conformance_probability(value, u, Tolerance(0.0, 1.0))


def test_far_tails_keep_their_digits_and_never_turn_negative():
    tolerance = Tolerance(0.0, 1.0)
    assert conformance_probability(-10.0, 1.0, tolerance) == pytest.approx(7.619853024e-24, rel=1e-9)
    assert conformance_probability(11.0, 1.0, tolerance) == pytest.approx(7.619853024e-24, rel=1e-9)
    assert conformance_probability(0.5, 1e-6, tolerance) == 1.0
    assert 0.0 <= conformance_probability(0.5, 1e9, tolerance) < 1e-8
