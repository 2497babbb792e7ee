"""Coupled six-string equilibria per second on one core, against one-at-a-time root finding in the same run.

    pytest benchmarks/bench_equilibrium.py -s

Every case scatters the pegs, spring rates and neck of a usual instrument. Rivals solve fewer rigs and are scaled.
"""

from __future__ import annotations

import math
import time
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq

from setwright.instrument.geometry import build_rig
from setwright.instrument.predict import balance_at
from setwright.physics.balance import Rig, equilibrium, repeat, settled_at, take
from tests.judges.usual import HERTZ, usual_settings, usual_traits

BATCH = 10_000
RIVALS = 20
XTOL = 1e-10


def ensemble() -> Rig:
    """10,000 instruments scattered about the usual one, level at pitch."""
    traits = usual_traits()
    rig = repeat(build_rig(traits, balance_at(traits, usual_settings(), HERTZ, 0.0).settings), BATCH)
    rng = np.random.default_rng(1)
    return replace(
        rig,
        unstretched=rig.unstretched * (1.0 + rng.normal(0.0, 4e-4, rig.unstretched.shape)),
        rate=rig.rate * (1.0 + rng.normal(0.0, 0.03, rig.rate.shape)),
        bow_stiffness=rig.bow_stiffness * (1.0 + rng.normal(0.0, 0.1, BATCH)),
    )


def one_at_a_time(rig: Rig) -> float:
    """Brent's method over the same residual, neck settling inside."""
    root, info = brentq(
        lambda t: float(settled_at(rig, t).contact[0]),
        float(rig.tilt_low[0]),
        float(rig.tilt_high[0]),
        xtol=XTOL,
        full_output=True,
    )
    assert info.converged
    return float(root)


def in_plain_floats(rig: Rig) -> float:
    """Brent's method over a residual in plain Python floats; the neck settles by three Newton steps."""
    v: dict[str, Any] = {n: getattr(rig, n)[0].tolist() for n in rig.__dataclass_fields__}
    names = ("saddle_aft", "saddle_up", "nut_x", "nut_y", "aside", "dead", "unstretched", "axial")
    strings = list(zip(*(v[n] for n in names), strict=True))
    names = ("hook_aft", "hook_up", "claw_x", "claw_y", "slant", "free", "rate", "closed_rate", "initial", "present")
    springs = [row[:-1] for row in zip(*(v[n] for n in names), strict=True) if row[-1]]
    gx, gy, neck, free_bow = v["nut_x_per_bow"], v["nut_y_per_bow"], v["bow_stiffness"], v["bow_free"]
    memory = [free_bow]

    def residual(tilt: float) -> float:
        c, s = math.cos(tilt), math.sin(tilt)
        bow, total = memory[0], 0.0
        for _ in range(3):
            total, pull, hold = 0.0, neck * (bow - free_bow), neck
            for aft, up, nx, ny, aside, dead, rest, axial in strings:
                px, py = aft * c - up * s, aft * s + up * c
                dx, dy = nx + bow * gx - px, ny + bow * gy - py
                length = math.sqrt(dx * dx + dy * dy + aside * aside)
                rate = axial / rest
                tension = rate * (length + dead - rest)
                if tension > 0.0:
                    reach = (dx * gx + dy * gy) / length
                    total += tension * (dx * py - dy * px) / length
                    pull += tension * reach
                    hold += rate * reach * reach
            bow -= pull / hold
            if abs(pull / hold) < 1e-9:
                break
        memory[0] = bow
        for aft, up, cx, cy, slant, free, rate, closed, initial in springs:
            qx, qy = aft * c - up * s, aft * s + up * c
            ex, ey = cx - qx, cy - qy
            span = math.sqrt(ex * ex + ey * ey + slant * slant)
            over = span - free
            force = initial + (rate if over >= 0.0 else closed) * over
            if force > 0.0:
                total += force * (ex * qy - ey * qx) / span
        return total  # playing position: the weight has no moment about the pivot

    return float(brentq(residual, v["tilt_low"], v["tilt_high"], xtol=XTOL))


@pytest.mark.benchmark(group="equilibrium")
def test_batch_against_one_at_a_time(benchmark: Any) -> None:
    rig = ensemble()
    state = benchmark.pedantic(equilibrium, args=(rig,), rounds=15, warmup_rounds=2)
    per_rig = benchmark.stats.stats.min / BATCH
    benchmark.extra_info["per second"] = round(1.0 / per_rig)
    members = [take(rig, np.array([n])) for n in range(RIVALS)]
    rivals = (("the same functions, batch of one", one_at_a_time), ("plain Python floats", in_plain_floats))
    for name, solve in rivals:
        best = math.inf
        for _ in range(5):
            before = time.perf_counter()
            tilts = [solve(member) for member in members]
            best = min(best, (time.perf_counter() - before) / RIVALS)
        assert np.abs(np.array(tilts) - state.tilt[:RIVALS]).max() < 1e-7  # the rivals solve the same problem
        benchmark.extra_info[f"times {name}"] = round(best / per_rig, 1)
    print("\n", benchmark.extra_info)
