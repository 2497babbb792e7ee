"""Why a branch fails: every sentence in a job made for it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from setwright.bench.plans import problem_from
from setwright.errors import NoPlanError
from setwright.instrument.jobfile import Job
from setwright.instrument.prior import Uncertain, prior
from setwright.planning.bands import drawn_with_room
from setwright.planning.branches import Branch, label, weigh
from setwright.planning.choices import Choice, choices
from setwright.planning.found import settle_found
from setwright.planning.plan import Rejected
from setwright.planning.search import make_plan
from setwright.planning.solve import rounded, solve
from setwright.planning.targets import Problem, Shim
from tests.judges.made_jobs import NINES, NO_SHIMS, TENS, TWELVES, demo, floating, job

SHELF = {"springs": "[]", "shims": NO_SHIMS}


def weighed(problem: Problem) -> tuple[list[Branch], list[Rejected]]:
    """Good and bad branches of a job."""
    settled = settle_found(problem).problem
    branches = choices(settled)
    moved = np.array([b.pivots for b in branches])
    solved, step = rounded(settled, solve(settled, branches), moved)
    return weigh(settled, branches, solved, step, 2)


def reasons(made: Job | Problem) -> dict[str, str]:
    """Why each branch fails, by its label."""
    bad = weighed(made if isinstance(made, Problem) else problem_from(made))[1]
    assert [r.miss for r in bad] == sorted(r.miss for r in bad)
    assert all(r.miss > 0.0 for r in bad)
    return {r.label: r.reason for r in bad}


def some(made: Job | Problem, text: str) -> str:
    """The first reason that holds a text."""
    found = reasons(made)
    hits = [r for r in found.values() if text in r]
    assert hits, found
    return hits[0]


def fixed(found: dict[str, Any], want: dict[str, Any], **bridge: str) -> Job:
    parts = {"bridge": {"kind": '"fixed, six saddles"', **bridge}}
    stands = {"strings": TENS, "string_height": '{ fret = 12, treble = "2.0 mm", bass = "2.4 mm" }', **found}
    return job(parts, {"found": stands, "want": want, "shop": {"shims": NO_SHIMS}})


def wanted(treble: float, bass: float, tolerance: float = 0.2) -> str:
    return f'{{ fret = 12, treble = "{treble} mm ± {tolerance} mm", bass = "{bass} mm ± {tolerance} mm" }}'


def test_claw_at_its_inner_end() -> None:
    reason = some(demo("knot-too-weak"), "inner end")
    assert reason.startswith("three springs cannot hold this set there: the claw is at its inner end, {0.00")
    assert reason.endswith(" short; more or stronger springs, or lighter strings, would do")
    with pytest.raises(
        NoPlanError, match=r"^no plan exists: the nearest miss is .*: three springs cannot hold this set"
    ):
        make_plan(demo("knot-too-weak"), samples=8)


def decked(strings: str, springs: int, kind: str, claw: float, travel: str = '["2 mm", "34 mm"]', **want: Any) -> Job:
    parts = {"bridge": {"kind": '"two-post knife edge"'}, "springs": {"kind": f'"{kind}"'}, "claw": {"travel": travel}}
    found = {"strings": strings, "bridge": '"decked"', "springs": springs, "claw_distance": f'"{claw} mm ± 0.3 mm"'}
    return job(parts, {"found": found, "want": {"bridge": '"floating"', **want}, "shop": SHELF})


def test_claw_beyond_its_screws() -> None:
    reason = some(decked(NINES, 5, "strong", 20.0, '["2 mm", "22 mm"]'), "five springs pull too hard")
    assert reason.startswith("five springs pull too hard for this set: the claw would stand {0.00")
    assert reason.endswith(" beyond the end of its screws; fewer or softer springs would do")


def test_springs_closed_at_rest() -> None:
    # claw so free and strings so slack that five strong springs need not open
    low = '["E3", "B2", "G2", "D2", "A1", "E1"]'
    reason = some(decked(NINES, 5, "strong", 20.0, '["2 mm", "60 mm"]', tuning=low), "closed")
    assert reason == "five springs would hang closed or slack at rest; fewer springs would stretch them open"


def loose(strings: str, springs: int, kind: str, **want: Any) -> Job:
    """Slack strings and soft springs, to be floated."""
    found = {"strings": strings, "bridge": '"decked"', "springs": springs, "state": '"slack"'}
    parts = {"bridge": {"kind": f'"{kind}"'}, "springs": {"kind": '"soft"'}}
    return job(parts, {"found": found, "want": {"bridge": '"floating"', **want}, "shop": SHELF})


def test_no_claw_position_at_all() -> None:
    up = '["G4", "D4", "A#3", "F3", "C3", "G2"]'
    reason = some(loose(TWELVES, 1, "two-post knife edge", tuning=up), "at any claw")
    assert reason == "one spring cannot balance this set at any claw position"


def test_two_soft_springs_run_away() -> None:
    reason = some(loose(NINES, 2, "double-locking knife edge"), "run away")
    assert reason.startswith("two springs let the plate run away on retuning: brought back to pitch its stiffness is ")
    assert "N m/rad, must be above 0.5; more springs with the claw further out would do" in reason


def test_saddles_at_the_bottom() -> None:
    made = fixed({"saddle_room": '{ up = "5 mm", down = "0.2 mm" }'}, {"string_height": wanted(1.2, 1.5)})
    reason = reasons(made)["pocket as found"]
    assert reason.startswith("saddle of string ")
    assert reason.endswith(" short of the wanted height")
    assert " (and 5 more) is at its bottom, {0.00" in reason


def test_one_saddle_at_the_top() -> None:
    room = '{ up = ["0.1 mm", "5 mm", "5 mm", "5 mm", "5 mm", "5 mm"], down = "3 mm" }'
    made = fixed({"saddle_room": room}, {"string_height": wanted(2.6, 2.6)})
    # 0.6 mm at fret 12 are 1.2 mm at the saddle, in eighths of 0.5 mm: 1.1 short, to a sixteenth of a turn
    reason = reasons(made)["pocket as found"]
    assert reason.startswith("saddle of string 1 is at its top, {0.0010")


def test_a_string_that_would_break() -> None:
    made = fixed({}, {"tuning": '["A4", "B3", "G3", "D3", "A2", "E2"]'})
    reason = some(made, "breaking load")
    assert reason.startswith("string 1 at pitch carries ")
    assert " more than the 80% allowed; " in reason
    assert "lower pitch" in reason


def test_screws_too_coarse() -> None:
    made = fixed({}, {"string_height": wanted(1.73, 1.91, 0.01)}, height_lead='"0.8 mm"')
    assert some(made, "finely") == "the saddle screws cannot be set finely enough for the heights"


def test_up_bend_not_reached() -> None:
    made = floating(strings=NINES, want={"rear_gap": '"1.5 mm ± 0.2 mm"', "up_bend": "{ string = 3, semitones = 5 }"})
    reason = some(made, "meets its stop")
    assert reason.startswith("the plate meets its stop after ")
    assert " c of string 3, wanted are 500 c; a larger rear gap or higher pivots would do" in reason


def test_stops_keep_the_gap() -> None:
    made = floating(want={"rear_gap": '{ value = "22 mm ± 0.25 mm", sure = true }'}, shop=SHELF)
    assert some(made, "stops keep").startswith("the plate's stops keep the rear gap at {0.0")


def test_level_with_pivots_where_they_are() -> None:
    made = floating(gap=2.4, want={"rear_gap": '"3.6 mm ± 0.25 mm"', "plate": '"level"'}, shop=SHELF)
    assert some(made, "level plate") == "a level plate cannot have this rear gap with the pivots where they are"
    good, _ = weighed(problem_from(made))
    assert all(branch.choice.pivots for branch in good)
    assert good
    assert abs(good[0].tilt) < 0.01


def test_good_branches_come_with_pegs_at_pitch_and_fewest_minutes_first() -> None:
    problem = demo("kestrel-float")
    good, bad = weighed(problem)
    assert len(good) == 2
    assert len(bad) >= 10
    assert all(np.isfinite(branch.settings.unstretched).all() for branch in good)
    assert all(abs(float(branch.state.contact[0])) < 1e-6 for branch in good)


def test_labels_in_words_of_the_trade() -> None:
    problem = demo("kestrel-float")
    strip = Shim("strip", 0.000508)
    assert label(problem, Choice((), 3, False)) == "pocket as found, 3 springs, pivots as found"
    assert label(problem, Choice((strip,), 1, True)) == "strip shim {0.000508}, 1 spring, pivots moved"
    shimmed = replace(problem, found=replace(problem.found, shims=(strip,)))
    assert label(shimmed, Choice((), 2, False)) == "shims taken out, 2 springs, pivots as found"
    still = demo("wigeon-reradius")
    assert label(still, Choice((strip, strip), 0, False)) == "strip shim {0.000508} and strip shim {0.000508}"


def test_no_instrument_is_drawn_whose_neck_has_next_to_no_stiffness() -> None:
    known = prior(
        (Uncertain("neck.bending", "stiffness of the neck", "neck.bending", None, "factor", 0.6, "N m2", "test"),)
    )
    drawn = drawn_with_room(known, 400, np.random.default_rng(3), lambda _: ())
    assert drawn.shape == (400, 1)
    assert drawn.min() > -0.8  # one in eleven of the Gaussian lies below
