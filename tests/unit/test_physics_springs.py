"""Springs: the three states by hand."""

import numpy as np
import pytest

from setwright.physics import springs

SPRING = (1000.0, 20.0, 0.06, 2e5)  # N/m, N, m, N/m: slack below 59.9 mm


def test_three_states():
    length = [0.05, 0.0599, 0.05995, 0.06, 0.07]
    assert springs.force(length, *SPRING) == pytest.approx([0.0, 0.0, 10.0, 20.0, 30.0], abs=1e-9)
    assert springs.stiffness([0.05, 0.05995, 0.06, 0.07], *SPRING).tolist() == [0.0, 2e5, 1000.0, 1000.0]


def test_energy_by_hand():
    """Closed: triangle 20 N x 0.1 mm / 2 = 1 mJ. Then 10 mm at 20 N rising to 30 N: 250 mJ."""
    assert springs.energy([0.05, 0.06, 0.07], *SPRING) == pytest.approx([0.0, 1e-3, 0.251], abs=1e-12)


def test_without_initial_tension_it_is_slack_just_below():
    assert springs.force([0.0599, 0.06, 0.061], 1000.0, 0.0, 0.06, 2e5) == pytest.approx([0.0, 0.0, 1.0])


def test_rate_of_a_coil_by_hand():
    """G 81.5 GPa, wire 1 mm, D 8 mm, 20 coils: 81.5e9 x 1e-12 / (8 x 512e-9 x 20) = 994.87 N/m."""
    assert springs.rate_from_coil(81.5e9, 1e-3, 8e-3, 20.0) == pytest.approx(994.873, abs=1e-3)


def test_broadcasts():
    assert springs.force(np.full((4, 1), 0.07), np.full(5, 1000.0), 20.0, 0.06, 2e5).shape == (4, 5)
