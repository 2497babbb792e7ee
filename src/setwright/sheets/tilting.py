"""The bridge from the bass side while its balance is tried out: what moves carries classes and the places it moves by.

A page moves the plate about its pivot, the springs with claw and block, the strings with their saddles, and the marks
of the rear gap; drawn once it stands as it was worked out. The rear gap is told larger beside it: its slot, its band.
"""

from __future__ import annotations

import math

from setwright.frozen import frozen
from setwright.sheets.dimensions import Pen, Window
from setwright.sheets.ink import ACCENT, CUT, HEAVY, INK, THIN, TINT, Point, finite, line, page, place, plain, text
from setwright.sheets.side_bridge import Body, Posture

WIDTH, EDGE, TYPE = 120.0, 3.0, 4.6  # mm
ASIDE = 22.0  # mm beside the bridge, for its rear gap
TOP = 17.0  # mm over it, for words
HANDLE = 8.0  # mm, radius of what is taken hold of: 48 pixels across on a small telephone
COILS, COIL = 13, 2.2e-3  # m, half the width of a drawn coil: by eye
WALL = 6e-3  # m of a wall above and below the claw's screw
FRONT = 8e-3  # m of body drawn before what lies foremost
LARGER = (8.0, 5.0, 4.0, 3.0, 2.0, 1.0)  # times, the rear gap beside the bridge
TALL = 46.0  # mm of paper for it
LEAST = 0.35  # mm, the narrowest band that is seen
MARKS = {"mm": (1e-3, "mm"), "inch": (0.0254 / 32, "1/32 in")}  # m apart, and their unit


@frozen
class Tilting:
    """What is drawn. now: as believed; tried: with what is tried; per_turn: way of the hook line when both screws go in
    by a turn [m]. gap: rear gap tried, its half width, and as it is now [m]; slot: wanted and its tolerance [m]."""

    title: str
    about: str
    system: str  # "mm" or "inch"
    mirrored: bool
    body: Body
    now: Posture
    tried: Posture
    tilt: float  # rad, tried
    per_turn: Point
    gap: tuple[float, float, float]
    slot: tuple[float, float] | None
    said: str
    rests: bool
    amount: str  # what the claw does, in words


def draw_tilting(sheet: Tilting) -> str:
    """The bridge while it is tried out.

    Args:
        sheet: what is drawn.
    Returns: an SVG document; what moves stands in `g` with the classes plate, cords, spring, claw and gap.
    Raises: InputError where a number is not finite.
    """
    pen = Pen(sheet.mirrored, WIDTH)
    see, first, last, low = _window(sheet)
    deep = see.at((0.0, low))[1]
    size = 1e3 * see.size * (-1.0 if sheet.mirrored else 1.0)
    pivot = pen.at(see.at(sheet.tried.pivot))
    data = {
        "px": pivot[0], "py": pivot[1], "tilt": sheet.tilt, "turn-x": sheet.per_turn[0] * size,
        "turn-y": -sheet.per_turn[1] * 1e3 * see.size, "way": -1.0 if sheet.mirrored else 1.0,
    }  # fmt: skip
    held = " ".join(f'data-{name}="{finite(value):.6g}"' for name, value in data.items())
    marks = [f'<g class="bridge" {held}>', *_ground(pen, sheet.body, see, first, last), *_now(pen, see, sheet.now)]
    marks += [_cords(pen, see, sheet.tried), _plate(pen, see, sheet.tried), _spring(pen, see, sheet.tried)]
    marks += _claw(pen, see, sheet)
    marks += [_gap(sheet, see), "</g>"]
    y = deep + 4.0
    marks += _bar(see, y, sheet.system, ASIDE + 2.0 * EDGE if sheet.mirrored else EDGE)
    said = f'<text class="said" x="{place(EDGE)}" y="6.5" font-size="{TYPE - 0.3}" font-weight="600">'
    marks.append(f"{said}{plain(sheet.said)}</text>")
    return page(WIDTH, y + 6.0, sheet.title, sheet.about, marks)


def _window(sheet: Tilting) -> tuple[Window, float, float, float]:
    """Where it lies on paper; its ends along, and its lowest point [m]."""
    body, states = sheet.body, (sheet.now, sheet.tried)
    points = [p for one in states for p in (*one.plate, *one.block, one.pivot)]
    points += [p for one in states for cord in one.strings for p in (cord.saddle, cord.foot)]
    along = [p[0] for p in points]
    if body.wall is not None and body.travel is not None:
        along += [body.wall[0], *(one[0] for one in body.travel)]
    if body.opening is not None:
        along += body.opening
    first, last = min(along) - FRONT, max(along) + 3e-3
    size = (WIDTH - 2.0 * EDGE - ASIDE) / (1e3 * (last - first))
    high = max(p[1] for p in points) + 6e-3
    low = min(p[1] for p in points)
    if body.wall is not None:
        low = min(low, body.wall[1] - WALL, body.wall[1] - (2.0 * HANDLE + 6.0) / (1e3 * size))
    return Window(first, EDGE, high, TOP, size), first, last, low


def _ground(pen: Pen, body: Body, see: Window, first: float, last: float) -> list[str]:
    """Body top, cut at the cavity, its walls, and the wall the claw is screwed to."""
    assert body.opening is not None
    assert body.wall is not None
    front, rear = body.opening
    faces = [
        ((front, 0.0), (first, 0.0)), ((last, body.deck), (rear, body.deck)), ((rear, body.depth), (rear, body.deck)),
        ((front, 0.0), (front, body.wall[1] + 7.5e-3)),
    ]  # fmt: skip
    out = []
    for a, b in faces:
        start, end = see.at(a), see.at(b)
        out += [pen.line(start, end), *pen.hatch(start, end)]
    x, y = body.wall
    ends = see.at((x, y + WALL)), see.at((x, y - WALL))
    out += [pen.line(*ends, HEAVY), *pen.hatch(*ends)]
    return out


def _now(pen: Pen, see: Window, one: Posture) -> list[str]:
    """As believed: plate and claw in thin broken line."""
    out = [pen.run([*(see.at(p) for p in one.plate), see.at(one.plate[0])], THIN, dashed=True)]
    if one.block:
        out.append(pen.run([see.at(p) for p in one.block], THIN, dashed=True))
    if one.claw is not None:
        x, y = see.at(one.claw)
        out.append(pen.line((x, y - 3.4), (x, y + 3.4), THIN, dashed=True))
    return out


def _plate(pen: Pen, see: Window, one: Posture) -> str:
    """What turns about the pivot: plate, block, saddles; and the pivot under it, which stands."""
    plate = [see.at(p) for p in one.plate]
    out = [pen.area(plate, TINT, edge=False)]
    if one.block:
        out.append(pen.run([see.at(p) for p in one.block], HEAVY))
    out.append(pen.run([*plate, plate[0]], HEAVY))
    out += [pen.run([see.at(cord.foot), see.at(cord.saddle)], HEAVY) for cord in one.strings]
    x, y = see.at(one.pivot)
    ground = see.at((one.pivot[0], 0.0))[1]
    foot = [pen.line((x - 1.0, y), (x - 1.0, ground)), pen.line((x + 1.0, y), (x + 1.0, ground)),
            pen.run([(x - 1.8, y - 2.0), (x, y), (x + 1.8, y - 2.0)], HEAVY)]  # fmt: skip
    return f'<g class="plate">{"".join(out)}</g>{"".join(foot)}'


def _cords(pen: Pen, see: Window, one: Posture) -> str:
    """The outer strings, from the nut far outside the paper to their saddles, which turn with the plate."""
    out = []
    for cord in one.strings:
        (a, b), (c, d) = pen.at(see.at(cord.nut)), pen.at(see.at(cord.saddle))
        out.append(
            f'<path d="M{place(a)} {place(b)} L{place(c)} {place(d)}" data-nut="{a:.3f} {b:.3f}" '
            f'data-saddle="{c:.4f} {d:.4f}" fill="none" stroke="{INK}" stroke-width="{THIN}"/>'
        )
    return f'<g class="cords">{"".join(out)}</g>'


def coil(claw: Point, hook: Point, half: float) -> str:
    """The line of a spring.

    Args:
        claw: its end at the claw [mm].
        hook: its end at the block [mm].
        half: half the width of a coil [mm].
    Returns: the data of an SVG path.
    """
    dx, dy = hook[0] - claw[0], hook[1] - claw[1]
    long = math.hypot(dx, dy)
    ux, uy = dx / long, dy / long
    points = [claw]
    for i in range(COILS + 1):
        share, off = 0.15 + 0.7 * i / COILS, half * (1.0 if i % 2 else -1.0)
        points.append((claw[0] + share * dx - off * uy, claw[1] + share * dy + off * ux))
    return "M" + " L".join(f"{place(x)} {place(y)}" for x, y in (*points, hook))


def _spring(pen: Pen, see: Window, one: Posture) -> str:
    if one.hook is None or one.claw is None:
        return ""
    claw, hook, half = pen.at(see.at(one.claw)), pen.at(see.at(one.hook)), 1e3 * COIL * see.size
    told = f'data-claw="{claw[0]:.4f} {claw[1]:.4f}" data-hook="{hook[0]:.4f} {hook[1]:.4f}" data-half="{half:.3f}"'
    way = coil(claw, hook, half)
    return f'<path class="spring" {told} d="{way}" fill="none" stroke="{INK}" stroke-width="{THIN}"/>'


def _claw(pen: Pen, see: Window, sheet: Tilting) -> list[str]:
    """The claw's screw with the ends of its travel; the claw and what it is taken hold of by."""
    body, claw = sheet.body, sheet.tried.claw
    if body.wall is None or body.travel is None or claw is None:
        return []
    wall, near, far = (see.at(p) for p in (body.wall, *body.travel))
    out = [pen.line(wall, far), *(pen.line((x, y - 2.2), (x, y + 2.2)) for x, y in (near, far))]
    (x, y), low = pen.at(see.at(claw)), pen.at(see.at(claw))[1] + HANDLE + 7.0
    arrows = []
    for way in (-1.0, 1.0):
        tip = x + way * 6.2
        points = [(tip, low), (tip - way * 3.0, low - 2.2), (tip - way * 3.0, low + 2.2)]
        arrows.append(f'<path d="M{" L".join(f"{place(a)} {place(b)}" for a, b in points)} Z" fill="{ACCENT}"/>')
    grip = (
        f'<circle class="grip" cx="{place(x)}" cy="{place(low)}" r="{HANDLE}" fill="{CUT}" stroke="{ACCENT}" '
        f'stroke-width="0.7"/>{"".join(arrows)}'
    )
    held = (
        f'<g class="claw">{line((x, y - 4.0), (x, y + 4.0), 0.9)}'
        f"{line((x, y + 4.0), (x, low - HANDLE), HEAVY, accent=True)}"
        f"{grip}</g>"
    )
    left, right = ("in", "out") if not sheet.mirrored else ("out", "in")
    words = [
        f'<g class="ways">{text((x - HANDLE - 1.5, low + 1.6), left, TYPE, "end", accent=True)}'
        f"{text((x + HANDLE + 1.5, low + 1.6), right, TYPE, accent=True)}</g>"
    ]
    amount = (
        f'<text class="amount" x="{place(EDGE)}" y="13.5" font-size="{TYPE + 0.8}" font-weight="600" fill="{ACCENT}">'
        f"{plain(sheet.amount)}</text>"
    )
    return [*out, held, *words, amount]


def larger(most: float, size: float) -> float:
    """How many times larger than the bridge its rear gap is told.

    Args:
        most: the largest gap there is to tell [m].
        size: mm of paper per mm of the bridge [1].
    Returns: a whole number [1].
    """
    return next((one for one in LARGER if 1e3 * most * size * one <= TALL), LARGER[-1])


def _gap(sheet: Tilting, see: Window) -> str:
    """The rear gap beside the bridge, larger: slot, band, what it is now."""
    value, half, was = sheet.gap
    wanted = 0.0 if sheet.slot is None else sum(sheet.slot)
    times = larger(max(1.25 * max(value, was, wanted), 3e-3), see.size)
    per = 1e3 * see.size * times
    left, zero = 8.0 if sheet.mirrored else WIDTH - ASIDE + 4.0, TOP + TALL + 4.0
    step, unit = MARKS[sheet.system]
    out = [line((left, zero), (left + 14.0, zero), HEAVY), line((left, zero), (left, zero - TALL))]
    marks = int(TALL / (per * step))
    each = next(n for n in (1, 2, 4, 5, 8, 10, 20, 50) if n * per * step >= 7.0)
    for i in range(0, marks + 1, each):
        y = zero - per * step * i
        out += [line((left - 1.6, y), (left, y)), text((left - 2.2, y + 1.4), f"{i}", TYPE - 1.0, "end")]
    if sheet.slot is not None:
        low, high = (zero - per * (sheet.slot[0] + way * sheet.slot[1]) for way in (-1.0, 1.0))
        out.append(
            f'<rect class="slot" x="{place(left + 2.0)}" y="{place(high)}" width="10" height="{place(low - high)}" '
            f'fill="{CUT}" stroke="{INK}" stroke-width="0.3"/>'
        )
    y = max(zero - per * was, zero - TALL)
    out.append(line((left + 1.0, y), (left + 13.0, y), THIN, dashed=True))
    tall = max(2.0 * per * half, LEAST)
    top = max(min(zero - per * value, zero), zero - TALL) - 0.5 * tall
    box = f'x="{place(left + 4.0)}" y="{place(top)}" width="6" height="{place(tall)}"'
    out.append(f'<rect class="band" {box} fill="{ACCENT}"/>')
    for i, words in enumerate(("rear gap,", f"in {unit}")):
        at, anchor = (left, "start") if sheet.mirrored else (WIDTH - 1.0, "end")
        out.append(text((at, zero + 5.0 + 4.5 * i), words, TYPE - 0.8, anchor))
    rests = " rests" if sheet.rests else ""
    return f'<g class="gap{rests}" data-zero="{zero:.3f}" data-per="{per:.3f}" data-tall="{TALL}">{"".join(out)}</g>'


def _bar(see: Window, y: float, system: str, left: float) -> list[str]:
    """A length to compare with."""
    metres, words = (0.02, "20 mm") if system == "mm" else (0.0254, "1 in")
    right = left + 1e3 * metres * see.size
    ends = [line((x, y - 1.4), (x, y + 1.4)) for x in (left, right)]
    return [line((left, y), (right, y), HEAVY), *ends, text((right + 2.0, y + 1.5), words, TYPE - 0.8)]
