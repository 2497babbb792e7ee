"""Rests of the practice instrument per second on one core, each from the rest before, pegs scattered by a cent or two.

pytest benchmarks/bench_practice.py -s
"""

from __future__ import annotations

import time
from dataclasses import replace
from random import Random

from setwright.practice.instrument import Practice
from setwright.practice.physics import rest
from setwright.practice.told import hello

SEEDS, RESTS = (1, 3, 4, 6), 600


def test_rests_per_second() -> None:
    spent = 0.0
    for seed in SEEDS:
        first = hello(seed)
        practice = Practice(first, seed)
        for _ in range(10):
            for string, hertz in enumerate(first["goal"]["hz"], 1):
                practice.tune(string, hertz)
            if not practice.truth.at_stop:
                break
            practice.claw(-0.5)
        state, rng = practice.truth.state, Random(1)
        begun = time.process_time()
        for _ in range(RESTS):
            pegs = tuple(one * (1.0 + rng.gauss(0.0, 3e-5)) for one in state.whole)
            state = replace(rest(practice._body, replace(state, whole=pegs)).state, whole=state.whole)
        spent += time.process_time() - begun
    print(f"practice instrument: {len(SEEDS) * RESTS / spent:.0f} rests a second")
