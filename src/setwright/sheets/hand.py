"""What the hand turns now: screw heads with the way they go, claw, shim, wedge and springs, drawn simply.

The amount is told by the drawing and beside it. A slot stands as it is in thin line and as it will be in thick line;
the way between is drawn with its arrow, whole turns as rounds of it. Seen from the head of the screw.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from setwright.frozen import frozen
from setwright.sheets.dimensions import wide
from setwright.sheets.ink import ACCENT, CUT, HEAVY, INK, THIN, TINT, Point, area, arrow, line, page, place, run, text

WIDTH = 120.0  # mm
TYPE = 4.4  # mm
HEAD, FIRST, ROUND = 6.5, 8.5, 1.5  # mm: radius of a head, of the way round it, and how much that grows in a turn
MOST_ROUNDS = 3.0  # turns drawn as rounds; more are told by the words
CELL = (40.0, 40.0)  # mm, of one head with its words
STEP = math.radians(5.0)


@frozen
class Head:
    """A screw. label: which; words: how far and which way; turns: clockwise above 0."""

    label: str
    words: str
    turns: float


def draw_heads(title: str, heads: Sequence[Head]) -> str:
    """Screws from their heads.

    Args:
        title: what is done.
        heads: the screws, from the treble side.
    Returns: an SVG document.
    """
    room = max(CELL[0], *(wide(one.words, TYPE, bold=True) + 3.0 for one in heads)) if heads else CELL[0]
    columns = max(min(len(heads), int(WIDTH // room)), 1)
    rows = math.ceil(len(heads) / columns)
    marks = []
    for i, one in enumerate(heads):
        row, column = divmod(i, columns)
        across = WIDTH / columns
        marks += _head(one, (across * (column + 0.5), CELL[1] * row + 20.0))
    about = "; ".join(f"{one.label}: {one.words}" for one in heads)
    return page(WIDTH, CELL[1] * rows + 2.0, title, about, marks)


def _head(one: Head, at: Point) -> list[str]:
    x, y = at
    ring = f'<circle cx="{place(x)}" cy="{place(y)}" r="{place(HEAD)}" fill="{CUT}" stroke="{INK}" stroke-width="0.3"/>'
    turned = 2.0 * math.pi * one.turns
    out = [text((x, y - 14.5), one.label, TYPE, "middle"), ring, _slot(at, 0.0, THIN, True), _slot(at, turned, 1.1)]
    return [*out, *_way_round(at, one.turns), text((x, y + 18.0), one.words, TYPE, "middle", accent=True, bold=True)]


def _slot(at: Point, angle: float, weight: float, dashed: bool = False) -> str:
    dx, dy = (HEAD - 1.4) * math.sin(angle), -(HEAD - 1.4) * math.cos(angle)
    return line((at[0] - dx, at[1] - dy), (at[0] + dx, at[1] + dy), weight, dashed)


def _way_round(at: Point, turns: float) -> list[str]:
    """The way a head goes, from the top, as a line that winds outwards."""
    drawn = math.copysign(min(abs(turns), MOST_ROUNDS), turns)
    count = max(int(abs(drawn) * 2.0 * math.pi / STEP), 2)
    points = []
    for i in range(count + 1):
        share = i / count
        angle, radius = 2.0 * math.pi * drawn * share, FIRST + ROUND * abs(drawn) * share
        points.append((at[0] + radius * math.sin(angle), at[1] - radius * math.cos(angle)))
    if math.dist(points[0], points[-1]) < 3.0 and abs(drawn) < 0.5:
        return [_tip(points[-1], _ahead(points, drawn)), run(points, HEAVY, accent=True)]
    return [run(points, HEAVY, accent=True), _tip(points[-1], _ahead(points, drawn))]


def _ahead(points: Sequence[Point], drawn: float) -> Point:
    (ax, ay), (bx, by) = points[-2], points[-1]
    length = math.hypot(bx - ax, by - ay) or 1.0
    return (bx - ax) / length, (by - ay) / length


def _tip(at: Point, way: Point) -> str:
    """A head of an arrow that goes on from a place."""
    (x, y), (ux, uy) = at, way
    points = ((x + 3.2 * ux, y + 3.2 * uy), (x + 1.3 * uy, y - 1.3 * ux), (x - 1.3 * uy, y + 1.3 * ux))
    way_round = "M" + " L".join(f"{place(a)} {place(b)}" for a, b in points)
    return f'<path d="{way_round} Z" fill="{ACCENT}"/>'


def draw_claw(title: str, words: str, turns: float, mirrored: bool = False) -> str:
    """The claw from behind, its wall to the right, and the heads of its screws.

    Args:
        title: what is done.
        words: how far and which way.
        turns: in above 0 [turns].
        mirrored: a left-handed instrument: treble below.
    Returns: an SVG document.
    """
    treble, bass = (58.0, 20.0) if mirrored else (20.0, 58.0)
    shift = math.copysign(min(4.0 + 1.5 * abs(turns), 8.0), turns)
    was, now, wall = 44.0, 44.0 + shift, 64.0
    marks = [area([(wall, 6), (wall + 5, 6), (wall + 5, 72), (wall, 72)]), line((wall, 6), (wall, 72), HEAVY)]
    marks += [text((wall + 2.5, 78.0), "wall", TYPE, "middle")]
    for y in (29.0, 39.0, 49.0):
        marks.append(_coil((6.0, y), (now - 3.0, y)))
    for y in (treble, bass):
        marks.append(line((now, y), (wall, y), 1.0))
        marks += [arrow((was, y - 7.5), (now, y - 7.5), HEAVY, accent=True)]
    marks += [
        f'<path d="M{place(was)} 14 L{place(was)} 64" stroke="{INK}" stroke-width="{place(THIN)}" '
        'stroke-dasharray="2 1.2"/>',
        area([(now - 3, 14), (now, 14), (now, 64), (now - 3, 64)]),
        line((now, 14), (now, 64), 0.8),
        text((24.0, 78.0), "springs", TYPE, "middle"),
        text((wall + 8.0, treble - 9.0), "treble", TYPE),
        text((wall + 8.0, bass + 12.5), "bass", TYPE),
    ]
    for y in (treble, bass):
        marks += _head(Head("", "", turns), (96.0, y))
    marks.append(text((96.0, 41.0), words, TYPE, "middle", accent=True, bold=True))
    return page(WIDTH, 82.0, title, f"Both claw screws {words}; the claw goes with them.", marks)


def _coil(a: Point, b: Point) -> str:
    """A spring between two places."""
    count = 14
    points = [a]
    for i in range(count):
        x = a[0] + 3.0 + (b[0] - a[0] - 6.0) * (i + 0.5) / count
        points.append((x, a[1] + (2.0 if i % 2 else -2.0)))
    return run([*points, b], 0.3)


def draw_shim(title: str, kind: str, words: str, inward: bool) -> str:
    """The pocket cut along its middle: the neck lifted a little, the shim on the floor.

    Args:
        title: what is done.
        kind: "strip", "wedge" or "flat".
        words: how thick.
        inward: it is laid in, not taken out.
    Returns: an SVG document.
    """
    floor, end = 42.0, 92.0
    body = [(8.0, 60.0), (8.0, floor), (end, floor), (end, 24.0), (114.0, 24.0), (114.0, 60.0)]
    neck = [(4.0, 8.0), (end - 2.0, 8.0), (end - 2.0, 30.0), (30.0, 30.0), (22.0, 22.0), (4.0, 20.0)]
    shims = {
        "strip": [(end - 14.0, floor), (end - 2.0, floor), (end - 2.0, floor - 3.0), (end - 14.0, floor - 3.0)],
        "wedge": [(30.0, floor), (end - 2.0, floor), (end - 2.0, floor - 3.5), (30.0, floor - 0.4)],
        "flat": [(30.0, floor), (end - 2.0, floor), (end - 2.0, floor - 2.5), (30.0, floor - 2.5)],
    }
    shim = shims.get(kind, shims["flat"])
    x = end - 8.0
    ends = ((x, 31.5), (x, 37.5)) if inward else ((x, 38.0), (x, 32.0))
    marks = [
        area(body), line((8.0, floor), (end, floor), HEAVY), line((end, floor), (end, 24.0), HEAVY), area(neck, CUT),
        f'<path d="{_closed(shim)}" fill="{ACCENT}"/>', arrow(*ends, HEAVY, accent=True),
        text((17.0, 16.5), "neck", TYPE), text((12.0, 55.0), "body", TYPE),
        text((114.0, 20.0), "bridge →", TYPE, "end"),
        text((x - 10.0, 37.0), f"{kind} shim {words}", TYPE, "end", accent=True, bold=True),
    ]  # fmt: skip
    way = "Laid on" if inward else "Taken off"
    return page(WIDTH, 64.0, title, f"{way} the floor of the pocket, {kind} shim {words}.", marks)


def _closed(points: Sequence[Point]) -> str:
    return "M" + " L".join(f"{place(x)} {place(y)}" for x, y in points) + " Z"


def draw_wedge(title: str, words: str, inward: bool) -> str:
    """The plate from the side, its rear edge on a wedge.

    Args:
        title: what is done.
        words: the rear gap, "" where the wedge goes out.
        inward: the wedge goes in, not out.
    Returns: an SVG document.
    """
    top, rear = 44.0, 84.0
    plate = [(18.0, 34.0), (rear, 28.0), (rear, 31.0), (18.0, 37.5)]
    wedge = [(rear - 16.0, top), (rear + 8.0, top), (rear + 8.0, 34.0), (rear - 2.0, 31.3), (rear - 16.0, 37.5)]
    out = 0.0 if inward else 12.0
    moved = [(x + out, y) for x, y in wedge]
    ends = ((rear + 18.0, 39.0), (rear + 10.0, 39.0)) if inward else ((rear + 21.0, 39.0), (rear + 29.0, 39.0))
    marks = [
        area([(4.0, 58.0), (4.0, top), (116.0, top), (116.0, 58.0)]), line((4.0, top), (116.0, top), HEAVY),
        area([(15.0, top), (21.0, top), (21.0, 40.0), (18.0, 36.0), (15.0, 40.0)], INK),
        f'<path d="{_closed(moved)}" fill="{TINT}" stroke="{ACCENT}" stroke-width="0.6"/>',
        area(plate, CUT), arrow(*ends, HEAVY, accent=True), text((18.0, 31.0), "pivot", TYPE, "middle"),
        text((50.0, 52.5), "body", TYPE, "middle"), text((50.0, 27.0), "plate", TYPE, "middle"),
    ]  # fmt: skip
    if words:
        marks += [line((rear + 1.0, 31.0), (112.0, 31.0)), arrow((110.0, 36.0), (110.0, 31.0)),
                  arrow((110.0, 39.0), (110.0, top)),
                  text((112.0, 25.0), words, TYPE + 1.0, "end", accent=True, bold=True)]  # fmt: skip
    about = f"The wedge goes under the rear edge, rear gap {words}." if inward else "The wedge goes out."
    return page(WIDTH, 60.0, title, about, marks)


def draw_springs(title: str, places: Sequence[int], mirrored: bool = False, changed: int | None = None) -> str:
    """The cavity from behind: the places of the claw, and which of them hold a spring.

    Args:
        title: what is done.
        places: that hold one then, from 1, counted from the treble side.
        mirrored: a left-handed instrument.
        changed: the one place where a spring comes off or on; None: all are hung.
    Returns: an SVG document.
    """
    count = max(5, *places)
    marks = [area([(14, 8), (18, 8), (18, 8 + 10 * count), (14, 8 + 10 * count)]),
             area([(100, 8), (103, 8), (103, 8 + 10 * count), (100, 8 + 10 * count)])]  # fmt: skip
    for one in range(1, count + 1):
        y = 13.0 + 10.0 * ((count - one) if mirrored else (one - 1))
        hung = one in places
        marks.append(_coil((18.0, y), (100.0, y)) if hung else line((18.0, y), (100.0, y), THIN, dashed=True))
        new = one == changed or (changed is None and hung)
        told = f"{one} {'on' if hung else 'off'}" if one == changed else str(one)
        marks.append(text((107.0, y + 1.5), told, TYPE, accent=new, bold=hung or new))
    low, high = (14.0 + 10.0 * count, 6.0) if mirrored else (6.0, 14.0 + 10.0 * count)
    marks += [text((107.0, low), "treble", TYPE), text((107.0, high), "bass", TYPE)]
    marks.append(text((16.0, 14.0 + 10.0 * count), "block", TYPE, "middle"))
    marks.append(text((99.0, 14.0 + 10.0 * count), "claw", TYPE, "middle"))
    told = ", ".join(str(one) for one in places)
    return page(WIDTH + 4.0, 20.0 + 10.0 * count, title, f"Springs at places {told}, counted from the treble.", marks)
