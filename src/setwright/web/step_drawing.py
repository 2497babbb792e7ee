"""Which drawing goes with a step: the screws and the way they go, the shim, the wedge, the springs, the peg, the bands.

Which way a screw goes by its head (common practice, no source): claw, rod, saddle screws clockwise for in, tighter, up
and back; posts and pivot screws anticlockwise for up.
"""

from __future__ import annotations

import re

from setwright.bench.at_hand import Advice, AtHand, Deed, deeds_of_advice
from setwright.bench.foretold import Peg
from setwright.cli.step import amount_words
from setwright.cli.words import number, shim_size
from setwright.sheets.hand import Head, draw_claw, draw_heads, draw_shim, draw_springs, draw_wedge
from setwright.sheets.rest import Band, Lean, draw_bands, draw_lean
from setwright.units import show_turns
from setwright.units.show import System

BAND = 1.96  # standard uncertainties in the half width of 95 %
FINEST = 1 / 32  # turn
CLOCKWISE = {"in", "tighter", "back"}
_PLACES = re.compile(r"\d+")


def amount_of(deed: Deed, system: System) -> str:
    """An amount as a field holds it and the journal takes it.

    Args:
        deed: what is to be done.
        system: "inch" or "mm".
    Returns: e.g. "5/8 turn", "" where there is no amount.
    """
    if deed.value is None or not deed.kind:
        return ""
    if deed.kind == "turns":
        return show_turns(deed.value, FINEST) if deed.value >= 0.5 * FINEST else show_turns(FINEST, FINEST)
    if deed.kind == "hertz":
        return f"{deed.value:.2f} Hz"
    if deed.kind == "count":
        return f"{deed.value:.0f}"
    return shim_size(deed.value, system) if deed.kind == "thou" else number(deed.value, "length", system)


def drawing_of(found: AtHand, system: System) -> str:
    """The drawing of a step.

    Args:
        found: the step at hand.
        system: "inch" or "mm".
    Returns: an SVG document, "" where words do better.
    """
    mirrored = found.job.instrument.handed == "left"
    step, advice = found.next.step, found.next.advice
    if step is not None:
        return _hardware(found, system, mirrored)
    if advice is None:
        return ""
    return advice_drawing(advice, system, found.peg, found.job.want.pitch_tolerance.si, mirrored)


def advice_drawing(advice: Advice, system: System, peg: Peg | None, tolerance: float, mirrored: bool = False) -> str:
    """The drawing of a step of a balance.

    Args:
        advice: the step.
        system: "inch" or "mm".
        peg: the one at hand, None where none is turned or nothing is known of it.
        tolerance: of a pitch [cents].
        mirrored: a left-handed instrument.
    Returns: an SVG document, "" where words do better.
    """
    if advice.do == "tune" and peg is not None:
        lean = Lean(peg.now, _half(peg.now_sd), peg.to, _half(peg.left_sd), tolerance)
        return draw_lean(f"String {peg.string + 1}", lean)
    if advice.do == "claw":
        (deed,) = deeds_of_advice(advice)
        turns = (deed.value or 0.0) * (1.0 if deed.ways[0] == "in" else -1.0)
        return draw_claw("Both claw screws", f"{deed.ways[0]} {amount_of(deed, system)}", turns, mirrored)
    if advice.do == "springs":
        changed = None if advice.place is None else advice.place + 1
        return draw_springs("The springs that hang then", [one + 1 for one in advice.springs], mirrored, changed)
    if advice.do == "wedge":
        gap = "" if advice.gap is None else amount_of(deeds_of_advice(advice)[0], system)
        return draw_wedge("The wedge", gap, advice.gap is not None)
    return ""


def _hardware(found: AtHand, system: System, mirrored: bool) -> str:
    step, deeds = found.next.step, found.deeds
    assert step is not None
    if step.key == "claw" and len(deeds) == 1 and deeds[0].value is not None:
        turns = deeds[0].value * (1.0 if deeds[0].ways[0] == "in" else -1.0)
        return draw_claw(step.title, f"{deeds[0].ways[0]} {amount_of(deeds[0], system)}", turns, mirrored)
    if all(one.kind == "turns" and one.value is not None for one in deeds):
        return draw_heads(step.title, [head for one in deeds for head in _heads(step.key, one, system)])
    if step.key == "shim" and deeds:
        first = deeds[0]
        return draw_shim(step.title, first.before.split()[0], amount_of(first, system), first.ways == ("in",))
    if step.key == "hang springs":
        return draw_springs(step.title, [int(one) for one in _PLACES.findall(step.amounts[0].what)] or [1], mirrored)
    if step.key == "block":
        return draw_wedge(step.title, amount_of(deeds[0], system), True)
    return ""


def _heads(key: str, deed: Deed, system: System) -> list[Head]:
    """One head, or both of two that go alike."""
    way = deed.ways[0]
    clockwise = way in CLOCKWISE or (way == "up" and key == "saddles") or (way == "down" and key == "pivots")
    assert deed.value is not None
    turns = deed.value if clockwise else -deed.value
    words = f"{way} {amount_of(deed, system)}"
    names = ("treble side", "bass side") if deed.label.startswith("both") else (deed.label,)
    return [Head(name, words, turns) for name in names]


def standing_drawing(found: AtHand) -> str:
    """All strings as they stand and as they will after the step.

    Args:
        found: the step at hand.
    Returns: an SVG document, "" where nothing is believed yet.
    """
    standing, told = found.next.standing, found.foretold
    if standing is None:
        return ""
    peg = None if found.peg is None else found.peg.string
    bands = [
        Band(
            f"string {i + 1}", now, _half(standing.cents_sd[i]),
            None if told is None else told.cents[i], 0.0 if told is None else _half(told.cents_sd[i]), i == peg,
        )
        for i, now in enumerate(standing.cents)
    ]  # fmt: skip
    return draw_bands("Strings, from their own pitches", bands, found.job.want.pitch_tolerance.si)


def _half(sd: float) -> float:
    return max(BAND * sd, 0.1)


def lines_of(found: AtHand, system: System) -> list[tuple[str, str]]:
    """Amounts of a hardware step that has several, each with what it belongs to.

    Args:
        found: the step at hand.
        system: "inch" or "mm".
    Returns: pairs.
    """
    step = found.next.step
    if step is None:
        return []
    return [(amount_words(one, system, found.reference), one.what) for one in step.amounts]
