"""Ink on paper: the few marks every drawing is made of, as SVG in millimetres of paper, x to the right, y down.

Two weights of line, one accent, and nothing that is told by colour alone: what the accent marks also has an arrow and
a word. Text stays text, in the system's own family with figures of one width. Arrow heads are paths.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from html import escape

from setwright.errors import InputError

PAPER, INK, ACCENT, CUT, TINT = "#f6f1e4", "#2a2723", "#9c3d22", "#fffdf8", "#c9c1b0"
THIN, HEAVY = 0.18, 0.5  # mm
SMALL, PLAIN, LARGE = 2.9, 3.4, 6.0  # mm, sizes of type
HEAD = (2.2, 0.7)  # mm, length and half width of an arrow head
CROSS = 1.0  # mm, half width
FAMILY = "system-ui, sans-serif"
XML_BAD = {c: None for c in range(32) if c not in (9, 10, 13)} | {0xFFFE: None, 0xFFFF: None}
Point = tuple[float, float]


def finite(value: float) -> float:
    """The number itself.

    Args:
        value: any number.
    Returns: it.
    Raises: InputError for what is not finite.
    """
    if not math.isfinite(value):
        raise InputError(f"a drawing was asked to put ink at {value}; every place has to be a finite number.")
    return value


def place(value: float) -> str:
    """A coordinate with at most two decimals.

    Args:
        value: [mm].
    Returns: e.g. "12.3"; never "-0".
    Raises: InputError for what is not finite.
    """
    text = f"{finite(value):.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def plain(text: str) -> str:
    """Text made safe: markup escaped, characters that XML forbids left out.

    Args:
        text: any text.
    Returns: as it may stand in SVG.
    """
    kept = "".join(c for c in text.translate(XML_BAD) if not 0xD800 <= ord(c) <= 0xDFFF)
    return escape(kept, quote=True)


def text(
    at: Point, words: str, size: float = PLAIN, anchor: str = "start", accent: bool = False, bold: bool = False
) -> str:
    """A line of text.

    Args:
        at: where its base line begins, ends or has its middle [mm].
        words: the words.
        size: of the type [mm].
        anchor: "start", "middle" or "end".
        accent: in the accent's ink.
        bold: set heavier.
    Returns: SVG.
    """
    weight = ' font-weight="600"' if bold else ""
    side = "" if anchor == "start" else f' text-anchor="{anchor}"'
    ink = f' fill="{ACCENT}"' if accent else ""
    where = f'x="{place(at[0])}" y="{place(at[1])}" font-size="{place(size)}"'
    return f"<text {where}{side}{weight}{ink}>{plain(words)}</text>"


def line(a: Point, b: Point, weight: float = THIN, dashed: bool = False, accent: bool = False) -> str:
    """A straight line.

    Args:
        a: one end [mm].
        b: the other [mm].
        weight: width [mm].
        dashed: broken.
        accent: in the accent's ink.
    Returns: SVG.
    """
    return run((a, b), weight, dashed, accent)


def run(points: Sequence[Point], weight: float = THIN, dashed: bool = False, accent: bool = False) -> str:
    """A line through points.

    Args:
        points: [mm].
        weight: width [mm].
        dashed: broken.
        accent: in the accent's ink.
    Returns: SVG.
    """
    broken = ' stroke-dasharray="2 1.2"' if dashed else ""
    ink = ACCENT if accent else INK
    return f'<path d="{_way(points)}" fill="none" stroke="{ink}" stroke-width="{place(weight)}"{broken}/>'


def area(points: Sequence[Point], fill: str = TINT, edge: bool = True) -> str:
    """A closed area, with a thin edge.

    Args:
        points: its corners [mm].
        fill: its tone.
        edge: whether its outline is drawn.
    Returns: SVG.
    """
    ink = f' stroke="{INK}" stroke-width="{place(THIN)}"' if edge else ""
    return f'<path d="{_way(points)} Z" fill="{fill}" fill-opacity="0.75"{ink}/>'


def slot(left: float, top: float, width: float, height: float) -> str:
    """A slot cut into the paper: a tolerance.

    Args:
        left: [mm].
        top: [mm].
        width: [mm].
        height: [mm].
    Returns: SVG.
    """
    box = f'x="{place(left)}" y="{place(top)}" width="{place(width)}" height="{place(height)}"'
    return f'<rect {box} fill="{CUT}" stroke="{INK}" stroke-width="{place(THIN)}"/>'


def band(x: Sequence[float], low: Sequence[float], high: Sequence[float]) -> str:
    """An uncertainty: the area between two lines.

    Args:
        x: places, rising [mm].
        low: lower edge there [mm].
        high: upper edge there [mm].
    Returns: SVG.
    """
    return area([*zip(x, high, strict=True), *reversed(list(zip(x, low, strict=True)))])


def cross(at: Point) -> str:
    """A small cross: here something touches.

    Args:
        at: its middle [mm].
    Returns: SVG.
    """
    x, y = at
    return "".join(line((x - CROSS, y - way * CROSS), (x + CROSS, y + way * CROSS), HEAVY) for way in (1.0, -1.0))


def arrow(tail: Point, tip: Point, weight: float = THIN, accent: bool = False) -> str:
    """A line with a head at its tip.

    Args:
        tail: [mm].
        tip: [mm], elsewhere than the tail.
        weight: of the line [mm].
        accent: in the accent's ink.
    Returns: SVG.
    """
    ink = ACCENT if accent else INK
    length = math.hypot(tip[0] - tail[0], tip[1] - tail[1])
    ux, uy = (tip[0] - tail[0]) / length, (tip[1] - tail[1]) / length
    foot = (tip[0] - HEAD[0] * ux, tip[1] - HEAD[0] * uy)
    sides = [(foot[0] + s * HEAD[1] * uy, foot[1] - s * HEAD[1] * ux) for s in (1.0, -1.0)]
    head = f'<path d="{_way([tip, *sides])} Z" fill="{ink}"/>'
    return line(tail, foot, weight, accent=accent) + head


def upright(x: float, low: float, high: float, words: str, side: str = "start") -> str:
    """A dimension across the neck: arrows at both ends, from outside where there is no room between them.

    Args:
        x: [mm].
        low: y of its lower end [mm].
        high: y of its upper end, above the lower one [mm].
        words: the amount, "" where it stands elsewhere.
        side: the words stand to the right ("start") or to the left ("end").
    Returns: SVG.
    """
    off = 1.0 if side == "start" else -1.0
    middle = 0.5 * (low + high)
    if low - high > 2.5 * HEAD[0]:
        arrows = arrow((x, middle), (x, high)) + arrow((x, middle), (x, low))
    else:
        reach = 2.0 * HEAD[0]
        arrows = arrow((x, high - reach), (x, high)) + arrow((x, low + reach), (x, low))
    return arrows + (text((x + off, middle + 0.35 * SMALL), words, SMALL, side) if words else "")


def page(width: float, height: float, title: str, about: str, marks: Sequence[str]) -> str:
    """A whole drawing.

    Args:
        width: of the paper [mm].
        height: [mm].
        title: said first by whoever reads the drawing aloud.
        about: what it shows, in words.
        marks: what is on it.
    Returns: an SVG document.
    """
    w, h = place(width), place(height)
    style = "text{font-variant-numeric:tabular-nums;font-feature-settings:'tnum'}"
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{w}mm" height="{h}mm" viewBox="0 0 {w} {h}" role="img" '
        f'font-family="{FAMILY}" fill="{INK}" stroke-linejoin="round">'
    )
    return "\n".join(
        [
            '<?xml version="1.0" encoding="UTF-8"?>',
            head,
            f"<title>{plain(title)}</title>",
            f"<desc>{plain(about)}</desc>",
            f"<style>{style}</style>",
            f'<rect width="{w}" height="{h}" fill="{PAPER}"/>',
            *marks,
            "</svg>\n",
        ]
    )


def _way(points: Sequence[Point]) -> str:
    return "M" + " L".join(f"{place(x)} {place(y)}" for x, y in points)
