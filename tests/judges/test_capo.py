"""A capo against the potential energy: all strings held at once, every corner of each moving with neck and plate.

The instrument and the single held string are those of `test_fretting_floating`; here all six are held together, and
one of them once more further up.
"""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest
from scipy.optimize import root

from setwright.physics import fretting
from setwright.physics.balance import unstretched_lengths
from tests.judges import energy, plain_fretting
from tests.judges.test_fretting_floating import DEPTH, PLACE, STEP, HeldString, made, standing
from tests.judges.usual import HERTZ

__all__ = ["made"]  # a fixture


def strung(made, fret):
    return [HeldString(made, string, fret) for string in range(6)]


def frame(one):
    away = {name: list(v) if isinstance(v, list) else v for name, v in one.v.items()}
    away["unstretched"] = [math.nan] * 6
    return energy.One(away)


class Capo:
    """Energy of frame and six strings, one of which may be held further up by a finger as well."""

    def __init__(self, made, fret, string=None, higher=None):
        self.strings = strung(made, fret)
        self.frame = frame(self.strings[0].one)
        self.fret, self.string, self.higher = fret, string, higher
        if string is not None:
            _, state, _ = made
            held = self.strings[string]
            now = held.at(float(state.tilt[0]), float(state.bow[0]))
            beyond = plain_fretting.Held(
                now.crown_x[fret - 1], now.crown_y[fret - 1], now.crown_x[fret:], now.crown_y[fret:],
                now.saddle_x, now.saddle_y, 0.0, now.unit_mass, now.axial, now.bending, now.dead, now.unstretched,
            )  # fmt: skip
            over = higher - fret
            back_y = beyond.nut_y if over == 1 else beyond.crown_y[over - 2]
            line = back_y + PLACE * (beyond.crown_y[over - 1] - back_y)
            self.depth = line - plain_fretting.finger(beyond, over, PLACE, DEPTH)[1]
            x = [beyond.nut_x, *beyond.crown_x]
            self.touched = [
                x.index(at) + fret for at, _ in plain_fretting.polyline(beyond, over, PLACE, DEPTH)[:-3]
            ]  # the first is the capo's crown

    def corners(self, string, now):
        corners = self.strings[string].corners(now)
        if string != self.string:
            return corners
        contacts = list(zip([now.nut_x, *now.crown_x], [now.nut_y, *now.crown_y], strict=True))
        (ax, ay), (bx, by) = contacts[self.higher - 1 : self.higher + 1]
        finger = ax + PLACE * (bx - ax), ay + PLACE * (by - ay) - self.depth
        ahead = [contacts[k] for k in self.touched]
        return [*corners[:-2], *ahead, finger, contacts[self.higher], corners[-1]]

    def pieces(self, string, tilt, bow, kit):
        now = self.strings[string].at(tilt, bow)
        return now, plain_fretting.lengths(now, self.corners(string, now), kit)

    def energy(self, tilt, bow):
        total = energy.energy(self.frame, tilt, bow)
        for string in range(6):
            now, pieces = self.pieces(string, tilt, bow, cmath)
            over = sum(pieces) + now.dead - now.unstretched
            total = total + now.axial * over * over / (2.0 * now.unstretched)
        return total

    def rest(self, state):
        def unbalance(at):
            tilt, bow = at
            by_tilt = self.energy(complex(tilt, STEP), complex(bow)).imag / STEP
            return [by_tilt, self.energy(complex(tilt), complex(bow, STEP)).imag / STEP]

        found = root(unbalance, [float(state.tilt[0]), float(state.bow[0])], tol=1e-14)
        assert np.abs(unbalance(found.x)).max() < 1e-7
        return float(found.x[0]), float(found.x[1])

    def hertz(self, string, tilt, bow):
        now, pieces = self.pieces(string, tilt, bow, math)
        return plain_fretting.first_partial(now, sum(pieces), pieces[-1], "pinned")


def put(made, fret):
    rig, state, _ = made
    return fretting.put_capo(rig, state, *standing(made, state), fret, PLACE, DEPTH)


@pytest.mark.parametrize("fret", [1, 3, 7, 12])
def test_least_energy_with_all_strings_held(made, fret):
    """0.02 cents and 1e-5 rad as for the single string; the plate moves by forty times that."""
    _, state, _ = made
    capo = put(made, fret)
    judge = Capo(made, fret)
    tilt, bow = judge.rest(state)
    got = fretting.fretted_notes_floating(
        capo.rig, capo.rest, *(v[..., fret:] for v in standing(made, capo.rest)), PLACE, DEPTH
    )
    want = [1200.0 * math.log2(judge.hertz(s, tilt, bow) / HERTZ[s]) for s in range(6)]
    assert 1200.0 * np.log2(got.open_hertz[0] / HERTZ) == pytest.approx(want, abs=2e-2)
    assert capo.rest.tilt[0] == pytest.approx(tilt, abs=1e-5)
    assert capo.rest.bow[0] == pytest.approx(bow, abs=5e-6)
    assert abs(tilt - float(state.tilt[0])) > 4e-4


@pytest.mark.parametrize(("string", "higher"), [(0, 3), (2, 7), (5, 5), (5, 14)])
def test_least_energy_of_a_note_beyond_the_capo(made, string, higher):
    """0.03 cents: the fretted string's and the capo's shares of error together."""
    _, state, _ = made
    fret = 2
    capo = put(made, fret)
    got = fretting.fretted_notes_floating(
        capo.rig, capo.rest, *(v[..., fret:] for v in standing(made, capo.rest)), PLACE, DEPTH
    )
    judge, bare = Capo(made, fret, string, higher), Capo(made, fret)
    held, free = judge.hertz(string, *judge.rest(state)), bare.hertz(string, *bare.rest(state))
    want = 1200.0 * math.log2(held / free) - 100.0 * (higher - fret)
    assert got.cents[0, string, higher - fret - 1] == pytest.approx(want, abs=3e-2)


def test_pegs_are_left_alone(made):
    """The string's unstretched length is that of the open string, whatever lies behind the capo."""
    rig, state, _ = made
    capo = put(made, 5)
    assert unstretched_lengths(capo.rig, capo.rest) == pytest.approx(unstretched_lengths(rig, state), rel=1e-12)


def test_one_capo_is_not_one_finger(made):
    """All strings held at once put the plate up further than one: the judge would notice a capo that held only one."""
    rig, state, _ = made
    one = fretting.fretted_notes_floating(rig, state, *standing(made, state), PLACE, DEPTH)
    tilt = put(made, 3).rest.tilt[0] - state.tilt[0]
    assert tilt > 3.0 * (one.tilt[0, :, 2] - state.tilt[0]).max()


def test_a_capo_that_grips_cuts_off_what_lies_behind(made):
    """One string by itself: the part beyond the crown, wound to the capo's pitch as behind a locked nut."""
    rig, state, _ = made
    slides = put(made, 3)
    grips = fretting.put_capo(rig, state, *standing(made, state), 3, PLACE, DEPTH, grips=True)
    assert grips.rest.tension == pytest.approx(slides.rest.tension)
    beyond = [v[..., 3:] for v in standing(made, grips.rest)]
    got = fretting.fretted_notes_floating(grips.rig, grips.rest, *beyond, PLACE, DEPTH)
    loose = fretting.fretted_notes_floating(slides.rig, slides.rest, *beyond, PLACE, DEPTH)
    assert got.open_hertz == pytest.approx(loose.open_hertz, rel=1e-9)
    assert (got.cents > loose.cents).all()
    at = fretting.rig_layout(grips.rig, grips.rest, *beyond)
    cut = fretting.wires(rig.unit_mass, rig.axial, rig.bending, 0.0)
    still = fretting.fretted_notes(at, fretting.at_pitch(at, cut, got.open_hertz), PLACE, DEPTH)
    assert np.abs(got.cents - still.cents).max() < 3.0  # what plate and neck give, as on the open strings
