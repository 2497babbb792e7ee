"""Bends, broken strings, lifting bend, friction band and bar range against the independent energy."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from setwright.physics.balance import (
    Rig,
    bent,
    broken,
    equilibrium,
    friction_band,
    lifting_bend,
    pitches,
    swing,
    unstretched_lengths,
)
from tests.judges import energy as judge
from tests.judges.random_rigs import Case, random_case

HAIR = 0.02  # cents


def floating(seed: int, count: int) -> list[Case]:
    """Cases that float 5 mrad clear of both stops with open springs, all strings taut."""
    rng = np.random.default_rng(seed)
    out: list[Case] = []
    while len(out) < count:
        case = random_case(rng, "floating", (6, 4, 7)[len(out) % 3])
        state = equilibrium(case.rig, start=case.start)
        clear = case.rig.tilt_low[0] + 5e-3 < state.tilt[0] < case.rig.tilt_high[0] - 0.03
        if clear and (state.tension > 20.0).all():
            out.append(case)
    return out


def decked(seed: int, count: int) -> list[Rig]:
    """Rigs that press on their lower stop by less than a strong bend takes."""
    rng = np.random.default_rng(seed)
    out: list[Rig] = []
    while len(out) < count:
        case = random_case(rng, "floating", (6, 4, 7)[len(out) % 3])
        state = equilibrium(case.rig, start=case.start)
        if state.free[0]:
            low = state.tilt + rng.uniform(2e-3, 2e-2)
            out.append(replace(case.rig, tilt_low=low, tilt_high=low + 0.3))
    return out


def sound(rig: Rig, tilt: float, bow: float) -> list[float]:
    """Pitches by the judge [Hz]."""
    one = judge.one(rig)
    pulls = [judge.string_tension(one, i, tilt, bow) for i in range(len(one["nut_x"]))]
    return [
        judge.pitch_of(one, i, pull, judge.speaking(one, i, tilt, bow)) if pull > 0.0 else 0.0
        for i, pull in enumerate(pulls)
    ]


def test_a_bend_lowers_the_others_and_rests_at_the_minimum() -> None:
    for n, case in enumerate(floating(1, 12)):
        rest = equilibrium(case.rig, start=case.start)
        base, string, by = pitches(case.rig, rest), n % 4, 60.0
        state = bent(case.rig, rest, string, by)
        after = pitches(case.rig, state)
        assert 1200.0 * math.log2(after[0, string] / base[0, string]) == pytest.approx(by, abs=1e-6)
        assert state.tilt[0] > rest.tilt[0]
        assert (np.delete(after - base, string, axis=1) < 0.0).all()
        shortened = case.rig.unstretched.copy()
        shortened[:, string] = unstretched_lengths(case.rig, state)[:, string]
        rig = replace(case.rig, unstretched=shortened)
        found = judge.rest(judge.one(rig), float(rest.tilt[0]))
        assert state.tilt[0] == pytest.approx(found.tilt, abs=1e-8)
        assert sound(rig, found.tilt, found.bow) == pytest.approx(after[0].tolist(), rel=1e-7)


def test_a_broken_string_lets_the_plate_sink_and_the_others_rise() -> None:
    for n, case in enumerate(floating(2, 12)):
        rest = equilibrium(case.rig, start=case.start)
        string = n % 4
        state = broken(case.rig, rest, string)
        gone = case.rig.unstretched.copy()
        gone[:, string] = np.nan
        found = judge.rest(judge.one(replace(case.rig, unstretched=gone)), float(rest.tilt[0]))
        assert state.tilt[0] == pytest.approx(found.tilt, abs=1e-8)
        assert state.tilt[0] < rest.tilt[0]
        before, after = pitches(case.rig, rest), pitches(case.rig, state)
        assert after[0, string] == 0.0
        assert (np.delete(after - before, string, axis=1) > 0.0).all()


def test_the_lifting_bend_and_a_hair_more_or_less() -> None:
    lifted = 0
    for rig in decked(3, 12):
        rest = equilibrium(rig, start=rig.tilt_low)
        assert rest.contact[0] > 0.0
        size = lifting_bend(rig, rest)
        for i in np.flatnonzero(np.isfinite(size[0]) & (size[0] < 700.0)):
            more = bent(rig, rest, int(i), float(size[0, i]) + HAIR)
            less = bent(rig, rest, int(i), float(size[0, i]) - HAIR)
            assert more.free[0], (size, i)
            assert more.tilt[0] > rig.tilt_low[0]
            assert less.contact[0] > 0.0
            assert less.tilt[0] == rig.tilt_low[0]
            lifted += 1
    assert lifted >= 30


def test_no_bend_of_a_slack_string_lifts() -> None:
    rig = decked(3, 1)[0]
    longer = rig.unstretched.copy()
    longer[:, 2] *= 1.05
    slack = replace(rig, unstretched=longer)
    rest = equilibrium(slack, start=slack.tilt_low)
    assert np.isinf(lifting_bend(slack, rest)[0, 2])


def test_friction_band_ends_where_friction_is_used_up() -> None:
    for n, case in enumerate(floating(4, 12)):
        friction = 0.01 + 0.01 * n
        rest = equilibrium(case.rig, start=case.start)
        low, high = friction_band(case.rig, friction, rest.tilt)
        one = judge.one(case.rig)
        assert low.tilt[0] < rest.tilt[0] < high.tilt[0]
        for state, sign in ((low, -1.0), (high, 1.0)):
            if state.free[0]:
                assert judge.slope(one, float(state.tilt[0])) == pytest.approx(sign * friction, abs=1e-8)


def test_the_bar_takes_every_string_to_the_pitch_at_the_stops() -> None:
    for case in floating(5, 8):
        rest = equilibrium(case.rig, start=case.start)
        bar = swing(case.rig, rest)
        one = judge.one(case.rig)
        base = sound(case.rig, float(rest.tilt[0]), float(rest.bow[0]))
        for tilt, got in ((one["tilt_low"], bar.up[0]), (one["tilt_high"], bar.down[0])):
            at_stop = sound(case.rig, tilt, judge.settled_bow(one, tilt))
            for i, hertz in enumerate(at_stop):
                want = 1200.0 * math.log2(hertz / base[i]) if hertz > 0.0 else -math.inf
                assert got[i] == pytest.approx(want, abs=1e-5)
