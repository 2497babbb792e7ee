"""First and second derivatives of the balance against high-precision differentiation of the independent energy."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import mpmath
import numpy as np
import pytest

from setwright.physics.balance import at_pitch
from setwright.physics.balance.moments import bow_moments, held_at, held_tension, moments, pack
from tests.judges import energy as judge
from tests.judges.random_rigs import many

CLOSE = 1e-9  # of the size of the single terms: double rounding through three cancelling sums leaves 1e-13
DIGITS = 40


def mp_derivatives(one: judge.One, tilt: float, bow: float) -> list[float]:
    """U_t, U_b, U_tt, U_tb, U_bb; the part of held strings from T(L) dL, which needs no energy."""
    rig = judge.in_mpmath(one)
    held = [i for i in range(len(one["nut_x"])) if judge.is_held(one, i)]
    at = (mpmath.mpf(tilt), mpmath.mpf(bow))
    out = [mpmath.diff(lambda t, b: judge.energy(rig, t, b), at, n) for n in ((1, 0), (0, 1), (2, 0), (1, 1), (0, 2))]
    for i in held:

        def length(t: Any, b: Any, i: int = i) -> Any:
            return judge.speaking(rig, i, t, b)

        here = length(*at)
        pull = judge.tension_at_pitch(rig, i, here)
        rise = mpmath.diff(lambda x, i=i: judge.tension_at_pitch(rig, i, x), here)
        d = {n: mpmath.diff(length, at, n) for n in ((1, 0), (0, 1), (2, 0), (1, 1), (0, 2))}
        t, b = d[1, 0], d[0, 1]
        parts = (pull * t, pull * b, rise * t * t + pull * d[2, 0], rise * t * b + pull * d[1, 1])
        for n, part in enumerate((*parts, rise * b * b + pull * d[0, 2])):
            out[n] += part
    return [float(x) for x in out]


@pytest.mark.slow
@pytest.mark.parametrize("way", ["pegs fixed", "at pitch", "one held, the others fixed"])
def test_derivatives(way: str) -> None:
    rng = np.random.default_rng(8)
    worst = 0.0
    with mpmath.workdps(DIGITS):
        for case in many(31, 24):
            rig = case.rig
            if way == "at pitch":
                rig = at_pitch(rig, case.hertz)
            elif way != "pegs fixed":
                first = np.arange(rig.axial.shape[1]) == 0
                hertz, unstretched = np.where(first, case.hertz, np.nan), np.where(first, np.nan, rig.unstretched)
                rig = replace(rig, hertz=hertz[None], unstretched=unstretched)
            tilt, bow = case.wanted + rng.normal(0.0, 0.02), float(rig.bow_free[0]) + rng.normal(0.0, 0.03)
            m = moments(pack(rig), np.array([tilt]), np.array([bow]))
            ours = np.array([m.tilt, m.bow, m.tilt_tilt, m.tilt_bow, m.bow_bow])[:, 0]
            alone = bow_moments(held_at(pack(rig), np.array([tilt])), np.array([bow]))
            assert [float(one[0]) for one in alone] == [ours[1], ours[4]]  # the neck alone: the same numbers
            theirs = np.array(mp_derivatives(judge.one(rig), tilt, bow))
            size = np.abs(theirs) + float(np.abs(m.tension * m.lever).sum())
            worst = max(worst, float((np.abs(ours - theirs) / size).max()))
    print(f"{way}: worst {worst:.1e}")
    assert worst < CLOSE


def test_a_wrong_axial_stiffness_is_seen() -> None:
    case = many(31, 1)[0]
    tilt, bow = case.wanted, 0.01
    wrong = replace(case.rig, axial=case.rig.axial * (1.0 + 1e-6))
    m = moments(pack(wrong), np.array([tilt]), np.array([bow]))
    with mpmath.workdps(DIGITS):
        theirs = mp_derivatives(judge.one(case.rig), tilt, bow)
    assert abs(m.tilt_tilt[0] - theirs[2]) > 10.0 * CLOSE * abs(theirs[2])


def test_tension_at_pitch_and_its_slope() -> None:
    """Against the pitch formula iterated at 40 digits: 1e-12 in tension, 1e-9 in dT/dL."""
    for case in many(12, 6):
        rig = at_pitch(case.rig, case.hertz)
        one = judge.in_mpmath(judge.one(rig))
        for i in range(rig.axial.shape[1]):
            for length in (0.4, 0.648, 0.9):
                args = (rig.hertz[0, i], rig.unit_mass[0, i], rig.axial[0, i], rig.bending[0, i])
                tension, rise = held_tension(np.array(length), *args)
                with mpmath.workdps(DIGITS):
                    x = mpmath.mpf(length)
                    want = float(judge.tension_at_pitch(one, i, x))
                    slope = float(mpmath.diff(lambda y, one=one, i=i: judge.tension_at_pitch(one, i, y), x))
                assert float(tension) == pytest.approx(want, rel=1e-12)
                assert float(rise) == pytest.approx(slope, rel=CLOSE)
