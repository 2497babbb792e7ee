"""What the trade knows from practice, held against the plans of the demos.

Every figure here is common practice without a source (PRACTICE): broad bands of what a technician meets, not
measurements. A figure judged by `judged` has a stated value; the rest are ranges.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from setwright.bench.plans import problem_from
from setwright.instrument.geometry import build_rig, pivot_line, saddle_contact, tilt_for_gap
from setwright.instrument.predict import balance_at, predict, string_heights
from setwright.instrument.traits import Array, array
from setwright.physics.balance import equilibrium, pitches, settled_at, swing
from setwright.physics.neck import line_rise, strip_angle
from setwright.planning.found import settle_found
from setwright.planning.plan import Option, Plan, Step
from setwright.planning.search import make_plan
from setwright.planning.targets import Problem
from tests.judges.made_jobs import NINES, TENS, demo, floating

SOURCE = "common practice, no source"
INCH = 0.0254


@cache
def plan(name: str) -> Plan:
    return make_plan(demo(name), samples=64)


def step(option: Option, key: str) -> Step:
    (one,) = (s for s in option.steps if s.key == key)
    return one


def turns_in(option: Option, keys: tuple[str, ...] = ("claw", "claw to rest")) -> float:
    """Net turns of the claw inwards."""
    out = 0.0
    for s in option.steps:
        if s.key in keys:
            out += sum(a.value * (1.0 if a.way == "in" else -1.0) for a in s.amounts) / len(s.amounts)
    return out


def cents(hertz: Array, base: Array) -> Array:
    return np.asarray(1200.0 * np.log2(hertz / base))


def test_a_pivot_of_a_sixteenth_rises_two_thirty_seconds_in_a_turn(judged: Callable[..., None]) -> None:
    parts = {"bridge": {"pivot_lead": '"1/16 in"'}}
    problem = problem_from(floating(instrument=parts))
    lead = float(problem.traits.bridge.pivot_lead)
    one_turn = replace(problem.found.settings, pivot_rise=problem.found.settings.pivot_rise + lead)
    z = problem.traits.bridge.pivot_z
    rise = pivot_line(problem.traits, one_turn, z) - pivot_line(problem.traits, problem.found.settings, z)
    judged("rise of a pivot in one turn, lead 1/16 in", [2.0, 2.0], rise / (INCH / 32), 0.01, "1/32 in", SOURCE,
           "PRACTICE", wrong=rise / (INCH / 64))  # fmt: skip


def saddles_needed(problem: Problem, strip: float) -> float:
    """How far the saddles of a level plate must rise to keep the string height at fret 12 under a strip."""
    level, bow, fret = array(0.0), array(0.003), (12,)

    def at(settings: object) -> Array:
        return string_heights(problem.traits, settings, level, bow, fret)[..., 0]  # type: ignore[arg-type]

    base, up = problem.found.settings, 0.1e-3
    lost = at(base) - at(replace(base, strip=base.strip + strip))
    raised = replace(base, pivot_rise=base.pivot_rise + up)
    return float((lost / ((at(raised) - at(base)) / up)).mean())


def test_after_a_shim_the_pivots_go_up_as_much_as_the_line_did(judged: Callable[..., None]) -> None:
    """One strip: the line at the bridge rises by lever x t / pocket. Pivots free, saddles left alone, plate level.

    7 %: "about as much"; the nut goes down a little too, so that a shade less will do.
    """
    problem = settle_found(demo("kestrel-float")).problem
    t, neck = 0.508e-3, problem.traits.neck
    saddle_x = float(problem.traits.bridge.pivot_x + problem.traits.bridge.saddle_aft.mean())
    line = float(line_rise(strip_angle(t, float(neck.shim_lever)), saddle_x - float(neck.mouth_x)))
    needed = saddles_needed(problem, t)
    judged("pivots after a shim, against the line of the neck", 1.0, needed / line, 0.07, "1", SOURCE, "PRACTICE",
           wrong=saddles_needed(problem, 1.25 * t) / line)  # fmt: skip


def test_the_shim_of_the_demo_lets_the_pivots_rise() -> None:
    """Kestrel, decked to floating: the saddles were down, so the shim makes room and the pivots go up by 1 to 3 mm."""
    best = plan("kestrel-float").best
    lead = float(demo("kestrel-float").traits.bridge.pivot_lead)
    (amount,) = step(best, "pivots").amounts
    assert amount.way == "up"
    assert 1e-3 <= amount.value * lead <= 3e-3
    (shim,) = step(best, "shim").amounts
    assert 0.010 * INCH <= shim.value <= 0.045 * INCH


@pytest.mark.slow
def test_making_a_tight_bridge_float_takes_two_or_three_turns() -> None:
    """PRACTICE: let the claw out two to three turns to start with. Kestrel: 1.5 turns in (as tight as the wedge needs),
    then 3.2 out, 1.7 net; its 95 % band is three turns either way, as nothing but the catalogue speaks of its springs.
    """
    best = plan("kestrel-float").best
    net = -turns_in(best)
    (last,) = step(best, "claw to rest").amounts
    assert last.way == "out"
    assert last.half_width is not None
    assert 1.0 <= net <= 3.5
    assert net - last.half_width <= 2.5 <= net + last.half_width
    assert 1.0 <= last.half_width <= 5.0


@pytest.mark.parametrize(("strings", "name"), [(NINES, "9-42"), (TENS, "10-46")])
def test_up_bend_of_strings_three_two_one(strings: str, name: str, judged: Callable[..., None]) -> None:
    """PRACTICE: set up so that string 3 goes up three semitones, string 2 goes up two and string 1 one.

    Gap chosen for 300 cents on string 3; the rule is in whole semitones, so the others within 50 cents of 200 and 100.
    """
    problem = settle_found(problem_from(floating("double-locking knife edge", strings, gap=3.5))).problem
    t, hertz = problem.traits, problem.targets.hertz

    def up(gap: float) -> Array:
        tilt = tilt_for_gap(t, problem.found.settings, array(gap))
        balanced = balance_at(t, problem.found.settings, hertz, tilt).settings
        rig = build_rig(t, balanced)
        return swing(rig, equilibrium(rig, start=float(tilt))).up[0]

    low, high = 0.5e-3, 9e-3
    for _ in range(30):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if up(middle)[2] < 300.0 else (low, middle)
    got = up(low)
    judged(f"up-bend of string 3, {name}", 300.0, got[2], 1.0, "cents", SOURCE, "PRACTICE", wrong=up(1.2 * low)[2])
    assert 1e-3 < low < 8e-3
    assert abs(got[1] - 200.0) < 50.0, got
    assert abs(got[0] - 100.0) < 50.0, got
    assert got[2] > got[1] > got[0] > 0.0


@pytest.mark.parametrize("name", ["dunlin-heavier", "lapwing-pull"])
def test_lowering_string_six_by_a_tone_lifts_the_others(name: str) -> None:
    """PRACTICE: on a floating bridge the others go sharp by some 5 to 35 cents.

    The plain third, the slackest of all against its stiffness, may do a little more: 41 cents on dunlin, a plate of
    measured springs with a set of tens.
    """
    p = settle_found(demo(name)).problem
    settings, base = p.found.settings, predict(p.traits, p.found.settings)
    low, high = float(settings.unstretched[5]), 1.002 * float(settings.unstretched[5])
    for _ in range(50):
        pegs = settings.unstretched.copy()
        pegs[5] = 0.5 * (low + high)
        now = predict(p.traits, replace(settings, unstretched=pegs), start=float(base.tilt))
        flat = cents(np.maximum(now.pitch, 1.0), base.pitch)
        low, high = (pegs[5], high) if flat[5] > -200.0 else (low, pegs[5])
    assert flat[5] == pytest.approx(-200.0, abs=0.1)
    assert (flat[:5] > 5.0).all(), flat
    assert (flat[[0, 1, 3, 4]] < 35.0).all(), flat
    assert flat[:5].argmax() == 2
    assert flat[2] < 45.0


@pytest.mark.parametrize("name", ["kestrel-float", "dunlin-heavier"])
def test_lying_flat_is_a_few_cents_off_playing(name: str) -> None:
    """PRACTICE: some cents sharp on its back, some flat upright."""
    figures = plan(name).best.figures
    assert figures is not None
    off = dict(figures.attitude)
    assert 0.5 < off["on its back"] < 8.0
    assert -12.0 < off["upright"] < -1.0


def test_a_heavy_plate_lying_flat_goes_sharp_by_its_own_weight() -> None:
    """DERIVED by hand: weight times its arm, over the stiffness with the pegs left alone, times the pitch per tilt.

    Lapwing's plate is heavy and leans, so it moves further than the few cents of practice.
    """
    found = settle_found(demo("lapwing-pull"))
    p, b = found.problem, found.problem.traits.bridge
    playing = predict(p.traits, p.found.settings, start=found.tilt)
    flat = predict(p.traits, replace(p.found.settings, attitude="on its back"), start=found.tilt)
    arm = float(b.centre_aft) * np.cos(found.tilt) - float(b.centre_up) * np.sin(found.tilt)
    turn = float(b.mass) * 9.80665 * arm / float(playing.stiffness)
    rig = build_rig(p.traits, p.found.settings)
    lower, higher = (pitches(rig, settled_at(rig, float(playing.tilt) + d))[0] for d in (-1e-3, 1e-3))
    expected = -turn * cents(higher, lower) / 2e-3
    assert cents(flat.pitch, playing.pitch) == pytest.approx(expected, rel=0.05)
    assert (expected > 1.0).all()


@pytest.mark.parametrize("name", ["kestrel-float", "lapwing-pull", "plover-dive", "wigeon-reradius"])
def test_string_heights_of_the_demos_are_usual_ones(name: str) -> None:
    """PRACTICE: 1.2 to 2.2 mm at fret 12 of a guitar."""
    for option in (plan(name).best, plan(name).runner_up):
        assert option is not None
        got = [line.predicted for line in option.targets if line.quantity == "string height"]
        assert len(got) == 6
        assert 1.2e-3 <= min(got) <= max(got) <= 2.2e-3


@pytest.mark.slow
def test_the_planned_claw_is_within_its_usual_room() -> None:
    """PRACTICE: claws stand some 8 to 25 mm from their wall."""
    for name in ("kestrel-float", "lapwing-pull"):
        p = settle_found(demo(name)).problem
        end = float(p.found.settings.claw.mean()) - turns_in(plan(name).best) * float(p.traits.claw.lead)
        assert 8e-3 < end < 25e-3


def test_saddles_on_a_raised_plate_stand_over_the_top_as_usual() -> None:
    """PRACTICE: strings pass some 8 to 18 mm over the top at the saddles of a bolt-on guitar."""
    for name in ("kestrel-float", "dunlin-heavier", "lapwing-pull", "wigeon-reradius"):
        p = settle_found(demo(name))
        y = saddle_contact(p.problem.traits, p.problem.found.settings, array(p.tilt))[1]
        assert 8e-3 < y.min() < y.max() < 18e-3
