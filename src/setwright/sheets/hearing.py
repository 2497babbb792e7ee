"""Drawing of a recording as heard: one strip for each note, with its sound, its pitch in time and its partials."""

from __future__ import annotations

import math
from collections.abc import Sequence

from setwright.errors import InputError
from setwright.frozen import frozen
from setwright.sheets.board import LETTER, cut
from setwright.sheets.ink import (
    CUT,
    HEAVY,
    INK,
    LARGE,
    PAPER,
    PLAIN,
    SMALL,
    THIN,
    area,
    band,
    cross,
    finite,
    line,
    page,
    place,
    run,
    slot,
    text,
)

WIDTH = 297.0  # mm
LEFT, TOP = 10.0, 34.0  # mm
WORDS = 68.0  # mm
TIMES = (90.0, 188.0)  # mm, from where to where time runs
PARTIALS = (208.0, 286.0)  # mm, the same of the partials' numbers
SOUND = 8.0  # mm, height of the sound
PITCH = 20.0  # mm, of the pitch in time and of the partials
STRIP = 40.0  # mm
LOW = 13.0  # mm, strip of a note that is left out
LINE = 3.9  # mm between lines of words
DEEP = 40.0  # dB under full scale at which the sound has no height
STEPS = (0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0)  # cents
TICKS = (0.5, 1.0, 2.0, 5.0)  # s
MOST_TICKS = 10
BAR = 1.4  # mm, half width of a partial's bar
CLOSE = 3.6  # mm, numbers of partials nearer than this are left out
FIGURE = 8.0  # mm, width of the figure of a partial beyond the strip
FEWEST = 12  # partials there is room for at least
TINY = 0.8 * SMALL


@frozen
class Bar:
    """One partial. number: its. off: cents off the law. half: cents, holds 95 %. counted: whether the law was made with
    it."""

    number: int
    off: float
    half: float
    counted: bool


@frozen
class Trace:
    """Pitch against time. number: of the partial it was taken from. times: s from the note's onset. cents: from the
    pitch reported. half: cents, holds 95 %. glide: cents, what the fit has there. settled: half width of the pitch
    reported [cents]."""

    number: int
    times: tuple[float, ...]
    cents: tuple[float, ...]
    half: tuple[float, ...]
    glide: tuple[float, ...]
    settled: float


@frozen
class NoteStrip:
    """One note. head: its name. lines: what is known of it. alarm: why it is left out or in doubt, "" for neither.
    times, levels: s from the onset, dB of full scale. used: s, the part used; None: none. trace, bars: None and () for
    a note that was not measured. apart: cents, usual departure from the law."""

    head: str
    lines: tuple[str, ...]
    alarm: str
    times: tuple[float, ...]
    levels: tuple[float, ...]
    used: tuple[float, float] | None = None
    trace: Trace | None = None
    bars: tuple[Bar, ...] = ()
    apart: float = 0.0

    @property
    def height(self) -> float:
        """Of its strip [mm]."""
        return STRIP if self.trace is not None else LOW


@frozen
class HearingSheet:
    """What is drawn."""

    title: str
    about: str
    strips: tuple[NoteStrip, ...]


def draw_hearing(sheet: HearingSheet) -> str:
    """Every note in a strip: words, sound and pitch over one axis of time, partials against the law of the string.

    Args:
        sheet: what is drawn.
    Returns: an SVG document.
    Raises: InputError where there is no note or a number is not finite.
    """
    if not sheet.strips:
        raise InputError("there is no note to be drawn; record the strings again.")
    longest = max(0.5, *(one.times[-1] for one in sheet.strips if one.times))
    most = max([FEWEST, *(bar.number for one in sheet.strips for bar in one.bars)])
    marks = _heading(sheet, longest)
    y = TOP
    for one in sheet.strips:
        marks += _strip(one, y, longest, most)
        y += one.height
    marks += [line((LEFT, y), (WIDTH - LEFT, y)), *_legend(y + 5.5)]
    return page(WIDTH, y + 19.0, f"Heard: {sheet.title}", sheet.about, marks)


def nice(reach: float) -> float:
    """The step of a scale that shows a reach.

    Args:
        reach: >= 0 [cents].
    Returns: the greatest of STEPS that is not more, else the least.
    """
    return max((one for one in STEPS if one <= finite(reach)), default=STEPS[0])


def _heading(sheet: HearingSheet, longest: float) -> list[str]:
    """Title, names of the columns, and seconds."""
    room = WIDTH - 2.0 * LEFT
    out = [
        text((LEFT, 11.0), cut(sheet.title, room, LARGE), LARGE, bold=True),
        text((LEFT, 17.0), cut(sheet.about, room, SMALL), SMALL),
        text((LEFT, 26.0), "note", SMALL, bold=True),
        text((TIMES[0], 26.0), "sound, and pitch against time; seconds from the onset", SMALL, bold=True),
        text((PARTIALS[0], 26.0), "partials off the law of the string, by number", SMALL, bold=True),
    ]
    step = next((one for one in TICKS if longest / one <= MOST_TICKS), TICKS[-1])
    for i in range(int(longest / step) + 1):
        at = _across(i * step, longest)
        out += [text((at, TOP - 2.6), f"{i * step:g}", TINY, "middle"), line((at, TOP - 1.6), (at, TOP))]
    return out


def _legend(y: float) -> list[str]:
    """What the marks mean."""
    words = (
        "Sound: height in dB down to −40 of full scale; what was used is toned. Pitch of the first partial: heavy line "
        "with its band, ± 95 %; slot: the pitch reported; broken: the glide as fitted.",
        "Partials: bar ± 95 % about the heavy stroke; slot: how far partials of this note usually stand off the law; "
        "crossed: not counted to the law; an arrow's figure: cents beyond the strip.",
    )
    return [text((LEFT, y + LINE * i), words_, SMALL) for i, words_ in enumerate(words)]


def _across(seconds: float, longest: float) -> float:
    """Place of a time on paper [mm]."""
    return TIMES[0] + (TIMES[1] - TIMES[0]) * min(max(seconds, 0.0), longest) / longest


def _strip(one: NoteStrip, top: float, longest: float, most: int) -> list[str]:
    out = [line((LEFT, top), (WIDTH - LEFT, top)), *_words(one, top)]
    out += _sound(one, top + 2.0, longest)
    if one.trace is not None:
        upper = top + SOUND + 5.0
        out += _trace(one, one.trace, upper, longest)
        out += _partials(one, upper - 4.0, most)
    return out


def _words(one: NoteStrip, top: float) -> list[str]:
    """At the left: what it is, and what speaks against it."""
    out = [text((LEFT, top + 5.6), cut(one.head, WORDS, PLAIN), PLAIN, bold=True)]
    y = top + 5.6 + LINE + 0.6
    for words in one.lines:
        out.append(text((LEFT, y), cut(words, WORDS, SMALL), SMALL))
        y += LINE
    if one.alarm:
        room = WORDS if one.trace is not None else WIDTH - LEFT - PARTIALS[0]
        at = (LEFT, y) if one.trace is not None else (PARTIALS[0], top + 5.6)
        fits = max(int((top + one.height - at[1]) / LINE) + (one.trace is None), 1)
        for i, words in enumerate(_wrapped(one.alarm, room, fits)):
            out.append(text((at[0], at[1] + LINE * i), words, SMALL, accent=True))
    return out


def _wrapped(words: str, room: float, fits: int) -> list[str]:
    """Words broken into lines that fit, the last one cut."""
    most = max(int(room / (LETTER * SMALL)), 1)
    lines = [""]
    for word in words.split():
        if lines[-1] and len(lines[-1]) + 1 + len(word) > most and len(lines) < fits:
            lines.append(word)
        else:
            lines[-1] = f"{lines[-1]} {word}".strip()
    return [cut(one, room, SMALL) for one in lines]


def _sound(one: NoteStrip, top: float, longest: float) -> list[str]:
    """The sound's outline, toned where it was used."""
    if len(one.times) < 2:
        return []
    middle = top + 0.5 * SOUND
    x = [_across(at, longest) for at in one.times]
    high = [0.5 * SOUND * min(max(1.0 + finite(level) / DEEP, 0.0), 1.0) for level in one.levels]

    def outline(points: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
        return [*((at, middle - h) for at, h in points), *((at, middle + h) for at, h in reversed(points))]

    whole = list(zip(x, high, strict=True))
    out = [area(outline(whole), CUT)]
    if one.used is not None:
        begin, end = (_across(at, longest) for at in one.used)
        inside = [point for point in whole if begin <= point[0] <= end]
        if len(inside) > 1:
            out.append(area(outline(inside)))
        bottom = top + SOUND + 3.0 + (PITCH if one.trace is not None else -3.0)
        out += [line((at, top), (at, bottom)) for at in (begin, end)]
    return out


def _trace(one: NoteStrip, trace: Trace, top: float, longest: float) -> list[str]:
    """Pitch against time."""
    reach = max([0.01, trace.settled, *(c + h for c, h in zip(trace.cents, trace.half, strict=True)), *trace.glide])
    below = max([0.01, trace.settled, *(h - c for c, h in zip(trace.cents, trace.half, strict=True))])
    typical = sorted(abs(c) + h for c, h in zip(trace.cents, trace.half, strict=True))
    usual = 2.0 * typical[len(typical) // 2] if typical else reach
    reach, below = (min(one_, max(usual, *trace.glide, trace.settled, 0.02)) for one_ in (reach, below))
    per_cent = PITCH / (reach + below)
    zero = top + reach * per_cent

    def level(cents: float) -> float:
        return min(max(zero - per_cent * cents, top), top + PITCH)

    begin, end = (_across(at, longest) for at in one.used or (0.0, longest))
    x = [_across(at, longest) for at in trace.times]
    half = trace.settled * per_cent
    out = [slot(begin, zero - half, end - begin, 2.0 * half)]
    if len(x) > 1:
        low = [level(c - h) for c, h in zip(trace.cents, trace.half, strict=True)]
        high = [level(c + h) for c, h in zip(trace.cents, trace.half, strict=True)]
        out += [band(x, low, high), run([(at, level(c)) for at, c in zip(x, trace.glide, strict=True)], THIN, True)]
        out.append(run([(at, level(c)) for at, c in zip(x, trace.cents, strict=True)], HEAVY))
    out += _scale(TIMES[0] - 3.0, zero, per_cent, nice(0.9 * max(reach, below)), top)
    if trace.number != 1:
        out.append(text((end + 1.0, zero + 0.35 * TINY), f"partial {trace.number}", TINY))
    return out


def _scale(x: float, zero: float, per_cent: float, step: float, top: float) -> list[str]:
    """An upright with marks at every step, zero named, and what a step is worth."""
    out = [line((x, top), (x, top + PITCH))]
    for i in range(
        -math.floor((top + PITCH - zero) / (per_cent * step)), math.floor((zero - top) / (per_cent * step)) + 1
    ):
        y = zero - i * step * per_cent
        out.append(line((x - (1.6 if i == 0 else 0.9), y), (x, y), HEAVY if i == 0 else THIN))
        if i in (0, 1) or (i == -1 and zero - top < step * per_cent):
            out.append(
                text((x - 2.2, y + 0.35 * TINY), "0" if i == 0 else f"{i * step:+g} c".replace("-", "−"), TINY, "end")
            )
    return out


def _partials(one: NoteStrip, top: float, most: int) -> list[str]:
    """Bars of the partials about the law."""
    tall = PITCH + 2.0
    each = [abs(bar.off) + bar.half for bar in one.bars if bar.counted] or [0.1]
    reach = max(sorted(each)[math.ceil(0.8 * len(each)) - 1], 2.0 * one.apart, 0.01)
    per_cent, zero = 0.5 * tall / reach, top + 0.5 * tall
    across = (PARTIALS[1] - PARTIALS[0]) / most
    half = min(BAR, 0.4 * across)
    own = min(one.apart * per_cent, 0.5 * tall)
    out = [slot(PARTIALS[0], zero - own, PARTIALS[1] - PARTIALS[0], 2.0 * own)]
    out.append(line((PARTIALS[0], zero), (PARTIALS[1], zero), THIN, True))
    named = PARTIALS[0] - CLOSE
    far: list[str] = []
    beyond, deeper = -10, False
    for bar in one.bars:
        x = PARTIALS[0] + across * (bar.number - 0.5)
        if abs(bar.off) > reach:
            deeper = (bar.number - beyond) * across < FIGURE and not deeper
            beyond = bar.number
            far += _beyond(bar, x, (top, top + tall), deeper)
        else:
            out += _bar(bar, x, half, zero, per_cent, (top, top + tall))
        if x - named >= CLOSE:
            out.append(text((x, top + tall + 3.0), str(bar.number), TINY, "middle"))
            named = x
    return [*out, *far, *_scale(PARTIALS[0] - 3.0, zero, per_cent, nice(0.9 * reach), top)]


def _bar(bar: Bar, x: float, half: float, zero: float, per_cent: float, ends: tuple[float, float]) -> list[str]:
    """One partial: as tall as it is unsure."""
    at = zero - per_cent * finite(bar.off)
    high, low = (min(max(at - way * per_cent * finite(bar.half), ends[0]), ends[1]) for way in (1.0, -1.0))
    box = area([(x - half, high), (x + half, high), (x + half, low), (x - half, low)])
    out = [box if bar.counted else _empty(x - half, high, 2.0 * half, low - high)]
    out.append(line((x - half - 0.3, at), (x + half + 0.3, at), HEAVY))
    return [*out, *([] if bar.counted else [cross((x, at))])]


def _beyond(bar: Bar, x: float, ends: tuple[float, float], deeper: bool) -> list[str]:
    """One partial beyond the strip: an arrow head and its cents, a line deeper where a neighbour's stand."""
    edge, inward = (ends[0], 1.0) if bar.off > 0.0 else (ends[1], -1.0)
    tip = [(x - 1.0, edge + 2.0 * inward), (x, edge), (x + 1.0, edge + 2.0 * inward)]
    words = f"{bar.off:+.{1 if abs(bar.off) >= 1.0 else 2}f}".replace("-", "−")
    y = edge + inward * (LINE if not deeper else 1.8 * LINE) + (0.7 if inward > 0.0 else 0.0)
    half = 0.5 * LETTER * TINY * len(words) + 0.4
    corners = [(x - half, y - 0.8 * TINY), (x + half, y - 0.8 * TINY), (x + half, y + 0.3), (x - half, y + 0.3)]
    return [run(tip, HEAVY), area(corners, PAPER, edge=False), text((x, y), words, TINY, "middle")]


def _empty(left: float, top: float, width: float, height: float) -> str:
    """A box without tone."""
    box = f'x="{place(left)}" y="{place(top)}" width="{place(width)}" height="{place(height)}"'
    return f'<rect {box} fill="none" stroke="{INK}" stroke-width="{place(THIN)}"/>'
