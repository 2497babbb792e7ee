"""Dimensions, scale bars, hatching and marks of workshop drawings that print true to scale on A4 and on Letter.

A pen draws in paper millimetres; a mirrored one turns every place over, for instruments seen the other way round, and
leaves the words readable. What the hand turns has an arrow, its amount and the accent; what rests where it should has
a foot, a word and the second accent.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from setwright.frozen import frozen
from setwright.sheets import ink
from setwright.sheets.ink import HEAVY, INK, THIN, Point

WIDTH = 188.0  # mm of paper; fits A4 and Letter at full size
NARROW = 110.0  # mm, for a phone: its type is as large there as that of a whole sheet on a tablet
EDGE = 6.0  # mm left free at either side
TYPE, TITLE = 4.2, 6.5  # mm, sizes of type: 9 px on a sheet shown 390 px wide
ROW, TITLE_ROW = 5.2, 7.5  # mm from one line of words to the next
NAMES = 19.3  # mm for the words before a row of a table
BETWEEN = 0.7  # mm between columns at least
WIDEST = 1.09  # of bold over plain type
WIDTHS = ((" .,:;'|ijl", 0.34), ("/frt-()[]", 0.42), ("csz", 0.56), ("w±−→+#&<>", 0.84), ("mMW@%…—", 1.0))
RESTS = "#1d5560"
TICK = 1.4  # mm
BAR = 52.0  # mm, the longest scale bar
HATCH = 2.0  # mm between strokes
LEADS = 2.2  # an arrow has room between two lines that lie this many heads apart
INCH = 25.4  # mm


@frozen
class Pen:
    """Draws on paper, or on paper turned over."""

    mirrored: bool = False
    width: float = WIDTH  # mm of that paper

    def at(self, point: Point) -> Point:
        """Where a place comes to lie.

        Args:
            point: x, y [mm].
        Returns: x, y [mm].
        """
        return (self.width - point[0], point[1]) if self.mirrored else point

    def line(self, a: Point, b: Point, weight: float = THIN, dashed: bool = False, accent: bool = False) -> str:
        """A straight line, as `ink.line`.

        Args:
            a: one end [mm].
            b: the other [mm].
            weight: width [mm].
            dashed: broken.
            accent: in the accent's ink.
        Returns: SVG.
        """
        return ink.line(self.at(a), self.at(b), weight, dashed, accent)

    def run(self, points: Sequence[Point], weight: float = THIN, dashed: bool = False) -> str:
        """A line through points, as `ink.run`.

        Args:
            points: [mm].
            weight: width [mm].
            dashed: broken.
        Returns: SVG.
        """
        return ink.run([self.at(p) for p in points], weight, dashed)

    def area(self, points: Sequence[Point], fill: str = ink.TINT, edge: bool = True) -> str:
        """A closed area, as `ink.area`.

        Args:
            points: its corners [mm].
            fill: its tone.
            edge: whether its outline is drawn.
        Returns: SVG.
        """
        return ink.area([self.at(p) for p in points], fill, edge)

    def arrow(self, tail: Point, tip: Point, weight: float = THIN, accent: bool = False) -> str:
        """An arrow, as `ink.arrow`.

        Args:
            tail: [mm].
            tip: [mm].
            weight: [mm].
            accent: in the accent's ink.
        Returns: SVG.
        """
        return ink.arrow(self.at(tail), self.at(tip), weight, accent)

    def text(
        self, at: Point, words: str, anchor: str = "start", accent: bool = False, bold: bool = False, room: float = 0.0
    ) -> str:
        """Words in the usual size, readable on paper turned over too.

        Args:
            at: where their base line begins, ends or has its middle [mm].
            words: the words.
            anchor: "start", "middle" or "end", as before turning over.
            accent: in the accent's ink.
            bold: set heavier.
            room: they are cut to this width; 0: as long as they are [mm].
        Returns: SVG.
        """
        side = {"start": "end", "end": "start"}.get(anchor, anchor) if self.mirrored else anchor
        kept = fit(words, room, bold=bold) if room else words
        return ink.text(self.at(at), kept, TYPE, side, accent, bold)

    def upright(self, x: float, low: float, high: float) -> str:
        """Arrows of a dimension up the paper; from outside where there is no room between them.

        Args:
            x: [mm].
            low: y of its lower end [mm].
            high: y of its upper end [mm].
        Returns: SVG; nothing where both ends coincide.
        """
        return self._measure((x, low), (x, high))

    def level(self, y: float, left: float, right: float) -> str:
        """Arrows of a dimension along the paper.

        Args:
            y: [mm].
            left: x of one end [mm].
            right: x of the other [mm].
        Returns: SVG; nothing where both ends coincide.
        """
        return self._measure((left, y), (right, y))

    def _measure(self, a: Point, b: Point) -> str:
        length = math.hypot(b[0] - a[0], b[1] - a[1])
        if length < 0.01:
            return ""
        ux, uy = (b[0] - a[0]) / length, (b[1] - a[1]) / length
        if length > LEADS * 2.0 * ink.HEAD[0]:
            middle = (0.5 * (a[0] + b[0]), 0.5 * (a[1] + b[1]))
            return self.arrow(middle, a) + self.arrow(middle, b)
        out = 2.0 * ink.HEAD[0]
        tails = (a[0] - out * ux, a[1] - out * uy), (b[0] + out * ux, b[1] + out * uy)
        return self.arrow(tails[0], a) + self.arrow(tails[1], b)

    def hatch(self, a: Point, b: Point, depth: float = 2.2) -> list[str]:
        """A cut face: strokes on the right hand of somebody who walks from a to b on the paper.

        Args:
            a: where it begins [mm].
            b: where it ends [mm].
            depth: of the strokes [mm].
        Returns: SVG.
        """
        length = math.hypot(b[0] - a[0], b[1] - a[1])
        if length < HATCH:
            return []
        ux, uy = (b[0] - a[0]) / length, (b[1] - a[1]) / length
        out = []
        for i in range(int(length / HATCH)):
            x, y = a[0] + (i + 1) * HATCH * ux, a[1] + (i + 1) * HATCH * uy
            out.append(self.line((x, y), (x - depth * (ux + uy) * 0.7, y + depth * (ux - uy) * 0.7)))
        return out

    def rests(self, at: Point, words: str, anchor: str = "start") -> list[str]:
        """Here something rests where it should: a foot under it, and the word.

        Args:
            at: the foot's point [mm].
            words: the word.
            anchor: the side on which the word stands.
        Returns: SVG.
        """
        (x, y), off = self.at(at), 2.6 if anchor == "start" else -2.6
        foot = f"M{ink.place(x)} {ink.place(y)} L{ink.place(x + 1.6)} {ink.place(y + 2.8)} "
        foot += f"L{ink.place(x - 1.6)} {ink.place(y + 2.8)} Z"
        word = self.text((at[0] + off, at[1] + 2.8), words, anchor)
        return [
            f'<path d="{foot}" fill="{ink.PAPER}" stroke="{RESTS}" stroke-width="{ink.place(HEAVY)}"/>',
            word.replace("<text ", f'<text fill="{RESTS}" ', 1),
        ]

    def not_measured(self, points: Sequence[Point]) -> str:
        """A dotted line: what the model does not know and the hand has drawn by eye.

        Args:
            points: [mm].
        Returns: SVG.
        """
        way = " L".join(f"{ink.place(x)} {ink.place(y)}" for x, y in (self.at(p) for p in points))
        dots = f'stroke-width="{ink.place(THIN)}" stroke-dasharray="0.3 1"'
        return f'<path d="M{way}" fill="none" stroke="{INK}" {dots}/>'


@frozen
class Window:
    """A part of the instrument laid on paper at one scale."""

    x: float  # m, what lies at `left`
    left: float  # mm
    y: float  # m, what lies at `top`
    top: float  # mm
    size: float  # mm of paper per mm of instrument

    def at(self, point: Point) -> Point:
        """Where a place of the instrument lies on paper.

        Args:
            point: along and up, in the frame of the body [m].
        Returns: x, y [mm].
        """
        along, up = self.left + 1e3 * self.size * (point[0] - self.x), self.top - 1e3 * self.size * (point[1] - self.y)
        return along, up


def wide(words: str, size: float = TYPE, bold: bool = False) -> float:
    """How wide words are, at most, in the usual families of a screen.

    Args:
        words: the words.
        size: of the type [mm].
        bold: set heavier.
    Returns: [mm].
    """
    return size * sum(_letter(one) for one in words) * (WIDEST if bold else 1.0)


def _letter(one: str) -> float:
    """Width of a letter over the size of its type, as the widest of the usual families has it; never less."""
    if ord(one) >= 0x2E80:
        return 1.0
    return next((width for letters, width in WIDTHS if one in letters), 0.78 if one.isupper() else 0.64)


def fit(words: str, room: float, size: float = TYPE, bold: bool = False) -> str:
    """Words cut to the room they have, with an ellipsis.

    Args:
        words: the words.
        room: width [mm].
        size: of the type [mm].
        bold: set heavier.
    Returns: the words, or their beginning.
    """
    if wide(words, size, bold) <= room:
        return words
    left, count = room - wide("…", size, bold), 0
    for one in words:
        left -= wide(one, size, bold)
        if left < 0.0:
            break
        count += 1
    return words[:count].rstrip() + "…"


def lines(words: str, room: float, size: float = TYPE) -> list[str]:
    """Words broken into lines.

    Args:
        words: the words.
        room: width of a line [mm].
        size: of the type [mm].
    Returns: lines, each as wide as the room at most.
    """
    out: list[str] = []
    for word in words.split():
        if out and wide(out[-1] + " " + word, size) <= room:
            out[-1] += " " + word
        else:
            out.append(fit(word, room, size))
    return out


def table(
    top: float, rows: Sequence[tuple[str, Sequence[str]]], bold: str = "after", least: int = 4, width: float = WIDTH
) -> tuple[list[str], float]:
    """Rows of words with their names before them, in columns over the whole paper.

    Args:
        top: base line of the row above [mm].
        rows: name, and one word for each column; rows without words are left out.
        bold: name of the row set heavier, where all of it has room.
        least: columns for which there is room at least [1].
        width: of the paper [mm].
    Returns: SVG, and the base line of the last row [mm].
    """
    out, y = [], top
    for name, words in rows:
        if not any(words):
            continue
        y += ROW
        if name:
            out.append(ink.text((EDGE, y), fit(name, NAMES - 1.0), TYPE))
        room = column_width(len(words), least, width) - BETWEEN
        heavy = name == bold and all(wide(word, bold=True) <= room for word in words)
        for i, word in enumerate(words):
            if word:
                at = (EDGE + NAMES + i * (room + BETWEEN), y)
                out.append(ink.text(at, fit(word, room, bold=heavy), TYPE, bold=heavy))
    return out, y


def column_width(count: int, least: int = 4, width: float = WIDTH) -> float:
    """Width of a column of a table.

    Args:
        count: of columns [1].
        least: columns for which there is room at least [1].
        width: of the paper [mm].
    Returns: [mm].
    """
    return (width - 2.0 * EDGE - NAMES) / max(count, least)


def columns_of(width: float) -> int:
    """How many columns of a table have room beside each other, as wide as four on a whole sheet.

    Args:
        width: of the paper [mm].
    Returns: the count [1].
    """
    return max(1, round((width - 2.0 * EDGE - NAMES) / column_width(4)))


def scale_words(size: float) -> str:
    """A scale as drawings name it.

    Args:
        size: mm of paper per mm of instrument [1].
    Returns: "1:5", "1:1", "10:1".
    """
    return f"{size:g}:1" if size >= 1.0 else f"1:{1.0 / size:g}"


def largest(sizes: Sequence[float], length: float, room: float) -> float:
    """The largest of the usual scales at which something has room.

    Args:
        sizes: from the largest on [1].
        length: of it [m].
        room: on paper [mm].
    Returns: mm of paper per mm; the smallest scale where none has room.
    """
    return next((s for s in sizes if 1e3 * length * s <= room), sizes[-1])


def scale_bar(y: float, what: str, size: float, system: str, width: float = WIDTH) -> list[str]:
    """What is drawn and at what scale, and a bar with marks every 10 mm or every half inch of the instrument.

    Args:
        y: base line [mm].
        what: is drawn.
        size: mm of paper per mm of instrument [1].
        system: "mm" or "inch".
        width: of the paper [mm].
    Returns: SVG.
    """
    step, unit, each = (10.0, "mm", "10 mm") if system == "mm" else (0.5 * INCH, "in", "1/2 in")
    title = f"{what}, {scale_words(size)}"
    x = EDGE + wide(title, bold=True) + 4.0
    whole_sheet = width >= WIDTH
    longest = BAR if whole_sheet else width - EDGE - x - 2.0 - wide("200 mm")
    marks = next((n for n in (20, 10, 4, 2) if n * step * size <= longest), 1)
    end = x + marks * step * size
    out = [ink.text((EDGE, y), title, TYPE, bold=True), ink.line((x, y), (end, y), HEAVY)]
    for i in range(marks + 1):
        tall = 2.0 * TICK if i in (0, marks) else TICK
        out.append(ink.line((x + i * step * size, y), (x + i * step * size, y - tall), THIN))
    whole = f"{marks * 10} mm" if unit == "mm" else f"{marks / 2:g} in"
    out.append(ink.text((end + 2.0, y), f"{whole}, a mark each {each}" if whole_sheet else whole, TYPE))
    return out


def heading(title: str, about: str, width: float = WIDTH) -> tuple[list[str], float]:
    """Title and what the sheet shows.

    Args:
        title: of the job.
        about: words under it; broken into two lines at most.
        width: of the paper [mm].
    Returns: SVG, and where the next thing may begin [mm].
    """
    room = width - 2.0 * EDGE
    titles = [title] if width >= WIDTH else lines(title, room / WIDEST, TITLE)
    out, y = [], 11.0 - TITLE_ROW
    for words in titles:
        y += TITLE_ROW
        out.append(ink.text((EDGE, y), fit(words, room, TITLE, bold=True), TITLE, bold=True))
    for words in lines(about, room):
        y += ROW
        out.append(ink.text((EDGE, y), words, TYPE))
    return out, y + 6.5


def named(instrument: str, what: str) -> str:
    """What a drawing shows, after the name of the instrument where it has one.

    Args:
        instrument: its name, cut to half a line.
        what: the rest of the sentence.
    Returns: the sentence.
    """
    name = " ".join(instrument.split())
    return f"{fit(name, 0.45 * WIDTH)}: {what}" if name else what[:1].upper() + what[1:]
