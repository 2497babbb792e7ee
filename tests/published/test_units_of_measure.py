"""Sizes of units and pitches against printed tables.

NIST Special Publication 811 (2008), A. Thompson, B. N. Taylor, "Guide for the Use of the International System of
Units", Appendix B.8, doi:10.6028/NIST.SP.811e2008. Factors are printed to seven digits (MEMORY); tolerance 5e-7 of the
factor, half the last digit of the smallest mantissa.
ISO 16:1975, "Acoustics - Standard tuning frequency": A4 = 440 Hz. Frequencies of notes in equal temperament are printed
everywhere to two decimals (MEMORY); tolerance 0.005 Hz, half their last digit.
"""

import pytest

from setwright.units import READERS, read_pitch, show_pitch

NIST = "NIST SP 811 (2008), Appendix B.8"
FACTORS = (
    ("length", "1 in", 2.54e-2, "m"),
    ("length", "1 thou", 2.54e-5, "m"),
    ("length", "1 ft", 3.048e-1, "m"),
    ("force", "1 lb", 4.448222, "N"),
    ("force", "1 kgf", 9.80665, "N"),
    ("rate", "1 lb/in", 1.751268e2, "N/m"),
    ("angle", "1 deg", 1.745329e-2, "rad"),
    ("angle", "1'", 2.908882e-4, "rad"),
    ("mass", "1 lb", 4.535924e-1, "kg"),
    ("mass", "1 oz", 2.834952e-2, "kg"),
    ("unit mass", "1 lb/in", 1.785797e1, "kg/m"),
)
NOTES = (
    ("B0", 30.87), ("E1", 41.20), ("A1", 55.00), ("E2", 82.41), ("Bb2", 116.54), ("D3", 146.83), ("F#3", 185.00),
    ("G3", 196.00), ("B3", 246.94), ("C4", 261.63), ("E4", 329.63), ("A4", 440.00), ("E6", 1318.51),
)  # fmt: skip


@pytest.mark.parametrize(("kind", "text", "size", "unit"), FACTORS)
def test_factors(judged, kind, text, size, unit):
    judged(text, size, READERS[kind](text, "").si, 5.1e-7 * size, unit, NIST, "MEMORY")


@pytest.mark.parametrize(("text", "kelvin"), [("68 F", 293.15), ("32 F", 273.15), ("212 F", 373.15), ("-40 F", 233.15)])
def test_fahrenheit(judged, text, kelvin):
    """T/K = (t/F + 459.67) / 1.8; the four points are exact. 1e-9 K."""
    judged(text, kelvin, READERS["temperature"](text, "").si, 1e-9, "K", NIST + ", footnote on temperature", "MEMORY")


@pytest.mark.parametrize(("name", "hertz"), NOTES)
def test_notes(judged, name, hertz):
    judged(name, hertz, read_pitch(name).si, 0.0051, "Hz", "ISO 16:1975 with equal temperament", "MEMORY")
    assert show_pitch(hertz, 0.02, note=True, flats="b" in name).split()[0] == name


def test_330_hz_against_equal_temperament(judged):
    """330 Hz stands 0.37 Hz above E4. 0.005: the last digit."""
    source = "Anderson, Beausoleil (2024), J. Acoust. Soc. Am. 156(1), 683"
    judged("330 Hz - E4", 0.37, 330.0 - read_pitch("E4").si, 0.005, "Hz", source, "READ")
