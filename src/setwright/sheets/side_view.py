"""The instrument from the bass side, to scale: neck, strings, bridge and cavity, before thin and after thick.

Three parts on one sheet: the whole, the bridge large, and what is too small to see at either scale as enlarged details.
"""

from __future__ import annotations

from collections.abc import Callable

from setwright.frozen import frozen
from setwright.sheets.details import Detail, draw_details
from setwright.sheets.dimensions import (
    EDGE,
    ROW,
    TYPE,
    WIDEST,
    WIDTH,
    Pen,
    Window,
    fit,
    heading,
    largest,
    lines,
    named,
    scale_bar,
    wide,
)
from setwright.sheets.ink import HEAVY, PAPER, THIN, Point, page, text
from setwright.sheets.side_bridge import Beside, Body, Posture, Turn, draw_bridge

SMALL_SCALES = (1 / 3, 1 / 4, 1 / 5, 1 / 6, 1 / 8, 1 / 10)
STUB = 0.035  # m of headstock drawn before the nut
BEHIND = 0.02  # m of body drawn behind the bridge
STRETCHES = (200, 150, 100, 75, 50, 30, 20, 10, 5, 2, 1)
TALLEST = 8.0  # mm, of the bow drawn enlarged


@frozen
class Bow:
    """The neck's bow by itself: heights of the crowns over the line from the first to the last."""

    before: tuple[Point, ...]  # along, up [m]; none where it is not known
    after: tuple[Point, ...]
    half_width: tuple[float, ...]  # m at every crown, after
    words: str


@frozen
class SideSheet:
    """What is drawn."""

    title: str
    instrument: str
    system: str  # "mm" or "inch"
    mirrored: bool  # a left-handed instrument has its nut on the right
    scale: float  # m, nut to where the scale length ends
    scale_told: str
    fret: Point  # crown of the fret at which string heights are read [m]
    fret_told: str
    angle_told: str
    body: Body
    before: Posture | None
    after: Posture
    beside: tuple[Beside, ...]  # dimensions of the bridge
    bow: Bow
    details: tuple[Detail, ...]
    turns: tuple[Turn, ...]


def draw_side(sheet: SideSheet, width: float = WIDTH) -> str:
    """Side view of the whole instrument, of its bridge, and enlarged details.

    Args:
        sheet: what is drawn.
        width: of the paper [mm].
    Returns: an SVG document.
    Raises: InputError where a number is not finite.
    """
    pen = Pen(sheet.mirrored, width)
    size = largest(SMALL_SCALES, _reach(sheet)[1] - _reach(sheet)[0], _room(pen))
    what = (
        f"{named(sheet.instrument, 'from the bass side.')} Heavy: after the work."
        f"{' Thin broken: as found.' if sheet.before else ''} Dotted: not measured. Grey: holds 95 of 100."
    )
    marks, y = heading(sheet.title, what, width)
    parts: tuple[Callable[[float], tuple[list[str], float]], ...] = (
        lambda top: _whole(sheet, pen, size, top),
        lambda top: draw_bridge(
            pen, sheet.body, sheet.before, sheet.after, sheet.beside, sheet.turns, sheet.system, top
        ),
        lambda top: draw_details(sheet.details, top, width),
        lambda top: _turned(sheet, pen, top),
    )
    for draw in parts:
        more, y = draw(y)
        marks += more
    return page(width, y + 4.0, f"Side view: {sheet.title}", what, marks)


def _room(pen: Pen) -> float:
    """Between the edges of the paper [mm]."""
    return pen.width - 2.0 * EDGE


def _reach(sheet: SideSheet) -> tuple[float, float]:
    """What lies foremost and hindmost in the view of the whole [m]."""
    last = max([sheet.scale, *(p[0] for one in _states(sheet) for p in one.plate)])
    return -STUB, last + BEHIND


def _states(sheet: SideSheet) -> list[Posture]:
    return [one for one in (sheet.before, sheet.after) if one is not None]


def _whole(sheet: SideSheet, pen: Pen, size: float, top: float) -> tuple[list[str], float]:
    """The whole instrument with its scale length, and the bow of its neck by itself under it."""
    first, last = _reach(sheet)
    points = [p for one in _states(sheet) for p in (*one.board, *one.heel, *(s.saddle for s in one.strings))]
    high, low = max(p[1] for p in points), min(0.0, *(p[1] for p in points))
    y = top + 2.0 * ROW
    see = Window(first, EDGE, high, y, size)
    out = scale_bar(top + 1.0, "The whole", size, sheet.system, pen.width)
    body = sheet.body
    ends = [(body.pocket[-1][0], 0.0), (last, 0.0)]
    out.append(pen.run([see.at(p) for p in ends], THIN))
    out.append(pen.run([see.at(p) for p in body.pocket], THIN))
    if sheet.before is not None:
        out += _neck(sheet.before, pen, see, THIN)
    out += _neck(sheet.after, pen, see, HEAVY)
    nut = sheet.after.board[0]
    out.append(pen.not_measured([see.at(nut), see.at((first, nut[1]))]))
    out.append(pen.not_measured([see.at((nut[0], nut[1] - 0.02)), see.at((body.mouth[0], body.mouth[1]))]))
    foot = see.at((0.0, low))[1] + 3.0
    at, end = see.at((0.0, 0.0))[0], see.at((sheet.scale, 0.0))[0]
    row = foot + 5.0
    out += [pen.line((x, row - 7.0), (x, row + 1.0), THIN) for x in (at, end)]
    out.append(pen.level(row, at, end))
    mid = 0.5 * (at + end)
    half = 0.5 * wide(sheet.scale_told) + 1.5
    out.append(pen.area([(mid - half, row - 2.5), (mid + half, row - 2.5), (mid + half, row + 2.5),
                         (mid - half, row + 2.5)], PAPER, edge=False).replace('fill-opacity="0.75"', ""))  # fmt: skip
    out.append(pen.text((mid, row + 1.5), sheet.scale_told, "middle"))
    out.append(pen.text((see.at(sheet.fret)[0], y - 2.0), sheet.fret_told, "middle"))
    out.append(pen.line((see.at(sheet.fret)[0], y - 1.0), see.at(sheet.fret), THIN))
    more, y = _bow(sheet, pen, see, row + 6.0)
    return out + more, y


def _neck(one: Posture, pen: Pen, see: Window, weight: float) -> list[str]:
    """Board, heel, strings, plate and block in one state; strings stay thin."""
    dashed = weight == THIN
    out = [pen.run([see.at(p) for p in one.board], weight, dashed)]
    out.append(pen.run([see.at(p) for p in one.heel], weight, dashed))
    out += [pen.run([see.at(s.nut), see.at(s.saddle)], THIN, dashed) for s in one.strings]
    out.append(pen.run([see.at(p) for p in (*one.plate, one.plate[0])], weight, dashed))
    if one.block:
        out.append(pen.run([see.at(p) for p in one.block], weight, dashed))
    return out


def _bow(sheet: SideSheet, pen: Pen, see: Window, top: float) -> tuple[list[str], float]:
    """The crowns over the line from the first to the last, as much taller as there is room for."""
    bow = sheet.bow
    every = [p[1] for p in (*bow.before, *bow.after)]
    every += [p[1] + s * w for p, w in zip(bow.after, bow.half_width, strict=True) for s in (1.0, -1.0)]
    span = 1e3 * (max(every) - min(every)) * see.size
    stretch = next((s for s in STRETCHES if s * span <= TALLEST), 1)
    told = f"{sheet.angle_told} Bow, heights {stretch} times as tall. {bow.words}"
    out, y = [], top + 1.5
    for words in lines(told, _room(pen)):
        out.append(text((EDGE, y), words, TYPE))
        y += ROW
    zero = y - 2.5 + 1e3 * max(every) * see.size * stretch

    def at(point: Point) -> Point:
        return see.at((point[0], 0.0))[0], zero - 1e3 * point[1] * see.size * stretch

    upper = [at((x, h + w)) for (x, h), w in zip(bow.after, bow.half_width, strict=True)]
    under = [at((x, h - w)) for (x, h), w in zip(bow.after, bow.half_width, strict=True)]
    out.append(pen.area([*upper, *reversed(under)]))
    ends = [at((bow.after[0][0], bow.after[0][1])), at((bow.after[-1][0], bow.after[-1][1]))]
    out.append(pen.line(ends[0], ends[1], THIN))
    if bow.before:
        out.append(pen.run([at(p) for p in bow.before], THIN, dashed=True))
    out.append(pen.run([at(p) for p in bow.after], HEAVY))
    return out, zero - 1e3 * min(every) * see.size * stretch + 7.0


def _turned(sheet: SideSheet, pen: Pen, top: float) -> tuple[list[str], float]:
    """Everything the hand turns, in words, each with the arrow it has in the drawing."""
    out, y = [], top + 1.0 - ROW
    for words in lines("What the hand turns, from as found to the end", _room(pen) / WIDEST):
        y += ROW
        out.append(text((EDGE, y), words, TYPE, bold=True))
    if not sheet.turns:
        return [*out, text((EDGE, y + ROW), "nothing: all screws stay as they are", TYPE)], y + 2.0 * ROW
    column = 0.5 * _room(pen)
    long = [turn for turn in sheet.turns if wide(turn.words) > column - 8.5]
    short = [turn for turn in sheet.turns if turn not in long]
    half = (len(short) + 1) // 2
    for i, turn in enumerate(short):
        left, row = EDGE + column * (i // half), y + ROW * (i % half + 1)
        out.append(_way(turn, pen, left, row - 1.4))
        out.append(text((left + 8.0, row), turn.words, TYPE, accent=True))
    for i, turn in enumerate(long):  # over both columns
        row = y + ROW * (half + i + 1)
        out.append(_way(turn, pen, EDGE, row - 1.4))
        out.append(text((EDGE + 8.0, row), fit(turn.words, _room(pen) - 8.5), TYPE, accent=True))
    return out, y + ROW * (half + len(long))


def _way(turn: Turn, pen: Pen, left: float, middle: float) -> str:
    """The arrow of a turn as it stands in the drawing; a rod or springs have none there, and a dash here."""
    if turn.way == "up" or (turn.what == "shim" and turn.way == "in"):
        return Pen().arrow((left + 3.0, middle + 2.0), (left + 3.0, middle - 2.0), HEAVY, accent=True)
    if turn.way == "down" or turn.what == "shim":
        return Pen().arrow((left + 3.0, middle - 2.0), (left + 3.0, middle + 2.0), HEAVY, accent=True)
    if turn.what not in ("claw", "length"):
        return Pen().line((left + 1.0, middle), (left + 5.0, middle), HEAVY, accent=True)
    to_nut = turn.way in ("in", "forward")
    ends = (left + 6.0, middle), (left, middle)
    tail, tip = ends if to_nut is not pen.mirrored else ends[::-1]
    return Pen().arrow(tail, tip, HEAVY, accent=True)
