"""Choices and continuous settings: what no job of the demos asks for."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from setwright.bench.plans import problem_from
from setwright.errors import NoPlanError
from setwright.instrument.geometry import edge_gap
from setwright.instrument.predict import predict
from setwright.instrument.traits import array
from setwright.physics.balance import equilibrium, swing
from setwright.planning.choices import THICKEST, Choice, choices
from setwright.planning.found import settle_found
from setwright.planning.plan import Option
from setwright.planning.search import make_plan
from setwright.planning.solve import rounded, solve, start_settings, wanted_tilt
from setwright.planning.targets import Limits, Problem, ReliefTarget, Shelf, Shim, UpBend
from tests.judges.following import Bench
from tests.judges.made_jobs import NINES, demo, floating, job


def up_of(problem: Problem, option: Option, string: int) -> float:
    """Up-bend of a string once the steps have been carried out."""
    found = settle_found(problem)
    p = found.problem
    bench = Bench(p.traits, p.wanted, p.found.settings, p.targets.hertz, found.tilt)
    bench.carry_out(option.steps)
    return float(swing(bench.rig, equilibrium(bench.rig, start=bench.tilt)).up[0, string])


def test_an_up_bend_chooses_its_gap() -> None:
    """Gap left open: the smallest from which string 3 goes up 300 cents, within what rounded screws leave."""
    problem = problem_from(floating(strings=NINES, gap=2.0))
    targets = replace(problem.targets, gap=None, up_bend=UpBend(2, 300.0))
    option = make_plan(replace(problem, targets=targets), samples=24).best
    (line,) = (one for one in option.targets if one.quantity == "up-bend")
    assert line.inside
    up = up_of(replace(problem, targets=targets), option, 2)
    assert up == pytest.approx(line.predicted, abs=0.5)
    assert 275.0 <= up <= 330.0


def test_a_gap_nobody_asked_for_is_that_of_a_level_plate() -> None:
    problem = settle_found(problem_from(floating(gap=2.0))).problem
    targets = replace(problem.targets, gap=None)
    settings = start_settings(problem, [Choice((), 3, False)])
    assert float(wanted_tilt(problem.wanted, settings, targets, None)[0]) == 0.0


def test_relief_among_the_targets_is_told() -> None:
    problem = demo("wigeon-reradius")
    asked = ReliefTarget(0.010 * 0.0254, 0.002 * 0.0254, (1, 17), 8)
    plan = make_plan(replace(problem, targets=replace(problem.targets, relief=asked)), samples=24)
    (line,) = (one for one in plan.best.targets if one.quantity == "relief")
    assert (line.place, line.kind) == ("fret 8, held at 1 and 17", "thou")
    assert line.predicted == pytest.approx(
        asked.value, abs=0.0008 * 0.0254
    )  # lower strings bend the neck a little less
    assert line.inside


def test_the_pocket_as_found_may_be_emptied() -> None:
    problem = demo("kestrel-float")
    strip = Shim("strip", 0.508e-3)
    shimmed = replace(problem, found=replace(problem.found, shims=(strip,)), shelf=Shelf((strip,), (3,)))
    pockets = {c.shims for c in choices(shimmed)}
    assert pockets == {(strip,), (), (strip, strip)}
    thick = Shim("strip", 0.9e-3)
    two = replace(problem, shelf=Shelf((thick, thick), (3,)))
    assert all(sum(s.thickness for s in c.shims) <= THICKEST for c in choices(two))
    unread = replace(problem, targets=replace(problem.targets, heights=None))
    assert {c.shims for c in choices(unread)} == {()}


def test_taking_shims_out_is_a_step() -> None:
    """High strings and saddles at the bottom over a shim: the shim comes out."""
    parts = {"bridge": {"kind": '"fixed, six saddles"'}}
    found = {
        "strings": NINES, "shims": '[{ kind = "strip", thickness = ".020 in" }]',
        "string_height": '{ fret = 12, treble = "1.2 mm", bass = "1.4 mm" }',
        "saddle_room": '{ up = "0.1 mm", down = "4 mm" }',
    }  # fmt: skip
    want = {"string_height": '{ fret = 12, treble = "1.7 mm ± 0.2 mm", bass = "2.0 mm ± 0.2 mm" }'}
    plan = make_plan(problem_from(job(parts, {"found": found, "want": want})), samples=24)
    assert plan.best.label == "shims taken out"
    (step,) = (s for s in plan.best.steps if s.key == "shim")
    assert [(a.what, a.way, a.kind) for a in step.amounts] == [("strip shim", "take out", "thou")]
    assert step.title == "Take the shim out of the pocket"
    assert step.amounts[0].value == pytest.approx(0.508e-3)


def test_one_pivot_may_move_more_than_the_other() -> None:
    problem = settle_found(demo("kestrel-float")).problem
    lopsided = replace(problem.found.settings, pivot_rise=array([0.0, 0.31e-3]))
    skew = replace(problem, found=replace(problem.found, settings=lopsided))
    branches = [Choice((), 3, True), Choice((), 3, False)]
    solved, _ = rounded(skew, solve(skew, branches), np.array([True, False]))
    moved = (solved.settings.pivot_rise - lopsided.pivot_rise) / float(problem.traits.bridge.pivot_lead)
    assert np.abs(moved * 8 - np.round(moved * 8)).max() < 1e-9
    assert (moved[1] == 0.0).all()
    gap = edge_gap(problem.wanted, solved.settings, solved.tilt).mean(axis=-1)
    assert gap == pytest.approx(np.full(2, 2.6e-3), abs=1e-9)


def test_finer_steps_where_an_eighth_of_a_turn_is_too_coarse() -> None:
    problem = settle_found(problem_from(floating(want={"rear_gap": '"2.6 mm ± 0.25 mm"'}))).problem
    fine = replace(problem, targets=replace(problem.targets, gap_tolerance=0.05e-3))
    wide = replace(problem, targets=replace(problem.targets, gap_tolerance=2e-3), limits=Limits(claw_step=0.25))
    branches, moved = [Choice((), 3, False)], np.array([False])
    assert rounded(fine, solve(fine, branches), moved)[1] == 1 / 32
    assert rounded(wide, solve(wide, branches), moved)[1] == 0.25


def test_a_dive_only_plate_that_presses_enough_keeps_its_claw() -> None:
    parts = {"bridge": {"kind": '"two-post knife edge"'}}
    found = {"strings": NINES, "bridge": '"decked"', "claw_distance": '"8 mm ± 0.3 mm"'}
    problem = settle_found(problem_from(job(parts, {"found": found, "want": {"bridge": '"dive-only"'}}))).problem
    solved, _ = rounded(problem, solve(problem, [Choice((), 3, False)]), np.array([False]))
    assert (solved.settings.claw[0] == problem.found.settings.claw).all()
    assert predict(problem.wanted, replace(problem.found.settings)).contact > 0.5


def test_a_wanted_relief_turns_the_rod_before_anything_else_and_ends_inside() -> None:
    problem = demo("wigeon-reradius")
    asked = ReliefTarget(0.006 * 0.0254, 0.002 * 0.0254, (1, 17), 8)
    plan = make_plan(replace(problem, targets=replace(problem.targets, relief=asked)), samples=24)
    keys = [step.key for step in plan.best.steps]
    assert keys.index("read as found") < keys.index("relief") < keys.index("slacken")
    step = plan.best.steps[keys.index("relief")]
    assert step.amounts[0].way == "tighter"
    assert step.amounts[0].half_width == step.amounts[0].value  # its response is not known before it is read
    assert 0.0 < step.amounts[0].value <= 0.5
    assert step.read[0].value == pytest.approx(asked.value, abs=0.002 * 0.0254)
    (line,) = (one for one in plan.best.targets if one.quantity == "relief")
    assert line.inside


def test_a_neck_far_from_its_relief_is_to_be_looked_at_first() -> None:
    problem = demo("wigeon-reradius")
    asked = ReliefTarget(-0.030 * 0.0254, 0.001 * 0.0254, (1, 17), 8)
    with pytest.raises(NoPlanError, match="turns of the truss rod"):
        make_plan(replace(problem, targets=replace(problem.targets, relief=asked)), samples=24)


def test_octaves_read_sharp_move_the_saddles_back_by_what_they_are_worth() -> None:
    problem = demo("wigeon-reradius")
    still = replace(problem.targets, heights=None, radius=None, relief=None, octave_tolerance=2.0)
    sharp = np.array([4.0, 4.0, 4.0, -4.0, 0.0, 0.0])
    read = replace(problem.found, octave=sharp, octave_sd=np.full(6, 0.5))
    plan = make_plan(replace(problem, targets=still, found=read), samples=48)
    (step,) = (one for one in plan.best.steps if one.key == "lengths")
    moved = {a.what: (a.way, a.value * float(problem.traits.bridge.length_lead)) for a in step.amounts}
    assert set(moved) == {"string 1", "string 2", "string 3", "string 4"}
    for string in ("string 1", "string 2", "string 3"):
        assert moved[string][0] == "back"
        assert moved[string][1] == pytest.approx(4.0 / 2.67e3, rel=0.12)  # 2.67 c/mm at 648 mm, an eighth of a turn
    assert moved["string 4"][0] == "forward"
    lines = [one for one in plan.best.targets if one.quantity == "octave error"]
    assert len(lines) == 6
    assert all(line.inside for line in lines)


def test_an_octave_out_of_the_saddles_travel_is_a_fault_with_a_remedy() -> None:
    problem = demo("wigeon-reradius")
    still = replace(problem.targets, heights=None, radius=None, relief=None, octave_tolerance=2.0)
    read = replace(problem.found, octave=np.full(6, 45.0), octave_sd=np.full(6, 0.5))
    with pytest.raises(NoPlanError, match="rear end of its travel"):
        make_plan(replace(problem, targets=still, found=read), samples=24)
