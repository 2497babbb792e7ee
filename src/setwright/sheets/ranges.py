"""How far the arm moves every string, down and up, until something ends the plate's way: one line for each string.

Semitones along the paper. The width at each end of a line is how unsure it is; a wished up-bend is a slot open to the
right.
"""

from __future__ import annotations

import math

from setwright.frozen import frozen
from setwright.sheets.dimensions import EDGE, ROW, TYPE, WIDTH, Pen, fit, heading, lines, named
from setwright.sheets.ink import CUT, HEAVY, INK, THIN, arrow, finite, line, page, place, text

NAMES, WORDS = 22.0, 46.0  # mm, columns beside the drawing
LOWEST = -24.0  # semitones, deeper dives run off the paper
STEPS = (1, 2, 5, 10)  # semitones between numbers
CLOSE = 8.0  # mm between numbers
TALL = 12.0  # mm for one string
HALF = 1.7  # mm, half the height of a band
LIP = 0.6  # semitones left free at both ends


@frozen
class Reach:
    """How far one string goes; minus infinity where it goes slack."""

    down: float  # semitones, <= 0
    down_half: float
    up: float  # semitones, >= 0
    up_half: float


@frozen
class Range:
    """One string."""

    name: str
    before: Reach | None
    after: Reach
    down_told: str
    up_told: str
    wished: float | None = None  # semitones up, at least
    verdict: str = ""  # of the wish
    met: bool = False  # surely


@frozen
class RangesSheet:
    """What is drawn."""

    title: str
    instrument: str
    ranges: tuple[Range, ...]
    stops: tuple[str, ...]  # what ends the way, as found and after, in words


def draw_ranges(sheet: RangesSheet) -> str:
    """Dive and up-bend of every string.

    Args:
        sheet: what is drawn.
    Returns: an SVG document.
    Raises: InputError where a number is not finite, minus infinity aside.
    """
    found = any(one.before is not None for one in sheet.ranges)
    what = (
        f"{named(sheet.instrument, 'how far the arm moves each string, in semitones.')} Heavy: after the work."
        f"{' Thin broken: as found.' if found else ''} Grey: holds 95 of 100."
    )
    if any(one.wished is not None for one in sheet.ranges):
        what += " Slot: where the up-bend shall end, at least."
    marks, y = heading(sheet.title, what)
    low, high = _ends(sheet)
    per = (WIDTH - 2.0 * EDGE - NAMES - WORDS) / (high - low)
    zero = EDGE + NAMES - per * low
    y += 3.0
    marks += _numbers(low, high, zero, per, y)
    top = y + 2.0
    y = top
    for one in sheet.ranges:
        y += TALL
        marks += _string(one, zero, per, y - 0.5 * TALL, low, high)
    marks.append(line((zero, top), (zero, y), THIN))
    y += 5.0
    for words in sheet.stops:
        for part in lines(words, WIDTH - 2.0 * EDGE):
            y += ROW
            marks.append(text((EDGE, y), part, TYPE))
    return page(WIDTH, y + 5.0, f"Ranges of the arm: {sheet.title}", what, marks)


def _ends(sheet: RangesSheet) -> tuple[float, float]:
    """Ends of the drawing [semitones]."""
    reaches = [r for one in sheet.ranges for r in (one.before, one.after) if r is not None]
    low = min([-1.0, *(max(r.down - r.down_half, LOWEST) for r in reaches)])
    high = max([1.0, *(r.up + r.up_half for r in reaches), *(one.wished or 0.0 for one in sheet.ranges)])
    return math.floor(low) - LIP, math.ceil(high) + LIP


def _numbers(low: float, high: float, zero: float, per: float, y: float) -> list[str]:
    """Semitones along the top."""
    step = next((s for s in STEPS if s * per >= CLOSE), STEPS[-1])
    out = []
    for n in range(math.ceil(low), math.floor(high) + 1):
        x = zero + per * n
        out.append(line((x, y + 1.2), (x, y + 2.6), THIN))
        if n % step == 0:
            out.append(text((x, y), f"{'+' if n > 0 else '−' if n < 0 else ''}{abs(n)}", TYPE, "middle"))
    return out


def _string(one: Range, zero: float, per: float, y: float, low: float, high: float) -> list[str]:
    """One string: slot, line as found, line after with its bands, words."""
    out = [text((EDGE, y + 1.5), fit(one.name, NAMES - 2.0, bold=True), TYPE, bold=True)]
    if one.wished is not None:
        x = zero + per * one.wished
        box = f'x="{place(x)}" y="{place(y - 3.6)}" width="{place(zero + per * high - x)}" height="7.2"'
        out.append(f'<rect {box} fill="{CUT}" stroke="{INK}" stroke-width="{place(THIN)}"/>')
    if one.before is not None:
        out += _line(one.before, zero, per, y + 3.0, low, THIN)
    out += _line(one.after, zero, per, y, low, HEAVY)
    column = WIDTH - EDGE - WORDS + 2.0
    told = (one.up_told, one.down_told)
    out += [text((column, y - 0.6 + ROW * i), fit(words, WORDS - 2.0), TYPE) for i, words in enumerate(told)]
    if one.wished is not None and one.verdict:
        at = (zero + per * one.wished, y - 4.4)
        out.append(text((zero - 2.0, at[1]), one.verdict, TYPE, "end"))
        if one.met:
            out[-1:] = Pen().rests((zero - 2.0, at[1] - 2.8), one.verdict, "end")
    return out


def _line(one: Reach, zero: float, per: float, y: float, low: float, weight: float) -> list[str]:
    """From the end of the dive to that of the up-bend; an arrow where it goes on."""
    left, right = zero + per * max(one.down, low), zero + per * one.up
    out = []
    if weight == HEAVY:
        for value, half in ((one.down, one.down_half), (one.up, one.up_half)):
            if finite(half) > 0.0 and value - half > low:
                a, b = zero + per * (value - half), zero + per * (value + half)
                out.append(Pen().area([(a, y - HALF), (b, y - HALF), (b, y + HALF), (a, y + HALF)]))
    dashed = weight == THIN
    if one.down <= low:
        out.append(line((left + 2.0, y), (right, y), weight, dashed))
        out.append(arrow((left + 2.5, y), (left, y), weight))
    else:
        out.append(line((left, y), (right, y), weight, dashed))
        out.append(line((left, y - HALF), (left, y + HALF), weight))
    return [*out, line((right, y - HALF), (right, y + HALF), weight)]
