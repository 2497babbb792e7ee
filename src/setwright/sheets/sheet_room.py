"""Whether a part of the sheet will stay on its page, guessed from its words: where the type's size begins.

A guess saves measuring, which takes as long as setting. Heights are in ems, from what data/sheet.typ sets. Words too
long for a column are not guessed at: those pages are measured, and so are all where a guess has failed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

from setwright.sheets.board import Room
from setwright.sheets.sheet import SheetData

SIZES = (11.0, 10.5, 10.0, 9.5, 9.0, 8.5, 8.0, 7.5, 7.0)  # pt, of the type
ROOM = {"a4": (499.0, 751.0), "letter": (516.0, 701.0), "tag": (176.0, 238.0)}  # pt, inside the margins
DRAWN = {"a4": Room(281.0, 185.0), "letter": Room(263.4, 191.0)}  # of a drawing on a page across
NARROW, WIDE, WIDEST = 0.45, 0.72, 1.0  # em, width of small letters, of capitals, of whole squares
LINE = 1.16  # em, from line to line; a text of n lines is 0.5 em less than n of them high
TRUST = 0.93  # of a guess: it is rather high
LONG = 20  # letters, of a word
SIDE = 0.21  # of the width, the names of sections
COLUMNS = (1.1, 1.4, 1.9, 1.4, 1.7)  # shares of the width that the slot leaves to name, found, target, left, verdict
SLOT = 7.8  # em
INSET = 0.3  # em, left and right in a cell
FRACTION = 1.12  # times as large as other letters
# Widths of the letters 32 to 126 in hundredths of an em, the wider of regular and bold, rounded up: those of the type
# inside typst, measured; a test measures them again.
WIDTHS = (
    25, 27, 38, 52, 52, 64, 73, 22, 32, 32, 44, 54, 25, 36, 25, 32, 52, 52, 52, 52, 52, 52, 52, 52, 52, 52, 26, 26, 52,
    56, 52, 43, 99, 74, 66, 71, 74, 61, 55, 74, 82, 37, 38, 74, 58, 90, 74, 73, 62, 73, 72, 51, 66, 74, 70, 103, 72, 63,
    63, 40, 31, 40, 52, 49, 40, 51, 55, 46, 57, 49, 40, 53, 62, 33, 32, 62, 33, 91, 62, 56, 59, 58, 43, 43, 36, 60, 53,
    78, 57, 56, 46, 31, 22, 31, 48,
)  # fmt: skip
USUAL = {"±": 53, "−": 54, "–": 54, "·": 25, "°": 27}  # the same of what else readings are written with


def start(data: SheetData, part: str, paper: str) -> dict[str, object]:
    """Where to begin with the type's size.

    Args:
        data: what goes on the sheet.
        part: "owner", "shop" or "tag".
        paper: "a4" or "letter".
    Returns: at: place in SIZES; sure: whether it should do without measuring.
    """
    width, height = ROOM["tag" if part == "tag" else paper]
    for at, size in enumerate(SIZES):
        room = height / size
        guess = TRUST * _HEIGHTS[part](data, width / size)
        if guess <= room:
            return {"at": at, "sure": not _unbroken(data)}
    return {"at": len(SIZES) - 1, "sure": False}


def flat(data: SheetData, paper: str, at: int) -> list[list[bool]]:
    """Which rows of the shop's table surely take one line: those need no measuring.

    Args:
        data: what goes on the sheet.
        paper: "a4" or "letter".
        at: place in SIZES of the largest size they may be set in.
    Returns: for each group whether its name does, then each of its rows.
    """
    width = ROOM[paper][0] / SIZES[at]
    share = (width - SLOT) / sum(COLUMNS)
    out = []
    for group in data.groups:
        rows = [_fits(f"{group.what}   {group.how}", width - 2.0 * INSET)]
        for row in group.rows:
            texts = (row.name, row.found, row.target, row.left, f"{row.verdict}, {row.remark}")
            rows.append(all(_fits(text, c * share - 2.0 * INSET) for text, c in zip(texts, COLUMNS, strict=True)))
        out.append(rows)
    return out


@lru_cache(maxsize=4096)
def _fits(text: str, width: float) -> bool:
    """Whether a text surely stands on one line of some width [em]."""
    length = sum(WIDTHS[ord(c) - 32] if " " <= c <= "~" else USUAL.get(c, 200) for c in text) / 100.0
    return length * (FRACTION if "/" in text else 1.0) <= width


def _unbroken(data: SheetData) -> bool:
    """Whether the head holds words too long for its columns, which are broken where no guess tells."""
    texts = (data.shop, data.owner, data.instrument, data.case, data.who, *data.address)
    return any(len(word) > LONG for one in texts for word in one.split())


def _lines(text: str, width: float) -> float:
    """Height of the lines of a text in a column of some width, both in ems."""
    return LINE * max(1, math.ceil(_length(text) / max(width, 1.0)))


@lru_cache(maxsize=4096)
def _length(text: str) -> float:
    """Length of a text on one line; long ones lose something where lines end before their column does."""
    length = sum(WIDEST if ord(c) >= 0x2E80 else WIDE if c.isupper() else NARROW for c in text)
    return length if len(text) < 20 else 1.1 * length


def _points(items: Sequence[str], width: float) -> float:
    column = (1.0 - SIDE) * width - 2.0
    return 0.5 + sum(_lines(one, column) for one in items) if items else 0.0


def _head(data: SheetData, width: float, cells: Sequence[str]) -> float:
    address = sum(_lines(one, 0.8 * width) for one in (data.shop, *data.address))
    rows = [cells[i : i + 3] for i in range(0, len(cells), 3)]
    block = sum(max(_lines(one, width / 3.0 - 1.0) for one in row) + 1.3 for row in rows)
    return max(address, 6.6 if data.link else 0.0) + 2.8 + block + 1.5


def _owner(data: SheetData, width: float) -> float:
    cells = (data.owner, data.instrument, data.case, "", data.who, "")
    column = (1.0 - SIDE) * width
    out = _head(data, width, cells) + _lines(data.wish, column) + _lines(data.short, 0.92 * column) + 1.0
    for one in data.measures:
        out += 0.3 + max(_lines(text, width / 6.0) for text in (one.what, one.before, one.wanted, one.now, one.result))
    out += 3.0 if data.measures else 0.0
    lists = (data.found, data.done, data.recommended, data.not_done, data.care, data.cautions)
    return out + sum(_points(one, width) for one in lists)


def _shop(data: SheetData, width: float) -> float:
    cells = (data.instrument, data.owner, data.case, data.about, data.strings, data.tuning, "", data.who, "")
    out = _head(data, width, cells) + 6.5
    share = (width - SLOT) / sum(COLUMNS)
    for group in data.groups:
        out += 0.4 + _lines(group.what + group.how, width)
        for row in group.rows:
            texts = (row.name, row.found, row.target, row.left, f"{row.verdict}{row.remark}")
            out += max(_lines(text, c * share - 0.6) for text, c in zip(texts, COLUMNS, strict=True)) + 0.02
    for some in (data.settings, data.parts):
        out += 0.5 + LINE * math.ceil(len(some) / (2.0 if len(some) > 4 else 1.0))
    lists = (data.recommended, data.not_done, data.notes, data.shop_cautions)
    return out + sum(_points(one, width) for one in lists)


def _tag(data: SheetData, width: float) -> float:
    texts = (data.owner, data.strings, data.tuning, data.bridge, "", "")
    out = max(1.9 * _lines(data.case, (width - 6.0) / 1.9) + 1.0, 5.6) + 1.35 * _lines(data.instrument, width / 1.5)
    return out + 2.0 + sum(_lines(one, width - 5.0) for one in texts) + _lines(data.short, width)


_HEIGHTS = {"owner": _owner, "shop": _shop, "tag": _tag}
