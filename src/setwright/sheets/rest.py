"""Where strings stand: every pitch a band as wide as it is uncertain, over the slot it has to lie in.

The peg at hand has two rules: above, the pitch as it sounds now; below, where the same string will stand once the
others are up and the plate has come to rest. The string leans from one to the other as far as the others will still
pull it. It is right when its foot lies in the slot, not when its head stands at nought.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from setwright.frozen import frozen
from setwright.sheets.ink import ACCENT, CUT, HEAVY, INK, THIN, TINT, line, page, place, text

WIDTH = 120.0  # mm
TYPE = 4.4  # mm
SOFT = 5.0  # cents, up to which the rule of all strings is about even; beyond it narrows
MARKS = (0, 2, 5, 10, 20, 50, 100, 200, 500, 1000)  # cents
REACHES = (10.0, 25.0, 60.0, 150.0, 400.0, 1200.0, 4800.0)  # cents from the middle of the rule to its end
HALF = 54.0  # mm from the middle of a rule to its end
HEAD, FOOT = 22.0, 56.0  # mm, height of the two rules of a peg
APART = 14.0  # mm, between two marks that are told
LEAST = 0.35  # mm, the narrowest band that is seen
Scale = Callable[[float], float]  # mm across the paper, of cents


@frozen
class Band:
    """A string. cents from its own pitch; half: of the band; None where nothing is known."""

    label: str
    now: float
    now_half: float
    after: float | None = None
    after_half: float = 0.0
    mark: bool = False  # it is the one that is set


@frozen
class Lean:
    """The peg at hand, cents from the string's own pitch. to: what it is to sound at now; foot_half: half width of
    where it will end when it sounds at that."""

    now: float
    now_half: float
    to: float
    foot_half: float
    tolerance: float


def draw_bands(title: str, bands: Sequence[Band], tolerance: float) -> str:
    """All strings as they stand and as they will after the step.

    Args:
        title: of the drawing.
        bands: from the thinnest string.
        tolerance: half width of the slot [cents].
    Returns: an SVG document.
    """
    ends = [abs(v) + h for one in bands for v, h in ((one.now, one.now_half), (one.after or 0.0, one.after_half))]
    most = max(*ends, 4.0 * tolerance)
    left, row = 24.0, 9.0
    middle, half = left + 0.5 * (WIDTH - left) - 2.0, 0.5 * (WIDTH - left) - 5.0

    def x(cents: float) -> float:
        return middle + half * math.asinh(max(-most, min(most, cents)) / SOFT) / math.asinh(most / SOFT)

    low = 8.0 + row * len(bands)
    marks = [
        f'<rect x="{place(x(-tolerance))}" y="6" width="{place(x(tolerance) - x(-tolerance))}" '
        f'height="{place(low - 6.0)}" fill="{CUT}" stroke="{INK}" stroke-width="{place(THIN)}"/>'
    ]
    for i, one in enumerate(bands):
        y = 8.0 + row * i + 0.5 * row
        marks.append(text((1.0, y + 1.5), one.label, TYPE, accent=one.mark, bold=one.mark))
        marks.append(_bar(x, one.now, one.now_half, y - 3.2, 2.4, False))
        if one.after is not None:
            marks.append(_bar(x, one.after, one.after_half, y + 0.2, 3.2, True))
    marks += _rule(x, most, low)
    told = "; ".join(f"{one.label} {one.now:+.1f} cents" for one in bands)
    return page(WIDTH, low + 9.0, title, f"Thin: now. Thick: after the step. {told}.".replace("-", "−"), marks)


def _bar(x: Scale, at: float, half: float, top: float, height: float, filled: bool) -> str:
    a, b = x(at - half), x(at + half)
    if b - a < LEAST:
        a, b = 0.5 * (a + b - LEAST), 0.5 * (a + b + LEAST)
    box = f'x="{place(a)}" y="{place(top)}" width="{place(b - a)}" height="{place(height)}"'
    fill, weight = (TINT, HEAVY) if filled else ("none", THIN)
    return f'<rect {box} fill="{fill}" stroke="{INK}" stroke-width="{place(weight)}"/>'


def _rule(x: Scale, most: float, low: float) -> list[str]:
    """The marks of a rule below everything; those that would stand on each other are left out."""
    out = [line((x(-most), low), (x(most), low), HEAVY)]
    last = -1e9
    for one in (one for one in MARKS if one <= most):
        if x(one) - last < APART:
            continue
        last = x(one)
        for sign in (1, -1) if one else (1,):
            out.append(line((x(sign * one), low), (x(sign * one), low + 2.0)))
            words = f"{'+' if sign > 0 else '−'}{one} c" if one else "0"
            out.append(text((x(sign * one), low + 6.5), words, TYPE - 0.6, "middle"))
    return out


def reach_of(lean: Lean) -> float:
    """How far the rules go either way of their middle.

    Args:
        lean: the peg.
    Returns: [cents].
    """
    far = max(abs(lean.now - 0.5 * lean.to) + abs(lean.to), 4.0 * lean.tolerance)
    return next((one for one in REACHES if far <= 0.92 * one), REACHES[-1])


def draw_lean(title: str, lean: Lean) -> str:
    """The peg at hand.

    Args:
        title: of the drawing.
        lean: the peg.
    Returns: an SVG document; what moves has classes, and all it is drawn from stands in data- attributes.
    """
    reach, middle = reach_of(lean), 0.5 * lean.to

    def x(cents: float) -> float:
        return WIDTH / 2 + HALF * max(-1.0, min(1.0, (cents - middle) / reach))

    slot = (x(-lean.tolerance), x(lean.tolerance))
    data = {"to": lean.to, "foot": lean.foot_half, "tolerance": lean.tolerance}
    said = " ".join(f'data-{name}="{value:.3f}"' for name, value in data.items())
    marks = [
        f'<g class="lean" {said}>',
        text((2.0, 7.0), "as it sounds now, in cents from its own pitch", TYPE),
        text((2.0, FOOT + 16.5), "when the others are up", TYPE),
        text((WIDTH - 2.0, FOOT + 16.5), "← let off, wind on →", TYPE, "end"),
        f'<rect class="slot" x="{place(slot[0])}" y="{place(FOOT - 5)}" width="{place(slot[1] - slot[0])}" height="10" '
        f'fill="{CUT}" stroke="{INK}" stroke-width="0.5"/>',
        line((WIDTH / 2 - HALF, HEAD), (WIDTH / 2 + HALF, HEAD), THIN),
        line((WIDTH / 2 - HALF, FOOT), (WIDTH / 2 + HALF, FOOT), THIN),
        f'<path class="right" d="M{place(x(lean.to))} {place(HEAD - 6)} L{place(x(lean.to))} {place(HEAD)} '
        f'L{place(x(0.0))} {place(FOOT)}" fill="none" stroke="{INK}" stroke-width="0.5" stroke-dasharray="2 1.2"/>',
        f'<path class="string" d="{leaning(x, lean)}" fill="{TINT}" fill-opacity="0.75" stroke="{INK}" '
        'stroke-width="0.25"/>',
        f'<path class="middle" d="M{place(x(lean.now))} {place(HEAD - 4)} L{place(x(lean.now))} {place(HEAD)} '
        f'L{place(x(lean.now - lean.to))} {place(FOOT)}" fill="none" stroke="{ACCENT}" stroke-width="0.8"/>',
        f'<g class="marks">{"".join(_ticks(reach, middle))}</g>',
        "</g>",
    ]
    about = (
        f"The string stands {lean.now:+.1f} cents from its own pitch, ± {lean.now_half:.1f}; it is to sound at "
        f"{lean.to:+.1f} cents now, and ends in the slot of ± {lean.tolerance:.1f} cents."
    ).replace("-", "−")
    return page(WIDTH, FOOT + 20.0, title, about, marks)


def leaning(x: Scale, lean: Lean) -> str:
    """The outline of the string between the two rules, as wide as it is uncertain."""
    foot = math.hypot(lean.now_half, lean.foot_half)
    top = [x(lean.now - lean.now_half), x(lean.now + lean.now_half)]
    low = [x(lean.now - lean.to - foot), x(lean.now - lean.to + foot)]
    for pair in (top, low):
        if pair[1] - pair[0] < LEAST:
            pair[:] = [0.5 * (sum(pair) - LEAST), 0.5 * (sum(pair) + LEAST)]
    points = ((top[0], HEAD - 4.0), (top[1], HEAD - 4.0), (top[1], HEAD), (low[1], FOOT), (low[1], FOOT + 3.0),
              (low[0], FOOT + 3.0), (low[0], FOOT), (top[0], HEAD))  # fmt: skip
    return "M" + " L".join(f"{place(a)} {place(b)}" for a, b in points) + " Z"


def _ticks(reach: float, middle: float) -> list[str]:
    """Marks of both rules at even cents."""
    step = next(one for one in (2, 5, 10, 20, 50, 100, 200, 500, 1000) if reach / one <= 5.01)
    out = []
    for n in range(math.ceil((middle - reach) / step), math.floor((middle + reach) / step) + 1):
        x = WIDTH / 2 + HALF * (n * step - middle) / reach
        out += [line((x, y), (x, y + 2.0)) for y in (HEAD, FOOT)]
        if n % 2 and step == 1000:  # thousands stand on each other where all are told
            continue
        words = f"{n * step:+d}".replace("-", "−") if n else "0"
        out.append(text((x, FOOT + 10.0), words, TYPE - 0.8, "middle"))
    return out
