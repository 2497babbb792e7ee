"""Clearance of plucked strings: by hand, by a string simulated mode by mode, by ensemble and by derivative."""

import numpy as np
import pytest

from setwright.errors import RangeError
from setwright.physics import clearance as cl
from setwright.physics.frets import fret_position

SCALE = 0.648
X = np.concatenate([[0.0], fret_position(SCALE, np.arange(1, 23))])
PLUCK, AMPLITUDE = 0.13, 0.9e-3


def stops(relief_bow=0.003, single=0.0):
    """Nut slot 0.45 mm over the line of crowns, a neck bowed up to fret 16, the saddle 4 mm over that line."""
    crowns = cl.crown_line(X, X[16], relief_bow, 0.0006, single)
    crowns[..., 0] += 0.45e-3
    return crowns


def modal_lowest(share, place, modes=1000, instants=801):
    """Lowest point over one period of a string of length 1 pulled UP by 1 at 1 - place from the stop and let go, as the
    sum of its modes, y = sum b_n sin(n pi u) cos(2 pi n t), b_n = 2 sin(n pi q) / (n^2 pi^2 q (1 - q))."""
    n = np.arange(1, modes + 1)
    q = 1.0 - place
    b = 2.0 * np.sin(n * np.pi * q) / (n**2 * np.pi**2 * q * (1.0 - q))
    shapes = np.sin(np.pi * np.outer(share, n)) * b
    return (shapes @ np.cos(2.0 * np.pi * np.outer(n, np.linspace(0.0, 1.0, instants)))).min(axis=1)


@pytest.mark.parametrize("stop", [0, 1, 5, 12, 15])
def test_map_agrees_with_a_string_simulated_mode_by_mode(stop):
    """Static line by interpolation, motion by 1,000 modes: within 1e-3 of the amplitude at every fret ahead."""
    y, saddle = stops(), 4e-3
    ahead = np.arange(stop + 1, 23)
    speaking = SCALE - X[stop]
    low = modal_lowest((X[ahead] - X[stop]) / speaking, PLUCK / speaking)
    line = np.interp(X[ahead], [X[stop], SCALE], [y[stop], saddle])
    got = cl.clearance_map(X, y, SCALE, saddle, PLUCK, AMPLITUDE)[stop, ahead]
    assert np.abs(got - (line + AMPLITUDE * low - y[ahead])).max() < 1e-3 * AMPLITUDE
    wrong = cl.clearance_map(X, y, SCALE, saddle, PLUCK, AMPLITUDE, "towards")[stop, ahead]
    assert np.abs(wrong - (line + AMPLITUDE * low - y[ahead])).max() > 0.05 * AMPLITUDE


def test_pushed_towards_the_board_is_the_triangle_itself():
    """The simulated string let go from below dips as it first stood; "either" is the deeper of both."""
    u = np.linspace(0.02, 0.98, 25)
    assert cl.dip(u, 0.25, "towards") == pytest.approx(-modal_lowest(1.0 - u, 0.25), abs=1e-3)
    both = np.maximum(cl.dip(u, 0.25), cl.dip(u, 0.25, "towards"))
    assert cl.dip(u, 0.25, "either").tolist() == both.tolist()


def test_dip_by_hand():
    """Plucked a fifth from the saddle: full depth a fifth from the stop, half of it a tenth, 0.5 at six tenths."""
    assert cl.dip([0.0, 0.1, 0.2, 0.6, 1.0], 0.2) == pytest.approx([0.0, 0.5, 1.0, 0.5, 0.0])


def test_amplitude_of_a_force_by_hand():
    """1 N at a fifth of 648 mm under 80 N: 0.16 x 648 / 80 = 1.296 mm; the force comes back."""
    amplitude = cl.pluck_amplitude(1.0, 0.2, SCALE, 80.0)
    assert amplitude == pytest.approx(1.296e-3, rel=1e-12)
    assert cl.pluck_force(amplitude, 0.2, SCALE, 80.0) == pytest.approx(1.0, rel=1e-12)


def test_map_by_hand():
    """Three stops at 0, 100, 200 mm, saddle at 400 mm and 2 mm up, crowns at 0; plucked 100 mm from the saddle by 1 mm.
    Stop 0, nut at 0.5 mm: over 100 mm line 0.875, dip 1 (p = 1/4, u = 1/4): -0.125 mm; over 200 mm 1.25 - 2/3. Stop 1
    (p = 1/3, u = 1/3): 2/3 - 1."""
    got = cl.clearance_map([0.0, 0.1, 0.2], [0.5e-3, 0.0, 0.0], 0.4, 2e-3, 0.1, 1e-3)
    assert got[0, 1:] == pytest.approx([-0.125e-3, 0.58333333e-3], abs=1e-11)
    assert got[1, 2] == pytest.approx(-0.33333333e-3, abs=1e-11)
    assert np.isinf(got[np.tril_indices(3)]).all()
    found = cl.least(got)
    assert (int(found.stop), int(found.ahead)) == (1, 2)


def test_a_high_fret_is_what_the_string_meets():
    single = np.zeros(23)
    single[9] = 0.25e-3
    found = cl.least(cl.clearance_map(X, stops(single=single), SCALE, 4.2e-3, PLUCK, 0.3e-3))
    assert int(found.ahead) == 9
    assert int(found.stop) == 8


def test_shapes_and_batch():
    """(batch, string, stop): the same numbers as one by one."""
    rng = np.random.default_rng(1)
    y = stops() + 2e-5 * rng.standard_normal((4, 3, 23))
    saddle = np.array([4e-3, 4.2e-3, 4.4e-3])
    amplitude = np.array([0.6e-3, 0.8e-3, 1e-3])[:, None]
    got = cl.clearance_map(X, y, SCALE, saddle, PLUCK, amplitude)
    assert got.shape == (4, 3, 23, 23)
    one = cl.clearance_map(X, y[2, 1], SCALE, saddle[1], PLUCK, amplitude[1])
    assert np.array_equal(got[2, 1], one)
    assert cl.least(got).stop.shape == (4, 3)
    assert cl.rise_to_clear(got, X, np.full(3, SCALE), 0.05e-3).clearance.shape == (4, 3)
    found = cl.least(got)
    assert cl.sensitivity(found, X, SCALE, PLUCK).stops.shape == (4, 3, 23)


def test_derivative_against_differences():
    """Central differences of the least clearance by every height and by the amplitude."""
    y, saddle = stops(), 4e-3

    def lowest(y, saddle, amplitude):
        return cl.least(cl.clearance_map(X, y, SCALE, saddle, PLUCK, amplitude)).clearance

    by = cl.sensitivity(cl.least(cl.clearance_map(X, y, SCALE, saddle, PLUCK, AMPLITUDE)), X, SCALE, PLUCK)
    step = 1e-8
    moved = step * np.eye(23)
    numeric = (lowest(y + moved, saddle, AMPLITUDE) - lowest(y - moved, saddle, AMPLITUDE)) / (2.0 * step)
    assert by.stops == pytest.approx(numeric, abs=1e-6)
    numeric = (lowest(y, saddle + step, AMPLITUDE) - lowest(y, saddle - step, AMPLITUDE)) / (2.0 * step)
    assert by.saddle == pytest.approx(numeric, abs=1e-6)
    numeric = (lowest(y, saddle, AMPLITUDE + step) - lowest(y, saddle, AMPLITUDE - step)) / (2.0 * step)
    assert by.amplitude == pytest.approx(numeric, abs=1e-6)


def test_uncertainty_by_derivative_against_an_ensemble():
    """20,000 draws with uncertainties small beside the lead of the closest pair: 3 % is five standard errors."""
    y, saddle = stops(), 4e-3
    y[2] -= 0.2e-3  # one pair clearly closest
    rng = np.random.default_rng(7)
    u_stop, u_saddle, u_amplitude = 5e-6, 10e-6, 20e-6
    many = cl.clearance_map(
        X,
        y + u_stop * rng.standard_normal((20000, 23)),
        SCALE,
        saddle + u_saddle * rng.standard_normal(20000),
        PLUCK,
        AMPLITUDE + u_amplitude * rng.standard_normal((20000, 1)),
    )
    by = cl.sensitivity(cl.least(cl.clearance_map(X, y, SCALE, saddle, PLUCK, AMPLITUDE)), X, SCALE, PLUCK)
    u = cl.least_uncertainty(by, u_stop, u_saddle, u_amplitude)
    assert cl.least(many).clearance.std() == pytest.approx(float(u), rel=0.03)


def test_lowest_saddle_leaves_just_the_margin():
    y = stops()
    pairs = cl.clearance_map(X, y, SCALE, 4e-3, PLUCK, AMPLITUDE)
    rise = cl.rise_to_clear(pairs, X, SCALE, 0.1e-3)
    after = cl.least(cl.clearance_map(X, y, SCALE, 4e-3 + rise.clearance, PLUCK, AMPLITUDE))
    assert after.clearance == pytest.approx(0.1e-3, abs=1e-15)
    assert (after.stop, after.ahead) == (rise.stop, rise.ahead)


def test_hardest_pluck_just_touches():
    """By displacement and by force; 0 where a string lies on a fret at rest."""
    y = stops(0.002)
    rest = cl.clearance_map(X, y, SCALE, 5e-3, PLUCK, 0.0)
    most = cl.hardest_pluck(rest, X, SCALE, PLUCK).clearance
    assert cl.least(cl.clearance_map(X, y, SCALE, 5e-3, PLUCK, most)).clearance == pytest.approx(0.0, abs=1e-15)
    speaking = SCALE - X
    per = cl.pluck_amplitude(1.0, PLUCK / speaking, speaking, 75.0)
    force = cl.hardest_pluck(rest, X, SCALE, PLUCK, per).clearance
    assert cl.least(cl.clearance_map(X, y, SCALE, 5e-3, PLUCK, per * force)).clearance == pytest.approx(0.0, abs=1e-15)
    y[10] += 1e-3
    assert cl.hardest_pluck(cl.clearance_map(X, y, SCALE, 5e-3, PLUCK, 0.0), X, SCALE, PLUCK).clearance == 0.0


def test_refusals():
    y = stops()
    with pytest.raises(RangeError, match="at or before a stopped fret"):
        cl.clearance_map(X, y, SCALE, 4e-3, 0.2, 1e-3)
    with pytest.raises(RangeError, match="do not rise"):
        cl.clearance_map(X[::-1], y, SCALE, 4e-3, PLUCK, 1e-3)
    with pytest.raises(RangeError, match="two or more stops"):
        cl.clearance_map([0.0], [0.0], SCALE, 4e-3, PLUCK, 1e-3)
    with pytest.raises(RangeError, match="pluck force over tension"):
        cl.pluck_amplitude(40.0, 0.2, SCALE, 80.0)
    with pytest.raises(RangeError, match="pulled is 'sideways'"):
        cl.dip(0.5, 0.2, "sideways")
    with pytest.raises(RangeError, match="two equal last axes"):
        cl.least(np.zeros((2, 3)))
    with pytest.raises(RangeError, match="no fret ahead"):
        cl.least(np.full((3, 3), np.inf))
    with pytest.raises(RangeError, match="not a number"):
        cl.least(np.full((3, 3), np.nan))
