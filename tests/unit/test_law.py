"""The law of the stiff string over partials that are known, with errors that are known."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import least_squares

from setwright.listening.law import LEAST_APART, STIFFEST, between, fitted, rising, stretch

CENTS = 1200.0 / np.log(2.0)
F0, B = 110.0, 2e-4
N = np.arange(1.0, 13.0)
SD = 1e-5 / np.sqrt(N)  # relative, 0.017 cents at the first


def heard(rng=None, number=N, sd=SD, apart=0.0):
    hertz = F0 * stretch(number, B)
    if rng is None:
        return hertz
    return hertz * np.exp(sd * rng.standard_normal(len(number)) + apart * rng.standard_normal(len(number)))


def off(law):
    first = F0 * np.sqrt(1.0 + B)
    return np.log(law.fundamental / F0), law.inharmonicity - B, np.log(law.first / first)


def sds(law):
    return law.fundamental_sd, law.inharmonicity_sd, law.first_sd


@pytest.mark.parametrize("start", [0.0, 2e-4, 3e-3])
def test_partials_that_keep_to_the_law(start):
    law = fitted(N, heard(), np.diag(SD**2), start)
    assert np.abs(np.array(off(law))).max() < 1e-9 + 1e-3 * max(sds(law))
    assert law.counted.all()
    assert law.apart == LEAST_APART


def test_scatter_is_what_is_stated():
    """400 draws: a share inside one standard uncertainty of 68.3 %, to three binomial deviations (7 %), and a scatter
    of the stated size to 4 deviations of a scatter (14 %)."""
    rng = np.random.default_rng(1)
    laws = [fitted(N, heard(rng), np.diag(SD**2)) for _ in range(400)]
    z = np.array([off(law) for law in laws]) / np.array([sds(law) for law in laws])
    assert np.std(z, axis=0) == pytest.approx(1.0, abs=0.14)
    assert np.abs(z.mean(axis=0)).max() < 4.0 / np.sqrt(400.0)
    assert (np.abs(z) < 1.0).mean(axis=0) == pytest.approx(0.683, abs=0.07)


def test_departures_are_found():
    """Departures of 1 cent, hundred times the errors; a scatter of 12 partials less 2 is known to 1 / sqrt(2 * 10), and
    the median of 200 far better."""
    rng = np.random.default_rng(2)
    apart = 1.0 / CENTS
    laws = [fitted(N, heard(rng, apart=apart), np.diag(SD**2)) for _ in range(200)]
    assert np.median([law.apart for law in laws]) == pytest.approx(apart, rel=0.15)
    true = F0 * np.sqrt(1.0 + B)
    assert np.std([np.log(law.first / true) for law in laws]) == pytest.approx(apart, rel=0.15)


def test_the_first_partials_own_departure_is_kept():
    """With departures as large as the rest, what is reported is where the first partial is, not where the law has
    it."""
    rng = np.random.default_rng(3)
    hertz = heard(rng, apart=1.0 / CENTS)
    law = fitted(N, hertz, np.diag(SD**2))
    assert abs(CENTS * np.log(law.first / hertz[0])) < 0.02
    assert law.first_sd == pytest.approx(SD[0], rel=0.1)


def test_a_first_partial_that_keeps_to_no_law():
    hertz = heard(np.random.default_rng(4))
    hertz[0] *= np.exp(6.0 / CENTS)
    law = fitted(N, hertz, np.diag(SD**2))
    assert not law.counted[0]
    assert law.counted[1:].all()
    assert abs(np.log(law.first / hertz[0])) < 0.02 * SD[0]
    assert law.first_sd == pytest.approx(SD[0], rel=0.01)
    assert abs(CENTS * np.log(law.fundamental / F0)) < 0.05


@pytest.mark.parametrize("count", [12, 30])
def test_a_partial_far_off_leaves_the_first_where_it_was_heard(count):
    """Seven cents off among few, it widens what is taken as usual; among many it is not counted."""
    number = np.arange(1.0, count + 1.0)
    sd = 1e-5 / np.sqrt(number)
    hertz = heard(np.random.default_rng(5), number, sd)
    hertz[6] *= np.exp(7.0 / CENTS)
    law = fitted(number, hertz, np.diag(sd**2))
    assert law.apart > 1.0 / CENTS or list(np.flatnonzero(~law.counted)) == [6]
    assert count < 30 or not law.counted[6]
    assert abs(np.log(law.first / (F0 * np.sqrt(1.0 + B)))) < 2.0 * law.first_sd < 3.0 * sd[0]


def test_a_missing_first_partial_is_the_laws():
    number = N[1:]
    law = fitted(number, heard(number=number), np.diag(SD[1:] ** 2))
    assert law.first == pytest.approx(law.fundamental * np.sqrt(1.0 + law.inharmonicity), rel=1e-12)
    assert law.first_sd > law.apart


def test_against_scipys_least_squares():
    """Full covariance, log frequencies, no departures (errors of 0.6 of their size leave no room for any): scipy's
    minimum of the same sum of squares, and the covariance of its Jacobian. B before anything is heard, 0.005, changes
    nothing."""
    rng = np.random.default_rng(6)
    covariance = np.diag(SD**2) + (2e-6) ** 2
    hertz = heard() * np.exp(0.6 * np.linalg.cholesky(covariance) @ rng.standard_normal(len(N)))
    root = np.linalg.inv(np.linalg.cholesky(covariance + LEAST_APART**2 * np.eye(len(N))))

    def miss(v):
        return root @ (np.log(hertz / N) - v[0] - 0.5 * np.log1p(1e-4 * v[1] * N**2))

    fit = least_squares(miss, [np.log(F0), 1.0], x_scale=[1e-5, 1e-2], xtol=1e-14, ftol=1e-14, gtol=1e-14)
    spread = np.sqrt(np.diag(np.linalg.inv(fit.jac.T @ fit.jac)))
    law = fitted(N, hertz, covariance)
    assert law.apart == LEAST_APART
    assert abs(np.log(law.fundamental) - fit.x[0]) < 1e-3 * spread[0]
    assert abs(law.inharmonicity - 1e-4 * fit.x[1]) < 1e-3 * 1e-4 * spread[1]
    assert law.fundamental_sd == pytest.approx(spread[0], rel=1e-3)
    assert law.inharmonicity_sd == pytest.approx(1e-4 * spread[1], rel=1e-3)


@pytest.mark.parametrize("count", [2, 3])
def test_few_partials(count):
    number = N[:count]
    law = fitted(number, heard(number=number), np.diag(SD[:count] ** 2))
    assert abs(CENTS * np.log(law.first / (F0 * np.sqrt(1.0 + B)))) < 0.05
    assert law.counted.all()


def test_all_are_counted_where_hardly_any_agree():
    """Four partials in two pairs, each far from what the other says."""
    number = np.array([1.0, 2.0, 3.0, 4.0, 5.0])
    hertz = F0 * number * np.exp(np.array([0.0, 30.0, -25.0, 20.0, -30.0]) / CENTS)
    law = fitted(number, hertz, np.diag(np.full(5, 1e-16)))
    assert law.counted.sum() >= 3
    assert law.first_sd * CENTS < 0.01 or law.apart * CENTS > 5.0


def test_no_string_is_stiffer_than_the_stiffest_or_less_than_limp():
    flat = fitted(N, F0 * N * (1.0 - 1e-4 * N), np.diag(SD**2))
    assert flat.inharmonicity == 0.0
    wire = fitted(N, F0 * stretch(N, 0.05), np.diag(SD**2))
    assert wire.inharmonicity <= STIFFEST


def test_stretch_by_hand():
    """n = 10, B = 0.0001: 10 sqrt(1.01) = 10.049876."""
    assert stretch(np.array([1.0, 10.0]), 1e-4) == pytest.approx([1.000049999, 10.04987562], rel=1e-9)


def test_a_weight_rises_smoothly_from_nothing_to_all():
    at = np.linspace(-1.5, 1.5, 301)
    weight = np.array([rising(one) for one in at])
    assert weight[0] == 0.0
    assert weight[-1] == 1.0
    assert rising(0.0) == 0.5
    assert np.all(np.diff(weight) >= 0.0)
    assert np.abs(np.diff(weight)).max() < 1.5 * 0.5 * 0.01 + 1e-9  # steepest in the middle: 3/2 of the mean slope


def test_between_two_answers_lies_their_mean_and_how_far_they_lie_apart():
    """The law of total variance, against 100 000 draws of a mixture."""
    one = fitted(N, heard(), np.diag(SD**2))
    other = fitted(N, heard() * np.exp(3e-5), np.diag((2.0 * SD) ** 2))
    got = between([one, other], np.array([3.0, 1.0]))
    rng = np.random.default_rng(5)
    first = rng.random(100_000) < 0.75
    draws = np.where(first, np.log(one.first / F0), np.log(other.first / F0)) + rng.standard_normal(100_000) * np.where(
        first, one.first_sd, other.first_sd
    )
    assert np.log(got.first / F0) == pytest.approx(draws.mean(), abs=4.0 * draws.std() / np.sqrt(100_000))
    assert got.first_sd == pytest.approx(draws.std(), rel=0.02)
    assert got.fundamental_sd > one.fundamental_sd
    alone = between([one, other], np.array([1.0, 0.0]))
    assert (alone.first_sd, alone.inharmonicity) == (pytest.approx(one.first_sd), pytest.approx(one.inharmonicity))
