"""The way there: order of strings, interim pitches, and what hand and ear make of it; instruments that can be."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations

import numpy as np
import pytest

from setwright.bench.plans import problem_from
from setwright.errors import ContradictionError
from setwright.instrument.geometry import build_rig, tilt_limits
from setwright.instrument.prior import vary
from setwright.instrument.traits import Array, array
from setwright.physics.balance import equilibrium, pegs_fixed, pitches, unstretched_lengths
from setwright.planning import rounds
from setwright.planning.bands import claw_needed, possible, spread
from setwright.planning.branches import Branch, weigh
from setwright.planning.choices import choices
from setwright.planning.found import settle_found
from setwright.planning.rounds import Hand, Path, path, practise
from setwright.planning.search import make_plan, ways
from setwright.planning.solve import as_batch, rounded, solve
from setwright.planning.targets import Problem
from tests.judges.made_jobs import certain, demo, floating

FOUR = {"instrument": {"strings": 4}}
FOUR_SET = '[".013", ".017", ".026w", ".036w"]'
FOUR_NOTES = '["B3", "G3", "D3", "A2"]'


def settled(problem: Problem) -> tuple[Problem, Branch]:
    """The job as found and its first good branch."""
    p = settle_found(problem).problem
    some = choices(p)
    solved, step = rounded(p, solve(p, some), np.array([b.pivots for b in some]))
    return p, weigh(p, some, solved, step, 1)[0][0]


def four() -> tuple[Problem, Branch]:
    made = floating(strings=FOUR_SET, springs=2, instrument=FOUR, found={"tuning": FOUR_NOTES},
                    want={"rear_gap": '"2.8 mm ± 0.25 mm"'})  # fmt: skip
    return settled(problem_from(made))


def one_by_one(problem: Problem, branch: Branch, order: tuple[int, ...], start: Array, prop: float) -> list[float]:
    """Highest of any string over its final pitch after each peg has been brought to its final unstretched length."""
    held, pegs, out = replace(branch.settings, prop=array(prop)), start.copy(), []
    for string in order:
        pegs[string] = branch.settings.unstretched[string]
        fixed = build_rig(problem.wanted, replace(held, unstretched=pegs))
        heard = pitches(fixed, equilibrium(fixed))[0]
        on = heard > 1.0
        out.append(float((1200 * np.log2(heard[on] / problem.targets.hertz[on])).max()))
    return out


@pytest.mark.parametrize("prop", [float("nan"), 1.5e-3, 2.8e-3])
def test_no_order_of_four_strings_has_a_lower_peak(prop: float) -> None:
    problem, branch = four()
    slack = np.full(4, np.nan)
    held = replace(branch.settings, prop=array(prop))
    found = path(problem, held, slack)
    peaks = {order: max(one_by_one(problem, branch, order, slack, prop)) for order in permutations(range(4))}
    assert found.peak == pytest.approx(min(peaks.values()), abs=1e-6)
    assert peaks[found.order] == pytest.approx(found.peak, abs=1e-6)
    assert max(peaks.values()) > found.peak + 1.0  # the order matters


def test_the_peak_counts_where_the_way_starts() -> None:
    problem, branch = four()
    sharp = branch.settings.unstretched * (1.0 - 1.0e-3)
    held = replace(branch.settings, block=array(2.8e-3))  # the plate stands still: every string only comes down
    found = path(problem, held, sharp)
    rig = build_rig(problem.wanted, replace(held, unstretched=sharp))
    at_start = 1200 * np.log2(pitches(rig, equilibrium(rig))[0] / problem.targets.hertz)
    assert found.peak == pytest.approx(float(at_start.max()), abs=1e-6)
    assert found.peak > 50.0


@pytest.mark.parametrize("name", ["kestrel-float", "dunlin-heavier", "lapwing-pull", "plover-dive", "wigeon-reradius"])
def test_interim_pitches_land_every_string(name: str) -> None:
    """Each peg is turned until its string sounds as written; in the end all are at pitch to 0.01 cent."""
    problem, branch = settled(demo(name))
    count = problem.wanted.string_count
    way = path(problem, branch.settings, np.full(count, np.nan))
    assert sorted(way.order) == list(range(count))
    rig = build_rig(problem.wanted, branch.settings)
    pegs = np.full((1, count), np.nan)
    for string, hertz in zip(way.order, way.hertz, strict=True):
        held, open_ = np.full_like(pegs, np.nan), pegs.copy()
        held[0, string], open_[0, string] = hertz, np.nan
        one = replace(pegs_fixed(rig, open_), hertz=held)
        pegs[0, string] = unstretched_lengths(one, equilibrium(one))[0, string]
    done = pegs_fixed(rig, pegs)
    heard = pitches(done, equilibrium(done, start=branch.tilt))[0]
    assert np.abs(1200 * np.log2(heard / problem.targets.hertz)).max() < 0.01


def exact_hand(monkeypatch: pytest.MonkeyPatch, problem: Problem) -> Problem:
    monkeypatch.setattr(rounds, "HEARD", 0.0)
    monkeypatch.setattr(rounds, "FINEST", 0.0)
    return replace(certain(problem), limits=replace(problem.limits, tuner_error=0.0))


@pytest.mark.parametrize("name", ["kestrel-float", "dunlin-heavier", "lapwing-pull"])
def test_with_nothing_uncertain_one_round_does(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    problem, branch = settled(exact_hand(monkeypatch, demo(name)))
    deviations = possible(problem, branch.settings, 16, 3)
    claw = claw_needed(problem, branch, deviations)
    assert claw == pytest.approx(np.full(16, branch.settings.claw.mean()), abs=1e-6)
    title, hand = ways(problem, branch, claw)[0]
    assert title == "wedge, claw tight, then claw out by ear"
    held = replace(branch.settings, prop=array(hand.prop), claw=hand.claw)
    outcome = practise(problem, branch.settings, hand, path(problem, held, hand.start), deviations, 0)
    assert outcome.first == outcome.second == 1.0
    assert outcome.tunings == problem.wanted.string_count
    assert np.abs(outcome.off).max() < 0.1
    assert np.ptp(outcome.gap) < 1e-5
    assert (outcome.touched == 0).all()


def test_touching_up_mends_what_the_tuner_spoils(monkeypatch: pytest.MonkeyPatch) -> None:
    problem, branch = settled(exact_hand(monkeypatch, demo("wigeon-reradius")))
    wobbly = replace(problem, limits=replace(problem.limits, tuner_error=3.0))
    hand = Hand(float("nan"), branch.settings.claw, np.full(6, np.nan), False)
    way = path(problem, branch.settings, hand.start)
    deviations = possible(problem, branch.settings, 200, 1)
    exact = practise(problem, branch.settings, hand, way, deviations, 0)
    rough = practise(wobbly, branch.settings, hand, way, deviations, 0)
    assert exact.first == 1.0
    assert rough.first < 0.1
    assert rough.second >= rough.first
    assert rough.tunings > exact.tunings == 6.0
    assert (rough.touched[~rough.good] > 0).all()
    again = practise(wobbly, branch.settings, hand, way, deviations, 0)
    assert (again.off == rough.off).all(), "the same seed gives the same hand"


def test_pegs_kept_near_pitch_start_where_each_instrument_had_them() -> None:
    made = floating(want={"rear_gap": '"2.7 mm ± 0.25 mm"'})
    problem, branch = settled(problem_from(made))
    deviations = possible(problem, branch.settings, 12, 1)
    names = dict(ways(problem, branch, claw_needed(problem, branch, deviations)))
    hand = names["wedge, strings kept near pitch, claw out by ear"]
    assert (hand.start == problem.found.settings.unstretched).all()
    held = replace(branch.settings, prop=array(hand.prop), claw=hand.claw)
    outcome = practise(problem, branch.settings, hand, path(problem, held, hand.start), deviations, 0)
    assert np.median(np.abs(outcome.off)) < 5.0


def test_a_way_that_starts_slack_says_so() -> None:
    """Only the gap changes and the strings may not be kept near pitch: then they are let down first."""
    made = floating(want={"rear_gap": '"1.8 mm ± 0.25 mm"'}, limits={"peak": '"30 c"'})
    plan = make_plan(problem_from(made), samples=16)
    keys = [s.key for s in plan.best.steps]
    kept = "kept near pitch" in plan.best.ways[0].name
    assert kept != ("slacken" in keys)
    assert not kept
    refused = [w for w in plan.best.ways if "kept near pitch" in w.name]
    assert [w.allowed for w in refused] == [False]
    assert "c above its final pitch, allowed are 30 c" in refused[0].reason


def test_instruments_without_room_for_their_plate_are_left_out() -> None:
    problem, branch = settled(demo("dunlin-heavier"))
    deviations = possible(problem, branch.settings, 4096, 0)
    assert deviations.shape == (4096, len(problem.known.parts))
    traits = vary(problem.wanted, problem.known, deviations, wanted=True)
    low, high = tilt_limits(traits, as_batch(branch.settings, 4096))
    assert (low <= high).all()
    thick = replace(problem.traits.bridge, rear_up=array(-0.02), front_up=array(-0.02))
    never = replace(problem, traits=replace(problem.traits, bridge=thick), wanted=replace(problem.wanted, bridge=thick))
    with pytest.raises(ContradictionError, match="have no room for the plate between its stops; measure pivot height"):
        possible(never, branch.settings, 64, 0)


def test_half_width_of_nothing_is_nothing() -> None:
    assert spread(np.empty(0)) == 0.0
    assert spread(np.array([np.nan, np.nan])) == 0.0
    assert spread(np.array([1.0, np.nan, 1.0])) == 0.0


def test_a_path_is_told_as_it_is() -> None:
    problem, branch = four()
    way = path(problem, branch.settings, np.full(4, np.nan))
    assert isinstance(way, Path)
    assert way.hertz[-1] == pytest.approx(float(problem.targets.hertz[way.order[-1]]), rel=1e-9)
    assert 0.1 < way.stress < 0.8
