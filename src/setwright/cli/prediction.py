"""A prediction in plain text: before, with the pegs left alone, retuned."""

from __future__ import annotations

import math
from collections.abc import Sequence

from setwright.bench.whatif import Banded, Shown, WhatIf
from setwright.cli.layout import columns, labelled, paragraph, section
from setwright.cli.words import number
from setwright.units.show import System

BAND_NOTE = "± holds 95 of 100 instruments this one may be."
UNHEARD = 0.05  # c
ALIKE = 5e-6  # m, the two ends of the plate count as one below this


def prediction(result: WhatIf, asked: str, system: System) -> str:
    """The answer of `setwright predict`.

    Args:
        result: the readings.
        asked: the changes as typed.
        system: "inch" or "mm".
    Returns: text of at most 80 columns.
    """
    states = (result.before, result.pegs_fixed, result.retuned)
    head = paragraph(result.title)
    lines = [
        *head,
        "=" * len(head[0]),
        *labelled("instrument", result.instrument),
        *labelled("change", asked or "none: the instrument as found"),
        *labelled("bands", BAND_NOTE),
        "",
        *columns(_rows(states, result.knife_edge, system)),
        *section("remarks", [line for text in result.remarks for line in paragraph(f"- {text}", 2, 4)]),
    ]
    return "\n".join(lines)


def _rows(states: Sequence[Shown], knife_edge: bool, system: System) -> list[tuple[str, ...]]:
    first = states[0]
    blank = ("", "", "", "")
    rows: list[tuple[str, ...]] = [("", "as found", "pegs left alone", "retuned")]
    if knife_edge:
        rows += _gaps(states, system)
    for i in range(len(first.height)):
        name = f"height, string {i + 1}, fret {first.fret}"
        rows.append(_row(name, [s.height[i] for s in states], "height", system))
    held = f"relief, held {first.hold[0]}+{first.hold[1]}, at {first.read}"
    rows += [_row(held, [s.relief for s in states], "height", system), blank]
    for i in range(len(first.pitch)):
        rows.append(_row(f"pitch, string {i + 1}", [s.pitch[i] for s in states], "cents", system))
    rows += [blank, _row("all strings pull", [s.total for s in states], "force", system)]
    if knife_edge:
        rows.append(_row("presses on a stop", [s.contact for s in states], "moment", system))
    return rows


def _gaps(states: Sequence[Shown], system: System) -> list[tuple[str, ...]]:
    """Rear gap, one row when both ends agree."""
    if all(abs(s.rear_gap[0].value - s.rear_gap[1].value) < ALIKE for s in states):
        return [_row("rear gap", [s.rear_gap[0] for s in states], "length", system)]
    return [
        _row("rear gap, treble end", [s.rear_gap[0] for s in states], "length", system),
        _row("rear gap, bass end", [s.rear_gap[1] for s in states], "length", system),
    ]


def _row(name: str, values: Sequence[Banded], kind: str, system: System) -> tuple[str, ...]:
    return (name, *(_cell(one, kind, system) for one in values))


def _cell(one: Banded, kind: str, system: System) -> str:
    if kind != "cents":
        return number(one.value, kind, system, one.half_width)
    if math.isnan(one.value):
        return "slack"
    if abs(one.value) < UNHEARD and one.half_width < UNHEARD:
        return "0 c"
    sign = "+" if one.value > 0.0 else ""
    return f"{sign}{number(one.value, kind, system, one.half_width)}"
