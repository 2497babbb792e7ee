"""Bare numbers get the unit beside their field; everything else stays as it was typed."""

from __future__ import annotations

import pytest

from setwright.web.typed import completed, unit_of


@pytest.mark.parametrize(
    ("text", "unit", "whole"),
    [
        ("1.6", "mm", "1.6 mm"), ("1,6", "mm", "1,6 mm"), ("-4", "c", "-4 c"), ("−4", "c", "−4 c"),
        ("+.5", "c", "+.5 c"),
        (".010", "in", ".010 in"), ("1.6 ± 0.05", "mm", "1.6 ± 0.05 mm"),
        ("1.6 +/- 0.05", "mm", "1.6 +/- 0.05 mm"),
        ("5/64", "mm", "5/64"), ("2.5/32", "in", "2.5/32 in"), ("1 5/8", "turn", "1 5/8 turn"),
        ("3/4", "turn", "3/4 turn"),
        ("1.6 mm", "in", "1.6 mm"), ("E4 -3 c", "Hz", "E4 -3 c"), ("", "mm", ""), ("3", "", "3"),
        (" 1.6  mm ", "in", "1.6 mm"),
        ("1.6.2", "mm", "1.6.2"),
    ],
)  # fmt: skip
def test_completed(text: str, unit: str, whole: str) -> None:
    assert completed(text, unit) == whole


def test_units_of_kinds() -> None:
    assert unit_of("length", "thou", "mm") == "thou"
    assert unit_of("length", "furlong", "mm") == "mm"
    assert unit_of("length", "", "inch") == "in"
    assert unit_of("temperature", "", "inch") == "F"
    assert unit_of("pitch", "", "inch") == "c"
    assert unit_of("count", "", "mm") == ""
    assert unit_of("soul", "", "mm") == ""
