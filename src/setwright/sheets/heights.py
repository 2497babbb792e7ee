"""Side view of neck and strings, one for each string: to scale along the neck, heights stretched by a stated factor."""

from __future__ import annotations

from collections.abc import Callable

from setwright.frozen import frozen
from setwright.sheets.board import (
    LEFT,
    LETTER,
    OVER_FIRST,
    RIGHT,
    TOP,
    Along,
    Places,
    Room,
    cut,
    each_along,
    heading,
    numbers,
)
from setwright.sheets.ink import HEAVY, PLAIN, SMALL, THIN, band, line, page, run, text, upright

TALLEST = 34.0  # mm of one view
LOW = 6.0  # mm, of one; lower ones are hard to read
BEYOND = 20.0  # mm of paper beyond the scale's end, of a drawing that is printed
STRETCHES = (20, 15, 12, 10, 8, 6, 5, 4, 3, 2)
GAP = 9.0  # mm between views
CLEAR = 1.6  # mm, words of a dimension need beside their own height
CROWN = 1.6  # mm, of a crown's tick below its top
Level = Callable[[float], float]  # height [m] -> y [mm]


@frozen
class Line:
    """Neck and string in one state, heights over a line of the neck that both states share."""

    crowns: tuple[float, ...]  # m, of fret 1 and on
    nut: float  # m, underside in the slot
    saddle_x: float  # m
    saddle: float  # m, underside
    half_width: tuple[float, ...]  # m, of the underside at every fret


@frozen
class Dimension:
    """A height that carries its number."""

    fret: int
    words: str


@frozen
class Hollow:
    """Relief drawn in: the string held at two frets, read at a third."""

    hold: tuple[int, int]
    read: int
    words: str


@frozen
class View:
    """One string."""

    name: str
    now: Line
    before: Line | None
    dimensions: tuple[Dimension, ...]
    hollow: Hollow | None


@frozen
class HeightsSheet:
    """What is drawn."""

    title: str
    instrument: str
    when: str
    scale: float  # m
    fret_x: tuple[float, ...]  # m
    views: tuple[View, ...]
    places: tuple[Places, ...] = ()  # of every string where frets are fanned


def draw_heights(sheet: HeightsSheet, room: Room | None = None) -> str:
    """Side view under every string: crowns as ticks, undersides as lines, heights as dimensions.

    Args:
        sheet: what is drawn.
        room: on paper, where it is to fit in with letters that can be read; None where it is not printed.
    Returns: an SVG document.
    Raises: InputError where a number is not finite or frets are out of order.
    """
    right = RIGHT if room is None else BEYOND
    wheres = each_along(sheet.scale, sheet.fret_x, sheet.places, len(sheet.views), right, room)
    where, width = wheres[0], max(one.width for one in wheres)
    lines = [one for view in sheet.views for one in (view.now, view.before) if one is not None]
    low, high = min(min(*one.crowns, one.nut) for one in lines), max(max(one.saddle, one.nut) for one in lines)
    span = 1e3 * (high - low) / where.reduced
    tallest, under = TALLEST, 0.0
    if room is not None:  # views are low, and so words stand under them
        under = SMALL + 1.0
        words = under * sum(view.hollow is not None for view in sheet.views)
        tallest = min(TALLEST, room.each(width, len(sheet.views), TOP + 6.0 + words, GAP, LOW))
    stretch = next((s for s in STRETCHES if s * span <= tallest), 1)
    per_metre = 1e3 * stretch / where.reduced
    what = (
        f"Side view {sheet.when}; along the neck 1:{where.reduced}, heights {stretch} times as tall. "
        "Width of the string's line: holds 95 of 100."
    )
    what += OVER_FIRST if sheet.places else ""
    marks = [*heading(sheet.title, sheet.instrument, what, width), *numbers(where, TOP - 3.0)]
    y = TOP
    for view, own in zip(sheet.views, wheres, strict=True):
        marks += _view(view, own, y + per_metre * high, per_metre)
        y += per_metre * (high - low) + GAP + (under if view.hollow is not None else 0.0)
    legend = f"Ticks: crowns. Heavy line: underside of the string {sheet.when}."
    if any(view.before is not None for view in sheet.views):
        legend += " Thin broken line: as found."
    marks.append(text((LEFT, y), legend, SMALL))
    return page(width, y + 6.0, f"Heights: {sheet.title}", what, marks)


def _view(view: View, where: Along, zero: float, per_metre: float) -> list[str]:
    """One string over its crowns; `zero` is where the heights count from [mm]."""

    def level(height: float) -> float:
        return zero - per_metre * height

    now, nut = view.now, where.on_paper(where.nut_x)
    x = [where.on_paper(at) for at in where.fret_x]
    out = [text((4.0, level(now.nut) - 2.0), cut(view.name, LEFT - 6.0, PLAIN), PLAIN, bold=True)]
    if view.before is not None:
        out += _string(view.before, where, level, THIN)
    out += [line((at, level(y)), (at, level(y) + CROWN), HEAVY) for at, y in zip(x, now.crowns, strict=True)]
    out.append(run([(at, level(y) + CROWN) for at, y in zip(x, now.crowns, strict=True)], THIN))
    under = [level(_under(now, where, i)) for i in range(len(x))]
    edge = [per_metre * w for w in now.half_width]
    low, high = ([v + side * w for v, w in zip(under, edge, strict=True)] for side in (1.0, -1.0))
    out.append(band(x, low, high))
    out += _string(now, where, level, HEAVY)
    end = where.on_paper(now.saddle_x)
    out.append(line((nut, level(now.nut)), (nut, level(now.crowns[0]) + CROWN), HEAVY))
    out.append(line((end, level(now.saddle)), (end, level(now.saddle) + 5.0), HEAVY))
    out.append(text((end + 2.0, level(now.saddle) + 3.5), "saddle", SMALL))
    low_words = False
    for one in view.dimensions:
        i = one.fret - 1
        room = x[i] - nut > LETTER * SMALL * len(one.words) + 2.0  # words must not cross the nut
        side = "end" if room and one.fret < len(x) else "start"
        crown = level(now.crowns[i])
        if crown - under[i] >= SMALL + CLEAR:
            out.append(upright(x[i], crown, under[i], one.words, side))
        else:  # no room between string and crown: below, beside the arrow
            low_words = True
            out.append(upright(x[i], crown, under[i], ""))
            at = (x[i] + (1.0 if side == "start" else -1.0), crown + CROWN + SMALL + 0.4)
            out.append(text(at, one.words, SMALL, side))
    below = SMALL + 0.8 if low_words else 0.0
    return out + (_hollow(view.hollow, x, [level(y) for y in now.crowns], below) if view.hollow else [])


def _string(one: Line, where: Along, level: Level, weight: float) -> list[str]:
    """Underside from nut to saddle; the heavy one whole, the thin one broken."""
    ends = [(where.on_paper(where.nut_x), level(one.nut)), (where.on_paper(one.saddle_x), level(one.saddle))]
    return [run(ends, weight, dashed=weight == THIN)]


def _under(one: Line, where: Along, fret: int) -> float:
    """Underside of the open string over a fret, 0 the first."""
    share = (where.fret_x[fret] - where.nut_x) / (one.saddle_x - where.nut_x)
    return one.nut + share * (one.saddle - one.nut)


def _hollow(one: Hollow, x: list[float], y: list[float], below: float) -> list[str]:
    """The held string as a line over two crowns, and what is read under it, so much lower where words stand there."""
    a, c, b = one.hold[0] - 1, one.read - 1, one.hold[1] - 1
    out = [run([(x[a], y[a]), (x[b], y[b])], THIN, dashed=True)]
    over = y[a] + (x[c] - x[a]) / (x[b] - x[a]) * (y[b] - y[a])
    foot = max(y) + CROWN + 4.0 + below
    out.append(line((x[c], over), (x[c], foot - 2.6), THIN))
    return [*out, text((x[c], foot), one.words, SMALL, "middle")]
