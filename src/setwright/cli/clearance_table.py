"""Clearance in plain text: a map for each state, how low each string can go, bends that choke."""

from __future__ import annotations

from itertools import groupby

from setwright.bench.clearance import (
    FINEST,
    FIRST_BENT,
    Choke,
    ClearanceTable,
    Nearest,
    ReachShown,
    StringReach,
    stroke_words,
)
from setwright.bench.heights import length_words
from setwright.bench.standing import Banded
from setwright.cli.layout import columns, labelled, paragraph, section
from setwright.cli.words import number
from setwright.units.show import MINUS, System, show_turns
from setwright.units.tables import unit_size

SIDE_BY_SIDE = 6
QUARTER = 1 / 4  # turn, what bands of turns are told in
HUNDREDTH = 1e-5  # m


def clearance_text(result: ClearanceTable, system: System) -> str:
    """The answer of `setwright clearance`.

    Args:
        result: the table.
        system: "inch" or "mm".
    Returns: text of at most 80 columns.
    """
    head = paragraph(result.title)
    unit = "thou" if system == "inch" else "hundredths of a millimetre"
    lines = [
        *head,
        "=" * max(map(len, head)),
        *labelled("instrument", result.instrument),
        *labelled("stroke", stroke_words(result)),
        *labelled("map", f"{unit} ± band, then the fret it comes nearest to; below zero it touches"),
        *labelled("bands", "± holds 95 of 100 instruments and strokes this may be"),
    ]
    for one in result.states:
        lines += section(f"least clearance, {one.when}", _map(one, result, system))
        lines += section(f"how low, {one.when}", _lowest(one, result, system))
        lines += section(f"bends that choke, {one.when}", _bends(one.chokes, result))
    lines += section("remarks", [line for text in result.remarks for line in paragraph(f"- {text}", 2, 4)])
    return "\n".join(lines)


def _map(one: ReachShown, result: ClearanceTable, system: System) -> list[str]:
    """Stops down, strings across, at most six in a row."""
    out: list[str] = []
    for first in range(0, len(one.strings), SIDE_BY_SIDE):
        group = one.strings[first : first + SIDE_BY_SIDE]
        rows: list[tuple[str, ...]] = [("stop", *(f"{s.string}: {result.strings[s.string - 1]}" for s in group))]
        rows += [
            ("open" if stop == 0 else str(stop), *(_cell(s.nearest[stop], system) for s in group))
            for stop in range(len(group[0].nearest))
        ]
        out += [*([""] if out else []), *columns(rows, 0, 2, range(len(rows[0])))]
    return out


def _cell(one: Nearest, system: System) -> str:
    """Whole units, close set: six of them in 80 columns."""
    unit = unit_size("length", "thou") if system == "inch" else HUNDREDTH
    value = f"{round(one.clearance.value / unit):d}".replace("-", MINUS)
    return f"{value}±{max(round(one.clearance.half_width / unit), 1):d} {one.ahead:>2}"


def _lowest(one: ReachShown, result: ClearanceTable, system: System) -> list[str]:
    """One line for each string: how hard it may be struck, where it stands, how low it may go."""
    at = f"at {result.fret}"
    rows: list[tuple[str, ...]] = [
        ("string", "clean up to", f"height {at}", f"lowest {at}", "saddle", "± turns"),
    ]
    rows += [
        (
            str(s.string),
            _newtons(s.clean_to),
            length_words(s.height, system),
            length_words(s.lowest, system),
            _saddle(s),
            _turns_band(s.turns),
        )
        for s in one.strings
    ]
    out = columns(rows, 0, 2, (0, 1, 2, 3, 5))
    short: dict[str, list[str]] = {}
    for s in one.strings:
        if not s.enough:
            short.setdefault(_short(s, system), []).append(str(s.string))
    for words, strings in short.items():
        out += paragraph(f"- String {', '.join(strings)}: {words}", 0, 2)
    return out


def _newtons(one: Banded) -> str:
    return f"{one.value:.1f} ± {max(one.half_width, 0.1):.1f} N"


def _saddle(one: StringReach) -> str:
    turns = show_turns(abs(one.turns.value), FINEST)
    return "stays" if turns == "no turn" else f"{turns} {'down' if one.down.value > 0.0 else 'up'}"


def _turns_band(one: Banded) -> str:
    return show_turns(max(one.half_width, QUARTER), QUARTER).replace(" turns", "").replace(" turn", "")


def _short(one: StringReach, system: System) -> str:
    """Where the saddle's room ends first."""
    room = number(one.room, "height", system)
    if one.down.value > 0.0:
        return f"the saddle goes down {room} only; a shim in the pocket gives it room."
    return (
        f"the saddle goes up {room} only, which is not enough for this stroke; a lighter stroke, "
        "a thinner shim or less relief taken out makes it possible."
    )


def _bends(chokes: tuple[Choke, ...], result: ClearanceTable) -> list[str]:
    """One line for each string."""
    if not chokes:
        return paragraph(
            f"None up to {result.most_bend:.0f} c from fret {FIRST_BENT} on, as far as a hand bends; strings at rest."
        )
    out: list[str] = []
    for string, each in groupby(chokes, key=lambda one: one.string):
        words = ", ".join(f"fret {one.fret} at {one.cents:.0f} c (on {one.ahead})" for one in each)
        out += paragraph(f"string {string}: {words}", 0, 10)
    return [*out, *paragraph("Told in steps of 25 c, with the crown it comes down on; strings at rest.")]
