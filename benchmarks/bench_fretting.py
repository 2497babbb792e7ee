"""Held notes per second on one core, against a plain Python loop in the same run.

    pytest benchmarks/bench_fretting.py -s

Fixed bridge: 6 strings x 24 frets x 10,000 instruments, every neck with frets of its own. Floating bridge: 6 strings x
22 frets x 70 instruments, plate and neck settling with every single note. The rivals work fewer notes and are scaled;
the loop over plain floats tunes nothing and finds each hull anew.
"""

from __future__ import annotations

import math
import time
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from setwright.instrument.geometry import build_rig, neck_point, pivot_line
from setwright.instrument.predict import balance_at
from setwright.physics import fretting
from setwright.physics.balance import equilibrium, repeat, take
from setwright.physics.frets import fret_position
from tests.judges import plain_fretting
from tests.judges.usual import AXIAL, BENDING, DIAMETER, HERTZ, UNIT_MASS, usual_settings, usual_traits

BATCH, STRINGS, FRETS = 10_000, 6, 24
FLOATING, FLOATING_FRETS = 70, 22
RIVALS = 15  # instruments
PLACE, DEPTH = 0.7, 2e-4
CONTACTS = ("nut_x", "nut_y", "saddle_x", "saddle_y", "aside")
OWN = ("unit_mass", "axial", "bending", "dead", "unstretched")


def ensemble() -> tuple[fretting.Layout, fretting.Wires]:
    """Instruments scattered about a usual one: relief, every crown, both ends and the stiffness of every string."""
    rng = np.random.default_rng(1)
    shape = (BATCH, STRINGS)
    x = fret_position(0.6477, np.arange(1, FRETS + 1))
    bow = rng.normal(0.002, 0.0005, (BATCH, 1, 1))
    y = 0.5 * bow * np.maximum(0.393 - x, 0.0) ** 2 + rng.normal(0.0, 2e-5, (*shape, FRETS))
    at = fretting.layout(
        np.zeros(shape),
        0.5 * bow[..., 0] * 0.393**2 + rng.normal(4.5e-4, 3e-5, shape),
        np.broadcast_to(x, y.shape),
        y,
        0.6497 + rng.normal(0.0, 5e-4, shape),
        rng.normal(4.3e-3, 3e-4, shape),
        np.linspace(-8.5e-3, 8.5e-3, STRINGS),
    )
    axial = AXIAL * (1.0 + rng.normal(0.0, 0.03, shape))
    return at, fretting.at_pitch(at, fretting.wires(UNIT_MASS, axial, BENDING, 0.1), HERTZ)


def plain(at: fretting.Layout, strings: fretting.Wires, count: int) -> list[plain_fretting.Held]:
    """The first strings as plain floats, before the clock runs."""
    shape = at.shape
    whole = {n: np.broadcast_to(getattr(at, n), shape[:-1]) for n in CONTACTS}
    whole |= {n: np.broadcast_to(getattr(strings, n), shape[:-1]) for n in OWN}
    return [
        plain_fretting.Held(
            crown_x=at.crown_x[b, s].tolist(),
            crown_y=at.crown_y[b, s].tolist(),
            **{n: float(v[b, s]) for n, v in whole.items()},
        )
        for b in range(count)
        for s in range(STRINGS)
    ]


def note_by_note(loop: list[plain_fretting.Held], want: Any) -> float:
    """Seconds per note of `fretted_notes` asked for one note at a time; the last fret asked for carries the note."""
    best = math.inf
    cases = [(i, one, n) for i, one in enumerate(loop[:2]) for n in range(1, FRETS + 1)]
    asked = [
        (
            fretting.layout(o.nut_x, o.nut_y, o.crown_x[:n], o.crown_y[:n], o.saddle_x, o.saddle_y, o.aside),
            fretting.wires(o.unit_mass, o.axial, o.bending, o.dead, o.unstretched),
        )
        for _, o, n in cases
    ]
    for _ in range(5):
        before = time.perf_counter()
        got = [fretting.fretted_notes(at, strings, PLACE, DEPTH).cents[-1] for at, strings in asked]
        best = min(best, (time.perf_counter() - before) / len(asked))
    assert max(abs(g - want[0, i, n - 1]) for g, (i, _, n) in zip(got, cases, strict=True)) < 1e-8
    return best


@pytest.mark.benchmark(group="fretting")
def test_fixed_bridge(benchmark: Any) -> None:
    at, strings = ensemble()
    notes = benchmark.pedantic(fretting.fretted_notes, args=(at, strings, PLACE, DEPTH), rounds=10, warmup_rounds=1)
    per_note = benchmark.stats.stats.min / (BATCH * STRINGS * FRETS)
    benchmark.extra_info["notes per second"] = round(1.0 / per_note)
    loop = plain(at, strings, RIVALS)
    best = math.inf
    for _ in range(3):
        before = time.perf_counter()
        cents = [[plain_fretting.cents(one, n, PLACE, DEPTH) for n in range(1, FRETS + 1)] for one in loop]
        best = min(best, (time.perf_counter() - before) / (len(loop) * FRETS))
    assert np.abs(np.array(cents) - notes.cents[:RIVALS].reshape(-1, FRETS)).max() < 1e-8  # the rival agrees
    benchmark.extra_info["times plain Python floats, note by note"] = round(best / per_note, 1)
    benchmark.extra_info["times the same functions, note by note"] = round(
        note_by_note(loop, notes.cents) / per_note, 1
    )
    print("\n", benchmark.extra_info)


@pytest.mark.benchmark(group="fretting")
def test_floating_bridge(benchmark: Any) -> None:
    traits = usual_traits()
    settings = balance_at(traits, usual_settings(), HERTZ, 0.0).settings
    rig = repeat(build_rig(traits, settings), FLOATING)
    rng = np.random.default_rng(1)
    rig = replace(rig, unstretched=rig.unstretched * (1.0 + rng.normal(0.0, 2e-4, rig.unstretched.shape)))
    rest = equilibrium(rig)
    x = fret_position(0.6477, np.arange(1, FLOATING_FRETS + 1))
    base = (pivot_line(traits, settings, traits.bridge.saddle_z) - 0.5 * DIAMETER)[:, None]
    parts = [neck_point(traits, settings, x, np.full(FLOATING_FRETS, 0.0134), np.asarray(b)) for b in rest.bow]
    crown_x = np.stack([np.tile(p[0] - traits.bridge.pivot_x, (STRINGS, 1)) for p in parts])
    crown_y = np.stack([p[1] - base for p in parts])
    args = (rig, rest, crown_x, crown_y, PLACE, DEPTH)
    benchmark.pedantic(fretting.fretted_notes_floating, args=args, rounds=10, warmup_rounds=1)
    per_note = benchmark.stats.stats.min / (FLOATING * STRINGS * FLOATING_FRETS)
    benchmark.extra_info["notes per second"] = round(1.0 / per_note)
    one = take(rig, slice(0, 1))
    best = math.inf
    for _ in range(20):
        before = time.perf_counter()
        equilibrium(one, start=rest.tilt[:1])
        best = min(best, time.perf_counter() - before)
    benchmark.extra_info["times one balance at a time"] = round(best / per_note, 1)
    print("\n", benchmark.extra_info)
