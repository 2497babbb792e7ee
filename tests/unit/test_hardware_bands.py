"""Bands of hardware steps: near those of the whole plan, which goes the way on every instrument, and quick."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest

from setwright.bench.hardware_bands import _spread, with_bands
from setwright.bench.journals import job_from
from setwright.bench.plans import plan_job, problem_from
from setwright.frozen import replace
from setwright.planning.bands import spread
from setwright.planning.found import settle_found
from setwright.planning.hardware import hardware
from setwright.planning.to_do import Hardware

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
NEAR = 0.25  # of the band of the plan: both are quantiles of some hundred instruments, of two ways to the same end
LONGEST = 0.1  # s of the processor


def todo(name: str) -> Hardware:
    return hardware(settle_found(problem_from(job_from(str(EXAMPLES / f"{name}.job.toml")))))


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "of"),
    [
        ("kestrel-float", {"string height"}), ("dunlin-heavier", {"string height"}), ("plover-dive", {"string height"}),
        ("curlew-low", {"string height", "octave error"}), ("lapwing-pull", {"string height", "octave error"}),
        ("wigeon-reradius", {"string height", "octave error"}),
    ],
)  # fmt: skip
def test_they_are_those_of_the_plan(name: str, of: set[str]) -> None:
    plan = plan_job(job_from(str(EXAMPLES / f"{name}.job.toml")))
    whole = {(step.key, one.quantity, one.place): one for step in plan.best.steps for one in step.effects}
    banded, seen = with_bands(todo(name)), set()
    for step in banded.steps:
        for one in step.effects:
            planned = whole[(step.key, one.quantity, one.place)]
            if planned.half_width is not None and one.quantity in of:
                seen.add(one.quantity)
                assert one.half_width == pytest.approx(planned.half_width, rel=NEAR), (step.key, one)
    assert seen == of


def test_only_bands_are_added_and_quickly() -> None:
    bare, times = todo("kestrel-float"), []
    for _ in range(3):
        begun = time.thread_time()
        banded = with_bands(bare)
        times.append(time.thread_time() - begun)
    assert min(times) < LONGEST
    stripped = tuple(
        replace(step, effects=tuple(replace(one, half_width=None) for one in step.effects)) for step in banded.steps
    )
    assert stripped == bare.steps
    shim = next(step for step in banded.steps if step.key == "shim")
    assert {one.quantity for one in shim.effects if one.half_width is None} == {
        "neck angle", "line of the neck at the bridge"
    }  # fmt: skip  # nothing that is known of the pocket varies them
    assert repr(with_bands(bare)) == repr(banded)


def test_the_block_of_a_plate_tilts_within_a_band() -> None:
    job = job_from(str(EXAMPLES / "kestrel-float.job.toml"))
    blocked = replace(job, want=replace(job.want, bridge="blocked"))
    banded = with_bands(hardware(settle_found(problem_from(blocked))))
    block = next(step for step in banded.steps if step.key == "block")
    assert block.effects[0].quantity == "tilt"
    assert block.effects[0].half_width is not None


@pytest.mark.parametrize("count", [2, 5, 256])
def test_a_band_holds_as_much_as_that_of_a_plan(count: int) -> None:
    values = np.random.default_rng(count).standard_normal(count) ** 3
    assert _spread(values) == pytest.approx(spread(values), rel=1e-12)


def test_no_effects_no_bands() -> None:
    bare = todo("kestrel-float")
    none = replace(bare, steps=tuple(replace(step, effects=()) for step in bare.steps))
    assert with_bands(none) is none
