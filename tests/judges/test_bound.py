"""The bound on the first partial against closed forms for one sinusoid, and against what least squares reaches."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import least_squares

from setwright.practice.sound import Partials, Pluck, glide_of, partials_of, render
from tests.judges.bound import CENTS, bound, bound_of, sensitivities

STRING = Pluck(110.0, inharmonicity=2e-4, rate=8000.0, seconds=0.6, loss=2.0, glide=6.0)
NONE = replace(STRING, glide=0.0)


def one(height, decay):
    return Partials(*(np.array([v]) for v in (110.0, height, 0.7, decay, 1.0, 0.0)))


def one_bound(pluck, height, decay, variance):
    slopes = sensitivities(pluck, one(height, decay), glide_of(pluck))
    slopes[:, 1] = 0.0  # one partial says nothing of B
    return bound_of(slopes, variance, 0.0, gliding=False)


@pytest.mark.parametrize("seconds", [0.5, 2.0])
def test_one_steady_sinusoid(seconds):
    """Var(f) >= 12 fs^2 / ((2 pi)^2 eta N (N^2 - 1)), eta = A^2 / (2 v): Kay (1993), eq. 3.41; Rife and Boorstyn, IEEE
    Trans. Inf. Theory 20, 591 (1974), both from memory. Exact but for terms of one period in the whole: 1 %."""
    pluck = replace(NONE, inharmonicity=0.0, seconds=seconds)
    n = round(8000.0 * seconds)
    eta = 0.3**2 / (2.0 * 1e-4)
    want = CENTS / 110.0 * np.sqrt(12.0 * 8000.0**2 / ((2.0 * np.pi) ** 2 * eta * n * (n * n - 1.0)))
    assert one_bound(pluck, 0.3, 1e9, 1e-4) == pytest.approx(want, rel=0.01)


def test_one_sinusoid_that_dies_away():
    """Watched to its end: information on (w, phase) is A^2 fs / (2 v) times the integrals of e^(-2 a t) (t^2, t, 1), so
    var(w) = 16 a^3 v / (A^2 fs); own derivation."""
    pluck = replace(NONE, inharmonicity=0.0, seconds=2.0)
    a = 10.0
    want = CENTS / (2.0 * np.pi * 110.0) * np.sqrt(16.0 * a**3 * 1e-4 / (0.3**2 * 8000.0))
    assert one_bound(pluck, 0.3, 1.0 / a, 1e-4) == pytest.approx(want, rel=0.01)


def _params(pluck, vector):
    """A note's pluck and partials from a vector: ln f0, B, ln glide against the pluck's, then each partial's own."""
    f0, stiff = pluck.fundamental * np.exp(vector[0]), pluck.inharmonicity + vector[1]
    some = replace(pluck, fundamental=f0, inharmonicity=stiff)
    own = vector[3:].reshape(-1, 3)
    n = np.arange(1.0, len(own) + 1.0)
    whole = partials_of(pluck)
    k = len(own)
    return some, Partials(
        hertz=n * f0 * np.sqrt(1.0 + stiff * n * n),
        height=whole.height[:k] * np.exp(own[:, 0]),
        phase=whole.phase[:k] + own[:, 1],
        decay=1.0 / (1.0 / whole.decay[:k] + own[:, 2]),
        follow=(1.0 + stiff) / (1.0 + stiff * n * n),
        own=np.zeros(k),
    )


def _samples(pluck, vector):
    some, partials = _params(pluck, vector)
    glide = glide_of(pluck)
    return render(partials, replace(glide, size=glide.size * np.exp(vector[2])), some)


@pytest.mark.parametrize("pluck", [STRING, replace(STRING, glide=25.0, inharmonicity=1e-3)])
def test_derivatives_are_those_of_the_samples(pluck):
    """Central differences of the generator itself, four partials: every column within 1e-5 of its size."""
    zero = np.zeros(15)
    _, partials = _params(pluck, zero)
    got = sensitivities(pluck, partials, glide_of(pluck))
    for i in range(15):
        step = np.zeros(15)
        step[i] = 1e-7 if i in (0, 1) else 1e-4
        want = (_samples(pluck, step) - _samples(pluck, -step)) / (2.0 * step[i])
        assert np.abs(got[:, i] - want).max() < 1e-5 * np.abs(want).max()


def test_more_is_known_from_more():
    """Half the noise, half the bound; a known glide tells more than a free one; more partials tell more than one."""
    assert bound(STRING, 1.0) == pytest.approx(2.0 * bound(STRING, 0.25))
    assert bound(STRING, 1.0, gain=2.0) == pytest.approx(0.5 * bound(STRING, 1.0))
    assert bound(NONE, 1.0) < 0.8 * bound(STRING, 1.0)
    first = Partials(*(v[:1] for v in vars(partials_of(NONE)).values()))
    slopes = sensitivities(NONE, first, glide_of(NONE))
    slopes[:, 1] = 0.0
    assert bound(NONE, 1.0) < bound_of(slopes, 1.0, 2e-4, gliding=False)


def test_faint_partials_are_left_out():
    whole = partials_of(NONE)
    two = replace(whole, height=np.where(np.arange(len(whole.hertz)) < 2, 1.0, 1e-9))
    slopes = sensitivities(NONE, two, glide_of(NONE))
    assert slopes.shape == (4800, 3 + 6)


@pytest.mark.slow
def test_least_squares_reaches_the_bound():
    """Sixty noises on a note of four partials, fitted by scipy from the truth: their scatter is the bound's to three
    standard deviations of a scatter of sixty (28 %)."""
    pluck = replace(STRING, seconds=0.3)
    zero = np.zeros(15)
    clean = _samples(pluck, zero)
    _, partials = _params(pluck, zero)
    variance = (0.05 * np.abs(clean).max()) ** 2
    slopes = sensitivities(pluck, partials, glide_of(pluck))
    want = bound_of(slopes, variance, pluck.inharmonicity, gliding=True)
    scale = 1.0 / np.linalg.norm(slopes, axis=0)
    rng = np.random.default_rng(4)
    found = []
    for _ in range(60):
        heard = clean + np.sqrt(variance) * rng.standard_normal(len(clean))
        fit = least_squares(lambda v, h=heard: _samples(pluck, v * scale) - h, zero, method="lm", max_nfev=200)
        v = fit.x * scale
        found.append(CENTS * (v[0] + 0.5 * np.log((1.0 + 2e-4 + v[1]) / (1.0 + 2e-4))))
    assert np.std(found) == pytest.approx(want, rel=0.28)
    assert abs(np.mean(found)) < 3.0 * want / np.sqrt(60.0)
