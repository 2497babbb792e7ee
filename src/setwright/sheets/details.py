"""Enlarged details: a height over its ground, before and after, its band, and the slot in which it shall lie."""

from __future__ import annotations

from setwright.frozen import frozen
from setwright.sheets.dimensions import (
    EDGE,
    NAMES,
    ROW,
    TYPE,
    WIDTH,
    Pen,
    column_width,
    columns_of,
    fit,
    largest,
    scale_words,
    table,
)
from setwright.sheets.ink import CUT, HEAVY, INK, THIN, finite, line, place, text

SIZES = (50.0, 20.0, 10.0, 5.0, 2.0, 1.0, 0.5, 0.2)
TALL = 16.0  # mm of a detail's drawing
GROUND = 3.0  # mm of hatching under the ground


@frozen
class Level:
    """One height over the ground."""

    name: str  # e.g. "string 1", "over body top"
    was: float | None  # m, as found
    now: float  # m
    half_width: float  # m
    slot: tuple[float, float] | None  # m, where it shall lie
    was_told: str
    now_told: str
    slot_told: str
    stop: str = ""  # on what it rests, where a stop and no slot says where it shall lie

    @property
    def rests(self) -> bool:
        """Whether the whole band lies in its slot."""
        if self.slot is None:
            return False
        return self.slot[0] <= self.now - self.half_width and self.now + self.half_width <= self.slot[1]

    @property
    def tallest(self) -> float:
        """The highest of everything drawn [m]."""
        return max(self.now + self.half_width, self.was or 0.0, self.slot[1] if self.slot else 0.0)


@frozen
class Detail:
    """One enlarged detail."""

    title: str  # "Rear gap"
    levels: tuple[Level, ...]


def draw_details(details: tuple[Detail, ...], top: float, width: float = WIDTH) -> tuple[list[str], float]:
    """Details beside each other over one table; as many in a row as there is room for.

    Args:
        details: what is drawn.
        top: where they begin [mm].
        width: of the paper [mm].
    Returns: SVG, and where the next thing may begin [mm].
    """
    out: list[str] = []
    y, left, most = top, list(details), columns_of(width)
    while left:
        now = [left.pop(0)]
        while left and sum(len(one.levels) for one in (*now, left[0])) <= most:
            now.append(left.pop(0))
        more, y = _row(now, y, width)
        out += more
    return out, y


def _row(details: list[Detail], top: float, width: float) -> tuple[list[str], float]:
    """One row of details, and the table under it."""
    out, zero = [], top + 4.0 + TALL
    levels = [level for one in details for level in one.levels]
    least = columns_of(width)
    step = column_width(len(levels), least, width)
    x = EDGE + NAMES
    for one in details:
        size = largest(SIZES, max(1e-5, *(level.tallest for level in one.levels)), TALL)
        room = step * len(one.levels) - 3.0
        out.append(text((x, top + 1.0), fit(f"{one.title}, {scale_words(size)}", room, bold=True), TYPE, bold=True))
        out.append(line((x, zero), (x + room, zero), HEAVY))
        out += Pen().hatch((x + room, zero), (x, zero))
        for level in one.levels:
            out += _level(level, x, step - 5.0, zero, size)
            x += step
    rows = [
        ("", [level.name for level in levels]),
        ("found", [level.was_told for level in levels]),
        ("after", [level.now_told for level in levels]),
        ("wanted", [level.slot_told for level in levels]),
    ]
    more, y = table(zero + GROUND, rows, least=least, width=width)
    out += more
    if any(level.slot is not None or level.stop for level in levels):
        y += ROW
        for i, level in enumerate(levels):
            out += _verdict(level, EDGE + NAMES + i * step, y)
    return out, y + 7.0


def _verdict(level: Level, left: float, y: float) -> list[str]:
    """Whether it rests where it should, in a shape and a word."""
    if level.rests or level.stop:
        return Pen().rests((left + 1.6, y - 2.8), level.stop or "in its slot")
    if level.slot is None:
        return []
    inside = level.slot[0] <= level.now <= level.slot[1]
    return [text((left, y), "not surely in" if inside else "outside", TYPE)]


def _level(one: Level, left: float, width: float, zero: float, size: float) -> list[str]:
    """Slot, band, before and after, and the arrows of the dimension."""

    def up(height: float) -> float:
        return zero - 1e3 * height * size

    out = []
    if one.slot is not None:
        low, high = one.slot
        box = f'x="{place(left)}" y="{place(up(high))}" width="{place(width)}" height="{place(up(low) - up(high))}"'
        out.append(f'<rect {box} fill="{CUT}" stroke="{INK}" stroke-width="{place(THIN)}"/>')
    x = (left, left + width)
    if finite(one.half_width) > 0.0:
        low, high = up(one.now - one.half_width), up(one.now + one.half_width)
        out.append(Pen().area([(x[0], low), (x[1], low), (x[1], high), (x[0], high)]))
    if one.was is not None:
        out.append(line((x[0], up(one.was)), (x[1], up(one.was)), THIN, dashed=True))
    out.append(line((x[0], up(one.now)), (x[1], up(one.now)), HEAVY))
    return [*out, Pen().upright(left + 0.75 * width, zero, up(one.now))]
