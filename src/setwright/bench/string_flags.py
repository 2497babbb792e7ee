"""What about a set wants a look: slack, touchy, too thick for its slot, and how it differs from the set before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from setwright.bench.strings import MILLIMETRE, Change, Flag, Measured, StringLine, StringSheet, sheets_of
from setwright.bench.tunings import bass_string
from setwright.errors import InputError
from setwright.instrument.jobfile import Job

# Common practice, no source: what usual sets at usual pitches do not go below or beyond, guitar first, bass second.
SLACK = (36.0, 89.0)  # N, 8 and 20 lb
HARD_FINGER = 0.02e-3  # m, what a finger that presses hard adds to the path
TOUCHY = (15.0, 22.0)  # cents, for that
BINDS_FROM = 0.002 * 0.0254  # m thicker, from which a nut slot may hold a string; common practice, no source
SAME_BOARD = 2e-3  # m between two scales, below which they are taken for one instrument's
HAIR = 1e-6  # m, below the digits gauges are written with


def flagged(sheet: StringSheet, slots: Sequence[float] | None = None, was: StringSheet | None = None) -> StringSheet:
    """A sheet with everything that wants a look.

    Args:
        sheet: the set.
        slots: (S) widths of the nut slots [m], or None.
        was: the set that was on, at its own pitch, or None; on another scale it is another instrument's, and only the
            pull is compared.
    Returns: the sheet with its flags, and the change against `was`.
    Raises: InputError where slots or sets differ in number.
    """
    count = len(sheet.lines)
    if slots is not None and len(slots) != count:
        raise InputError(f"{len(slots)} slot widths for {count} strings; write one per string, from the thinnest.")
    if was is not None and len(was.lines) != count:
        raise InputError(f"{count} strings where {len(was.lines)} were on; sets of one size are compared.")
    bass = bass_string(sheet.lines[0].diameter)
    flags: list[Flag] = []
    for i, line in enumerate(sheet.lines):
        flags += _by_itself(i + 1, line, sheet.limit, bass)
        if slots is not None and line.diameter > slots[i] + HAIR:
            flags.append(Flag("too thick for the slot", i + 1, line.gauge, "", line.diameter, slots[i]))
        if was is not None and _same_board(was, sheet):
            flags += _against(i + 1, line, was.lines[i], slots is None)
    return replace(sheet, flags=tuple(flags), change=None if was is None else change(was, sheet))


def flagged_sheets_of(job: Job) -> tuple[StringSheet, ...]:
    """The sets of a job with their flags, the wanted one against the one found.

    Args:
        job: the job.
    Returns: one or two sheets.
    """
    sheets = sheets_of(job)
    return (flagged(sheets[0]), *(flagged(one, was=sheets[0]) for one in sheets[1:]))


def under_the_finger(line: StringLine) -> float:
    """How much sharper a string goes when a finger presses hard.

    Args:
        line: the string at pitch.
    Returns: [cents] for `HARD_FINGER` more path.
    """
    return line.per_millimetre.value * HARD_FINGER / MILLIMETRE


def change(was: StringSheet, now: StringSheet) -> Change:
    """How much more a set pulls than another, string by string and together.

    Strings of the same gauge are taken to be off by the same share, all others independently (derived here).

    Args:
        was: the set before.
        now: the set after, as many strings.
    Returns: the change.
    """
    lines = tuple(_more(a, b) for a, b in zip(was.lines, now.lines, strict=True))
    total = Measured(sum(one.value for one in lines), float(np.sqrt(sum(one.sd**2 for one in lines))))
    return Change(was.total, total, total.value / was.total.value, lines, _same_board(was, now))


def _same_board(was: StringSheet, now: StringSheet) -> bool:
    return abs(was.scale - now.scale) < SAME_BOARD


def _more(was: StringLine, now: StringLine) -> Measured:
    more = now.tension.value - was.tension.value
    same = abs(now.unit_mass.value / was.unit_mass.value - 1.0) < 1e-9
    sd = abs(now.tension.sd - was.tension.sd) if same else float(np.hypot(now.tension.sd, was.tension.sd))
    return Measured(more, sd)


def _by_itself(count: int, line: StringLine, limit: float, bass: bool) -> list[Flag]:
    out = []
    if line.near_breaking:
        out.append(Flag("near breaking", count, line.gauge, "", line.load.value, limit))
    if line.tension.value < SLACK[bass]:
        out.append(Flag("slack", count, line.gauge, "", line.tension.value, SLACK[bass]))
    cents = under_the_finger(line)
    if cents > TOUCHY[bass]:
        out.append(Flag("answers to the finger", count, line.gauge, "", cents, TOUCHY[bass]))
    return out


def _against(count: int, line: StringLine, was: StringLine, slots_unknown: bool) -> list[Flag]:
    out = []
    thicker = line.diameter - was.diameter
    if slots_unknown and thicker > BINDS_FROM + HAIR:
        out.append(Flag("thicker", count, line.gauge, was.gauge, thicker, BINDS_FROM))
    if line.wound != was.wound:
        out.append(Flag("now wound" if line.wound else "now plain", count, line.gauge, was.gauge, 0.0, 0.0))
    return out
