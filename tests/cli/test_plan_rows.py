"""The plan as rows says what its card says."""

from __future__ import annotations

from pathlib import Path

import pytest

from setwright.bench.plans import plan_job
from setwright.cli.plan_rows import plan_rows, under_conditions
from setwright.instrument.jobfile import read_job

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"


@pytest.mark.slow
@pytest.mark.parametrize("name", ["curlew-low", "plover-dive"])
def test_targets_without_a_number_are_told(name: str) -> None:
    plan = plan_job(read_job(EXAMPLES / f"{name}.job.toml"), 64)
    rows = plan_rows(plan, "mm")
    assert len(rows.steps) == len(plan.best.steps)
    assert [one.inside for one in rows.targets] == [one.inside for one in plan.best.targets]
    wanted = {one.wanted for one in rows.targets}
    assert ("no touch" in wanted) == any(one.quantity == "least clearance" for one in plan.best.targets)
    assert ("free" in wanted) == any(one.wanted is None for one in plan.best.targets)
    assert rows.ways[0].mark == "taken"
    assert rows.best.first == f"{100 * plan.best.chance_first:.0f} in 100" or "100" in rows.best.first


def test_lines_stand_under_their_condition() -> None:
    lines = ["a: 1 → 2", "b (rises)", "at pitch:", "- c: 3", "- d: 4", "before retuning:", "- e: 5", "f: 6"]
    assert under_conditions(lines) == (
        ("", ("a: 1 → 2", "b (rises)")), ("at pitch:", ("c: 3", "d: 4")),
        ("before retuning:", ("e: 5",)), ("", ("f: 6",)),
    )  # fmt: skip
    assert under_conditions(()) == ()
