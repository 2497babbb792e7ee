"""Odd partials of the open string in a harmonic: a sum of both strings' notes, the open one so many decibels below."""

from dataclasses import replace

import numpy as np
import pytest

from setwright.listening.leaks import odd_left
from setwright.listening.notes import Note, measure
from setwright.listening.sound import Sound
from setwright.practice.sound import harmonic, play
from setwright.practice.takes import BASS, GUITAR, string_at

pytestmark = pytest.mark.slow

RATE = 24000.0


def sound_of(strings, number, below, kind="harmonic", noise=1e-4, seconds=1.2):
    """The octave of a string, with the open string, or one of the others, so many dB below it."""
    opened = replace(string_at(strings, number, 0.0), seconds=seconds, rate=RATE, level=-10.0)
    held = replace(string_at(strings, number, 12.0, 3.0), seconds=seconds, rate=RATE, level=-10.0)
    high = harmonic(opened, 2) if kind == "harmonic" else held
    samples = play(high, 1)
    if below is not None:
        samples = samples + 10.0 ** (-below / 20.0) * play(opened, 2)
    return Sound(samples + noise * np.random.default_rng(number).standard_normal(len(samples)), RATE)


@pytest.mark.parametrize(("strings", "number"), [(GUITAR, 6), (GUITAR, 1), (BASS, 4)])
@pytest.mark.parametrize("below", [40.0, 60.0])
def test_what_is_left_of_the_open_string_is_heard(strings, number, below):
    sound = sound_of(strings, number, below)
    note = measure(sound)
    assert note.refused is None
    assert note.first_partial == pytest.approx(2.0 * strings[number - 1][0], rel=0.005)
    assert odd_left(sound, note) is True


@pytest.mark.parametrize("kind", ["harmonic", "fretted"])
def test_without_it_nothing_is(kind):
    sound = sound_of(GUITAR, 5, None, kind)
    assert odd_left(sound, measure(sound)) is False


def test_another_string_that_rings_along_is_not_taken_for_it():
    # string 1 at fret 12, 659.3 Hz; string 6 rings along, whose partials 4, 12 and 20 lie at 1/2, 3/2 and 5/2 of it
    sound = sound_of(GUITAR, 1, None, "fretted")
    low = play(replace(string_at(GUITAR, 6, 0.0), seconds=1.2, rate=RATE, level=-30.0), 3)
    both = Sound(sound.samples + low, RATE)
    assert odd_left(both, measure(sound)) is not True


def test_noise_and_short_notes_do_not_let_it_be_told():
    sound = sound_of(GUITAR, 5, None, noise=0.03)
    assert odd_left(sound, measure(sound)) is None
    sound = sound_of(GUITAR, 5, 40.0)
    note = measure(sound)
    assert odd_left(sound, replace(note, used=(0.1, 0.3))) is None
    assert odd_left(sound, replace(note, fundamental=12.0)) is None
    assert odd_left(sound, Note(0.0, 1.0, refused="too short")) is None


def test_too_few_lines_below_half_the_rate_prove_nothing():
    opened = replace(string_at(GUITAR, 1, 0.0), fundamental=1500.0, inharmonicity=0.0, seconds=1.0, rate=8000.0)
    sound = Sound(play(replace(opened, fundamental=3000.0), 1) + 0.01 * play(opened, 2), 8000.0)
    note = Note(0.0, 1.0, (0.03, 1.0), 3000.0, 0.1, 3000.0, 0.1, 0.0)
    assert odd_left(sound, note) is None
