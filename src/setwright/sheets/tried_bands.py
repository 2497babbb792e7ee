"""Pitches and moments of a balance that is tried out, drawn so that a page can move their bands.

Pitches stand on one rule for all strings, even about nought and narrower farther out; a string's band is as wide as
its pitch is uncertain, the slot is what is tolerated. Moments are laid end to end, one below the other.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from setwright.frozen import frozen
from setwright.sheets.ink import ACCENT, CUT, HEAVY, INK, THIN, TINT, line, page, place, text

WIDTH, TYPE = 120.0, 4.6  # mm
SOFT, MOST = 5.0, 600.0  # cents: up to which the rule is about even, and its ends
TOLD = (0, 5, 20, 100, 600)  # cents
LEFT, ROW = 17.0, 8.0  # mm
LEAST = 0.5  # mm, the narrowest band that is seen
BEHIND = 0.3  # of the paper, for moments that press the rear down


@frozen
class Pitch:
    """A string: its name, cents from its pitch, half width; nan for a slack one."""

    name: str
    cents: float
    half: float


@frozen
class Turning:
    """One moment about the pivot, lifting the rear > 0 [N m]."""

    name: str
    moment: float
    half: float


def across(cents: float) -> float:
    """Where cents stand on the rule.

    Args:
        cents: from a string's own pitch [cents].
    Returns: [mm].
    """
    middle, half = 0.5 * (LEFT + WIDTH), 0.5 * (WIDTH - LEFT) - 5.0
    held = max(-MOST, min(MOST, cents))
    return middle + half * math.asinh(held / SOFT) / math.asinh(MOST / SOFT)


def draw_pitches(title: str, pitches: Sequence[Pitch], tolerance: float) -> str:
    """All strings.

    Args:
        title: of the drawing.
        pitches: from the thinnest string.
        tolerance: half width of the slot [cents].
    Returns: an SVG document; bands have the class band and stand in the order of the strings.
    """
    low = 3.0 + ROW * len(pitches)
    slot = across(-tolerance), across(tolerance)
    marks = [
        f'<g class="pitches" data-left="{LEFT}" data-soft="{SOFT}" data-most="{MOST}" data-width="{WIDTH}">',
        f'<rect class="slot" x="{place(slot[0])}" y="1" width="{place(slot[1] - slot[0])}" height="{place(low - 1.0)}" '
        f'fill="{CUT}" stroke="{INK}" stroke-width="{THIN}"/>',
    ]
    for i, one in enumerate(pitches):
        y = 3.0 + ROW * i
        marks.append(text((1.0, y + 5.2), one.name, TYPE))
        slack = math.isnan(one.cents)
        a, b = (across(-MOST), across(-MOST)) if slack else (across(one.cents - one.half), across(one.cents + one.half))
        spare = max(LEAST - (b - a), 0.0) / 2.0
        marks.append(
            f'<rect class="band" x="{place(a - spare)}" y="{place(y + 1.4)}" width="{place(b - a + 2.0 * spare)}" '
            f'height="4.6" fill="{ACCENT}"/>'
        )
    marks.append("</g>")
    marks.append(line((across(-MOST), low), (across(MOST), low), HEAVY))
    for mark in TOLD:
        for sign in (1, -1) if mark else (1,):
            x = across(sign * mark)
            marks.append(line((x, low), (x, low + 2.0)))
            words = f"{'+' if sign > 0 else '−'}{mark}" if mark else "0"
            marks.append(text((x, low + 6.5), words, TYPE - 0.8, "middle"))
    told = "; ".join(
        f"string {one.name}: " + ("slack" if math.isnan(one.cents) else f"{one.cents:+.1f} cents") for one in pitches
    )
    return page(WIDTH, low + 8.5, title, told.replace("-", "−"), marks)


def draw_turning(title: str, pulls: Sequence[Turning]) -> str:
    """Moments about the pivot end to end, and what is left for a stop.

    Args:
        title: of the drawing.
        pulls: strings, springs, weight.
    Returns: an SVG document; every moment is a path of the class moment with a band beside it.
    """
    far = 1.5 * max(max((abs(one.moment) for one in pulls), default=0.0), 0.5)
    low, left = 9.0 + ROW * (len(pulls) + 1), 22.0
    zero = left + BEHIND * (WIDTH - left)
    per = (WIDTH - 6.0 - zero) / far
    marks = [
        f'<g class="moments" data-zero="{zero}" data-per="{per:.4f}" data-row="{ROW}">',
        line((zero, 3.0), (zero, low - 3.0), THIN, dashed=True),
    ]
    total = 0.0
    for i, one in enumerate(pulls):
        y = 8.0 + ROW * i
        marks.append(text((1.0, y + 1.6), one.name, TYPE))
        marks += _moment(zero + per * total, zero + per * (total + one.moment), y, per * one.half)
        total += one.moment
    y = 8.0 + ROW * len(pulls)
    marks.append(text((1.0, y + 1.6), "left over", TYPE))
    x = zero + per * total
    way = f"M{place(x)} {place(y - 3.0)} L{place(x)} {place(y + 3.0)}"
    marks.append(f'<path class="left" d="{way}" stroke="{INK}" stroke-width="0.9"/>')
    marks.append("</g>")
    marks += [
        text((zero, low + 3.0), "0", TYPE - 0.8, "middle"),
        text((WIDTH - 1.0, low + 3.0), "lifts the rear →", TYPE - 0.8, "end"),
    ]
    about = "; ".join(f"{one.name} {one.moment:+.2f} newton metres" for one in pulls).replace("-", "−")
    return page(WIDTH, low + 5.0, title, about, marks)


def _moment(start: float, end: float, y: float, half: float) -> list[str]:
    wide = max(half, 0.0)
    band = (
        f'<rect class="doubt" x="{place(end - wide)}" y="{place(y - 2.2)}" width="{place(2.0 * wide)}" height="4.4" '
        f'fill="{TINT}" fill-opacity="0.75"/>'
    )
    return [band, f'<path class="moment" d="{shaft(start, end, y)}" fill="none" stroke="{INK}" stroke-width="0.7"/>']


def shaft(start: float, end: float, y: float) -> str:
    """A line with two short strokes for its head.

    Args:
        start: x of its tail [mm].
        end: x of its tip [mm].
        y: of both [mm].
    Returns: the data of an SVG path.
    """
    back = end - math.copysign(min(2.0, abs(end - start)), end - start)
    return (
        f"M{place(start)} {place(y)} L{place(end)} {place(y)} M{place(back)} {place(y - 1.3)} L{place(end)} {place(y)} "
        f"L{place(back)} {place(y + 1.3)}"
    )
