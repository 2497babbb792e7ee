"""What the benchmark of rounds counts and prints."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from benchmarks.bench_rounds import Run, Task, bands, failures, greeting, known, run, shares, table
from benchmarks.calibration import Witness
from setwright.bench.guided import told
from setwright.practice.instrument import Practice

ONE = Run(7, "Setwright", True, 10, 2, 80, 20.0, 15.0, 1e-4, 1.0, {"gap": (3, 4)})
POOR = replace(ONE, seed=8, passed=False, tunings=20, held={"gap": (1, 1), "pitch": (6, 6)}, course=("done",))


def test_a_line_counts_passes_and_gives_median_95_and_most() -> None:
    last = table({"Setwright": [ONE, POOR]}, "way").splitlines()[-1]
    assert last.startswith("| Setwright | 1 of 2 | 15 / 20 / 20 | 2 / 2 / 2 | 0 % |")


def test_a_third_setting_of_the_claw_is_counted() -> None:
    last = table({"Setwright": [ONE, replace(ONE, claws=3)]}, "way").splitlines()[-1]
    assert "| 50 % |" in last


def test_shares_are_added_over_runs() -> None:
    assert shares([ONE, POOR]) == {"gap": (4, 5), "pitch": (6, 6)}
    assert "| gap | 80.0 % | 5 |" in bands([ONE, POOR])


def test_failures_alone_are_shown_with_their_last_steps() -> None:
    assert failures([ONE, POOR]).splitlines()[0].startswith("Setwright, seed 8: gap +0.10 mm")
    assert failures([ONE]) == ""


def test_even_seeds_lie_near_the_fixed_instrument() -> None:
    assert greeting(2)["told"] == greeting(4)["told"]
    assert greeting(2)["job"]["found"] == "10"
    assert greeting(4)["job"]["found"] == "09"
    assert greeting(1)["told"] != greeting(3)["told"]


def test_what_is_known_has_next_to_no_spread() -> None:
    prior = known(told(greeting(2)).traits)
    sd = np.sqrt(np.diag(prior.covariance)) / np.array([part.sd for part in prior.parts])
    assert sd.max() < 0.01


def test_a_statement_far_from_the_truth_is_counted_outside() -> None:
    practice = Practice(greeting(2), 2)
    witness = Witness(practice, greeting(2))
    truth, free = witness._truth()
    assert not free
    ones = np.ones_like(truth)
    witness._compare("right", truth, truth + 1.9 * ones, ones, free, None)
    witness._compare("wrong", truth, truth + 2.0 * ones, ones, free, 0)
    assert witness.held() == {
        "right, pitches, on a stop": (6, 6),
        "right, gap, on a stop": (1, 1),
        "wrong, pitches, on a stop": (0, 5),
        "wrong, gap, on a stop": (0, 1),
    }


@pytest.mark.slow
def test_the_floor_passes_and_its_statements_hold() -> None:
    one = run(Task(6, "floor"))
    assert one.passed
    assert one.trouble == ""
    assert 6 <= one.tunings <= 20
    inside, count = (sum(pair[i] for pair in one.held.values()) for i in (0, 1))
    assert count > 50
    assert inside > 0.9 * count
