"""A stroke that must stay clean: lowest heights against a search by trial, faults, lines, chances."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from setwright.bench.plans import problem_from
from setwright.errors import NoPlanError
from setwright.instrument.predict import predict, tune_at
from setwright.instrument.traits import array
from setwright.planning.branches import weigh
from setwright.planning.choices import choices
from setwright.planning.clean import RAISED
from setwright.planning.clean_band import clean_lines, with_spare
from setwright.planning.found import settle_found
from setwright.planning.search import make_plan
from setwright.planning.solve import Solved, one_of, rounded, solve
from setwright.planning.targets import Problem, Stroke, Targets
from tests.judges.made_jobs import certain, demo, floating
from tests.judges.swept import least_swept

STEP = 0.02e-3  # m of saddle, of the search by trial
HAIR = 1e-6  # m of clearance: what the octaves' own moves leave behind, far below what any gauge shows


def asked(name: str = "wigeon-reradius", force: float = 0.4, place: float = 0.15, **changes: object) -> Problem:
    problem = demo(name)
    targets = replace(
        problem.targets, clean=Stroke(force, place), **{"heights": None, "radius": None, "relief": None, **changes}
    )  # type: ignore[arg-type]
    return replace(problem, targets=targets)


def solved(problem: Problem, whole: bool = False) -> tuple[Problem, Solved]:
    settled = settle_found(problem).problem
    some = choices(settled)
    out = solve(settled, some)
    if whole:
        out, _ = rounded(settled, out, np.array([one.pivots for one in some]))
    return settled, out


def swept(problem: Problem, answer: Solved, i: int, up: float = 0.0) -> np.ndarray:
    """Least clearance of every string with all saddles of one branch so much higher, strings back at pitch."""
    t, one = problem.targets, one_of(answer.settings, i)
    settings = replace(one, saddle_rise=one.saddle_rise + up)
    held = tune_at(problem.wanted, settings, t.hertz, float(answer.tilt[i])).settings
    assert t.clean is not None
    shown = predict(problem.wanted, held, start=float(answer.tilt[i]))
    return least_swept(problem.wanted, held, shown, t.clean.force, t.clean.place)


@pytest.mark.parametrize("force", [0.4, *(pytest.param(f, marks=pytest.mark.slow) for f in (0.2, 0.8))])
def test_lowest_heights_are_those_a_search_by_trial_finds(force: float) -> None:
    problem, answer = solved(asked(force=force))
    rises = np.arange(-15, 16) * STEP
    clear = np.array([swept(problem, answer, 0, up) for up in rises])
    for string in range(clear.shape[1]):
        first = rises[np.argmax(clear[:, string] >= -1e-9)]
        assert first >= -1e-9
        assert first <= STEP + 1e-9
    assert np.abs(clear[15]).max() < HAIR


def test_a_wanted_relief_is_part_of_it() -> None:
    flatter = demo("curlew-low")
    problem, answer = solved(flatter)
    assert float(answer.settings.rod[0]) > 0.0
    assert np.abs(swept(problem, answer, 0)).max() < HAIR
    left, other = solved(replace(flatter, targets=replace(flatter.targets, relief=None)))
    assert float(other.settings.rod[0]) == 0.0
    assert np.abs(swept(left, other, 0)).max() < HAIR


def test_a_floating_plate_settles_with_its_lowest_heights() -> None:
    made = floating(found={"string_height": '{ treble = "2.2 mm", bass = "2.6 mm" }'}, want={"clean": "true"})
    problem, answer = solved(problem_from(made))
    for i in (0, len(answer.tilt) - 1):
        assert np.abs(swept(problem, answer, i)).max() < HAIR


def test_whole_steps_never_end_below_the_lowest() -> None:
    problem, answer = solved(asked(), whole=True)
    lead = float(problem.wanted.bridge.height_lead)
    clear = swept(problem, answer, 0)
    assert clear.min() >= -HAIR
    assert swept(problem, answer, 0, -problem.limits.screw_step * lead).max() <= HAIR
    turns = (answer.settings.saddle_rise[0] - problem.found.settings.saddle_rise) / lead / problem.limits.screw_step
    assert turns == pytest.approx(np.round(turns), abs=1e-6)


def test_a_harder_stroke_asks_for_higher_strings() -> None:
    soft, hard = (solved(asked(force=force))[1].settings.saddle_rise[0] for force in (0.3, 0.9))
    assert (hard > soft).all()


def test_all_strings_rise_together_on_a_wanted_radius() -> None:
    problem, answer = solved(asked(radius=0.3048))
    clear = swept(problem, answer, 0)
    assert clear.min() == pytest.approx(0.0, abs=2e-6)  # one string decides, the others have room
    assert np.count_nonzero(clear > 5e-6) >= 3
    plan = make_plan(replace(asked(radius=0.3048), shelf=replace(demo("wigeon-reradius").shelf, shims=())), 32)
    assert all(line.inside for line in plan.best.targets)
    assert any(line.quantity == "radius at the saddles" for line in plan.best.targets)


def heights(problem: Problem, lower: float = 0.0) -> np.ndarray:
    """Lowest clean heights at fret 12 less an amount."""
    _, answer = solved(problem)
    assert answer.wanted_heights is not None
    return np.asarray(answer.wanted_heights[0] - lower)


def reasons(problem: Problem) -> list[str]:
    settled, answer = solved(problem, whole=True)
    return [one.reason for one in weigh(settled, choices(settled), answer, 0.125, 2)[1]]


def test_heights_that_collide_say_where_and_what_they_need() -> None:
    low = heights(asked())
    few = {"heights": low - 0.3e-3, "height_tolerance": 0.1e-3}
    found = reasons(asked(**few))
    assert len(found) == len(choices(demo("wigeon-reradius")))
    told = re.match(
        r"string (\d), held at fret (\d+), would touch fret (\d+) when struck with 0\.4 N: it needs "
        r"\{(0\.\d+)\} at fret 12; higher strings or a softer stroke would do$",
        found[0],
    )
    assert told, found
    string, stop, ahead = (int(told[i]) for i in (1, 2, 3))
    assert ahead > stop
    assert float(told[4]) == pytest.approx(low[string - 1], abs=0.03e-3)
    with pytest.raises(NoPlanError, match="would touch fret"):
        make_plan(asked(**few), 32)


def test_an_open_string_in_a_deep_slot_is_named() -> None:
    problem = asked(heights=array([2e-3] * 6))
    slots = replace(problem.traits.nut, slot=np.full(6, float(problem.traits.fretboard.crown) - 0.2e-3))
    deep = replace(problem, traits=replace(problem.traits, nut=slots), wanted=replace(problem.wanted, nut=slots))
    assert reasons(deep)[0].startswith("open string ")
    assert "would touch fret 1 when" in reasons(deep)[0]


def test_given_heights_rise_by_half_their_tolerance_at_most() -> None:
    low = heights(asked())
    tolerance = 0.2e-3
    within = asked(heights=low - 0.3 * tolerance, height_tolerance=tolerance)
    problem, answer = solved(within, whole=True)
    assert answer.wanted_heights is not None
    assert answer.wanted_heights[0] == pytest.approx(low - 0.3 * tolerance)
    assert swept(problem, answer, 0).min() >= -HAIR
    assert not any("pocket as found: string" in one for one in reasons(within))
    beyond = asked(heights=low - 1.2 * RAISED * tolerance - 0.05e-3, height_tolerance=tolerance)
    assert any("would touch" in one for one in reasons(beyond))
    roomy = asked(heights=low + 0.5e-3)
    _, far = solved(roomy)
    assert far.wanted_heights is not None
    assert far.wanted_heights[0] == pytest.approx(low + 0.5e-3)


def test_what_is_not_known_is_kept_in_hand() -> None:
    problem = with_spare(settle_found(asked()).problem, 0)
    assert problem.spare is not None
    assert ((problem.spare > 0.05e-3) & (problem.spare < 0.8e-3)).all()
    sharp = certain(settle_found(asked()).problem)
    read = tuple(replace(one, sd=1e-9) for one in sharp.found.readings)
    assert with_spare(replace(sharp, found=replace(sharp.found, readings=read)), 0).spare == pytest.approx(
        np.zeros(6), abs=1e-6
    )
    nothing = settle_found(demo("wigeon-reradius")).problem
    assert with_spare(nothing, 0) is nothing


def test_every_string_has_its_line_and_nearly_every_instrument_stays_clean() -> None:
    best = make_plan(asked(), 400).best
    lines = [one for one in best.targets if one.quantity == "least clearance"]
    assert [one.place for one in lines] == [f"string {i}, at least" for i in range(1, 7)]
    for one in lines:
        assert (one.wanted, one.tolerance, one.kind, one.inside) == (0.0, 0.0, "length", True)
        assert 0.9 < one.chance <= 1.0
        assert 0.0 < one.predicted < 0.2e-3
        assert 0.0 < one.half_width < 0.1e-3
    assert all(one.wanted is None for one in best.targets if one.quantity == "string height")
    assert best.chance_second <= min(one.chance for one in lines)
    (saddles,) = (step for step in best.steps if step.key == "saddles")
    assert saddles.why.startswith("as low as stays clean and no lower, struck with 0.4 N at 15 % of the string")
    (read,) = (step for step in best.steps if step.key == "read again")
    assert len([one for one in read.read if one.quantity == "string height"]) == 6


def test_without_a_stroke_there_is_no_line() -> None:
    plan = make_plan(demo("wigeon-reradius"), 32)
    assert not any(one.quantity == "least clearance" for one in plan.best.targets)
    assert clean_lines(demo("wigeon-reradius"), None, None, 0) == ()  # type: ignore[arg-type]


def test_what_is_asked_of_the_heights() -> None:
    base: Targets = demo("wigeon-reradius").targets
    assert (base.sets_heights, base.lowest) == (True, False)
    free = replace(base, heights=None)
    assert (free.sets_heights, free.lowest) == (False, False)
    low = replace(free, clean=Stroke(0.4, 0.15))
    assert (low.sets_heights, low.lowest) == (True, True)
