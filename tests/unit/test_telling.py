"""How far a plan is: told in order and often, changing nothing, and ended by whatever the telling raises."""

from __future__ import annotations

import time
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import pytest

from setwright.bench.journals import job_from
from setwright.bench.paper_drawings import drawings_of_job
from setwright.bench.plan_drawings import plan_drawings
from setwright.bench.plans import plan_job
from setwright.errors import CalledOffError
from setwright.telling import Tell, each, untold, within

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
LONGEST = 0.1  # s of processor time between two tellings: so long it takes at most until work that is called off ends
RUNS = 3  # the same telling was slow by the machine alone unless it was in each of them


def _into(heard: list[tuple[float, float]]) -> Tell:
    return lambda share: heard.append((share, time.thread_time()))


def job(name: str) -> str:
    return str(EXAMPLES / f"{name}.job.toml")


class TestWithin:
    def test_a_part_lies_within_the_whole(self) -> None:
        told: list[float] = []
        part = within(within(told.append, 0.5, 1.0), 0.2, 0.6)
        for share in (0.0, 0.5, 1.0):
            part(share)
        assert told == pytest.approx([0.6, 0.7, 0.8])

    def test_items_are_told_before_they_are_worked_on(self) -> None:
        told: list[float | str] = []
        for item, mine in each(told.append, "abcd"):
            told.append(item)
            mine(0.5)
        assert told == [0.0, "a", 0.125, 0.25, "b", 0.375, 0.5, "c", 0.625, 0.75, "d", 0.875]

    def test_nothing_is_told_of_no_items(self) -> None:
        told: list[float] = []
        assert list(each(told.append, ())) == []
        assert told == []
        untold(0.5)


def watched(work: Callable[[Tell], object]) -> list[float]:
    """What work tells, in order and often enough to be called off."""
    runs = []
    for _ in range(RUNS):
        heard = [(0.0, time.thread_time())]
        work(_into(heard))
        told = [share for share, _ in heard]
        runs.append([b - a for a, b in pairwise([*(at for _, at in heard), time.thread_time()])])
        assert told == sorted(told)
        assert told[0] == 0.0
        assert 0.7 < told[-1] <= 1.0
    assert len({len(one) for one in runs}) == 1
    assert max(min(gaps) for gaps in zip(*runs, strict=True)) < LONGEST
    return told


def ended(work: Callable[[Tell], object], after: float) -> None:
    """Work lets out what is raised at a telling, and tells nothing more."""
    told = []

    def tell(share: float) -> None:
        told.append(share)
        if share >= after:
            raise CalledOffError("called off")

    with pytest.raises(CalledOffError, match="called off"):
        work(tell)
    assert all(share < after for share in told[:-1])


@pytest.mark.slow
class TestPlan:
    @pytest.mark.parametrize("name", ["lapwing-pull", "sanderling-lower", "plover-dive"])
    def test_it_is_told_in_order_and_often_enough_to_be_called_off(self, name: str) -> None:
        watched(lambda tell: plan_job(job_from(job(name)), tell=tell))

    def test_whoever_listens_changes_nothing(self) -> None:
        read = job_from(job("kestrel-float"))
        told: list[float] = []
        assert repr(plan_job(read, tell=told.append)) == repr(plan_job(read))

    @pytest.mark.parametrize("after", [0.0, 0.2, 0.5, 0.7])
    def test_what_is_raised_ends_it(self, after: float) -> None:
        ended(lambda tell: plan_job(job_from(job("kestrel-float")), tell=tell), after)


@pytest.mark.slow
class TestDrawings:
    @pytest.mark.parametrize("name", ["lapwing-pull", "wigeon-reradius"])
    def test_they_are_told_in_order_and_often_enough_to_be_called_off(self, name: str) -> None:
        watched(lambda tell: drawings_of_job(job(name), tell=tell))

    @pytest.mark.parametrize("after", [0.3, 0.5, 0.7, 0.9])  # the plan, side view and balance, heights, cents
    def test_what_is_raised_ends_them(self, after: float) -> None:
        ended(lambda tell: drawings_of_job(job("kestrel-float"), tell=tell), after)

    def test_those_of_a_plan_too(self) -> None:
        read = job_from(job("kestrel-float"))
        plan = plan_job(read)
        watched(lambda tell: plan_drawings(read, plan, "mm", tell=tell))
        ended(lambda tell: plan_drawings(read, plan, "mm", tell=tell), 0.5)
