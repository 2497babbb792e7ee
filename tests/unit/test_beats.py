"""Second tones laid against what one tone leaves over: found again, of the right kind, none alike."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from setwright.listening import tones
from setwright.listening.beats import ANOTHER, AWAY, CENT, LOSSES, PLACES, seconds
from setwright.listening.law import stretch
from setwright.listening.resolved import EXPLAINS
from setwright.listening.tones import Parts, Problem, State

TIMES = np.arange(160) * 0.02
NUMBERS = np.arange(1.0, 7.0)
HERTZ = 110.0 * stretch(NUMBERS, 2e-4)
FALL = 0.7 + 0.1 * NUMBERS
SINCE = 0.03


def problem(bands, kind="one"):
    parts = Parts(
        np.zeros((1, len(TIMES))), np.zeros((6, len(TIMES))), np.zeros(6, dtype=int), np.ones(1), 0.5, np.ones(1)
    )
    given = (np.full(6, 1e-12), np.full(6, 3e-3), parts, SINCE, kind)
    return Problem(TIMES, bands, NUMBERS, HERTZ, np.ones(6), *given)


def heard(kind, split, share, place=0.2):
    """(N, J) bands of two tones by hand, and what one tone explains of them: a straight line through the logarithm."""
    height = 1.0 / NUMBERS
    one = height[:, None] * np.exp(-FALL[:, None] * TIMES)
    at = (np.sin(NUMBERS * np.pi * place) / (NUMBERS * np.sin(np.pi * place))) ** 2 if kind == "pulled" else np.ones(6)
    turn = 2.0 * np.pi * (HERTZ * at)[:, None] * split * CENT * (TIMES + SINCE)
    both = one * (1.0 + share * np.exp(1j * turn))
    log = np.log(np.abs(both)) + 1j * np.unwrap(np.angle(both), axis=1)
    lines = np.array([np.polyval(np.polyfit(TIMES, row, 1), TIMES) for row in log])
    return both, np.exp(lines)


def found(kind, split, share, most=3):
    bands, one = heard(kind, split, share)
    return seconds(problem(bands), State(np.zeros((6, 2), dtype=complex), np.array([0.0, 0.25])), one, most)


@pytest.mark.parametrize("split", [1.0, -1.0, 2.5, -3.5])
@pytest.mark.parametrize("share", [0.2, 0.45])
def test_alike_is_found_again(split, share):
    """Steps of the grid are a quarter; the best is within one of them, on the right side, and well worth a fit."""
    best = max(found("alike", split, share), key=lambda one: one.explains)
    assert best.kind == "alike"
    assert best.split / CENT == pytest.approx(split, rel=0.3)
    assert best.explains > 2.0 * EXPLAINS


def test_a_magnet_is_told_from_a_bridge():
    """It parts the low partials alone; the distance goes with the place, so only its sign is asked for here."""
    best = max(found("pulled", -2.5, 0.4), key=lambda one: one.explains)
    assert best.kind == "pulled"
    assert best.split < 0.0
    assert best.place in PLACES


def test_none_is_like_a_better_one():
    some = [one for one in found("alike", 1.5, 0.4, 4) if one.kind == "alike"]
    assert len(some) <= 4
    for i, one in enumerate(some):
        assert one.loss in LOSSES
        for other in some[:i]:
            ratio = one.split / other.split
            assert not 1.0 / ANOTHER < ratio < ANOTHER or abs(one.place - other.place) >= AWAY


def test_noise_is_no_second_tone():
    """Noise a hundred times what is known of it: none of 96 second tones would take up enough to be worth a fit."""
    bands, one = heard("alike", 1.0, 0.0)
    drawn = np.random.default_rng(3).standard_normal((2, *bands.shape))
    noisy = bands + 0.01 * (drawn[0] + 1j * drawn[1])
    given = replace(problem(noisy), noise=np.full(6, 1e-6))
    some = seconds(given, State(np.zeros((6, 2), dtype=complex), np.array([0.0, 0.25])), one, 3)
    assert max(each.explains for each in some) < EXPLAINS


def test_the_model_agrees():
    """What is laid against the bands to first order is what the model makes of it."""
    bands, _ = heard("alike", 1.0, 0.45)
    two = {"share": np.log(0.45), "turn": 0.0, "loss": 0.0, "split": CENT, "early": 0.0}
    state = State(np.zeros((6, 2), dtype=complex), np.array([0.0, 0.25, *two.values()]))
    over = tones.second(problem(bands, "alike"), state)[0]
    one = (1.0 / NUMBERS)[:, None] * np.exp(-FALL[:, None] * TIMES)
    assert one * (1.0 + over) == pytest.approx(bands, rel=1e-9)
