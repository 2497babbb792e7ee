"""A capo on any neck: pitches rise with its fret, firmer is sharper, and nothing of the string is lost."""

from dataclasses import replace

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from setwright.physics import fretting
from setwright.physics.frets import fret_position

STRINGS, FRETS = 3, 14
scales = st.floats(0.56, 0.9)
places = st.floats(0.3, 0.95)
depths = st.floats(0.0, 1e-3)
heights = st.floats(2e-3, 6e-3)


def made(scale, height, bow):
    """Strings over a neck with relief, at pitch."""
    x = np.tile(fret_position(scale, np.arange(1, FRETS + 1)), (STRINGS, 1))
    y = 0.5 * bow * (0.6 * scale - np.minimum(x, 0.6 * scale)) ** 2
    nut_y = 0.5 * bow * (0.6 * scale) ** 2 + 4e-4
    at = fretting.layout(0.0, nut_y, x, y, scale + 2e-3, height, np.array([-4e-3, 0.0, 4e-3]))
    strings = fretting.wires(
        np.array([4e-4, 1.1e-3, 6.8e-3]), np.array([1e4, 2.9e4, 3.1e4]), np.array([4e-5, 3.4e-4, 3.8e-4]), 0.1
    )
    return at, fretting.at_pitch(at, strings, np.array([330.0, 196.0, 82.4]) * 0.648 / scale)


def opened(at, strings, fret, place, depth):
    """First partials with the capo on, and the string behind it."""
    beyond, behind = fretting.capo_layout(at, fret, place, depth)
    return fretting.open_partial(beyond, replace(strings, dead=strings.dead + behind)), behind, beyond


@given(scales, heights, st.floats(0.0, 0.02), places, depths)
def test_pitch_rises_with_the_fret(scale, height, bow, place, depth):
    at, strings = made(scale, height, bow)
    heard = np.array([opened(at, strings, fret, place, depth)[0] for fret in range(1, FRETS)])
    assert (np.diff(heard, axis=0) > 0.0).all()
    assert (heard[0] > fretting.open_partial(at, strings)).all()


@given(scales, heights, st.floats(0.0, 0.02), places, depths, st.integers(1, FRETS - 1))
def test_a_firmer_capo_is_no_flatter(scale, height, bow, place, depth, fret):
    at, strings = made(scale, height, bow)
    light, firm = (opened(at, strings, fret, place, d)[0] for d in (depth, depth + 2e-4))
    assert (firm >= light * (1.0 - 1e-12)).all()


@given(scales, heights, st.floats(0.0, 0.02), places, depths, st.integers(1, FRETS - 1))
def test_the_string_is_the_one_held_by_a_finger_there(scale, height, bow, place, depth, fret):
    at, strings = made(scale, height, bow)
    heard, behind, beyond = opened(at, strings, fret, place, depth)
    held = fretting.held_path(at, place, depth)
    assert_allclose(behind, held.behind[:, fret - 1], rtol=1e-12)
    assert_allclose(behind + fretting.open_length(beyond), held.total[:, fret - 1], rtol=1e-12)
    notes = fretting.fretted_notes(at, strings, place, depth)
    cents = 1200.0 * np.log2(heard / notes.open_hertz) - 100.0 * fret
    assert_allclose(cents, notes.cents[:, fret - 1], atol=1e-7)
    assert beyond.shape == (STRINGS, FRETS - fret)
