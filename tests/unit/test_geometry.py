"""Where everything lies: contacts, gaps, stops, shims, the conical board; numbers by hand, marked DERIVED.

The instrument is `tests.judges.usual`: two posts, pivot line 6.5 mm over the top, plate edge 4 mm below it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import cos, hypot, sin, sqrt

import numpy as np
import pytest

from setwright.instrument.geometry import (
    across,
    board_height,
    build_rig,
    edge_gap,
    hook_line,
    neck_angle,
    nut_contact,
    saddle_contact,
    stops,
    tilt_for_gap,
    tilt_limits,
)
from setwright.instrument.settings import Settings
from setwright.instrument.traits import Array, Traits, array
from tests.judges.usual import usual_settings, usual_traits

TRAITS, SETTINGS = usual_traits(), usual_settings()
ZERO = array(0.0)


def turned(aft: float, up: float, tilt: float) -> tuple[float, float]:
    """A point of the plate after the plate has tilted, relative to the pivot: rear up is positive."""
    return aft * cos(tilt) - up * sin(tilt), aft * sin(tilt) + up * cos(tilt)


def test_shim_of_half_a_millimetre_moves_the_nut_as_by_hand(judged: Callable[..., None]) -> None:
    """0.5 mm strip 70 mm from the mouth at (393, -16) mm; board centre at the nut 12.5 mm, slot 1.55 mm (string 3).

    angle 0.5/70 = 0.00714286; string 3 at z 3.5 mm, drop 3.5^2 / (2 x 241) = 0.0254 mm: y = 12.5 - 0.0254 + 1.55
    = 14.0246, that is (-393, 30.0246) mm from the mouth. cos = 1 - 2.55101e-5, sin = 0.00714280.
    x' = -393 + 0.010026 - 30.0246 x 0.00714280 = -393.204434; y' = -2.807119 + 30.0246 - 0.000766 = 27.216715.
    So 0.204 mm back and 2.808 mm down.
    """
    before = nut_contact(TRAITS, SETTINGS, ZERO)
    shimmed = replace(SETTINGS, strip=array(0.5e-3))
    x, y = nut_contact(TRAITS, shimmed, ZERO)
    source = "plane rotation by hand, 0.5 mm strip, 70 mm lever"
    assert float(neck_angle(TRAITS, shimmed)) == pytest.approx(0.00714286, abs=5e-9)
    assert before[1][2] == pytest.approx(14.0246e-3, abs=1e-7)
    judged("nut of string 3 under a shim", [-393.204434, 27.216715],
           [1e3 * x[2] - 393.0, 1e3 * y[2] + 16.0], [2e-4, 2e-4], "mm", source, "DERIVED",
           wrong=[-393.0, 30.0246])  # fmt: skip
    judged("down", 2.8, 1e3 * (before[1] - y).mean(), 0.05, "mm", source + ": 2.8 mm down", "DERIVED")
    judged("back", 0.2, -1e3 * x.mean(), 0.01, "mm", source + ": 0.2 mm back", "DERIVED")


def test_wedge_and_flat_shims() -> None:
    wedge = replace(SETTINGS, wedge_shim=array(0.76e-3))
    assert float(neck_angle(TRAITS, wedge)) == pytest.approx(0.01, rel=1e-12)  # 0.76 mm at the end of 76 mm
    flat = replace(SETTINGS, flat=array(0.4e-3))
    (x0, y0), (x1, y1) = nut_contact(TRAITS, SETTINGS, ZERO), nut_contact(TRAITS, flat, ZERO)
    assert x1 == pytest.approx(x0, abs=1e-15)
    assert y1 - y0 == pytest.approx(0.4e-3, abs=1e-15)
    at_mouth = replace(SETTINGS, strip=array(-0.5e-3))
    assert float(neck_angle(TRAITS, at_mouth)) == pytest.approx(-0.00714286, abs=5e-9)
    assert (nut_contact(TRAITS, at_mouth, ZERO)[1] > y0).all()


def test_bow_lifts_the_nut_by_the_parabola_and_carries_it_forward() -> None:
    """DERIVED: bow 0.005 1/m over 393 mm: 0.5 x 0.005 x 0.393^2 = 0.386 mm up, 12 mm x 0.005 x 0.393 = 0.0236 mm."""
    (x0, y0), (x1, y1) = nut_contact(TRAITS, SETTINGS, ZERO), nut_contact(TRAITS, SETTINGS, array(0.005))
    assert 1e3 * (y1 - y0) == pytest.approx(0.38612, abs=1e-4)
    assert 1e3 * (x1 - x0) == pytest.approx(0.02358, abs=1e-5)


def test_slot_cuts_lower_the_string_at_the_nut_alone() -> None:
    cut = replace(SETTINGS, slot_cut=array([0.0, 0.1e-3, 0.0, 0.0, 0.0, 0.0]))
    change = nut_contact(TRAITS, cut, ZERO)[1] - nut_contact(TRAITS, SETTINGS, ZERO)[1]
    assert change == pytest.approx(np.array([0.0, -0.1e-3, 0.0, 0.0, 0.0, 0.0]), abs=1e-15)


def test_conical_board_is_straight_along_every_ruling() -> None:
    """A cone is made of straight lines: where z grows as the radius does, the surface falls in a straight line."""
    scale, last = 0.6477, 0.6477 * (1.0 - 2.0 ** (-22.0 / 12.0))
    x = np.linspace(0.0, scale, 9)
    radius = 0.241 + (0.305 - 0.241) * x / last
    y = board_height(TRAITS, x, 0.06 * radius)
    assert np.abs(np.diff(y, 2)).max() < 1e-12
    assert np.diff(y).max() < 0.0
    r = float(radius[4])
    by_hand = 0.0125 - (r - sqrt(r * r - 0.02**2))
    assert float(board_height(TRAITS, x[4:5], array([0.02]))[0]) == pytest.approx(by_hand, abs=1e-12)
    assert float(board_height(TRAITS, x[4:5], array([0.0]))[0]) == pytest.approx(0.0125, abs=1e-15)


@pytest.mark.parametrize("tilt", [-0.05, 0.0, 0.03, 0.12])
def test_gaps_by_hand(tilt: float) -> None:
    rear = 0.0065 + turned(0.03, -0.004, tilt)[1]
    front = 0.0065 + turned(-0.012, -0.004, tilt)[1]
    assert edge_gap(TRAITS, SETTINGS, array(tilt)) == pytest.approx(np.full(2, rear), abs=1e-15)
    assert edge_gap(TRAITS, SETTINGS, array(tilt), front=True) == pytest.approx(np.full(2, front), abs=1e-15)
    assert tilt_for_gap(TRAITS, SETTINGS, array(rear)) == pytest.approx(tilt, abs=1e-12)


def test_level_plate_has_the_gap_of_its_pivots() -> None:
    """6.5 mm pivots, edge 4 mm below: 2.5 mm in front and behind; bass pivot 0.7 mm (a turn) up: 3.2 there."""
    assert 1e3 * edge_gap(TRAITS, SETTINGS, ZERO) == pytest.approx([2.5, 2.5])
    raised = replace(SETTINGS, pivot_rise=array([0.0, 0.7e-3]))
    treble, bass = 1e3 * edge_gap(TRAITS, raised, ZERO)
    # pivots at -28 and 28 mm, ends of the edge at -30 and 30 mm: beyond the posts the line goes on
    assert treble == pytest.approx(2.5 - 0.7 * 2.0 / 56.0)
    assert bass == pytest.approx(3.2 + 0.7 * 2.0 / 56.0)


def test_a_gap_out_of_reach_gives_the_end_of_the_range() -> None:
    high = float(tilt_for_gap(TRAITS, SETTINGS, array(0.2)))
    assert high == pytest.approx(np.pi / 2 - np.arctan2(-0.004, 0.03))
    assert float(edge_gap(TRAITS, SETTINGS, array(high)).mean()) == pytest.approx(0.0065 + hypot(0.03, 0.004))


def test_saddle_contact_turns_about_the_pivot() -> None:
    raised = replace(SETTINGS, saddle_rise=array(np.full(6, 1e-3)), saddle_back=array(np.full(6, 2e-3)))
    x, y = saddle_contact(TRAITS, raised, array(0.04))
    for i in range(6):
        aft, up = turned(float(TRAITS.bridge.saddle_aft[i]) + 2e-3, float(TRAITS.bridge.saddle_up[i]) + 1e-3, 0.04)
        assert (x[i], y[i]) == pytest.approx((0.6352 + aft, 0.0065 + up), abs=1e-15)


def corner_at_stops(traits: Traits, settings: Settings) -> list[tuple[float, str]]:
    """How far the touching point is from what it touches, at each stop's own tilt."""
    (deck, fore, wedge, low_block), (back, nose, high_block) = stops(traits, settings)
    b = traits.bridge
    line = [float(v) for v in b.pivot_y + settings.pivot_rise]
    ends = [line[0] + (z + 0.028) / 0.056 * (line[1] - line[0]) for z in (-0.03, 0.03)]
    out = []
    rear = min(end + turned(float(b.rear_aft), float(b.rear_up), float(deck))[1] for end in ends)
    out.append((rear - float(b.deck_y), "deck"))
    front = min(end + turned(float(b.front_aft), float(b.front_up), float(nose))[1] for end in ends)
    out.append((front - float(b.deck_y), "nose"))
    out.append((turned(*map(float, b.block_fore_point), float(fore))[0] - float(b.cavity_fore), "fore wall"))
    out.append((turned(*map(float, b.block_aft_point), float(back))[0] - float(b.cavity_aft), "rear wall"))
    for name, tilt, gap in (("wedge", wedge, settings.prop), ("low", low_block, settings.block),
                            ("high", high_block, settings.block)):  # fmt: skip
        if np.isfinite(gap):
            edge = [end + turned(float(b.rear_aft), float(b.rear_up), float(tilt))[1] for end in ends]
            out.append((sum(edge) / 2 - float(gap), name))
        else:
            assert not np.isfinite(tilt), name
    return out


def test_at_every_stop_the_point_touches() -> None:
    rng = np.random.default_rng(3)
    for _ in range(40):
        bridge = replace(
            TRAITS.bridge, deck_y=array(rng.uniform(-0.004, 0.0)), rear_aft=array(rng.uniform(0.025, 0.035)),
            front_aft=array(-rng.uniform(0.008, 0.02)), cavity_aft=array(rng.uniform(0.02, 0.03)),
            cavity_fore=array(-rng.uniform(0.01, 0.03)), block_fore_point=array([rng.uniform(-0.002, 0.004), -0.04]),
        )  # fmt: skip
        settings = replace(
            SETTINGS, pivot_rise=array(rng.uniform(-1e-3, 2e-3, 2)), prop=array(rng.uniform(1e-3, 3e-3)),
            block=array(rng.uniform(1e-3, 3e-3)),
        )  # fmt: skip
        for off, name in corner_at_stops(replace(TRAITS, bridge=bridge), settings):
            assert off == pytest.approx(0.0, abs=1e-12), name
    corner_at_stops(TRAITS, SETTINGS)


def test_limits_are_the_nearest_stops() -> None:
    low, high = (float(v) for v in tilt_limits(TRAITS, SETTINGS))
    lower, upper = stops(TRAITS, SETTINGS)
    assert low == max(float(v) for v in lower)
    assert high == min(float(v) for v in upper)
    blocked = replace(SETTINGS, block=array(2.2e-3))
    low, high = (float(v) for v in tilt_limits(TRAITS, blocked))
    assert low == high
    assert 1e3 * float(edge_gap(TRAITS, blocked, array(low)).mean()) == pytest.approx(2.2)


def test_a_wedge_goes_in_only_as_far_as_the_plate_can_rise() -> None:
    thick = replace(SETTINGS, prop=array(0.02))
    low, high = (float(v) for v in tilt_limits(TRAITS, thick))
    assert low == high == min(float(v) for v in stops(TRAITS, thick)[1])


def test_a_fixed_bridge_cannot_tilt() -> None:
    fixed = replace(TRAITS, bridge=replace(TRAITS.bridge, knife_edge=False))
    assert [float(v) for v in tilt_limits(fixed, SETTINGS)] == [0.0, 0.0]


def test_across_is_the_straight_line_through_two_places() -> None:
    got = across(array([1.0, 2.0]), array([-0.018, 0.018]), array([-0.018, 0.0, 0.009, 0.036]))
    assert got == pytest.approx([1.0, 1.5, 1.75, 2.5])
    skew = replace(SETTINGS, claw=array([0.014, 0.016]))
    assert 1e3 * hook_line(TRAITS, skew)[[0, 2, 4]] == pytest.approx([15 - 22 / 18, 15.0, 15 + 22 / 18])


def test_rig_measures_centre_lines_from_the_pivot() -> None:
    rig = build_rig(TRAITS, SETTINGS)
    assert rig.batch == 1
    radius = 0.5 * TRAITS.strings.diameter
    x, y = nut_contact(TRAITS, SETTINGS, ZERO)
    assert rig.nut_x[0] == pytest.approx(x - 0.6352, abs=1e-15)
    assert rig.nut_y[0] == pytest.approx(y + radius - 0.0065, abs=1e-15)
    assert rig.saddle_up[0] == pytest.approx(TRAITS.bridge.saddle_up + radius, abs=1e-15)
    assert rig.aside[0] == pytest.approx(TRAITS.nut.z - TRAITS.bridge.saddle_z)
    behind = np.hypot(0.02 - TRAITS.bridge.saddle_aft, -0.03 - TRAITS.bridge.saddle_up - radius)
    assert rig.dead[0] == pytest.approx(TRAITS.nut.behind + behind)
    # claw: wall 85 mm before the pivot, hook line 15 mm from it, 31.5 mm under the top and so 38 under the pivot
    assert 1e3 * rig.claw_x[0] == pytest.approx(np.full(5, -70.0))
    assert 1e3 * rig.claw_y[0] == pytest.approx(np.full(5, -38.0))


def test_clamps_cut_off_what_lies_beyond_them() -> None:
    locked = replace(TRAITS, nut=replace(TRAITS.nut, locked=True), bridge=replace(TRAITS.bridge, clamped=True))
    assert build_rig(locked, SETTINGS).dead[0] == pytest.approx(np.zeros(6))
    nut_only = replace(TRAITS, nut=replace(TRAITS.nut, locked=True))
    assert build_rig(TRAITS, SETTINGS).dead[0] - build_rig(nut_only, SETTINGS).dead[0] == pytest.approx(
        TRAITS.nut.behind
    )


def test_warmth_lengthens_strings_and_body_and_softens_steel() -> None:
    pegs: Array = array(np.full(6, 0.8))
    cold = build_rig(TRAITS, replace(SETTINGS, unstretched=pegs))
    warm = build_rig(TRAITS, replace(SETTINGS, unstretched=pegs, temperature=303.15))
    assert warm.unstretched / cold.unstretched == pytest.approx(1.0 + 1.15e-4, rel=1e-9)
    assert warm.unit_mass / cold.unit_mass == pytest.approx(1.0 - 1.15e-4, rel=1e-6)
    assert warm.axial / cold.axial == pytest.approx(1.0 - 2.6e-3, rel=1e-9)
    assert warm.rate / cold.rate == pytest.approx(1.0 - 2.6e-3, rel=1e-9)
    assert warm.nut_x / cold.nut_x == pytest.approx(1.0 + 4e-5, rel=1e-9)


def test_rod_takes_bow_out() -> None:
    """Rod moment 2 N m and 1.5 N m per turn on 300 N m2: half a turn takes 0.75/300 = 0.0025 1/m out."""
    still, turned_rod = build_rig(TRAITS, SETTINGS), build_rig(TRAITS, replace(SETTINGS, rod=array(0.5)))
    assert float(still.bow_free[0]) == pytest.approx(0.002 - 2.0 / 300.0)
    assert float((still.bow_free - turned_rod.bow_free)[0]) == pytest.approx(0.0025)


def test_batches_broadcast_over_traits_and_settings() -> None:
    many = replace(SETTINGS, pivot_rise=array([[0.0, 0.0], [1e-3, 1e-3], [0.0, 1e-3]]))
    rig = build_rig(TRAITS, many)
    assert rig.batch == 3
    for i in range(3):
        one = build_rig(TRAITS, replace(SETTINGS, pivot_rise=many.pivot_rise[i]))
        assert rig.nut_y[i] == pytest.approx(one.nut_y[0], abs=1e-15)
        assert rig.tilt_low[i] == pytest.approx(one.tilt_low[0], abs=1e-15)
