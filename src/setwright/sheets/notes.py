"""Drawing of the notes: one strip for each string, cents error along the true places of the frets."""

from __future__ import annotations

import math

from setwright.frozen import frozen
from setwright.sheets.board import (
    LEFT,
    OVER_FIRST,
    TOP,
    Along,
    Places,
    Room,
    cut,
    each_along,
    heading,
    numbers,
    ticks,
)
from setwright.sheets.ink import HEAVY, PLAIN, SMALL, THIN, arrow, band, finite, line, page, run, slot, text

SLOT = 2.0  # cents, what most ears let pass; common practice, no source
TALLEST = 15.0  # mm, of half a strip
FINEST = 1.0  # mm per cent at most
LEAST = 6.0  # cents, every strip shows at least as much
GAP = 7.0  # mm between strips
WORDS = 73.0  # mm, from beside the scale's end to the edge of the paper
LOW = 4.0  # mm, half a strip; lower ones are hard to read


@frozen
class Strip:
    """One string."""

    name: str  # at the left, e.g. "1  .010  E4"
    cents: tuple[float, ...]  # at every fret, or at those beyond the capo
    half_width: tuple[float, ...]  # cents
    before: tuple[float, ...]  # as found, where `cents` are after the plan; else ()
    octave: str  # what the octave error is, in words
    remedy: str  # what to turn, in words
    saddle: int  # 1 back, -1 forward, 0 stays
    capo: int = 0  # fret of a capo, 0 for none


@frozen
class NotesSheet:
    """What is drawn."""

    title: str
    instrument: str
    when: str
    scale: float  # m
    fret_x: tuple[float, ...]  # m
    strips: tuple[Strip, ...]
    places: tuple[Places, ...] = ()  # of every string where frets are fanned


def draw_notes(sheet: NotesSheet, room: Room | None = None) -> str:
    """Cents error of every string along its frets, bands as wide as they are unsure, in the slot of ± 2 cents.

    Args:
        sheet: what is drawn.
        room: on paper, where it is to fit in with letters that can be read; None where it is not printed.
    Returns: an SVG document.
    Raises: InputError where a number is not finite or frets are out of order.
    """
    wheres = each_along(sheet.scale, sheet.fret_x, sheet.places, len(sheet.strips), room=room)
    where, width = wheres[0], max(one.width for one in wheres)
    most = max(abs(v) + w for one in sheet.strips for v, w in zip(one.cents, one.half_width, strict=True))
    most = max(most, *(abs(v) for one in sheet.strips for v in one.before or (0.0,)))
    reach = max(LEAST, math.ceil(finite(most)))
    tallest = TALLEST
    if room is not None:
        tallest = min(TALLEST, 0.5 * room.each(width, len(sheet.strips), TOP + 6.0, GAP, 2.0 * LOW))
    per_cent = min(FINEST, tallest / reach)
    tall = 2.0 * reach * per_cent
    what = (
        f"Cents error of every note {sheet.when}, sharp upwards; along the neck 1:{where.reduced}, "
        f"1 c drawn {per_cent:.2f} mm tall. Band: holds 95 of 100."
    )
    what += OVER_FIRST if sheet.places else ""
    marks = [*heading(sheet.title, sheet.instrument, what, width), *numbers(where, TOP - 3.0)]
    y = TOP
    for one, own in zip(sheet.strips, wheres, strict=True):
        marks += _strip(one, own, y, reach, per_cent)
        y += tall + GAP
    legend = f"slot: ± {SLOT:g} c. Heavy line: {sheet.when}."
    if any(one.before for one in sheet.strips):
        legend += " Thin broken line: as found."
    marks.append(text((LEFT, y), legend, SMALL))
    return page(width, y + 6.0, f"Notes: {sheet.title}", what, marks)


def _strip(one: Strip, where: Along, top: float, reach: float, per_cent: float) -> list[str]:
    """One string's strip."""
    zero = top + reach * per_cent
    bottom = top + 2.0 * reach * per_cent
    nut, end = where.on_paper(where.nut_x), where.on_paper(where.scale)
    x = [where.on_paper(at) for at in where.fret_x][one.capo :]

    def level(cents: float) -> float:
        return zero - per_cent * cents

    out = [slot(nut, level(SLOT), end - nut, 2.0 * SLOT * per_cent), *ticks(where, top, bottom)]
    out += [line((nut, top), (nut, bottom), HEAVY), line((nut, zero), (end, zero), THIN, dashed=True)]
    apart = max(0.6, 0.5 * SMALL - SLOT * per_cent)  # the two numbers are not to touch
    low = [level(v - w) for v, w in zip(one.cents, one.half_width, strict=True)]
    high = [level(v + w) for v, w in zip(one.cents, one.half_width, strict=True)]
    out.append(band(x, low, high))
    out += [line((nut, level(edge)), (end, level(edge)), THIN) for edge in (SLOT, -SLOT)]
    if one.before:
        out.append(run([(at, level(v)) for at, v in zip(x, one.before, strict=True)], THIN, dashed=True))
    out.append(run([(at, level(v)) for at, v in zip(x, one.cents, strict=True)], HEAVY))
    out += [
        text((4.0, zero + 0.35 * PLAIN), cut(one.name, LEFT - 10.0, PLAIN), PLAIN, bold=True),
        text((nut - 1.2, level(SLOT) + 0.35 * SMALL - apart), f"+{SLOT:g}", SMALL, "end"),
        text((nut - 1.2, level(-SLOT) + 0.35 * SMALL + apart), f"−{SLOT:g}", SMALL, "end"),
        text((end + 5.0, zero - 1.2), cut(one.octave, WORDS, SMALL), SMALL),
        text((end + 5.0, zero + 3.2), cut(one.remedy, WORDS, SMALL), SMALL, accent=bool(one.saddle)),
        line((end, top), (end, bottom), HEAVY),
    ]
    if one.capo:
        at = where.on_paper(where.fret_x[one.capo - 1])
        out += [line((at, top), (at, bottom), HEAVY), text((at - 1.0, top + 2.4), "capo", SMALL, "end")]
    if one.saddle:
        tail, tip = (end - 4.5, end + 4.5) if one.saddle > 0 else (end + 4.5, end - 4.5)
        out.append(arrow((tail, bottom + 2.2), (tip, bottom + 2.2), HEAVY, accent=True))
    return out
