"""Heights in plain text: a table for each state, then the relief by each way of reading it."""

from __future__ import annotations

from collections.abc import Sequence

from setwright.bench.heights import HeightsShown, HeightsTable, length_words
from setwright.bench.standing import Banded
from setwright.cli.layout import columns, labelled, paragraph, section
from setwright.units.show import System

SIDE_BY_SIDE = {"mm": 6, "inch": 6}


def heights_text(result: HeightsTable, system: System) -> str:
    """The answer of `setwright heights`.

    Args:
        result: the table.
        system: "inch" or "mm".
    Returns: text of at most 80 columns.
    """
    head = paragraph(result.title)
    unit = "inches" if system == "inch" else "millimetres"
    lines = [
        *head,
        "=" * max(map(len, head)),
        *labelled("instrument", result.instrument),
        *labelled("heights", f"{unit}, from the crown to the underside of the open string"),
        *labelled("read as", result.height_read or "not read: worked out from the usual height of this bridge"),
        *labelled("relief", result.relief_read or "not read: worked out from the pattern of the neck"),
        *labelled("bands", "± holds 95 of 100 instruments and readings this may be"),
    ]
    for one in result.states:
        lines += section(one.when, _table(one.heights, result, system))
        if result.capo is not None:
            lines += section(f"with a capo on {result.capo}, {one.when}", _table(one.capoed, result, system))
        lines += section(f"relief, {one.when}", _relief(one, system))
    lines += section("remarks", [line for text in result.remarks for line in paragraph(f"- {text}", 2, 4)])
    return "\n".join(lines)


def _table(heights: Sequence[Sequence[Banded | None]], result: HeightsTable, system: System) -> list[str]:
    """Frets down, strings across, at most six in a row."""
    out: list[str] = []
    most = SIDE_BY_SIDE[system]
    for first in range(0, len(heights), most):
        group = range(first, min(first + most, len(heights)))
        rows: list[tuple[str, ...]] = [("fret", *(f"{s + 1}: {result.strings[s]}" for s in group))]
        for fret in result.wanted:
            cells = [heights[s][fret - 1] for s in group]
            if any(cells):
                rows.append((str(fret), *("" if one is None else _cell(one, system) for one in cells)))
        out += [*([""] if out else []), *columns(rows, 0, 1, range(len(rows[0])))]
    return out


def _cell(one: Banded, system: System) -> str:
    """A height without its unit, close set: six of them in 80 columns."""
    return length_words(one, system).rsplit(" ", 1)[0].replace(" ± ", "±")


def _relief(one: HeightsShown, system: System) -> list[str]:
    """One line for each way; the job's own is named."""
    rows = [
        (way.words, length_words(way.value, system), "read this way" if way.as_read and one.when == "as found" else "")
        for way in one.relief
    ]
    out = columns(rows, 0, 2, (1,))
    if any(way.value.value < 0.0 for way in one.relief):
        out += paragraph("Below zero the neck bends back: a held string would show no gap at all.")
    return out
