"""A string on a moving bridge against the exact characteristic equation, solved with mpmath.

An ideal string (mass 1, length 1, tension c^2 = (2 f0)^2), fixed at one end, at the other on a mass M with spring
M w_b^2 and dashpot M w_b / Q: M (w_b^2 - w^2) + i w M w_b / Q + c w cot(w / c) = 0 for motion e^(i w t).
The string's own loss of 0.01 / s is not in it; a mode takes it by its share of the string.
"""

from dataclasses import replace

import mpmath
import numpy as np
import pytest

from setwright.practice.sound import Pluck, first_of, partials_of, play, truth
from setwright.practice.sound_body import Resonance, first_with_body, modes_with_body, on_body

STRING = Pluck(110.0, inharmonicity=0.0, loss=0.01, loss_square=0.0, seconds=0.5)


def root(body, hertz, loss):
    """Complex frequency near a guess [Hz, 1/s], the equation times sin(w / c) -> its frequency [Hz] and loss [1/s]."""
    c, turn = mpmath.mpf(220), 2 * mpmath.pi * body.hertz

    def balance(w):
        bridge = body.mass * (turn**2 - w**2 + 1j * w * turn / body.quality)
        return bridge * mpmath.sin(w / c) + c * w * mpmath.cos(w / c)

    guess = mpmath.mpc(2.0 * np.pi * hertz, loss)
    w = mpmath.findroot(balance, (guess, guess * (1 + 1e-6)), tol=1e-12)
    return float(w.real / (2 * mpmath.pi)), float(w.imag)


@pytest.mark.parametrize(
    "body",
    [Resonance(100.0, 30.0, 300.0), Resonance(118.0, 15.0, 150.0), Resonance(230.0, 40.0, 500.0)],
)
def test_frequencies_and_losses_are_those_of_the_exact_equation(body):
    modes = modes_with_body(STRING, body)
    order = np.argsort(modes.hertz)
    for k in order[:6]:
        hertz, loss = root(body, modes.hertz[k] + 0.01, 1.1 / modes.decay[k])
        assert 1200.0 * np.log2(modes.hertz[k] / hertz) == pytest.approx(0.0, abs=0.002)
        assert 1.0 / modes.decay[k] - 0.01 * modes.follow[k] == pytest.approx(loss, rel=1e-3, abs=1e-5)


def test_a_heavy_body_leaves_the_string_alone():
    heavy = Resonance(5000.0, 30.0, 1e9)
    note = replace(STRING, inharmonicity=1e-4, glide=5.0)
    assert on_body(note, heavy) == pytest.approx(play(note), abs=1e-4)
    assert first_with_body(note, heavy)[0] == pytest.approx(first_of(note), rel=1e-8)
    assert first_with_body(note, heavy)[1] == pytest.approx(truth(note).decay, rel=1e-5)


def test_a_body_below_pushes_up_and_one_above_pulls_down():
    """Two coupled modes repel each other."""
    shift = [1200.0 * np.log2(first_with_body(STRING, Resonance(f, 40.0, 300.0))[0] / 110.0) for f in (95.0, 126.0)]
    assert shift[0] > 1.0
    assert shift[1] < -1.0
    assert first_with_body(STRING, Resonance(108.0, 40.0, 300.0))[1] < 0.1 * truth(STRING).decay


def test_partials_far_up_are_those_of_the_string():
    note = replace(STRING, inharmonicity=1e-4)
    modes, alone = modes_with_body(note, Resonance(100.0, 30.0, 300.0)), partials_of(note)
    assert len(modes.hertz) == len(alone.hertz) + 1
    assert np.array_equal(modes.hertz[41:], alone.hertz[40:])


def test_motion_begins_from_rest():
    """Velocity is zero at the release: the modes' heights and phases add up to nothing there."""
    modes = modes_with_body(STRING, Resonance(118.0, 15.0, 150.0))
    assert (modes.height * np.sin(modes.phase)).sum() == pytest.approx(0.0, abs=1e-6 * np.abs(modes.height).max())
