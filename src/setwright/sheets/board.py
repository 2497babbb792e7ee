"""The neck laid along the paper: scale of the drawing, frets and their numbers, words that fit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from setwright.errors import InputError
from setwright.sheets.ink import LARGE, SMALL, THIN, line, text

LEFT, RIGHT, TOP = 34.0, 78.0, 30.0  # mm, room around the instrument
LONG = 0.72  # m, scales beyond this are drawn smaller
CLOSE = 4.2  # mm, fret numbers nearer than this leave every second one out
LETTER = 0.52  # mean width of a letter over the size of its type


@dataclass(frozen=True)
class Along:
    """Places along the neck on paper."""

    scale: float  # m, scale length
    fret_x: tuple[float, ...]  # m from the nut, of fret 1 and on
    reduced: int  # drawn 1:reduced

    def on_paper(self, x: float) -> float:
        """Place of a point of the neck.

        Args:
            x: from the nut [m].
        Returns: [mm] of paper.
        """
        return LEFT + 1e3 * x / self.reduced

    @property
    def width(self) -> float:
        """Width of the paper [mm]."""
        return self.on_paper(self.scale) + RIGHT


def along(scale: float, fret_x: Sequence[float]) -> Along:
    """Lay a neck along the paper.

    Args:
        scale: scale length [m].
        fret_x: (N) from the nut [m].
    Returns: places on paper.
    Raises: InputError where frets are missing or out of order.
    """
    places = tuple(float(x) for x in fret_x)
    if not places or any(b <= a for a, b in zip((0.0, *places), (*places, scale), strict=True)):
        raise InputError("a neck is drawn with its frets in order between nut and bridge; give one fret or more.")
    return Along(float(scale), places, 2 if scale <= LONG else 3)


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
    return [
        text((LEFT, 11.0), cut(title, room, LARGE), LARGE, bold=True),
        text((LEFT, 17.0), cut(f"{instrument}. {what}", room, SMALL), SMALL),
    ]


def numbers(where: Along, y: float) -> list[str]:
    """Fret numbers in a row; where they crowd, every second one.

    Args:
        where: the neck on paper.
        y: of their base line [mm].
    Returns: SVG.
    """
    out = [text((where.on_paper(0.0), y), "nut", SMALL, "middle")]
    last = where.on_paper(0.0)
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
