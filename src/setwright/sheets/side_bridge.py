"""Bridge, cavity, springs and claw from the side, as large as the paper lets them, with their dimensions."""

from __future__ import annotations

import math
from dataclasses import replace

from setwright.frozen import frozen
from setwright.sheets.dimensions import EDGE, ROW, WIDTH, Pen, Window, columns_of, largest, scale_bar, table, wide
from setwright.sheets.ink import HEAVY, THIN, TINT, Point, finite

SIZES = (2.0, 1.0, 0.5, 1 / 3, 0.25, 0.2)
STEP = 6.0  # mm between dimension lines
BESIDE = 2.0 * EDGE + 5.0 * STEP  # mm of the paper's width that dimensions and edges take
COILS = 13
COIL = 2.2e-3  # m, half the width of a drawn coil: by eye
WALL = 6e-3  # m of a wall above and below the claw's screw
INTO_BODY = 8e-3  # m of a string drawn in the body where there is no cavity
PASS = 7.5e-3  # m of the front wall left out above and below the springs
FRONT = 8e-3  # m of body drawn before what lies foremost
APART = 2.0  # mm between leaders, and between words and a leader


@frozen
class Cord:
    """One string in the side view."""

    name: str
    nut: Point  # m
    saddle: Point  # m
    foot: Point  # m, of the saddle on the plate
    anchor: Point  # m


@frozen
class Posture:
    """One state, in the frame of the body: along from the nut, up from the body top [m]."""

    board: tuple[Point, ...]
    heel: tuple[Point, ...]
    strings: tuple[Cord, ...]  # first and last
    pivot: Point
    plate: tuple[Point, ...]
    block: tuple[Point, ...]  # none on a fixed bridge
    hook: Point | None
    claw: Point | None  # hook line
    springs_told: str = ""  # how many hang


@frozen
class Body:
    """What stays where it is [m]."""

    mouth: Point
    pocket: tuple[Point, ...]
    opening: tuple[float, float] | None  # along: front and rear wall of the bridge's cavity
    depth: float  # up: how far down its walls are drawn
    deck: float  # up, of the body under the plate
    wall: Point | None  # where the claw's screws enter
    travel: tuple[Point, Point] | None  # least and greatest place of the hook line


@frozen
class Beside:
    """A dimension of the bridge: between two heights, or from wall to claw."""

    name: str
    was_told: str  # as found; "" where it is not known
    now_told: str  # "" where a detail tells it
    kind: str  # "up" or "claw"
    low: Point  # m
    high: Point  # m
    half_width: float  # m


@frozen
class Turn:
    """A screw the hand turns, or a part it lays in."""

    what: str  # "claw", "pivot", "saddle", "shim", "rod", "springs"
    words: str  # "both claw screws out 1 3/4 turns"
    short: str  # "out 1 3/4 turns"
    way: str  # "in", "out", "up", "down", "back", "forward", ""
    string: int = -1  # place among the drawn strings; -1: none of them


def draw_bridge(
    pen: Pen,
    body: Body,
    before: Posture | None,
    after: Posture,
    beside: tuple[Beside, ...],
    turns: tuple[Turn, ...],
    system: str,
    top: float,
) -> tuple[list[str], float]:
    """The bridge by itself.

    Args:
        pen: draws, or draws turned over.
        body: what stays.
        before: as found, or None.
        after: at the end of the work.
        beside: its dimensions.
        turns: what the hand turns.
        system: "mm" or "inch".
        top: where it begins on paper [mm].
    Returns: SVG, and where the next thing may begin [mm].
    """
    states = [one for one in (before, after) if one is not None]
    see, first, last, low = _window(body, states, top, pen.width - BESIDE)
    calls = _called(see, after, turns)
    lowest = top + ROW * (1.3 + max([0, *(call.row for call in calls)]))
    under = 8.0 if pen.width >= WIDTH else 12.0  # drawn smaller, letters of dimensions come near the words
    see = replace(see, top=lowest + under if calls else top + 2.0 * ROW)
    calls = _called(see, after, turns)
    out = scale_bar(top + 1.0, "The bridge", see.size, system, pen.width)
    out += _ground(pen, body, see, first, last)
    if before is not None:
        out += _state(pen, see, before, THIN, low)
    out += _state(pen, see, after, HEAVY, low)
    out += _screws(pen, see, body, after)
    out += _calls(pen, calls, lowest)
    named = {one.name: "abcdefgh"[i] for i, one in enumerate(beside)}
    out += _heights(pen, see, [one for one in beside if one.kind == "up"], see.at((last, 0.0))[0], named)
    y = see.at((0.0, low))[1] + 4.0
    for one in beside:
        if one.kind == "claw":
            out += _along(pen, see, one, y, named[one.name])
            y += 5.0
    told, each = [one for one in beside if one.now_told], columns_of(pen.width)
    for i in range(0, len(told), each):
        now = told[i : i + each]
        rows = [
            ("", [f"{named[one.name]}  {one.name}" for one in now]),
            ("found", [one.was_told for one in now]),
            ("after", [one.now_told for one in now]),
        ]
        more, y = table(y + 1.0, rows, least=each, width=pen.width)
        out += more
    return out, y + (7.0 if told else 8.0)


def _window(body: Body, states: list[Posture], top: float, room: float) -> tuple[Window, float, float, float]:
    """Where it lies on paper; the ends along, and the lowest point [m]."""
    points = [p for one in states for p in (*one.plate, *one.block, one.pivot)]
    points += [p for one in states for s in one.strings for p in (s.saddle, s.foot)]
    along = [p[0] for p in points]
    if body.wall is not None:
        along.append(body.wall[0])
    if body.opening is not None:
        along += body.opening
    first, last = min(along) - FRONT, max(along)
    size = largest(SIZES, last - first, room)
    high = max(p[1] for p in points)
    tails = [max(s.anchor[1], -INTO_BODY) for one in states for s in one.strings]
    low = min([p[1] for p in points] + tails + ([body.wall[1] - WALL] if body.wall else []) + [-0.001])
    return Window(first, EDGE, high, top, size), first, last, low


def _ground(pen: Pen, body: Body, see: Window, first: float, last: float) -> list[str]:
    """Body top, cut at the cavity, its walls, and the wall the claw is screwed to."""
    out: list[str] = []
    if body.opening is None:
        return [pen.line(see.at((first, 0.0)), see.at((last, 0.0)), THIN),
                *pen.hatch(see.at((last, 0.0)), see.at((first, 0.0)))]  # fmt: skip
    front, rear = body.opening
    out += [pen.line(see.at((first, 0.0)), see.at((front, 0.0)), THIN)]
    out += pen.hatch(see.at((front, 0.0)), see.at((first, 0.0)))
    out += [pen.line(see.at((rear, body.deck)), see.at((last, body.deck)), THIN)]
    out += pen.hatch(see.at((last, body.deck)), see.at((rear, body.deck)))
    parts = [(front, 0.0, body.depth, 1), (rear, body.deck, body.depth, -1)]
    if body.wall is not None:  # springs pass through the front wall
        parts[:1] = [(front, 0.0, body.wall[1] + PASS, 1), (front, body.wall[1] - PASS, body.depth, 1)]
    for x, top, foot, way in parts:
        ends = [see.at((x, top)), see.at((x, foot))]
        out.append(pen.line(ends[0], ends[1], THIN))
        out += pen.hatch(ends[0], ends[1]) if way > 0 else pen.hatch(ends[1], ends[0])
    if body.wall is not None:
        x, y = body.wall
        ends = [see.at((x, y + WALL)), see.at((x, y - WALL))]
        out += [pen.line(ends[0], ends[1], HEAVY), *pen.hatch(ends[0], ends[1])]
    return out


def _state(pen: Pen, see: Window, one: Posture, weight: float, low: float) -> list[str]:
    """Plate, block, saddles, strings, springs in one state."""
    dashed = weight == THIN
    plate = [see.at(p) for p in one.plate]
    out = []
    if not dashed and len(plate) > 2:
        out.append(pen.area(plate, TINT, edge=False))
    if one.block:
        out.append(pen.run([see.at(p) for p in one.block], weight, dashed))
    out.append(pen.run([*plate, plate[0]], weight, dashed))
    for cord in one.strings:
        out.append(pen.run([see.at(cord.foot), see.at(cord.saddle)], weight, dashed))
        slope = (cord.saddle[1] - cord.nut[1]) / (cord.saddle[0] - cord.nut[0])
        x = see.x
        start = (x, cord.saddle[1] - slope * (cord.saddle[0] - x))
        out.append(pen.run([see.at(start), see.at(cord.saddle)], THIN, dashed))
        if not dashed:
            out.append(pen.run([see.at(cord.saddle), see.at(_down_to(low, cord))], THIN))
    if one.block:
        x, y = see.at(one.pivot)
        out.append(pen.run([(x - 1.6, y - 1.8), (x, y), (x + 1.6, y - 1.8)], weight, dashed))
    if one.hook is not None and one.claw is not None:
        out += _spring(pen, see, one.claw, one.hook, weight)
    return out


def _down_to(low: float, cord: Cord) -> Point:
    """The string's end on the plate, or where the string leaves the drawing."""
    (x0, y0), (x1, y1) = cord.saddle, cord.anchor
    if y1 >= low:
        return x1, y1
    return x0 + (low - y0) / (y1 - y0) * (x1 - x0), low


def _spring(pen: Pen, see: Window, claw: Point, hook: Point, weight: float) -> list[str]:
    """A spring between claw and block; as found the claw alone."""
    if weight == THIN:
        x, y = see.at(claw)
        return [pen.line((x, y - 3.2), (x, y + 3.2), THIN, dashed=True)]
    dx, dy = hook[0] - claw[0], hook[1] - claw[1]
    long = math.hypot(dx, dy)
    ux, uy = dx / long, dy / long
    points = [claw]
    for i in range(COILS + 1):
        share = 0.15 + 0.7 * i / COILS
        off = COIL * (1.0 if i % 2 else -1.0)
        points.append((claw[0] + share * dx - off * uy, claw[1] + share * dy + off * ux))
    points.append(hook)
    return [pen.run([see.at(p) for p in points], THIN)]


def _screws(pen: Pen, see: Window, body: Body, after: Posture) -> list[str]:
    """The claw on its screws, with the ends of its travel; the pivot's screw."""
    out = []
    px, py = see.at(after.pivot)
    ground = see.at((after.pivot[0], 0.0))[1]
    if body.opening is not None:
        out += [pen.line((px - 1.0, py), (px - 1.0, ground), THIN), pen.line((px + 1.0, py), (px + 1.0, ground), THIN)]
    if body.wall is None or body.travel is None or after.claw is None:
        return out
    wall, near, far = (see.at(p) for p in (body.wall, *body.travel))
    out.append(pen.line(wall, far, THIN))
    out += [pen.line((x, y - 1.6), (x, y + 1.6), THIN) for x, y in (near, far)]
    x, y = see.at(after.claw)
    told = pen.text((max(x, far[0]) + 2.0, y - COIL * 1e3 * see.size - 1.2), after.springs_told)
    return [*out, pen.line((x, y - 3.2), (x, y + 3.2), HEAVY), told]


@frozen
class Call:
    """A turn with its place, and the row in which its words stand, 0 the lowest."""

    turn: Turn
    at: Point  # mm
    lead: float  # mm
    row: int


def _called(see: Window, after: Posture, turns: tuple[Turn, ...]) -> list[Call]:
    """Turns that have an arrow in this drawing, the hindmost first; words lie as low as those behind them let them."""
    placed: list[tuple[Point, Turn]] = []
    for one in turns:
        where = after.pivot if one.what == "pivot" else after.claw if one.what == "claw" else None
        if one.what == "saddle" and one.string >= 0:
            where = after.strings[one.string].saddle
        if where is not None:
            placed.append((see.at(where), one))
    placed.sort(key=lambda pair: pair[0][0], reverse=True)
    calls: list[Call] = []
    for at, one in placed:
        lead = min([at[0], *(call.lead - APART for call in calls)])  # two leaders never share a line
        end = lead + wide(one.short) + APART
        row = max([0, *(call.row + 1 for call in calls if call.lead < end)])
        calls.append(Call(one, at, lead, row))
    return calls


def _calls(pen: Pen, calls: list[Call], lowest: float) -> list[str]:
    """The arrow at every screw that is turned, with its amount over it."""
    out = []
    for call in calls:
        (x, y), one, row = call.at, call.turn, lowest - ROW * call.row
        if one.what == "claw":
            way = 4.0 if one.way == "out" else -4.0
            out.append(pen.arrow((x - way, y - 5.0), (x + way, y - 5.0), HEAVY, accent=True))
        else:
            tail, tip = (y - 1.0, y - 6.0) if one.way == "up" else (y - 6.0, y - 1.0)
            out.append(pen.arrow((call.lead, tail), (call.lead, tip), HEAVY, accent=True))
        out.append(pen.line((call.lead, row + 1.0), (call.lead, y - 6.0), THIN, accent=True))
        room, words = pen.width - EDGE - call.lead, one.short
        if wide(words) > room:  # the list below says it whole
            words = words.removesuffix(" turns").removesuffix(" turn")
        out.append(pen.text((call.lead, row), words, accent=True, room=room + EDGE - 1.0))
    return out


def _heights(pen: Pen, see: Window, beside: list[Beside], edge: float, named: dict[str, str]) -> list[str]:
    """Dimensions up the paper, each on a line of its own with its letter; the nearest to the bridge first."""
    out: list[str] = []
    for i, one in enumerate(sorted(beside, key=lambda one: one.high[0], reverse=True)):
        x, width = edge + 4.0 + STEP * i, 1e3 * finite(one.half_width) * see.size
        low, high = see.at(one.low), see.at(one.high)
        out += [pen.line((end[0] + 1.0, end[1]), (x + 1.2, end[1]), THIN) for end in (low, high)]
        out += _band(pen, (x - 1.2, high[1] - width), (x + 1.2, high[1] + width)) if width > 0.0 else []
        out.append(pen.upright(x, low[1], high[1]))
        out.append(pen.text((x, high[1] - (6.0 if high[1] > low[1] - 10.0 else 2.5)), named[one.name], "middle"))
    return out


def _band(pen: Pen, a: Point, b: Point) -> list[str]:
    """An uncertainty at the end of a dimension."""
    return [pen.area([a, (b[0], a[1]), b, (a[0], b[1])])]


def _along(pen: Pen, see: Window, one: Beside, y: float, letter: str) -> list[str]:
    """The claw's distance from its wall, under the drawing."""
    wall, claw = see.at(one.low), see.at(one.high)
    row, width = y + 2.0, 1e3 * finite(one.half_width) * see.size
    out = [pen.line((x, at + 3.5), (x, row + 1.2), THIN) for x, at in (wall, claw)]
    out += _band(pen, (claw[0] - width, row - 1.2), (claw[0] + width, row + 1.2)) if width > 0.0 else []
    out.append(pen.level(row, wall[0], claw[0]))
    out.append(pen.text((claw[0] + width + 6.0, row + 1.5), letter))
    return out
