"""Pitch and materials: values known from definitions, names, broadcasting."""

import numpy as np
import pytest

from setwright.physics import materials, pitch


@pytest.mark.parametrize(
    ("name", "number", "hertz"),
    [  # frequencies: twelfth-root tables at A4 = 440 Hz, six digits
        ("A4", 69, 440.0),
        ("E4", 64, 329.628),
        ("B3", 59, 246.942),
        ("G3", 55, 195.998),
        ("D3", 50, 146.832),
        ("A2", 45, 110.0),
        ("E2", 40, 82.4069),
        ("C4", 60, 261.626),
        ("E1", 28, 41.2034),
        ("B0", 23, 30.8677),
    ],
)
def test_notes(name, number, hertz):
    assert pitch.note_number(name) == number
    assert pitch.note_name(number) == name
    assert pitch.note_frequency(number) == pytest.approx(hertz, rel=5e-6)  # six digits


@pytest.mark.parametrize(("text", "number"), [("F#3", 54), ("Gb3", 54), (" g♭3 ", 54), ("B♯2", 48), ("C-1", 0)])
def test_spellings(text, number):
    assert pitch.note_number(text) == number


def test_names_by_choice():
    assert pitch.note_name(46) == "A#2"
    assert pitch.note_name(46, flats=True) == "Bb2"
    assert [pitch.note_number(pitch.note_name(n)) for n in range(132)] == list(range(132))


def test_known_cents():
    """1 Hz at A3 is 7.8514 cents, at E4 5.2441; 330 Hz stands 1.955 cents over E4 (recomputed from a remark)."""
    assert pitch.cents(221.0, 220.0) == pytest.approx(7.8514, abs=5e-5)
    e4 = 329.6275569
    assert pitch.cents(e4 + 1.0, e4) == pytest.approx(5.2441, abs=5e-5)
    assert pitch.cents(330.0, e4) == pytest.approx(1.955, abs=5e-4)
    assert pytest.approx(1731.2340490667561, rel=1e-14) == pitch.CENTS_PER_LOG


def test_nearest_note_and_reference():
    number, off = pitch.nearest_note([82.0, 440.0, 445.0])
    assert number.tolist() == [40.0, 69.0, 69.0]
    assert off == pytest.approx([-8.5694, 0.0, 19.5623], abs=1e-3)
    assert pitch.nearest_note(442.0, 442.0)[1] == pytest.approx(0.0, abs=1e-12)
    assert pitch.ratio_from_cents(1200.0) == 2.0


def test_broadcasts():
    assert pitch.note_frequency([[40, 45], [50, 55]], [[440.0], [442.0]]).shape == (2, 2)
    assert pitch.cents(np.ones((3, 1)) * 100.0, np.ones(4) * 50.0).shape == (3, 4)


def test_strength_falls_with_diameter_between_the_rows():
    d = np.geomspace(0.004, 0.25, 500) * 0.0254
    assert np.all(np.diff(materials.music_wire_strength(np.clip(d, d[0], 0.25 * 0.0254))) < 0.0)
    assert set(materials.WRAPS) == {"nickel-plated steel", "nickel", "stainless steel", "bronze"}
    assert all(7000.0 < w.density < 9000.0 and 0.0 < w.uncertainty < 150.0 for w in materials.WRAPS.values())


def test_tables_are_closed():
    with pytest.raises(TypeError):
        materials.WRAPS["lead"] = materials.WrapMaterial(11340.0, 1.0)
