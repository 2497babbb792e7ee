"""Studies of people and gauges, capability, and the quantiles behind them, against published worked examples."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from setwright.errors import InputError
from setwright.metrology.capability import Group, capability, together
from setwright.metrology.conformity import Tolerance
from setwright.metrology.quantiles import beta_below, chi_square, f_above, f_ratio, gamma_below, normal, student
from setwright.metrology.repeatability import Term, balanced, band, study

# Thermal impedance of ten parts by three people, three times each: Houf and Berman (1988), as printed in Vidakovic
# (2011), Statistics for Bioengineering Sciences, example 11.14.
IMPEDANCE = """
37 38 37 41 41 40 41 42 41  42 41 43 42 42 42 43 42 43  30 31 31 31 31 31 29 30 28  42 43 42 43 43 43 42 42 42
28 30 29 29 30 29 31 29 29  42 42 43 45 45 45 44 46 45  25 26 27 28 28 30 29 27 27  40 40 40 43 42 42 43 43 41
25 25 25 27 29 28 26 26 26  35 34 34 35 35 34 35 34 35
"""
HOUF = "Houf and Berman (1988), data READ in Vidakovic (2011), example 11.14; table and components as in Montgomery, "
HOUF += "Introduction to Statistical Quality Control, gauge chapter, from memory"
# Twenty parts by three people, twice each.
TWENTY = """
21 20 20 20 19 21  24 23 24 24 23 24  20 21 19 21 20 22  27 27 28 26 27 28  19 18 19 18 18 21  23 21 24 21 23 22
22 21 22 24 22 20  19 17 18 20 19 18  24 23 25 23 24 24  25 23 26 25 24 25  21 20 20 20 21 20  18 19 17 19 18 19
23 25 25 25 25 25  24 24 23 25 24 25  29 30 30 28 31 30  26 26 25 26 25 27  20 20 19 20 20 20  19 21 19 19 21 23
25 26 25 24 25 25  19 19 18 17 19 17
"""
DOE = "Montgomery, Design and Analysis of Experiments, measurement systems experiment, data and table from memory"
# Ten parts by three appraisers, three times each, as (appraiser, trial, part).
MANUAL = """
.29 -.56 1.34 .47 -.80 .02 .59 -.31 2.26 -1.36  .41 -.68 1.17 .50 -.92 -.11 .75 -.20 1.99 -1.25
.64 -.58 1.27 .64 -.84 -.21 .66 -.17 2.01 -1.31  .08 -.47 1.19 .01 -.56 -.20 .47 -.63 1.80 -1.68
.25 -1.22 .94 1.03 -1.20 .22 .55 .08 2.12 -1.62  .07 -.68 1.34 .20 -1.28 .06 .83 -.34 2.19 -1.50
.04 -1.38 .88 .14 -1.46 -.29 .02 -.46 1.77 -1.49  -.11 -1.13 1.09 .20 -1.07 -.67 .01 -.56 1.45 -1.77
-.15 -.96 .67 .11 -1.45 -.49 .21 -.49 1.87 -2.16
"""
AIAG = "AIAG, Measurement Systems Analysis, 4th edition, worked example by analysis of variance, from memory"


def numbers(text):
    return np.array(text.split(), dtype=float)


@pytest.fixture(scope="module")
def impedance():
    return numbers(IMPEDANCE).reshape(10, 3, 3)


@pytest.fixture(scope="module")
def manual():
    return numbers(MANUAL).reshape(3, 3, 10).transpose(2, 0, 1)


def table(found, what):
    return [getattr(one, what) for one in found.sources]


def test_a_study_whose_interaction_is_told(impedance, judged):
    found, wrong = study(impedance), study(impedance.transpose(1, 0, 2))
    assert not found.pooled
    assert table(found, "freedom") == [9, 2, 18, 60]
    judged(
        "sums of squares: parts, people, both, trials", [3935.96, 39.27, 48.51, 30.67], table(found, "squares"), 0.006,
        "1", HOUF, "MEMORY", wrong=table(wrong, "squares"),
    )  # fmt: skip
    judged(
        "variances: trials, people, both, between parts", [0.5111, 0.5646, 0.7280, 48.2926],
        [x.sd**2 for x in (found.repeatability, found.by_person, found.interaction, found.between_parts)], 6e-5, "1",
        HOUF, "MEMORY", wrong=[0.5111, 0.5646, 2.695, 48.2926],
    )  # fmt: skip
    assert found.both.sd**2 == pytest.approx(0.5111 + 0.5646 + 0.7280, abs=2e-4)
    assert sum(x.share for x in (found.both, found.between_parts)) == pytest.approx(1.0, abs=1e-12)


def test_a_study_whose_interaction_is_pooled(manual, judged):
    found, wrong = study(manual), study(manual, pool=1.0)
    assert found.pooled
    judged(
        "sums of squares: appraisers, both", [3.1673, 0.3590], table(found, "squares")[1:3], 6e-5, "1", AIAG, "MEMORY",
        wrong=table(found, "squares")[:2],
    )  # fmt: skip
    judged("sum of squares: parts", 88.3619, table(found, "squares")[0], 6e-5, "1", AIAG, "MEMORY", wrong=88.37)
    judged(
        "EV, AV, GRR, PV", [0.199933, 0.226838, 0.302373, 1.042327],
        [x.sd for x in (found.repeatability, found.reproducibility, found.both, found.between_parts)], 2e-6, "1", AIAG,
        "MEMORY", wrong=[x.sd for x in (wrong.repeatability, wrong.reproducibility, wrong.both, wrong.between_parts)],
    )  # fmt: skip
    judged("GRR of total", 0.2786, found.of_total, 1e-4, "1", AIAG, "MEMORY", wrong=wrong.both.share)
    assert found.categories == 4
    assert study(manual, width=2.0).of_tolerance == pytest.approx(6 * found.both.sd / 2.0)


def test_people_who_differ_less_than_chance_count_as_alike(judged):
    values = numbers(TWENTY).reshape(20, 3, 2)
    found, whole = study(values), study(values, pool=1.0)
    judged(
        "sums of squares: parts, people, both, trials", [1185.425, 2.617, 27.050, 59.500], table(whole, "squares"),
        6e-4, "1", DOE, "MEMORY", wrong=table(found, "squares"),
    )  # fmt: skip
    assert found.pooled
    assert whole.interaction.sd == 0.0
    assert whole.interaction.below_zero
    assert any("below zero" in one for one in whole.remarks)


def test_sums_of_squares_are_those_of_a_general_program_of_least_squares(impedance):
    """The same table from residuals of nested least-squares fits (numpy), which knows nothing of the formulae."""
    y = impedance.ravel()
    part, person, _ = (one.ravel() for one in np.indices(impedance.shape))

    def left(*factors):
        columns = [np.ones_like(y), *((factor == level).astype(float) for factor in factors for level in set(factor))]
        X = np.column_stack(columns)
        return float(((y - X @ np.linalg.lstsq(X, y, rcond=None)[0]) ** 2).sum())

    cell = part * 3 + person
    want = [left() - left(part), left() - left(person), left(part, person) - left(cell), left(cell)]
    assert table(study(impedance), "squares") == pytest.approx(want, rel=1e-9)


def test_the_bands_hold_as_often_as_they_say():
    """1,500 made studies with known variances: each band of 95 % must hold between 93 and 97.5 %."""
    rng = np.random.default_rng(20261130)
    parts, people, both = 4.0, 0.5, 0.3
    held, rounds = np.zeros(5), 1500
    for _ in range(rounds):
        y = rng.normal(0, parts**0.5, (10, 1, 1)) + rng.normal(0, people**0.5, (1, 3, 1))
        y = y + rng.normal(0, both**0.5, (10, 3, 1)) + rng.normal(0, 1.0, (10, 3, 3))
        s = study(y, pool=1.0)
        true = (1.0, people, people + both, 1.0 + people + both, parts)
        bands = (s.repeatability, s.by_person, s.reproducibility, s.both, s.between_parts)
        held += [one.low**2 <= x <= one.high**2 for one, x in zip(bands, true, strict=True)]
    assert np.all(held / rounds > 0.93)
    assert np.all(held / rounds < 0.975)


def test_the_band_of_one_mean_square_is_exact():
    low, high = band([Term(1.0, 2.0, 10)], 0.9)
    assert low == pytest.approx(20.0 / stats.chi2.ppf(0.95, 10), rel=1e-9)
    assert high == pytest.approx(20.0 / stats.chi2.ppf(0.05, 10), rel=1e-9)


@pytest.mark.parametrize(
    "bad", [np.zeros((1, 2, 2)), np.zeros((2, 2)), np.full((2, 2, 2), np.nan), "words", np.ones((3, 2, 2)),
            np.zeros((100, 100, 20))]
)  # fmt: skip
def test_what_is_no_study_is_refused(bad):
    with pytest.raises(InputError):
        study(bad)


def test_odd_wishes_are_refused(impedance):
    for more in ({"level": 0.2}, {"width": 0.0}, {"width": float("nan")}):
        with pytest.raises(InputError):
            study(impedance, **more)


def test_a_study_is_cut_from_uneven_readings():
    cells = [[[1.0, 2.0, 3.0], [4.0, 5.0]], [[6.0, 7.0], [8.0, 9.0, 10.0]], [[1.0], [2.0, 3.0]]]
    assert balanced(cells).tolist() == [[[1, 2], [4, 5]], [[6, 7], [8, 9]]]
    with pytest.raises(InputError, match="two people"):
        balanced(cells[2:])


def test_trials_without_any_spread_are_told():
    values = np.array([[[1.0, 1.0], [1.0, 1.0]], [[2.0, 2.0], [2.0, 2.0]]])
    found = study(values)
    assert found.both.sd == 0.0
    assert found.sources[0].f is None
    assert any("step of the gauge" in one for one in found.remarks)


NIST = "NIST/SEMATECH e-Handbook of Statistical Methods 6.1.6, example with limits 8 and 20, from memory"


def test_capability_of_the_handbook(judged):
    spread = together([Group(50, 16.0, 4.0)])
    found = capability(spread, Tolerance(8.0, 20.0))
    judged("Pp", 1.0, found.pp.value, 1e-12, "1", NIST, "MEMORY", wrong=found.ppk.value)
    judged("Ppk", 0.6667, found.ppk.value, 1e-4, "1", NIST, "MEMORY", wrong=found.pp.value)
    ends = [np.sqrt(stats.chi2.ppf(p, 49) / 49) for p in (0.025, 0.975)]
    assert [found.pp.low, found.pp.high] == pytest.approx(ends, rel=1e-9)
    half = stats.norm.ppf(0.975) * np.sqrt(1 / (9 * 50) + (2 / 3) ** 2 / (2 * 49))
    assert [found.ppk.low, found.ppk.high] == pytest.approx([2 / 3 - half, 2 / 3 + half], rel=1e-9)
    assert found.outside == pytest.approx(stats.norm.sf(2.0) + stats.norm.cdf(-4.0), rel=1e-6)


def test_the_band_of_cpk_holds_nearly_as_often_as_it_says():
    """2,000 made samples of 40 with Cpk 1.2: the approximation holds between 92 and 97.5 %."""
    rng = np.random.default_rng(7)
    held = 0
    for x in rng.normal(0.4, 1.0, (2000, 40)):
        found = capability(together([Group(40, x.mean(), x.var(ddof=1))]), Tolerance(-4.0, 4.0))
        held += found.ppk.low <= 1.2 <= found.ppk.high
    assert 0.92 < held / 2000 < 0.975


def test_groups_together_are_a_one_way_analysis():
    rng = np.random.default_rng(3)
    samples = [rng.normal(m, 1.0, n) for m, n in ((0.0, 5), (0.3, 1), (3.0, 9), (0.1, 7))]
    found = together([Group(len(x), x.mean(), x.var(ddof=1) if len(x) > 1 else 0.0) for x in samples])
    every = np.concatenate(samples)
    assert (found.count, found.freedom) == (22, 18)
    assert found.mean == pytest.approx(every.mean())
    assert found.sd == pytest.approx(every.std(ddof=1))
    assert found.changes == pytest.approx(stats.f_oneway(*samples).pvalue, rel=1e-9)
    whole = capability(found, Tolerance(-4.0, 5.0))
    assert whole.cp.value == pytest.approx(9.0 / (6.0 * found.within))
    assert any("month to month" in one for one in whole.remarks)
    assert any("few" in one for one in whole.remarks)


def test_a_tolerance_of_one_side_has_no_cp():
    found = capability(together([Group(60, 0.2, 0.01)]), Tolerance(upper=0.5))
    assert found.pp is None
    assert found.cp is None
    assert found.ppk.value == pytest.approx(1.0)
    assert any("one limit" in one for one in found.remarks)


def test_what_has_no_spread_is_refused():
    for groups in (
        [],
        [Group(1, 0.0, 0.0)],
        [Group(2, float("nan"), 1.0)],
        [Group(2, 0.0, -1.0)],
        [Group(0, 1.0, 1.0)],
    ):
        with pytest.raises(InputError):
            together(groups)
    alike = together([Group(5, 1.0, 0.0)])
    with pytest.raises(InputError, match="alike"):
        capability(alike, Tolerance(0.0, 2.0))
    with pytest.raises(InputError, match="level"):
        capability(together([Group(5, 1.0, 1.0)]), Tolerance(0.0, 2.0), level=0.1)
    single = capability(together([Group(1, 0.0, 0.0), Group(1, 1.0, 0.0)]), Tolerance(-9.0, 9.0))
    assert single.cpk is None


@pytest.mark.parametrize("freedom", [0.5, 1, 2, 3, 10, 60, 1000, 1e6])
def test_quantiles_are_those_of_a_general_library(freedom):
    for share in (1e-4, 0.025, 0.3, 0.5, 0.95, 0.975, 0.9999):
        assert chi_square(share, freedom) == pytest.approx(stats.chi2.ppf(share, freedom), rel=1e-10)
        assert student(share, freedom) == pytest.approx(stats.t.ppf(share, freedom), rel=1e-8, abs=1e-12)
        for below in (1, 2, 18, 1e5):
            ratio = stats.f.ppf(share, freedom, below)
            assert f_ratio(share, freedom, below) == pytest.approx(ratio, rel=1e-8)
            assert f_above(ratio, freedom, below) == pytest.approx(1 - share, abs=1e-8)
        assert normal(share) == pytest.approx(stats.norm.ppf(share), rel=1e-10, abs=1e-12)
    assert f_above(0.0, 3, freedom) == 1.0
    assert gamma_below(freedom, 0.0) == beta_below(freedom, 1.0, 0.0) == 0.0
    assert beta_below(freedom, 1.0, 1.0) == 1.0


def test_quantiles_that_do_not_exist_are_refused():
    for bad in (lambda: normal(0.0), lambda: chi_square(1.0, 3), lambda: chi_square(0.5, 0.0),
                lambda: f_ratio(0.5, 1, float("nan")), lambda: student(2.0, 3)):  # fmt: skip
        with pytest.raises(InputError):
            bad()
