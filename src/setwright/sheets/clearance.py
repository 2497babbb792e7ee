"""Drawing of the clearance: one strip for each string, the nearest a struck string comes to any fret ahead."""

from __future__ import annotations

from setwright.frozen import frozen
from setwright.sheets.board import LEFT, OVER_FIRST, TOP, Along, Places, cut, each_along, heading, numbers, ticks
from setwright.sheets.ink import HEAVY, PAPER, PLAIN, SMALL, THIN, area, arrow, band, cross, line, page, run, text

TALLEST = 26.0  # mm of a strip
STRETCHES = (40, 30, 25, 20, 15, 12, 10, 8, 6, 5)  # how much taller than the lengths along the neck
GAP = 8.0  # mm between strips
WORDS = 70.0  # mm
APART = 14.5  # mm between two words along a strip
DIES = (0.8, 5.0, 1.4)  # mm, mark of a bend that dies: foot and top over the band, half width of its bar


@frozen
class Reach:
    """One string."""

    name: str
    clearance: tuple[float, ...]  # m, stopped at the nut, fret 1, 2 ...: the least over all frets ahead
    half_width: tuple[float, ...]  # m
    ahead: tuple[int, ...]  # fret it comes nearest to
    words: tuple[str, ...]  # lines at the right
    dies: tuple[tuple[int, float], ...] = ()  # fret, and the least bend from there that dies on a crown, cents


@frozen
class ClearanceSheet:
    """What is drawn."""

    title: str
    instrument: str
    when: str
    stroke: str  # in words
    scale: float  # m
    fret_x: tuple[float, ...]  # m
    strips: tuple[Reach, ...]
    places: tuple[Places, ...] = ()  # of every string where frets are fanned


def draw_clearance(sheet: ClearanceSheet) -> str:
    """Least clearance of every string by the fret it is stopped at; where it touches, a cross and the word.

    Args:
        sheet: what is drawn.
    Returns: an SVG document.
    Raises: InputError where a number is not finite or frets are out of order.
    """
    wheres = each_along(sheet.scale, sheet.fret_x, sheet.places, len(sheet.strips))
    where, width = wheres[0], max(one.width for one in wheres)
    edges = [(v - w, v + w) for one in sheet.strips for v, w in zip(one.clearance, one.half_width, strict=True)]
    low, high = min(0.0, *(a for a, _ in edges)), max(0.0, *(b for _, b in edges))
    span = 1e3 * (high - low) / where.reduced
    stretch = next((s for s in STRETCHES if s * span <= TALLEST), 1)
    per_metre = 1e3 * stretch / where.reduced
    what = (
        f"Least clearance {sheet.when}, by where the string is stopped. Stroke: {sheet.stroke}. Along the neck "
        f"1:{where.reduced}, clearance {stretch} times as tall. Band: holds 95 of 100."
    )
    what += OVER_FIRST if sheet.places else ""
    marks = [*heading(sheet.title, sheet.instrument, what, width), *numbers(where, TOP - 3.0)]
    y = TOP
    for one, own in zip(sheet.strips, wheres, strict=True):
        marks += _strip(one, own, y + per_metre * high, per_metre, (low, high))
        y += per_metre * (high - low) + GAP
    marks.append(text((LEFT, y), "Line marked “touches”: no clearance left. Cross: the string touches there.", SMALL))
    if any(one.dies for one in sheet.strips):
        y += 7.0
        marks += _dead_end((LEFT + 1.5, y + 1.0))
        marks.append(text((LEFT + 5.0, y), "Arrow against a bar: a bend from there dies on a crown ahead.", SMALL))
        marks.append(text((LEFT + 5.0, y + 4.0), "Over it the least bend that does, in cents.", SMALL))
        y += 4.0
    return page(width, y + 6.0, f"Clearance: {sheet.title}", what, marks)


def _strip(one: Reach, where: Along, zero: float, per_metre: float, room: tuple[float, float]) -> list[str]:
    """One string's strip; `zero` is where no clearance is left [mm]."""
    bottom, top = zero - per_metre * room[0], zero - per_metre * room[1]
    x = [where.on_paper(at) for at in (where.nut_x, *where.fret_x)][: len(one.clearance)]
    nut, end = x[0], where.on_paper(where.scale)
    y = [zero - per_metre * v for v in one.clearance]
    edge = [per_metre * w for w in one.half_width]
    out = [*ticks(where, top, bottom), line((nut, top), (nut, bottom), HEAVY), line((end, top), (end, bottom), HEAVY)]
    low, high = ([v + side * w for v, w in zip(y, edge, strict=True)] for side in (1.0, -1.0))
    out.append(band(x, low, high))
    out += [line((nut, zero), (end, zero), HEAVY), run(list(zip(x, y, strict=True)), HEAVY)]
    out.append(text((nut - 1.5, zero + 0.9), "touches", SMALL * 0.85, "end"))
    out.append(text((4.0, zero - 4.0), cut(one.name, LEFT - 6.0, PLAIN), PLAIN, bold=True))
    out += [
        text((end + 5.0, zero - 6.0 + 4.2 * i), cut(words, WORDS, SMALL), SMALL) for i, words in enumerate(one.words)
    ]
    return out + _touches(one, x, y, bottom) + _bends(one, x, [min(v, zero) for v in high])


def _bends(one: Reach, x: list[float], above: list[float]) -> list[str]:
    """Where bends die: the mark, clear of band and line, and the least such bend where it changes and there is room."""
    out: list[str] = []
    last, said = -APART, -1.0
    for fret, cents in one.dies:
        at = (x[fret], above[fret])
        out += _dead_end(at)
        if cents != said and at[0] - last >= 0.5 * APART:
            base = at[1] - DIES[1] - 0.8
            left, right, top = at[0] - 3.3, at[0] + 3.3, base - SMALL * 0.75
            out.append(area([(left, base), (right, base), (right, top), (left, top)], PAPER, edge=False))
            out.append(text((at[0], base), f"{cents:.0f} c", SMALL * 0.85, "middle"))
            last, said = at[0], cents
    return out


def _dead_end(at: tuple[float, float]) -> list[str]:
    """An arrow up against a bar, standing over a point of the line [mm]."""
    x, y = at
    foot, top, half = DIES
    bar = line((x - half, y - top), (x + half, y - top), HEAVY)
    return [arrow((x, y - foot), (x, y - top + 0.2)), bar]


def _touches(one: Reach, x: list[float], y: list[float], bottom: float) -> list[str]:
    """Crosses, and the word with the fret that is touched wherever that changes and there is room."""
    out: list[str] = []
    last, said = -APART, -1
    for at, level, value, fret in zip(x, y, one.clearance, one.ahead, strict=True):
        if value >= 0.0:
            continue
        out.append(cross((at, level)))
        if fret != said and at - last >= APART:
            out.append(text((at, bottom + 2.8), f"touches {fret}", SMALL * 0.85, "middle"))
            out.append(line((at, level), (at, bottom), THIN, dashed=True))
            last, said = at, fret
    return out
