"""Strings: round trips, scaling laws, monotonicity, the first-order slope against the model itself."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from setwright.physics import pitch, pulls, strings

diameters = st.floats(0.15e-3, 0.7e-3)
lengths = st.floats(0.3, 0.95)
tensions = st.floats(5.0, 200.0)
behind = st.floats(0.0, 0.25)


@st.composite
def wires(draw):
    """Diameter, unit mass, EA, EI of a plain wire, its stress at most 2 GPa."""
    d = draw(diameters)
    return strings.plain_unit_mass(d), strings.plain_axial(d), strings.plain_bending(d), 2e9 * np.pi * d * d / 4.0


@given(wires(), lengths, tensions)
def test_pitch_and_tension_invert_each_other(wire, length, pull):
    mass, axial, bending, limit = wire
    tension = min(pull, limit)
    f = strings.first_partial(tension, length, mass, axial, bending)
    back = strings.tension_at_pitch(f, length, mass, axial, bending)
    condition = 1.0 + float(strings.inharmonicity(tension, length, bending))
    assert_allclose(back, tension, rtol=1e-12 * condition)


@given(wires(), lengths, tensions)
def test_stretch_and_tension_invert_each_other(wire, length, pull):
    _, axial, _, limit = wire
    tension = min(pull, limit)
    unstretched = strings.unstretched_for_tension(length, tension, axial)
    assert unstretched < length
    # the extension is a small difference of two lengths: rounding is magnified by EA/T
    assert_allclose(strings.tension_from_stretch(length, unstretched, axial), tension, rtol=1e-14 * axial / tension)


@given(wires(), lengths, tensions, st.floats(1.01, 1.5))
def test_pitch_rises_with_tension_and_falls_with_length(wire, length, pull, factor):
    mass, axial, bending, limit = wire
    tension = min(pull, limit) / factor
    f = strings.first_partial(tension, length, mass, axial, bending)
    assert strings.first_partial(tension * factor, length, mass, axial, bending) > f
    assert strings.first_partial(tension, length * factor, mass, axial, bending) < f


@given(wires(), lengths, tensions, st.floats(0.5, 2.0))
def test_scaling_of_the_flexible_string(wire, length, pull, factor):
    """All lengths times s, pitch over s at the same stretch; mass times s^2, pitch over s."""
    mass, axial, _, limit = wire
    tension = min(pull, limit)
    f = strings.first_partial(tension, length, mass, axial, 0.0)
    assert_allclose(strings.first_partial(tension, length * factor, mass, axial, 0.0), f / factor, rtol=1e-12)
    assert_allclose(strings.first_partial(tension, length, mass * factor**2, axial, 0.0), f / factor, rtol=1e-12)
    octave = 4.0 * tension  # flexible and inextensible: four times the tension is the octave
    low, high = (strings.first_partial(t, length, mass, 1e8, 0.0) for t in (tension, octave))
    assert_allclose(high, 2.0 * low, rtol=1e-5)


@given(wires(), lengths, behind, tensions, st.booleans())
def test_first_order_shift_is_the_slope_of_the_model(wire, length, extra, pull, sounding_too):
    mass, axial, _, limit = wire
    tension = min(pull, limit)
    path = length + extra
    unstretched = strings.unstretched_for_tension(path, tension, axial)
    step = 1e-3 * path * tension / axial  # a thousandth of the extension
    grow = 1.0 if sounding_too else 0.0

    def log_pitch(move):
        now = strings.tension_from_stretch(path + move, unstretched, axial)
        return np.log(strings.first_partial(now, length + grow * move, mass, axial, 0.0))

    slope = (log_pitch(step) - log_pitch(-step)) / (2.0 * step)
    assert_allclose(strings.pitch_shift(step, grow * step, tension, axial, path, length) / step, slope, rtol=1e-5)


@given(wires(), lengths, tensions, st.floats(0.005, 0.15))
def test_bend_is_the_direct_stretch_model(wire, length, pull, angle):
    """Longer string, higher tension, thinner spread mass: f = sqrt(T' cos / mu) / 2L, T' = T + EA (1/cos - 1)."""
    mass, axial, _, limit = wire
    tension = min(pull, limit)
    raised = tension + axial * (1.0 / np.cos(angle) - 1.0)
    direct = np.sqrt(raised * np.cos(angle) / mass) / (2.0 * length)
    want = pitch.cents(direct, np.sqrt(tension / mass) / (2.0 * length))
    assert_allclose(pulls.bend_cents(angle, tension, axial), want, rtol=1e-7, atol=1e-7)
    assert pulls.bend_cents(-angle, tension, axial) == pulls.bend_cents(angle, tension, axial)


@given(wires(), lengths, behind, tensions, st.floats(-1.0, 1.0))
def test_grip_round_trip_and_order(wire, length, extra, pull, capstan):
    _, axial, _, limit = wire
    tension = min(pull, limit / np.exp(1.0))
    rest = pulls.unstretched_over_nut(tension, length, extra, axial, capstan)
    back = pulls.tension_over_nut(rest, length, extra, axial, capstan)
    assert_allclose(back, tension, rtol=1e-13 * axial / tension)
    free = pulls.tension_over_nut(rest, length, extra, axial, 0.0)
    assert (free - tension) * capstan >= -1e-9 * tension  # gripped behind: less in front


@given(lengths, behind, behind)
def test_locking_and_clamping_only_shorten(speaking, front, rear):
    full = strings.whole_path(speaking, front, rear, False, False)
    for locked in (False, True):
        for clamped in (False, True):
            assert speaking <= strings.whole_path(speaking, front, rear, locked, clamped) <= full


@given(st.floats(0.1e-3, 2e-3), st.floats(1.1, 3.0), st.sampled_from(["round", "hex"]))
def test_wound_string_lies_between_bare_core_and_solid_metal(core, ratio, shape):
    overall = core * ratio * (1.0 if shape == "round" else 1.1548)
    bare = 7806.0 * strings.core_area(core, shape)
    mass = strings.wound_unit_mass(core, overall, 8900.0, shape)
    assert bare < mass < 8900.0 * np.pi * overall**2 / 4.0


@given(st.floats(20.0, 5000.0))
def test_nearest_note_rebuilds_the_frequency(f):
    number, off = pitch.nearest_note(f)
    assert abs(off) <= 50.0 + 1e-9
    assert_allclose(pitch.note_frequency(number) * pitch.ratio_from_cents(off), f, rtol=1e-12)
