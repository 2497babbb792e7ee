"""Eight benches at work on one shop: nothing that one was told is kept is lost, torn or overwritten by another."""

from __future__ import annotations

from copy import deepcopy
from dataclasses import replace

import pytest

from benchmarks.benches import REFUSED, WAYS, at_work, prepared, problems, table
from setwright.records.shop import new_shop

pytestmark = pytest.mark.slow

BENCHES = 8
SECONDS = 30.0
QUICK = 3.0


@pytest.mark.parametrize("seconds", [QUICK, pytest.param(SECONDS, marks=pytest.mark.slow)])
def test_eight_benches_on_one_shop_lose_nothing(at, seconds):
    setting = prepared(at, BENCHES)
    answers = at_work(setting, seconds)
    assert problems(setting, answers) == []
    assert all(len(one.entries) > 0 for one in answers), "a bench had no turn"
    assert sum(len(one.edits) for one in answers) > 0
    assert sum(len(one.refused) for one in answers) > 0
    print("", at, *table(answers, seconds), sep="\n")


@pytest.mark.slow
def test_what_was_lost_torn_or_doubled_would_be_seen(at):
    setting = prepared(at, 2)
    answers = at_work(setting, 1.0)
    assert problems(setting, answers) == []
    assert {way for one in answers for way in one.seconds} <= {*WAYS, REFUSED}

    def with_(change):
        other = deepcopy(answers)
        change(other[0])
        return problems(setting, other)

    visit = setting.visits[1]
    (lost,) = with_(lambda one: one.entries.append((visit, 9_999, "x")))
    assert lost.startswith("1 entries were acknowledged and are not there")
    (doubled,) = with_(lambda one: one.entries.pop())
    assert doubled.startswith("1 entries are there and nobody was told")
    (edit,) = with_(lambda one: one.edits.append((9_999, "x")))
    assert edit.startswith("1 edits were acknowledged")
    moved = with_(lambda one: one.moved.append((setting.shelves[0], -1, 0)))
    assert any(one.startswith("the shelves hold") for one in moved)
    torn = with_(lambda one: one.moved.append((setting.shelves[1], 1, 1)))
    assert any("saw the same stock" in one for one in torn)
    assert with_(lambda one: one.faults.append("late")) == ["late"]
    kept = next(contact for one in answers for _, contact in one.edits)
    (refused,) = with_(lambda one: one.refused.append((kept,)))
    assert "refused is there" in refused


def test_a_bench_that_dies_says_so(tmp_path):
    new_shop(tmp_path / "shop", "Weir").close()
    setting = prepared(str(tmp_path / "shop"), 1)
    (answer,) = at_work(replace(setting, at=str(tmp_path / "none")), 0.1)
    assert answer.faults == ["bench 0 died"]
