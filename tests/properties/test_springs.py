"""Springs: force is the slope of energy, never pushes, never falls with length."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.integrate import quad

from setwright.physics import springs

lengths = st.floats(0.03, 0.2)


@st.composite
def kinds(draw):
    rate = draw(st.floats(200.0, 5000.0))
    free = draw(st.floats(0.05, 0.1))
    return rate, draw(st.floats(0.0, 40.0)), free, rate * draw(st.floats(1.0, 500.0))


@given(kinds(), lengths, lengths)
def test_energy_is_the_integral_of_force(kind, a, b):
    _, initial, free, closed = kind
    low, high = min(a, b), max(a, b)
    corners = [c for c in (free - initial / closed, free) if low < c < high]
    work, _ = quad(lambda x: float(springs.force(x, *kind)), low, high, points=corners or None, epsabs=1e-12)
    gained = springs.energy(high, *kind) - springs.energy(low, *kind)
    assert_allclose(gained, work, rtol=1e-9, atol=1e-10)


@given(kinds(), lengths, st.floats(0.0, 0.05))
def test_force_is_continuous_and_never_falls(kind, length, more):
    pull, longer = springs.force(length, *kind), springs.force(length + more, *kind)
    assert 0.0 <= pull <= longer
    assert longer - pull <= kind[3] * more * (1.0 + 1e-9) + 1e-9  # never steeper than the closed coil


@given(kinds(), lengths)
def test_stiffness_is_the_slope_of_force(kind, length):
    _, initial, free, closed = kind
    step = 1e-7
    if min(abs(length - free), abs(length - free + initial / closed)) < 2.0 * step:
        return  # at a corner the slope has two values
    slope = (springs.force(length + step, *kind) - springs.force(length - step, *kind)) / (2.0 * step)
    assert_allclose(springs.stiffness(length, *kind), slope, rtol=1e-5, atol=1e-4)


@given(kinds(), lengths, st.floats(0.1, 10.0))
def test_stronger_steel_scales_force_and_energy(kind, length, factor):
    rate, initial, free, closed = kind
    strong = (rate * factor, initial * factor, free, closed * factor)
    assert_allclose(springs.force(length, *strong), factor * springs.force(length, *kind), rtol=1e-9, atol=1e-9)
    assert_allclose(springs.energy(length, *strong), factor * springs.energy(length, *kind), rtol=1e-9, atol=1e-12)


@given(st.floats(0.5e-3, 2e-3), st.floats(4.0, 12.0), st.floats(5.0, 60.0), st.floats(0.5, 2.0))
def test_coil_scaling(wire, index, coils, factor):
    """Twice the coils, half the rate; everything s times larger, s times the rate."""
    rate = springs.rate_from_coil(8e10, wire, wire * index, coils)
    assert_allclose(springs.rate_from_coil(8e10, wire, wire * index, 2.0 * coils), rate / 2.0, rtol=1e-12)
    larger = springs.rate_from_coil(8e10, wire * factor, wire * index * factor, coils)
    assert_allclose(larger, np.float64(factor) * rate, rtol=1e-12)
