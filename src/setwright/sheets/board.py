"""The neck laid along the paper: scale of the drawing, frets and their numbers, words that fit.

On a fanned board every string has places of its own; strips of strings under one another show the frets as they slant.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.sheets.ink import LARGE, SMALL, THIN, line, text

LEFT, RIGHT, TOP = 34.0, 78.0, 30.0  # mm, room around the instrument
LONG = 0.72  # m, scales beyond this are drawn smaller
CLOSE = 4.2  # mm, fret numbers nearer than this leave every second one out
OVER_FIRST = " Frets fanned: each string has its own places, the numbers stand over those of string 1."
LETTER = 0.52  # mean width of a letter over the size of its type
LEAST_TYPE = 7.0  # pt, of what is printed
SHRINKS = LEAST_TYPE / (SMALL * 72.0 / 25.4)  # how much smaller a drawing is printed at most


@frozen
class Places:
    """Where nut and frets of a fanned board lie under one string, along the centre line."""

    nut_x: float  # m, from where the nut crosses the centre line
    end_x: float  # m, where the string's scale ends
    fret_x: tuple[float, ...]  # m, of fret 1 and on


@frozen
class Room:
    """Room on paper, where a drawing has to fit in with no letter below 7 pt; both in mm."""

    width: float
    height: float

    def each(self, width: float, count: int, used: float, gap: float, low: float) -> float:
        """How tall each of several strips under one another may be.

        Args:
            width: of the drawing [mm].
            count: strips [1].
            used: height that is not theirs [mm].
            gap: behind each of them [mm].
            low: where they would be lower than that, all of it is printed smaller instead [mm].
        Returns: the height, never below 1 [mm].
        """
        share = max(SHRINKS, min(1.0, self.width / width))
        tall = (self.height / share - used) / count - gap
        if tall < low:
            tall = (self.height / SHRINKS - used) / count - gap
        return max(tall, 1.0)


@frozen
class Along:
    """Places along the neck on paper."""

    scale: float  # m, where the scale length ends
    fret_x: tuple[float, ...]  # m from the nut on the centre line, of fret 1 and on
    reduced: int  # drawn 1:reduced
    nut_x: float = 0.0  # m
    first: float = 0.0  # m, what lies foremost of all strings
    right: float = RIGHT  # mm, room beyond the scale's end

    def on_paper(self, x: float) -> float:
        """Place of a point of the neck.

        Args:
            x: from the nut [m].
        Returns: [mm] of paper.
        """
        return LEFT + 1e3 * (x - self.first) / self.reduced

    @property
    def width(self) -> float:
        """Width of the paper [mm]."""
        return self.on_paper(self.scale) + self.right


def along(scale: float, fret_x: Sequence[float], nut_x: float = 0.0) -> Along:
    """Lay a neck along the paper.

    Args:
        scale: where the scale length ends [m].
        fret_x: (N) [m].
        nut_x: of the nut [m].
    Returns: places on paper.
    Raises: InputError where frets are missing or out of order.
    """
    places = tuple(float(x) for x in fret_x)
    if not places or any(b <= a for a, b in zip((nut_x, *places), (*places, scale), strict=True)):
        raise InputError("a neck is drawn with its frets in order between nut and bridge; give one fret or more.")
    return Along(float(scale), places, 2 if scale - nut_x <= LONG else 3, float(nut_x))


def each_along(
    scale: float, fret_x: Sequence[float], places: Sequence[Places], count: int, right: float = RIGHT,
    room: Room | None = None,
) -> tuple[Along, ...]:  # fmt: skip
    """Lay every string's places along the same paper, for strips under one another.

    Args:
        scale: scale length on the centre line [m].
        fret_x: (N) frets there [m].
        places: of every string of a fanned board; none on a straight one.
        count: strips [1].
        right: room beyond the scale's end [mm].
        room: on paper, which the neck is drawn small enough for; None where it is not printed.
    Returns: (count) places on paper.
    Raises: InputError as `along`, or where strips and places are not as many.
    """
    if not places:
        return _fitted((replace(along(scale, fret_x), right=right),) * count, room)
    if len(places) != count:
        raise InputError(f"{count} strips cannot be drawn with the places of {len(places)} strings; give one for each.")
    each = [along(one.end_x, one.fret_x, one.nut_x) for one in places]
    first, reduced = min(one.nut_x for one in each), max(one.reduced for one in each)
    return _fitted(tuple(replace(one, first=first, reduced=reduced, right=right) for one in each), room)


def _fitted(each: tuple[Along, ...], room: Room | None) -> tuple[Along, ...]:
    """The same drawn as much smaller as the paper asks for."""
    while room is not None and max(one.width for one in each) * SHRINKS > room.width:
        each = tuple(replace(one, reduced=one.reduced + 1) for one in each)
    return each


def heading(title: str, instrument: str, what: str, width: float) -> list[str]:
    """Title block, above everything.

    Args:
        title: of the job.
        instrument: its name.
        what: what the drawing shows and at what scale.
        width: of the paper [mm].
    Returns: SVG.
    """
    room = width - LEFT - 10.0
    first, second = parted(f"{instrument}. {what}", room, SMALL)
    out = [
        text((LEFT, 11.0), cut(title, room, LARGE), LARGE, bold=True),
        text((LEFT, 17.0), first, SMALL),
    ]
    return [*out, text((LEFT, 21.0), cut(second, room, SMALL), SMALL)] if second else out


def numbers(where: Along, y: float) -> list[str]:
    """Fret numbers in a row; where they crowd, every second one.

    Args:
        where: the neck on paper.
        y: of their base line [mm].
    Returns: SVG.
    """
    out = [text((where.on_paper(where.nut_x), y), "nut", SMALL, "middle")]
    last = where.on_paper(where.nut_x)
    for i, x in enumerate(where.fret_x):
        at = where.on_paper(x)
        if at - last >= CLOSE:
            out.append(text((at, y), str(i + 1), SMALL, "middle"))
            last = at
    return [*out, text((where.on_paper(where.scale), y), "scale length", SMALL, "middle")]


def ticks(where: Along, top: float, bottom: float) -> list[str]:
    """Frets as thin lines across a strip.

    Args:
        where: the neck on paper.
        top: [mm].
        bottom: [mm].
    Returns: SVG.
    """
    return [line((where.on_paper(x), top), (where.on_paper(x), bottom), THIN) for x in where.fret_x]


def parted(words: str, room: float, size: float) -> tuple[str, str]:
    """Words as far as they have room on one line, and those that go on below.

    Args:
        words: the words.
        room: width [mm].
        size: of the type [mm].
    Returns: both; the second "" where one line will do.
    """
    most = max(int(room / (LETTER * size)), 1)
    if len(words) <= most:
        return words, ""
    first = words[: most + 1].rpartition(" ")[0] or words[:most]
    return first, words[len(first) :].strip()


def cut(words: str, room: float, size: float) -> str:
    """Words cut to the room they have, with an ellipsis.

    Args:
        words: the words.
        room: width [mm].
        size: of the type [mm].
    Returns: the words, or their beginning.
    """
    most = max(int(room / (LETTER * size)), 1)
    return words if len(words) <= most else words[: most - 1].rstrip() + "…"
