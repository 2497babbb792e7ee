"""Notes on a fixed bridge and their derivatives against high-precision arithmetic."""

from __future__ import annotations

from dataclasses import replace

import mpmath
import numpy as np
import pytest

from setwright.physics import fretting
from setwright.physics.frets import fret_position
from tests.judges import plain_fretting
from tests.judges.usual import AXIAL, BENDING, HERTZ, UNIT_MASS

STRINGS, FRETS = 6, 14
CONTACTS = ("nut_x", "nut_y", "saddle_x", "saddle_y", "aside")
OWN = ("unit_mass", "axial", "bending", "dead", "unstretched")


def instrument(seed: int):
    """A neck with relief and uneven frets, six steel strings, fingers of every kind."""
    rng = np.random.default_rng(seed)
    x = np.tile(fret_position(0.6477, np.arange(1, FRETS + 1)), (STRINGS, 1))
    y = 0.002 * (0.39 - x) ** 2 + rng.normal(0.0, 5e-5, x.shape)
    at = fretting.layout(
        np.zeros(STRINGS),
        y[:, 0] + rng.uniform(3e-4, 8e-4, STRINGS),
        x,
        y,
        0.6477 + rng.uniform(0.0, 4e-3, STRINGS),
        rng.uniform(2.5e-3, 5e-3, STRINGS),
        rng.uniform(-9e-3, 9e-3, STRINGS),
    )
    place = rng.uniform(0.3, 0.95, x.shape)
    depth = rng.choice([0.0, 4e-4, 9e-4], x.shape)
    return at, fretting.wires(UNIT_MASS, AXIAL, BENDING, rng.uniform(0.0, 0.2, STRINGS)), place, depth


def held(at, strings, s, kit=float):
    """One string of a layout as plain numbers."""
    turn = (lambda v: [kit(float(x)) for x in v]) if kit is not float else list
    out = {n: kit(float(getattr(at, n)[s])) for n in CONTACTS}
    out |= {n: kit(float(np.broadcast_to(getattr(strings, n), (STRINGS,))[s])) for n in OWN}
    return plain_fretting.Held(crown_x=turn(at.crown_x[s]), crown_y=turn(at.crown_y[s]), **out)


@pytest.mark.parametrize("ends", ["pinned", "clamped", "clamped-pinned"])
def test_cents(ends):
    """1e-9 cents: the stretch is a small difference of two lengths, rounding is magnified 200-fold."""
    at, strings, place, depth = instrument(3)
    strings = fretting.at_pitch(at, strings, HERTZ, ends)
    got = fretting.fretted_notes(at, strings, place, depth, ends)
    assert np.abs(got.open_hertz / HERTZ - 1.0).max() < 1e-13
    with mpmath.workdps(40):
        for s in range(STRINGS):
            one = held(at, strings, s, mpmath.mpf)
            for n in range(FRETS):
                want = plain_fretting.cents(one, n + 1, float(place[s, n]), float(depth[s, n]), ends, mpmath)
                assert abs(float(want) - got.cents[s, n]) < 1e-9


def moved_one(one, name, index, by):
    """The string with one of its inputs changed."""
    if index is None:
        return replace(one, **{name: getattr(one, name) + by})
    new = list(getattr(one, name))
    new[index] = new[index] + by
    return replace(one, **{name: new})


@pytest.mark.slow
@pytest.mark.parametrize("mode", ["pegs", "pitch"])
@pytest.mark.parametrize("ends", ["pinned", "clamped-pinned"])
def test_derivatives(ends, mode):
    """1e-8 of the derivative, or of a hundredth of the largest of its kind where one is almost zero."""
    at, strings, place, depth = instrument(11)
    strings = fretting.at_pitch(at, strings, HERTZ, ends)
    ours = fretting.slopes(at, strings, place, depth, ends, mode)
    notes = [(0, 0), (1, 1), (2, 4), (4, 11), (5, 13)]
    names = [(n, None) for n in (*CONTACTS, *OWN)]
    names += [(axis, m) for axis in ("crown_x", "crown_y") for m in range(FRETS)]
    with mpmath.workdps(50):
        for s, n in notes:
            one = held(at, strings, s, mpmath.mpf)
            pitch = mpmath.mpf(float(HERTZ[s]))
            finger = (mpmath.mpf(float(place[s, n])), mpmath.mpf(float(depth[s, n])))

            def value(string, hertz, where, below, n=n):
                wound = plain_fretting.wind(string, hertz, ends, mpmath) if mode == "pitch" else string
                return plain_fretting.cents(wound, n + 1, where, below, ends, mpmath)

            for name, m in names:
                h = mpmath.mpf(10) ** -18 * max(abs(getattr(one, name)) if m is None else 1, mpmath.mpf(10) ** -6)
                up, down = (value(moved_one(one, name, m, sign * h), pitch, *finger) for sign in (1, -1))
                want, whole = float((up - down) / (2 * h)), getattr(ours, name)
                got = whole[s, n] if m is None else whole[s, n, m]
                assert abs(got - want) <= 1e-8 * max(abs(want), 1e-2 * np.abs(whole).max(), 1e-12), (name, m, s, n)
            h = mpmath.mpf(10) ** -18
            where, below = finger
            by_place = (value(one, pitch, where + h, below) - value(one, pitch, where - h, below)) / (2 * h)
            assert ours.place[s, n] == pytest.approx(float(by_place), rel=1e-8, abs=1e-7)
            by_depth = (value(one, pitch, where, below + h) - value(one, pitch, where, below - h)) / (2 * h)
            assert ours.depth[s, n] == pytest.approx(float(by_depth), rel=1e-8, abs=1e-7)
            if mode == "pitch":
                by_hertz = (value(one, pitch + h, *finger) - value(one, pitch - h, *finger)) / (2 * h)
                assert ours.hertz[s, n] == pytest.approx(float(by_hertz), rel=1e-8)
            else:
                assert ours.hertz[s, n] == 0.0
