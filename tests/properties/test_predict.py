"""Properties of the forward model: what turns which way, what adds up, what must not matter."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from setwright.instrument.geometry import edge_gap, neck_point, tilt_for_gap, tilt_limits
from setwright.instrument.predict import balance_at, predict, string_heights, tune_at
from setwright.instrument.settings import Settings
from setwright.instrument.traits import Traits, array
from tests.examples import examples
from tests.judges.usual import HERTZ, usual_settings, usual_traits

TRAITS = usual_traits()
TILTS = st.floats(-0.03, 0.05)
SPRINGS = st.integers(3, 5)
some = examples(40)


def afloat(springs: int, tilt: float, traits: Traits = TRAITS) -> Settings:
    return balance_at(traits, usual_settings(springs), HERTZ, tilt).settings


@given(TILTS, st.floats(-2e-3, 2e-3), st.floats(-2e-3, 2e-3))
def test_tilt_and_gap_are_inverse(tilt: float, treble: float, bass: float) -> None:
    raised = replace(usual_settings(), pivot_rise=array([treble, bass]))
    gap = edge_gap(TRAITS, raised, array(tilt)).mean()
    assert float(tilt_for_gap(TRAITS, raised, gap)) == pytest.approx(tilt, abs=1e-12)


@some
@given(SPRINGS, TILTS)
def test_balanced_plates_rest_at_their_tilt_with_every_string_at_pitch(springs: int, tilt: float) -> None:
    p = predict(TRAITS, afloat(springs, tilt), start=tilt)
    assert p.tilt == pytest.approx(tilt, abs=1e-7)
    assert p.pitch == pytest.approx(HERTZ, rel=1e-7)
    assert p.contact == 0.0


@some
@given(SPRINGS, TILTS, st.floats(1e-5, 5e-4))
def test_claw_in_is_rear_down_and_everything_sharper(springs: int, tilt: float, by: float) -> None:
    loose = afloat(springs, tilt)
    before = predict(TRAITS, loose, start=tilt)
    after = predict(TRAITS, replace(loose, claw=loose.claw - by), start=tilt)
    assert after.tilt < before.tilt
    assert (after.pitch > before.pitch).all()
    assert after.rear_gap.mean() < before.rear_gap.mean()
    assert (after.height(12) < before.height(12)).all()


@some
@given(SPRINGS, st.integers(0, 5), st.floats(1e-5, 3e-4))
def test_one_string_up_all_others_down(springs: int, string: int, share: float) -> None:
    s = afloat(springs, 0.0)
    pegs = s.unstretched.copy()
    pegs[string] *= 1.0 - share
    up = predict(TRAITS, replace(s, unstretched=pegs))
    others = np.arange(6) != string
    assert up.pitch[string] > HERTZ[string]
    assert (up.pitch[others] < HERTZ[others]).all()
    assert up.tilt > 0.0


@given(st.floats(-1e-3, 1e-3), st.floats(-1e-3, 1e-3), st.integers(0, 5))
def test_heights_add_up_over_saddle_screws(one: float, two: float, string: int) -> None:
    def height(rise: float) -> float:
        lift = np.zeros(6)
        lift[string] = rise
        raised = replace(usual_settings(), saddle_rise=lift)
        return float(string_heights(TRAITS, raised, array(0.0), array(0.002), (12,))[string, 0])

    assert height(one) + height(two) == pytest.approx(height(0.0) + height(one + two), abs=1e-12)


@given(st.floats(-1e-3, 1.5e-3), st.floats(0.0, 1.5e-3), st.floats(0.0, 1e-3), st.floats(-0.01, 0.01))
def test_shims_move_the_neck_as_a_stiff_body(strip: float, wedge: float, flat: float, bow: float) -> None:
    x, y = array([0.0, 0.2, 0.5]), array([0.0125, 0.0135, 0.0125])
    curve = array(bow)
    still = np.array(neck_point(TRAITS, usual_settings(), x, y, curve))
    shims = replace(usual_settings(), strip=array(strip), wedge_shim=array(wedge), flat=array(flat))
    moved = np.array(neck_point(TRAITS, shims, x, y, curve))
    for i, j in ((0, 1), (1, 2), (0, 2)):
        before, after = np.linalg.norm(still[:, i] - still[:, j]), np.linalg.norm(moved[:, i] - moved[:, j])
        assert after == pytest.approx(before, abs=1e-12)


@given(st.floats(-1e-3, 2e-3), st.floats(-1e-3, 2e-3), st.floats(5e-4, 4e-3))
def test_a_wedge_never_lets_the_plate_lower_and_a_block_holds_it(treble: float, bass: float, gap: float) -> None:
    raised = replace(usual_settings(), pivot_rise=array([treble, bass]))
    low, high = (float(v) for v in tilt_limits(TRAITS, raised))
    wedged = tuple(float(v) for v in tilt_limits(TRAITS, replace(raised, prop=array(gap))))
    assert wedged[0] >= low
    assert wedged[1] == high
    assert wedged[0] <= wedged[1]


@some
@given(st.floats(0.9, 1.12), TILTS)
def test_the_claw_bears_what_the_strings_pull(factor: float, tilt: float) -> None:
    hertz = HERTZ * factor
    base = tune_at(TRAITS, usual_settings(), hertz, tilt)
    claw = float(balance_at(TRAITS, usual_settings(), hertz, tilt).settings.claw.mean())
    lower = float(balance_at(TRAITS, usual_settings(), 0.98 * hertz, tilt).settings.claw.mean())
    assert lower > claw  # slacker strings, slacker springs: the claw stands further from its wall
    assert (base.state.tension > tune_at(TRAITS, usual_settings(), 0.98 * hertz, tilt).state.tension).all()
