"""Strings: construction, path, partials; the pitch-to-tension root against 40 digits."""

import mpmath
import numpy as np
import pytest

from setwright.physics import construction, pulls, strings

D, LENGTH = 0.2286e-3, 0.6477
MASS, AXIAL, BENDING = strings.plain_unit_mass(D), strings.plain_axial(D), strings.plain_bending(D)


def test_plain_string_by_hand():
    """.009: area A = 4.10433e-8 m2; 7806 A = 3.20384e-4 kg/m; EA = 8208.66 N; EI = EA d^2/16 = 2.68105e-5 N m2."""
    assert pytest.approx(3.20384e-4, rel=2e-6) == MASS
    assert pytest.approx(8208.66, rel=2e-6) == AXIAL
    assert pytest.approx(2.68105e-5, rel=2e-6) == BENDING


def test_hexagon_against_its_six_triangles():
    """Side a = s/sqrt(3): area of six triangles; second moment by summing a fine grid of points inside."""
    s = 0.5e-3
    triangle = np.sqrt(3.0) / 4.0 * (s / np.sqrt(3.0)) ** 2
    assert construction.core_area(s, "hex") == pytest.approx(6.0 * triangle, rel=1e-12)
    n = 1500
    u = (np.arange(n) + 0.5) / n * 2.0 - 1.0
    y, z = np.meshgrid(u * 0.6 * s, u * 0.6 * s)
    inside = np.ones_like(y, dtype=bool)
    for angle in np.radians([0.0, 60.0, 120.0]):
        inside &= np.abs(y * np.cos(angle) + z * np.sin(angle)) <= s / 2.0
    cell = (1.2 * s / n) ** 2
    assert construction.core_bending(s, "hex", 200e9) / 200e9 == pytest.approx((y[inside] ** 2).sum() * cell, rel=2e-3)
    assert construction.core_axial(s, "hex", 200e9) == pytest.approx(inside.sum() * cell * 200e9, rel=2e-3)


def test_round_wrap_against_the_helix():
    """Core 0.4 mm, wrap wire 0.3 mm, touching: 1/0.3e-3 turns per metre, each the length of its helix."""
    core, wire = 0.4e-3, 0.3e-3
    turn = np.hypot(np.pi * (core + wire), wire)
    wrap = 8900.0 * np.pi / 4.0 * wire**2 * turn / wire
    got = construction.wound_unit_mass(core, core + 2.0 * wire, 8900.0) - construction.plain_unit_mass(core)
    assert got == pytest.approx(wrap, rel=1e-2)
    assert got < wrap


def test_load_and_margin():
    """.009 at 393 ksi: 111.2 N; 58.0 N uses 52 % of it."""
    breaking = strings.breaking_load(D)
    assert breaking == pytest.approx(393.0 * 6.894757e6 * 4.10433e-8, rel=1e-5)
    assert strings.breaking_margin(58.0, breaking) == pytest.approx(0.5215, abs=2e-4)
    assert strings.stress(58.0, D) == pytest.approx(58.0 / 4.10433e-8, rel=1e-5)
    assert strings.breaking_load(0.4e-3, "hex") > strings.breaking_load(0.4e-3)


def test_whole_path_by_lock_and_clamp():
    got = strings.whole_path(0.65, 0.1, 0.02, [False, True, False, True], [False, False, True, True])
    assert got == pytest.approx([0.77, 0.67, 0.75, 0.65])


def test_tension_is_zero_when_slack():
    assert strings.tension_from_stretch([0.6, 0.65, 0.6565], 0.65, 1e4) == pytest.approx([0.0, 0.0, 100.0])


@pytest.mark.parametrize("axial", [50.0, 2e3, 8.2e3, 1e6, 1e8])
@pytest.mark.parametrize("bending", [0.0, 2.7e-5, 2e-3])
def test_root_against_forty_digits(axial, bending):
    """The quadratic solved by mpmath in 40 digits; 1e-13 relative, also where EA dwarfs the tension by 1e6. Where
    bending takes nearly all of the pitch the subtraction is in the physics: its condition number is allowed for."""
    hertz, mass, length = 110.0, 4e-4, 0.6477
    with mpmath.workdps(40):
        a, f, m, ell = (mpmath.mpf(v) for v in (axial, hertz, mass, length))
        b = mpmath.pi**2 * mpmath.mpf(bending) / ell**2
        q = 4 * ell**2 * f**2 * m
        want = (-(a + b) + mpmath.sqrt((a + b) ** 2 - 4 * a * (b - q))) / 2
        condition = float(q / (q - b))
        error = float(abs(strings.tension_at_pitch(hertz, length, mass, axial, bending) - want) / want)
    assert error < 1e-13 * condition


def test_partials_spread_with_stiffness():
    """B = 0.01 pinned: partial 3 over three times the first = sqrt(1.09/1.01)."""
    bending = 0.01 * 60.0 * LENGTH**2 / np.pi**2
    third = strings.partial(3.0, 60.0, LENGTH, MASS, AXIAL, bending)
    first = strings.first_partial(60.0, LENGTH, MASS, AXIAL, bending)
    assert third / (3.0 * first) == pytest.approx(np.sqrt(1.09 / 1.01), rel=1e-12)
    assert strings.inharmonicity(60.0, LENGTH, bending) == pytest.approx(0.01, rel=1e-12)
    clamped = strings.first_partial(60.0, LENGTH, MASS, AXIAL, BENDING, "clamped")
    assert 1.0 < clamped / strings.first_partial(60.0, LENGTH, MASS, AXIAL, BENDING) < 1.003


def test_stretching_costs_mass_per_metre():
    """By hand: 82.087 N on EA 8208.7 N stretches by 1 %; f = sqrt(82.087 x 1.01 / mu) / 2L."""
    want = np.sqrt(0.01 * AXIAL * 1.01 / MASS) / (2.0 * LENGTH)
    assert strings.first_partial(0.01 * AXIAL, LENGTH, MASS, AXIAL, 0.0) == pytest.approx(want, rel=1e-13)


def test_batches_broadcast():
    tension = np.full((5, 1, 6), 60.0)
    got = strings.first_partial(tension, np.full((3, 1), LENGTH), MASS, np.full(6, AXIAL), BENDING)
    assert got.shape == (5, 3, 6)
    assert got.dtype == np.float64
    assert strings.end_factor(np.zeros(4)).tolist() == [1.0] * 4


def test_bend_of_nothing_is_nothing():
    assert pulls.bend_cents(0.0, 60.0, AXIAL) == 0.0
    assert pulls.bend_force(0.0, 60.0, AXIAL) == 0.0


def test_grip_of_the_nut():
    """exp(0.1) = 1.1051709; with no grip the string is one piece; a slack string has no tension whatever the grip."""
    assert pulls.tension_behind(100.0, 0.1) == pytest.approx(110.51709)
    one = strings.unstretched_for_tension(0.75, 60.0, AXIAL)
    assert pulls.unstretched_over_nut(60.0, 0.65, 0.1, AXIAL, 0.0) == pytest.approx(one, rel=1e-14)
    assert pulls.tension_over_nut([0.75, 0.8], 0.65, 0.1, AXIAL, 0.2).tolist() == [0.0, 0.0]
