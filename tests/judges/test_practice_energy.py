"""Forces of the practice instrument are the slopes of an energy written here from geometry alone.

Slopes by central differences; the step leaves about 1e-6 of the size of each slope.
"""

from __future__ import annotations

from math import cos, sin, sqrt

import numpy as np
import pytest

from setwright.practice.hidden import Hidden, Spread
from setwright.practice.instrument import Practice
from setwright.practice.physics import DOWN, Stage, slopes
from setwright.practice.told import hello

STEPS = (1e-6, 1e-6, 1e-6)  # rad, 1/m, rad
STRONG = Hidden(edge=2e-3, lean=0.5, twist=8.0, taper=0.4, knife=0.0, nut=0.0, seat=0.0)


def place(aft, up, body, tilt):
    """A point of the plate over (pivot x, pivot line)."""
    return aft * cos(tilt) - up * sin(tilt), body.plate.edge * tilt + aft * sin(tilt) + up * cos(tilt)


def energy(body, state, tilt, bow, side):
    """Potential energy, cold and without friction [N m]."""
    stem, plate = body.stem, body.plate
    total = 0.5 * stem.stiffness * bow**2 + stem.bow_push * bow + 0.5 * stem.side_stiffness * side**2
    for w, whole in zip(body.wires, state.whole, strict=True):
        x, y = place(w.aft, w.up, body, tilt)
        nut_x = w.nut_x - plate.pivot_x + stem.natural[0] + bow * stem.rise[0] + side * w.nut_z
        nut_y = w.nut_y - w.pivot_y + stem.natural[1] + bow * stem.rise[1] + side * stem.twist * w.nut_z
        length = sqrt((x - nut_x) ** 2 + (y - nut_y) ** 2 + w.aside**2)
        strain = max(0.0, (length + w.tail + w.behind) / whole - 1.0)
        total += w.axial * whole * (strain**2 / 2.0 + w.curve * strain**3 / 3.0)
    for spring, where in zip(body.coils, state.hung, strict=False):  # numbers from 0 on
        at = body.places[where]
        x, y = place(at.aft, at.up, body, tilt)
        far_x = plate.claw_x + state.claw * cos(plate.claw_angle) - plate.pivot_x
        far_y = plate.claw_y + state.claw * sin(plate.claw_angle) - at.pivot_y
        over = sqrt((far_x - x) ** 2 + (far_y - y) ** 2 + at.aside**2) - spring.free
        if over > 0.0:
            total += spring.initial * over + 0.5 * spring.rate * over**2
        else:
            total += spring.initial * over + 0.5 * spring.closed_rate * over**2
    x, y = place(*plate.centre, body, tilt)
    down = DOWN[state.attitude]
    return total - plate.mass * 9.80665 * (down[0] * x + down[1] * y)


def instrument(seed, hidden=STRONG):
    practice = Practice(hello(seed), seed, hidden, Spread())
    return practice._body, practice.truth.state


@pytest.mark.parametrize("attitude", DOWN)
@pytest.mark.parametrize("seed", range(6))
def test_forces_are_slopes_of_the_energy(seed, attitude):
    body, state = instrument(seed)
    at = (state.tilt + 0.03, state.bow + 1e-3, state.side + 1e-4)
    state = type(state)(
        *(
            getattr(state, name) if name not in ("attitude", "warm") else {"attitude": attitude, "warm": 0.0}[name]
            for name in state.__slots__
        )
    )
    found = slopes(Stage(body, state), *at)
    for n, got in enumerate((found.t, found.b, found.s)):
        ahead, back = list(at), list(at)
        ahead[n] += STEPS[n]
        back[n] -= STEPS[n]
        slope = (energy(body, state, *ahead) - energy(body, state, *back)) / (2.0 * STEPS[n])
        assert got == pytest.approx(slope, rel=1e-5, abs=1e-6)


@pytest.mark.parametrize("grip", [0.0, 0.3])
@pytest.mark.parametrize("seed", range(4))
def test_second_derivatives_follow_the_forces(seed, grip):
    body, state = instrument(seed, Hidden(nut=grip, lean=0.5, edge=1e-3))
    at = (state.tilt + 0.02, state.bow, state.side)
    stage = Stage(body, state)
    here = slopes(stage, *at)
    table = np.array([[here.tt, here.tb, here.ts], [here.tb, here.bb, here.bs], [here.ts, here.bs, here.ss]])
    for n in range(3):
        ahead, back = list(at), list(at)
        ahead[n] += 1e-6
        back[n] -= 1e-6
        change = (np.array(slopes(stage, *ahead)[:3]) - np.array(slopes(stage, *back)[:3])) / 2e-6
        assert table[n] == pytest.approx(change, rel=1e-5, abs=2e-3)
