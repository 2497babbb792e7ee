"""The balance of a knife edge: forces on their arms, closed into a polygon, and moments laid end to end.

All forces are drawn at one scale. Arms are drawn at a scale of their own. What no force takes up is told in one line,
with its band, in newton metres and in the hand's own unit.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import pairwise

from setwright.frozen import frozen
from setwright.sheets.dimensions import (
    EDGE,
    NAMES,
    ROW,
    TYPE,
    WIDTH,
    Pen,
    fit,
    heading,
    largest,
    lines,
    named,
    scale_bar,
    table,
)
from setwright.sheets.ink import CUT, HEAVY, INK, THIN, Point, finite, line, page, place, text

PER_MM = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0)  # N of force to a millimetre of paper
POUND = 4.4482216152605  # N, pound force: ISO 80000-4, exact
ARMS = (2.0, 1.0, 0.5, 0.2)
LONGEST = 105.0  # mm of the longest force
ARM_ROOM = 60.0  # mm up the paper for all arms
STRETCHES = (50, 20, 10, 5, 2, 1)
TALLEST = 16.0  # mm, of the polygon drawn taller
MOMENT = 96.0  # mm of the longest moment


@frozen
class Force:
    """One pull or push on the plate, along and up, and what it does about the pivot."""

    name: str
    x: float  # N, > 0 towards the tail
    y: float  # N, > 0 up
    moment: float  # N m about the pivot, > 0 lifts the rear
    half_width: float  # N m
    force_told: str
    arm_told: str
    moment_told: str
    stop: bool = False  # a stop only takes up what the others leave over

    @property
    def size(self) -> float:
        """Its size [N]."""
        return math.hypot(self.x, self.y)

    @property
    def arm(self) -> float:
        """How far its line passes from the pivot, > 0 where it lifts the rear [m]."""
        return self.moment / self.size


@frozen
class Balance:
    """All that acts on the plate in one state but the pivot, whose push closes the polygon."""

    forces: tuple[Force, ...]

    @property
    def pivot(self) -> Point:
        """The pivot's push [N]."""
        return -sum(one.x for one in self.forces), -sum(one.y for one in self.forces)

    @property
    def left_over(self) -> float:
        """Sum of all moments but that of a stop, which takes it up [N m]."""
        return sum(one.moment for one in self.forces if not one.stop)


@frozen
class BalanceSheet:
    """What is drawn."""

    title: str
    instrument: str
    system: str  # "mm" or "inch"
    mirrored: bool
    before: Balance | None
    after: Balance
    pivot_told: str  # its push
    left_half_width: float  # N m, of what is left over after
    slot: float | None  # N m, what may be left over either way
    left_told: str


def draw_balance(sheet: BalanceSheet) -> str:
    """Forces, polygon and moments of the balance.

    Args:
        sheet: what is drawn.
    Returns: an SVG document.
    Raises: InputError where a number is not finite.
    """
    states = [one for one in (sheet.before, sheet.after) if one is not None]
    most = max(max(math.hypot(*one.pivot), *(f.size for f in one.forces)) for one in states)
    per_mm = next((n for n in PER_MM if most / n <= LONGEST), most / LONGEST)
    what = (
        f"{named(sheet.instrument, 'what acts on the plate, from the bass side.')} Heavy: after the work."
        f"{' Thin broken: as found.' if sheet.before else ''} Grey: holds 95 of 100."
    )
    marks, y = heading(sheet.title, what)
    pen = Pen(sheet.mirrored)
    more, y = _arms(sheet, pen, per_mm, y)
    marks += more
    more, y = _polygon(sheet, pen, per_mm, y)
    marks += more
    more, y = _moments(sheet, y)
    marks += more
    for words in lines(sheet.left_told, WIDTH - 2.0 * EDGE):
        marks.append(text((EDGE, y), words, TYPE))
        y += ROW
    return page(WIDTH, y + 1.0, f"Balance: {sheet.title}", what, marks)


def _force_bar(y: float, per_mm: float, system: str) -> list[str]:
    """The scale of forces."""
    step = 50.0 if system == "mm" else 10.0 * POUND
    while step / per_mm < 8.0:
        step *= 2.0
    marks = max(1, int(60.0 / (step / per_mm)))
    end = EDGE + marks * step / per_mm
    out = [line((EDGE, y), (end, y), HEAVY)]
    for i in range(marks + 1):
        x = EDGE + i * step / per_mm
        out.append(line((x, y), (x, y - (2.8 if i in (0, marks) else 1.4)), THIN))
    whole, unit = (marks * step, "N") if system == "mm" else (marks * step / POUND, "lbf")
    return [*out, text((end + 2.0, y), f"{whole:g} {unit} of force, a mark each {whole / marks:g} {unit}", TYPE)]


def _arms(sheet: BalanceSheet, pen: Pen, per_mm: float, top: float) -> tuple[list[str], float]:
    """Every force on its line, at its distance from the pivot."""
    states = [one for one in (sheet.before, sheet.after) if one is not None]
    feet = [_foot(f) for one in states for f in one.forces]
    high, low = max(0.0, *(p[1] for p in feet)), min(0.0, *(p[1] for p in feet))
    size = largest(ARMS, high - low, ARM_ROOM)
    out = scale_bar(top + 1.0, "Forces on their arms", size, sheet.system)
    pivot = (EDGE + LONGEST + 8.0, top + 2.0 * ROW + 1e3 * high * size)

    def at(point: Point) -> Point:
        return pivot[0] + 1e3 * size * point[0], pivot[1] - 1e3 * size * point[1]

    if sheet.before is not None:
        for one in sheet.before.forces:
            a, b = _shaft(one, at, per_mm)
            out.append(pen.run([a, b], THIN, dashed=True))
    for one in sheet.after.forces:
        a, b = _shaft(one, at, per_mm)
        if math.dist(a, b) > 3.0:
            out.append(pen.arrow(a, b, HEAVY))
        else:
            out.append(pen.line(a, b, HEAVY))
        foot = at(_foot(one))
        out += [pen.line(pivot, foot, THIN), *_square(pen, pivot, foot)]
        out += _named(pen, one, foot, pivot)
    rx, ry = sheet.after.pivot
    tail = (pivot[0] - rx / per_mm, pivot[1] + ry / per_mm)
    out.append(pen.arrow(tail, pivot, HEAVY))
    out.append(pen.run([(pivot[0] - 2.0, pivot[1] + 3.4), pivot, (pivot[0] + 2.0, pivot[1] + 3.4)], HEAVY))
    out.append(pen.text((pivot[0] + 4.0, pivot[1] + 6.5), f"pivot {sheet.pivot_told}", room=60.0))
    y = pivot[1] - 1e3 * low * size + 11.0
    out += _force_bar(y, per_mm, sheet.system)
    forces = sheet.after.forces
    rows = [
        ("", [one.name for one in forces]),
        ("force", [one.force_told for one in forces]),
        ("arm", [one.arm_told for one in forces]),
        ("moment", [one.moment_told for one in forces]),
    ]
    more, y = table(y + 2.0, rows, bold="none", least=3)
    return out + more, y + 7.0


def _foot(one: Force) -> Point:
    """The point of a force's line that is nearest to the pivot [m]."""
    return one.arm * one.y / one.size, -one.arm * one.x / one.size


def _shaft(one: Force, at: Callable[[Point], Point], per_mm: float) -> tuple[Point, Point]:
    """Tail and tip of a force on paper."""
    x, y = at(_foot(one))
    return (x, y), (x + one.x / per_mm, y - one.y / per_mm)


def _square(pen: Pen, pivot: Point, foot: Point) -> list[str]:
    """A small tick at the foot: arm and force stand square to each other."""
    long = math.dist(pivot, foot)
    if long < 4.0:
        return []
    ux, uy = (pivot[0] - foot[0]) / long, (pivot[1] - foot[1]) / long
    a = (foot[0] + 1.6 * ux, foot[1] + 1.6 * uy)
    b = (a[0] + 1.6 * uy, a[1] - 1.6 * ux)
    return [pen.run([a, b, (b[0] - 1.6 * ux, b[1] - 1.6 * uy)], THIN)]


def _named(pen: Pen, one: Force, foot: Point, pivot: Point) -> list[str]:
    """Name of a force beside its foot, clear of the pivot's words."""
    up = foot[1] <= pivot[1]
    x = max(foot[0], pivot[0]) + 4.0
    y = min(foot[1] + 1.5, pivot[1] - 4.0) if up else max(foot[1] + 1.5, pivot[1] + 12.0)
    return [pen.text((x, y), f"{one.name} {one.force_told}", room=WIDTH - EDGE - x)]


def _corners(one: Balance) -> list[Point]:
    """The polygon of forces, from the first tail over all tips back to it [N]."""
    x, y, out = 0.0, 0.0, [(0.0, 0.0)]
    for force in one.forces:
        x, y = x + force.x, y + force.y
        out.append((x, y))
    return [*out, (x + one.pivot[0], y + one.pivot[1])]


def _polygon(sheet: BalanceSheet, pen: Pen, per_mm: float, top: float) -> tuple[list[str], float]:
    """The closed polygon of forces at their scale; where it is flat, once more with heights stretched."""
    states = [one for one in (sheet.before, sheet.after) if one is not None]
    every = [p for one in states for p in _corners(one)]
    low, high = min(p[1] for p in every), max(p[1] for p in every)
    own = [p[1] for p in _corners(sheet.after)]
    tall, all_of_it = (max(own) - min(own)) / per_mm, (high - low) / per_mm
    stretch = next((s for s in STRETCHES if s * tall <= TALLEST and s * all_of_it <= 2.0 * TALLEST), 1)
    right = EDGE + LONGEST + 8.0 - max(0.0, *(p[0] for p in every)) / per_mm
    out = [text((EDGE, top + 1.0), "The same forces end to end close", TYPE, bold=True)]
    y = top + 6.0
    for taller in (1,) if stretch == 1 else (1, stretch):
        zero = y + taller * high / per_mm

        def at(point: Point, zero: float = zero, taller: int = taller) -> Point:
            return right + point[0] / per_mm, zero - taller * point[1] / per_mm

        if sheet.before is not None:
            out.append(pen.run([at(p) for p in _corners(sheet.before)], THIN, dashed=True))
        corners = [at(p) for p in _corners(sheet.after)]
        for a, b in pairwise(corners):
            out.append(pen.arrow(a, b, HEAVY) if math.dist(a, b) > 3.0 else pen.line(a, b, HEAVY))
        told = "to scale" if taller == 1 else f"heights {taller} times"
        out.append(pen.text((right + 6.0, zero - taller * 0.5 * (high + low) / per_mm + 1.5), told))
        y = zero - taller * low / per_mm + 6.0
    names = ", ".join([*(one.name for one in sheet.after.forces), "pivot"])
    told = f"From the {'left' if pen.mirrored else 'right'} end on: {names}."
    out.append(text((EDGE, y), fit(told, WIDTH - 2.0 * EDGE), TYPE))
    return out, y + 8.0


def _moments(sheet: BalanceSheet, top: float) -> tuple[list[str], float]:
    """Moments about the pivot laid end to end, one below the other, and what is left over with its band and slot."""
    forces = [one for one in sheet.after.forces if not one.stop]
    sums = [0.0]
    for one in forces:
        sums.append(sums[-1] + one.moment)
    width = finite(sheet.left_half_width)
    span = max(*sums, width) - min(*sums, -width)
    per = MOMENT / span
    left = EDGE + NAMES + 20.0
    zero = left - per * min(*sums, -width)
    out = [
        text((EDGE, top + 1.0), "Moments about the pivot end to end, lifting the rear to the right", TYPE, bold=True)
    ]
    y = top + 1.0
    for one, start, end in zip(forces, sums[:-1], sums[1:], strict=True):
        y += ROW + 1.0
        out.append(text((EDGE, y), fit(one.name, NAMES + 16.0), TYPE))
        a, b = (zero + per * start, y - 1.5), (zero + per * end, y - 1.5)
        if finite(one.half_width) > 0.0:
            w = per * one.half_width
            out.append(Pen().area([(b[0] - w, y - 3.2), (b[0] + w, y - 3.2), (b[0] + w, y + 0.2), (b[0] - w, y + 0.2)]))
        out.append(Pen().arrow(a, b, HEAVY) if abs(b[0] - a[0]) > 3.0 else line(a, b, HEAVY))
    y += ROW + 3.0
    out.append(text((EDGE, y), "left over", TYPE, bold=True))
    rest, w = zero + per * sums[-1], per * width
    if sheet.slot is not None:
        s = per * sheet.slot
        box = f'x="{place(zero - s)}" y="{place(y - 4.6)}" width="{place(2.0 * s)}" height="6.2"'
        out.append(f'<rect {box} fill="{CUT}" stroke="{INK}" stroke-width="{place(THIN)}"/>')
    if w > 0.0:
        out.append(Pen().area([(rest - w, y - 3.8), (rest + w, y - 3.8), (rest + w, y + 0.8), (rest - w, y + 0.8)]))
    out.append(line((rest, y - 5.2), (rest, y + 2.2), HEAVY))
    out.append(line((zero, top + 3.0), (zero, y + 3.4), THIN, dashed=True))
    out.append(text((zero, y + 7.4), "0", TYPE, "middle"))
    return out, y + 15.0
