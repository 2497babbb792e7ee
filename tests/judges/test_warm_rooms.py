"""A cold and a warm room: the same job is planned as well as at the reference temperature, and its steps lead there.

Eight kelvin lengthen a slack string by 0.09 thousandths, 30 cents of a pitch: whoever carries pegs from settings to a
rig without it is far outside every tolerance. The follower works the growth out for itself.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import pytest

from setwright.physics.balance import equilibrium, lifting_bend, swing
from setwright.planning.plan import Option, Plan
from setwright.planning.search import make_plan
from setwright.planning.targets import Problem
from tests.judges.following import Bench
from tests.judges.made_jobs import ELEVENS, NINES, certain, floating, problem_from
from tests.judges.test_plans_execute import carried_out, check

pytestmark = pytest.mark.slow

ROOMS = (12, 28)  # C
JOBS: dict[str, dict[str, Any]] = {
    "strings kept near pitch": {"want": {"rear_gap": '"3.0 mm ± 0.25 mm"'}, "limits": {"peak": '"200 c"'}},
    "thinner set": {"want": {"strings": NINES, "rear_gap": '"3.0 mm ± 0.25 mm"'}},
    "heavier set, octaves": {
        "found": {"octave": '["1 c ± 1 c", "2 c ± 1 c", "3 c ± 1 c", "0 c ± 1 c", "1 c ± 1 c", "2 c ± 1 c"]'},
        "want": {"strings": ELEVENS, "octave": '"0 c ± 4 c"'},
    },
    "dive-only": {"want": {"bridge": '"dive-only"'}},
    "up-bend": {
        "gap": 3.5, "want": {"up_bend": "{ string = 3, semitones = 2 }", "rear_gap": '"3.5 mm ± 0.25 mm"'},
    },
}  # fmt: skip


def problem_in(name: str, celsius: int) -> Problem:
    """One of the jobs in a room of a temperature."""
    made = dict(JOBS[name])
    return problem_from(floating(**{**made, "found": {**made.get("found", {}), "temperature": f'"{celsius} C"'}}))


@cache
def planned(name: str, celsius: int) -> Plan:
    return make_plan(problem_in(name, celsius), samples=240)


@cache
def followed(name: str, celsius: int) -> tuple[Option, Bench]:
    """Plan of an instrument that is known exactly, and the instrument after its steps."""
    problem = certain(problem_in(name, celsius))
    option = make_plan(problem, samples=24).best
    return option, carried_out(problem, option)


@pytest.mark.parametrize("celsius", [ROOMS[0], pytest.param(ROOMS[1], marks=pytest.mark.slow)])
@pytest.mark.parametrize("name", JOBS)
def test_chances_are_those_of_a_room_at_the_reference_temperature(name: str, celsius: int) -> None:
    """0.14: three times the sampling error of a difference of two shares of 240 near 0.5, sqrt(2 / 4 / 240)."""
    here, there = planned(name, celsius).best, planned(name, 20).best
    assert here.ways[0].name == there.ways[0].name
    assert here.chance_first == pytest.approx(there.chance_first, abs=0.14)
    assert here.chance_second == pytest.approx(there.chance_second, abs=0.14)
    assert here.ways[0].tunings == pytest.approx(there.ways[0].tunings, abs=0.6)
    lines = {(line.quantity, line.place): line.chance for line in there.targets}
    for line in here.targets:
        assert line.chance == pytest.approx(lines[line.quantity, line.place], abs=0.14), line


@pytest.mark.parametrize("celsius", ROOMS)
@pytest.mark.parametrize("name", JOBS)
def test_the_steps_lead_to_the_targets(name: str, celsius: int) -> None:
    problem = problem_in(name, celsius)
    assert problem.found.settings.temperature == pytest.approx(celsius + 273.15)
    assert check(problem, planned(name, celsius).best) == 6


@pytest.mark.parametrize("celsius", [20, *ROOMS])
def test_the_up_bend_told_is_that_of_the_instrument_as_left(celsius: int) -> None:
    """Half a cent: the plan tells it for strings exactly at pitch."""
    option, bench = followed("up-bend", celsius)
    (line,) = (one for one in option.targets if one.quantity == "up-bend")
    up = swing(bench.rig, equilibrium(bench.rig, start=bench.tilt)).up[0]
    assert line.predicted == pytest.approx(float(up[2]), abs=0.5)
    assert option.figures is not None
    assert [value for value, _ in option.figures.up] == pytest.approx(up, abs=0.5)


@pytest.mark.parametrize("celsius", [20, *ROOMS])
def test_the_bend_that_lifts_a_decked_plate_is_that_of_the_instrument_as_left(celsius: int) -> None:
    """Ten cents of some 450: the plan tells the median over hands that tune half a cent off."""
    option, bench = followed("dive-only", celsius)
    (line,) = (one for one in option.targets if one.quantity == "bend that lifts the plate")
    lifts = lifting_bend(bench.rig, equilibrium(bench.rig, start=bench.tilt)).min()
    assert line.predicted == pytest.approx(float(lifts), abs=10.0)
