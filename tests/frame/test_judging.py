"""The judge itself: what it accepts, what it refuses, what it writes."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from tests.judging import LaxToleranceError, Row, judge, page

GOOD: dict[str, Any] = {
    "what": "length",
    "expected": 10.0,
    "got": 10.05,
    "tolerance": 0.1,
    "unit": "mm",
    "source": "a book",
    "mark": "READ",
}


def test_a_value_inside_its_tolerance_gives_a_row() -> None:
    row = judge(**GOOD, module="m")
    assert (row.module, row.expected, row.tolerance, row.share, row.wrong) == ("m", "10", "0.1", "50 %", False)


@pytest.mark.parametrize("got", [10.2, 9.8, float("nan"), float("inf")])
def test_a_value_outside_fails(got: float) -> None:
    with pytest.raises(AssertionError, match="outside the tolerance"):
        judge(**GOOD | {"got": got})


@pytest.mark.parametrize(
    "change",
    [
        {"tolerance": 1.0},
        {"tolerance": 5.0},
        {"tolerance": -0.1},
        {"tolerance": float("nan")},
        {"expected": float("nan")},
        {"expected": [], "got": []},
        {"expected": 0.0, "got": 0.0},
        {"expected": 0.0, "got": 0.0, "scale": 0.5},
        {"expected": 0.0, "got": 0.0, "scale": -5.0},
        {"expected": [10.0, 0.5], "got": [10.0, 0.5]},
        {"mark": "SEEN"},
        {"unit": ""},
        {"source": " "},
    ],
)
def test_a_check_that_proves_nothing_is_refused(change: dict[str, Any]) -> None:
    with pytest.raises(LaxToleranceError):
        judge(**GOOD | change)


def test_zero_with_a_scale_and_exact_values_pass() -> None:
    assert judge(**GOOD | {"expected": 0.0, "got": 0.0, "scale": 5.0}).share == "under 1 %"
    assert judge(**GOOD | {"got": 10.0, "tolerance": 0.0}).share == "exact"
    assert (
        judge(**GOOD | {"expected": [1.0, 2.0], "got": [1.0, 2.0], "tolerance": [0.0, 0.1]}).share
        == "exact where asked"
    )


def test_arrays_are_judged_value_by_value() -> None:
    want = np.array([[10.0, 20.0], [30.0, 40.0]])
    row = judge(**GOOD | {"expected": want, "got": want + 0.08})
    assert (row.expected, row.share) == ("10 to 40 (4 values)", "80 %")
    with pytest.raises(AssertionError, match="1 of 4"):
        judge(**GOOD | {"expected": want, "got": want + np.array([[0, 0], [0, 0.3]])})
    with pytest.raises(AssertionError, match="shape"):
        judge(**GOOD | {"expected": want, "got": 10.0})


def test_a_wrong_input_must_be_seen_to_fail() -> None:
    assert judge(**GOOD, wrong=11.0).wrong
    with pytest.raises(AssertionError, match="deliberately wrong"):
        judge(**GOOD, wrong=10.01)


def test_the_page_is_sorted_and_safe() -> None:
    rows = [judge(**GOOD | {"what": name}, module=module) for module, name in (("b", "x"), ("a", "z|y"), ("a", "k\nl"))]
    text = page(rows)
    assert text == page(rows[::-1])
    assert text.index("## a") < text.index("| k l |") < text.index("| z\\|y |") < text.index("## b")
    assert "| READ | 3 |" in text


def test_the_fixture_leaves_a_row(judged: Callable[..., None], request: pytest.FixtureRequest) -> None:
    judged(**GOOD)
    (name, value), *_ = request.node.user_properties
    assert name == "judged"
    assert Row(**value).module == "judging"
    request.node.user_properties.clear()
