"""Hum in a note, against what was put into it."""

from __future__ import annotations

import numpy as np
import pytest

from setwright.listening.hum import hum_of
from setwright.listening.notes import measure
from setwright.listening.sound import Sound
from setwright.practice.sound import Pluck, play, truth

RATE = 8000.0
CENTS = 1200.0 / np.log(2.0)
STRING = Pluck(164.8, inharmonicity=1e-4, rate=RATE, seconds=2.0, loss=1.2, glide=3.0)
PARTIALS = 164.8 * np.arange(1.0, 12.0)


def hum(mains, count, heights=((1, 0.02), (2, 0.004), (3, 0.01))):
    times = np.arange(count) / RATE
    return sum(a * np.sin(2.0 * np.pi * k * mains * times + k) for k, a in heights)


@pytest.mark.parametrize("mains", [50.0, 50.03, 59.95])
def test_lines_are_found_and_taken_out(mains):
    clean = play(STRING)
    there = hum(mains, len(clean))
    got = hum_of(clean + there, RATE, PARTIALS)
    assert got.mains == pytest.approx(mains, rel=5e-5)
    assert list(got.lines) == [1, 2, 3]
    heard = sum(a * np.sin(2.0 * np.pi * k * mains * np.arange(len(clean)) / RATE + k)
                for k, a in ((1, 0.02), (2, 0.004), (3, 0.01)) if k in got.lines)  # fmt: skip
    assert np.std(got.samples - heard) < 0.05 * np.std(heard)
    assert got.power == pytest.approx(np.mean(heard**2), rel=0.05)


def test_there_is_none_in_a_note_nor_in_noise():
    clean = play(STRING)
    noise = 0.01 * np.random.default_rng(2).standard_normal(len(clean))
    assert hum_of(clean, RATE, PARTIALS) is None
    assert hum_of(clean + noise, RATE, PARTIALS) is None
    assert hum_of(noise, RATE, PARTIALS) is None


def test_lines_by_partials_are_left_alone():
    string = Pluck(50.0, rate=RATE, seconds=2.0, loss=0.01, glide=0.0)
    assert hum_of(play(string), RATE, 50.0 * np.arange(1.0, 40.0)) is None


def test_too_short_for_it():
    assert hum_of(hum(50.0, 1500), RATE, PARTIALS) is None


def test_a_note_says_how_far_below_it_the_hum_is():
    clean = play(STRING)
    there = hum(50.0, len(clean))
    note = measure(Sound(clean + there, RATE))
    used = slice(int(note.used[0] * RATE), int(note.used[1] * RATE))
    below = 10.0 * np.log10(np.mean(clean[used] ** 2) / np.mean(there**2))
    assert note.hum == pytest.approx(below, abs=0.1)
    assert abs(CENTS * np.log(note.first_partial / truth(STRING).first_partial)) < 0.01
    assert measure(Sound(clean, RATE)).hum is None
