"""Single fret heights from rocker and straightedge; what to take off; shapes of the neck."""

import numpy as np
import pytest

from setwright.errors import RangeError
from setwright.physics import clearance as cl
from setwright.physics.frets import fret_position
from setwright.physics.neck import bent_height

SCALE = 0.648
X = np.asarray(fret_position(SCALE, np.arange(1, 23)))
THREES = np.stack([np.arange(20), np.arange(1, 21), np.arange(2, 22)], axis=-1)  # rocker on i, i+1, gap at i+2
SPANS = np.array([(0, 21, c) for c in range(2, 20, 3)] + [(0, 12, c) for c in (3, 6, 9)])  # straightedge


def gaps(height, frets):
    """Read by geometry: the line through two points, by polynomial fit."""
    return np.array([np.polyval(np.polyfit(X[[a, b]], height[[a, b]], 1), X[c]) - height[c] for a, b, c in frets])


def level(height):
    """Heights off their own best line."""
    return height - np.polyval(np.polyfit(X, height, 1), X)


def test_a_high_fret_is_found_and_named():
    height = np.zeros(22)
    height[8] = 0.15e-3
    frets = np.concatenate([THREES, SPANS])
    found = cl.fret_heights(X, frets, gaps(height, frets), 5e-6, 1e-3)
    assert found.height == pytest.approx(level(height), abs=2e-6)
    verdict = cl.off_line(found, 0.05e-3)
    assert verdict[8] == 1.0
    assert np.count_nonzero(verdict) == 1
    assert cl.off_line(found, 0.13e-3, 5.0)[8] == 0.5
    height[8] = -0.15e-3
    assert cl.off_line(cl.fret_heights(X, frets, gaps(height, frets), 5e-6, 1e-3), 0.05e-3)[8] == -1.0


def test_uncertainty_and_chi_square_hold_over_many_boards():
    """500 boards drawn with the stated spread and noise: scatter within 15 % of the stated uncertainty (five standard
    errors), mean chi square within 4 standard errors of its degrees of freedom."""
    rng = np.random.default_rng(3)
    frets = np.concatenate([THREES, SPANS])
    boards = 0.04e-3 * rng.standard_normal((500, 22))
    read = np.stack([gaps(h, frets) for h in boards])
    read += 10e-6 * rng.standard_normal(read.shape)
    found = cl.fret_heights(X, frets, read, 10e-6, 0.04e-3)
    off = found.height - np.stack([level(h) for h in boards])
    assert off.std(axis=0) == pytest.approx(found.standard_uncertainty, rel=0.15)
    assert found.freedom == len(frets)
    assert found.chi_square.mean() == pytest.approx(found.freedom, abs=4.0 * np.sqrt(2.0 * found.freedom / 500))


def test_an_unknown_bow_is_fitted_away():
    height = np.zeros(22)
    height[4] = 0.1e-3
    shape = bent_height(X, X[15], 0.1) / 0.1
    frets = np.concatenate([THREES, SPANS])
    read = gaps(height + 0.003 * shape, frets)
    found = cl.fret_heights(X, frets, read, 5e-6, 0.05e-3, shape)
    assert np.argmax(found.height) == 4
    assert found.height[4] > 0.05e-3
    assert found.freedom == len(frets) - 1
    flat = cl.fret_heights(X, frets, gaps(0.004 * shape, frets), 5e-6, 0.05e-3, shape)
    assert np.abs(flat.height).max() < 1e-6
    fooled = cl.fret_heights(X, frets, gaps(0.004 * shape, frets), 5e-6, 0.05e-3)
    assert np.abs(fooled.height).max() > 50e-6


def test_what_is_not_read_stays_as_uncertain_as_frets_are():
    found = cl.fret_heights(X, THREES[:5], np.zeros(5), 5e-6, 0.05e-3)
    u = found.standard_uncertainty
    assert u[15] > 0.04e-3
    assert u[3] < u[15]
    assert cl.off_line(found, 0.02e-3).tolist() == [0.0] * 22


@pytest.mark.parametrize(
    ("frets", "message"),
    [([(0, 1, 1)], "three different frets"), ([(0, 1)], "three different frets"), ([(0, 1, 22)], "fret of a reading")],
)
def test_refused_readings(frets, message):
    with pytest.raises(RangeError, match=message):
        cl.fret_heights(X, frets, [0.0], 1e-5, 1e-4)


def test_refused_crowns():
    with pytest.raises(RangeError, match="three or more crowns"):
        cl.fret_heights(X[:2], [(0, 1, 1)], [0.0], 1e-5, 1e-4)
    with pytest.raises(RangeError, match="three or more crowns"):
        cl.fret_heights(X[::-1], [(0, 1, 2)], [0.0], 1e-5, 1e-4)


def test_cutting_clears_and_no_less_would_do():
    x = np.concatenate([[0.0], X])
    y = cl.crown_line(x, x[16], 0.003)
    y[0] += 0.45e-3
    y[[7, 8]] += [0.3e-3, 0.55e-3]

    def pairs(y):
        return cl.clearance_map(x, y, SCALE, 5e-3, 0.13, 0.5e-3)

    cut = cl.crown_cut(pairs(y), x, SCALE, 0.05e-3)
    assert cut[8] > 0.2e-3
    assert cut[0] == 0.0
    assert cl.least(pairs(y - cut)).clearance >= 0.05e-3 - 1e-15
    for fret in np.flatnonzero(cut):
        less = cut.copy()
        less[fret] -= 1e-6
        assert cl.least(pairs(y - less)).clearance < 0.05e-3 - 1e-8
    assert cl.crown_cut(pairs(y - cut), x, SCALE, 0.05e-3).max() < 1e-15


def test_second_mode_by_integrating_its_curvature():
    """y'' = 0.004 (2 xi - 1) from the joint, by the trapezoidal rule twice; 1e-9 m: its error at 20,000 steps."""
    joint = 0.39
    x = np.linspace(joint, 0.0, 20001)
    curvature = 0.004 * (2.0 * (joint - x) / joint - 1.0)
    step = joint / 20000
    slope = np.concatenate([[0.0], np.cumsum(0.5 * step * (curvature[1:] + curvature[:-1]))])
    height = np.concatenate([[0.0], np.cumsum(0.5 * step * (slope[1:] + slope[:-1]))])
    assert cl.lean_height(x[::2000], joint, 0.004) == pytest.approx(height[::2000], abs=1e-9)
    assert cl.lean_height([0.39, 0.5], joint, 0.004).tolist() == [0.0, 0.0]


def test_fall_away_by_hand():
    """0.2 mm at 460 mm, from 400 mm on: half of it at 430 mm, none before."""
    assert cl.fall_away([0.3, 0.43, 0.46], 0.4, 0.46, 0.2e-3) == pytest.approx([0.0, 0.1e-3, 0.2e-3])
    line = cl.crown_line([0.0, 0.46], 0.4, 0.004, single=[0.0, 0.05e-3], fall=[0.0, 0.2e-3])
    assert line == pytest.approx([0.32e-3, -0.15e-3])
    with pytest.raises(RangeError, match="length of the fall"):
        cl.fall_away(0.3, 0.46, 0.46, 1e-4)
