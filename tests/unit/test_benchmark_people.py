"""The people of the benchmark of rounds do what is said of them."""

from __future__ import annotations

import pytest

from benchmarks.people import Feel, Mistaken, Wanted, one_round, round_and_round, wanted, wedge_again
from setwright.errors import InputError
from setwright.practice.instrument import Practice
from setwright.practice.told import hello


class Bench:
    """A plate whose gap follows the claw alone; strings keep what they are given."""

    def __init__(self, gap: float, hertz: list[float], lead: float = 1e-3, ends: float = 20.0) -> None:
        self.at, self.hertz, self.lead, self.left = gap, hertz, lead, ends
        self.tuned: list[int] = []
        self.turns: list[float] = []
        self.wedges: list[float | None] = []

    def pitch(self, string: int) -> float:
        return self.hertz[string - 1]

    def tune(self, string: int, hz: float) -> float:
        self.tuned.append(string)
        self.hertz[string - 1] = hz
        return hz

    def gap(self) -> float:
        return max(self.at, 0.0)

    def claw(self, turns: float) -> None:
        if abs(turns) > self.left:
            raise InputError("the screws end here; turn less.")
        self.turns.append(turns)
        self.at -= self.lead * turns

    def wedge(self, m: float | None) -> None:
        self.wedges.append(m)

    def claw_distance(self) -> float:
        return 0.0

    def attitude(self, name: str) -> None:
        pass

    def bar(self, rad: float) -> None:
        pass


GOAL = Wanted((400.0, 300.0, 200.0), 2.0, 2e-3, 2.5e-4)


def test_a_round_goes_from_thick_to_thin_and_leaves_alone_what_is_near() -> None:
    on = Bench(2e-3, [410.0, 300.05, 190.0])
    one_round(GOAL, on)
    assert on.tuned == [3, 1]


@pytest.mark.parametrize("person", [round_and_round, wedge_again])
@pytest.mark.parametrize("gap", [0.0, 1.2e-3, 2e-3, 3.1e-3])
def test_both_end_inside_where_strings_do_not_pull_each_other(person, gap) -> None:
    on = Bench(gap, [390.0, 290.0, 190.0])
    person(GOAL, on)
    assert abs(on.gap() - GOAL.gap) <= GOAL.gap_tolerance
    assert on.hertz == list(GOAL.hertz)
    assert len(on.tuned) == 3


@pytest.mark.parametrize("person", [round_and_round, wedge_again])
def test_both_give_up_where_the_screws_end(person) -> None:
    on = Bench(0.0, [400.0, 300.0, 200.0], ends=0.1)
    person(GOAL, on)
    assert not on.turns


def test_a_feel_for_the_claw_goes_by_what_the_last_turn_did() -> None:
    feel = Feel()
    assert feel.next(1e-3, 3e-3) == 0.25  # too high: in, a quarter by feel
    assert feel.next(0.75e-3, 2.75e-3) == pytest.approx(0.75)  # a quarter did 0.25 mm
    assert feel.next(0.75e-3, 2.75e-3) == 0.25  # it did nothing: by feel again
    assert Feel().next(-2e-3, 0.0) == -0.5  # on the body: half a turn out


@pytest.mark.parametrize(("claw", "shift"), [(True, 1.0), (False, 0.0)])
def test_a_mistake_is_made_once(claw, shift) -> None:
    on = Bench(2e-3, [400.0])
    hand = Mistaken(on, claw, 1, 1.0)
    gaps = [hand.gap() for _ in range(3)]
    for _ in range(3):
        hand.claw(0.0)
    assert gaps == ([2e-3] * 3 if claw else [2e-3, 1.002, 2e-3])
    assert on.turns == [0.0, shift, 0.0]
    assert hand.pitch(1) == 400.0


def test_round_and_round_passes_on_a_practice_instrument() -> None:
    first = hello(3)
    practice = Practice(first, 3)
    round_and_round(wanted(first), practice)
    verdict = practice.done()
    assert verdict.passed
    assert verdict.counts["tune"] > 12
